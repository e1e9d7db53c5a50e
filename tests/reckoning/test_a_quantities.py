"""A: weight, fine metal, money, price, parts, what is stated, what is only shown."""

import pytest

from settle.reckoning import document
from settle.reckoning.bars import Reading, pour, stated_fineness, stated_weight
from settle.reckoning.batch import LotIn, Weighed, reconcile
from settle.reckoning.exact import largest_remainder, shown
from settle.reckoning.money import amount, minor_units
from settle.reckoning.notices import of_wishes
from settle.reckoning.tables import PRICE_UNITS
from settle.reckoning.weight import GRAMS_PER, grams, milligrams, printed, unit_fault
from settle.reckoning.working import Working

from .shop import F, account, bars, item_json, price, quote, read_item, terms, weight, wishes

UNITS = [
    ("g", "1"),
    ("mg", "0.001"),
    ("kg", "1000"),
    ("ozt", "31.1034768"),
    ("dwt", "1.55517384"),  # 31.1034768 ÷ 20
    ("grain", "0.06479891"),
    ("tola", "11.6638038"),  # 180 × 0.06479891
    ("ct", "0.2"),
    ("oz_av", "28.349523125"),
    ("lb_av", "453.59237"),
]


@pytest.mark.rule("A1")
@pytest.mark.parametrize(("unit", "in_grams"), UNITS)
def test_a_weight_becomes_grams_by_its_exact_factor(unit, in_grams):
    assert read_item(gross=weight("3", unit)).gross_g == 3 * F(in_grams)


@pytest.mark.rule("A1")
@pytest.mark.parametrize(
    ("amount_of", "unit", "equals", "other"),
    [
        (16, "oz_av", 1, "lb_av"),
        (480, "grain", 1, "ozt"),
        (24, "grain", 1, "dwt"),
        (7000, "grain", 1, "lb_av"),
    ],
)
def test_units_agree_with_each_other(amount_of, unit, equals, other):
    assert grams(F(amount_of), unit) == grams(F(equals), other)


@pytest.mark.rule("A1")
def test_no_other_unit_is_known():
    assert set(GRAMS_PER) == {unit for unit, _ in UNITS}


@pytest.mark.rule("A1")
@pytest.mark.parametrize(
    ("unit", "choices"), [("oz", ['"ozt"', '"oz_av"']), ("gr", ['"g"', '"grain"']), ("lb", ['"lb_av"'])]
)
def test_a_bare_unit_is_refused_with_the_question_which_is_meant(unit, choices):
    fault = unit_fault(unit, "/gross/unit")
    assert fault.kind == "ambiguous-unit"
    assert all(choice in fault.right for choice in choices)


@pytest.mark.rule("A1")
@pytest.mark.parametrize(("unit", "_grams"), UNITS)
def test_prices_are_per_five_units_only(unit, _grams):
    assert (unit_fault(unit, "", price=True) is None) == (unit in {"g", "kg", "ozt", "dwt", "tola"})
    assert len(PRICE_UNITS) == 5


@pytest.mark.rule("A2")
@pytest.mark.parametrize(
    ("weight_g", "mg"),
    [
        ("0.0005", 0),  # half: to the even 0
        ("0.0015", 2),  # half: to the even 2
        ("0.0025", 2),  # half: to the even 2
        ("0.002500001", 3),
        ("1.2344999", 1234),
        ("-0.0015", -2),
    ],
)
def test_fine_metal_is_whole_milligrams_half_to_even(weight_g, mg):
    assert milligrams(F(weight_g)) == mg


@pytest.mark.rule("A2")
@pytest.mark.parametrize(("recovered", "accountable"), [("1.0004", 1000), ("1.0005", 1000), ("1.0015", 1002)])
def test_r_stays_exact_and_everything_after_a_uses_the_rounded_a(recovered, accountable):
    of = account(terms(), {"gold": recovered}, {"gold": "1000"})
    gold = of.metals["gold"]
    assert (gold.recovered_g, gold.accountable_mg) == (F(recovered), accountable)
    assert of.net_minor == accountable * 100  # 1 mg at 1000.00 a gram is 1.00


@pytest.mark.rule("A3")
@pytest.mark.parametrize(
    ("value", "currency", "minor"),
    [
        ("0.005", "GBP", 1),  # half to even would be 0
        ("0.025", "GBP", 3),  # half to even would be 2
        ("0.0249", "GBP", 2),
        ("-0.005", "GBP", -1),  # away from zero, also below it
        ("-0.025", "GBP", -3),
        ("-0.0249", "GBP", -2),
        ("2.5", "JPY", 3),
        ("2.4999", "JPY", 2),
        ("0.0025", "KWD", 3),
        ("0.0024", "KWD", 2),
    ],
)
def test_money_is_whole_minor_units_half_away_from_zero(value, currency, minor):
    assert minor_units(F(value), currency) == minor


