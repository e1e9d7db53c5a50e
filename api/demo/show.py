"""The demo on a terminal: the roads with their captions, one settlement, the silver of one bath, the till's
credits, a line a lot, what to try next."""

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn
from rich.table import Table
from rich.text import Text

from api.demo.house import DemoClock, House
from api.demo.road import Done, Road
from api.demo.scenario import CLOSED, Scenario, Story
from api.terminal.credits import show_credits
from api.terminal.page import heading, money, number, table
from api.terminal.reconciliation import show_reconciliation
from api.terminal.settlement import show_settlement

_OF = {"settled": "settlement", "purchased": "purchase", "flagged": "lot"}


@dataclass(frozen=True, slots=True)
class Walked:
    """Whether all went as the scenario means it to, and the number of the settlement that was shown."""

    went_well: bool
    settlement: str | None


@dataclass(frozen=True, slots=True)
class Told:
    """A scenario and the road that walked it."""

    scenario: Scenario
    road: Road

    def answers(self) -> Iterator[tuple[Story, Mapping[str, Any]]]:
        """The stories but the shop's, and what each kept."""
        for story in (*self.scenario.lots, *self.scenario.together):
            yield story, self.road.answers.get(story.name, {})


def walk_and_show(console: Console, scenarios: Sequence[Scenario], house: House, clock: DemoClock) -> Walked:
    """Walk the roads one after the other, and show what came of them."""
    told = [Told(scenario, Road(house.address, house.keys, clock.turn_to)) for scenario in scenarios]
    _walk(console, told)
    clock.run_on()
    for of in told:
        for done in of.road.refusals:
            _tell_refusal(console, done)
    number = _show_printed(console, told)
    _show_together(console, told)
    _summary(console, told)
    is_as_meant = all(_ending(story, kept) == story.ends for of in told for story, kept in of.answers())
    return Walked(is_as_meant and not any(of.road.refusals for of in told), number)


def _show_printed(console: Console, told: Sequence[Told]) -> str | None:
    """Show the settlement that a scenario names, and give its number."""
    printed = (kept for of in told for story, kept in of.answers() if story.printed)
    answers = next((kept for kept in printed if "settlement" in kept), None)
    if answers is None:
        return None
    console.print()
    show_settlement(console, answers["settlement"], answers["client"]["name"], answers.get("quote"))
    return str(answers["settlement"]["number"])


def _show_together(console: Console, told: Sequence[Told]) -> None:
    """Show the silver of each bath that served several batches, and the till's credits against the books."""
    clients = {
        kept["lot"]["number"]: kept["client"]["name"]
        for of in told
        for _, kept in of.answers()
        if "lot" in kept
    }
    for of in told:
        for _, kept in of.answers():
            if "bath" in kept and "account" in kept:
                console.print()
                show_reconciliation(console, kept["account"]["metals"]["silver"], clients)
            if "comparison" in kept:
                show_credits(console, kept["comparison"])


def _walk(console: Console, told: Sequence[Told]) -> None:
    columns = (BarColumn(), MofNCompleteColumn(), TextColumn("{task.description}"))
    steps = sum(len(of.scenario.steps) for of in told)
    with Progress(*columns, console=console, transient=True, disable=not console.is_terminal) as progress:
        task = progress.add_task("", total=steps)
        for of in told:
            console.print()
            console.rule(Text(of.scenario.title, style="bold"), align="left")
            day = 0
            for done in of.road.walk(of.scenario):
                if done.step.day != day and done.step.caption:
                    day = done.step.day
                    heading(console, f"Day {day} · {done.step.moment:%A}")
                if done.step.caption:
                    _tell_step(console, done)
                progress.update(task, advance=1, description=done.step.story)


def _tell_step(console: Console, done: Done) -> None:
    answer = done.answer
    name = "refused" if done.was_refused else answer.get("number") or answer.get("serial") or ""
    told = Text.assemble((f"  {done.step.moment:%H:%M}  ", "dim"), done.step.caption or "")
    if name:
        refused = "yellow" if done.is_as_meant else "bold red"
        told.append(f"  {name}", style=refused if done.was_refused else "cyan")
    console.print(told)


