"""C: how far the figures may lie from truth, and the three cases."""

import pytest

from settle.reckoning import document
from settle.reckoning.band import Fine, band, fine
from settle.reckoning.exact import root
from settle.reckoning.item import Scale
from settle.reckoning.notices import of_quote
from settle.reckoning.parting import Need
from settle.reckoning.working import SILENT

from .shop import F, bars, item_json, quote, read_item, terms, terms_on, weight

D2 = F("0.0001") / 12  # of a division of 0.01 g
NO_NEED = Need()


def guess(plus_minus):
    return {"weight": weight("1"), "plus_minus": weight(plus_minus)}


WEIGHED = {"weight": weight("1")}


@pytest.mark.rule("C1")
@pytest.mark.parametrize(
    ("changes", "variance"),
    [
        ({}, D2),  # the gross alone
        ({"deductions": [WEIGHED]}, 2 * D2),
        ({"deductions": [WEIGHED, WEIGHED]}, 3 * D2),
        ({"deductions": [guess("0.6")]}, D2 + F("0.12")),  # 0.36 ÷ 3
        ({"deductions": [WEIGHED, guess("0.6")]}, 2 * D2 + F("0.12")),
        ({"deductions": [guess("0")]}, D2),
        ({"division": weight("0.6")}, F("0.03")),  # 0.36 ÷ 12
        ({"division": weight("0.6"), "deductions": [WEIGHED]}, F("0.06")),
        ({"scale": "bench"}, F("0.0003")),  # 0.06² ÷ 12
        ({"scale": "bench", "deductions": [WEIGHED]}, F("0.0006")),
    ],
)
def test_the_variance_of_a_net_weight_is_that_of_its_weighings_and_guesses(changes, variance):
    scales = {"bench": Scale("bench", F("0.06"))}
    assert read_item(scales=scales, **changes).net_variance == variance


EVIDENCE = {
    "a": {"method": "mark", "scatter": "3", "shared": "2"},
    "b": {"method": "xrf", "shared": "2"},
    "c": {"method": "xrf", "bias": "100"},
}
COARSE = {"division": weight("1.2")}  # d² ÷ 12 = 0.12 g²


@pytest.mark.rule("C2")
@pytest.mark.parametrize(
    ("items", "variance"),
    [
        # scale 0.5² × 0.12 = 0.03; scatter (100 × 3 ÷ 1000)² = 0.09; shared (100 × 2 ÷ 1000)² = 0.04
        ([{"evidence": "a"}], "0.16"),
        # scatter is of one article: 0.09 ÷ 4; the rest stays
        ([{"evidence": "a", "count": 4}], "0.0925"),
        # two of a kind share: (0.2 + 0.2)² = 0.16; scale and scatter twice
        ([{"evidence": "a"}, {"evidence": "a"}], "0.40"),
        # two kinds share nothing: 0.16 + 0.03 + 0.04
        ([{"evidence": "a"}, {"evidence": "b"}], "0.23"),
        # the filled part scales all of it: 0.16 ÷ 100
        ([{"evidence": "a", "filled_part": "1/10"}], "0.0016"),
        # the scale is multiplied by the likely fineness, not by the known one: 0.6² × 0.12
        ([{"evidence": "c"}], "0.0432"),
        # silver doesn't count
        ([{"evidence": "a"}, {"evidence": "a", "metal": "silver"}], "0.16"),
    ],
)
def test_the_variance_of_fine_metal_adds_scale_scatter_and_what_is_shared(items, variance):
    of = terms(evidence=EVIDENCE)
    found = fine("gold", tuple(read_item(of, **(COARSE | i)) for i in items), SILENT)
    assert found.variance == F(variance)


def of_band(of, metal, likely, variance, need="0", most="1000"):
    return band(of, metal, Fine(F(likely), F(variance), F(most), False), Need(F(need), F(need)), SILENT)


