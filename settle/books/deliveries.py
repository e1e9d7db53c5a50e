"""Deliveries that are due: claimed for one attempt, and what came of it."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import Row, Select, exists, func, select

from settle.books import hooks as hooks_of
from settle.books.columns import canonical, moment_text
from settle.books.tables import deliveries, events, hooks
from settle.books.work import Work

# Longer than any attempt may take: whoever claimed it and is still silent then has died.
LEASE = timedelta(minutes=2)


@dataclass(frozen=True, slots=True)
class Due:
    """One attempt. `secrets`: the new one first, and the old ones while they still sign along."""

    id: str
    attempt: int
    event: str
    kind: str
    url: str
    secrets: tuple[str, ...]
    body: bytes
    at: datetime


def is_any_due(work: Work) -> bool:
    """Whether there is anything to claim."""
    return work.connection.execute(_due(work).limit(1)).first() is not None


def claim(work: Work, most: int) -> list[Due]:
    """Some of what is due, the first of each document, of the hooks by turns; the lease keeps others off."""
    claimed = [_attempt(work, row) for row in work.connection.execute(_due(work).limit(most)).all()]
    for due in claimed:
        _note(work, due.id, attempts=due.attempt, next_at=work.now + LEASE)
    return claimed


def delivered(work: Work, due: Due, answer: str) -> None:
    """The receiver took it."""
    _note(work, due.id, delivered_at=work.now, next_at=None, last_answer=answer)


def failed(work: Work, due: Due, answer: str, wait: timedelta | None) -> None:
    """The receiver did not take it; without a `wait` it is given up."""
    next_at = None if wait is None else work.now + wait
    of = deliveries.c
    # A replay or another attempt since then goes before what this one has to say.
    stands = of.id == due.id, of.attempts == due.attempt, of.next_at.is_not(None)
    work.connection.execute(deliveries.update().where(*stands).values(next_at=next_at, last_answer=answer))


def _due(work: Work) -> Select[Any]:
    before, of_before = deliveries.alias(), events.alias()
    earlier = exists().where(
        before.c.hook == deliveries.c.hook,
        before.c.n < deliveries.c.n,
        before.c.next_at.is_not(None),
        of_before.c.id == before.c.event,
        of_before.c.subject == events.c.subject,
    )
    # By turns: a receiver that hangs on thousands must not keep the others waiting for all of them.
    of_hook = deliveries.c.next_at, deliveries.c.n
    turn = func.row_number().over(partition_by=deliveries.c.hook, order_by=of_hook)
    return (
        select(deliveries, events, hooks.c.url, hooks.c.secret, hooks.c.old_secret, hooks.c.old_until)
        .join(events)
        .join(hooks)
        .where(deliveries.c.next_at <= work.now, ~earlier)
        .order_by(turn, *of_hook)
    )


def _attempt(work: Work, row: Row[Any]) -> Due:
    of = row._mapping
    secrets = (row.secret, *hooks_of.still_sign(work, row))
    told = {"type": row.kind, "timestamp": moment_text(row.made_at), "data": row.data}
    return Due(
        of[deliveries.c.id],
        row.attempts + 1,
        row.event,
        row.kind,
        row.url,
        secrets,
        canonical(told).encode(),
        work.now,
    )


def _note(work: Work, name: str, **values: Any) -> None:
    work.connection.execute(deliveries.update().where(deliveries.c.id == name).values(**values))