def _tell_refusal(console: Console, done: Done) -> None:
    said = done.answer.get("detail") or done.answer.get("title", "")
    expected = f"meant to be refused as {done.step.refused}, but " if done.step.refused else ""
    call = f"{done.step.method} {done.step.path}"
    console.print(Text(f"{done.step.story}: {call}: {expected}{done.status} {said}", style="bold red"))
    for error in done.answer.get("errors", ()):
        console.print(Text(f"  {error['pointer']}: {error['wrong']}; {error['right']}", style="red"))


def _ending(story: Story, answers: Mapping[str, Any]) -> str:
    """What became of a lot, as its answers tell: `settled`, `purchased`, `flagged` or `unfinished`; and
    whether what concerns several of them was `closed`."""
    if story.ends == CLOSED:
        return CLOSED if {"account", "comparison"} & set(answers) else "unfinished"
    if "purchase" in answers:
        return "purchased"
    if answers.get("settlement", {}).get("state") == "posted":
        return "settled"
    codes = {notice["code"] for notice in answers.get("quote", {}).get("notices", ())}
    return "flagged" if "platinum-metals" in codes else "unfinished"


def _summary(console: Console, told: Sequence[Told]) -> None:
    heading(console, "What became of each lot")
    for of in told:
        currency = of.scenario.currency
        listed = table(
            "client", "lot", "ends", "document", "gold, g", "silver, g", f"net, {currency}", left=4
        )
        for story, answers in of.answers():
            if story.ends != CLOSED:
                _line(listed, story, answers)
        console.print(listed)


def _line(listed: Table, story: Story, answers: Mapping[str, Any]) -> None:
    ending = _ending(story, answers)
    document = answers.get(_OF.get(ending, ""), {})
    # Of a lot that was settled in parts the last settlement knows the whole.
    case = document.get("whole") or document.get("cases", {}).get("final", {})
    listed.add_row(
        answers.get("client", {}).get("name", "–"),
        story.name,
        Text(ending, style="bold" if ending == story.ends else "bold red"),
        str(document.get("number", "–")),
        _due(case, "gold"),
        _due(case, "silver"),
        money(case["net"]) if "net" in case else "–",
    )


def _due(case: Mapping[str, Any], metal: str) -> str:
    found = case.get("metals", {}).get(metal)
    return number(found["accountable"]["g"]) if found else "–"


def show_what_to_try(console: Console, house: House, settlement: str | None) -> None:
    """The address, a key a scope, and three calls that work as they stand."""
    heading(console, "The server is up")
    console.print(Text(f"{house.address}   its OpenAPI document: {house.address}/openapi.json"))
    heading(console, "Access keys, one a scope")
    listed = table("", "", left=2, show_header=False)
    for scope, key in house.keys.items():
        listed.add_row(scope, key)
    console.print(listed)
    heading(console, "Three things to try")
    for words, call in _things_to_try(house, settlement):
        console.print(Text(f"# {words}", style="dim"))
        # Not wrapped by the page: a line that is broken elsewhere can't be pasted.
        console.print(Text(call), soft_wrap=True)
        console.print()


def _things_to_try(house: House, settlement: str | None) -> list[tuple[str, str]]:
    ring = {"karat": "9", "evidence": "hallmark", "gross": {"amount": "12.50", "unit": "g"}}
    unclear = {**ring, "gross": {"amount": "0.4", "unit": "oz"}}
    last = f"/v1/settlements/{settlement}/comparison" if settlement else "/v1/journal"
    return [
        ("What a 9 karat ring would give, as a website asks", _post(house, {"items": [ring]})),
        ("What is refused, and how: an ounce that could be two", _post(house, {"items": [unclear]})),
        ("Why that settlement differs from its quote", _get(house, "read", last)),
    ]


def _get(house: House, key: str, path: str) -> str:
    return f"curl -s {house.address}{path} \\\n  -H 'Authorization: Bearer {house.keys[key]}'"


def _post(house: House, body: Mapping[str, Any]) -> str:
    media_type = "-H 'Content-Type: application/json'"
    sent = json.dumps(body, separators=(",", ":"))
    return f"{_get(house, 'estimate', '/v1/estimates')} \\\n  {media_type} \\\n  -d '{sent}'"
