"""The oracle answers to every published worked file, to the last digit."""

import json
from fractions import Fraction
from pathlib import Path

import pytest

from . import (
    agreed_assay,
    all_in,
    batch,
    estimate,
    exact_batch,
    exact_estimate,
    exact_settlement,
    in_coins,
    pour_plan,
    residual,
    residual_u,
    settle,
    stated_fineness,
    stated_weight,
    waived,
)

WORKED = Path(__file__).parent.parent / "published" / "worked"


def worked(name: str) -> dict:
    return json.loads((WORKED / name).read_text(encoding="utf-8"))


A = worked("estimate-a-grams-gbp.json")
D = worked("settlement-d.json")
CORNERS = worked("corners.json")["corners"]
BATCHES = worked("batches.json")["batches"]
RULES = ["house_first", "pro_rata", "settle_on_assay"]
F = Fraction


@pytest.mark.parametrize("corner", CORNERS, ids=lambda c: c["corner"])
def test_the_oracle_answers_each_corner_as_published(corner):
    assert estimate(corner["terms"], corner["request"]) == corner["answer"]


@pytest.mark.parametrize("name", ["estimate-a-grams-gbp.json", "estimate-b-pennyweight-usd.json"])
def test_the_oracle_answers_each_estimate_as_published(name):
    case = worked(name)
    assert estimate(case["terms"], case["request"]) == case["answer"]


@pytest.mark.parametrize("part", ["R", "answer", "comparison"])
def test_the_oracle_settles_the_worked_lot_as_published(part):
    assert settle(D, A["terms"], A["request"])[part] == D[part]


@pytest.mark.parametrize("rule", RULES)
@pytest.mark.parametrize("case", BATCHES, ids=lambda c: c["case"])
def test_the_oracle_shares_each_batch_as_published(case, rule):
    published = case | {"silver": case["silver"][rule]}
    for weighed in ("silver_lent", "gold_out", "silver_out"):
        published[weighed] = case[weighed]["fine"]
    reckoned = batch(case, rule)
    assert reckoned == {name: published[name] for name in reckoned}


@pytest.mark.parametrize("plan", worked("pour-plans.json")["plans"])
def test_the_oracle_plans_each_pour_as_published(plan):
    found = pour_plan(plan["weight_g"], plan["moulds_g"], plan["over_pour_g"], plan["wish"])
    assert found == {"plan": plan["plan"], "remainder_g": plan["remainder_g"]}


def test_the_client_of_the_worked_estimate_likely_gets_912_thousandths():
    assert round(all_in(A["terms"], A["request"])["likely"], 3) == F("0.912")


def test_the_exact_estimate_keeps_what_the_printed_one_rounds():
    gold = exact_estimate(A["terms"], A["request"])["likely"]["metals"]["gold"]
    by_hand = F("31.30") * 374 + F("27.26") * 742 + F("18.30") / 20 * 377 + F("44.05") * 584
    assert (gold["fine"], gold["R"]) == (by_hand / 1000, by_hand * F("0.995") / 1000)


@pytest.mark.parametrize("rule", RULES)
@pytest.mark.parametrize("case", BATCHES, ids=lambda c: c["case"])
def test_a_batch_without_roundings_lies_within_a_milligram_of_the_printed_one(case, rule):
    exact, printed = exact_batch(case, rule), batch(case, rule)
    pairs = zip(exact["silver"]["R"], printed["silver"]["lots_R"], strict=True)
    assert all(abs(r - F(shown)) <= F("0.001") for r, shown in pairs)


@pytest.mark.parametrize("rule", ["house_first", "pro_rata"])
def test_a_lot_that_is_what_was_quoted_leaves_every_step_of_the_comparison_at_zero(rule):
    terms, request = A["terms"] | {"silver_rule": rule}, A["request"]
    likely = exact_estimate(terms, request)["likely"]["metals"]
    melt = F("127.11")
    case = {
        "melt_weight": {"amount": str(melt), "unit": "g"},
        "assay": {m: str(f["fine"] / melt * 1000) for m, f in likely.items()},
        "bars": [{"line": 0}, {"line": 0}],
        "instructions": request["instructions"],
        "prices": request["prices"],
    }
    came = {m: f["R"] for m, f in likely.items()}
    assert len(set(exact_settlement(case, terms, request, came)["V"].values())) == 1


