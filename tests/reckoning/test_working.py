"""Working: rows from which a reader redoes every figure by hand."""

from fractions import Fraction

import pytest

from settle.reckoning.exact import half_even
from settle.reckoning.money import minor_units
from settle.reckoning.working import SILENT, Working

from .shop import F, account, bars, item_json, quote, terms_on, weight

TAXES = {"vat": {"rate": "0.20", "class": "standard"}}
CHARGES = [
    {"name": "handling", "base": "gross_weight", "per": "g", "rate": "0.333", "tax": "vat"},
    {"name": "lot", "base": "lot", "rate": "1", "minimum": "7"},
]
RULES = {"settle_on": "outturn", "recovery": "0.99", "recovery_u": "0.001", "accountable": "0.985"}
PRICES = {"gold": "61.2", "silver": "0.71"}


def worked(**changes):
    """A quote with everything in it, and its rows as printed."""
    working = Working()
    gold = RULES | {"payout_rate": "0.97", "minimum_deduction": weight("0.15"), "top_up_rate": "1.02"}
    of = terms_on(gold=gold, silver=RULES | {"payout_rate": "0.9"}, charges=CHARGES, taxes=TAXES, **changes)
    item = item_json(composition={"gold": "583.7", "silver": "118.3"}, gross=weight("33.33"), count=3)
    wish = {"gold": {"bars": [bars("10", 2, "999.9", top_up=True)]}}
    quoted = quote(of, item, prices=PRICES, asked=wish, working=working)
    return quoted, [row.as_json() for row in working.rows]


QUOTED, ROWS = worked()


def rows(rule, case=None):
    return [row for row in ROWS if row["rule"] == rule and row.get("case") == case]


def number(row, name):
    return F(row["inputs"][name])


def test_every_row_says_what_by_which_rule_in_words_from_what_and_how_much():
    assert ROWS
    for row in ROWS:
        assert set(row) - {"case", "rounded"} == {"what", "rule", "formula", "inputs", "exact"}
        assert row["what"]
        assert row["formula"]
        assert all(isinstance(text, str) for text in [row["exact"], *row["inputs"].values()])
        assert "_" not in "".join(row["inputs"])  # words, not names of code


@pytest.mark.parametrize("rule", ["B4", "C2", "C3", "H1"])
def test_what_holds_in_every_case_is_said_once(rule):
    assert rows(rule)
    assert not any(rows(rule, case) for case in ("low", "likely", "high"))


@pytest.mark.parametrize("case", ["low", "likely", "high"])
@pytest.mark.parametrize("rule", ["C4", "D2", "E1", "E4", "F1", "F2", "F3", "F4"])
def test_what_is_reckoned_three_times_is_said_under_its_case(rule, case):
    assert rows(rule, case)


@pytest.mark.parametrize("rule", ["D2"])
def test_a_metal_that_is_rounded_is_its_exact_value_half_to_even(rule):
    for row in rows(rule, "likely"):
        assert half_even(F(row["exact"]), 3) == F(row["rounded"]) * 1000


@pytest.mark.parametrize("rule", ["F1", "F2", "F3", "E4"])
def test_money_that_is_rounded_is_its_exact_value_half_away_from_zero_or_the_minimum(rule):
    for row in rows(rule, "likely"):
        least = number(row, "minimum") if "minimum" in row["inputs"] else F(0)
        assert max(minor_units(F(row["exact"]), "GBP"), least * 100) == F(row["rounded"]) * 100


@pytest.mark.parametrize(
    ("rule", "redone"),
    [
        ("B4", lambda r: number(r, "net") * number(r, "filled part") * number(r, "likely fineness") / 1000),
        ("H1", lambda r: (number(r, "fine gold") - number(r, "target") * number(r, "melt weight")) * 4),
    ],
)
def test_a_row_of_the_lot_is_redone_from_its_inputs(rule, redone):
    for row in rows(rule):
        assert redone(row) == F(row["exact"])


def kept(row):
    part = number(row, "recovered") * (1 - number(row, "accountable"))
    return number(row, "recovered") - max(part, number(row, "minimum deduction"))


def net(row):
    out = ("charges", "tax", "top ups", "advances", "fees")
    return number(row, "payouts") - sum(number(row, o) for o in out)


@pytest.mark.parametrize("case", ["low", "likely", "high"])
@pytest.mark.parametrize(
    ("rule", "redone"),
    [
        ("D2", kept),
        ("E4", lambda r: number(r, "excess") * number(r, "price") * number(r, "top up rate")),
        ("F1", lambda r: number(r, "quantity") * number(r, "rate")),
        ("F2", lambda r: number(r, "base") * number(r, "rate")),
        ("F3", lambda r: number(r, "sold") * number(r, "price") * number(r, "payout rate")),
        ("F4", net),
    ],
)
def test_a_row_of_a_case_is_redone_from_its_inputs(rule, redone, case):
    for row in rows(rule, case):
        assert redone(row) == F(row["exact"])


def test_an_exact_value_that_does_not_end_is_a_fraction():
    working = Working()
    working.note("a third", "B4", "1 ÷ 3", Fraction(1, 3), half=Fraction(1, 2), by_name="gold")
    assert working.rows[0].as_json() == {
        "what": "a third",
        "rule": "B4",
        "formula": "1 ÷ 3",
        "inputs": {"half": "0.5", "by name": "gold"},
        "exact": "1/3",
    }


def test_working_that_is_not_kept_has_no_rows_and_changes_no_figure():
    silent = Working(kept=False)
    of = terms_on(charges=CHARGES, taxes=TAXES)
    aloud = account(of, {"gold": "50"}, {"gold": "10"}, working=Working())
    assert account(of, {"gold": "50"}, {"gold": "10"}, working=silent) == aloud
    assert (silent.rows, SILENT.rows) == ([], [])


def test_cases_share_their_rows():
    working = Working()
    working.of_case("low").note("a", "D2", "in words", 1)
    working.of_case("high").note("b", "D2", "in words", 2, "2.00")
    assert [(row.case, row.what, row.rounded) for row in working.rows] == [
        ("low", "a", None),
        ("high", "b", "2.00"),
    ]


@pytest.mark.parametrize("case", ["low", "likely", "high"])
def test_the_net_of_the_working_is_the_net_of_the_statement(case):
    (row,) = rows("F4", case)
    assert F(row["exact"]) * 100 == QUOTED.cases[case].net_minor


def test_r_is_redone_from_its_inputs():
    named = [set(row["inputs"]) for row in ROWS if row["rule"] == "D1"]
    assert any("recovery" in names for names in named)


def test_r_at_the_counter_has_a_row():
    working = Working()
    quote(terms_on(gold={"settle_on": "counter"}), working=working)
    assert [row for row in working.rows if row.rule in ("C4", "D1")]


def test_a_charge_of_marginal_tiers_is_redone_from_its_inputs():
    working = Working()
    steps = {"tiers": [{"from": "50", "rate": "0.1"}], "tiering": "marginal"}
    of = terms_on(charges=[{"name": "c", "base": "gross_weight", "per": "g", "rate": "0.2"} | steps])
    account(of, {"gold": "50"}, {"gold": "10"}, working=working)
    (row,) = [r.as_json() for r in working.rows if r.rule == "F1"]
    # 50 × 0.2 + 50 × 0.1 = 15, and neither 50 nor 0.1 is among the inputs
    assert "0.1" in " ".join(row["inputs"].values())
