"""E5: which moulds to pour, exactly."""

import json
import time
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from oracle import pour_plan as by_brute_force
from reckoning.shop import F, faults_of

from settle.reckoning.exact import fixed, half_even
from settle.reckoning.pour_plan import FEWEST_BARS, LEAST_LEFT, PLAN_WISHES, pour_plan

WORKED = Path(__file__).parent.parent / "published" / "worked" / "pour-plans.json"
PUBLISHED = json.loads(WORKED.read_text(encoding="utf-8"))["plans"]


def planned(weight, moulds, over, wish):
    return pour_plan(F(weight), [F(m) for m in moulds], F(over), wish)


def as_published(weight, moulds, over, wish):
    """A plan in the words of the published file and of the oracle."""
    found = planned(weight, moulds, over, wish)
    counts = {m: n for m, n in zip(moulds, found.counts, strict=True) if n}
    return {"plan": counts, "remainder_g": fixed(half_even(found.leaves_g, 7), 7)}


@pytest.mark.rule("E5")
@pytest.mark.parametrize("case", PUBLISHED, ids=lambda c: f"{c['weight_g']}-{c['wish']}")
def test_each_published_plan_is_found_to_the_last_digit(case):
    found = as_published(case["weight_g"], case["moulds_g"], case["over_pour_g"], case["wish"])
    assert found == {"plan": case["plan"], "remainder_g": case["remainder_g"]}


PLANS = [
    # weight, moulds, over-pour, wish: counts
    ("60", ["40", "30"], "0.001", LEAST_LEFT, (1, 0)),  # two of 30 need 60.002
    ("60.002", ["40", "30"], "0.001", LEAST_LEFT, (0, 2)),  # greedy would take the 40
    ("60.002", ["40", "30"], "0.001", FEWEST_BARS, (1, 0)),  # nothing fits beside the 40
    ("70.01", ["40", "30"], "0.001", FEWEST_BARS, (1, 1)),
    ("60.1", ["50", "10"], "0.05", FEWEST_BARS, (1, 1)),  # the 10 just fits beside the 50
    ("60.01", ["50", "30", "10"], "0.001", LEAST_LEFT, (1, 0, 1)),  # 2 × 30 is a tie: more of the larger
    ("60.01", ["30", "10", "50"], "0.001", LEAST_LEFT, (0, 1, 1)),  # in the order the moulds were given
    ("145", ["58", "55", "51", "44", "37", "13"], "0.5", LEAST_LEFT, (0, 1, 1, 0, 1, 0)),  # not 55 + 2 × 44
    ("9.9", ["10"], "0.001", FEWEST_BARS, (0,)),
    ("0", ["10"], "0.001", LEAST_LEFT, (0,)),
    ("2000.2", ["10"], "0.001", LEAST_LEFT, (200,)),
]


@pytest.mark.rule("E5")
@pytest.mark.parametrize(("weight", "moulds", "over", "wish", "counts"), PLANS)
def test_a_plan_is_exact_and_not_greedy(weight, moulds, over, wish, counts):
    assert planned(weight, moulds, over, wish).counts == counts


@pytest.mark.rule("E5")
def test_a_plan_says_what_it_leaves_and_what_it_leaves_if_every_bar_is_poured_to_its_limit():
    found = planned("100", ["50", "20", "10", "5"], "0.05", LEAST_LEFT)
    assert (found.bars, found.nominal_g) == (4, 95)
    assert (found.leaves_g, found.leaves_at_least_g) == (5, F("4.8"))


SIZES = ("50", "37.429", "31.1034768", "20", "11.6638038", "10", "9", "7.77", "5")
MOULDS = st.lists(st.sampled_from(SIZES), min_size=1, max_size=4, unique=True)
WEIGHTS = st.integers(0, 13_000).map(lambda n: fixed(n, 2))


