"""Houses on the road, and an app of the test's own over the books of one."""

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from staged import House, house_at

from api.app import create_app
from api.settings import Settings


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    with house_at("settled", tmp_path) as settled:
        yield settled


@pytest.fixture
def with_settings(house: House) -> Callable[..., House]:
    """The house behind an app with other settings."""

    def made(**settings: Any) -> House:
        app = create_app(Settings(str(house.books.engine.url), **settings), house.clock, house.books)
        return house.with_app(app)

    return made
