"""A house with nothing in it, and the document that it publishes."""

from collections.abc import Iterator
from typing import Any

import pytest
from staged import House, house_at


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> Iterator[House]:
    with house_at("empty", tmp_path_factory.mktemp("house")) as opened:
        yield opened


@pytest.fixture(scope="module")
def document(house: House) -> Any:
    return house.till.ask("GET", "/openapi.json", Authorization=None).json
