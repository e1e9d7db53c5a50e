"""E: bars planned and poured, what is left, and what lies above."""

import pytest

from settle.reckoning import coverage
from settle.reckoning.bars import Poured, Reading, bound_fault, mould_fault, place, plan, pour
from settle.reckoning.batch import Weighed
from settle.reckoning.parting import Need
from settle.reckoning.problems import Refused

from .shop import F, account, bars, read_item, terms, terms_on, weight, wishes

WHOLE = bars(count="whole")


def asked(*lines, remainder="pay_out", of=None):
    return wishes(of or terms(), gold={"bars": list(lines), "remainder": remainder})["gold"]


PLANS = [
    # lines, A in mg: counts, mg in bars, mg to top up
    ([bars("20", 2)], 50_000, (2,), 40_000, 0),
    ([bars("20", 3)], 50_000, (2,), 40_000, 0),  # fewer fit: as many as fit
    ([bars("20", 2)], 40_000, (2,), 40_000, 0),  # just enough
    ([bars("20", 2)], 39_999, (1,), 20_000, 0),
    ([bars("20", 1)], 10_000, (0,), 0, 0),
    ([bars("20", "most")], 99_999, (4,), 80_000, 0),
    ([bars("20", 1), bars("10", "most")], 50_000, (1, 3), 50_000, 0),  # in the order asked
    ([bars("10", "most"), bars("20", 1)], 50_000, (5, 0), 50_000, 0),
    ([bars("20", 2, top_up=True)], 30_000, (2,), 40_000, 10_000),  # one more than fits
    ([bars("20", 5, top_up=True)], 30_000, (2,), 40_000, 10_000),  # and no further
    ([bars("20", 2, top_up=True)], 40_000, (2,), 40_000, 0),  # all fit
    ([bars("20", 3, top_up=True)], 40_000, (2,), 40_000, 0),  # nothing is left for another
    ([bars("20", 1, top_up=True)], 50_000, (1,), 20_000, 0),  # no more than asked
    ([bars("20", 2, top_up=True), bars("1", "most")], 30_000, (2, 0), 40_000, 10_000),
    ([bars("20", 1), WHOLE], 50_000, (1, 1), 50_000, 0),  # one bar of all that is left
    ([bars("10", "most"), WHOLE], 50_000, (5, 0), 50_000, 0),  # nothing is left
    ([bars("20", 1), bars("10", 1), WHOLE], 50_000, (1, 1, 1), 50_000, 0),
    ([WHOLE], 1, (1,), 1, 0),
    ([bars("31.1034768", 1, "999.9")], 31_100, (1,), 31_100, 0),  # 31.10036645…: down
    ([bars("31.1034768", 1, "999.9")], 31_099, (0,), 0, 0),
    ([bars("5", 2, "999.9")], 10_500, (2,), 9_998, 0),  # 4.9995 each: 4.999
    ([bars("5", 2, "995")], 10_000, (2,), 9_950, 0),  # takes nominal × fineness
]


@pytest.mark.rule("E1")
@pytest.mark.parametrize(("lines", "a_mg", "counts", "total", "top_up"), PLANS)
def test_bars_are_planned_line_by_line_in_the_order_asked(lines, a_mg, counts, total, top_up):
    made = plan(asked(*lines), a_mg)
    assert (made.counts, made.total_mg, made.top_up_mg) == (counts, total, top_up)
    assert [b.line for b in made.bars] == [i for i, n in enumerate(counts) for _ in range(n)]


def poured(line, grams, ppt, serial="N1"):
    return Poured(serial, line, F(grams), F(ppt))


PIECE = poured(1, "29.98", "999.9")
POURED = [
    # lines, poured, A: takes, gifts, stated below
    ([bars("20", 1, "995")], [poured(0, "20", "999")], 50_000, [19_900], [80], [0]),
    ([bars("20", 1, "995")], [poured(0, "20", "995")], 50_000, [19_900], [0], [0]),
    # a whole bar takes all that is left; it states 29.98 × 999.9 ÷ 1000 = 29.977002
    ([bars("20"), WHOLE], [poured(0, "20", "1000"), PIECE], 50_000, [20_000, 30_000], [0, 0], [0, 23]),
    # and whatever it weighs: it may state more than it takes
    ([WHOLE], [poured(0, "50.02", "1000")], 50_000, [50_000], [20], [0]),
    # each poured bar says which line it fills
    ([bars("20", 1), bars("5", 1)], [poured(1, "5", "1000")], 50_000, [5_000], [0], [0]),
]


