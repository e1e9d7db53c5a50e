"""Published karats, finenesses and marks (B2 to B5, A6). Each line names its source and how far seen."""

from dataclasses import replace
from fractions import Fraction

import pytest

from settle.reckoning.bars import stated_fineness
from settle.reckoning.exact import shown
from settle.reckoning.fineness import of_karat
from settle.reckoning.tables import ALLOY_SILVER, FINENESSES, STANDARD_KARAT_MARKS
from settle.reckoning.terms import read_terms

from .driven import Json, quoted, rows

F = Fraction

UK = "UK Hallmarking Act 1973 Sch. 2 as amended; Hallmarking Convention, UK profile; read"
UK_FIRST = "UK Hallmarking Act 1973 Sch. 2 as first enacted; read"
MARKS = "common table of carat marks (ISO 9202 values from memory); second-hand"
TUKES = "Tukes (Finland), precious metal rules; ISO 9202 principle; read"
USC_295 = "15 U.S.C. 295, in force since Pub. L. 94-450; read"
USC_296 = "15 U.S.C. 296; read"
BEFORE_1981 = "before 1 October 1981: Pub. L. 94-450 and notes; second-hand for the date"
CFR_23 = "weight fraction × karat ÷ 24, the definition in 16 CFR Part 23; computed"
ISO_8654 = "ISO 8654 colours and old formularies; second-hand"


def terms(**more: object) -> Json:
    return {
        "name": "published",
        "currency": "GBP",
        "division": {"amount": "0.01", "unit": "g"},
        "evidence": {"mark": {"method": "mark"}},
        "metals": {
            m: {"settle_on": "assay", "accountable": "1", "payout_rate": "1"} for m in ("gold", "silver")
        },
    } | more


def likely_ppt(item: Json, metal: str = "gold", **more: object) -> F:
    """Likely fine weight in 1000 g of what the item is made of."""
    whole = {"evidence": "mark", "gross": {"amount": "1000", "unit": "g"}} | item
    prices = {m: {"amount": "1", "currency": "GBP", "per": "g"} for m in ("gold", "silver")}
    return quoted(terms(**more), {"items": [whole], "prices": prices}).contents[metal].likely_g


@pytest.mark.parametrize(
    ("metal", "finenesses", "source"),
    [
        ("gold", "375 585 750 916 990 999", UK),
        ("silver", "925 958 999", UK),
        ("platinum", "850 900 950 999", UK),
        ("palladium", "500 950 999", UK),
    ],
)
def test_the_table_of_finenesses_has_those_of_the_act_and_says_they_were_read(metal, finenesses, source):
    known = {f.fineness for f in FINENESSES if f.metal == metal and f.seen == "read"}
    assert known == set(finenesses.split()), source


# A karat is reckoned exactly, or by the mark that standards give it. 14 is marked 585 and is 583.3 exactly:
# where they differ the terms choose (`karat_basis`); 23, 20 and 15 have no mark of the table in B2.
CARAT_MARKS = [
    ("23", "958", "exact"), ("22", "916", "standard"), ("20", "833", "exact"), ("18", "750", "standard"),
    ("15", "625", "exact"), ("14", "585", "standard"), ("10", "417", "standard"), ("9", "375", "standard"),
    ("8", "333", "standard"),
]  # fmt: skip


@pytest.mark.parametrize(("karat", "mark", "basis"), CARAT_MARKS)
def test_a_karat_has_the_mark_of_the_common_table(karat, mark, basis):
    found = of_karat(F(karat), basis)
    assert shown(found, 0) == mark, MARKS
    assert (basis == "standard") == (karat in STANDARD_KARAT_MARKS)


@pytest.mark.parametrize("karat", ["14", "22"])
def test_where_the_mark_is_not_the_karat_the_terms_choose(karat):
    by_mark, exactly = of_karat(F(karat), "standard"), of_karat(F(karat), "exact")
    assert by_mark != exactly
    assert likely_ppt({"karat": karat}, karat_basis="standard") == by_mark
    assert likely_ppt({"karat": karat}, karat_basis="exact") == exactly


@pytest.mark.parametrize(
    ("karat", "enacted", "differs"),
    [
        ("22", "916.6", "0.07"),  # cut off, not rounded: a mark may not promise more than is there
        ("23", "958.4", "-0.07"),  # silver of 11 oz 10 dwt in the pound: 23/24, rounded up by the Act
    ],
)
def test_the_finenesses_first_enacted_lie_within_a_tenth_of_the_exact_karat(karat, enacted, differs):
    assert shown(of_karat(F(karat), "exact") - F(enacted), 2) == differs, UK_FIRST


