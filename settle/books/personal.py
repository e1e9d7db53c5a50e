"""Personal data: one table, never in the chain, and the only one that erasure touches.

`subject` is what it belongs to (a client's id, a quote, a lot, a bar), `kind` what
it is (`client`, `acceptance`, `declaration`, …).
"""

from typing import Any

from sqlalchemy import delete, select

from settle.books import erased, holds
from settle.books.tables import lots, personal
from settle.books.work import Work


def keep(work: Work, subject: str, kind: str, client: str | None, data: Any) -> None:
    """Keep personal data; the same subject and kind again replaces it. Nothing of who was erased."""
    erased.refuse_erased(work, client)
    of = personal.c
    again = personal.update().where(of.subject == subject, of.kind == kind)
    if work.connection.execute(again.values(client=client, data=data)).rowcount == 0:
        first = {"subject": subject, "kind": kind, "client": client, "data": data, "made_at": work.now}
        work.connection.execute(personal.insert().values(first))


def kept(work: Work, subject: str, kind: str) -> Any:
    """What is kept of a subject, or None: never there, or erased."""
    query = select(personal.c.data).where(personal.c.subject == subject, personal.c.kind == kind)
    return work.connection.execute(query).scalar()


def erase(work: Work, client: str) -> int:
    """Remove all that is kept of a client; how many rows. Refused while an order freezes a lot of his."""
    holds.refuse_frozen_client(work, client)
    # Of a quote that named no client yet, who accepted it stands under the quote alone.
    quoted = select(lots.c.quote).where(lots.c.client == client, lots.c.quote.is_not(None))
    mine = (personal.c.client == client) | personal.c.subject.in_(quoted)
    return int(work.connection.execute(delete(personal).where(mine)).rowcount)