@pytest.mark.rule("E1")
@pytest.mark.parametrize(("lines", "bars_poured", "a_mg", "takes", "gifts", "below"), POURED)
def test_a_poured_bar_takes_what_was_promised_and_states_above_it_as_a_gift(
    lines, bars_poured, a_mg, takes, gifts, below
):
    made = place(asked(*lines), bars_poured, a_mg)
    assert [b.takes_mg for b in made.bars] == takes
    assert [b.gift_mg for b in made.bars] == gifts
    assert [b.below_mg for b in made.bars] == below
    assert [b.line for b in made.bars] == [p.line for p in bars_poured]


@pytest.mark.rule("E1")
@pytest.mark.parametrize(
    ("counts", "at"),
    [((1000,), None), ((1001,), 0), ((600, 400), None), ((600, 401), 1), ((0, 0, 1001), 2)],
)
def test_a_thousand_bars_of_a_metal_are_the_most_whatever_their_lines(counts, at):
    fault = bound_fault(counts, "/instructions/gold")
    assert (fault and (fault.kind, fault.pointer)) == (
        at if at is None else ("too-many-bars", f"/instructions/gold/bars/{at}")
    )


@pytest.mark.rule("E1")
def test_alike_bars_are_told_once_with_their_number():
    made = plan(asked(bars("10", "most"), bars("5", 2)), 10_000_000_017_000)
    assert made.counts == (1_000_000_001, 1)
    assert (made.number, made.total_mg, len(made.runs)) == (1_000_000_002, 10_000_000_015_000, 2)


@pytest.mark.rule("E1")
def test_what_a_whole_bar_does_not_state_is_neither_sold_nor_returned():
    made = account(
        terms(),
        {"gold": "50"},
        {"gold": "10"},
        {"gold": {"bars": [WHOLE]}},
        poured={"gold": [poured(0, "49.98", "999.9")]},
    ).metals["gold"]
    assert (made.remainder_mg, made.sold_mg, made.shot_mg, made.payout_minor) == (0, 0, 0, 0)


READINGS = [
    # reading, d, assay, u: the fault
    ("20.005", "0.01", "1000", "0", None),  # less half a division it is 20 exactly
    ("20.05", "0.01", "1000", "0", None),  # nominal + over-pour exactly
    ("20.004", "0.01", "1000", "0", "bar-under-nominal"),
    ("20.00", "0.01", "1000", "0", "bar-under-nominal"),
    ("20.051", "0.01", "1000", "0", "bar-over-pour"),
    ("20.03", "0.1", "1000", "0", "bar-under-nominal"),  # half a division is 0.05
    ("20.03", "0.01", "999", "0", None),
    ("20.03", "0.01", "998.9", "0", "bar-below-promise"),
    ("20.03", "0.01", "999.1", "0.05", None),  # less twice u it is 999 exactly
    ("20.03", "0.01", "999.1", "0.06", "bar-below-promise"),
]


@pytest.mark.rule("E2")
@pytest.mark.parametrize(("reading", "d", "assay", "u", "kind"), READINGS)
def test_a_bar_must_show_its_nominal_weight_and_state_its_promise(reading, d, assay, u, kind):
    of = terms()
    line = asked(bars("20", 1, "999"), of=of)
    weighed = Reading(F(reading), F(d), F(assay), F(u))
    if kind is None:
        assert pour(of, line, 0, weighed, "N1").stated_g == 20
    else:
        with pytest.raises(Refused) as refused:
            pour(of, line, 0, weighed, "N1")
        assert [f.kind for f in refused.value.faults] == [kind]


