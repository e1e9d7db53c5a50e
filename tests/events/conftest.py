"""A shop whose hooks may lie on this machine, and a receiver."""

from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest
from flask import Flask
from receiver import Receiver, receiving
from staged import House, house_at

from api.app import create_app
from api.events import Deliverer
from api.settings import Settings


@cache
def own_network_app() -> Flask:
    return create_app(Settings("sqlite://", hooks_private=True))


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    with house_at("opened", tmp_path) as opened:
        yield opened.with_app(own_network_app())


@pytest.fixture
def deliverer(house: House) -> Deliverer:
    return Deliverer(house.books, private=True, chance=lambda: 1.0, patience_s=3.0)


@pytest.fixture
def receiver() -> Iterator[Receiver]:
    with receiving() as running:
        yield running
