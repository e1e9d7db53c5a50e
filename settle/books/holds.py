"""What holds a lot back: an order that freezes it, or that it went back to its client."""

from typing import Any

from sqlalchemy import Row, select

from settle.books import records, undone
from settle.books.tables import lots
from settle.books.work import Work
from settle.reckoning.problems import Fault, Refused

FREEZE, RELEASE, RETURN = "freeze", "release", "return"
THE_LOT, SHOT, DRILLINGS = "lot", "shot", "drillings"


def order_of(work: Work, lot: str) -> records.Record | None:
    """The order under which a lot is frozen; none once it is released."""
    said = [r for r in records.history(work, lot) if r.kind in (FREEZE, RELEASE)]
    return said[-1] if said and said[-1].kind == FREEZE else None


def refuse_frozen(work: Work, lot: str, pointer: str = "") -> None:
    """Nothing leaves or changes hands, and nothing is melted, while an order freezes the lot."""
    order = order_of(work, lot)
    if order is not None:
        wrong = f"{lot} is frozen by order of {order.data['by']} ({order.id})"
        raise Refused(Fault("frozen", pointer, wrong, "a release by an owner first"))


def refuse_frozen_client(work: Work, client: str) -> None:
    """While any lot of a client is frozen, who the client is stays known."""
    for number in work.connection.execute(select(lots.c.number).where(lots.c.client == client)).scalars():
        refuse_frozen(work, number)


def returns(work: Work, lot: str, what: str) -> list[records.Record]:
    """What of a lot went back to its client: the lot itself unrefined, loose shot, drillings."""
    return [r for r in undone.standing(work, lot, RETURN) if r.data["what"] == what]


def is_returned(work: Work, lot: str) -> bool:
    """Whether the lot went back unrefined."""
    return bool(returns(work, lot, THE_LOT))


def refuse_returned(work: Work, row: Row[Any]) -> None:
    if is_returned(work, row.number):
        wrong = f"{row.number} went back to its client"
        raise Refused(Fault("wrong-state", "", wrong, "a lot that is in the house"))