def shared_batch(rule: str) -> dict:
    """The worked estimate's likely metal refined with another lot; what is expected returns."""
    likely = exact_estimate(A["terms"], A["request"])["likely"]["metals"]
    first = {m: str(f["fine"] / F("127.11") * 1000) for m, f in likely.items()}
    lots = [{"melt": "127.11"} | first, {"melt": "50", "gold": "700", "silver": "120"}]
    needs = (likely["gold"]["fine"] - F("127.11") / 4) * 4 + 90
    silver_in = needs * F("0.999") + likely["silver"]["fine"] + 6
    gold_in = likely["gold"]["fine"] + 35

    def fine(g, fineness="1000"):
        return {"weight": {"amount": str(g), "unit": "g"}, "fineness": fineness}

    case = {"lots": lots, "parting_target": "0.25", "house_silver": {"fineness": "999"}}
    outs = {"gold_out": fine(gold_in * F("0.995")), "silver_out": fine(silver_in * F("0.97"))}
    return exact_batch(case | outs | {"silver_lent": fine(needs, "999")}, rule)


@pytest.mark.parametrize("rule", ["house_first", "pro_rata"])
def test_a_shared_batch_that_returns_what_is_expected_gives_each_lot_what_was_quoted(rule):
    terms = A["terms"] | {"silver_rule": rule}
    likely = exact_estimate(terms, A["request"])["likely"]["metals"]
    came = shared_batch(rule)
    assert came["gold"][0] == likely["gold"]["R"]
    assert came["silver"]["R"][0] == likely["silver"]["R"]


SMALL = {
    "lots": [{"melt": "10.000", "drillings": "0.500", "gold": "100", "silver": "200"}],
    "gold_out": {"weight": {"amount": "1", "unit": "g"}, "fineness": "950"},
    "silver_out": {"weight": {"amount": "1.5", "unit": "g"}, "fineness": "1000"},
    "recovery": "1",
}
LOAN = {"silver_lent": {"weight": {"amount": "100", "unit": "g"}, "fineness": "990"}}


def test_drillings_taken_are_not_the_lots_own_in_the_batch():
    reckoned = batch(SMALL, "pro_rata")
    assert (reckoned["gold_own"], reckoned["silver_own"]) == (["0.950"], ["1.900"])


def test_gold_that_came_with_the_house_silver_takes_its_share_as_one_more_lot():
    case = SMALL | LOAN | {"house_silver": {"fineness": "990", "gold": "0.5"}}
    assert batch(case, "pro_rata")["gold_shares"] == ["0.903"]  # a tie of halves


@pytest.mark.parametrize("rule", RULES)
def test_where_no_silver_went_in_what_came_back_is_the_houses(rule):
    lots = [{"melt": "10", "gold": "100", "silver": "0"}]
    silver = batch(SMALL | {"lots": lots}, rule)["silver"]
    assert silver == {"lots_R": ["0.000"], "house": "1.500"}


def poured(nominal: str, top_up: bool) -> dict:
    """The worked lot, one bar of whatever nominal weight poured beside the two."""
    line = {"nominal": {"amount": nominal, "unit": "g"}, "fineness": "1000", "count": 1}
    lines = [*D["instructions"]["gold"]["bars"], line | {"top_up": top_up}]
    wishes = D["instructions"] | {"gold": {"bars": lines, "remainder": "pay_out"}}
    case = D | {"instructions": wishes, "bars": [*D["bars"], {"line": 1}]}
    answer = settle(case, A["terms"], A["request"])["answer"]
    return answer["metals"]["gold"] | {"cost": answer["top_ups"].get("gold")}


@pytest.mark.parametrize(
    ("nominal", "top_up", "bars", "sold", "bought", "cost"),
    [
        ("10", False, "49.996", "6.846", "0.000", None),
        ("17", False, "56.996", "0.000", "0.000", None),
        ("17", True, "56.996", "0.000", "0.154", "9.75"),
    ],
)
def test_bars_above_the_accountable_metal_are_bought_where_agreed_and_else_a_gift(
    nominal, top_up, bars, sold, bought, cost
):
    gold = poured(nominal, top_up)
    assert (gold["bars"], gold["sold"], gold["top_up"], gold["cost"]) == (bars, sold, bought, cost)


def test_advances_and_fees_come_off_the_net_but_advances_not_off_the_comparison():
    money = {"advances": {"amount": "200.00"}, "fees": {"amount": "12.50"}}
    settled = settle(D | money, A["terms"], A["request"])
    last = settled["comparison"][-1]
    assert (settled["answer"]["net"], last["difference"]) == ("598.54", "-12.50")


