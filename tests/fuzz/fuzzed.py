"""Schemathesis over the whole document, with the owner's key, each call in books in which it can succeed.

What a case was drawn with is mostly replaced by what the walks had there (`Seeds`): else nothing
drawn at random would ever get past the first 404. Only valid parts are replaced, so what is to be refused stays wrong.
"""

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any
from unittest.mock import patch
from urllib.parse import parse_qsl, urlsplit
from zlib import crc32

import documented
import schemathesis
from schemathesis.config import SchemathesisConfig
from schemathesis.core.parameters import ParameterLocation
from schemathesis.engine import events, from_schema
from schemathesis.generation.case import Case
from schemathesis.hooks import GLOBAL_HOOK_DISPATCHER
from schemathesis.transport.wsgi import WSGI_TRANSPORT

from tests.fuzz.prepared import EVERYTHING, Prepared, a_picture

PHASES = ("examples", "coverage", "fuzzing", "stateful")
_OF_SOCKETS = ("max_redirects", "verify", "cert", "proxies")
_OF_A_STATE = ["400", "401", "403", "404", "406", "409", "412", "428"]
CHECKS = {
    # A body that is well formed may still speak of a scale or a mark that nobody knows: 422.
    "positive_data_acceptance": {"expected-statuses": ["2xx", "304", "413", "415", "422", *_OF_A_STATE]},
    "missing_required_header": {"expected-statuses": ["400", "404", "409", "422", "428"]},
    "negative_data_rejection": {"expected-statuses": ["405", "413", "415", "422", *_OF_A_STATE]},
}


@dataclass(frozen=True)
class Plan:
    """How much is tried: `cases` an operation in the fuzzing phase, `walks` of the stateful one.

    With `every` = 8 one operation in eight is tried.
    """

    cases: int = 1
    walks: int = 1
    phases: tuple[str, ...] = PHASES
    seed: int = 1
    every: int = 1

    def config(self, key: str) -> SchemathesisConfig:
        phases: dict[str, Any] = {name: {"enabled": name in self.phases} for name in PHASES}
        phases["stateful"]["generation"] = {"max-examples": self.walks}
        return SchemathesisConfig.from_dict(
            {
                "seed": self.seed,
                "headers": {"Authorization": f"Bearer {key}"},
                "continue-on-failure": True,
                "suppress-health-check": ["all"],
                "generation": {
                    "max-examples": self.cases, "deterministic": True, "database": "none", "no-shrink": True
                },
                "checks": CHECKS,
                "phases": phases,
                "cache": {"enabled": False},
            }
        )  # fmt: skip


@dataclass
class Found:
    """What a run was answered, and what was wrong with it."""

    # (operation, status) → how many answers.
    answers: Counter[tuple[str, int]] = field(default_factory=Counter)
    phases: Counter[str] = field(default_factory=Counter)
    # What was wrong, told once → a request that shows it.
    faults: dict[str, str] = field(default_factory=dict)

    @property
    def cases(self) -> int:
        return sum(self.phases.values())

    def take(self, event: events.ScenarioFinished) -> None:
        recorder = event.recorder
        for case_id, interaction in recorder.interactions.items():
            self.phases[event.phase.name] += 1
            if interaction.response is not None:
                label = recorder.cases[case_id].value.operation.label
                self.answers[label, interaction.response.status_code] += 1
        for case_id, checks in recorder.checks.items():
            label = recorder.cases[case_id].value.operation.label
            for check in checks:
                if (info := check.failure_info) is not None:
                    told = f"{label}: {check.name}: {info.failure.title} {info.failure.message}"
                    self.faults.setdefault(told, info.code_sample)
        for told in documented.differing():
            self.faults.setdefault(f"{told}", "")

    def reached(self, operation: str) -> int:
        """How many answers of an operation said that it was done."""
        return sum(many for (of, status), many in self.answers.items() if of == operation and status < 300)

    def unreached(self, operations: Iterable[str]) -> list[str]:
        return [operation for operation in operations if not self.reached(operation)]

    def table(self, operations: Sequence[str]) -> Iterator[str]:
        """Each operation: how often it was asked, and how often it was done."""
        width = max(map(len, operations))
        yield f"{'operation':<{width}}  asked   done"
        for operation in operations:
            asked = sum(many for (of, _), many in self.answers.items() if of == operation)
            yield f"{operation:<{width}}  {asked:>5}  {self.reached(operation):>5}"

    def summary(self, operations: Sequence[str]) -> str:
        phases = ", ".join(f"{many} {phase.lower()}" for phase, many in self.phases.items())
        done = len(operations) - len(self.unreached(operations))
        return (
            f"{self.cases} requests ({phases}), {done} of {len(operations)} operations done, "
            f"{len(self.faults)} faults"
        )


