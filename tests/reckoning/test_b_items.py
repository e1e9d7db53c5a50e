"""B: what an item weighs without what is not alloy, and what it is reckoned to hold."""

import pytest

from settle.reckoning import document, notices
from settle.reckoning.fineness import of_karat
from settle.reckoning.working import Working

from .shop import F, faults_of, item_json, quote, read_item, terms, terms_on, weight


def deduction(amount, plus_minus=None):
    found = {"reason": "stone", "weight": weight(amount)}
    return found if plus_minus is None else found | {"plus_minus": weight(plus_minus)}


@pytest.mark.rule("B1")
@pytest.mark.parametrize(
    ("gross", "deductions", "net"),
    [
        ("31.42", [], "31.42"),
        ("31.42", [deduction("0.12")], "31.30"),
        ("31.42", [deduction("0.12"), deduction("1", "0.5")], "30.30"),  # a guess counts as it is guessed
        ("31.42", [deduction("31.41")], "0.01"),
        ("1", [{"weight": weight("1", "ct")}], "0.8"),  # a carat is 0.2 g
    ],
)
def test_net_is_gross_less_the_deductions(gross, deductions, net):
    assert read_item(gross=weight(gross), deductions=deductions).net_g == F(net)


@pytest.mark.rule("B1")
@pytest.mark.parametrize(
    "deductions", [[deduction("100")], [deduction("60"), deduction("40", "1")], [deduction("100.01")]]
)
def test_deductions_that_reach_the_gross_are_refused(deductions):
    refused = faults_of(lambda: read_item(deductions=deductions))
    assert refused == [("deductions-reach-gross", "/items/0/deductions")]


@pytest.mark.rule("B2")
@pytest.mark.parametrize(
    ("karat", "exact", "standard"),
    [
        ("8", "1000/3", "333"),
        ("9", "375", "375"),
        ("10", "1250/3", "417"),
        ("14", "1750/3", "585"),
        ("18", "750", "750"),
        ("22", "2750/3", "916"),
        ("24", "1000", "999"),
        ("14.0", "1750/3", "585"),  # the same karat, however it is typed
        ("21", "875", "875"),  # no standard mark: exact
        ("23.5", "5875/6", "5875/6"),
        ("0", "0", "0"),
    ],
)
def test_karat_is_a_fineness_on_the_basis_of_the_terms(karat, exact, standard):
    for basis, ppt in (("exact", exact), ("standard", standard)):
        held = read_item(terms(karat_basis=basis), karat=karat).holds
        assert [(h.metal, h.likely_ppt) for h in held] == [("gold", F(ppt))]
        assert of_karat(F(karat), basis) == F(ppt)


@pytest.mark.rule("B2")
@pytest.mark.parametrize(
    ("composition", "basis", "holds"),
    [
        ({"gold": "584", "silver": "118"}, None, {"gold": "584", "silver": "118"}),
        ({"gold": "58.4", "silver": "11.8"}, "percent", {"gold": "584", "silver": "118"}),
        ({"silver": "925"}, "permille", {"silver": "925"}),
        ({"gold": "80"}, "permille", {"gold": "80"}),  # so little is meant: it says so
        ({"gold": "100", "silver": "1.1"}, None, {"gold": "100", "silver": "1.1"}),  # 101.1 is ‰
        ({"gold": "10"}, "percent", {"gold": "100"}),
        ({"gold": "100"}, "percent", {"gold": "1000"}),
    ],
)
def test_a_composition_is_in_parts_per_thousand_unless_it_says_percent(composition, basis, holds):
    held = read_item(composition=composition, **{"in": basis}).holds
    assert {h.metal: h.likely_ppt for h in held} == {m: F(ppt) for m, ppt in holds.items()}


@pytest.mark.rule("B2")
@pytest.mark.parametrize("composition", [{"gold": "58.4", "silver": "11.8"}, {"gold": "101"}, {"gold": "0"}])
def test_a_composition_up_to_101_is_asked_whether_it_is_percent(composition):
    refused = faults_of(lambda: read_item(composition=composition))
    assert refused == [("looks-like-percent", "/items/0/composition")]


@pytest.mark.rule("B2")
@pytest.mark.parametrize("stamped", ["9 375", "750", "gold plated", ""])
def test_what_is_stamped_is_copied_as_seen_and_reckoned_with_by_nobody(stamped):
    of = read_item(stamped=stamped, fineness="500", **{"in": "permille"})
    assert (of.stamped, of.holds[0].likely_ppt) == (stamped, 500)


