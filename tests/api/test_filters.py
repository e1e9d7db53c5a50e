"""Lists by day, client and state (contract: Manners): what is left is what the rows themselves say."""

import re
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
import stores
from filtered import NAMED, faults
from stages import ROAD, Clock, gold_only, scrap
from till import Till, grams

from settle.books.work import open_books

STAGES = [stage for stage, _, _ in ROAD]
COUNTER = {"settle_on": "counter", "accountable": "1", "payout_rate": "1"}
DATED = [path for path in NAMED if path != "/v1/silver-loans"]


@pytest.mark.parametrize("stage", STAGES)
def test_a_list_leaves_what_its_rows_say_at_every_stage_of_the_road(at: Any, stage: str) -> None:
    assert list(faults(at(stage))) == []


def test_a_bought_lot_is_found_as_posted_and_then_as_reversed(at: Any) -> None:
    till = at("settled")
    till.terms(gold_only(name="counter", metals={"gold": COUNTER}))
    bought = [
        till.buy({"terms": "T-2", "client": "C-1", "paid_in": "cash", "items": [scrap()]})["number"]
        for _ in range(2)
    ]
    till.post(f"/v1/purchases/{bought[0]}/reversal", {"reason": "a mistake"})
    assert {p["number"]: p["state"] for p in till.listed("/v1/purchases")} == {
        bought[0]: "reversed",
        bought[1]: "posted",
    }
    assert list(faults(till)) == []


def test_a_sold_bar_is_found_as_posted_and_then_as_reversed(at: Any) -> None:
    till = at("settled")
    till.client("Ben Other")
    said = {"weight": grams("50"), "fineness": "999", "mark": "X 1", "terms": "T-1"}
    cost = {"cost": {"amount": "40.00", "currency": "GBP"}, "paid_in": "transfer"}
    for client in ("C-1", "C-2"):
        bar = till.post("/v1/stock/bars", {"kind": "bought", "metal": "silver", **said, **cost})["serial"]
        till.post(f"/v1/bars/{bar}/sale", {"client": client, "terms": "T-1", "paid_in": "cash"})
    till.post(f"/v1/bars/{bar}/sale/reversal", {"reason": "a mistake"})
    assert [(s["client"], s["state"]) for s in till.listed("/v1/bar-sales")] == [
        ("C-2", "reversed"),
        ("C-1", "posted"),
    ]
    assert list(faults(till)) == []


def test_a_bar_in_a_list_says_whose_it_is(at: Any) -> None:
    assert {bar["belongs_to"] for bar in at("poured").listed("/v1/bars")} == {None}
    till = at("settled")
    weighed = {"weight": grams("50"), "fineness": "999", "mark": "X 1"}
    cost = {"cost": {"amount": "40.00", "currency": "GBP"}, "paid_in": "transfer"}
    till.post("/v1/stock/bars", {"kind": "bought", "metal": "silver", "terms": "T-1", **weighed, **cost})
    assert [bar["belongs_to"] for bar in till.listed("/v1/bars")] == ["house", "C-1", "C-1"]


@pytest.mark.parametrize("path", DATED)
@pytest.mark.parametrize(
    ("query", "named"),
    [
        ("from=2026-03-05&to=2026-03-04", "from"),
        ("from=2026-02-30", "from"),
        ("to=yesterday", "to"),
        ("from=0001-01-01", "from"),
        ("client=C-77", "client"),
        ("state=drunk", "state"),
    ],
)
def test_what_nobody_can_have_meant_is_refused_by_every_list(
    standing: Any, path: str, query: str, named: str
) -> None:
    refusal = standing("settled").refused.get(f"{path}?{query}")
    assert refusal.said == (400, "bad-request", "")
    # A list that has no such filter says that instead.
    assert named in refusal.body["detail"] or "no parameter" in refusal.body["detail"]


def test_a_parameter_that_is_given_twice_is_refused_by_every_call_that_reads_it(standing: Any) -> None:
    till = standing("settled")
    asked = [
        (method.upper(), re.sub("{[^}]+}", "1", path), parameter["name"])
        for path, methods in till.get("/openapi.json")["paths"].items()
        for method, operation in methods.items()
        if method != "parameters" and operation["security"]
        for parameter in operation.get("parameters", ())
        if parameter["in"] == "query"
    ]
    assert len(asked) > 100
    for method, path, name in asked:
        answer = till.ask(method, f"{path}?{name}=1&{name}=1")
        assert (answer.status_code, answer.json["detail"]) == (
            400,
            f"{name} is given twice; each parameter once",
        )


def test_an_erased_client_can_still_be_asked_for(at: Any) -> None:
    till = at("opened")
    till.post("/v1/clients/C-1/erasure")
    assert till.listed("/v1/quotes?client=C-1") == []


def test_a_day_is_the_houses_own(stages: Any, tmp_path: Path) -> None:
    """The road begins at half past nine in the morning, UTC: twelve hours on it is the next day there."""
    file = tmp_path / "books.sqlite3"
    clock = Clock(stages.times["settled"].replace(hour=20))
    books = open_books(stores.copied(stages.file("settled"), file), clock, "Pacific/Auckland")
    till = Till(stages.app, books, file, stages.keys["owner"])
    late = till.client("Late Comer")["made_at"]
    following = (clock.now + timedelta(days=1)).date()
    assert late[:10] < following.isoformat()
    assert [c["name"] for c in till.listed(f"/v1/clients?from={following}")] == ["Late Comer"]
    assert list(faults(till, "Pacific/Auckland")) == []
    books.close()
