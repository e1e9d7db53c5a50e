"""`kill -9` in the middle of posting: what was acknowledged is there, nothing is half there.

`SETTLE_KILLS=100 python -m pytest -s tests/endurance/test_killed_while_posting.py` is the long form. A
process that is killed leaves to the kernel what it wrote, so this says nothing of a power cut; for that the
books are kept with `synchronous = FULL` (https://www.sqlite.org/pragma.html#pragma_synchronous).
"""

import json
import multiprocessing
import os
import random
import signal
import statistics
import time
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from multiprocessing.connection import Connection
from pathlib import Path
from threading import Event, Thread
from typing import Any

import pytest
import stores
from endurance_house import PATIENCE_S, STORES, Shop, open_shop
from endurance_writer import Posting, asked, digest, write_on
from half_done import half_done, kept_answers

from settle.books.backup import file_of, put_back, take, verified
from settle.books.check import all_faults
from settle.books.work import open_books

KILLS = int(os.environ.get("SETTLE_KILLS", "12"))
# A check grows with the books: in the long form one comes after every few kills, and one at the end.
CHECK_EVERY, BACKUP_EVERY = (1, 3) if KILLS <= 12 else (10, 10)
# A posting writes for some milliseconds. Where it was killed: after its first statement and before COMMIT
# was said; while it was; after it, before the answer was told; between two postings.
INSIDE, COMMITTING, COMMITTED, BETWEEN = "before COMMIT", "during COMMIT", "after COMMIT", "between postings"
WHERE = {"first": INSIDE, "committing": COMMITTING, "committed": COMMITTED}

_PROCESSES = multiprocessing.get_context("forkserver")
_PROCESSES.set_forkserver_preload(["api.app"])


@dataclass
class Life:
    """What a process told until it was killed."""

    acknowledged: dict[str, str] = field(default_factory=dict)
    pending: Posting | None = None
    step: str = ""
    writes_s: list[float] = field(default_factory=list)
    committed_at: list[int] = field(default_factory=list)
    _first_at: int = 0

    def hear(self, told: dict[str, Any]) -> None:
        self.step, at = told.pop("step"), told.pop("at")
        if self.step == "asked":
            self.pending = Posting(**told)
        elif self.step == "first":
            self._first_at = at
        elif self.step == "committing":
            self.writes_s.append((at - self._first_at) / 1e9)
        elif self.step == "committed":
            self.committed_at.append(at)
        elif self.step == "acknowledged":
            self.acknowledged[told["key"]] = told["hash"]
            self.pending = None

    @property
    def ended(self) -> str:
        return WHERE.get(self.step, BETWEEN)


class Backups:
    """Copies taken one after another while a process writes; the last one stays."""

    def __init__(self, books: Path, file: Path, acknowledged: Callable[[], dict[str, str]]) -> None:
        self.books, self.file, self._acknowledged = books, file, acknowledged
        # Of each copy when it was begun and when it was whole; what was acknowledged before the last began.
        self.taken: list[tuple[int, int]] = []
        self.acknowledged: dict[str, str] = {}
        self._is_over = Event()
        self._thread = Thread(target=self._take)
        self._thread.start()

    def _take(self) -> None:
        while not self._is_over.is_set():
            known, began = self._acknowledged(), time.monotonic_ns()
            take(self.books, self.file)
            self.acknowledged = known
            self.taken.append((began, time.monotonic_ns()))

    def end(self) -> None:
        self._is_over.set()
        self._thread.join(PATIENCE_S)
        assert self.taken, "no backup"

    def commits(self, lived: Life) -> int:
        """How many postings were committed while one was taken."""
        return sum(any(began < at < ended for began, ended in self.taken) for at in lived.committed_at)


class Killer:
    """Starts processes that post, and kills each in the middle of it."""

    def __init__(self, shop: Shop, folder: Path, seed: int) -> None:
        self.shop, self.folder, self.random = shop, folder, random.Random(seed)
        self.acknowledged: dict[str, str] = {}
        self.writes_s: list[float] = [0.005]
        self.backups: list[Backups] = []
        self.commits_in_backups = 0

    def kill_one(self, life: int) -> Life:
        """One process, killed at a random moment behind the first statement of one of its postings."""
        hears, tells = _PROCESSES.Pipe(duplex=False)
        process = _PROCESSES.Process(target=write_on, args=(self.shop.url, self.shop.secret, life, tells))
        process.start()
        tells.close()
        lived = Life()
        backups = self._backups(life, lived) if stores.IS_SQLITE and life % BACKUP_EVERY == 0 else None
        try:
            self._listen(hears, lived, self.random.randint(1, 6))
            time.sleep(self.random.uniform(0, statistics.median(self.writes_s)))
        finally:
            assert process.pid is not None
            os.kill(process.pid, signal.SIGKILL)
            process.join(PATIENCE_S)
        for told in _rest(hears):
            lived.hear(told)
        self.writes_s += lived.writes_s
        if backups is not None:
            backups.end()
            self.commits_in_backups += backups.commits(lived)
        return lived

    def _backups(self, life: int, lived: Life) -> Backups:
        file = self.folder / f"backup-{life}.sqlite3"
        self.backups.append(
            Backups(file_of(self.shop.url), file, lambda: {**self.acknowledged, **lived.acknowledged})
        )
        return self.backups[-1]

    def _listen(self, hears: Connection, lived: Life, postings: int) -> None:
        """Hear of so many postings, to behind the first statement of the last."""
        while postings:
            assert hears.poll(PATIENCE_S), "it posts no more"
            lived.hear(json.loads(hears.recv_bytes()))
            postings -= lived.step == "first"