@pytest.mark.rule("E2")
@pytest.mark.parametrize(
    ("nominal", "over_pour", "d", "reachable"),
    [
        ("20", "0.05", "0.01", True),
        ("20", "0.01", "0.01", True),  # 20.005 … 20.01 holds 20.01
        ("20", "0.009", "0.01", False),  # 20.005 … 20.009 holds no multiple of 0.01
        ("20", "0.05", "0.1", False),  # 20.05 … 20.05 holds no multiple of 0.1
        ("20", "0.1", "0.1", True),
        ("31.1034768", "0.002", "0.01", False),  # 31.1084768 … 31.1054768 is empty
        ("31.1034768", "0.0065232", "0.01", True),  # 31.11 exactly
        ("31.1034768", "0.0065231", "0.01", False),
        ("20.005", "0.005", "0.01", True),  # 20.01 … 20.01
    ],
)
def test_a_mould_that_no_reading_can_satisfy_is_refused(nominal, over_pour, d, reachable):
    fault = mould_fault(F(nominal), F(over_pour), F(d), "/moulds/0")
    assert (fault is None) == reachable


@pytest.mark.rule("E3")
@pytest.mark.parametrize(
    ("remainder", "goes"),
    [
        ("pay_out", (10_000, 0, 0, 9_000)),
        ("shot", (0, 10_000, 0, 0)),
        ("metal_account", (0, 0, 10_000, 0)),
    ],
)
def test_what_is_in_no_bar_goes_as_the_client_chose(remainder, goes):
    of = terms_on(gold={"payout_rate": "0.9"})
    wish = {"gold": {"bars": [bars("20", 2)], "remainder": remainder}}
    made = account(of, {"gold": "50"}, {"gold": "10"}, wish).metals["gold"]
    assert made.remainder_mg == 10_000
    assert (made.sold_mg, made.shot_mg, made.account_mg, made.payout_minor) == goes


COVER = [
    # price a gram, owed (charge), A: sold mg, shot mg, net
    ("10", "5.00", "50", 500, 49_500, 0),
    ("10", "5.00", "0.4", 400, 0, -100),  # all of it is too little: the client owes
    ("10", "0", "50", 0, 50_000, 0),  # nothing is owed
    ("7", "1.00", "50", 143, 49_857, 0),  # 142 mg are 0.994: 0.99; 143 are 1.001: 1.00
    ("5", "0.01", "50", 1, 49_999, 0),  # 1 mg is 0.005: half away from zero, 0.01
    ("4", "0.01", "50", 2, 49_998, 0),  # 1 mg is 0.004: 0.00; 2 are 0.008: 0.01
    ("15", "0.02", "50", 1, 49_999, 0),  # 1 mg is 0.015: 0.02
    ("100", "0.05", "50", 1, 49_999, 5),  # the least milligram is worth more than is owed
]


@pytest.mark.rule("E3")
@pytest.mark.parametrize(("per_g", "charge", "a", "sold", "shot", "net"), COVER)
def test_covering_sells_the_least_milligrams_whose_rounded_payout_is_enough(
    per_g, charge, a, sold, shot, net
):
    of = terms(charges=[{"name": "lot", "base": "lot", "rate": charge}])
    made = account(of, {"gold": a}, {"gold": per_g}, {"gold": {"remainder": "cover_charges"}})
    gold = made.metals["gold"]
    assert (gold.sold_mg, gold.shot_mg, made.net_minor) == (sold, shot, net)


@pytest.mark.rule("E3")
@pytest.mark.parametrize(("covers", "pays", "sold"), [("gold", "silver", 700), ("silver", "gold", 0)])
def test_the_metal_that_covers_comes_after_all_other_payouts(covers, pays, sold):
    of = terms_on(gold={}, silver={}, charges=[{"name": "lot", "base": "lot", "rate": "10"}])
    wish = {covers: {"remainder": "cover_charges"}, pays: {"remainder": "pay_out"}}
    made = account(of, {"gold": "5", "silver": "3"}, {"gold": "10", "silver": "1"}, wish)
    # 3 g of silver pay 3.00 of the 10.00, so 0.7 g of gold are sold; 5 g of gold pay it all.
    assert made.metals[covers].sold_mg == sold


@pytest.mark.rule("E3")
def test_a_metal_that_nobody_spoke_of_is_paid_out():
    assert account(terms(), {"gold": "5"}, {"gold": "10"}).metals["gold"].sold_mg == 5_000


TOP_UP = bars("20", 3, top_up=True)


