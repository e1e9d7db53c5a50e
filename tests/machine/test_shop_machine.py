"""Any use cases in any order: after each the books say what the papers say (J1 to J4).

Sources: J1 to J4, H7, F4, A6 as `DEVELOPERS.md` numbers them; what must be moved is reckoned by
`naive.py` from the figures that the papers print, which imports nothing of the product. That a refused
call leaves nothing behind is the contract of the API.
"""

from driven import COUNTS, IS_LONG, USE_CASES
from hypothesis import HealthCheck, Phase, settings
from hypothesis.stateful import run_state_machine_as_test
from the_machine import Machine

EXAMPLES, STEPS = (2000, 60) if IS_LONG else (7, 30)
MORE_RUNS = 20
HOW = settings(
    max_examples=EXAMPLES,
    stateful_step_count=STEPS,
    deadline=None,
    derandomize=not IS_LONG,
    database=None,
    print_blob=False,
    phases=[Phase.generate],
    suppress_health_check=list(HealthCheck),
)


def test_the_books_say_what_the_papers_say_whatever_is_done_in_whatever_order() -> None:
    run_state_machine_as_test(Machine, settings=HOW)


def test_every_use_case_was_done_in_it() -> None:
    """A machine that gets nowhere finds nothing; what the run above left out is looked for on."""
    for run in range(MORE_RUNS):
        if not _not_done():
            break
        machine = Machine()
        for step in range(STEPS):
            machine.goes_on_and_on(run * STEPS + step)
        machine.teardown()
    assert _not_done() == []
    assert {"wrong-state", "something-rests-on-it"} <= {kind for _, kind in COUNTS}


def _not_done() -> list[str]:
    return [name for name in USE_CASES if not COUNTS[name, "done"]]
