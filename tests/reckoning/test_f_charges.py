"""F: charges, tax, payout, net, and how all of it compares with the metal."""

import pytest

from settle.reckoning.charges import charge_line, quantity, tax_lines
from settle.reckoning.due import due
from settle.reckoning.money import in_coins
from settle.reckoning.notices import of_quote
from settle.reckoning.statement import all_in
from settle.reckoning.working import SILENT

from .shop import F, account, bars, item_json, quantities, quote, terms, terms_on, weight


def charge(base, rate="1", **more):
    per = {"per": "g"} if base.endswith("_weight") or base == "silver_lent" else {}
    return terms(charges=[{"name": "c", "base": base, "rate": rate} | per | more]).charges[0]


QUANTITIES = [
    ("lot", {}, "1"),
    ("gross_weight", {}, "101"),
    ("melt_weight", {}, "99"),
    ("silver_lent", {}, "30"),
    ("fine_weight", {"metal": "gold"}, "50"),
    ("bar", {}, "4"),
    ("article", {}, "7"),
    ("value", {}, "500.005"),
    ("gross_weight", {"per": "kg"}, "0.101"),
    ("melt_weight", {"per": "ozt"}, "990000000/311034768"),  # 99 ÷ 31.1034768
    ("fine_weight", {"metal": "gold", "per": "dwt"}, "50000000000/1555173840"),  # 50 ÷ 1.55517384
]


@pytest.mark.rule("F1")
@pytest.mark.parametrize(("base", "more", "of"), QUANTITIES)
def test_a_charge_is_made_on_its_base_in_its_own_unit(base, more, of):
    recorded = quantities("101", "99", "30", 7)
    found = quantity(charge(base, **more), recorded, {"gold": 50_000, "silver": 9}, 4, F("500.005"))
    assert found == F(of)


STEPS = [{"from": "100", "rate": "0.40"}, {"from": "200", "rate": "0.30"}]
AMOUNTS = [
    # changes, quantity: amount in minor units, tier, minimum applied
    ({}, "50", 2_500, None, False),  # 50 × 0.50
    ({}, "0.03", 2, None, False),  # 0.015: half away from zero
    ({"minimum": "30.00"}, "50", 3_000, None, True),
    ({"minimum": "25.00"}, "50", 2_500, None, False),  # reached by itself
    ({"tiers": STEPS}, "50", 2_500, None, False),
    ({"tiers": STEPS}, "100", 4_000, "100", False),  # inclusive
    ({"tiers": STEPS}, "79.99", 4_000, None, False),  # 39.995: half away from zero
    ({"tiers": STEPS}, "80", 4_000, None, False),  # exactly what the start of the next would cost
    ({"tiers": STEPS}, "99.99", 4_000, "100", False),  # 49.995 is more than 100 × 0.40
    ({"tiers": STEPS}, "149", 5_960, "100", False),
    ({"tiers": STEPS}, "199", 6_000, "200", False),  # 79.60 is more than 200 × 0.30
    ({"tiers": STEPS}, "250", 7_500, "200", False),
    ({"tiers": [{"from": "100", "rate": "0.60"}]}, "100", 6_000, "100", False),  # a dearer one, inclusive
    ({"tiers": STEPS, "minimum": "50.00"}, "100", 5_000, "100", True),
    ({"tiers": STEPS, "tiering": "marginal"}, "50", 2_500, None, False),
    ({"tiers": STEPS, "tiering": "marginal"}, "100", 5_000, "100", False),
    ({"tiers": STEPS, "tiering": "marginal"}, "150", 7_000, "100", False),  # 50 + 50 × 0.40
    ({"tiers": STEPS, "tiering": "marginal"}, "250", 10_500, "200", False),  # 50 + 40 + 50 × 0.30
]


@pytest.mark.rule("F1")
@pytest.mark.parametrize(("changes", "of", "minor", "tier", "minimum"), AMOUNTS)
def test_a_charge_is_quantity_times_rate_by_its_tiers_and_at_least_its_minimum(
    changes, of, minor, tier, minimum
):
    line = charge_line(charge("gross_weight", "0.50", **changes), F(of), "GBP", SILENT)
    assert (line.amount_minor, line.minimum_applied) == (minor, minimum)
    assert line.tier == (None if tier is None else F(tier))


@pytest.mark.rule("F1")
@pytest.mark.parametrize("minimum", ["0", "30.00"])
def test_nothing_is_charged_on_nothing(minimum):
    assert charge_line(charge("gross_weight", "0.50", minimum=minimum), F(0), "GBP", SILENT) is None


@pytest.mark.rule("F1")
def test_a_statement_charges_on_accountable_metal_bars_and_unrounded_value():
    of = terms_on(
        gold={"accountable": "0.9"},
        charges=[
            {"name": "fine", "base": "fine_weight", "metal": "gold", "per": "g", "rate": "1"},
            {"name": "bars", "base": "bar", "rate": "2.50"},
            {"name": "value", "base": "value", "rate": "0.5"},
        ],
    )
    wish = {"gold": {"bars": [bars("20", 2)]}}
    made = account(of, {"gold": "50.01"}, {"gold": "0.1108"}, wish)
    # A = 45.009, two bars of it; its value 45.009 × 0.1108 = 4.9869972, half of that 2.4934986.
    # A value rounded to 4.99 first would make 2.495 and so 2.50.
    assert [(line.charge.name, line.amount_minor) for line in made.charges] == [
        ("fine", 4_501),
        ("bars", 500),
        ("value", 249),
    ]