@pytest.mark.rule("C3")
@pytest.mark.parametrize(
    ("metal", "rule", "silver_rule", "u"),
    [
        ("gold", {"settle_on": "assay"}, "pro_rata", "0.4"),  # u of the fine weight itself
        # (0.5 × 0.4)² + (50 × 0.003)² = 0.04 + 0.0225 = 0.25²
        ("gold", {"settle_on": "outturn", "recovery": "0.5", "recovery_u": "0.003"}, "pro_rata", "0.25"),
        ("silver", {"settle_on": "outturn", "recovery": "0.5", "recovery_u": "0.003"}, "pro_rata", "0.25"),
        # house first puts the needed 25 g at stake too: (75 × 0.002)² = 0.0225
        ("silver", {"settle_on": "outturn", "recovery": "0.5", "recovery_u": "0.002"}, "house_first", "0.25"),
        ("gold", {"settle_on": "outturn", "recovery": "0.5"}, "pro_rata", "0.2"),
    ],
)
def test_the_uncertainty_of_r_is_that_of_fine_metal_and_of_recovery(metal, rule, silver_rule, u):
    of = terms_on(**{"gold": {}, metal: rule}, silver_rule=silver_rule)
    assert of_band(of, metal, "50", "0.16", need="25").recovered_u_g == F(u)


@pytest.mark.rule("C3")
def test_the_band_is_laid_around_r_before_r_is_kept_within_bounds():
    rule = {"settle_on": "outturn", "recovery": "0.9", "recovery_u": "0.046"}
    of = terms_on(silver=rule, silver_rule="house_first")
    found = of_band(of, "silver", "1", "0", need="100")
    # 1 − 101 × 0.1 = −9.1, and u = 101 × 0.046 = 4.646: the high case is −9.1 + 9.292.
    assert found.recovered_g == {"low": 0, "likely": 0, "high": F("0.192")}


@pytest.mark.rule("C3")
@pytest.mark.parametrize(
    ("value", "square_root"),
    [
        ("0.16", "0.4"),
        ("0", "0"),
        ("2", "1.414213562373"),  # 1.414213562373 09…
        ("3", "1.732050807569"),  # 1.732050807568 87…
    ],
)
def test_a_root_is_taken_to_twelve_decimals(value, square_root):
    assert root(F(value)) == F(square_root)


@pytest.mark.rule("C3")
@pytest.mark.parametrize(("halves", "units"), [(1, 0), (3, 2), (5, 2), (7, 4)])
def test_a_root_that_lies_half_way_goes_to_the_even(halves, units):
    assert root(F(halves, 2 * 10**12) ** 2) == F(units, 10**12)


@pytest.mark.rule("C4")
@pytest.mark.parametrize(
    ("likely", "u2", "most", "cases"),
    [
        ("50", "4", "100", ("46", "50", "54")),  # u = 2
        ("3", "4", "100", ("0", "3", "7")),  # −1 is kept at 0
        ("98", "4", "100", ("94", "98", "100")),  # 102 is more than the goods weigh
        ("10", "36", "15", ("0", "10", "15")),
    ],
)
def test_fine_metal_has_three_cases_two_u_apart_and_within_what_can_be(likely, u2, most, cases):
    found = of_band(terms(), "gold", likely, u2, most=most)
    assert [found.fine_g[c] for c in ("low", "likely", "high")] == [F(c) for c in cases]


@pytest.mark.rule("C4")
@pytest.mark.parametrize(
    ("recovery", "u", "likely", "u2", "cases"),
    [
        ("0.9", "0", "50", "4", ("41.4", "45", "48.6")),  # u = 1.8
        ("1", "0.1", "50", "0", ("40", "50", "50")),  # u = 5, but no more than the fine weight
        ("0.5", "0.3", "50", "0", ("0", "25", "50")),  # u = 15: −5 is kept at 0, 55 at 50
        ("1", "0.08", "50", "9", ("40", "50", "56")),  # u² = 9 + 16: 60 is kept at 50 + 2 × 3
    ],
)
def test_r_has_three_cases_within_the_fine_weight_of_the_same_case(recovery, u, likely, u2, cases):
    of = terms_on(gold={"settle_on": "outturn", "recovery": recovery, "recovery_u": u})
    found = of_band(of, "gold", likely, u2)
    assert [found.recovered_g[c] for c in ("low", "likely", "high")] == [F(c) for c in cases]


