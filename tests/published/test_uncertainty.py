"""Published budgets of uncertainty, as far as our rules say them: products, sums, rectangles (C, H4)."""

from fractions import Fraction

import pytest

from settle.reckoning.batch import Weighed
from settle.reckoning.exact import fixed, half_even, root, shown

from .driven import Json, quoted, rows

F = Fraction

QUAM = "EURACHEM/CITAC Guide QUAM, example A1; read"
EA_4_02 = "EA-4/02, supplement S2; read"
GUM = "GUM (JCGM 100), H.1; read"
BUDGETS = {(row["example"], row["quantity"]): row for row in rows("uncertainty")}


def published(example: str, quantity: str) -> tuple[F, F]:
    row = BUDGETS[example, quantity]
    return F(row["value"]), F(row["std_uncertainty"])


def joined(*parts: F) -> F:
    """The root of the sum of squares, as the band is made."""
    return root(sum((part**2 for part in parts), F(0)))


def guessed_u(*halves: str) -> F:
    """u of a net weight from which deductions ± these were guessed, less that of its scale (C1)."""
    item: Json = {
        "evidence": "known",
        "fineness": "1000",
        "gross": {"amount": "10", "unit": "g"},
        "deductions": [
            {"weight": {"amount": "1", "unit": "g"}, "plus_minus": {"amount": a, "unit": "g"}} for a in halves
        ],
    }
    terms = {
        "name": "published",
        "currency": "GBP",
        "division": {"amount": "0.000000001", "unit": "g"},
        "evidence": {"known": {"method": "fire_assay"}},
        "metals": {"gold": {"settle_on": "assay", "accountable": "1", "payout_rate": "1"}},
    }
    prices = {"gold": {"amount": "1", "currency": "GBP", "per": "g"}}
    return quoted(terms, {"items": [item], "prices": prices}).bands["gold"].fine_u_g


@pytest.mark.parametrize(
    ("half", "u", "places", "source"),
    [
        ("0.0001", "0.000058", 6, QUAM),  # purity ± 0.0001
        ("0.015", "0.00866", 5, EA_4_02),  # drift of the standard since its calibration
        ("0.010", "0.00577", 5, EA_4_02),  # eccentric load; buoyancy
    ],
)
def test_a_rectangle_has_the_standard_uncertainty_that_is_published(half, u, places, source):
    assert fixed(half_even(guessed_u(half), places), places) == u, source


def test_a_product_of_mass_and_purity_has_the_published_uncertainty():
    """1000 · m · P ÷ V. Mass × purity is what a weighed and assayed bar is; the volume is joined to it."""
    (mass, u_mass), (purity, u_purity) = published("QUAM_A1", "m_mg"), published("QUAM_A1", "P")
    volume, u_volume = published("QUAM_A1", "V_mL")
    result, u_result = published("QUAM_A1", "RESULT_c_mg_per_L")
    # A scale's division d stands for d ÷ √12: one that has the published u of the mass.
    bar = Weighed(mass, root(12 * u_mass**2), purity * 1000, (u_purity * 1000) ** 2)
    concentration = 1000 * bar.fine_g / volume
    relative = joined(root(bar.variance) / bar.fine_g, u_volume / volume)
    assert shown(concentration, 1) == shown(result, 1), QUAM
    assert shown(concentration * relative, 4) == "0.8637", QUAM
    assert shown(concentration * relative, 1) == shown(u_result, 1), QUAM


def test_a_sum_of_weights_has_the_published_uncertainty():
    _, standard = published("EA402_S2", "m_s_g")
    _, difference = published("EA402_S2", "difference_g")
    _, u_result = published("EA402_S2", "RESULT_m_x_g")
    found = joined(standard, difference, guessed_u("0.015", "0.010", "0.010"))
    assert abs(found - u_result) < F(1, 10**6), EA_4_02
    assert shown(2 * found, 3) == "0.058", EA_4_02


@pytest.mark.parametrize(
    ("quantities", "nm"),
    [
        (("l_s_mm",), "25"),
        (("d_mm",), "9.7"),
        (("dalpha_perC", "l_s_mm", "theta_C"), "2.9"),
        (("dtheta_C", "l_s_mm", "alpha_s_perC"), "16.6"),
    ],
)
def test_each_part_of_the_gauge_block_is_the_published_one(quantities, nm):
    first, *slopes = quantities
    part = published("GUM_H1", first)[1] * 10**6
    for slope in slopes:
        part *= abs(published("GUM_H1", slope)[0])
    # 0.029 °C is itself rounded in the table: 16.7 nm from it, 16.6 in the text.
    assert abs(part - F(nm)) <= F("0.1"), GUM


def test_the_parts_of_the_gauge_block_join_to_the_published_uncertainty():
    _, u_result = published("GUM_H1", "RESULT_l_mm")
    u_nm = joined(F(25), F("9.7"), F("2.9"), F("16.6"))
    assert shown(u_nm, 0) == shown(u_result * 10**6, 0), GUM
    assert shown(F("2.92") * 32, 0) == "93", GUM