def taxed(*lines, currency="GBP"):
    rates = {"standard": "0.20", "reduced": "0.05", "zero": "0.20", "exempt": "0.20"}
    rates |= {"outside": "0.20", "reverse_charge": "0.20"}
    of = terms(currency=currency, taxes={c: {"rate": r, "class": c} for c, r in rates.items()})
    return [(line.tax.code, line.base_minor, line.amount_minor) for line in tax_lines(of, lines, SILENT)]


@pytest.mark.rule("F2")
@pytest.mark.parametrize(
    ("lines", "taxes"),
    [
        ([("standard", 1_000)], [("standard", 1_000, 200)]),
        # added first: 0.02 + 0.02 = 0.04, × 0.20 = 0.008: 0.01. One by one: 0.004 twice, 0.00
        ([("standard", 2), ("standard", 2)], [("standard", 4, 1)]),
        ([("reduced", 10)], [("reduced", 10, 1)]),  # 0.005: half away from zero
        # by code, in the order of the terms, each rounded by itself
        ([("reduced", 10), ("standard", 2), ("reduced", 9)], [("standard", 2, 0), ("reduced", 19, 1)]),
        ([("zero", 1_000)], [("zero", 1_000, 0)]),  # shown with its base, charged nothing
        ([("exempt", 1_000)], [("exempt", 1_000, 0)]),
        ([("outside", 1_000)], [("outside", 1_000, 0)]),
        ([("reverse_charge", 1_000)], [("reverse_charge", 1_000, 0)]),
        ([(None, 1_000)], []),
    ],
)
def test_tax_is_reckoned_once_a_code_on_the_sum_of_its_lines(lines, taxes):
    assert taxed(*lines) == taxes


@pytest.mark.rule("F2")
def test_tax_of_a_currency_without_minor_units_is_whole():
    assert taxed(("standard", 12), currency="JPY") == [("standard", 12, 2)]  # 2.4


@pytest.mark.rule("F2")
def test_charges_and_top_ups_carry_their_codes():
    of = terms_on(
        gold={"top_up_tax": "low"},
        taxes={"high": {"rate": "0.20", "class": "standard"}, "low": {"rate": "0.05", "class": "reduced"}},
        charges=[{"name": "lot", "base": "lot", "rate": "10", "tax": "high"}],
    )
    wish = {"gold": {"bars": [bars("20", 3, top_up=True)]}}
    made = account(of, {"gold": "50"}, {"gold": "10"}, wish)
    # 10.00 × 0.20, and a top-up of 10 g × 10.00 × 0.05
    assert [(t.tax.code, t.base_minor, t.amount_minor) for t in made.taxes] == [
        ("high", 1_000, 200),
        ("low", 10_000, 500),
    ]
    assert made.tax_minor == 700


@pytest.mark.rule("F3")
@pytest.mark.parametrize(
    ("sold", "per_g", "rate", "payout"),
    [
        ("50", "10", "1", 50_000),
        ("50", "10", "0.97", 48_500),
        ("0.001", "5", "1", 1),  # 0.005: half away from zero
        ("0.001", "5", "0.99", 0),  # 0.00495
        ("0.001", "9.99", "0.5", 0),  # 0.004995: a value rounded to 0.01 first would make 0.01
        ("0", "10", "1", 0),
    ],
)
def test_payout_is_what_is_sold_times_price_times_rate(sold, per_g, rate, payout):
    of = terms_on(gold={"payout_rate": rate})
    assert account(of, {"gold": sold}, {"gold": per_g}).metals["gold"].payout_minor == payout


FULL = {
    "gold": {"top_up_rate": "1", "payout_rate": "1"},
    "silver": {},
    "taxes": {"standard": {"rate": "0.20", "class": "standard"}},
    "charges": [{"name": "lot", "base": "lot", "rate": "10", "tax": "standard"}],
}


@pytest.mark.rule("F4")
def test_net_is_payouts_less_everything_that_is_due():
    wish = {"gold": {"bars": [bars("20", 3, top_up=True)]}}
    metal = {"gold": "50", "silver": "300"}
    made = account(
        terms_on(**FULL), metal, {"gold": "10", "silver": "1"}, wish, advances_minor=5_000, fees_minor=700
    )
    # 300.00 of silver − 10.00 − 2.00 tax − 100.00 top-up − 50.00 advance − 7.00 fees
    assert made.net_minor == 30_000 - 1_000 - 200 - 10_000 - 5_000 - 700
    assert made.payouts_minor == sum(a.payout_minor for a in made.metals.values())
    assert made.charges_minor == sum(line.amount_minor for line in made.charges)
    assert made.tax_minor == sum(line.amount_minor for line in made.taxes)
    assert made.top_ups_minor == sum(a.top_up_minor for a in made.metals.values())


