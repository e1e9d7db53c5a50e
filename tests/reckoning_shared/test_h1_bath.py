"""H1 at the bench: what to add, what the bath takes, and what is told beside it."""

from dataclasses import replace

import molmass
import pytest
from reckoning.shop import F, faults_of, terms, terms_on

from settle.reckoning.bath import (
    ACID_ON_COPPER,
    ACID_ON_SILVER,
    ATOMIC_WEIGHTS,
    COPPER_DROPS_SILVER,
    EXPOSURE_LIMITS,
    METABISULFITE,
    METABISULFITE_DROPS_GOLD,
    NITRIC_ACID,
    Charged,
    molar,
    plan,
)
from settle.reckoning.working import Working

REACTIONS = (*ACID_ON_SILVER, *ACID_ON_COPPER, COPPER_DROPS_SILVER, METABISULFITE_DROPS_GOLD)


def charged(melt="100", likely="50", high=None, silver="0"):
    return Charged(F(melt), F(likely), F(likely if high is None else high), F(silver))


PLANS = [
    # melt, gold likely and high, silver, terms: add, fraction likely and high, silver : gold
    (("100", "50", "50", "10"), {}, "100", "0.25", "0.25", "2.2"),
    (("100", "50", "52", "10"), {}, "108", "25/104", "0.25", "59/26"),  # on the high gold
    (("100", "20", "25", "10"), {}, "0", "0.2", "0.25", "0.4"),
    (("100", "0", "0", "10"), {}, "0", "0", "0", None),
    (("100", "50", "50", "0"), {"parting_target": "0.3"}, "200/3", "0.3", "0.3", "4/3"),
    (
        ("100", "50", "50", "10"),
        {"house_silver": {"fineness": "900", "gold": "50"}},
        *("125", "0.25", "0.25", "98/45"),  # 122.5 g of silver to 56.25 g of gold
    ),
]


@pytest.mark.rule("H1")
@pytest.mark.parametrize(("melt", "of", "add", "likely", "high", "ratio"), PLANS)
def test_a_batch_is_planned_on_the_high_gold(melt, of, add, likely, high, ratio):
    found = plan(terms(**of), charged(*melt))
    assert found.add.weight_g == F(add)
    assert (found.gold_fraction_likely, found.gold_fraction_high) == (F(likely), F(high))
    assert found.silver_to_gold == (None if ratio is None else F(ratio))


# Beringer, A Text-book of Assaying, p. 146 (read): silver for parting to so many times the gold.
BERINGER = [("0.5", "0.46", "0.005", "2.5", "1.145"), ("10", "8", "0", None, "18")]


@pytest.mark.rule("H1")
@pytest.mark.parametrize(("weight", "gold", "silver", "ratio", "adds"), BERINGER)
def test_beringers_silver_for_parting_is_added_at_his_proportions(weight, gold, silver, ratio, adds):
    # He makes up to a multiple of the gold, we to a fraction of the whole: the same melt either way.
    target = F(gold) / (F(weight) + F(adds))
    found = plan(replace(terms(), parting_target=target), charged(weight, gold, silver=silver))
    assert found.add.weight_g == F(adds)
    if ratio is not None:
        assert found.silver_to_gold == F(ratio)
    else:
        assert found.melt_g / F(gold) == F("3.5")


# Recomputed from IUPAC 2013 weights; the equations are from memory.
PER_GRAM = [
    (COPPER_DROPS_SILVER, "0.29455"),
    (METABISULFITE_DROPS_GOLD, "0.72382"),
    (ACID_ON_SILVER[0], "0.779"),
    (ACID_ON_SILVER[1], "1.168"),
    (ACID_ON_COPPER[0], "2.644"),
    (ACID_ON_COPPER[1], "3.966"),
]


@pytest.mark.rule("H1")
@pytest.mark.parametrize(("reaction", "per_g"), PER_GRAM)
def test_each_chemical_to_a_gram_of_metal_is_the_checked_figure(reaction, per_g):
    places = len(per_g.split(".")[1])
    assert round(reaction.per_g, places) == F(per_g)


@pytest.mark.rule("H1")
def test_metabisulfite_agrees_with_what_refiners_tell_each_other():
    # READ, a post in a public forum of refiners: 0.87 g a gram of gold at a fifth more than is needed.
    assert round(METABISULFITE_DROPS_GOLD.per_g * F("1.2"), 2) == F("0.87")


@pytest.mark.rule("H1")
@pytest.mark.parametrize("symbol", list(ATOMIC_WEIGHTS))
def test_atomic_weights_are_a_librarys(symbol):
    assert float(ATOMIC_WEIGHTS[symbol]) == pytest.approx(molmass.ELEMENTS[symbol].mass, rel=3e-4)


def of_library(formula):
    return molmass.Formula(formula).mass


JUDGED = [
    (COPPER_DROPS_SILVER, of_library("Cu") / of_library("Ag2")),
    (METABISULFITE_DROPS_GOLD, 3 * of_library("Na2S2O5") / of_library("Au4")),
    (ACID_ON_SILVER[0], 4 * of_library("HNO3") / of_library("Ag3")),
    (ACID_ON_SILVER[1], 2 * of_library("HNO3") / of_library("Ag")),
    (ACID_ON_COPPER[0], 8 * of_library("HNO3") / of_library("Cu3")),
    (ACID_ON_COPPER[1], 4 * of_library("HNO3") / of_library("Cu")),
]


