"""E5, E6, H1: pour plans, parting plans and what a pour took, as the API answers them."""

import json
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from works import TERMS, Works, grams, mg

WORKED = Path(__file__).parents[1] / "published" / "worked" / "pour-plans.json"
PLANS = json.loads(WORKED.read_text(encoding="utf-8"))["plans"]


@pytest.mark.rule("E5")
@pytest.mark.parametrize("case", PLANS, ids=lambda c: f"{c['weight_g']}-{c['wish']}")
def test_each_published_pour_plan_is_answered(works: Works, case: dict[str, Any]) -> None:
    body = {
        "weight": grams(case["weight_g"]),
        "moulds": [grams(m) for m in case["moulds_g"]],
        "over_pour": grams(case["over_pour_g"]),
        "wish": case["wish"],
    }
    found = works.post("/v1/pour-plans", body)
    counts = {m: bar["count"] for m, bar in zip(case["moulds_g"], found["bars"], strict=True) if bar["count"]}
    assert counts == case["plan"]
    assert Decimal(found["leaves"]["g"]) == round(Decimal(case["remainder_g"]), 3)
    assert found["bars_total"] == sum(case["plan"].values())


def test_moulds_are_named_or_weighed_in_any_unit(works: Works) -> None:
    works.scale("counter", "0.01")
    works.mould("twenty", "20", "0.05", "counter")
    body = {"weight": grams("52"), "moulds": ["twenty", grams("1", "ozt")], "over_pour": grams("0.05")}
    found = works.post("/v1/pour-plans", body)
    # 31.103 and 20 g, each with its over-pour; twice 20 g would leave more.
    assert [bar["count"] for bar in found["bars"]] == [1, 1]
    assert (found["leaves"], found["leaves_at_least"]) == ({"g": "0.897"}, {"g": "0.797"})
    assert {n["code"] for n in found["notices"]} == {"hot-metal"}


WRONG = [
    ({"moulds": []}, {"/moulds": "missing"}),
    ({"moulds": ["thirty"]}, {"/moulds/0": "unknown-reference"}),
    ({"moulds": [grams("20"), grams("20")]}, {"/moulds/1": "contradiction"}),
    ({"moulds": [grams(str(n)) for n in range(1, 8)]}, {"/moulds": "out-of-range"}),
    ({"moulds": [grams("0.1")]}, {"/moulds": "too-many-bars"}),
    ({"over_pour": grams("0")}, {"/over_pour": "mould-unreachable"}),
    ({"wish": "most_bars"}, {"/wish": "not-one-of"}),
    ({"weight": grams("10", "oz")}, {"/weight/unit": "ambiguous-unit"}),
]


@pytest.mark.parametrize(("changes", "faults"), WRONG)
def test_what_has_no_plan_is_refused_by_its_field(
    works: Works, changes: dict[str, Any], faults: dict[str, str]
) -> None:
    body = {"weight": grams("100"), "moulds": [grams("20")], **changes}
    assert works.refused.post("/v1/pour-plans", body).faults == faults


@pytest.mark.rule("H1")
def test_a_batch_is_planned_together_on_its_high_gold(works: Works) -> None:
    number = works.batch(works.lot("40", "500", "100"), works.lot("60", "370", "90"))["number"]
    plan = works.get(f"/v1/batches/{number}/parting-plan")
    # u of each: 0.3 ‰ of its weight, and a hundredth of a gram weighed: 0.012086 g and 0.018031 g.
    high = Decimal("20") + Decimal("22.2") + 2 * (Decimal("0.0120866") + Decimal("0.0180318"))
    assert abs(Decimal(plan["silver_to_add"]["g"]) - (high - 25) * 4) < Decimal("0.0006")
    assert plan["gold_fraction"]["high"] == "0.25"
    assert Decimal(plan["gold_fraction"]["likely"]) <= Decimal("0.25")
    assert plan["lots"] == works.get(f"/v1/batches/{number}")["lots"]


@pytest.mark.rule("H1")
def test_the_plan_names_copper_for_the_bath_acids_as_ranges_and_the_cautions(works: Works) -> None:
    number = works.batch(works.lot("40", "500", "100"))["number"]
    plan = works.get(f"/v1/batches/{number}/parting-plan")
    quantities = {(q["chemical"], q["metal"]): q for q in plan["quantities"]}
    copper = quantities["copper", "silver"]
    silver = Decimal(copper["metal_weight"]["g"])
    assert abs(Decimal(copper["from"]["g"]) - silver * Decimal("63.546") / (2 * Decimal("107.87"))) < 1
    for metal in ("silver", "copper"):
        acid = quantities["nitric acid (100 %)", metal]
        assert mg(acid["from"]) < mg(acid["to"])
    codes = {n["code"] for n in plan["notices"]}
    assert {"acids-and-fumes", "hot-metal", "spent-bath", "exposure-limits"} <= codes


