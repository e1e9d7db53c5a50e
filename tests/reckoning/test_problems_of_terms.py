"""Every kind of bad terms: which kind of refusal, and where (JSON Pointer, RFC 6901)."""

import pytest

from .shop import faults_of, metal, terms, weight


def row(start="500", end="600", **changes):
    plain = {"colour": "yellow", "from": start, "to": end, "low": "40", "likely": "150", "high": "300"}
    return plain | changes


def charge(**changes):
    return {"name": "c", "base": "lot", "rate": "1"} | changes


def of_metal(**changes):
    return {"metals": {"gold": {k: v for k, v in metal(**changes).items() if v is not None}}}


def of_charge(**changes):
    return {"charges": [{k: v for k, v in charge(**changes).items() if v is not None}]}


def tiers(*starts):
    return of_charge(tiers=[{"from": start, "rate": "1"} for start in starts])


MONEY = {"amount": "100", "currency": "GBP"}


def of_limit(**changes):
    return {"limits": {"cash": {"amount": MONEY, "text": "a text", "source": "a source"} | changes}}


SILVER = {"fineness": "600", "gold": "500"}
GOLDEN = {"fineness": "900", "gold": "50"}
TERMS = [
    ({"name": None}, "missing", "/name"),
    ({"public": "yes"}, "wrong-type", "/public"),
    ({"currency": None}, "missing", "/currency"),
    ({"currency": "GBX"}, "unknown-currency", "/currency"),
    ({"currency": "gbp"}, "unknown-currency", "/currency"),
    ({"weight_unit": "oz"}, "ambiguous-unit", "/weight_unit"),
    ({"weight_unit": "stone"}, "unknown-unit", "/weight_unit"),
    ({"karat_basis": "nominal"}, "not-one-of", "/karat_basis"),
    ({"division": None}, "missing", "/division"),
    ({"division": weight("0")}, "weight-not-positive", "/division/amount"),
    # evidence
    ({"evidence": None}, "missing", "/evidence"),
    ({"evidence": {"e": {}}}, "missing", "/evidence/e/method"),
    ({"evidence": {"e": {"method": "guess"}}}, "not-one-of", "/evidence/e/method"),
    ({"evidence": {"e": {"method": "mark", "bias": "+1"}}}, "not-a-decimal", "/evidence/e/bias"),
    ({"evidence": {"e": {"method": "mark", "scatter": "-1"}}}, "not-a-decimal", "/evidence/e/scatter"),
    ({"evidence": {"e": {"method": "mark", "scatter": "1001"}}}, "out-of-range", "/evidence/e/scatter"),
    ({"evidence": {"e": {"method": "mark", "shared": 3}}}, "not-a-decimal", "/evidence/e/shared"),
    # methods of assay
    ({"assay_methods": {"touchstone": {"least_u": "9"}}}, "not-one-of", "/assay_methods/touchstone"),
    ({"assay_methods": {"xrf": {}}}, "missing", "/assay_methods/xrf/least_u"),
    ({"assay_methods": {"xrf": {"least_u": "-2"}}}, "not-a-decimal", "/assay_methods/xrf/least_u"),
    ({"assay_methods": {"xrf": {"least_u": "1001"}}}, "out-of-range", "/assay_methods/xrf/least_u"),
    # guessed silver
    ({"alloy_silver": [row(), row()]}, "contradiction", "/alloy_silver/1/from"),
    ({"alloy_silver": [row(), row("599.9", "700")]}, "contradiction", "/alloy_silver/1/from"),
    ({"alloy_silver": [row(), row("400", "500.1")]}, "contradiction", "/alloy_silver/1/from"),
    ({"alloy_silver": [row(end="500")]}, "contradiction", "/alloy_silver/0/to"),
    ({"alloy_silver": [row(likely="301")]}, "contradiction", "/alloy_silver/0/likely"),
    ({"alloy_silver": [row(low="151")]}, "contradiction", "/alloy_silver/0/likely"),
    ({"alloy_silver": [row(colour="blue")]}, "not-one-of", "/alloy_silver/0/colour"),
    # metals
    ({"metals": None}, "missing", "/metals"),
    ({"metals": {}}, "missing", "/metals"),
    ({"metals": {"copper": metal()}}, "unknown-metal", "/metals/copper"),
    (of_metal(settle_on="outturn"), "missing", "/metals/gold/recovery"),
    (of_metal(accountable=None), "missing", "/metals/gold/accountable"),
    (of_metal(accountable="1.01"), "out-of-range", "/metals/gold/accountable"),
    (of_metal(payout_rate="98"), "out-of-range", "/metals/gold/payout_rate"),
    (of_metal(top_up_rate="10.1"), "out-of-range", "/metals/gold/top_up_rate"),
    (of_metal(top_up_tax="none"), "unknown-reference", "/metals/gold/top_up_tax"),
    (of_metal(recovery="1.001"), "out-of-range", "/metals/gold/recovery"),
    (of_metal(recovery_u="2"), "out-of-range", "/metals/gold/recovery_u"),
    (of_metal(balance="2"), "out-of-range", "/metals/gold/balance"),
    (of_metal(splitting_limit="1001"), "out-of-range", "/metals/gold/splitting_limit"),
    (of_metal(minimum_deduction=weight("1", "gr")), "ambiguous-unit", "/metals/gold/minimum_deduction/unit"),
    # parting
    ({"silver_rule": "client_first"}, "not-one-of", "/silver_rule"),
    ({"parting_target": "0"}, "out-of-range", "/parting_target"),
    ({"parting_target": "1.1"}, "out-of-range", "/parting_target"),
    ({"parting_target": "0.05", "house_silver": GOLDEN}, "out-of-range", "/parting_target"),
    ({"house_silver": SILVER, "parting_target": "0.6"}, "fineness-above-1000", "/house_silver/gold"),
    ({"house_silver": "fine"}, "wrong-type", "/house_silver"),
    # charges and taxes
    (of_charge(name=None), "missing", "/charges/0/name"),
    (of_charge(rate=None), "missing", "/charges/0/rate"),
    (of_charge(base="weight"), "not-one-of", "/charges/0/base"),
    (of_charge(base="gross_weight"), "missing", "/charges/0/per"),
    (of_charge(base="gross_weight", per="oz"), "ambiguous-unit", "/charges/0/per"),
    (of_charge(base="gross_weight", per="ct"), "unknown-unit", "/charges/0/per"),
    (of_charge(per="g"), "contradiction", "/charges/0/per"),
    (of_charge(base="fine_weight", per="g"), "unknown-metal", "/charges/0/metal"),
    (of_charge(base="fine_weight", per="g", metal="silver"), "unknown-metal", "/charges/0/metal"),
    (of_charge(metal="gold"), "contradiction", "/charges/0/metal"),
    (of_charge(tax="vat"), "unknown-reference", "/charges/0/tax"),
    (of_charge(tiering="stepped"), "not-one-of", "/charges/0/tiering"),
    (of_charge(minimum="-1"), "not-a-decimal", "/charges/0/minimum"),
    (tiers("0"), "contradiction", "/charges/0/tiers/0/from"),
    (tiers("20", "10"), "contradiction", "/charges/0/tiers/1/from"),
    (tiers("20", "20"), "contradiction", "/charges/0/tiers/1/from"),
    ({"charges": [charge(), charge()]}, "contradiction", "/charges/1/name"),
    ({"charges": charge()}, "wrong-type", "/charges"),
    ({"taxes": {"vat": {"rate": "20", "class": "standard"}}}, "out-of-range", "/taxes/vat/rate"),
    ({"taxes": {"vat": {"rate": "0.2", "class": "full"}}}, "not-one-of", "/taxes/vat/class"),
    ({"taxes": {"a/b": {"class": "standard"}}}, "missing", "/taxes/a~1b/rate"),
    # the rest
    ({"cash_step": "0"}, "out-of-range", "/cash_step"),
    ({"purchase_case": "middle"}, "not-one-of", "/purchase_case"),
    ({"price_time": "today"}, "not-one-of", "/price_time"),
    ({"quote_valid_for": "a day"}, "wrong-type", "/quote_valid_for"),
    ({"void_if_moved": "2"}, "out-of-range", "/void_if_moved"),
    ({"umpire_rule": "mean"}, "not-one-of", "/umpire_rule"),
    ({"advance_share": "1.5"}, "out-of-range", "/advance_share"),
    ({"stating_step": weight("0")}, "weight-not-positive", "/stating_step/amount"),
    ({"over_pour": weight("-0.1")}, "weight-not-positive", "/over_pour/amount"),
    ({"pour_loss": "2"}, "out-of-range", "/pour_loss"),
    ({"fineness_steps": ["999", "995"]}, "contradiction", "/fineness_steps"),
    ({"fineness_steps": ["995", "995"]}, "contradiction", "/fineness_steps"),
    ({"fineness_steps": ["1000.1"]}, "contradiction", "/fineness_steps"),
    ({"fineness_steps": ["0"]}, "contradiction", "/fineness_steps"),
    ({"fineness_steps": [995]}, "not-a-decimal", "/fineness_steps"),
    (of_limit(amount=MONEY | {"currency": "GBX"}), "unknown-currency", "/limits/cash/amount/currency"),
    (of_limit(window="long"), "wrong-type", "/limits/cash/window"),
    (of_limit(text=None), "missing", "/limits/cash/text"),
]