@pytest.mark.rule("F4")
@pytest.mark.parametrize(
    ("open_minor", "step", "paid"),
    [
        (1_002, 5, 1_000),
        (1_003, 5, 1_005),
        (1_005, 10, 1_010),  # half away from zero
        (1_005, 5, 1_005),
        (2, 5, 0),
        (107, 20, 100),
        (7, 1, 7),
    ],
)
def test_cash_that_closes_is_the_nearest_that_coins_make_up(open_minor, step, paid):
    assert in_coins(open_minor, step) == paid
    assert in_coins(-open_minor, step) == -paid


@pytest.mark.rule("F4")
@pytest.mark.parametrize(
    ("gold", "least", "waived", "net"),
    [
        ("0.106", "0.04", 3, 0),  # 1.06 less 1.03
        ("0.100", "0.04", -3, 0),  # the client would owe 0.03
        ("0.106", "0.03", 0, 3),  # below it, and not up to it
        ("0.100", None, 0, -3),
        ("0.103", "0.04", 0, 0),
    ],
)
def test_a_net_below_the_least_that_is_paid_is_waived_with_its_sign(gold, least, waived, net):
    charge = {"name": "lot", "base": "lot", "rate": "1.03"}
    of = terms(charges=[charge], **({} if least is None else {"least_paid": least}))
    made = due(account(of, {"gold": gold}, {"gold": "10"}))
    assert (made.waived_minor, made.net_minor) == (waived, net)
    assert made.raw_minor == waived + net


@pytest.mark.rule("F4")
def test_worth_and_what_covers_charges_take_the_net_before_it_is_waived():
    charge = {"name": "lot", "base": "lot", "rate": "1.03"}
    of = terms(charges=[charge], least_paid="0.04")
    made = account(of, {"gold": "0.106"}, {"gold": "10"})
    assert (made.worth_minor, made.net_minor) == (3, 3)
    covered = account(of, {"gold": "0.110"}, {"gold": "10"}, {"gold": {"remainder": "cover_charges"}})
    assert covered.metals["gold"].sold_mg == 103


@pytest.mark.rule("F6")
@pytest.mark.parametrize(
    ("rules", "wish", "charge_rate", "share"),
    [
        ({}, {}, "0", "1"),
        ({"payout_rate": "0.9"}, {}, "0", "0.9"),
        ({"payout_rate": "0.9"}, {"remainder": "shot"}, "0", "1"),  # metal counts at spot
        ({"payout_rate": "0.9"}, {"remainder": "metal_account"}, "0", "1"),
        ({"accountable": "0.8"}, {"bars": [bars("20", 1)]}, "0", "0.8"),  # bars count at what they take
        ({}, {}, "50", "0.9"),  # 500.00 − 50.00
        ({"settle_on": "outturn", "recovery": "0.98"}, {}, "0", "0.98"),  # of the fine metal, not of R
        ({}, {}, "600", "-0.2"),
    ],
)
def test_all_in_is_what_the_client_gets_of_the_spot_value_of_the_fine_metal(rules, wish, charge_rate, share):
    of = terms_on(gold=rules, charges=[{"name": "lot", "base": "lot", "rate": charge_rate}])
    quoted = quote(of, asked={"gold": wish})
    assert all_in(quoted.cases["likely"], {"gold": quoted.contents["gold"].likely_g}) == F(share)


@pytest.mark.rule("F6")
def test_all_in_is_not_said_where_a_metal_has_no_price():
    of = terms_on(silver={})
    item = item_json(composition={"gold": "500", "silver": "100"})
    wish = {"silver": {"remainder": "shot"}}
    assert all_in(quote(of, item, asked=wish).cases["likely"], {"gold": F(50), "silver": F(10)}) is None


@pytest.mark.rule("F6")
@pytest.mark.parametrize(
    ("rate", "tax", "said"),
    [("499.99", "0", False), ("500.00", "0", True), ("450.00", "0.2", True), ("400.00", "0.2", False)],
)
def test_charges_above_the_value_of_the_metal_are_said_first_of_all(rate, tax, said):
    of = terms(
        taxes={"t": {"rate": tax, "class": "standard"}},
        charges=[{"name": "lot", "base": "lot", "rate": rate, "tax": "t"}],
        holding_period="P14D",
    )
    codes = [n.code for n in of_quote(quote(of, item_json(gross=weight("100"))))]
    assert (codes[0] == "charges-above-value") == said
    assert ("charges-above-value" in codes) == said


@pytest.mark.rule("F6")
def test_without_a_price_nobody_says_that_charges_are_above_the_value():
    of = terms(charges=[{"name": "lot", "base": "lot", "rate": "500"}])
    quoted = quote(of, prices={}, asked={"gold": {"remainder": "shot"}})
    assert quoted.worth_refining is None
    assert "charges-above-value" not in [n.code for n in of_quote(quoted)]
