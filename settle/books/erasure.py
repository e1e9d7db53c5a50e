"""Erasure of what is kept of a person, once nothing needs it any more; the books stay whole."""

from collections.abc import Iterator
from datetime import datetime
from typing import Any

from sqlalchemy import Row, select

from settle.books import (
    balances,
    bar_sales,
    clients,
    drillings,
    holds,
    idempotency,
    journal,
    lots,
    on_account,
    personal,
    records,
    tables,
)
from settle.books import terms as terms_of_business
from settle.books.columns import moment_text
from settle.books.work import Work
from settle.reckoning.problems import Fault, Refused


def erase(work: Work, client: str) -> dict[str, Any]:
    """Erase a client's personal data; every document stays, without the person.

    Raises `Refused`: `not-found`, `wrong-state` where it was done, `frozen`, and
    `must-be-kept` while a balance is open, a lot is in the house or retention runs.
    """
    known = clients.shown(work, client)
    if known["erased_at"] is not None:
        wrong = f"it was erased at {known['erased_at']}"
        raise Refused(Fault("wrong-state", "", wrong, "a client whose data is there"))
    holds.refuse_frozen_client(work, client)
    reasons = [*_open(work, client), *_retained(work, client)]
    if reasons:
        right = "erasure once nothing of this holds any more"
        raise Refused(Fault("must-be-kept", "", "; ".join(reasons), right))
    _forget(work, client)
    return clients.shown(work, client)


def _open(work: Work, client: str) -> Iterator[str]:
    """What is not settled between the client and the house, whatever its age."""
    held = balances.of_owner(work, f"client:{client}", journal.last_entry(work))
    if held:
        yield f"a balance is open: {', '.join(place for place, _ in held)}"
    for row in lots.of_client(work, client):
        if not holds.is_returned(work, row.number) and lots.last_settlement(work, row.number) is None:
            yield f"{row.number} is neither settled nor returned"
        taken = drillings.shown(work, row, terms_of_business.find(work, row.terms))
        if taken is not None and taken["owed"]:
            yield f"drillings of {row.number} are still to be handed back"


def _retained(work: Work, client: str) -> Iterator[str]:
    """Retention runs from the last dealing, as long as the longest of the terms that were dealt under."""
    dealings = [*_dealings(work, client)]
    if not dealings:
        return
    last = max(when for when, _ in dealings)
    numbers = {number for _, number in dealings if number is not None}
    until = max((last + terms_of_business.find(work, n).retention for n in numbers), default=last)
    if work.now < until:
        yield f"the last dealing was at {moment_text(last)}, retention runs until {moment_text(until)}"


def _dealings(work: Work, client: str) -> Iterator[tuple[datetime, str | None]]:
    """When something was done with the client, and the number of the terms that it was done under."""
    for row in _rows(work, tables.quotes, client):
        yield row.made_at, row.terms
    for row in lots.of_client(work, client):
        yield row.received_at, row.terms
    for row in _rows(work, tables.purchases, client):
        yield row.made_at, row.document["terms"]
    for sale in bar_sales.of_client(work, client):
        yield sale.made_at, sale.data["asked"]["terms"]
    for sold in records.in_force(work, client, on_account.SALE):
        yield sold.made_at, sold.data["asked"]["terms"]
    line, entry = tables.journal_lines.c, tables.journal_entries.c
    newest = select(line.entry).where(line.owner == f"client:{client}").order_by(line.entry.desc()).limit(1)
    moved = work.connection.execute(select(entry.made_at).where(entry.n == newest.scalar_subquery())).scalar()
    if moved is not None:
        yield moved, None


def _rows(work: Work, table: Any, client: str) -> Iterator[Row[Any]]:
    yield from work.connection.execute(select(table).where(table.c.client == client))


def _forget(work: Work, client: str) -> None:
    personal.erase(work, client)
    idempotency.forget(work, client)
    of = tables.clients
    work.connection.execute(of.update().where(of.c.id == client).values(erased_at=work.now))
