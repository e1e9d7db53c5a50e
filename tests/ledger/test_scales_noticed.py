"""A scale past its verification, or a load below its minimum, is told of wherever it is used."""

from typing import Any

import pytest
from ledger_house import House
from stages import D, asked, grams

PAST, LIGHT = "scale-past-verification", "below-minimum-load"


@pytest.fixture
def till(house: House) -> Any:
    house.till.prices(gold="62.05", silver="0.75")
    house.till.scale("old", "0.01", min=grams("0.5"), verified_until="2026-03-07")
    house.till.scale("good", "0.01", min=grams("0.5"), verified_until="2026-03-08")
    return house.till


def codes(answer: Any) -> set[str]:
    return {notice["code"] for notice in answer["notices"]} & {PAST, LIGHT}


def items(scale: str, gross: str = "20") -> list[dict[str, Any]]:
    return [
        {"description": "ring", "karat": "18", "evidence": "hallmark", "gross": grams(gross), "scale": scale}
    ]


SCALES = [
    ("old", "20", {PAST}),
    ("good", "20", set()),
    ("old", "0.3", {PAST, LIGHT}),
    ("good", "0.3", {LIGHT}),
]


@pytest.mark.parametrize(("scale", "gross", "told"), SCALES)
def test_in_estimates_quotes_and_receipts(till: Any, scale: str, gross: str, told: set[str]) -> None:
    body = asked(items=items(scale, gross))
    assert codes(till.estimate(body)) == told
    assert codes(till.quote(body)) == told
    assert codes(till.receive(client="C-1", items=items(scale, gross))) == told


def test_each_scale_is_told_of_once(till: Any) -> None:
    answer = till.estimate(asked(items=items("old") + items("old")))
    assert [n["code"] for n in answer["notices"]].count(PAST) == 1


@pytest.mark.parametrize(("scale", "told"), [("old", {PAST}), ("good", set())])
def test_at_the_bench_and_in_a_count(till: Any, scale: str, told: set[str]) -> None:
    acceptance = {"who": "Ann Other", "how": "in_person"}
    lot = till.receive(client="C-1", items=items("good"), acceptance=acceptance)["number"]
    assert codes(till.melt(lot, "19", scale=scale)) == told
    till.assay(lot, D["assay"])
    batch = till.batch(lot)["number"]
    assert codes(till.lend(batch, "30", scale=scale)) == told
    metal = {"metal": "gold", "weight": grams("1"), "fineness": "999", "scale": scale}
    assert codes(till.post("/v1/stock-counts", {"metals": [metal]})) == told


def test_a_quote_says_what_held_when_it_was_made(house: House, till: Any) -> None:
    quote = till.quote(asked(items=items("good")))
    house.clock.move(days=10)
    assert codes(till.get(f"/v1/quotes/{quote['number']}")) == set()
    assert codes(till.estimate(asked(items=items("good")))) == {PAST}
    assert house.faults() == []
