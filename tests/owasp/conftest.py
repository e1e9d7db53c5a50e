"""Houses that somebody attacks. One module an item of the OWASP API Security Top 10, 2023 edition."""

from collections.abc import Iterator
from pathlib import Path

import pytest
import stores
from staged import House, house_at

from tests.line.served import Served, served


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    """A shop at the end of a lot's way: everything stands in it."""
    with house_at("settled", tmp_path) as settled:
        yield settled


@pytest.fixture(scope="module")
def standing(tmp_path_factory: pytest.TempPathFactory) -> Iterator[House]:
    """The same, for tests that only look or are refused."""
    with house_at("settled", tmp_path_factory.mktemp("standing")) as settled:
        yield settled


@pytest.fixture(scope="session")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """A house in a process of its own, as `settle serve` serves it."""
    folder = tmp_path_factory.mktemp("served")
    with served(stores.empty(folder / "books.sqlite3"), folder / "log") as running:
        yield running


@pytest.fixture
def opened(tmp_path: Path) -> Iterator[House]:
    """A shop that opened: terms, prices, a scale, a client."""
    with house_at("opened", tmp_path) as shop:
        yield shop
