"""A house at any stage of the road of `tests/api`, for the tests of other rooms.

The road is driven once a run, whoever asks first; each house is a copy with a clock of its own.
"""

import atexit
import shutil
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime
from functools import cache
from pathlib import Path

import stores
from flask import Flask

sys.path.insert(0, str(Path(__file__).parent / "api"))

from stages import ROAD, START, Clock
from till import Till

from api.app import create_app
from api.settings import Settings, Shop
from settle.books.access import SCOPES, make_key
from settle.books.work import THE_COMMAND, Books, open_books

SHOP = Shop(name="An invented refiner", address=("2 Nowhere Lane",), tax_identity="XX 000")


@dataclass(frozen=True)
class House:
    """Books of its own, the owner's till over them, a clock that stands until it is moved."""

    till: Till
    books: Books
    clock: Clock
    keys: dict[str, str]

    def as_(self, scope: str) -> Till:
        """A till with a key of one scope."""
        return self.till.with_key(self.keys[scope])

    def with_app(self, app: Flask) -> "House":
        till = Till(app, self.books, self.till.file, self.till.secret)
        return House(till, self.books, self.clock, self.keys)


@dataclass(frozen=True)
class Road:
    """The books at each stage and when that was."""

    app: Flask
    folder: Path
    keys: dict[str, str]
    times: dict[str, datetime] = field(default_factory=dict)

    def keep(self, stage: str, books: Path, now: datetime) -> None:
        stores.copied(books, self.folder / stage)
        self.times[stage] = now


@cache
def road() -> Road:
    """The road, driven from an empty shop to a posted settlement."""
    folder = Path(tempfile.mkdtemp(prefix="settle-road-"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    file, clock = folder / "under way.sqlite3", Clock(START)
    books = open_books(stores.migrated(file), clock)
    with books.writing(THE_COMMAND) as work:
        keys = {scope: make_key(work, scope, [scope]) for scope in SCOPES}
    app = create_app(Settings(str(books.engine.url), shop=SHOP), clock, books)
    driven = Road(app, folder, keys)
    driven.keep("empty", file, clock.now)
    till = Till(app, books, file, keys["owner"])
    for stage, reach, days in ROAD:
        reach(till)
        driven.keep(stage, file, clock.now)
        clock.move(days=days)
    books.close()
    return driven


@contextmanager
def house_at(stage: str, folder: Path) -> Iterator[House]:
    """A house as it stood at a stage."""
    file = folder / f"{stage.replace(' ', '-')}.sqlite3"
    url = stores.copied(road().folder / stage, file)
    clock = Clock(road().times[stage])
    books = open_books(url, clock)
    keys = road().keys
    try:
        yield House(Till(road().app, books, file, keys["owner"]), books, clock, keys)
    finally:
        books.close()