@pytest.mark.rule("E4")
@pytest.mark.parametrize(
    ("line", "bars_poured", "rate", "bought", "given", "cost"),
    [
        (TOP_UP, 3, "1.02", 10_000, 0, 10_200),  # 10 g × 10.00 × 1.02
        (TOP_UP, 3, "1", 10_000, 0, 10_000),
        (TOP_UP, 2, "1.02", 0, 0, 0),
        (bars("20", 3), 3, "1.02", 0, 10_000, 0),  # nothing was agreed: the house's gift
        (bars("20", 3), 2, "1.02", 0, 0, 0),
    ],
)
def test_poured_bars_above_a_are_bought_where_agreed_and_else_given(
    line, bars_poured, rate, bought, given, cost
):
    of = terms_on(gold={"top_up_rate": rate})
    stated = [poured(0, "20", "1000", f"N{i}") for i in range(bars_poured)]
    made = account(of, {"gold": "50"}, {"gold": "10"}, {"gold": {"bars": [line]}}, poured={"gold": stated})
    placed = made.metals["gold"].placed
    assert (placed.top_up_mg, placed.excess_gift_mg, made.top_ups_minor) == (bought, given, cost)


EXCESS = [
    # lines, poured by line, A: bought, given
    ([bars("10", 2, top_up=True), bars("5", 1)], (2, 1), 24_000, 0, 1_000),  # of another line: no excuse
    ([bars("10", 2, top_up=True), bars("5", 1)], (2, 1), 18_000, 2_000, 5_000),
    ([bars("10", 3, top_up=True)], (3,), 18_000, 2_000, 10_000),  # of one bar more than fits at most
    ([bars("10", 3, top_up=True)], (3,), 20_000, 0, 10_000),  # nothing is left for it
    ([bars("5", 1), bars("10", 2, top_up=True)], (1, 2), 24_000, 1_000, 0),
    ([bars("10", "most")], (6,), 21_915, 0, 38_085),
    ([bars("10", "most"), WHOLE], (1, 1), 21_915, 0, 0),
]


@pytest.mark.rule("E4")
@pytest.mark.parametrize(("lines", "numbers", "a_mg", "bought", "given"), EXCESS)
def test_a_top_up_agreed_on_one_line_excuses_no_bar_of_another(lines, numbers, a_mg, bought, given):
    there = [
        poured(i, line.get("nominal", {"amount": "11.91"})["amount"], "1000")
        for i, (line, number) in enumerate(zip(lines, numbers, strict=True))
        for _ in range(number)
    ]
    made = place(asked(*lines), there, a_mg)
    assert (made.top_up_mg, made.excess_gift_mg) == (bought, given)


@pytest.mark.rule("E4")
@pytest.mark.parametrize(("a_mg", "too_much"), [(20_000, False), (19_950, False), (19_949, True)])
def test_the_house_gives_away_at_most_one_over_pour(a_mg, too_much):
    of = terms(over_pour={"amount": "0.05", "unit": "g"})
    made = place(asked(bars("10", "most"), of=of), [poured(0, "10", "1000")] * 2, a_mg)
    assert bool(made.given_too_much_mg(of)) is too_much


@pytest.mark.rule("E4")
def test_a_planned_top_up_costs_the_same_as_a_poured_one():
    of = terms_on(gold={"top_up_rate": "1.02"})
    made = account(of, {"gold": "50"}, {"gold": "10"}, {"gold": {"bars": [TOP_UP]}})
    assert (made.metals["gold"].top_up_minor, made.net_minor) == (10_200, -10_200)


# 100 g of 500 ‰ within ±2 ‰ (u), of which nine tenths are answered for: R is 50 g less or more 0.4 g.
UNSURE = {"evidence": {"sure": {"method": "fire_assay", "scatter": "2"}}, "division": weight("0.000000001")}
OF_THE_COUNT = terms_on(gold={"accountable": "0.9"}, **UNSURE)