@pytest.mark.rule("A3")
@pytest.mark.parametrize(
    ("minor", "currency", "text"),
    [(103420, "GBP", "1034.20"), (1034, "JPY", "1034"), (1034, "BHD", "1.034"), (-5, "USD", "-0.05")],
)
def test_money_is_printed_with_the_places_of_its_currency(minor, currency, text):
    assert amount(minor, currency) == text


@pytest.mark.rule("A4")
@pytest.mark.parametrize(
    ("amount_of", "per", "mg", "value"),
    [
        ("60", "g", 1500, "90"),
        ("60000", "kg", 1, "0.06"),  # 60000 ÷ 1000000 mg
        ("31.1034768", "ozt", 1000, "1"),  # so a gram is 1
        ("1.55517384", "dwt", 1000, "1"),
        ("11.6638038", "tola", 1000, "1"),
    ],
)
def test_value_is_grams_times_price_over_the_grams_of_its_unit(amount_of, per, mg, value):
    assert price(amount_of, per=per).value(mg) == F(value)


@pytest.mark.rule("A4")
def test_value_is_rounded_once_and_not_by_the_gram():
    of = price("100", per="ozt")
    # 1000 g are 32.15074656… ozt; 100 ÷ 31.1034768 rounded first to 3.22 would make 3220.00.
    assert minor_units(of.value(1_000_000), "GBP") == 321507
    assert of.value(1) == F(100) / F("31103.4768")


@pytest.mark.rule("A5")
@pytest.mark.parametrize(
    ("whole", "weights", "parts"),
    [
        (10, [1, 1, 1], [4, 3, 3]),  # 3⅓ each: the one left over to the earlier
        (2, [1, 1, 1], [1, 1, 0]),
        (100, [1, 2, 4], [14, 29, 57]),  # 14.29 28.57 57.14: the largest remainder is the second
        (7, [3, 3, 1], [3, 3, 1]),
        (5, [0, 5, 0], [0, 5, 0]),
        (5, [0, 0], [0, 0]),  # nobody's: the caller gives it to the house
    ],
)
def test_parts_are_whole_milligrams_by_largest_remainder(whole, weights, parts):
    assert largest_remainder(whole, weights) == parts


@pytest.mark.rule("A5")
def test_the_weights_of_the_shares_are_the_milligrams_that_are_printed():
    lots = [LotIn("one", weighed("0.0006")), LotIn("two", weighed("0.0014"))]
    # Both print 0.001 g: a tie, the earlier first. By 0.6 and 1.4 mg it would be the later one's.
    assert reconcile(terms(metals=OUTTURN), "gold", lots, [], [weighed("0.001")]).shares.lots_mg == (1, 0)


@pytest.mark.rule("A5")
def test_where_all_weights_are_zero_the_whole_is_the_houses_with_a_query():
    made = reconcile(terms(metals=OUTTURN), "gold", [LotIn("one", weighed("0"))], [], [weighed("0.1")])
    assert (made.shares.lots_mg, made.shares.house_mg, made.verdict) == ((0,), 100, "query")


OUTTURN = {"gold": {"settle_on": "outturn", "recovery": "1", "accountable": "1", "payout_rate": "1"}}


def weighed(fine_g):
    return Weighed(F(fine_g), F("0.001"), F(1000))


@pytest.mark.rule("A6")
@pytest.mark.parametrize(
    ("assay", "u", "states"),
    [
        ("999.95", "0.02", "999.9"),  # 999.91 is sure
        ("999.94", "0.02", "999.9"),  # 999.90 exactly: not above
        ("999.95", "0.03", "999"),  # 999.89 is sure
        ("998.9999", "0", "995"),
        ("995", "0", "995"),
        ("994.99", "0", "994.9"),  # below the lowest step: down to 0.1
        ("750.19", "0.05", "750"),  # 750.09
        ("10", "10", "0"),
    ],
)
def test_a_fineness_is_stated_at_the_highest_step_that_is_sure(assay, u, states):
    assert stated_fineness(terms(), F(assay), F(u)) == F(states)


