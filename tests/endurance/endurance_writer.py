"""A process that posts one thing after another and tells each step down a pipe, until it is killed.

It tells when the first statement of a posting that writes was done, when COMMIT is about to be said and
when it was done, so that whoever kills it knows what it was at. Each step is one write to the pipe, short
enough to be there whole or not at all.
"""

import hashlib
import itertools
import json
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

from flask import Flask
from sqlalchemy import event

sys.path.insert(0, str(Path(__file__).parents[1] / "api"))

from stages import scrap
from till import Till

from api.app import create_app
from api.settings import Settings
from settle.books.work import Books, open_books

YES = {"who": "Ann Other", "how": "in_person"}
CLIENT, REFINES, BUYS = "C-1", "T-1", "T-2"
ATOMIC = 4096  # PIPE_BUF of Linux


@dataclass(frozen=True)
class Posting:
    """One call that keeps something, under an Idempotency-Key of its own."""

    key: str
    path: str
    body: Any = None
    seen: str | None = None


def bought(weight: str = "10") -> dict[str, Any]:
    """The body of a purchase in cash; of 0.01 g nothing is left to pay, so that it is refused."""
    return {"client": CLIENT, "terms": BUYS, "items": [scrap(weight)], "paid_in": "cash"}


class Bench(Till):
    """A till whose Idempotency-Keys no other process uses."""

    def of_life(self, life: int) -> "Bench":
        self.keys = (f"bench {life}, {n}" for n in itertools.count())
        return self

    def ask(self, *of: Any, **headers: Any) -> Any:
        return super().ask(*of, **{"Idempotency_Key": next(self.keys), **headers})


def drafted(till: Till) -> str:
    """The id of the draft of a new lot."""
    lot = till.receive(client=CLIENT, terms=REFINES, items=[scrap("20")], acceptance=YES)["number"]
    till.melt(lot, "19.5")
    till.assay(lot, {"gold": "500"})
    return str(till.draft(lot)["id"])


def digest(answer: bytes) -> str:
    return hashlib.sha256(answer).hexdigest()


class Teller:
    """Tells the steps of a posting as the engine takes them."""

    def __init__(self, pipe: Connection, books: Books) -> None:
        self.pipe = pipe
        self.is_posting = self.has_written = False
        event.listen(books.engine, "after_cursor_execute", self._executed)
        event.listen(books.engine, "commit", self._committing)
        event.listen(books.engine, "checkin", self._committed)

    def tell(self, step: str, **more: Any) -> None:
        said = json.dumps({"step": step, "at": time.monotonic_ns(), **more}).encode()
        assert len(said) < ATOMIC - 8, said
        self.pipe.send_bytes(said)

    def _executed(self, _conn: Any, _cursor: Any, statement: str, *_: Any) -> None:
        # That a key was used is noted in a transaction of its own, before the posting's.
        writes = statement.startswith(("INSERT", "UPDATE")) and "access_keys" not in statement
        if self.is_posting and writes and not self.has_written:
            self.has_written = True
            self.tell("first")

    def _committing(self, _conn: Any) -> None:
        if self.has_written:
            self.tell("committing")

    def _committed(self, *_: Any) -> None:
        if self.has_written:
            self.has_written = False
            self.tell("committed")


def write_on(url: str, secret: str, life: int, pipe: Connection) -> None:
    """Settle, pay, buy and take back, until killed."""
    books = open_books(url)
    app = create_app(Settings(url), books=books)
    teller, till = Teller(pipe, books), Bench(app, books, Path(), secret).of_life(life)
    for posting in _postings(till, life):
        _post(app, secret, teller, posting)


def _postings(till: Till, life: int) -> Iterator[Posting]:
    for turn in range(1000):
        key, draft = f"life {life}, {turn}", drafted(till)
        seen = till.get(f"/v1/settlements/{draft}").etag
        yield Posting(f"{key}: settle", f"/v1/settlements/{draft}/posting", seen=seen)
        part = {"amount": {"amount": "100.00", "currency": "GBP"}, "paid_in": "cash"}
        yield Posting(f"{key}: pay", f"/v1/settlements/{draft}/payments", part)
        yield Posting(f"{key}: buy", "/v1/purchases", bought())
        number = till.get("/v1/purchases?limit=1")["items"][0]["number"]
        yield Posting(f"{key}: take back", f"/v1/purchases/{number}/reversal", {"reason": "a slip"})


def asked(app: Flask, secret: str, posting: Posting) -> Any:
    """The answer to a posting."""
    named = {"Idempotency-Key": posting.key, "If-Match": posting.seen, "Authorization": f"Bearer {secret}"}
    headers = {name: value for name, value in named.items() if value is not None}
    how = {} if posting.body is None else {"json": posting.body}
    return app.test_client().post(posting.path, headers=headers, **how)


def _post(app: Flask, secret: str, teller: Teller, posting: Posting) -> None:
    teller.tell("asked", **vars(posting))
    teller.is_posting = True
    answer = asked(app, secret, posting)
    teller.is_posting = False
    assert answer.status_code == 201, answer.get_data()
    teller.tell("acknowledged", key=posting.key, hash=digest(answer.get_data()))