@pytest.mark.rule("E4")
def test_bars_are_covered_by_the_items_then_by_the_assay_then_by_the_account():
    by_items = coverage.by_items(OF_THE_COUNT, (read_item(OF_THE_COUNT),))["gold"]
    assert by_items.accountable_mg == {"low": 44_640, "likely": 45_000, "high": 45_360}
    # Melted to 90 g of 480 ‰, u 1 ‰: 43.2 g, u 0.09 g.
    own = {"gold": Weighed(F(90), F(0), F(480), F(1))}
    by_assay = coverage.by_assay(OF_THE_COUNT, own, Need(), {})["gold"]
    assert by_assay.accountable_mg == {"low": 38_718, "likely": 38_880, "high": 39_042}
    # With drillings that are credited: 1 g more.
    credited = coverage.by_assay(OF_THE_COUNT, own, Need(), {"gold": 1_000})["gold"]
    assert credited.accountable_mg["likely"] == 39_780
    closed = coverage.by_account(OF_THE_COUNT, "gold", 40_000)
    assert set(closed.accountable_mg.values()) == {36_000}
    assert [of.rests_on for of in (by_items, by_assay, closed)] == ["items", "assay", "account"]


COVERED = coverage.Covered("assay", {"low": 19_000, "likely": 20_500, "high": 30_100})


@pytest.mark.rule("E4")
@pytest.mark.parametrize(
    ("line", "counts"),
    [
        (bars("10", 3), {"low": 1, "likely": 2, "high": 3}),
        # What a client would buy for a bar covers none.
        (bars("10", 3, top_up=True), {"low": 1, "likely": 2, "high": 3}),
        (bars("10", "most"), {"low": 1, "likely": 2, "high": 3}),
    ],
)
def test_it_is_told_by_line_and_case_how_many_bars_are_covered_and_what_is_left(line, counts):
    told = coverage.shown(COVERED, asked(line), [poured(0, "10", "1000")], "g")
    assert (told["lines"][0]["covered"], told["lines"][0]["poured"]) == (counts, 1)
    left = {case: of["g"] for case, of in told["left"].items()}
    assert left == {"low": "9.000", "likely": "0.500", "high": "0.100"}


@pytest.mark.rule("E4")
def test_bars_are_refused_against_the_most_that_the_lot_may_come_to():
    of = asked(bars("10", "most"))
    three = [poured(0, "10", "1000")] * 3
    assert COVERED.places(of, three).given_too_much_mg(terms()) == 0
    four = COVERED.places(of, [*three, three[0]])
    assert four.given_too_much_mg(terms()) == 9_900
    fault = coverage.fault(COVERED, of, four, terms(), 0)
    assert (fault.kind, fault.pointer) == ("bar-not-covered", "/line")
    assert "at most 3 bars of line 0, with 0.100 g left over" in fault.wrong


@pytest.mark.rule("E4")
@pytest.mark.parametrize(
    ("line", "stated", "given", "below"),
    [
        (bars("10", 1, "999"), ("10.04", "999.9"), 0, 0),
        (bars("10", 1, "995"), ("10.05", "1000"), 0, 0),
        # Ordered of 750 ‰ and poured of fine gold: 2.5 g more than was ordered.
        (bars("10", 1, "750"), ("10", "1000"), 2_500, 0),
        (bars("10", 1, "989"), ("10", "1000"), 0, 0),
        (bars("10", 1, "980"), ("10", "1000"), 200, 0),
        (WHOLE, ("21.96", "1000"), 0, 0),
        (WHOLE, ("21.97", "1000"), 55, 0),
        (WHOLE, ("300", "1000"), 278_085, 0),
        # 0.05 g of over-pour, 0.01 g of the step, 0.219 g of what is purer than stated.
        (WHOLE, ("21.64", "1000"), 0, 0),
        (WHOLE, ("21.63", "1000"), 0, 285),
        (WHOLE, ("1", "1000"), 0, 20_915),
    ],
)
def test_no_bar_holds_far_more_or_states_far_less_than_its_line_takes(line, stated, given, below):
    made = place(asked(line), [poured(0, *stated)], 21_915)
    assert (made.given_too_much_mg(terms()), made.below_too_much_mg(terms())) == (given, below)


@pytest.mark.rule("E4")
def test_a_whole_bar_poured_first_leaves_no_metal_for_another():
    lines = asked(bars("10", 1), WHOLE)
    made = place(lines, [poured(1, "21.9", "1000"), poured(0, "10", "1000")], 21_915)
    assert made.given_too_much_mg(terms()) == 21_900 - 11_915
