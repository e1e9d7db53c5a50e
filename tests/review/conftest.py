"""What the simulations found is said aloud at the end of the run: sizes, shares, and the full command."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
import said
import stores

from tests.simulation import house
from tests.simulation.shop import Shop
from tests.simulation.truth import World

SAID: list[str] = []
DAYS, SEED = 200, 1
QUIET, BUSY = 0.1, 1.6
IN_FULL = "python -m tests.simulation --days 330 --seed 11 --check-every 30"


def pytest_configure(config: pytest.Config) -> None:
    config.addinivalue_line("markers", "rule(number): the rule that a test holds the code to")


@pytest.fixture(scope="session")
def say() -> Callable[[str], None]:
    return SAID.append


@said.at_the_end
def _found() -> list[said.Section]:
    return [("what the simulations found", SAID)] if SAID else []


@dataclass(frozen=True)
class Simulated:
    """A shop after its days, and what `check` found in each evening."""

    shop: Shop
    faults: list[str]


def _opened(folder: Path, lots_a_day: float) -> Shop:
    """What kinds have in common is drawn anew for each lot: each its own shop."""
    world = World(house.USUAL)
    url = stores.migrated(folder / "books.sqlite3")
    return Shop(url, world, house.terms(world), SEED, lots_a_day, anew=True)


@pytest.fixture(scope="session")
def simulated(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Simulated]:
    """200 days of a quiet shop, checked each evening."""
    shop = _opened(tmp_path_factory.mktemp("quiet"), QUIET)
    faults = [fault for _ in range(DAYS) for fault in shop.day()]
    yield Simulated(shop, faults)
    shop.books.close()


@pytest.fixture(scope="session")
def busy(tmp_path_factory: pytest.TempPathFactory, say: Callable[[str], None]) -> Iterator[Simulated]:
    """200 days of a busy shop, 300 lots and more, checked on the last evening."""
    shop = _opened(tmp_path_factory.mktemp("busy"), BUSY)
    faults = [fault for day in range(1, DAYS + 1) for fault in shop.day(check=day == DAYS)]
    say(f"{shop.counts['lots']} lots in {DAYS} days, checked on the last evening; on more of them: {IN_FULL}")
    yield Simulated(shop, faults)
    shop.books.close()