@pytest.mark.parametrize(
    ("open_minor", "paid"), [(3_829, 3_830), (3_832, 3_830), (-3_833, -3_835), (2, 0), (1_005, 1_005)]
)
def test_cash_that_closes_is_a_multiple_of_the_step(open_minor, paid):
    assert in_coins(A["terms"] | {"cash_step": "0.05"}, open_minor) == paid


@pytest.mark.parametrize(("net", "given_up"), [(3, 3), (-3, -3), (4, 0), (0, 0)])
def test_a_net_below_the_least_that_is_paid_is_waived(net, given_up):
    assert waived(A["terms"] | {"least_paid": "0.04"}, net) == given_up


@pytest.mark.parametrize(
    ("whose", "become", "more"),
    [
        ("house", "returned", 0),
        # 0.3 g of 489.6 ‰ gold and 118.2 ‰ silver: 0.147 g at 62.05 and 0.035 g at 0.75.
        ("client", "returned", 915),
        # Credited, 0.145 g and 0.031 g are the client's: 8.73 and 0.02 paid, 0.12 and tax charged on them.
        ("client", "credited", 859),
    ],
)
def test_drillings_of_the_client_are_worth_something_to_him_and_those_of_the_house_nothing(
    whose, become, more
):
    taken = D | {"drillings": {"amount": "0.3", "unit": "g"}}
    values = [
        exact_settlement(taken | {"drillings_whose": w}, A["terms"] | {"drillings": b}, A["request"])["V"]
        for w, b in (("house", "returned"), (whose, become))
    ]
    assert values[1]["charges"] - values[0]["charges"] == more


@pytest.mark.parametrize(
    ("assayed", "u", "stated"),
    [("999.97", "0.02", "999.9"), ("999.93", "0.02", "999"), ("995", "0", "995"),
     ("994.99", "0.01", "994.9"), ("916.68", "0.3", "916")],
)  # fmt: skip
def test_a_stated_fineness_is_never_more_than_is_there(assayed, u, stated):
    steps = [F("995"), F("999"), F("999.9")]
    assert stated_fineness(F(assayed), F(u), steps) == F(stated)


@pytest.mark.parametrize(
    ("reading", "division", "step", "stated"),
    [("12.34", "0.01", "0.01", "12.33"), ("12.345", "0.001", "0.01", "12.34"),
     ("20", "0.02", "0.01", "19.99")],
)  # fmt: skip
def test_a_stated_weight_is_never_more_than_is_there(reading, division, step, stated):
    assert stated_weight(F(reading), F(division), F(step)) == F(stated)


@pytest.mark.parametrize(
    ("house", "client", "umpire", "rule", "agreed", "bears"),
    [
        ("585", "585.5", None, "final", "585.25", {}),
        ("585", "586", None, "final", None, {}),
        ("585", "586", "585.2", "final", "585.2", {"client": 1}),
        ("585", "586", "587", "final", "586", {"house": 1}),
        ("585", "586", "587", "middle", "586", {"house": 1}),
        ("585", "586", "584", "middle", "585", {"client": 1}),
        ("585", "586", "585.5", "middle", "585.5", {"house": F(1, 2), "client": F(1, 2)}),
    ],
)
def test_two_assays_and_an_umpire_agree_by_the_rule(house, client, umpire, rule, agreed, bears):
    third = None if umpire is None else F(umpire)
    found = agreed_assay(F(house), F(client), third, F("0.5"), rule)
    assert found == (None if agreed is None else F(agreed), bears)


def test_a_residual_is_what_is_missing_beyond_the_expected_loss():
    assert residual(F("296.768"), F("0.97"), F("287.773")) == F("0.09196")


def test_the_u_of_a_residual_joins_weighings_assays_held_metal_and_recovery():
    division = {"amount": "0.06", "unit": "g"}
    weighed = {"weight": {"amount": "100", "unit": "g"}, "division": division}
    entered = [weighed | {"fineness": "500", "u": "2"}]
    came_out = [weighed | {"fineness": "1000"}]
    u = residual_u(entered, came_out, [F("0.1")], F("0.9"), F("0.01"), F(50))
    variance = F("0.81") * (F("0.000075") + F("0.04")) + F("0.0003") + F("0.01") + F("0.25")
    assert abs(u**2 - variance) < F(1, 10**12)
