"""What drives the shop: one call at a time, looked at from all sides before the next."""

import itertools
import json
import os
import shutil
import sqlite3
from collections import Counter
from collections.abc import Callable, Sequence
from contextlib import closing
from dataclasses import dataclass
from datetime import datetime, timedelta
from fractions import Fraction
from random import Random
from typing import Any

from opened import Clock, Till, model, opening
from papers import Json
from surveyed import Surveyor, account, account_read, copied, everything, position, position_read
from till import Answer

from settle.books.check import all_faults
from settle.books.work import open_books

# (use case, "done" | kind of problem) → how often, over all runs of this process.
COUNTS: Counter[tuple[str, str]] = Counter()
STEPS: Counter[str] = Counter()
_FILES = itertools.count(1)
LOOK_EVERY, CHECK_EVERY = 5, 40
TICK = timedelta(seconds=7)


@dataclass(frozen=True)
class UseCase:
    """What can be asked, of which subjects: those that are ready for it, and any at all."""

    name: str
    act: Callable[..., None]
    ready: Callable[[Any], Sequence[Any]]
    every: Callable[[Any], Sequence[Any]]
    weight: int


USE_CASES: dict[str, UseCase] = {}


def use_case(
    name: str,
    ready: Callable[[Any], Sequence[Any]],
    every: Callable[[Any], Sequence[Any]] | None = None,
    weight: int = 2,
) -> Callable[[Callable[..., None]], Callable[..., None]]:
    """Enter a use case: `ready` and `every` give subjects from the driver's state; one is acted on."""

    def entered(act: Callable[..., None]) -> Callable[..., None]:
        USE_CASES[name] = UseCase(name, act, ready, every or ready, weight)
        return act

    return entered


def always(_: Any) -> Sequence[Any]:
    return [None]


def g(weight: Fraction, places: int = 2) -> Json:
    """A weight as a scale shows it."""
    return {"amount": f"{float(round(weight, places)):.{places}f}", "unit": "g"}


class BooksDifferError(AssertionError):
    """The books and the papers differ, or an answer is not what the state allows."""

    def __init__(self, found: str, told: Sequence[str] = ()) -> None:
        """What was found, and after which calls."""
        super().__init__("\n".join([found, "", *told[-60:]]))


