"""The machine can fail: faults planted in the books are found by it, within a bounded run.

Each is a slip that a person could make in the books' own code; what the machine says of it names the
rule that it broke.
"""

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest
from driven import COUNTS, BooksDifferError
from hypothesis import HealthCheck, Phase, settings
from hypothesis.stateful import run_state_machine_as_test
from the_machine import Machine

from settle.books import batches, journal, till
from settle.reckoning import ledger, postings

BOUNDED = settings(
    max_examples=12,
    stateful_step_count=20,
    deadline=None,
    derandomize=True,
    database=None,
    print_blob=False,
    report_multiple_bugs=False,
    phases=[Phase.generate],
    suppress_health_check=list(HealthCheck),
)


def _a_milligram_lost(plant: pytest.MonkeyPatch) -> None:
    """What is lost in pouring is a milligram less in the books than on the paper."""
    lost = postings.pour_lost
    plant.setattr(postings, "pour_lost", lambda name, batch, metal, mg: lost(name, batch, metal, mg - 1))


def _a_line_forgotten(plant: pytest.MonkeyPatch) -> None:
    """A reversal leaves out the last of the metals that the entry moved."""

    def forgetful(of: ledger.Entry, document: str, text: str) -> ledger.Entry:
        kept = tuple(leg for leg in of.legs if leg.commodity != of.legs[-1].commodity)
        return whole(replace(of, legs=kept or of.legs), document, text)

    whole = ledger.reversed_entry
    plant.setattr(journal, "reversed_entry", forgetful)


def _a_payment_twice(plant: pytest.MonkeyPatch) -> None:
    """Money that passed is in the journal twice."""

    def posted_twice(work: Any, entry: ledger.Entry, **more: Any) -> str:
        if entry.document.startswith("PM-") and "reverses" not in more:
            post(work, entry)
        return post(work, entry, **more)

    post = journal.post
    plant.setattr(till.journal, "post", posted_twice)


def _something_kept(plant: pytest.MonkeyPatch) -> None:
    """Of a batch that is refused a note stays all the same: its transaction was closed too soon."""

    def kept(work: Any, body: Any, *rest: Any) -> Any:
        batches.records.add(work, body["lots"][0], "note", {"said": "to be refined"})
        work.connection.exec_driver_sql("COMMIT")
        work.connection.exec_driver_sql("BEGIN IMMEDIATE")
        return make(work, body, *rest)

    make = batches.make
    plant.setattr(batches, "make", kept)


@pytest.mark.parametrize(
    ("fault", "said"),
    [
        (_a_milligram_lost, "J3"),
        (_a_line_forgotten, "J3"),
        (_a_payment_twice, "J3"),
        (_something_kept, "something of it was kept"),
    ],
    ids=lambda of: of.__name__.strip("_").replace("_", " ") if callable(of) else of,
)
def test_a_planted_fault_is_found(
    fault: Callable[[pytest.MonkeyPatch], None], said: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    done = COUNTS.copy()
    fault(monkeypatch)
    try:
        with pytest.raises(BooksDifferError, match=said):
            run_state_machine_as_test(Machine, settings=BOUNDED)
    finally:
        COUNTS.clear()
        COUNTS.update(done)
