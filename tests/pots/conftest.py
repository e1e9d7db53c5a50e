"""A shop with terms that many lots share, stock and prices; `check` finds nothing after any test."""

import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
import stores
from flask import Flask

# The desk, the till and the clock are those of the tests of the API and of the flows.
for room in ("api", "flows"):
    sys.path.insert(0, str(Path(__file__).parents[1] / room))

from stages import Clock
from works import TERMS, Works

from api.app import create_app
from api.settings import Settings
from settle.books.access import SCOPES, make_key
from settle.books.check import all_faults
from settle.books.work import THE_COMMAND, open_books


@dataclass(frozen=True)
class Shop:
    """One app, books that were just opened, a key for each scope."""

    app: Flask
    file: Path
    keys: dict[str, str]

    def works(self, file: Path, clock: Clock) -> Works:
        return Works(self.app, open_books(stores.url(file), clock), file, self.keys["owner"])


@pytest.fixture(scope="session")
def opened(tmp_path_factory: pytest.TempPathFactory) -> Shop:
    file, clock = tmp_path_factory.mktemp("pots") / "opened.sqlite3", Clock()
    url = stores.migrated(file)
    books = open_books(url, clock)
    with books.writing(THE_COMMAND) as work:
        keys = {scope: make_key(work, scope, [scope]) for scope in SCOPES}
    stores.copied(file, file.with_name("empty.sqlite3"))
    shop = Shop(create_app(Settings(url), clock=clock, books=books), file, keys)
    works = Works(shop.app, books, file, keys["owner"])
    works.terms(TERMS)
    works.prices(gold="60.00", silver="0.80")
    works.stock("silver", "1000", "1000")
    works.stock("gold", "5", "1000")
    works.client("Ada Fernhollow")
    books.close()
    return shop


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def keys(opened: Shop) -> dict[str, str]:
    return opened.keys


@pytest.fixture
def works(opened: Shop, clock: Clock, tmp_path: Path) -> Iterator[Works]:
    """The owner's key in the shop; whatever the test did there, the books are whole."""
    file = tmp_path / "books.sqlite3"
    stores.copied(opened.file, file)
    found = opened.works(file, clock)
    yield found
    with found.books.reading() as work:
        faults = all_faults(work)
    found.books.close()
    assert faults == []


def pytest_configure(config: Any) -> None:
    config.addinivalue_line("markers", "rule(number): the rule that a test holds the code to")
