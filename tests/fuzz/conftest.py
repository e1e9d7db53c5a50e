"""The short run, the same each time; its counts stand at the end of the tests' output."""

import pytest
import said

from tests.fuzz.fuzzed import Found, Plan, fuzz
from tests.fuzz.prepared import prepared

# The whole of the coverage phase is for `python -m tests.fuzz`.
SHORT = (
    Plan(cases=3, walks=15, phases=("examples", "fuzzing", "stateful")),
    Plan(phases=("coverage",), every=11),
)

_ran: list[tuple[Found, list[str]]] = []


@pytest.fixture(scope="session")
def short_run(tmp_path_factory: pytest.TempPathFactory) -> tuple[Found, list[str]]:
    """What was found, and every operation of the document."""
    with prepared(tmp_path_factory.mktemp("fuzz")) as house:
        _ran.append((fuzz(house, *SHORT), sorted(house.examples)))
    return _ran[0]


@said.at_the_end
def _found() -> list[said.Section]:
    return [
        ("fuzzed: " + found.summary(operations), list(found.table(operations))) for found, operations in _ran
    ]