def poured(works: Works) -> tuple[str, list[str]]:
    """A batch whose 19.9 g of gold are poured into one bar of 10 g, as far as this goes."""
    wishes = {"gold": {"bars": [{"nominal": grams("10"), "fineness": "999", "count": 1}]}}
    lot = works.lot("40", "500", "100", instructions=wishes)
    number = works.batch(lot)["number"]
    works.take_out(number, "gold", "19.9", "1000")
    return number, [works.pour(lot, "10.03", division=grams("0.01"))["serial"]]


def pour(works: Works, batch: str, bars: list[str], taken: str, trimmings: str, **more: Any) -> Any:
    def weighed(weight: str) -> dict[str, Any]:
        return {"weight": grams(weight), "assay": {"fineness": "1000"}}

    body = {"metal": "gold", "taken": weighed(taken), "trimmings": weighed(trimmings), "bars": bars, **more}
    return works.post(f"/v1/batches/{batch}/pours", body)


@pytest.mark.rule("E6")
def test_what_a_pour_lost_is_the_houses(works: Works) -> None:
    number, bars = poured(works)
    stock = works.balance("house:stock", "gold")
    found = pour(works, number, bars, "12", "1.965")
    assert [mg(found[of]) for of in ("taken", "bars", "trimmings", "loss")] == [12_000, 10_030, 1_965, 5]
    assert found["allowed"] == {"g": "0.012"}
    assert works.balance("house:pour loss", "gold") == 5
    assert works.balance("house:stock", "gold") == stock - 5


@pytest.mark.rule("E6")
@pytest.mark.parametrize(("trimmings", "way"), [("1.95", "missing"), ("1.99", "over")])
def test_beyond_the_loss_of_the_terms_a_pour_wants_an_owners_word(
    works: Works, keys: dict[str, str], trimmings: str, way: str
) -> None:
    number, bars = poured(works)
    word = {"override": {"reason": "weighed twice; it stands"}}
    with pytest.raises(AssertionError, match="beyond-balance"):
        pour(works, number, bars, "12", trimmings)
    body = {"taken": {"weight": grams("12"), "assay": {"fineness": "1000"}}, "metal": "gold", "bars": bars}
    more = {"trimmings": {"weight": grams(trimmings), "assay": {"fineness": "1000"}}}
    refusal = works.refused.post(f"/v1/batches/{number}/pours", {**body, **more})
    assert (refusal.kind, way in refusal.body["detail"]) == ("beyond-balance", True)
    asked = works.with_key(keys["work"]).refused.post(f"/v1/batches/{number}/pours", {**body, **more, **word})
    assert asked.status == 403
    pour(works, number, bars, "12", trimmings, **word)


@pytest.mark.rule("E6")
def test_a_pour_is_corrected_and_only_the_new_loss_stands(works: Works) -> None:
    number, bars = poured(works)
    first = pour(works, number, bars, "12", "1.965")["entry"]
    assert works.refused.post(
        f"/v1/batches/{number}/pours",
        {"metal": "gold", "taken": {"weight": grams("12"), "assay": {"fineness": "1000"}}, "bars": bars},
    ).faults == {"/bars/0": "wrong-state"}
    pour(works, number, bars, "12", "1.961", corrects=first, reason="misread")
    assert works.balance("house:pour loss", "gold") == 9


def test_a_pour_names_bars_of_its_batch(works: Works) -> None:
    number, _ = poured(works)
    body = {"metal": "gold", "taken": {"weight": grams("12"), "assay": {"fineness": "1000"}}}
    refusal = works.refused.post(f"/v1/batches/{number}/pours", {**body, "bars": ["BAR-2026-0099"]})
    assert refusal.faults == {"/bars/0": "unknown-reference"}


def test_the_loss_that_is_allowed_is_the_terms(works: Works) -> None:
    assert "pour_loss" not in TERMS, "so that a thousandth is what these tests reckon with"


def test_a_bar_that_a_pour_names_is_corrected_once_the_pour_names_it_no_more(works: Works) -> None:
    number, bars = poured(works)
    bar = works.get(f"/v1/bars/{bars[0]}")
    first = pour(works, number, bars, "12", "1.965")["entry"]
    again = {"corrects": bar["entry"], "reason": "misread", "division": grams("0.01")}
    refusal = works.refused.pour(bar["lot"], "10.02", **again)
    assert refusal.said == (409, "something-rests-on-it", "/corrects")
    second = pour(works, number, [], "2", "1.999", corrects=first, reason="the bar was misread")["entry"]
    works.pour(bar["lot"], "10.02", **again)
    pour(works, number, bars, "12", "1.975", corrects=second, reason="with the bar")