@pytest.mark.rule("B2")
def test_nothing_known_is_for_evidence_that_is_not_reckoned_alone():
    assert read_item(fineness=None, evidence="unread").holds == ()
    assert faults_of(lambda: read_item(fineness=None)) == [("no-fineness", "/items/0")]


def with_evidence(**figures):
    return terms(evidence={"mark": {"method": "mark"} | figures})


@pytest.mark.rule("B3")
@pytest.mark.parametrize(
    ("known", "bias", "likely"),
    [
        ("585", "-8", "577"),
        ("585", "1.5", "586.5"),
        ("995", "8", "1000"),  # 1003 is more than the whole
        ("105", "-108", "0"),  # −3 is less than nothing
    ],
)
def test_likely_fineness_is_what_is_known_and_the_bias_kept_within_the_whole(known, bias, likely):
    of = read_item(with_evidence(bias=bias, scatter="3", shared="2"), fineness=known, evidence="mark")
    (held,) = of.holds
    assert (held.likely_ppt, held.scatter2, held.shared_ppt, held.kind) == (F(likely), 9, 2, "mark")


@pytest.mark.rule("B3")
@pytest.mark.parametrize(
    ("metal", "likely"),
    [
        (None, {"gold": "575", "silver": "100", "platinum": "50"}),  # gold unless stated
        ("gold", {"gold": "575", "silver": "100", "platinum": "50"}),
        ("silver", {"gold": "585", "silver": "90", "platinum": "50"}),
    ],
)
def test_in_a_composition_only_the_items_metal_takes_the_bias(metal, likely):
    of = with_evidence(bias="-10", scatter="3", shared="2")
    composition = {"gold": "585", "silver": "100", "platinum": "50"}
    held = read_item(of, composition=composition, evidence="mark", metal=metal).holds
    assert {h.metal: h.likely_ppt for h in held} == {m: F(ppt) for m, ppt in likely.items()}
    assert {(h.scatter2, h.shared_ppt) for h in held} == {(9, 2)}  # these hold for each


@pytest.mark.rule("B3")
@pytest.mark.parametrize(
    ("bias", "likely"),
    [
        ("0", {"gold": "600", "silver": "400"}),
        ("-10", {"gold": "590", "silver": "400"}),
        ("25", {"gold": "25000/41", "silver": "16000/41"}),  # 625 + 400, times 1000 ÷ 1025
    ],
)
def test_metals_that_exceed_the_whole_together_are_scaled_to_it(bias, likely):
    composition = {"gold": "600", "silver": "400"}
    held = read_item(with_evidence(bias=bias), composition=composition, evidence="mark").holds
    assert {h.metal: h.likely_ppt for h in held} == {m: F(ppt) for m, ppt in likely.items()}


@pytest.mark.rule("B3")
@pytest.mark.parametrize("method", ["mark", "touchstone", "xrf", "fire_assay", "difference", "table", "none"])
def test_a_kind_of_evidence_names_its_method(method):
    assert terms(evidence={"kind": {"method": method}}).evidence["kind"].method == method


@pytest.mark.rule("B3")
def test_what_is_not_reckoned_is_listed_and_weighed_and_holds_nothing_yet():
    quoted = quote(terms(), item_json(), item_json(evidence="unread", gross=weight("40")))
    assert quoted.request.net_g == 140
    assert quoted.contents["gold"].likely_g == 50
    answer = document.estimate(quoted, [], Working(kept=False))
    assert [i["on_assay_only"] for i in answer["items"]] == [False, True]


@pytest.mark.rule("B4")
@pytest.mark.parametrize(
    ("gross", "deduction_g", "filled", "fineness", "fine"),
    [
        ("100", "0", None, "500", "50"),
        ("31.42", "0.12", None, "375", "11.7375"),  # 31.30 × 0.375
        ("18.30", "0", "1/20", "400", "0.366"),  # 18.30 ÷ 20 × 0.4
        ("18.30", "0", "0.05", "400", "0.366"),
        ("12", "2", "1/10", "750", "0.75"),
        ("8", "0", "1/40", "1000", "0.2"),
        ("8", "0", "1/40", "0", "0"),
    ],
)
def test_fine_weight_is_net_times_filled_part_times_fineness(gross, deduction_g, filled, fineness, fine):
    taken = [] if deduction_g == "0" else [deduction(deduction_g)]
    of = read_item(gross=weight(gross), deductions=taken, filled_part=filled, fineness=fineness)
    assert of.fine_g(of.holds[0]) == F(fine)


OWN_ROWS = [
    {"colour": "yellow", "from": "500", "to": "650", "low": "40", "likely": "150", "high": "300"},
    {"colour": "yellow", "from": "650", "to": "800", "low": "90", "likely": "120", "high": "150"},
    {"colour": "rose", "from": "500", "to": "800", "low": "20", "likely": "50", "high": "80"},
]


