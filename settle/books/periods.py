"""Days and months in the house's time zone; months that are locked take no entry (J4)."""

import re
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any

from sqlalchemy import ColumnElement, Row, Select, select

from settle.books import chain
from settle.books.columns import moment_text
from settle.books.listing import Listed, Page, page_of
from settle.books.tables import periods
from settle.books.work import Work
from settle.reckoning.problems import Fault, Refused

_MONTH = re.compile(r"[0-9]{4}-(0[1-9]|1[0-2])", re.ASCII)
_FIRST_YEAR, _LAST_YEAR = 1900, 9998
# The books keep milliseconds, so this is the last moment before another.
_LEAST = timedelta(milliseconds=1)


@dataclass(frozen=True, slots=True)
class Span:
    """From one day to another, both of them in it; open at an end that is None."""

    first: date | None
    last: date | None

    def start(self, work: Work) -> datetime | None:
        """The first moment in it."""
        return None if self.first is None else _midnight(work, self.first)

    def end(self, work: Work) -> datetime | None:
        """The last moment in it."""
        return None if self.last is None else end_of_day(work, self.last)

    def before(self, work: Work) -> datetime | None:
        """The last moment before it."""
        start = self.start(work)
        return None if start is None else start - _LEAST

    def of(self, work: Work, query: Select[Any], at: ColumnElement[Any]) -> Select[Any]:
        """A query narrowed to the rows whose moment is in it."""
        start, end = self.start(work), self.end(work)
        if start is not None:
            query = query.where(at >= start)
        return query if end is None else query.where(at <= end)

    def shown(self) -> dict[str, str | None]:
        days = {"from": self.first, "to": self.last}
        return {name: None if day is None else day.isoformat() for name, day in days.items()}


def span(first: str | None, last: str | None) -> Span:
    """A span of days `2026-03-01`. Raises `Refused` (bad-request) where it ends before it begins."""
    read = Span(_day(first), _day(last))
    if read.first and read.last and read.first > read.last:
        raise Refused(Fault("bad-request", "", "from is after to", "days in their order"))
    return read


def _day(text: str | None) -> date | None:
    day = None if text is None else date.fromisoformat(text)
    if day is not None and not _FIRST_YEAR <= day.year <= _LAST_YEAR:
        right = f"a year from {_FIRST_YEAR} to {_LAST_YEAR}"
        raise Refused(Fault("bad-request", "", f"{day} is no day of these books", right))
    return day


def moment(work: Work, text: str, now: datetime) -> datetime:
    """A moment, or the last one of a day in the house's time zone; of this day, now.

    Raises `Refused` (bad-request) for what is to come: nobody knows what will be held then.
    """
    if "T" in text:
        at = datetime.fromisoformat(text)
        if at > now:
            raise _to_come("as_at", moment_text(at), moment_text(now))
        return at
    day = _day(text)
    assert day is not None
    refuse_to_come(work, now, as_at=day)
    return min(end_of_day(work, day), now)


def refuse_to_come(work: Work, now: datetime, **asked: date | None) -> None:
    """Refuse to say what was there at a day to come. Raises `Refused` (bad-request), by the parameter."""
    today = day_of(work, now)
    for name, day in asked.items():
        if day is not None and day > today:
            raise _to_come(name, day.isoformat(), today.isoformat())


def _to_come(name: str, asked: str, last: str) -> Refused:
    return Refused(Fault("bad-request", "", f"{name}: {asked} is to come", f"{last} at the latest"))


def end_of_day(work: Work, day: date) -> datetime:
    return _midnight(work, day + timedelta(days=1)) - _LEAST


def _midnight(work: Work, day: date) -> datetime:
    return datetime.combine(day, time.min, tzinfo=work.time_zone).astimezone(work.now.tzinfo)


def day_of(work: Work, at: datetime) -> date:
    """The day on which a moment falls in the house."""
    return at.astimezone(work.time_zone).date()


def month_of(work: Work, at: datetime) -> str:
    """The month in which a moment falls in the house, such as `2026-03`."""
    return day_of(work, at).isoformat()[:7]


def lock(work: Work, month: str) -> dict[str, Any]:
    """Lock a month that is over. Raises `Refused`: `bad-request`, `wrong-state`."""
    if not (_MONTH.fullmatch(month) and _FIRST_YEAR <= int(month[:4]) <= _LAST_YEAR):
        raise Refused(Fault("bad-request", "", f'"{month[:20]}" is no month', "a month such as 2026-03"))
    if month >= month_of(work, work.now):
        raise Refused(Fault("wrong-state", "", f"{month} is not over", "a month that is over"))
    if (old := _row(work, month)) is not None:
        wrong = f"{month} was locked at {moment_text(old.locked_at)}"
        raise Refused(Fault("wrong-state", "", wrong, "a month that is open"))
    work.connection.execute(periods.insert().values(month=month, locked_at=work.now, **work.made_by))
    chain.seal(work, periods, month)
    return {"month": month, "locked_at": work.moment, "person": work.actor.person}


def _row(work: Work, month: str) -> Row[Any] | None:
    return work.connection.execute(select(periods).where(periods.c.month == month)).first()


def refuse_locked(work: Work, at: datetime) -> None:
    """Refuse an entry whose time falls into a locked month."""
    month = month_of(work, at)
    if _row(work, month) is not None:
        right = "an entry in the open month; was the clock set back?"
        raise Refused(Fault("period-locked", "", f"{month} is locked", right))


def listed(work: Work, page: Page) -> tuple[list[dict[str, Any]], Listed]:
    """The locked months, last locked first."""
    rows = page_of(work, select(periods), periods, page)
    return [
        {"month": row.month, "locked_at": moment_text(row.locked_at), "person": row.person}
        for row in rows.rows
    ], rows
