"""The scenario driven over HTTP, with nothing but the server's address and one key a scope."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

import requests

from api.client import House, Problem
from api.demo.scenario import Scenario, Step, filled

# Of a step that names an answer which a refusal in another story left out.
NOTHING_TO_REST_ON = 424


@dataclass(frozen=True, slots=True)
class Done:
    """A step that was answered, or a step left out because one before it in its story was refused."""

    step: Step
    answer: Any
    status: int

    @property
    def was_refused(self) -> bool:
        return self.status >= 400

    @property
    def is_as_meant(self) -> bool:
        """Whether it was done, or refused in the way that the scenario means it to be."""
        if not self.was_refused:
            return self.step.refused is None
        return self._kinds.count(self.step.refused or "") > 0

    @property
    def _kinds(self) -> list[str]:
        errors = [self.answer, *self.answer.get("errors", ())]
        return [str(error.get("type", "")).rpartition("/")[2] for error in errors]


@dataclass
class Road:
    """Walks a scenario. `turn_to` turns the demo's clock, which no call could do."""

    address: str
    keys: Mapping[str, str]
    turn_to: Callable[[datetime], None]
    answers: dict[str, dict[str, Any]] = field(default_factory=dict)
    refusals: list[Done] = field(default_factory=list)

    def walk(self, scenario: Scenario) -> Iterator[Done]:
        """Each step as it is answered. A story ends at its first refusal that wasn't meant."""
        with requests.Session() as session:
            # A proxy of the environment must not see calls to this very machine.
            session.trust_env = False
            houses = {name: House(self.address, key, session=session) for name, key in self.keys.items()}
            for number, step in enumerate(scenario.steps):
                if step.story not in {done.step.story for done in self.refusals}:
                    yield self._done(houses[step.key], step, f"demo-{scenario.name}-{number}")

    def _done(self, house: House, step: Step, once: str) -> Done:
        self.turn_to(step.moment)
        own = self.answers.setdefault(step.story, {})
        known = {**self.answers, **own}
        try:
            seen = own[step.match].etag if step.match else ""
            path, body = filled(step.path, known), filled(step.body, known)
        except LookupError as error:
            done = Done(step, {"title": f"what it rests on isn't there: {error}"}, NOTHING_TO_REST_ON)
        else:
            done = _answered(house, step, path, body, seen, once)
        if not done.is_as_meant:
            self.refusals.append(done)
        elif step.keep:
            own[step.keep] = done.answer
        return done


def _answered(house: House, step: Step, path: str, body: Any, seen: str, once: str) -> Done:
    try:
        answer = house.ask(step.method, path, body, seen=seen, once=once)
    except Problem as problem:
        return Done(step, problem.said, problem.status)
    return Done(step, answer, answer.status)
