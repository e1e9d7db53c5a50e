"""Real books of the test's own, and a clock that the test turns."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
import stores

from settle.books.work import Books, open_books

START = datetime(2026, 3, 2, 9, 30, tzinfo=UTC)


@dataclass
class TurnedClock:
    """A clock that stands until it is turned."""

    now: datetime = field(default=START)

    def __call__(self) -> datetime:
        return self.now

    def turn(self, by: timedelta) -> None:
        self.now += by


@pytest.fixture
def clock() -> TurnedClock:
    return TurnedClock()


@pytest.fixture
def url(tmp_path: Path) -> str:
    return stores.migrated(tmp_path / "books.sqlite3")


@pytest.fixture
def books(url: str, clock: TurnedClock) -> Iterator[Books]:
    opened = open_books(url, clock, "Pacific/Auckland")
    yield opened
    opened.close()
