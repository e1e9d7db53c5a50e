"""The people at the till: where any are entered, Settle-Person names one of them."""

from typing import Any

from sqlalchemy import Row, delete, select

from settle.books.columns import moment_text
from settle.books.listing import Listed, Page, page_of
from settle.books.tables import people
from settle.books.work import Work
from settle.reckoning.problems import Fault, Faults, Refused
from settle.reckoning.reading import Json, Reader


def add(work: Work, body: Json, faults: Faults) -> dict[str, Any]:
    """Enter a person. Raises `Refused` (already-exists)."""
    name = Reader(body, faults).text("name").strip()
    faults.refuse_if_any()
    there = work.connection.execute(select(people).where(people.c.name == name)).first()
    if there is not None:
        raise Refused(Fault("already-exists", "/name", f"that is {there.id} already", "another name"))
    row = {"id": work.name("W"), "name": name, "made_at": work.now}
    work.connection.execute(people.insert().values(row))
    return _shown(_row_of(work, str(row["id"])))


def listed(work: Work, page: Page) -> tuple[list[dict[str, Any]], Listed]:
    """The people, newest first."""
    rows = page_of(work, select(people), people, page)
    return [_shown(row) for row in rows.rows], rows


def remove(work: Work, person: str) -> None:
    """Somebody leaves the till; what he did keeps his name. Raises `Refused` (not-found)."""
    row = _row_of(work, person)
    work.connection.execute(delete(people).where(people.c.n == row.n))


def refuse_stranger(work: Work, name: str) -> None:
    """Refuse a name that is nobody's, where any people are entered."""
    names = work.connection.execute(select(people.c.name)).scalars().all()
    if names and name not in names:
        right = "the name of a person at the till, as entered"
        raise Refused(Fault("bad-request", "", f'nobody at the till is called "{name[:30]}"', right))


def _row_of(work: Work, person: str) -> Row[Any]:
    row = work.connection.execute(select(people).where(people.c.id == person)).first()
    if row is None:
        raise Refused(Fault("not-found", "", f"no person {person[:20]}", "the id of a person"))
    return row


def _shown(row: Row[Any]) -> dict[str, Any]:
    return {"id": row.id, "name": row.name, "made_at": moment_text(row.made_at)}
