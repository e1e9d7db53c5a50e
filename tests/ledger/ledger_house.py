"""The road of settlement D, driven once a session on the till of `tests/api`; each test has a copy."""

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
import stores

sys.path.insert(0, str(Path(__file__).parents[1] / "api"))

from stages import ROAD, Clock
from till import Till

from api.app import create_app
from api.settings import Settings
from settle.books.access import SCOPES, make_key
from settle.books.check import all_faults
from settle.books.work import THE_COMMAND, Books, Work, open_books

ZONE = "Europe/London"


@dataclass(frozen=True)
class House:
    """A house at the end of the road: its till, its clock, its books."""

    till: Till
    clock: Clock
    books: Books
    keys: dict[str, str]
    file: Path

    def faults(self) -> list[str]:
        with self.books.reading() as work:
            return all_faults(work)

    @contextmanager
    def writing(self) -> Iterator[Work]:
        with self.books.writing(THE_COMMAND) as work:
            yield work

    def as_(self, scope: str) -> Till:
        return self.till.with_key(self.keys[scope])


def a_house(file: Path, clock: Clock, keys: dict[str, str]) -> House:
    url = stores.url(file)
    books = open_books(url, clock, ZONE)
    app = create_app(Settings(url, time_zone=ZONE), books=books)
    return House(Till(app, books, file, keys["owner"]), clock, books, keys, file)


@pytest.fixture(scope="session")
def road(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, datetime, dict[str, str]]:
    """The books when settlement D is posted, when that was, and the keys that open them."""
    file, clock = tmp_path_factory.mktemp("road") / "books.sqlite3", Clock()
    books = open_books(stores.migrated(file), clock, ZONE)
    with books.writing(THE_COMMAND) as work:
        keys = {scope: make_key(work, scope, [scope]) for scope in SCOPES}
    books.close()
    house = a_house(file, clock, keys)
    for _, reach, days in ROAD:
        reach(house.till)
        clock.move(days=days)
    house.books.close()
    return file, clock.now, keys


@pytest.fixture
def house(road: Any, tmp_path: Path) -> Iterator[House]:
    source, now, keys = road
    file = tmp_path / "books.sqlite3"
    stores.copied(source, file)
    found = a_house(file, Clock(now), keys)
    yield found
    found.books.close()
