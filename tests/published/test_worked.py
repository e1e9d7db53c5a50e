"""The worked files of the design, to the last digit, and proof that each input of them counts.

Their figures are invented; they were reckoned in exact fractions from the rules of the arithmetic,
apart from the code under test.
"""

import copy
from functools import reduce
from typing import Any

import pytest

from settle.reckoning.problems import Refused

from .driven import Json, batched, estimated, settled, worked

A = worked("estimate-a-grams-gbp")
B = worked("estimate-b-pennyweight-usd")
D = worked("settlement-d")
CORNERS = {corner["corner"]: corner for corner in worked("corners")["corners"]}
BATCHES = {batch["case"]: batch for batch in worked("batches")["batches"]}
RULES = ("house_first", "pro_rata", "settle_on_assay")


@pytest.mark.parametrize("case", [A, B], ids=["in grams and pounds", "in pennyweights and dollars"])
def test_a_worked_estimate_comes_out_to_the_last_digit(case):
    assert estimated(case) == case["answer"]


def test_there_are_as_many_corners_as_were_worked():
    assert len(CORNERS) == 37


@pytest.mark.parametrize("corner", CORNERS)
def test_each_corner_comes_out_to_the_last_digit(corner):
    assert estimated(CORNERS[corner]) == CORNERS[corner]["answer"]


@pytest.mark.parametrize("part", ["R", "answer", "comparison"])
def test_the_worked_settlement_comes_out_to_the_last_digit(part):
    assert settled(D, A["terms"], A["request"])[part] == D[part]


def test_the_bars_of_the_worked_settlement_state_what_they_should():
    assert settled(D, A["terms"], A["request"])["stated"] == [bar["stated_fineness"] for bar in D["bars"]]


@pytest.mark.parametrize("rule", RULES)
@pytest.mark.parametrize("batch", BATCHES)
def test_each_worked_batch_comes_out_to_the_last_digit(batch, rule):
    case = BATCHES[batch]
    found = batched(case, A["terms"], rule)
    assert found == {name: case[name] for name in found} | {"silver": case["silver"][rule]}


# --- a planted change of an input changes the answer: one line, one kind of input ---

ESTIMATE_A = [
    ("gross", "request/items/0/gross/amount", "31.43"),
    ("a weighed deduction", "request/items/0/deductions/0/weight/amount", "0.22"),
    ("a guessed deduction", "request/items/1/deductions/0/weight/amount", "0.61"),
    ("plus and minus of a guess", "request/items/1/deductions/0/plus_minus/amount", "0.85"),
    ("unit of a weight", "request/items/3/gross/unit", "dwt"),
    ("karat", "request/items/2/karat", "8"),
    ("count of articles", "request/items/1/count", 3),
    ("filled part", "request/items/2/filled_part", "1/10"),
    ("composition, gold", "request/items/3/composition/gold", "58.5"),
    ("composition, silver", "request/items/3/composition/silver", "11.7"),
    ("colour", "request/items/0/colour", "rose"),
    ("evidence of an item", "request/items/0/evidence", "touchstone"),
    ("gross of what is on assay only", "request/items/4/gross/amount", "6.30"),
    ("karat basis", "terms/karat_basis", "exact"),
    ("division of the scale", "terms/division/amount", "0.91"),
    ("bias", "terms/evidence/hallmark/bias", "-2"),
    ("scatter", "terms/evidence/hallmark/scatter", "4"),
    ("shared", "terms/evidence/hallmark/shared", "2"),
    ("alloy silver, likely", "terms/alloy_silver/0/likely", "111"),
    ("alloy silver, low", "terms/alloy_silver/0/low", "51"),
    ("alloy silver, from", "terms/alloy_silver/0/from", "380"),
    ("shared of the alloy table", "terms/evidence/alloy_table/shared", "21"),
    ("silver guessed or not", "terms/estimate_silver", False),
    ("settled on", "terms/metals/gold/settle_on", "assay"),
    ("recovery", "terms/metals/gold/recovery", "0.994"),
    ("u of the recovery", "terms/metals/gold/recovery_u", "0.003"),
    ("accountable", "terms/metals/gold/accountable", "0.984"),
    ("minimum deduction", "terms/metals/gold/minimum_deduction/amount", "0.95"),
    ("payable from", "terms/metals/silver/payable_from/amount", "9"),
    ("payout rate", "terms/metals/gold/payout_rate", "0.96"),
    ("silver rule", "terms/silver_rule", "pro_rata"),
    ("parting target", "terms/parting_target", "0.26"),
    ("fineness of the house silver", "terms/house_silver/fineness", "989"),
    ("gold in the house silver", "terms/house_silver/gold", "1"),
    ("rate of a charge", "terms/charges/2/rate", "0.81"),
    ("base of a charge", "terms/charges/3/base", "gross_weight"),
    ("unit of a charge", "terms/charges/2/per", "dwt"),
    ("minimum of a charge", "terms/charges/0/minimum", "95.00"),
    ("start of a tier", "terms/charges/0/tiers/0/from", "120"),
    ("rate of a tier", "terms/charges/0/tiers/0/rate", "0.44"),
    ("tiering", "terms/charges/0/tiering", "marginal"),
    ("tax code of a charge", "terms/charges/0/tax", "exempt"),
    ("tax rate", "terms/taxes/standard/rate", "0.21"),
    ("tax class", "terms/taxes/standard/class", "zero"),
    ("price", "request/prices/gold/amount", "61.21"),
    ("unit of a price", "request/prices/gold/per", "dwt"),
    ("nominal weight of a bar", "request/instructions/gold/bars/0/nominal/amount", "21"),
    ("fineness of a bar", "request/instructions/gold/bars/0/fineness", "999.8"),
    ("count of bars", "request/instructions/gold/bars/0/count", 1),
    ("remainder", "request/instructions/gold/remainder", "shot"),
]
TOP_UP = "a top-up agreed, taxed"
SETTLEMENT_D = [
    ("melt weight", "melt_weight/amount", "118.41"),
    ("assay of gold", "assay/gold", "489.7"),
    ("assay of silver", "assay/silver", "118.3"),
    ("silver lent", "silver_lent/weight/amount", "114.80"),
    ("fineness of the silver lent", "silver_lent/fineness", "998"),
    ("gold weighed out", "gold_out/weight/amount", "57.70"),
    ("assay of the gold out", "gold_out/fineness", "999.95"),
    ("silver weighed out", "silver_out/weight/amount", "125.42"),
    ("assay of the silver out", "silver_out/fineness", "998.1"),
    ("price", "prices/gold/amount", "62.06"),
    ("price of silver", "prices/silver/amount", "0.76"),
    ("nominal weight asked", "instructions/gold/bars/0/nominal/amount", "20.01"),
    ("remainder", "instructions/silver/remainder", "shot"),
]
# Readings and assays that a bar can't state what was promised with (A6, E2).
REFUSED_D = [
    ("a bar too light", "bars/0/reading/amount", "20.00", "bar-under-nominal"),
    ("a bar too heavy", "bars/0/reading/amount", "20.09", "bar-over-pour"),
    ("an assay below the promise", "gold_out/fineness", "999.87", "bar-below-promise"),
    ("an assay too uncertain", "gold_out/u", "0.04", "bar-below-promise"),
]
LEAN = "a lean lot that needs none, metal held in process"
BATCH = [
    ("melt weight", "lots/0/melt", "80.21"),
    ("assay of gold", "lots/0/gold", "745.2"),
    ("assay of silver", "lots/1/silver", "611.1"),
    ("silver lent", "silver_lent/weight/amount", "82.10"),
    ("fineness of the silver lent", "silver_lent/fineness", "989"),
    ("gold weighed out", "gold_out/weight/amount", "73.45"),
    ("fineness of the gold out", "gold_out/fineness", "999.8"),
    ("silver weighed out", "silver_out/weight/amount", "170.11"),
    ("fineness of the silver out", "silver_out/fineness", "998.1"),
    ("held in process", "silver_held/amount", "1.210"),
    ("parting target", "parting_target", "0.26"),
    ("fineness of the house silver", "house_silver/fineness", "998"),
    ("gold in the house silver", "house_silver/gold", "1"),
    ("recovery", "recovery", "0.96"),
]


