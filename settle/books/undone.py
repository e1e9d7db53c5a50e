"""What was posted and is reversed: a row that names it, the reason and who (J2)."""

from collections.abc import Iterable
from typing import Any

from sqlalchemy import ColumnElement, Row, exists, select

from settle.books import chain, journal, periods, records
from settle.books.columns import moment_text
from settle.books.tables import reversals
from settle.books.work import Work
from settle.reckoning.problems import Fault, Faults, Refused
from settle.reckoning.reading import Json, Reader


def reason_of(body: Json, faults: Faults) -> str:
    """The reason of a reversal, which is demanded."""
    r = Reader(body, faults)
    reason = r.text("reason")
    if r.has("reason") and not reason.strip():
        r.fault("reason", "bad-text", "empty", "why it is reversed")
    faults.refuse_if_any()
    return reason


def of(work: Work, subject: str) -> Row[Any] | None:
    """The reversal of what has this name, if there is one."""
    return work.connection.execute(select(reversals).where(reversals.c.subject == subject)).first()


def standing(work: Work, subject: str, kind: str) -> list[records.Record]:
    """Entries of a subject and kind that are not reversed, oldest first."""
    return [r for r in records.in_force(work, subject, kind) if of(work, r.id) is None]


def is_undone(column: ColumnElement[str]) -> ColumnElement[bool]:
    """As a condition: the row whose name stands in `column` is reversed."""
    return exists().where(reversals.c.subject == column)


def refuse_undone(work: Work, subject: str) -> None:
    if (old := of(work, subject)) is not None:
        right = "something that stands"
        raise Refused(Fault("wrong-state", "", f"{subject} was reversed by {old.number or old.id}", right))


def undo(
    work: Work,
    subject: str,
    reason: str,
    documents: Iterable[str],
    *,
    number: str | None = None,
    document: Json | None = None,
) -> str:
    """Keep the reversal, and undo what stands in the journal of some documents; the reversal's id."""
    periods.refuse_locked(work, work.now)
    name = work.name("RV")
    values = {"id": name, "number": number, "subject": subject, "reason": reason, "document": document}
    work.connection.execute(reversals.insert().values(**values, made_at=work.now, **work.made_by))
    chain.seal(work, reversals, name)
    for of_document in documents:
        for entry in reversed(journal.standing(work, of_document)):
            journal.undo(work, entry, name, reason)
    return name


def shown(work: Work, subject: str) -> dict[str, Any] | None:
    """A reversal as what it reverses shows it."""
    row = of(work, subject)
    if row is None:
        return None
    return {
        "id": row.id,
        "credit_note": row.number,
        "reason": row.reason,
        "made_at": moment_text(row.made_at),
        "person": row.person,
    }
