"""The register: who brought what and when, marks as stamped, paid how, melted when, gone into which bars."""

from collections.abc import Iterator
from datetime import datetime
from typing import Any

from sqlalchemy import ColumnElement, Row, Select, exists, func, select

from settle.books import bars, bench, clients, holds, lots, personal, photographs, records, till, undone
from settle.books import terms as terms_of_business
from settle.books.columns import Each, Inside, Member, moment_text
from settle.books.listing import Listed, Page, page_of_two
from settle.books.narrowing import ALL, Wanted
from settle.books.tables import lots as lots_table
from settle.books.tables import purchases, settlements
from settle.books.tables import records as records_table
from settle.books.work import Work
from settle.reckoning import document

_OF_ITEM = ("description", "stamped", "evidence", "count", "gross", "net")


def listed(
    work: Work, page: Page, wanted: Wanted = ALL, stamped: str | None = None
) -> tuple[list[dict[str, Any]], Listed]:
    """A page of the register, newest first. `stamped` is part of a mark, in either case."""
    received_at, made_at = lots_table.c.received_at, purchases.c.made_at
    brought = _within(select(lots_table), received_at, work, wanted, lots_table.c.client)
    bought = _within(select(purchases), made_at, work, wanted, purchases.c.client)
    if stamped is not None:
        brought = brought.where(_receipt_bears(stamped))
        bought = bought.where(_bears(purchases.c.document, stamped))
    rows = page_of_two(work, (brought, received_at), (bought, made_at), page)
    return list(_entries(work, rows.rows)), rows


def _within(
    query: Select[Any], at: ColumnElement[Any], work: Work, wanted: Wanted, client: ColumnElement[Any]
) -> Select[Any]:
    # The house's own metal was brought by nobody.
    return wanted.of(work, query, at, client=client.__eq__).where(client.is_not(None))


def _receipt_bears(stamped: str) -> ColumnElement[bool]:
    """In any receipt of the lot: what was read wrongly at first is found too."""
    of = records_table.c
    mine = (of.subject == lots_table.c.number) & (of.kind == lots.RECEIPT)
    return exists().where(mine, _bears(of.data, stamped))


def _bears(data: ColumnElement[Any], stamped: str) -> ColumnElement[bool]:
    item = Each(data, "items").table_valued("value")
    mark = Member(item.c.value, "stamped")
    return exists().where(Inside(func.lower(mark), func.lower(stamped))).select_from(item)


def _is_lot(row: Row[Any]) -> bool:
    return "received_at" in row._fields


def _when(row: Row[Any]) -> datetime:
    when: datetime = row.received_at if _is_lot(row) else row.made_at
    return when


def _entries(work: Work, rows: list[Row[Any]]) -> Iterator[dict[str, Any]]:
    pictures = photographs.of_lots(work, [row.number for row in rows if _is_lot(row)])
    for row in rows:
        about = {
            "document": row.number,
            "kind": "lot" if _is_lot(row) else "purchase",
            "when": moment_text(_when(row)),
            "client": _person(work, row.client),
        }
        yield about | (_lot(work, row, pictures[row.number]) if _is_lot(row) else _purchase(work, row))


def _person(work: Work, client: str) -> dict[str, Any]:
    """Who it was; nobody's name once it was erased."""
    return {"id": client, **(personal.kept(work, client, clients.CLIENT) or {"name": None})}


def _lot(work: Work, row: Row[Any], pictures: list[dict[str, Any]]) -> dict[str, Any]:
    terms = terms_of_business.find(work, row.terms)
    received = records.history(work, row.number, lots.RECEIPT)
    melted = records.in_force(work, row.number, bench.MELT)
    items = [document.item(item, terms) for item in lots.items_of(work, row, terms)]
    account = select(settlements).where(settlements.c.lot == row.number, settlements.c.number.is_not(None))
    accounts = list(work.connection.execute(account.order_by(settlements.c.n)))
    return {
        "taken_in_by": received[0].person,
        "words": personal.kept(work, row.number, lots.WORDS),
        "items": [_item(item) for item in items],
        "settlements": [{"number": one.number, "state": one.state} for one in accounts],
        "paid": _paid(work, [row.number, *(name for one in accounts for name in (one.id, one.number))]),
        "melted_at": moment_text(melted[-1].made_at) if melted else None,
        "frozen": holds.order_of(work, row.number) is not None,
        "batch": row.batch,
        "bars": [bar.serial for bar in bars.of_lot(work, row.number)],
        "photographs": pictures,
    }


def _item(item: dict[str, Any]) -> dict[str, Any]:
    return {name: item[name] for name in _OF_ITEM}


def _paid(work: Work, subjects: list[str]) -> list[dict[str, Any]]:
    """What was paid on a lot and its settlements, each way."""
    kept = ("id", "of", "amount", "direction", "paid_in", "made_at")
    paid = [till.shown(work, row) for subject in subjects for row in till.standing(work, subject)]
    return [{name: one[name] for name in kept} for one in paid]


def _purchase(work: Work, row: Row[Any]) -> dict[str, Any]:
    """A purchase was paid when it was made; its metal is the house's."""
    kept = row.document
    return {
        "taken_in_by": row.person,
        "items": [_item(item) for item in kept["items"]],
        "paid": [
            {
                "of": row.number,
                "amount": kept["net"],
                "direction": "to_client",
                "paid_in": kept["paid_in"],
                "made_at": kept["made_at"],
            }
        ],
        "reversal": undone.shown(work, row.number),
    }
