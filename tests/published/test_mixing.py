"""Published mixtures, parting and losses (B4, D2, H1, H4). Each line names its source and how far seen."""

from dataclasses import replace
from fractions import Fraction

import pytest

from settle.reckoning.batch import QUERY, WITHIN_TOLERANCE, LotIn, Weighed, reconcile
from settle.reckoning.parting import need
from settle.reckoning.statement import accountable_mg
from settle.reckoning.terms import Terms, read_terms
from settle.reckoning.working import SILENT

from .driven import Json, quoted

F = Fraction

ADAMS = "Adams's arithmetic, p. 327; read"
WEBBER = "Webber's arithmetic, p. 129; read"
BERINGER_158 = "Beringer, A Text-book of Assaying, p. 158; read"
BERINGER_146 = "Beringer, A Text-book of Assaying, p. 146; read"
USC_5122 = "31 U.S.C. 5122; US Coinage Acts 1837, 1873; read"
COINAGE_43 = "US Coinage Act 1873 s.43; read"
QUARTER = "gold about a quarter of the melt: common practice, no source"


def terms(**of_metal: str) -> Json:
    gold = {"settle_on": "assay", "accountable": "1", "payout_rate": "1"} | of_metal
    return {
        "name": "published",
        "currency": "USD",
        "division": {"amount": "0.01", "unit": "g"},
        "evidence": {"known": {"method": "fire_assay"}},
        "metals": {"gold": gold, "silver": gold},
    }


def mixed(unit: str, way: str, parts: list[tuple[str, str]]) -> tuple[F, F]:
    """Weight of a mixture and the fine metal in it, in the unit given."""
    meant = {"in": "permille"} if way == "fineness" else {}
    items = [
        {"evidence": "known", "gross": {"amount": weight, "unit": unit}, way: figure, **meant}
        for weight, figure in parts
    ]
    prices = {"gold": {"amount": "1", "currency": "USD", "per": "g"}}
    quote = quoted(terms(), {"items": items, "prices": prices})
    one = quoted(terms(), {"items": [items[0] | {"gross": {"amount": "1", "unit": unit}}], "prices": prices})
    unit_g = one.request.net_g
    return quote.request.net_g / unit_g, quote.contents["gold"].likely_g / unit_g


@pytest.mark.parametrize(
    ("unit", "parts", "karat", "source"),
    [
        ("ozt", [("8", "22"), ("20", "21"), ("10", "18")], F(20) + F(8, 19), ADAMS),
        ("lb_av", [("5", "20"), ("8", "18")], F(18) + F(10, 13), ADAMS),
        ("ozt", [("3", "17"), ("1", "18"), ("3", "22"), ("4", "24")], F(21), WEBBER),
    ],
)
def test_what_is_melted_together_has_the_karat_of_the_old_arithmetics(unit, parts, karat, source):
    weight, fine = mixed(unit, "karat", parts)
    assert fine / weight * 24 == karat, source


def test_two_ores_mixed_hold_what_the_assayer_says():
    """Ounces a ton are kept as parts per thousand of kilograms: the proportions are the same."""
    weight, fine = mixed("kg", "fineness", [("14.25", "32"), ("0.75", "20")])
    assert (weight, fine * 1000, fine * 1000 / weight) == (F(15), F(471), F("31.4")), BERINGER_158


def parted_at(gold_to_whole: F) -> Terms:
    """Terms that part at a fraction of gold which no decimal string can say."""
    return replace(read_terms(terms()), parting_target=gold_to_whole)


TWO_AND_A_HALF = F(2, 7)  # silver 2½ times the gold is 3½ times the gold together


@pytest.mark.parametrize(
    ("gold", "melt", "silver", "source"),
    [
        # 0.5 g of 92 % gold and 1 % silver: gold 0.46, silver 0.005; the base metal is left out, see below
        ("0.46", "0.465", "1.145", BERINGER_146),
        # 10 mg that hold 8 of gold, made up to 3½ times the gold
        ("0.008", "0.010", "0.018", BERINGER_146),
    ],
)
def test_silver_for_parting_is_what_the_text_book_adds(gold, melt, silver, source):
    assert need(parted_at(TWO_AND_A_HALF), F(gold), F(melt), SILENT).weight_g == F(silver), source


def test_where_other_metal_is_in_the_melt_we_add_so_much_less_silver():
    """H1 counts every other metal toward the rest, as a bench does; an assay counts silver alone."""
    with_base = need(parted_at(TWO_AND_A_HALF), F("0.46"), F("0.5"), SILENT).weight_g
    assert F("1.145") - with_base == F("0.5") - F("0.465"), BERINGER_146


def test_pure_gold_wants_three_times_its_weight_of_silver_where_terms_say_nothing():
    """The upper end of the 2½ to 3 parts of Beringer, Rose and ISO 11426."""
    assert need(read_terms(terms()), F(1), F(1), SILENT).weight_g == 3, QUARTER
    assert need(parted_at(TWO_AND_A_HALF), F(1), F(1), SILENT).weight_g == F("2.5"), BERINGER_146


@pytest.mark.parametrize(("recovered", "paid_mg"), [("1.999", 0), ("2", 2000), ("2.001", 2001)])
def test_a_metal_too_little_to_separate_is_not_paid_for(recovered, paid_mg):
    of = read_terms(terms())
    rule = replace(of.metals["silver"], payable_from_g=F(2))
    assert accountable_mg(rule, F(recovered)) == paid_mg, USC_5122


@pytest.mark.parametrize(
    ("metal", "ceiling", "out", "verdict"),
    [
        ("gold", "0.001", "999.000", WITHIN_TOLERANCE),  # one thousandth of the gold handled
        ("gold", "0.001", "998.999", QUERY),
        ("silver", "0.0015", "998.500", WITHIN_TOLERANCE),  # one and a half of the silver
        ("silver", "0.0015", "998.499", QUERY),
    ],
)
def test_the_wastage_that_the_mint_was_allowed_is_a_balance_to_the_milligram(metal, ceiling, out, verdict):
    of = read_terms(terms(balance=ceiling))
    bar, back = Weighed(F(1000), F(0), F(1000)), Weighed(F(out), F(0), F(1000))
    assert reconcile(of, metal, [LotIn("one", bar)], [], [back]).verdict == verdict, COINAGE_43
