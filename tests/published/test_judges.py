"""Reference libraries as outside judges: Pint's own registry of units, `uncertainties` for the band.

Pint judges in fractions, to the last digit. `uncertainties` reckons in binary floating point, so it
judges to one part in 10^9; our code never does.
"""

from fractions import Fraction

import pint
import pytest
from hypothesis import assume, given
from oracle.quantities import GRAMS as ORACLE_GRAMS
from properties.reckoned import quoted
from properties.strategies import lots
from uncertainties import UFloat, nominal_value, std_dev, ufloat

from settle.reckoning.item import Item
from settle.reckoning.quote import Quoted
from settle.reckoning.weight import GRAMS_PER

CLOSE = 1e-9
IN_PINT = {
    "g": "gram", "mg": "milligram", "kg": "kilogram", "lb_av": "pound", "oz_av": "ounce",
    "ozt": "troy_ounce", "dwt": "pennyweight", "grain": "grain", "ct": "carat",
}  # fmt: skip


@pytest.fixture(scope="module")
def registry() -> pint.UnitRegistry:
    return pint.UnitRegistry(non_int_type=Fraction)


@pytest.mark.parametrize("unit", IN_PINT)
def test_a_factor_of_our_private_registry_is_that_of_pints_own(unit, registry):
    assert registry.Quantity(Fraction(1), IN_PINT[unit]).to("gram").magnitude == GRAMS_PER[unit]


def test_the_tola_which_pint_does_not_know_is_180_of_its_grains(registry):
    assert registry.Quantity(Fraction(180), "grain").to("gram").magnitude == GRAMS_PER["tola"]
    assert {*IN_PINT, "tola"} == set(GRAMS_PER)


@pytest.mark.parametrize("unit", GRAMS_PER)
def test_the_oracle_has_the_same_factors(unit):
    assert ORACLE_GRAMS[unit] == GRAMS_PER[unit]


def known(value: Fraction, u: float) -> UFloat | float:
    """A figure with its u; the library wants a plain number where there is none."""
    return ufloat(float(value), u) if u else float(value)


def net(item: Item) -> UFloat:
    """A net weight whose weighings and guesses each have a rectangular u of their own."""
    weighed_u = float(item.division_g) / 12**0.5
    total = known(item.gross_g, weighed_u)
    for taken in item.deductions:
        guess = taken.plus_minus_g
        u = weighed_u if guess is None else float(guess) / 3**0.5
        total -= known(taken.weight_g, u)
    return total


def fine(quote: Quoted, metal: str) -> UFloat:
    """Σ net × filled part × fineness, where readings of one kind share an error, judged by the library."""
    shared: dict[str, UFloat] = {}
    total: UFloat | float = 0.0
    for item in quote.request.items:
        for held in item.holds:
            if held.metal != metal:
                continue
            kind = shared.setdefault(held.kind, ufloat(0, 1))
            ppt = known(held.likely_ppt, (float(held.scatter2) / item.count) ** 0.5)
            if held.shared_ppt:
                ppt += float(held.shared_ppt) * kind
            total += net(item) * float(item.filled_part) * ppt / 1000
    return total


def recovered(quote: Quoted, metal: str) -> UFloat:
    """R, with an uncertain recovery; the parting silver held at its likely figure."""
    rule = quote.request.terms.metals[metal]
    of = fine(quote, metal)
    if rule.settle_on == "assay":
        return of
    recovery = known(rule.recovery, float(rule.recovery_u))
    if metal == "silver" and quote.request.terms.silver_rule == "house_first":
        return of - (of + float(quote.need.fine_g)) * (1 - recovery)
    return of * recovery


def assert_close(ours: Fraction, judged: float) -> None:
    assert float(ours) == pytest.approx(judged, rel=CLOSE, abs=1e-11)


@given(lots(("outturn", "assay")))
def test_u_of_the_fine_metal_is_that_of_the_reference_library(lot):
    quote = quoted(*lot)
    assume(quote.bands)
    for metal, band in quote.bands.items():
        judged = fine(quote, metal)
        assert_close(quote.contents[metal].likely_g, nominal_value(judged))
        assert_close(band.fine_u_g, std_dev(judged))


@given(lots(("outturn", "assay")))
def test_u_of_what_comes_back_is_that_of_the_reference_library(lot):
    quote = quoted(*lot)
    assume(quote.bands)
    for metal, band in quote.bands.items():
        assert_close(band.recovered_u_g, std_dev(recovered(quote, metal)))
