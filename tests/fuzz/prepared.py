"""A house in which every call of the document can succeed: the books as they stood before the walks made it."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

import stores
from executed import executed
from flask import Flask
from staged import SHOP, Clock, House, road
from walks import a_picture

from api.app import create_app
from api.http.access import keep_books
from api.settings import Limits, Settings
from settle.books.work import Books, open_books

__all__ = ["EVERYTHING", "Prepared", "a_picture", "prepared"]

_UNLIMITED = 10**9
LIMITS = Limits(_UNLIMITED, _UNLIMITED, _UNLIMITED, _UNLIMITED)
# Where the stateful phase begins: a lot with all its accounts, posted.
EVERYTHING = "POST /v1/certificate-checks"


@dataclass
class Prepared:
    """The app, its owner's key, and the books before each call, `"POST /v1/quotes"` → file and time."""

    folder: Path
    examples: dict[str, Any] = field(default_factory=dict)
    stages: dict[str, tuple[Path, datetime]] = field(default_factory=dict)
    clock: Clock = field(default_factory=Clock)
    opened: Books | None = None
    stage: str = ""
    is_touched: bool = True

    def __post_init__(self) -> None:
        self.key = road().keys["owner"]
        self.examples = executed(self._keep)
        self.app = self._app()

    def _keep(self, call: str, house: House) -> None:
        if call not in self.stages:
            file = self.folder / f"before-{len(self.stages)}.sqlite3"
            stores.copied(house.till.file, file)
            self.stages[call] = file, house.clock.now

    def _app(self) -> Flask:
        self.open(EVERYTHING)
        assert self.opened is not None
        return create_app(
            Settings(str(self.opened.engine.url), shop=SHOP, limits=LIMITS), self.clock, self.opened
        )

    def open(self, call: str) -> None:
        """Open a fresh copy of the books before a call, unless they are open and nothing was kept in them."""
        if call == self.stage and not self.is_touched:
            return
        self.close()
        kept, self.clock.now = self.stages[call]
        self.opened = open_books(stores.copied(kept, self.folder / "open.sqlite3"), self.clock)
        self.stage, self.is_touched = call, False
        if hasattr(self, "app"):
            keep_books(self.app, self.opened)

    def close(self) -> None:
        if self.opened is not None:
            self.opened.close()


@contextmanager
def prepared(folder: Path) -> Iterator[Prepared]:
    """The house, and its books in a folder."""
    house = Prepared(folder)
    try:
        yield house
    finally:
        house.close()
