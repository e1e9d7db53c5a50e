"""A shop whose books many write at once: where they are, how they are asked, what must hold of them.

A test gets the address of its books from `STORES` alone: it follows the store of the run (see `stores`).
"""

import json
import os
import re
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
import requests
import stores
from flask import Flask
from sqlalchemy import select

# The till of the tests of the API sets the shop up.
sys.path.insert(0, str(Path(__file__).parents[1] / "api"))

from endurance_writer import drafted
from stages import gold_only
from till import Till

from api.app import create_app
from api.settings import Settings
from settle.books import tables
from settle.books.access import make_key
from settle.books.check import all_faults
from settle.books.migrations import upgrade
from settle.books.work import THE_COMMAND, Books, open_books

ROOT = Path(__file__).parents[2]
LOOPBACK = "127.0.0.1"
PATIENCE_S = 60
# A charge, so that of a small purchase nothing is left.
CHARGE = {"name": "handling", "base": "lot", "rate": "5.00", "tax": "standard"}
TAXES = {"standard": {"rate": "0.20", "class": "standard"}}
COUNTER = {"gold": {"settle_on": "counter", "accountable": "1", "payout_rate": "1"}}
# What tells a client to ask again.
AGAIN = {"busy", "request-under-way"}


# The kind of database of this run: the URL of new, empty books of it.
STORES: Mapping[str, Callable[[Path], str]] = {
    stores.STORE: lambda folder: stores.empty(folder / "books.sqlite3")
}


@dataclass(frozen=True)
class Reply:
    """An answer, whoever gave it."""

    status: int
    body: Any
    headers: Mapping[str, str]

    @property
    def kind(self) -> str:
        """The type of a problem; nothing where it is none."""
        return self.body.get("type", "").removeprefix("/problems/") if self.status >= 400 else ""


# Method, path, body, Idempotency-Key, If-Match.
Ask = Callable[[str, str, Any, str, str | None], Reply]


def _headers(secret: str, key: str, seen: str | None) -> dict[str, str]:
    named = {"Authorization": f"Bearer {secret}", "Idempotency-Key": key, "If-Match": seen}
    return {name: value for name, value in named.items() if value is not None}


def inside(app: Flask, secret: str) -> Ask:
    """A caller in this process, for one thread."""
    client = app.test_client()

    def ask(method: str, path: str, body: Any, key: str, seen: str | None) -> Reply:
        how = {} if body is None else {"json": body}
        answer = client.open(path, method=method, headers=_headers(secret, key, seen), **how)
        return Reply(answer.status_code, answer.get_json(), dict(answer.headers))

    return ask


def over_http(address: str, secret: str) -> Ask:
    """A caller of a server, for one thread."""
    session = requests.Session()
    # A proxy of the environment must not see calls to this very machine.
    session.trust_env = False

    def ask(method: str, path: str, body: Any, key: str, seen: str | None) -> Reply:
        headers = _headers(secret, key, seen)
        answer = session.request(method, address + path, json=body, headers=headers, timeout=PATIENCE_S)
        return Reply(answer.status_code, answer.json(), dict(answer.headers))

    return ask


@dataclass
class Shop:
    """The books of a shop, and an owner's key to them."""

    url: str
    secret: str
    books: Books
    app: Flask

    @property
    def till(self) -> Till:
        return Till(self.app, self.books, Path(), self.secret)

    def drafts(self, count: int) -> list[str]:
        """The ids of so many new drafts, of a lot each."""
        return [drafted(self.till) for _ in range(count)]

    def seen(self, draft: str) -> str:
        """The ETag of a draft as it stands."""
        return str(self.till.get(f"/v1/settlements/{draft}").etag)

    def faults(self) -> list[str]:
        with self.books.reading() as work:
            return all_faults(work)

    def drawn(self, series: str) -> int:
        """The last number of a series that was drawn."""
        of = tables.numbers.c
        with self.books.reading() as work:
            drawn = work.connection.execute(select(of.last).where(of.series == series)).scalars().all()
        assert len(drawn) <= 1, "the tests ran across the turn of a year"
        return drawn[0] if drawn else 0

    def there(self, series: str) -> list[int]:
        """The numbers of a series that documents bear, in order."""
        lists = {"S": "settlements", "P": "purchases", "N": "credit-notes"}
        numbers = [row["number"] for row in self.till.listed(f"/v1/{lists[series]}?limit=200")]
        return sorted(int(number.rpartition("-")[2]) for number in numbers if number is not None)


def open_shop(url: str) -> Shop:
    """New books at an address: T-1 to refine under, T-2 that buy, a price, a client."""
    upgrade(url)
    books = open_books(url)
    with books.writing(THE_COMMAND) as work:
        secret = make_key(work, "till", ["owner"])
    shop = Shop(url, secret, books, create_app(Settings(url), books=books))
    till = shop.till
    till.terms(gold_only(charges=[CHARGE], taxes=TAXES, price_max_age="P1D"))
    till.terms(gold_only(name="counter", metals=COUNTER, charges=[CHARGE], taxes=TAXES, price_max_age="P1D"))
    till.prices(gold="60.00")
    till.client("Ann Other")
    return shop


@contextmanager
def served(url: str, folder: Path, count: int) -> Iterator[list[str]]:
    """The addresses of so many `settle serve` over the books, each a process of its own."""
    logs = [folder / f"server-{i}.log" for i in range(count)]
    servers = [_started(url, log) for log in logs]
    try:
        yield [_address(*of) for of in zip(servers, logs, strict=True)]
    finally:
        for server in servers:
            server.terminate()
        for server in servers:
            server.wait(PATIENCE_S)


def _started(url: str, log: Path) -> subprocess.Popen[bytes]:
    wide = {f"SETTLE_LIMITS_PER_{what}": "1000000" for what in ("KEY", "ADDRESS")}
    env = {**os.environ, **wide, "SETTLE_DATABASE_URL": url, "PYTHONPATH": str(ROOT)}
    command = [sys.executable, "-m", "api.cli", "serve", "--port", "0"]
    with log.open("wb") as said:
        return subprocess.Popen(command, cwd=ROOT, env=env, stdout=said, stderr=said)


def _address(server: subprocess.Popen[bytes], log: Path) -> str:
    until = time.monotonic() + PATIENCE_S
    while time.monotonic() < until and server.poll() is None:
        if said := re.search(rf"http://{re.escape(LOOPBACK)}:\d+", log.read_text("utf-8")):
            return said[0]
        time.sleep(0.05)
    raise AssertionError(f"no server came up: {log.read_text('utf-8')}")


@pytest.fixture(scope="module", params=STORES)
def shop(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Shop]:
    opened = open_shop(STORES[request.param](tmp_path_factory.mktemp("endurance")))
    yield opened
    opened.books.close()


def impatient(url: str) -> Books:
    """Books that refuse at once, as busy, where a lock is not to be had."""
    books = open_books(url)
    stores.impatient(books.engine)
    return books


@pytest.fixture(scope="module")
def four_servers(shop: Shop, tmp_path_factory: pytest.TempPathFactory) -> Iterator[list[str]]:
    with served(shop.url, tmp_path_factory.mktemp("servers"), 4) as addresses:
        yield addresses


def canonical(answer: Any) -> str:
    return json.dumps(answer, sort_keys=True)
