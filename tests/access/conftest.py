"""A shop that opened: terms, prices, a scale, a client."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from staged import House, house_at


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    with house_at("opened", tmp_path) as opened:
        yield opened