@pytest.mark.rule("A6")
@pytest.mark.parametrize(
    ("reading", "d", "step", "states"),
    [
        ("20.03", "0.01", "0.01", "20.02"),  # 20.025
        ("20.00", "0.01", "0.01", "19.99"),  # 19.995
        ("20.031", "0.001", "0.01", "20.03"),  # 20.0305
        ("20.005", "0.01", "0.01", "20"),  # 20.000 exactly
        ("20.19", "0.01", "0.1", "20.1"),
        ("0.004", "0.01", "0.01", "0"),
    ],
)
def test_a_weight_is_stated_less_half_a_division_and_rounded_down(reading, d, step, states):
    of = terms(stating_step=weight(step))
    assert stated_weight(of, Reading(F(reading), F(d), F(1000), F(0))) == F(states)


@pytest.mark.rule("A6")
@pytest.mark.parametrize(("line", "states"), [(bars("20"), "20"), (bars(count="whole"), "20.02")])
def test_a_bar_of_a_nominal_weight_states_it_and_a_whole_bar_its_reading(line, states):
    of = terms(fineness_steps=["1000"])
    asked = wishes(of, gold={"bars": [line]})["gold"]
    assert pour(of, asked, 0, Reading(F("20.03"), F("0.01"), F(1000), F(0)), "N1").stated_g == F(states)


@pytest.mark.rule("A6")
@pytest.mark.parametrize(("promised", "warned"), [("999.95", True), ("999.9", False)])
def test_a_promise_that_can_not_be_stated_is_warned_about(promised, warned):
    of = terms()
    codes = [n.code for n in of_wishes(of, wishes(of, gold={"bars": [bars("20", fineness=promised)]}))]
    assert ("promise-unreachable" in codes) == warned


@pytest.mark.rule("A8")
@pytest.mark.parametrize(
    ("weight_g", "unit", "prints"),
    [
        ("1.2345", "g", {"g": "1.234"}),  # half to even
        ("1.2355", "g", {"g": "1.236"}),
        ("31.1034768", "ozt", {"g": "31.103", "ozt": "1.00000"}),
        ("0.000466552152", "ozt", {"g": "0.000", "ozt": "0.00002"}),  # 0.000015 ozt, half to even
        ("0.000155517384", "ozt", {"g": "0.000", "ozt": "0.00000"}),  # 0.000005 ozt, half to even
        ("1.55517384", "dwt", {"g": "1.555", "dwt": "1.000"}),
    ],
)
def test_a_weight_is_shown_to_a_milligram_and_a_troy_ounce_to_five_places(weight_g, unit, prints):
    assert printed(F(weight_g), unit) == prints


@pytest.mark.rule("A8")
@pytest.mark.parametrize(
    ("value", "places", "text"), [("584.25", 1, "584.2"), ("584.35", 1, "584.4"), ("0.9125", 3, "0.912")]
)
def test_a_shown_figure_is_rounded_half_to_even(value, places, text):
    assert shown(F(value), places) == text


@pytest.mark.rule("A8")
def test_fineness_is_shown_to_a_tenth_and_nothing_is_computed_from_it():
    of = terms()
    quoted = quote(of, item_json(fineness="584.26"), prices={"gold": "10"})
    printed_item = document.estimate(quoted, [], Working(kept=False))["items"][0]
    # 584.3 is shown, but 100 g hold 58.426 g and not 58.430.
    assert printed_item["holds"]["gold"] == {"fineness": "584.3", "fine": {"g": "58.426"}}


@pytest.mark.rule("A8")
def test_a_quantity_is_shown_by_the_places_of_its_unit_and_charged_exactly():
    ozt = {"name": "by ounce", "base": "gross_weight", "per": "ozt", "rate": "1000"}
    gram = {"name": "by gram", "base": "gross_weight", "per": "g", "rate": "1000"}
    of = terms(charges=[ozt, gram])
    quoted = quote(of, item_json(gross=weight("100.0004")))
    lines = document.estimate(quoted, [], Working(kept=False))["cases"]["likely"]["charges"]
    # 100.0004 ÷ 31.1034768 = 3.21508751…
    printed_lines = [(line["quantity"], line["amount"]["amount"]) for line in lines]
    assert printed_lines == [("3.21509", "3215.09"), ("100", "100000.40")]


@pytest.mark.rule("A8")
@pytest.mark.parametrize(("payout_rate", "share"), [("0.9125", "0.912"), ("0.9135", "0.914"), ("1", "1")])
def test_a_share_is_shown_to_three_places(payout_rate, share):
    of = terms(metals={"gold": {"settle_on": "assay", "accountable": "1", "payout_rate": payout_rate}})
    answer = document.estimate(quote(of), [], Working(kept=False))
    assert answer["cases"]["likely"]["all_in"] == share