@pytest.mark.parametrize(
    ("assayed", "stated", "source"),
    [
        ("588", "585", TUKES),
        ("584", "375", TUKES),
        ("585", "585", TUKES),  # a mark is reached when it is reached exactly
    ],
)
def test_what_lies_below_a_mark_goes_down_to_the_next(assayed, stated, source):
    of = replace(read_terms(terms()), fineness_steps_ppt=(F(375), F(585), F(750), F(916), F(990), F(999)))
    assert stated_fineness(of, F(assayed), F(0)) == F(stated), source


# What the law lets an article lie below its mark is a `bias` at its worst: the shop's figure is its own.
TOLERANCES = [
    ("gold", "585", "-3", "582", USC_295),
    ("gold", "585", "-7", "578", USC_295),  # with solder
    ("gold", "750", "-3", "747", USC_295),  # watch cases and flatware, also with solder
    ("silver", "925", "-4", "921", USC_296),
    ("silver", "925", "-10", "915", USC_296),  # with solder
]


@pytest.mark.parametrize(("metal", "mark", "bias", "least", "source"), TOLERANCES)
def test_a_lawful_shortfall_of_a_mark_can_be_reckoned_with(metal, mark, bias, least, source):
    evidence = {"mark": {"method": "mark", "bias": bias}}
    item = {"metal": metal, "fineness": mark}
    assert likely_ppt(item, metal, evidence=evidence) == F(least), source


@pytest.mark.parametrize(
    ("below", "least", "source"),
    [("0.5", "562.5", BEFORE_1981), ("1", "541.7", BEFORE_1981)],
)
def test_an_old_stamp_of_14_karat_may_lie_half_a_karat_or_with_solder_a_whole_one_below(below, least, source):
    karat = shown(F(14) - F(below), 1)
    assert shown(likely_ppt({"karat": karat}), 1) == least, source


@pytest.mark.parametrize(
    ("part", "karat", "ppt"),
    [("1/20", "12", "25"), ("1/20", "14", "29.1667"), ("1/10", "10", "41.6667"), ("1/40", "12", "12.5")],
)
def test_filled_goods_hold_the_marked_part_of_their_karat(part, karat, ppt):
    assert shown(likely_ppt({"karat": karat, "filled_part": part}), 4) == ppt, CFR_23


@pytest.mark.parametrize(
    ("karat", "colour", "likely", "source"),
    [
        ("18", "yellow", "125", "3N 750/125/125: " + ISO_8654),
        ("18", "rose", "45", "5N 750/45/205: " + ISO_8654),
    ],
)
def test_silver_guessed_in_18_karat_is_that_of_the_standard_colour(karat, colour, likely, source):
    item = {"karat": karat, "colour": colour}
    assert likely_ppt(item, "silver", estimate_silver=True) == F(likely), source


# Of 18 karat the likely figure of rose is the least, and the most that green may hold is the most.
@pytest.mark.parametrize(
    ("fineness", "colours", "least", "most"),
    [("750", ("yellow", "rose", "green"), "45", "250"), ("585", ("yellow",), "40", "300")],
)
def test_the_rows_of_alloy_silver_span_what_is_published(fineness, colours, least, most):
    of = [r for r in ALLOY_SILVER if r.colour in colours and F(r.start) <= F(fineness) < F(r.end)]
    assert len(of) == len(colours)
    figures = [F(f) for r in of for f in ((r.low, r.likely, r.high) if len(of) == 1 else (r.likely, r.high))]
    assert (min(figures), max(figures)) == (F(least), F(most)), ISO_8654


# The mean difference of XRF from cupellation, either way: *Journal of Gems & Gemmology*; read.
XRF_ON = {
    "24K_over_999": "999.5", "990": "990", "18K_yellow": "750", "18K_white": "750",
    "14K_yellow": "585", "14K_white": "585",
}  # fmt: skip


@pytest.mark.parametrize("row", rows("xrf-against-cupellation"), ids=lambda row: row["alloy"])
def test_a_published_difference_of_xrf_can_be_reckoned_with(row):
    known, difference = F(XRF_ON[row["alloy"]]), row["mean_difference_ppt"]

    def with_bias(bias: str) -> F:
        kinds = {"mark": {"method": "xrf", "bias": bias}}
        return likely_ppt({"fineness": XRF_ON[row["alloy"]]}, evidence=kinds)

    assert with_bias("-" + difference) == known - F(difference)
    # No reading makes more of gold than a thousand parts.
    assert with_bias(difference) == min(F(1000), known + F(difference))
