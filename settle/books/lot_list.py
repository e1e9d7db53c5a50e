"""The list of lots."""

from typing import Any

from sqlalchemy import select

from settle.books import stages
from settle.books.columns import moment_text
from settle.books.listing import Listed, Page, page_of
from settle.books.lots import state_of
from settle.books.narrowing import ALL, Wanted
from settle.books.tables import lots
from settle.books.work import Work


def listed(work: Work, page: Page, wanted: Wanted = ALL) -> tuple[list[dict[str, Any]], Listed]:
    """The lots, newest first, by the day they were received."""
    of = lots.c
    query = wanted.of(work, select(lots), of.received_at, client=of.client.__eq__, states=stages.of_lots())
    rows = page_of(work, query, lots, page)
    return [
        {
            "number": row.number,
            "client": row.client,
            "quote": row.quote,
            "terms": row.terms,
            "state": state_of(work, row),
            "received_at": moment_text(row.received_at),
            "batch": row.batch,
        }
        for row in rows.rows
    ], rows
