"""The drill: three batches, one bath, the silver three weeks later, two of the lots long settled.

Every client's silver, the house's loan, stock and books agree to the milligram: what the documents
say, what the journal holds, what a count of the stock finds.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
import stores
from stages import Clock
from works import Works, accounted, mg

from api.demo.scenario import filled, load_scenario
from settle.books.check import all_faults

DRILL = load_scenario("one-bath")
EARLY = ("curb chains", "watch cases")
# Fine silver in milligrams, from what was weighed and assayed: bought, lent in three loans, out, held.
BOUGHT = 289_710
LENT = (70_130, 90_410, 105_295)  # 70.1298 g, 90.4095 g (half to even), 105.2946 g
OUT, HELD, CAME_BACK = 279_572, 1_200, 1_116
# Melt weight × assay, in milligrams.
OWN = {
    "curb chains": 5_859,
    "engagement rings": 4_665,
    "watch cases": 5_339,
    "odd earrings": 5_436,
    "coin mounts": 1_145,
}


@dataclass(frozen=True)
class Walked:
    """The books at the end of the road, and what each story's calls were answered."""

    works: Works
    answers: dict[str, dict[str, Any]]

    @property
    def account(self) -> Any:
        return self.answers["one bath"]["account"]["metals"]["silver"]

    def lot(self, story: str) -> str:
        return str(self.answers[story]["lot"]["number"])

    def silver(self, story: str) -> Any:
        """The account of a lot's silver in its last settlement."""
        return self.answers[story]["settlement"]["cases"]["final"]["metals"]["silver"]

    @property
    def stories(self) -> list[str]:
        return [story.name for story in DRILL.lots]


@pytest.fixture(scope="module")
def drill(opened: Any, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Walked]:
    file = tmp_path_factory.mktemp("drill") / "books.sqlite3"
    _empty(opened.file, file)
    clock = Clock(DRILL.steps[0].moment)
    works = opened.works(file, clock)
    answers: dict[str, dict[str, Any]] = {}
    for step in DRILL.steps:
        clock.now = step.moment
        own = answers.setdefault(step.story, {})
        known = {**answers, **own}
        seen = own[step.match].etag if step.match else None
        till = works.with_key(opened.keys[step.key])
        answer = till.call(step.method, filled(step.path, known), filled(step.body, known), seen)
        if step.keep:
            own[step.keep] = answer
    yield Walked(works, answers)
    works.books.close()


def _empty(opened: Path, file: Path) -> None:
    """Books with the same keys, of a shop that did nothing yet."""
    stores.copied(opened.with_name("empty.sqlite3"), file)


def test_the_road_has_three_batches_and_one_bath_three_weeks_later(drill: Walked) -> None:
    assert len(drill.account["batches"]) == 3
    weighed = [s for s in DRILL.steps if s.path.endswith("/outturns")]
    gold, silver = weighed[2].moment.date(), weighed[3].moment.date()
    assert (silver - gold).days == 21


@pytest.mark.parametrize("story", EARLY)
def test_two_lots_were_settled_long_before_and_told_of_the_silver(drill: Walked, story: str) -> None:
    first, last = drill.answers[story]["first"], drill.answers[story]["settlement"]
    assert (first["still_to_come"], list(first["cases"]["final"]["metals"])) == (["silver"], ["gold"])
    assert last["further_to"] == first["number"]
    assert last["whole"]["metals"]["gold"] == first["cases"]["final"]["metals"]["gold"]


def test_in_and_out_are_what_was_weighed_and_assayed(drill: Walked) -> None:
    account = drill.account
    assert mg(account["lent"]) == sum(LENT)
    assert {s: mg(account["own"][drill.lot(s)]) for s in drill.stories} == OWN
    assert mg(account["in"]) == sum(OWN.values()) + sum(LENT)
    assert (mg(account["out"]), mg(account["held"])) == (OUT, HELD)
    assert account["verdict"] == "as expected"