@pytest.mark.rule("C4")
def test_what_bounds_the_fine_metal_is_the_alloy_of_the_items_that_hold_it():
    plated = item_json(filled_part="1/10", gross=weight("50"))
    silver = item_json(metal="silver", gross=weight("70"))
    quoted = quote(terms(), item_json(), plated, silver)
    assert quoted.contents["gold"].most_g == 105  # 100 + 50 ÷ 10, and none of the 70


@pytest.mark.rule("C4")
@pytest.mark.parametrize(("case", "r"), [("low", "46"), ("likely", "50"), ("high", "54")])
def test_at_the_counter_r_is_one_figure_in_all_three_cases(case, r):
    of = terms_on(gold={"settle_on": "counter"}, purchase_case=case)
    assert of_band(of, "gold", "50", "4").recovered_g == {"low": F(r), "likely": F(r), "high": F(r)}


def unsure(**changes):
    """Terms under which 100 g of 500 ‰ hold 50 g of gold, u a trifle over 1 g: 48, 50 and 52."""
    return terms(evidence={"sure": {"method": "mark", "shared": "10"}}, **changes)


@pytest.mark.rule("C4")
@pytest.mark.parametrize(
    ("charges", "wish", "nets"),
    [
        ([], "pay_out", (48000, 50000, 52000)),
        # A tenth of the value, and the metal goes home: the more metal, the more is owed.
        ([{"name": "share", "base": "value", "rate": "0.1"}], "shot", (-5200, -5000, -4800)),
    ],
)
def test_the_range_of_nets_is_least_likely_and_greatest_whatever_the_case(charges, wish, nets):
    quoted = quote(unsure(charges=charges), asked={"gold": {"remainder": wish}})
    assert quoted.net_range == nets


@pytest.mark.rule("C4")
def test_bars_covered_is_the_least_count_of_the_three_cases_and_never_called_certain():
    asked = {"gold": {"bars": [bars("12.5", count="most"), bars("2", count=2)]}}
    quoted = quote(unsure(), asked=asked)
    counts = [quoted.cases[c].metals["gold"].placed.counts for c in ("low", "likely", "high")]
    # 48 = 3 × 12.5 and two more; 50 = 4 × 12.5; 52 = 4 × 12.5 and one more.
    assert counts == [(3, 2), (4, 0), (4, 1)]
    assert quoted.bars_covered("gold") == [3, 0]
    told = [n.text for n in of_quote(quoted) if n.code == "bars-not-covered"]
    assert told == [
        "Of 4 gold bars in line 1, 3 are covered in the low case.",
        "Of 2 gold bars in line 2, 2 are covered in the low case and 0 in the likely one.",
    ]


@pytest.mark.rule("C4")
@pytest.mark.parametrize(
    ("item", "changes", "valued", "worth", "worth_refining"),
    [
        ({}, {}, True, "500.00", True),
        ({"evidence": "unread", "fineness": None}, {}, False, None, None),
        ({"metal": "platinum"}, {}, False, None, None),  # the terms don't account for it
        ({}, {"charges": [{"name": "lot", "base": "lot", "rate": "500"}]}, True, "0.00", False),
        ({}, {"charges": [{"name": "lot", "base": "lot", "rate": "499.99"}]}, True, "0.01", True),
    ],
)
def test_what_can_not_be_valued_has_neither_net_nor_worth(item, changes, valued, worth, worth_refining):
    unread = {"method": "none", "reckon": False}
    of = terms(evidence={"sure": {"method": "mark"}, "unread": unread}, **changes)
    answer = document.estimate(quote(of, item_json(**item)), [], SILENT)
    assert (answer["net_range"] is None, answer["worth_refining"]) == (not valued, worth_refining)
    assert {case["net"] is None for case in answer["cases"].values()} == {not valued}
    assert {case["all_in"] is None for case in answer["cases"].values()} == {not valued}
    told = answer["worth_range"]
    assert (told and told["likely"]["amount"]) == worth
    assert bool(answer["not_valued"]) is not valued
