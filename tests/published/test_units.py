"""Published factors and prices of weights (A1, A4). Each line names its source and how far it was seen."""

from fractions import Fraction

import pytest

from settle.reckoning.exact import shown
from settle.reckoning.money import Price
from settle.reckoning.weight import GRAMS_PER, grams, unit_fault

F = Fraction

WM_1985 = "UK Weights and Measures Act 1985, Sch. 1 Part V; read"
WM_1976 = "UK Weights and Measures &c. Act 1976 s.1; read"
SP_811 = "NIST SP 811 App. B; second-hand"
LBMA_C = "LBMA Good Delivery Rules, Annex C; read"
INDIA = "India, Standards of Weight Act 1939 s.3; read"
CGPM = "CGPM 1907; memory"
OREGON = "Oregon Dept of Agriculture, weights and measures, precious metals; read"
TAELS = "bullion conversion tables, and Cap. 68 of the laws of Hong Kong; second-hand"

FACTORS = [
    ("1", "lb_av", "0.45359237", "kg", WM_1985),
    ("1", "ozt", "31.1034768", "g", WM_1985),
    ("175", "ozt", "12", "lb_av", WM_1985),  # a troy ounce is 12/175 pound
    ("16", "oz_av", "1", "lb_av", WM_1985),
    ("1", "ozt", "0.0311034768", "kg", LBMA_C),
    ("1", "dwt", "24", "grain", WM_1976),
    ("20", "dwt", "1", "ozt", WM_1976),
    ("1", "grain", "64.79891", "mg", SP_811),
    ("1", "tola", "180", "grain", INDIA),
    ("1", "tola", "11.6638038", "g", INDIA),
    ("1", "ct", "0.2", "g", CGPM),
]


@pytest.mark.parametrize(("amount", "unit", "of", "other", "source"), FACTORS)
def test_a_unit_of_weight_is_exactly_what_law_made_it(amount, unit, of, other, source):
    assert grams(F(amount), unit) == grams(F(of), other), source


@pytest.mark.parametrize(
    ("amount", "per", "per_gram", "source"),
    [
        ("100", "ozt", "3.215", OREGON),
        ("5", "dwt", "3.215", OREGON),
        ("10", "dwt", "6.43", OREGON),
    ],
)
def test_a_price_per_ounce_or_pennyweight_is_the_published_price_per_gram(amount, per, per_gram, source):
    assert shown(Price(F(amount), "USD", per).per_g, 3) == per_gram, source


def test_a_tael_is_refused_because_two_of_them_are_published():
    """37.429 g at the exchange, 37.79936375 g in the statute (TAELS): nobody can tell which is meant."""
    fault = unit_fault("tael", "/gross/unit")
    assert fault is not None
    assert fault.kind == "unknown-unit"
    assert not {F("37.429"), F("37.79936375")} & set(GRAMS_PER.values()), TAELS


def test_the_ounce_of_a_gold_counter_read_as_the_grocers_costs_nearly_a_tenth():
    """Reckoned from the factors of the 1985 Act: why a bare oz is refused (A1)."""
    assert shown(100 * (1 - grams(F(1), "oz_av") / grams(F(1), "ozt")), 1) == "8.9"
    assert shown(100 * (grams(F(1), "ozt") / grams(F(1), "oz_av") - 1), 1) == "9.7"
    fault = unit_fault("oz", "/gross/unit")
    assert fault is not None
    assert fault.kind == "ambiguous-unit"
