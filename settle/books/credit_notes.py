"""Credit notes: drawn with the reversal of a settlement, purchase or bar sale, numbered without a gap."""

from typing import Any

from sqlalchemy import select

from settle.books import clients
from settle.books.columns import Member
from settle.books.listing import Listed, Page, page_of
from settle.books.narrowing import ALL, Wanted
from settle.books.tables import reversals
from settle.books.work import Work
from settle.reckoning.problems import Fault, Refused


def shown(work: Work, number: str) -> dict[str, Any]:
    """One credit note, with the client's identity as it is known now; `not-found` where there is none."""
    row = work.connection.execute(select(reversals).where(reversals.c.number == number)).first()
    if row is None:
        raise Refused(Fault("not-found", "", f"no credit note {number[:20]}", "the number of a credit note"))
    # Who the client is stands among the personal data, and never in what is sealed.
    who = clients.shown(work, row.document["client"])
    identity = {k: who.get(k) for k in ("id", "name", "address")}
    return {**row.document, "client": identity, "person": row.person}


def listed(work: Work, page: Page, wanted: Wanted = ALL) -> tuple[list[dict[str, Any]], Listed]:
    of = reversals.c
    drawn = select(reversals).where(of.number.is_not(None))
    query = wanted.of(work, drawn, of.made_at, client=Member(of.document, "client").__eq__)
    rows = page_of(work, query, reversals, page)
    totals = ("charges_total", "tax_total", "net")
    brief = ("number", "credits", "client", "currency", *totals, "tax_point", "reason")
    return [{k: row.document[k] for k in brief} for row in rows.rows], rows