def guessing(**changes):
    kinds = {
        "mark": {"method": "mark", "bias": "-8", "scatter": "3", "shared": "1"},
        "alloy_table": {"method": "table", "bias": "5", "shared": "20"},
    }
    return terms(evidence=kinds, estimate_silver=True, alloy_silver=OWN_ROWS, **changes)


@pytest.mark.rule("B5")
@pytest.mark.parametrize(
    ("fineness", "colour", "likely", "width"),
    [
        ("500", "yellow", "155", 260),  # from is inclusive: 150 + bias 5, high − low = 260
        ("649.9", "yellow", "155", 260),
        ("650", "yellow", "125", 60),  # to is exclusive; known before bias: 642 would be the row above
        ("585", "rose", "55", 60),
    ],
)
def test_silver_is_guessed_by_colour_and_known_fineness(fineness, colour, likely, width):
    gold, silver = read_item(guessing(), evidence="mark", fineness=fineness, colour=colour).holds
    assert gold.likely_ppt == F(fineness) - 8
    assert (silver.metal, silver.likely_ppt, silver.indicative) == ("silver", F(likely), True)
    # Rectangular between low and high: (high − low)² ÷ 12; bias and shared from the kind of that name.
    assert (silver.scatter2, silver.shared_ppt, silver.kind) == (F(width**2, 12), 20, "alloy_table")


@pytest.mark.rule("B5")
@pytest.mark.parametrize(
    ("changes", "estimate"),
    [
        ({"fineness": "499.9", "colour": "yellow"}, True),  # below the first row
        ({"fineness": "800", "colour": "yellow"}, True),  # the end of the last one
        ({"fineness": "585", "colour": "white"}, True),  # no row of this colour
        ({"fineness": "585"}, True),  # no colour
        ({"composition": {"gold": "585"}, "colour": "yellow"}, True),  # a composition says it all
        ({"fineness": "585", "colour": "yellow", "metal": "silver"}, True),  # not gold
        ({"fineness": "585", "colour": "yellow"}, False),  # the terms don't guess
    ],
)
def test_no_silver_is_guessed_without_a_reason(changes, estimate):
    of = guessing() if estimate else terms(alloy_silver=OWN_ROWS)
    held = read_item(of, evidence="mark" if estimate else "sure", **changes).holds
    assert [h.indicative for h in held] == [False]


@pytest.mark.rule("B5")
def test_without_rows_of_their_own_the_terms_use_the_products_table():
    # Published silver in 14 karat yellow runs from 40 to 300 ‰; 150: common practice, no source.
    _, silver = read_item(terms(estimate_silver=True), fineness="585", colour="yellow").holds
    assert (silver.likely_ppt, silver.scatter2, silver.shared_ppt) == (150, F(260**2, 12), 0)


@pytest.mark.rule("B5")
def test_guessed_silver_counts_in_an_estimate_and_is_called_indicative_there():
    of = terms_on(silver={}, estimate_silver=True)
    quoted = quote(of, item_json(fineness="585", colour="yellow"), prices={"gold": "10", "silver": "1"})
    assert quoted.cases["likely"].metals["silver"].accountable_mg == 15_000
    assert "silver-indicative" in [n.code for n in notices.of_quote(quoted)]


@pytest.mark.rule("B6")
def test_a_metal_that_the_terms_do_not_name_is_listed_as_not_accounted_for():
    item = item_json(composition={"gold": "500", "silver": "300", "palladium": "100"})
    quoted = quote(terms(), item)
    answer = document.estimate(quoted, notices.of_quote(quoted), Working(kept=False))
    assert answer["not_accounted_for"] == {"silver": {"g": "30.000"}, "palladium": {"g": "10.000"}}
    assert list(answer["cases"]["likely"]["metals"]) == ["gold"]
    assert [n["code"] for n in answer["notices"]].count("not-accounted-for") == 2


@pytest.mark.rule("B6")
@pytest.mark.parametrize(
    ("composition", "flagged"),
    [
        ({"gold": "500", "platinum": "100"}, True),
        ({"gold": "500", "palladium": "1"}, True),
        ({"gold": "500", "palladium": "0"}, False),
        ({"gold": "500", "silver": "300"}, False),
    ],
)
def test_platinum_or_palladium_flags_the_lot(composition, flagged):
    quoted = quote(terms(), item_json(composition=composition))
    assert ("platinum-metals" in [n.code for n in notices.of_quote(quoted)]) == flagged