def _rest(hears: Connection) -> Iterator[dict[str, Any]]:
    """What was told before the end and not yet heard."""
    try:
        while True:
            yield json.loads(hears.recv_bytes())
    except EOFError:
        hears.close()


@pytest.fixture(params=STORES)
def shop(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Shop]:
    opened = open_shop(STORES[request.param](tmp_path))
    yield opened
    opened.books.close()


def asked_again(shop: Shop, posting: Posting, *, was_kept: bool | None) -> str:
    """The hash of the answer to a posting that is asked again, and once more: both times the same."""
    first, second = (asked(shop.app, shop.secret, posting) for _ in range(2))
    assert (first.status_code, second.status_code) == (201, 201), first.get_data()
    assert first.get_data() == second.get_data()
    assert "Idempotency-Replayed" in second.headers
    if was_kept is not None:
        assert ("Idempotency-Replayed" in first.headers) is was_kept
    return digest(first.get_data())


def after_a_kill(killer: Killer, lived: Life, life: int) -> None:
    """All that was acknowledged, nothing that is half there; what was under way is done once."""
    shop = killer.shop
    killer.acknowledged |= lived.acknowledged
    with shop.books.reading() as work:
        kept = kept_answers(work)
        assert half_done(work) == []
    assert {key: kept.get(key) for key in killer.acknowledged} == killer.acknowledged
    # At most one posting was under way; if its commit was done it is there, though nobody heard of it.
    assert set(kept) - set(killer.acknowledged) <= ({lived.pending.key} if lived.pending else set())
    if lived.pending is not None:
        was_kept = {INSIDE: False, COMMITTED: True}.get(lived.ended)
        killer.acknowledged[lived.pending.key] = asked_again(shop, lived.pending, was_kept=was_kept)
    with shop.books.reading() as work:
        assert kept_answers(work) == killer.acknowledged
        assert half_done(work) == []
        if life % CHECK_EVERY == 0 or life == KILLS - 1:
            assert all_faults(work) == []
    # The next process finds books that nobody has open, as after a crash.
    shop.books.close()


def restored(backup: Backups) -> None:
    """Restored where no books are, a backup is whole and holds what was acknowledged before it began."""
    file = backup.file.with_suffix(".restored")
    with verified(backup.file, file) as copy:
        put_back(copy, file)
    books = open_books(f"sqlite:///{file}")
    with books.reading() as work:
        kept = kept_answers(work)
        assert {key: kept.get(key) for key in backup.acknowledged} == backup.acknowledged
        assert half_done(work) == []
        assert all_faults(work) == []
    books.close()


def test_a_process_killed_while_it_posts_leaves_nothing_half_done(shop: Shop, tmp_path: Path) -> None:
    began, seed = time.monotonic(), random.randrange(10**6)
    print(f"\nseed {seed}")
    killer, ends = Killer(shop, tmp_path, seed), Counter[str]()
    shop.books.close()
    for life in range(KILLS):
        lived = killer.kill_one(life)
        ends[lived.ended] += 1
        after_a_kill(killer, lived, life)
        if stores.IS_SQLITE and life % BACKUP_EVERY == 0:
            restored(killer.backups[-1])
            print(f"{life + 1} kills, {time.monotonic() - began:.0f} s", flush=True)
    print(
        f"{KILLS} kills in {time.monotonic() - began:.0f} s: {dict(ends)}; a posting writes for "
        f"{statistics.median(killer.writes_s) * 1000:.1f} ms; {len(killer.acknowledged)} postings, all there; "
        f"{len(killer.backups)} backups of {sum(len(b.taken) for b in killer.backups)} restored, "
        f"{killer.commits_in_backups} postings committed while they were taken"
    )
    # PostgreSQL's own tool takes a copy in one of its transactions.
    assert killer.commits_in_backups or not stores.IS_SQLITE, "nothing was written while backups were taken"
    assert ends[INSIDE] * 3 >= KILLS, ends