def fuzz(house: Prepared, *plans: Plan, told: Callable[[Found], object] = lambda _: None) -> Found:
    """Run plans, one after the other; `told` of what was found so far, as it goes on."""
    found = Found()
    documented.watch()
    with _hooked(house):
        for plan in plans:
            schema = schemathesis.openapi.from_wsgi("/openapi.json", house.app, config=plan.config(house.key))
            chosen = set(sorted(house.examples)[:: plan.every])
            for event in from_schema(
                schema.include(lambda of, it=chosen: of.operation.label in it)
            ).execute():
                _take(event, found)
                told(found)
    return found


def _take(event: events.EngineEvent, found: Found) -> None:
    if isinstance(event, events.ScenarioFinished):
        found.take(event)
    elif isinstance(event, events.NonFatalError):
        found.faults.setdefault(f"{event.label}: {event.info.format()}", "")
    elif isinstance(event, events.FatalError):
        raise event.exception


@contextmanager
def _hooked(house: Prepared) -> Iterator[None]:
    seeds = Seeds(house)

    def before_call(context: Any, case: Case, kwargs: Any) -> None:
        seeds.prepare(case)

    def after_call(context: Any, case: Case, response: Any) -> None:
        house.is_touched |= case.method != "GET" and response.status_code < 400
        # Whoever took our own key away has to be told of by others; we go on with fresh books.
        house.is_touched |= response.status_code == 401

    # What is of sockets is left out for an app, but for the requests by which Schemathesis tries keys (4.32).
    send = WSGI_TRANSPORT.send

    def sent(case: Case, **how: Any) -> Any:
        return send(case, **{name: value for name, value in how.items() if name not in _OF_SOCKETS})

    def before_add_examples(context: Any, examples: list[Case]) -> None:
        examples.append(seeds.example(context.operation))

    schemathesis.hook(before_call)
    schemathesis.hook(after_call)
    schemathesis.hook(before_add_examples)
    try:
        with patch.object(WSGI_TRANSPORT, "send", sent):
            yield
    finally:
        GLOBAL_HOOK_DISPATCHER.unregister(before_call)
        GLOBAL_HOOK_DISPATCHER.unregister(after_call)
        GLOBAL_HOOK_DISPATCHER.unregister(before_add_examples)


@dataclass(frozen=True)
class Seeds:
    """What a request of the walks had, put in place of most that was drawn, by what was drawn and nothing else."""

    house: Prepared

    def prepare(self, case: Case) -> None:
        call = case.operation.label
        phase = case.meta.phase.name.value if case.meta else "examples"
        if phase == "stateful":
            if self.house.stage != EVERYTHING:
                self.house.open(EVERYTHING)
        else:
            self.house.open(call)
        drawn = crc32(repr((case.path_parameters, case.headers, case.body)).encode("utf-8", "replace"))
        if case.headers and _is_valid(case, ParameterLocation.HEADER) and drawn % 8:
            # Nobody stands at the till but who was entered there.
            case.headers.pop("Settle-Person", None)
        if phase in ("coverage", "fuzzing"):
            self._put(case, self.house.examples[call], drawn)
            if phase == "fuzzing":
                self._put_body(case, self.house.examples[call], drawn)

    def example(self, operation: Any) -> Case:
        """What the walks asked, to the letter."""
        example = self.house.examples[operation.label]
        headers = {"If-Match": example["if_match"]} if "if_match" in example else {}
        parts: dict[str, Any] = (
            {"body": example["body"], "media_type": "application/json"} if "body" in example else {}
        )
        if operation.label.endswith("/photographs") and operation.method == "post":
            parts = {"body": a_picture(), "media_type": "image/png"}
        return operation.Case(
            path_parameters={p.name: p.definition["example"] for p in operation.path_parameters},
            query=dict(parse_qsl(urlsplit(example["path"]).query)),
            headers={"Idempotency-Key": "as executed", **headers},
            **parts,
        )

    def _put(self, case: Case, example: Any, drawn: int) -> None:
        if case.path_parameters and _is_valid(case, ParameterLocation.PATH) and drawn % 8:
            parameters = case.operation.path_parameters
            case.path_parameters = {p.name: p.definition["example"] for p in parameters}
        if "If-Match" in (case.headers or {}) and _is_valid(case, ParameterLocation.HEADER) and drawn % 8:
            case.headers["If-Match"] = example["if_match"]

    def _put_body(self, case: Case, example: Any, drawn: int) -> None:
        if isinstance(case.body, dict) and "body" in example and _is_valid(case, ParameterLocation.BODY):
            case.body = _mixed(example["body"], case.body, drawn)


def _is_valid(case: Case, location: ParameterLocation) -> bool:
    part = case.meta.components.get(location) if case.meta else None
    return part is None or part.mode.is_positive


def _mixed(body: Any, other: Any, drawn: int) -> Any:
    """The walks' body, with one member of what was drawn; now and then either of them alone."""
    if drawn % 5 == 0 or not other:
        return other
    name = sorted(other)[drawn % len(other)]
    return body if drawn % 5 == 1 else {**body, name: other[name]}
