"""What was weighed, assayed, lent, poured, received: added, corrected by adding, never edited."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import ColumnElement, Row, Select, bindparam, exists, select

from settle.books import chain
from settle.books.columns import moment_text
from settle.books.listing import Listed, Page, page_of
from settle.books.periods import Span
from settle.books.tables import records
from settle.books.work import Work
from settle.reckoning.problems import Fault, Refused


@dataclass(frozen=True, slots=True)
class Record:
    """One entry. `subject` is the lot, batch or bar that it is about; `data` is JSON-shaped."""

    id: str
    subject: str
    kind: str
    data: Any
    corrects: str | None
    reason: str | None
    made_at: datetime
    key: str | None
    person: str | None


def add(
    work: Work, subject: str, kind: str, data: Any, corrects: str | None = None, reason: str | None = None
) -> Record:
    """Add an entry, or one that corrects another.

    Raises `Refused`: `unknown-reference` for an entry that isn't there or is of
    another subject or kind, `wrong-state` for one already corrected, `missing`
    for a correction without a reason. Whether something posted rests on the old
    entry is for the caller to ask.
    """
    if corrects is not None:
        _refuse_correction(work, subject, kind, corrects, reason)
    values = {
        "id": work.name("E"),
        "subject": subject,
        "kind": kind,
        "data": data,
        "corrects": corrects,
        "reason": reason,
        "made_at": work.now,
        **work.made_by,
    }
    work.connection.execute(records.insert().values(values))
    chain.seal(work, records, values["id"])
    return Record(**values)


def in_force(work: Work, subject: str, kind: str) -> list[Record]:
    """The entries of a subject and kind that no later one corrects, oldest first.

    A correction stands where it was entered, not where the old entry stood.
    """
    asked = {"subject_asked": subject, "kind_asked": kind}
    if work.last_seen is None:
        return _read(work, _IN_FORCE, asked)
    return _read(work, _IN_FORCE_THEN, asked | {"last_seen": work.last_seen})


def is_in_force(of: Any = records) -> ColumnElement[bool]:
    """As a condition: no later entry corrects this one."""
    later = records.alias()
    return ~exists().where(later.c.corrects == of.c.id)


def _query_in_force(*, then: bool) -> Select[Any]:
    later = records.alias("later")
    corrected = exists().where(later.c.corrects == records.c.id)
    query = _of(bindparam("subject_asked"), bindparam("kind_asked"))
    if then:
        corrected = corrected.where(later.c.n <= bindparam("last_seen"))
        query = query.where(records.c.n <= bindparam("last_seen"))
    return query.where(~corrected)


def history(work: Work, subject: str, kind: str | None = None) -> list[Record]:
    """Every entry of a subject, corrected ones too, oldest first."""
    return _read(work, _of(subject, kind))


def find(work: Work, record_id: str) -> Record | None:
    """One entry by its id."""
    found = _read(work, select(records).where(records.c.id == record_id))
    return found[0] if found else None


def listed(work: Work, kind: str, page: Page, span: Span) -> tuple[list[Record], Listed]:
    """A page of the entries of a kind, whatever they are about, newest first."""
    query = span.of(work, select(records).where(records.c.kind == kind), records.c.made_at)
    rows = page_of(work, query, records, page)
    return [of_row(row) for row in rows.rows], rows


def _of(subject: Any, kind: Any) -> Select[Any]:
    query = select(records).where(records.c.subject == subject).order_by(records.c.n)
    return query if kind is None else query.where(records.c.kind == kind)


# Made once: putting the query together costs more than asking it, and nothing is asked more often.
_IN_FORCE, _IN_FORCE_THEN = _query_in_force(then=False), _query_in_force(then=True)


def _read(work: Work, query: Select[Any], asked: Mapping[str, Any] | None = None) -> list[Record]:
    return [of_row(row) for row in work.connection.execute(query, asked or {})]


def of_row(row: Row[Any]) -> Record:
    """An entry, from its row."""
    fields = ("id", "subject", "kind", "data", "corrects", "reason", "made_at", "key", "person")
    return Record(**{name: getattr(row, name) for name in fields})


def shown(record: Record) -> dict[str, Any]:
    """One entry: what was weighed, assayed, lent, poured; which older one it corrects, and why."""
    return {
        "id": record.id,
        "kind": record.kind,
        "data": record.data,
        "corrects": record.corrects,
        "reason": record.reason,
        "made_at": moment_text(record.made_at),
    }


def standing(work: Work, subject: str, kind: str, body: Mapping[str, Any]) -> Record | None:
    """The entry that a body corrects, in force; `add` refuses what it can't correct."""
    name = body.get("corrects")
    return next((r for r in in_force(work, subject, kind) if r.id == name), None)


def refuse_other(old: Record | None, field: str, value: str) -> None:
    """A correction is of the same metal, by the same party, as what it corrects."""
    if old is not None and old.data.get(field) != value:
        wrong = f"{old.id} is of {old.data.get(field)}"
        raise Refused(Fault("contradiction", f"/{field}", wrong, f"the same {field}"))


def _refuse_correction(work: Work, subject: str, kind: str, corrects: str, reason: str | None) -> None:
    old = find(work, corrects)
    if old is None or (old.subject, old.kind) != (subject, kind):
        wrong = f'no entry "{corrects[:30]}" of this kind for {subject}'
        raise Refused(Fault("unknown-reference", "/corrects", wrong, f"the id of an entry of kind {kind}"))
    by = work.connection.execute(select(records.c.id).where(records.c.corrects == corrects)).scalar()
    if by is not None:
        raise Refused(
            Fault("wrong-state", "/corrects", f"{corrects} is already corrected by {by}", f"correct {by}")
        )
    if not (reason or "").strip():
        raise Refused(Fault("missing", "/reason", "no reason", "why the old entry was wrong"))