class Shop:
    """One run: the till over its own books, the model beside it, a clock that the run moves."""

    def __init__(self) -> None:
        opened = opening()
        self.file = opened.folder / f"run-{next(_FILES)}.sqlite3"
        shutil.copyfile(opened.file, self.file)
        self.clock = Clock(opened.now)
        self.books = open_books(f"sqlite:///{self.file}", self.clock)
        self.till = Till(opened.app, self.books, self.file, opened.key)
        self.m = model()
        self.surveyor = Surveyor(self.file)
        self.calls = 0
        # Moments that are over, and the position as it was then (J4).
        self.past: list[tuple[datetime, Json]] = []
        self.latest = opened.now
        self.told: list[str] = []
        self.done: set[str] = set()
        self.differs = False

    def fail(self, *found: str) -> None:
        """End the run: what was found, and the calls that led there."""
        self.differs = True
        raise BooksDifferError("\n".join(found), self.told)

    def close(self) -> None:
        self.books.close()
        for of in self.file.parent.glob(f"{self.file.name}*"):
            of.unlink()

    @property
    def now(self) -> datetime:
        return self.clock.now

    @property
    def next_at(self) -> datetime:
        """When the next call will be."""
        return self.clock.now + TICK

    @property
    def year(self) -> int:
        return self.now.year

    # asking ------------------------------------------------------------------------------------

    def ask(
        self,
        name: str,
        path: str,
        body: Any,
        then: Callable[[Answer], None],
        *,
        may: bool | None = None,
        seen: str | None = None,
        method: str = "POST",
    ) -> bool:
        """One use case. `may`: whether the state allows it, None where the model can't tell.

        A refusal must leave every row as it was; what is done goes into the model by `then`, and all
        is looked at again. Whether it was done.
        """
        self.calls += 1
        self.clock.now = self.next_at
        if self.now < self.latest:
            # A clock that was set back: prices and quotes of later are not there yet.
            may = None
        self.latest = max(self.now, self.latest)
        tag = self.till.ask("GET", seen).headers.get("ETag") if seen else None
        said = f"{name}: {method} {path} {json.dumps(body)}"
        self.told.append(said)
        with closing(sqlite3.connect(self.file)) as before:
            # What this connection reads from now on is the books as they stand, whatever is written.
            before.execute("BEGIN")
            before.execute("SELECT count(*) FROM journal_entries").fetchone()
            response = self.till.ask(method, path, body, If_Match=tag)
            if response.status_code >= 400:
                self._refused(name, said, response, may, before)
                return False
        COUNTS[name, "done"] += 1
        self.done.add(name)
        if may is False:
            self.fail(f"{said}\n  was done, and the state does not allow it")
        then(Answer(response))
        self.look(said)
        return True

    def _refused(self, name: str, said: str, response: Any, may: bool | None, before: Any) -> None:
        problem = response.json or {}
        named = [fault["type"] for fault in problem.get("errors", ())] or [str(problem.get("type", ""))]
        kind = named[0].removeprefix("/problems/")
        COUNTS[name, kind] += 1
        self.told[-1] += f" -> {kind}"
        if response.status_code >= 500 or response.content_type != "application/problem+json":
            self.fail(f"{said}\n  answered {response.status_code}: {response.get_data()[:600]!r}")
        if may is True:
            self.fail(f"{said}\n  was refused, and the state allows it: {problem}")
        with closing(sqlite3.connect(self.file)) as after:
            if everything(before) != everything(after):
                self.fail(f"{said}\n  was refused, and something of it was kept")

    def drawn(self, series: str, number: str) -> str:
        """A number that an answer shows must be the next of its series."""
        of = (series, self.year)
        self.m.numbers[of] += 1
        if number != f"{series}-{self.year}-{self.m.numbers[of]:04d}":
            self.fail(f"{number} is not the next number after {self.m.numbers[of] - 1}")
        return number

    # looking -----------------------------------------------------------------------------------

    def look(self, said: str) -> None:
        """J1 to J4 over the rows after every step; every few the answers, `check` now and then."""
        STEPS["steps"] += 1
        wrong = self.surveyor.survey(self.m)
        if self.calls % LOOK_EVERY == 0:
            wrong += self._answers()
        if self.calls % CHECK_EVERY == 0:
            wrong += self.checked()
        if wrong:
            self.fail(f"after {said}", *wrong[:20])

    def _answers(self) -> list[str]:
        found = position_read(self.till.get("/v1/position"))
        expected = position(self.m)
        wrong = [
            f"J3: the position says {found[k]}, the papers {expected[k]}"
            for k in found
            if found[k] != expected[k]
        ]
        for client in self.m.clients:
            said = account_read(self.till.get(f"/v1/clients/{client}/account?limit=1")["closing"])
            if said != account(self.m, client):
                wrong.append(f"J3: the account of {client} says {said}, the papers {account(self.m, client)}")
        if self.past:
            wrong += self.as_it_was(*self.past[self.calls % len(self.past)])
        return wrong

    def as_it_was(self, at: datetime, then: Json) -> list[str]:
        """J4: a moment that is over is answered as it was answered by the papers then."""
        asked = at.strftime("%Y-%m-%dT%H:%M:%SZ")
        found = position_read(self.till.get(f"/v1/position?as_at={asked}"))
        return [] if found == then else [f"J4: as at {asked} the position says {found}, it was {then}"]

    def remember(self) -> None:
        """The position as it stands, of a moment that is about to be over."""
        if self.now >= self.latest:
            self.past.append((self.now, copied(position(self.m))))

    def set_back(self, days: int) -> None:
        """Set the clock back. Entries then stand at the time of the last one, so that moments from
        there on are not over yet."""
        with closing(sqlite3.connect(self.file)) as books:
            (last,) = books.execute("SELECT max(made_at) FROM journal_entries").fetchone()
        at_last = datetime.fromisoformat(last)
        self.past = [(at, then) for at, then in self.past if at < at_last]
        self.clock.move(days=-days)

    def checked(self) -> list[str]:
        """What the books' own check finds."""
        STEPS["checks"] += 1
        with self.books.reading() as work:
            return [f"check: {fault}" for fault in all_faults(work)]

    def states(self) -> list[str]:
        """The states of the papers, as they are answered."""
        wrong = []
        for number, lot in self.m.lots.items():
            said = self.till.get(f"/v1/lots/{number}")
            told = (
                said["frozen"],
                said["state"] == "returned",
                said["batch"],
                sorted(said["settled_metals"]),
            )
            expected = (lot.frozen, lot.returned is not None, lot.batch, sorted(self.m.settled_metals(lot)))
            if told != expected:
                wrong.append(f"{number} is {told}, by the papers {expected}")
        for settlement in self.m.settlements.values():
            said = self.till.get(f"/v1/settlements/{settlement.number}")
            open_minor = int(Fraction(said["open"]["amount"]) * 100)
            if (said["state"], open_minor) != (settlement.state, settlement.open):
                wrong.append(
                    f"{settlement.number} is {said['state']}, {open_minor} open; not as by the papers"
                )
        for quote in self.m.quotes.values():
            state = "expired" if quote.state == "issued" and self.now >= quote.valid_until else quote.state
            if (said := self.till.get(f"/v1/quotes/{quote.number}")["state"]) != state:
                wrong.append(f"{quote.number} is {said}, by the papers {state}")
        return wrong

    def fresh(self, *metals: str) -> bool:
        """Whether the prices in force are young enough for every family of the terms."""
        return all(
            self.next_at - self.m.priced_at[m] <= timedelta(days=60) for m in metals or ("gold", "silver")
        )


def chosen(data: Random, of: Sequence[Any]) -> Any:
    return of[data.randrange(len(of))]


def whole(data: Random, least: int, most: int) -> int:
    return data.randint(least, most)


def one_in(data: Random, n: int) -> bool:
    return data.randrange(n) == 0


IS_LONG = os.environ.get("SETTLE_MACHINE") == "long"


def table() -> list[str]:
    """How often each use case was done and refused, over all runs; with which problems."""
    if not COUNTS:
        return []
    lines = [f"the machine: {STEPS['runs']} runs, {STEPS['steps']} steps, {STEPS['checks']} checks"]
    for name in sorted({name for name, _ in COUNTS}):
        kinds = sorted((kind, n) for (of, kind), n in COUNTS.items() if of == name and kind != "done")
        said = ", ".join(f"{kind} {n}" for kind, n in kinds)
        lines.append(
            f"  {name:<28} done {COUNTS[name, 'done']:>6}  refused {sum(n for _, n in kinds):>6}  {said}"
        )
    return lines