def planted(case: Json, path: str, value: Any) -> Json:
    """A copy of the case, one of its inputs changed."""
    changed = copy.deepcopy(case)
    *way, last = [int(step) if step.isdigit() else step for step in path.split("/")]
    inner = reduce(lambda at, step: at[step], way, changed)
    assert last in inner if isinstance(inner, dict) else inner[last] is not None, path
    assert inner[last] != value
    inner[last] = value
    return changed


@pytest.mark.parametrize(("what", "path", "value"), ESTIMATE_A, ids=lambda p: str(p))
def test_a_planted_change_of_an_input_changes_the_estimate(what, path, value):
    assert estimated(planted(A, path, value)) != A["answer"], what


@pytest.mark.parametrize(
    ("path", "value"),
    [
        ("terms/metals/gold/top_up_rate", "1.03"),
        ("terms/metals/gold/top_up_tax", None),
        ("request/instructions/gold/bars/0/top_up", False),
    ],
)
def test_a_planted_change_of_a_top_up_changes_the_corner(path, value):
    assert estimated(planted(CORNERS[TOP_UP], path, value)) != CORNERS[TOP_UP]["answer"]


@pytest.mark.parametrize(("what", "path", "value"), SETTLEMENT_D)
def test_a_planted_change_of_an_input_changes_the_settlement(what, path, value):
    found = settled(planted(D, path, value), A["terms"], A["request"])
    assert {part: found[part] for part in ("R", "answer", "comparison")} != {
        part: D[part] for part in ("R", "answer", "comparison")
    }, what


@pytest.mark.parametrize(("what", "path", "value", "kind"), REFUSED_D)
def test_a_planted_change_of_a_bar_has_it_refused(what, path, value, kind):
    with pytest.raises(Refused) as refused:
        settled(planted(D, path, value), A["terms"], A["request"])
    assert {fault.kind for fault in refused.value.faults} == {kind}, what


@pytest.mark.parametrize(("what", "path", "value"), BATCH)
def test_a_planted_change_of_an_input_changes_the_batch(what, path, value):
    case = BATCHES[LEAN]
    found = batched(planted(case, path, value), A["terms"], "house_first")
    assert found != {name: case[name] for name in found} | {"silver": case["silver"]["house_first"]}, what
