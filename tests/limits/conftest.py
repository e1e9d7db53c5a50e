"""A shop that opened, behind an app that counts."""

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from staged import House, house_at

from api.app import create_app
from api.settings import Limits, Settings


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    with house_at("settled", tmp_path) as opened:
        yield opened


@pytest.fixture
def limited(house: House) -> Callable[..., House]:
    """The house behind an app with these limits; the others are wide."""

    def made(settings: dict[str, Any] | None = None, **limits: int) -> House:
        wide = dict.fromkeys(("per_key", "per_address", "estimates_per_key", "estimates_per_address"), 1000)
        found = Settings(str(house.books.engine.url), limits=Limits(**{**wide, **limits}), **(settings or {}))
        return house.with_app(create_app(found, house.clock, house.books))

    return made