def test_every_clients_silver_is_the_same_in_account_settlement_and_journal(drill: Walked) -> None:
    for story in drill.stories:
        lot, silver = drill.lot(story), drill.silver(story)
        credited = mg(drill.account["credited"][lot])
        assert mg(silver["recovered"]) == credited
        assert mg(silver["accountable"]) + mg(silver["kept"]) == credited
        went = sum(mg(silver[of]) for of in ("bars_total", "sold", "shot", "metal_account"))
        assert went == mg(silver["accountable"])
        client = drill.answers[story]["client"]["id"]
        assert drill.works.balance(f"client:{client}:lot:{lot}", "silver") == 0
        assert drill.works.balance(f"client:{client}:metal", "silver") == -mg(silver["metal_account"])


@pytest.mark.rule("H7")
def test_credits_and_house_share_are_what_came_out_and_is_held(drill: Walked) -> None:
    accounted(drill.works, drill.account)


def test_the_houses_loan_is_told_for_and_none_of_it_is_out(drill: Walked) -> None:
    loans = drill.works.get("/v1/silver-loans")
    rows = {row["batch"]: row for row in loans["items"]}
    assert [mg(rows[batch]["lent"]) for batch in drill.account["batches"]] == list(LENT)
    returned = sum(mg(row["returned"]) for row in rows.values())
    lost = sum(mg(row["lost"]) for row in rows.values())
    assert (returned, returned + lost) == (mg(drill.account["house_share"]), sum(LENT))
    assert loans["still_out"] == {"g": "0.000"}


def test_the_stock_is_what_was_bought_less_lent_and_what_came_out(drill: Walked) -> None:
    there = BOUGHT - sum(LENT) + OUT + CAME_BACK
    assert drill.works.balance("house:stock", "silver") == there
    assert mg(drill.works.get("/v1/silver-loans")["in_stock"]) == there
    assert mg(drill.works.get("/v1/position")["metals"]["silver"]["held"]["stock"]) == there


def test_the_books_explain_the_stock_by_whose_it_is(drill: Walked) -> None:
    """What is there is the clients', and the house's own: bought, kept, bought from clients, less lost."""
    works = drill.works
    silver = [drill.silver(story) for story in drill.stories]
    owed = sum(mg(of["metal_account"]) for of in silver)
    got = sum(mg(of["kept"]) + mg(of["sold"]) for of in silver)
    lost = sum(LENT) - mg(drill.account["house_share"]) + HELD - CAME_BACK
    assert works.balance("house:stock", "silver") == owed + BOUGHT + got - lost
    position = works.get("/v1/position")["metals"]["silver"]
    assert (mg(position["owed"]["total"]), mg(position["own"])) == (owed, BOUGHT + got - lost)
    assert works.balance("house:difference of assay and weighing", "silver") == lost


def test_metal_that_was_held_came_back_less_and_the_house_bore_it(drill: Walked) -> None:
    bath = drill.answers["one bath"]["bath"]["number"]
    assert drill.answers["one bath"]["burnt"]["held"] == []
    assert drill.works.balance(f"house:held:{bath}", "silver") == 0


def test_the_till_is_told_what_is_wrong_with_its_list(drill: Walked) -> None:
    compared = drill.answers["the till"]["comparison"]
    named = {drill.lot(story): story for story in drill.stories}
    assert [(row["entry"], named.get(row["lot"]), row["verdict"]) for row in compared["lines"]] == [
        ("till 4411", "curb chains", "agreed"),
        ("till 4412", "engagement rings", "agreed"),
        ("till 4415", "watch cases", "differing"),
        ("till 4416", "curb chains", "doubled"),
        ("till 4417", None, "missing in the books"),
        (None, "odd earrings", "missing in the till"),
    ]
    explained = sum(mg(part) for part in compared["explained_by"].values())
    assert explained == mg(compared["till_total"]) - mg(compared["books_total"])
    assert mg(compared["books_total"]) == sum(mg(drill.silver(s)["accountable"]) for s in drill.stories)


def test_the_books_are_whole(drill: Walked) -> None:
    with drill.works.books.reading() as work:
        assert all_faults(work) == []
