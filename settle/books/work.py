"""One database, one transaction at a time: `Books.writing` and `Books.reading` give a `Work`.

Writing takes the lock at once and is taken back unless it ends well; reading
sees one state of the books from its first question to its last.
"""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from sqlalchemy import Connection, Engine

from settle.books.columns import moment_text
from settle.books.store import open_engine, transaction
from settle.books.tables import numbers

Clock = Callable[[], datetime]

_NO_YEAR = 0


def system_clock() -> datetime:
    """The time of this machine, in UTC."""
    return datetime.now(UTC)


@dataclass(frozen=True, slots=True)
class Actor:
    """Who works: an access key and its scopes, and the person at the till if one was named."""

    key_id: str | None
    key_name: str
    scopes: frozenset[str]
    person: str | None = None
    # Of the pages that may use the key in a browser.
    origins: frozenset[str] = frozenset()


NOBODY = Actor(None, "", frozenset())
THE_COMMAND = Actor(None, "settle", frozenset({"owner"}))


@dataclass(frozen=True, slots=True)
class Work:
    """One transaction: its connection, its one moment, and who works in it."""

    connection: Connection
    now: datetime
    actor: Actor
    time_zone: ZoneInfo
    # The number of the last entry (`records`) that is seen; where there is one, the books are
    # looked at as they stood when something was posted.
    last_seen: int | None = None

    @property
    def moment(self) -> str:
        """`now` as answers show it."""
        return moment_text(self.now)

    @property
    def made_by(self) -> dict[str, str | None]:
        """Values for the columns `key` and `person`."""
        return {"key": self.actor.key_id, "person": self.actor.person}

    def number(self, series: str) -> str:
        """The next number of a series in the house's year, such as `Q-2026-0001`.

        It is drawn in this transaction: taken back with it, so a series has no gap.
        """
        year = self.now.astimezone(self.time_zone).year
        return f"{series}-{year}-{self._next(series, year):04d}"

    def name(self, series: str) -> str:
        """The next name of a series that knows no years, such as `PR-17`."""
        return f"{series}-{self._next(series, _NO_YEAR)}"

    def _next(self, series: str, year: int) -> int:
        of = numbers.c
        next_one = numbers.update().where(of.series == series, of.year == year).values(last=of.last + 1)
        drawn = self.connection.execute(next_one.returning(of.last)).scalar()
        if drawn is None:
            self.connection.execute(numbers.insert().values(series=series, year=year, last=1))
        return int(drawn or 1)


class Books:
    """The books of one house."""

    def __init__(self, engine: Engine, clock: Clock, time_zone: ZoneInfo) -> None:
        self.engine = engine
        self.clock = clock
        self.time_zone = time_zone

    @contextmanager
    def writing(self, actor: Actor) -> Iterator[Work]:
        """One transaction that may write. Raises `Refused` of kind `busy` where the lock isn't to be had."""
        with transaction(self.engine, "writing") as connection:
            yield self._work(connection, actor)

    @contextmanager
    def reading(self, actor: Actor = NOBODY) -> Iterator[Work]:
        """One transaction that can't write."""
        with transaction(self.engine, "reading") as connection:
            yield self._work(connection, actor)

    def close(self) -> None:
        """Let go of the database."""
        self.engine.dispose()

    def _work(self, connection: Connection, actor: Actor) -> Work:
        # Milliseconds are what the books keep, so a moment read back equals the one written.
        now = self.clock().astimezone(UTC)
        now = now.replace(microsecond=now.microsecond // 1000 * 1000)
        return Work(connection, now, actor, self.time_zone)


def open_books(url: str, clock: Clock = system_clock, time_zone: str = "UTC") -> Books:
    """The books behind a `url`. `ValueError`, `ZoneInfoNotFoundError` for what can't be."""
    return Books(open_engine(url), clock, ZoneInfo(time_zone))
