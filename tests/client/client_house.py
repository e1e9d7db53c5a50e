"""A house that answers over a real socket, on a line that can fail."""

import socket
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from threading import Thread
from typing import Any

import pytest
from staged import House, house_at
from werkzeug.serving import WSGIRequestHandler, make_server

from api import client
from api.http.access import keep_books


@dataclass
class Line:
    """What stands between client and house: each request takes the next fault, then all go through."""

    app: Callable[..., Any]
    faults: list[Callable[..., Any]] = field(default_factory=list)
    keys: list[str] = field(default_factory=list)

    def __call__(self, environ: dict[str, Any], start_response: Callable[..., Any]) -> Any:
        self.keys.append(environ.get("HTTP_IDEMPOTENCY_KEY", ""))
        if self.faults:
            return self.faults.pop(0)(self.app, environ, start_response)
        return self.app(environ, start_response)


def drops_the_answer(app: Callable[..., Any], environ: dict[str, Any], _: Any) -> Any:
    """The house does its work, and nobody hears of it."""
    list(app(environ, lambda *_: None))
    return never_arrives(app, environ, None)


def never_arrives(_: Any, environ: dict[str, Any], __: Any) -> Any:
    environ["werkzeug.socket"].shutdown(socket.SHUT_RDWR)
    raise ConnectionError


def cuts_the_answer(arrives: bytes) -> Callable[..., Any]:
    """The house does its work; of its answer only the beginning arrives."""

    def cut(app: Callable[..., Any], environ: dict[str, Any], _: Any) -> Any:
        environ["werkzeug.socket"].sendall(arrives)
        return drops_the_answer(app, environ, None)

    return cut


def answers(status: str, **headers: str) -> Callable[..., Any]:
    """Something on the way answers in its own words."""

    def answered(_: Any, __: Any, start_response: Callable[..., Any]) -> Any:
        start_response(status, [(name.replace("_", "-"), value) for name, value in headers.items()])
        return [b"<p>not ours</p>"]

    return answered


class Quiet(WSGIRequestHandler):
    def log(self, *_: Any) -> None:
        """Say nothing."""


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    with house_at("opened", tmp_path) as opened:
        yield opened


@pytest.fixture
def line(house: House) -> Iterator[Line]:
    keep_books(house.till.app, house.books)
    yield Line(house.till.app)


@pytest.fixture
def address(line: Line) -> Iterator[str]:
    server = make_server("127.0.0.1", 0, line, threaded=True, request_handler=Quiet)
    Thread(target=server.serve_forever, daemon=True).start()
    yield f"http://127.0.0.1:{server.server_port}"
    server.shutdown()
    server.server_close()


@pytest.fixture
def waits() -> list[float]:
    return []


@pytest.fixture
def shop(house: House, address: str, waits: list[float]) -> client.House:
    """A client with the owner's key that doesn't wait, and notes how long it would have."""
    asked = client.House(address, house.keys["owner"], person="Zoë", sleep=waits.append)
    asked.session.trust_env = False
    return asked
