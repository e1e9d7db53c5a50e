"""The list of payments: money that passed with a client, whichever document it was for."""

from typing import Any

from sqlalchemy import ColumnElement, Row, Select, select

from settle.books import on_account, records, till, undone
from settle.books.listing import Listed, Page, page_of_two
from settle.books.narrowing import ALL, Wanted
from settle.books.tables import payments, purchases
from settle.books.work import Work

# The kind of document that a payment is for, and under what it stands, by the series of its number.
# A bar sold before sales had numbers goes by the id of its entry.
_BY_SERIES = {
    "S": ("settlement", "settlements"),
    "L": ("advance", "lots"),
    "I": ("bar_sale", "bar-sales"),
    "E": ("bar_sale", "bar-sales"),
}


def listed(work: Work, page: Page, wanted: Wanted = ALL) -> tuple[list[dict[str, Any]], Listed]:
    """A page of payments, newest first, reversed ones too, and among them what purchases paid."""
    paid, bought = payments.c, purchases.c
    rows = page_of_two(
        work,
        (_within(work, wanted, select(payments), paid.made_at, paid.id), paid.made_at),
        (_within(work, wanted, select(purchases), bought.made_at, bought.number), bought.made_at),
        page,
    )
    return [_paid(work, row) if "subject" in row._fields else _bought(work, row) for row in rows.rows], rows


def _within(
    work: Work, wanted: Wanted, query: Select[Any], at: ColumnElement[Any], name: ColumnElement[str]
) -> Select[Any]:
    undone_since = undone.is_undone(name)
    states = {"posted": ~undone_since, "reversed": undone_since}
    return wanted.of(work, query, at, client=at.table.c.client.__eq__, states=states)


def _paid(work: Work, row: Row[Any]) -> dict[str, Any]:
    return till.shown(work, row) | _document(work, row.subject)


def _document(work: Work, subject: str) -> dict[str, str]:
    sale = records.find(work, subject)
    if sale is not None and sale.kind == on_account.SALE:
        return {"kind": "metal_sale", "href": f"/v1/clients/{sale.subject}/metal-sales"}
    kind, under = _BY_SERIES[subject.partition("-")[0]]
    return {"kind": kind, "href": f"/v1/{under}/{subject}"}


def _bought(work: Work, row: Row[Any]) -> dict[str, Any]:
    """A purchase is its own payment: the journal has its money under its number."""
    kept, reversal = row.document, undone.shown(work, row.number)
    return {
        "id": row.number,
        "of": row.number,
        "kind": "purchase",
        "href": f"/v1/purchases/{row.number}",
        "client": row.client,
        "amount": kept["paid"],
        "cash_rounding": kept["cash_rounding"],
        "direction": "to_client",
        "paid_in": kept["paid_in"],
        "words": None,
        "state": "posted" if reversal is None else "reversed",
        "reversal": reversal,
        "made_at": kept["made_at"],
        "person": row.person,
    }
