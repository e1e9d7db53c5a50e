"""The outbox: events written with the work that they tell of, in one transaction; to whom each goes.

An event names documents and figures, never a person: whoever may know more asks for the document.
"""

from collections.abc import Mapping
from typing import Any

from sqlalchemy import select

from settle.books.tables import deliveries, events, hooks
from settle.books.work import Work

KINDS = (
    "quote.issued",
    "quote.accepted",
    "lot.received",
    "batch.closed",
    "silver.credited",
    "settlement.posted",
    "settlement.reversed",
    "payment.recorded",
    "bar.handed_over",
    "price.entered",
)


def emit(work: Work, kind: str, subject: str, data: Mapping[str, Any]) -> None:
    """Tell of something that was done to a document, to every hook that wants to hear of it.

    The events of one `subject` are delivered to a hook in the order in which they were emitted.
    """
    name = work.name("EV")
    work.connection.execute(
        events.insert().values(id=name, kind=kind, subject=subject, data=data, made_at=work.now)
    )
    living = select(hooks).where(hooks.c.revoked_at.is_(None)).order_by(hooks.c.n)
    for hook in work.connection.execute(living).all():
        if kind in hook.kinds:
            first = {"id": work.name("D"), "event": name, "hook": hook.id, "attempts": 0, "next_at": work.now}
            work.connection.execute(deliveries.insert().values(first))