@pytest.mark.rule("H1")
@pytest.mark.parametrize(("reaction", "ratio"), JUDGED, ids=lambda of: getattr(of, "equation", ""))
def test_the_bath_is_a_librarys_molar_masses_in_the_proportions_of_the_equation(reaction, ratio):
    assert float(reaction.per_g) == pytest.approx(ratio, rel=1e-4)


@pytest.mark.rule("H1")
@pytest.mark.parametrize(
    ("formula", "of"), [("HNO3", NITRIC_ACID), ("Na2S2O5", METABISULFITE)], ids=["acid", "sulfite"]
)
def test_molar_masses_are_a_librarys(formula, of):
    assert float(molar(of)) == pytest.approx(of_library(formula), rel=1e-4)


SUBSCRIPTS = str.maketrans("₀₁₂₃₄₅₆₇₈₉", "0123456789")
CHARGES = {"⁺": 1, "³⁺": 3, "²⁺": 2, "²⁻": -2}


def side(text):
    """Grams a mole (of a library) and charge of one side of an equation."""
    mass = charge = 0
    for term in text.split(" + "):
        count, formula = term.split(" ") if " " in term else ("1", term)
        bare = formula.rstrip("⁺⁻²³")
        mass += int(count) * of_library(bare.translate(SUBSCRIPTS))
        charge += int(count) * CHARGES.get(formula[len(bare) :], 0)
    return mass, charge


@pytest.mark.rule("H1")
@pytest.mark.parametrize("reaction", REACTIONS, ids=lambda r: r.equation)
def test_each_equation_balances_in_mass_and_charge(reaction):
    left, right = (side(s) for s in reaction.equation.split(" → "))
    assert left[0] == pytest.approx(right[0], rel=1e-9)
    assert left[1] == right[1]


@pytest.mark.rule("H1")
def test_chemicals_are_reckoned_on_what_the_bath_holds():
    found = plan(terms(house_silver={"fineness": "990"}), charged("100", "50", "52", "10"))
    # 108 g are added: 116.92 g of silver, and 41.08 g that are neither silver nor the likely 50 g of gold.
    assert (found.silver_g, found.base_g) == (F("116.92"), F("41.08"))
    acid, acid_on_base, copper, sulfite = found.quantities
    assert (acid.metal_g, acid_on_base.metal_g) == (found.silver_g, found.base_g)
    assert (acid.from_g, acid.to_g) == tuple(r.per_g * F("116.92") for r in ACID_ON_SILVER)
    assert (acid_on_base.from_g, acid_on_base.to_g) == tuple(r.per_g * F("41.08") for r in ACID_ON_COPPER)
    assert copper.from_g == copper.to_g == COPPER_DROPS_SILVER.per_g * F("116.92")
    assert (sulfite.from_g, sulfite.to_g) == tuple(METABISULFITE_DROPS_GOLD.per_g * g for g in (50, 52))


@pytest.mark.rule("H1")
def test_each_quantity_names_its_equation_source_and_that_it_is_common_practice():
    for of in plan(terms(), charged()).quantities:
        assert all("→" in r.equation and "IUPAC" in r.source for r in of.by)
        assert all(r.seen in ("read", "second-hand", "memory") for r in of.by)
        assert all("common practice" in r.source or r.seen == "read" for r in of.by)


TOLD = {
    "acids-and-fumes",
    "exposure-limits",
    "silver-chloride",
    "aqua-regia",
    "sulfur-dioxide",
    "spent-bath",
    "hot-metal",
}


@pytest.mark.rule("H1")
@pytest.mark.parametrize(
    ("of", "too_rich"), [(terms(), set()), (terms_on(gold={"settle_on": "counter"}), {"too-rich-to-part"})]
)
def test_the_cautions_stand_beside_the_figures_and_defer(of, too_rich):
    told = plan(of, charged()).notices
    assert {n.code for n in told} == TOLD | too_rich
    assert all(n.as_json()["text"].endswith("licensed practice decide.") and n.source for n in told)


@pytest.mark.rule("H1")
def test_a_limit_of_exposure_that_was_not_seen_says_so():
    (told,) = [n for n in plan(terms(), charged()).notices if n.code == "exposure-limits"]
    assert all(of.substance in told.text and of.source in told.source for of in EXPOSURE_LIMITS)
    assert told.text.count("from memory") == sum(of.seen == "memory" for of in EXPOSURE_LIMITS)


@pytest.mark.rule("H1")
def test_every_figure_of_the_plan_has_a_row_that_lets_a_reader_redo_it():
    working = Working()
    found = plan(terms(), charged("100", "50", "52", "10"), working)
    exact = {row.exact for row in working.rows}
    assert {found.add.weight_g, found.gold_fraction_likely, found.gold_fraction_high} <= exact
    assert {found.silver_to_gold, *(f for q in found.quantities for f in (q.from_g, q.to_g))} <= exact


REFUSED = [
    (("0", "0"), "weight-not-positive", "/melt"),
    (("100", "50", "49"), "contradiction", "/gold"),
    (("100", "60", "60", "41"), "contradiction", "/melt"),
]


@pytest.mark.rule("H1")
@pytest.mark.parametrize(("melt", "kind", "pointer"), REFUSED)
def test_a_melt_that_can_not_be_is_refused(melt, kind, pointer):
    assert faults_of(lambda: plan(terms(), charged(*melt))) == [(kind, pointer)]
