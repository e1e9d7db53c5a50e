"""The house that the demo opens: books of its own, a clock of its own, a server on a free loopback port."""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime, timedelta
from threading import Thread
from time import monotonic
from typing import Any

from flask import Flask
from waitress import create_server
from waitress.wasyncore import close_all

from api.app import create_app
from api.settings import Settings
from settle.books.access import SCOPES, list_keys, make_key
from settle.books.migrations import upgrade
from settle.books.work import THE_COMMAND, Books, open_books

LOOPBACK = "127.0.0.1"


class DemoClock:
    """Stands where it was turned to, so that the same road always gives the same books; then runs on."""

    def __init__(self, start: datetime) -> None:
        self._turned_to = start
        self._running_since: float | None = None

    def __call__(self) -> datetime:
        if self._running_since is None:
            return self._turned_to
        return self._turned_to + timedelta(seconds=monotonic() - self._running_since)

    def turn_to(self, moment: datetime) -> None:
        self._turned_to = moment

    def run_on(self) -> None:
        self._running_since = monotonic()


@dataclass(frozen=True, slots=True)
class House:
    """What a client of the demo is given: an address, and one key a scope."""

    address: str
    keys: Mapping[str, str]


@contextmanager
def open_house(url: str, clock: DemoClock) -> Iterator[House]:
    """A running server over empty books. Raises `ValueError` where the books were used before."""
    upgrade(url)
    books = open_books(url, clock)
    try:
        keys = _keys(books)
        app = create_app(Settings(url, house_name="The demo's house"), clock, books)
        with _serving(app) as address:
            yield House(address, keys)
    finally:
        books.close()


def _keys(books: Books) -> dict[str, str]:
    with books.writing(THE_COMMAND) as work:
        if list_keys(work):
            raise ValueError("these books are in use: the demo wants a database of its own")
        return {scope: make_key(work, f"demo {scope}", [scope]) for scope in SCOPES}


@contextmanager
def _serving(app: Flask) -> Iterator[str]:
    # The map of sockets is ours, so that the server can be told to let go of all of them.
    sockets: dict[int, Any] = {}
    server = create_server(app, map=sockets, host=LOOPBACK, port=0)
    thread = Thread(target=server.run, name="demo server", daemon=True)
    thread.start()
    try:
        yield f"http://{LOOPBACK}:{server.effective_port}"
    finally:
        # Closed by the server's own thread, between two turns of its loop.
        server.trigger.pull_trigger(lambda: close_all(sockets))
        thread.join()
        server.task_dispatcher.shutdown()
