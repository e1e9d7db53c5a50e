"""An app on real books, a clock that the test moves, a key for each scope.

The road of settlement D is driven once a session; a test begins on a copy of the stage it asks for.
Making the app is slow, so one app serves every till, each over its own books and clock.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
import stores
from flask import Flask
from stages import ROAD, Clock
from till import Till

from api.app import create_app
from api.http.access import the_books
from api.settings import Settings
from settle.books.access import SCOPES, make_key
from settle.books.work import THE_COMMAND, Books, open_books


@dataclass(frozen=True)
class Stages:
    """Books as they stood at each stage of the road, and the secrets of the keys that open them."""

    app: Flask
    folder: Path
    keys: dict[str, str]
    times: dict[str, datetime] = field(default_factory=dict)

    def file(self, stage: str) -> Path:
        return self.folder / f"{stage.replace(' ', '-')}.sqlite3"

    def keep(self, stage: str, file: Path, now: datetime) -> None:
        """Keep a copy of the books as they stand, though they are open."""
        stores.copied(file, self.file(stage))
        self.times[stage] = now

    def till(self, stage: str, file: Path, clock: Clock) -> Till:
        """The owner's till over a copy of a stage."""
        url = stores.copied(self.file(stage), file)
        clock.now = self.times[stage]
        return Till(self.app, open_books(url, clock), file, self.keys["owner"])


def make_keys(books: Books) -> dict[str, str]:
    with books.writing(THE_COMMAND) as work:
        return {scope: make_key(work, scope, [scope]) for scope in SCOPES}


@pytest.fixture(scope="session")
def stages(tmp_path_factory: pytest.TempPathFactory) -> Stages:
    folder = tmp_path_factory.mktemp("stages")
    file, clock = folder / "under-way.sqlite3", Clock()
    app = create_app(Settings(stores.migrated(file)), clock=clock)
    with app.app_context():
        books = the_books()
    found = Stages(app, folder, make_keys(books))
    found.keep("empty", file, clock.now)
    till = Till(app, books, file, found.keys["owner"])
    for stage, reach, days in ROAD:
        reach(till)
        found.keep(stage, file, clock.now)
        clock.move(days=days)
    books.close()
    return found


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def at(stages: Stages, clock: Clock, tmp_path: Path) -> Iterator[Callable[[str], Till]]:
    """The owner's till at a stage of the road, on books of the test's own."""
    opened: list[Till] = []

    def reached(stage: str) -> Till:
        opened.append(stages.till(stage, tmp_path / f"{len(opened)}.sqlite3", clock))
        return opened[-1]

    yield reached
    for till in opened:
        till.books.close()


@pytest.fixture(scope="module")
def standing(stages: Stages, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Callable[[str], Till]]:
    """As `at`, for tests that only look or are refused: one till a stage for the whole module."""
    folder = tmp_path_factory.mktemp("standing")
    opened: dict[str, Till] = {}

    def reached(stage: str) -> Till:
        if stage not in opened:
            opened[stage] = stages.till(stage, folder / f"{len(opened)}.sqlite3", Clock())
        return opened[stage]

    yield reached
    for till in opened.values():
        till.books.close()


@pytest.fixture
def keys(stages: Stages) -> dict[str, str]:
    """Scope → the secret of a key that has this scope alone."""
    return stages.keys


@pytest.fixture
def shop(at: Any) -> Till:
    """The owner's till in a shop with terms, prices, stock, a scale and a client, and nothing else."""
    return at("opened")
