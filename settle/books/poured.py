"""What poured bars state (A6), from their rows."""

from typing import Any

from sqlalchemy import Row, select

from settle.books.tables import bars
from settle.books.work import Work
from settle.reckoning.bars import Poured
from settle.reckoning.reading import Kept


def stated(row: Row[Any]) -> Poured:
    """What a bar states."""
    r = Kept(row.data["stated"])
    return Poured(row.serial, row.data["line"], r.weight("weight"), r.decimal("fineness"))


def of_lot(work: Work, lot: str, metal: str) -> dict[str, Poured]:
    """What a lot's bars of a metal state, by serial; those that were withdrawn are none."""
    of = bars.c
    there = select(bars).where(of.lot == lot, of.metal == metal, of.state != "withdrawn").order_by(of.n)
    return {row.serial: stated(row) for row in work.connection.execute(there)}
