"""Books that have reached a stage of the road, copied for each test; `check` finds nothing after any."""

import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
import stores
from flask import Flask

# The till and the road are those of the tests of the API.
sys.path.insert(0, str(Path(__file__).parents[1] / "api"))

from desk import Desk
from stages import ROAD, Clock

from api.app import create_app
from api.settings import Settings, Shop
from settle.books.access import SCOPES, make_key
from settle.books.check import all_faults
from settle.books.work import THE_COMMAND, open_books

SHOP = Shop(name="An invented refiner", address=("2 Nowhere Lane",), tax_identity="XX 000")


@dataclass(frozen=True)
class Road:
    """One app, the books at each stage and when that was, a key for each scope."""

    app: Flask
    folder: Path
    keys: dict[str, str]
    times: dict[str, datetime] = field(default_factory=dict)

    def file(self, stage: str) -> Path:
        return self.folder / f"{stage}.sqlite3"

    def desk(self, file: Path, clock: Clock) -> Desk:
        return Desk(self.app, open_books(stores.url(file), clock), file, self.keys["owner"])


def _keys(url: str, clock: Clock) -> dict[str, str]:
    books = open_books(url, clock)
    with books.writing(THE_COMMAND) as work:
        made = {scope: make_key(work, scope, [scope]) for scope in SCOPES}
    books.close()
    return made


@pytest.fixture(scope="session")
def road(tmp_path_factory: pytest.TempPathFactory) -> Road:
    folder = tmp_path_factory.mktemp("road")
    file, clock = folder / "under way.sqlite3", Clock()
    url = stores.migrated(file)
    made = Road(create_app(Settings(url, shop=SHOP), clock=clock), folder, _keys(url, clock))
    desk = made.desk(file, clock)
    for stage, reach, days in ROAD:
        reach(desk)
        stores.copied(file, made.file(stage))
        made.times[stage] = clock.now
        clock.move(days=days)
    desk.books.close()
    return made


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def keys(road: Road) -> dict[str, str]:
    return road.keys


@pytest.fixture
def at(road: Road, clock: Clock, tmp_path: Path) -> Iterator[Callable[[str], Desk]]:
    """The owner's desk at a stage of the road; whatever the test did there, the books are whole."""
    opened: list[Desk] = []

    def reached(stage: str) -> Desk:
        file = tmp_path / f"{len(opened)}.sqlite3"
        stores.copied(road.file(stage), file)
        clock.now = road.times[stage]
        opened.append(road.desk(file, clock))
        return opened[-1]

    yield reached
    for desk in opened:
        with desk.books.reading() as work:
            faults = all_faults(work)
        desk.books.close()
        assert faults == []


@pytest.fixture
def shop(at: Any) -> Desk:
    return at("opened")


@pytest.fixture
def settled(at: Any) -> Desk:
    """Settlement D is posted: net 811.04, two bars of 20 g assigned, nothing paid."""
    return at("settled")