@pytest.mark.parametrize(("changes", "kind", "pointer"), TERMS)
def test_bad_terms_are_refused_where_they_are_bad(changes, kind, pointer):
    assert faults_of(lambda: terms(**changes)) == [(kind, pointer)]


def test_all_faults_of_one_version_of_the_terms_are_told_at_once():
    changes = {
        "currency": "GBX",
        "parting_target": "0",
        "charges": [charge(tax="vat", tiers=[{"from": "0", "rate": "1"}])],
        "fineness_steps": ["999", "995"],
        "metals": {"gold": metal(accountable="2"), "copper": metal()},
    }
    assert sorted(faults_of(lambda: terms(**changes))) == [
        ("contradiction", "/charges/0/tiers/0/from"),
        ("contradiction", "/fineness_steps"),
        ("out-of-range", "/metals/gold/accountable"),
        ("out-of-range", "/parting_target"),
        ("unknown-currency", "/currency"),
        ("unknown-metal", "/metals/copper"),
        ("unknown-reference", "/charges/0/tax"),
    ]


@pytest.mark.parametrize(
    ("changes", "reads"),
    [
        ({"alloy_silver": [row(), row("600", "700")]}, True),  # they only touch
        ({"alloy_silver": [row(), row(colour="rose")]}, True),
        (tiers("10", "20"), True),
        (of_metal(accountable="0"), True),
        ({"parting_target": "1"}, True),
        ({"over_pour": weight("0")}, True),
    ],
)
def test_what_lies_just_within_the_bounds_is_read(changes, reads):
    assert (faults_of(lambda: terms(**changes)) == []) == reads


@pytest.mark.parametrize(
    ("changes", "kind", "pointer"),
    [
        ({"fineness_steps": "59"}, "not-a-decimal", "/fineness_steps"),  # read as 5 and 9
        ({"fineness_steps": {"995": 1}}, "not-a-decimal", "/fineness_steps"),
        ({"quote_valid_for": "-PT24H"}, "out-of-range", "/quote_valid_for"),
        (of_limit(amount=MONEY | {"currency": "EUR"}), "other-currency", "/limits/cash/amount/currency"),
        # one fault each, not a second one that follows from the stand-in or says the same again
        ({"holding_period": 14}, "wrong-type", "/holding_period"),
        (of_metal(settle_on=None), "missing", "/metals/gold/settle_on"),
        (of_charge(base="weight", per="g"), "not-one-of", "/charges/0/base"),
        (of_metal(settle_on="sale"), "not-one-of", "/metals/gold/settle_on"),
    ],
)
def test_terms_that_are_bad_in_a_way_easily_overlooked(changes, kind, pointer):
    assert faults_of(lambda: terms(**changes)) == [(kind, pointer)]
