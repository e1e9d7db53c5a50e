"""Scenarios as data: stories, each a list of calls that name a day, an hour and earlier answers."""

import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from typing import Any

from api.shipped import shipped

SHOP = "shop"
CLOSED = "closed"
# The roads in the order of their days: one clock walks them all.
ROADS = ("first-road", "one-bath", "second-road")
_REFERENCE = re.compile(r"\{([a-z_ .]+)\}")
Json = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Step:
    """One call. `match` names the answer whose ETag it rests on, `keep` the name of its own
    answer; `refused` is the kind of refusal that is meant to come."""

    story: str
    moment: datetime
    day: int
    key: str
    method: str
    path: str
    body: Any = None
    match: str | None = None
    keep: str | None = None
    refused: str | None = None
    caption: str | None = None


@dataclass(frozen=True, slots=True)
class Story:
    """What becomes of one lot; `ends` is `settled`, `purchased` or `flagged`. Or what happens to several
    of them together, a batch, a bath, a list of the till: it `ends` `closed`."""

    name: str
    about: str
    ends: str
    steps: tuple[Step, ...]
    printed: bool = False


@dataclass(frozen=True, slots=True)
class Scenario:
    """The shop that opens, the lots that come to it, and what becomes of several of them together."""

    shop: Story
    lots: tuple[Story, ...]
    together: tuple[Story, ...] = ()
    name: str = ""
    title: str = ""
    currency: str = ""

    @property
    def steps(self) -> Sequence[Step]:
        """Every call in the order of its day and hour; within one moment as the files have them."""
        every = [step for story in (self.shop, *self.lots, *self.together) for step in story.steps]
        return sorted(every, key=lambda step: step.moment)


def load_scenarios() -> tuple[Scenario, ...]:
    """Every road that ships, in the order of their days."""
    return tuple(load_scenario(name) for name in ROADS)


def load_scenario(name: str = "first-road") -> Scenario:
    """The scenario that ships under `fixtures/`, one file a story, the shop's first."""
    folder = shipped("fixtures") / name
    found = sorted(folder.iterdir(), key=lambda file: file.name)
    told = [json.loads(file.read_text("utf-8")) for file in found if file.name.endswith(".json")]
    starts = datetime.combine(datetime.fromisoformat(told[0]["starts"]), time(), UTC)
    shop, *stories = [_story(one, starts) for one in told]
    lots = tuple(story for story in stories if story.ends != CLOSED)
    together = tuple(story for story in stories if story.ends == CLOSED)
    return Scenario(shop, lots, together, name, told[0]["title"], told[0]["currency"])


def _story(told: Json, starts: datetime) -> Story:
    steps = tuple(_step(told["name"], step, starts) for step in told["steps"])
    return Story(told["name"], told["about"], told["ends"], steps, told.get("printed", False))


def _step(story: str, told: Json, starts: datetime) -> Step:
    hours, minutes = told["at"].split(":")
    moment = starts + timedelta(days=told["day"] - 1, hours=int(hours), minutes=int(minutes))
    return Step(story, moment, **{name: value for name, value in told.items() if name != "at"})


def filled(template: Any, answers: Json) -> Any:
    """The template with each `{quote.number}` replaced by that member of an earlier answer."""
    if isinstance(template, str):
        return _REFERENCE.sub(lambda match: str(_member(answers, match[1])), template)
    if isinstance(template, list):
        return [filled(inner, answers) for inner in template]
    if isinstance(template, dict):
        return {name: filled(inner, answers) for name, inner in template.items()}
    return template


def _member(answers: Json, dotted: str) -> Any:
    found: Any = answers
    for name in dotted.split("."):
        found = found[name]
    return found