@pytest.mark.rule("E5")
@pytest.mark.parametrize("wish", PLAN_WISHES)
@given(weight=WEIGHTS, moulds=MOULDS, over=st.sampled_from(("0.0005", "0.03", "0.5", "1")))
def test_no_plan_of_all_that_there_are_is_better(wish, weight, moulds, over):
    assert as_published(weight, moulds, over, wish) == by_brute_force(weight, moulds, over, wish)


@pytest.mark.rule("E5")
@pytest.mark.parametrize("wish", PLAN_WISHES)
@given(
    weight=st.integers(0, 1_100).map(lambda n: fixed(n, 1)),
    moulds=st.lists(st.integers(12, 24).map(str), min_size=5, max_size=6, unique=True),
    over=st.sampled_from(("0.1", "0.5", "2")),
)
def test_of_many_plans_that_tie_the_one_with_more_of_the_larger_bars_is_found(wish, weight, moulds, over):
    assert as_published(weight, moulds, over, wish) == by_brute_force(weight, moulds, over, wish)


# Six moulds of a real shop, and about 200 bars.
AT_THE_BOUNDS = [
    ("1850.37", ["50", "31.1034768", "20", "15.5517384", "10", "5"]),
    ("6100.11", ["100", "50", "31.1034768", "20", "10", "5"]),
    ("3099.99", ["50", "37.429", "31.1034768", "20", "11.6638038", "10"]),
    ("190000.5", ["1000", "500", "250", "100", "50", "31.1034768"]),
]


@pytest.mark.rule("E5")
@pytest.mark.parametrize("over", ["0.02", "0.05"])
@pytest.mark.parametrize("wish", PLAN_WISHES)
@pytest.mark.parametrize(("weight", "moulds"), AT_THE_BOUNDS)
def test_a_plan_at_the_bounds_is_found_at_once(weight, moulds, wish, over):
    before = time.process_time()
    found = planned(weight, moulds, over, wish)
    # Milliseconds on a workbench; the bound is loose, so that a slow machine is no fault.
    assert time.process_time() - before < 2
    assert found.leaves_at_least_g >= 0


@pytest.mark.rule("E5")
@pytest.mark.parametrize("wish", PLAN_WISHES)
def test_moulds_that_lie_close_to_each_other_are_a_longer_search_that_ends(wish):
    close = ["31.1034768", "31", "30.9", "30.5", "30.0000001", "29.7"]
    assert planned("5000.01", close, "0.01", wish).leaves_at_least_g >= 0


REFUSED = [
    # weight, moulds, over-pour, wish: kind, pointer
    ("100", [], "0.05", LEAST_LEFT, "out-of-range", "/moulds"),
    ("100", ["1", "2", "3", "4", "5", "6", "7"], "0.05", LEAST_LEFT, "out-of-range", "/moulds"),
    ("100", ["10", "0"], "0.05", LEAST_LEFT, "weight-not-positive", "/moulds/1"),
    ("100", ["10", "10"], "0.05", LEAST_LEFT, "contradiction", "/moulds/1"),
    ("-1", ["10"], "0.05", LEAST_LEFT, "weight-not-positive", "/weight"),
    ("100", ["10"], "0", LEAST_LEFT, "mould-unreachable", "/over_pour"),
    ("100", ["10"], "0.0004", LEAST_LEFT, "mould-unreachable", "/over_pour"),
    ("100", ["10"], "0.05", "prettiest", "not-one-of", "/wish"),
    ("202", ["1"], "0.001", LEAST_LEFT, "too-many-bars", "/moulds"),
    ("202", ["1"], "0.001", FEWEST_BARS, "too-many-bars", "/moulds"),
    ("402.1", ["2", "1"], "0.0005", LEAST_LEFT, "too-many-bars", "/moulds"),  # 200 of 2 g, and one fits yet
]


@pytest.mark.rule("E5")
@pytest.mark.parametrize(("weight", "moulds", "over", "wish", "kind", "pointer"), REFUSED)
def test_what_has_no_plan_is_refused_and_says_why(weight, moulds, over, wish, kind, pointer):
    assert faults_of(lambda: planned(weight, moulds, over, wish)) == [(kind, pointer)]
