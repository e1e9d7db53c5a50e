"""G: one calculation for all, and why a settlement differs from its quote."""

import pytest

from settle.reckoning import document, postings
from settle.reckoning.comparison import compare, metal_found_minor
from settle.reckoning.due import due
from settle.reckoning.settlement import inside_band, settle
from settle.reckoning.silver import lost_part, own_share
from settle.reckoning.working import Working

from .shop import F, at, bars, item_json, quote, refined, terms, terms_on, weight, wishes

SILENT = Working(kept=False)
CHARGES = [
    {"name": "handling", "base": "gross_weight", "per": "g", "rate": "0.10", "tax": "t"},
    {"name": "melting", "base": "melt_weight", "per": "g", "rate": "0.20"},
    {"name": "parting", "base": "silver_lent", "per": "g", "rate": "0.03"},
    {"name": "refining", "base": "fine_weight", "metal": "gold", "per": "g", "rate": "0.70"},
    {"name": "pieces", "base": "article", "rate": "1"},
    {"name": "share", "base": "value", "rate": "0.01"},
]
# Handling and melting, untaxed.
HANDLED = [{k: v for k, v in charge.items() if k != "tax"} for charge in CHARGES[:2]]
TAXES = {"t": {"rate": "0.20", "class": "standard"}}


@pytest.mark.rule("G1")
@pytest.mark.parametrize("wish", [{}, {"remainder": "shot"}, {"remainder": "cover_charges"}])
@pytest.mark.parametrize("rule", [{}, {"settle_on": "outturn", "recovery": "0.99", "accountable": "0.98"}])
def test_quote_and_settlement_are_one_calculation(rule, wish):
    of = terms_on(gold=rule, charges=CHARGES, taxes=TAXES, parting_target="0.25")
    stone = {"reason": "stone", "weight": weight("1")}
    quoted = quote(of, item_json(gross=weight("101"), deductions=[stone]), asked={"gold": wish})
    likely = quoted.cases["likely"]
    r = {"gold": likely.metals["gold"].recovered_g}
    as_quoted = refined(of, {"gold": "500"}, r, {"gold": wish}, gross_g=F(101))
    final = settle(of, as_quoted)
    assert (final.metals, final.charges, final.taxes) == (likely.metals, likely.charges, likely.taxes)
    assert final.net_minor == likely.net_minor


@pytest.mark.rule("G1")
def test_a_settlement_takes_advances_and_fees_off_and_charges_what_was_recorded():
    of = terms_on(charges=HANDLED + CHARGES[2:])
    paid = refined(
        of,
        {"gold": "500"},
        {"gold": "50"},
        melt_g=F(90),
        drillings_g=F(10),
        gross_g=F(101),
        articles=3,
        advances_minor=10_000,
        fees_minor=500,
    )
    final = settle(of, paid)
    # Parted are 80 g with 40 g of gold: (40 − 20) ÷ 0.25 = 80 g of silver, at 0.03.
    amounts = {line.charge.name: line.amount_minor for line in final.charges}
    assert amounts == {
        "handling": 1_010,
        "melting": 1_800,
        "parting": 240,
        "refining": 3_500,
        "pieces": 300,
        "share": 500,
    }
    assert final.net_minor == 50_000 - sum(amounts.values()) - 10_000 - 500


@pytest.mark.rule("G2")
def test_each_step_replaces_one_more_input_of_the_quote_and_they_add_up():
    of = terms_on(gold={"payout_rate": "0.9"}, charges=HANDLED)
    found = refined(
        of,
        {"gold": "600"},
        {"gold": "53"},
        {"gold": {"remainder": "shot"}},
        melt_g=F(90),
        gross_g=F(101),
        prices=at(gold="11"),
        fees_minor=500,
        advances_minor=10_000,  # left out of every V
    )
    steps = compare(quote(of), found, settle(of, found))
    assert [(s.name, s.worth_minor, s.difference_minor) for s in steps] == [
        ("quote", 42_000, 0),  # 50 g × 10 × 0.9 − 10 handling − 20 melting
        ("weight", 37_700, -4_300),  # 45 g: 405 − 10 − 18
        ("fineness", 45_800, 8_100),  # 54 g: 486 − 28
        ("recovery", 44_900, -900),  # 53 g: 477 − 28
        ("instructions", 50_200, 5_300),  # 53 g loose at spot: 530 − 28
        ("price", 55_500, 5_300),  # 53 × 11 − 28
        ("charges", 54_990, -510),  # handling of 101 g, and fees of 5
    ]
    assert metal_found_minor(steps) == 3_800
    assert all(s.sentence.endswith(".") for s in steps)


@pytest.mark.rule("G2")
def test_the_loan_follows_each_steps_own_figures_and_its_charge_stays_on_the_need():
    silver = {"settle_on": "outturn", "recovery": "0.98"}
    charges = [{"name": "parting", "base": "silver_lent", "per": "g", "rate": "0.10"}]
    of = terms_on(silver=silver, silver_rule="house_first", charges=charges)
    prices = {"gold": "0", "silver": "1"}
    quoted = quote(of, item_json(composition={"gold": "500", "silver": "300"}), prices=prices)
    assay = {"gold": "400", "silver": "300"}
    found = refined(of, assay, {"gold": "30", "silver": "22"}, melt_g=F(80), prices=at(**prices))
    steps = compare(quoted, found, settle(of, found))
    assert [(s.name, s.worth_minor) for s in steps] == [
        ("quote", 1_740),  # need (50 − 25) ÷ 0.25 = 100: 30 − 130 × 0.02 = 27.40, less 10.00
        ("weight", 1_392),  # need (40 − 20) ÷ 0.25 = 80: 24 − 104 × 0.02 = 21.92, less 8.00
        ("fineness", 1_776),  # need (32 − 20) ÷ 0.25 = 48: 24 − 72 × 0.02 = 22.56, less 4.80
        ("recovery", 1_720),  # 22.00, and the charge stays: less 4.80
        ("instructions", 1_720),
        ("price", 1_720),
        ("charges", 1_720),
    ]


@pytest.mark.rule("G2")
@pytest.mark.parametrize(
    ("whose", "drillings", "after_weight", "after_fineness"),
    [
        ("house", "returned", 40_000, 48_000),
        ("client", "returned", 45_000, 54_000),  # 10 g of 500 ‰ stand beside it, then of 600 ‰
        ("client", "credited", 45_000, 54_000),
    ],
)
def test_drillings_that_were_taken_lie_in_the_step_of_weight(whose, drillings, after_weight, after_fineness):
    of, assay = terms(drillings=drillings), {"gold": "600"}
    found = refined(of, assay, {"gold": "48"}, melt_g=F(90), drillings_g=F(10), drillings_whose=whose)
    steps = compare(quote(of), found, settle(of, found))
    # 50 g, then 80 g of 500 ‰, then 80 g of 600 ‰; all of that came back
    assert [s.worth_minor for s in steps] == [50_000, after_weight, *[after_fineness] * 5]
    assert "10 g of drillings were taken for assay" in steps[1].sentence


@pytest.mark.rule("H6")
@pytest.mark.parametrize(
    ("whose", "drillings", "accountable", "kept", "back", "books"),
    [
        # R = 44 g, drillings 10 g of 600 ‰: 6 g; the client's is nine tenths.
        ("house", "credited", 39_600, 10_400, 0, 6_000),
        ("client", "returned", 39_600, 4_400, 6_000, 0),
        ("client", "credited", 45_000, 5_000, 0, 6_000),
    ],
)
def test_drillings_are_the_houses_or_are_credited_or_go_back_and_never_neither(
    whose, drillings, accountable, kept, back, books
):
    of, assay = terms_on(gold={"accountable": "0.9"}, drillings=drillings), {"gold": "600"}
    found = refined(of, assay, {"gold": "44"}, melt_g=F(90), drillings_g=F(10), drillings_whose=whose)
    final = settle(of, found)
    gold = final.metals["gold"]
    assert (gold.recovered_mg, gold.drillings_mg) == (44_000, 6_000)
    assert (gold.accountable_mg, gold.kept_mg, gold.drillings_back_mg) == (accountable, kept, back)
    made = postings.settled("S-1", "C-1", "L-1", due(final))
    assert sum(leg.amount for leg in made.legs if leg.account == postings.BOUGHT) == books
    # The client's drillings count with R when it is held against the quote's 50 g.
    assert inside_band(quote(of), found)["gold"] is (whose == "client")


@pytest.mark.rule("H6")
def test_fine_metal_in_drillings_is_rounded_by_itself():
    of = terms(drillings="credited")
    found = refined(of, {"gold": "421.1"}, {"gold": "48.0008"}, melt_g=F(90), drillings_g=F("0.36"))
    # 0.36 × 421.1 ÷ 1000 = 0.151596: 0.152 of it and 48.0008 are 48.1528.
    assert settle(of, found).metals["gold"].accountable_mg == 48_153


@pytest.mark.rule("G2")
def test_a_bar_counts_at_what_it_takes_and_metal_on_account_at_spot():
    of = terms_on(gold={"payout_rate": "0.9"})
    wish = {"gold": {"bars": [bars("20", 2)], "remainder": "metal_account"}}
    assert quote(of, asked=wish).cases["likely"].worth_minor == 50_000


@pytest.mark.rule("G2")
def test_a_concession_lies_in_the_step_of_instructions():
    of, conceded = terms_on(gold={"payout_rate": "0.9"}), terms_on(gold={"payout_rate": "0.95"})
    found = refined(of, {"gold": "500"}, {"gold": "50"})
    steps = compare(quote(of), found, settle(conceded, found))
    moved = {s.name: s.difference_minor for s in steps if s.difference_minor}
    assert moved == {"instructions": 2_500}  # 50 g × 10 × 0.05


@pytest.mark.rule("G2")
def test_a_metal_that_only_the_assay_found_lies_in_the_step_of_fineness():
    of = terms_on(silver={})
    found = refined(
        of, {"gold": "500", "silver": "10"}, {"gold": "50", "silver": "1"}, prices=at(gold="10", silver="2")
    )
    steps = compare(quote(of), found, settle(of, found))
    assert {s.name: s.difference_minor for s in steps if s.difference_minor} == {"fineness": 200}


@pytest.mark.rule("G2")
def test_a_metal_that_is_still_open_is_left_out_of_both_sides():
    of = terms_on(silver={})
    prices = {"gold": "10", "silver": "1"}
    quoted = quote(of, item_json(composition={"gold": "500", "silver": "300"}), prices=prices)
    found = refined(of, {"gold": "500", "silver": "300"}, {"gold": "50"}, prices=at(**prices))
    assert {s.worth_minor for s in compare(quoted, found, settle(of, found))} == {50_000}


@pytest.mark.rule("G2")
def test_without_a_quote_there_is_no_comparison():
    found = refined(terms(), {"gold": "500"}, {"gold": "50"})
    answer = document.settlement(found, due(settle(terms(), found)), None, (), [], SILENT)
    assert (answer["comparison"], answer["inside_band"]) == (None, {})


@pytest.mark.rule("G3")
@pytest.mark.parametrize(
    ("case", "off", "inside"),
    [
        ("low", "0", True),
        ("low", "-0.000001", False),
        ("likely", "0", True),
        ("high", "0", True),
        ("high", "0.000001", False),
    ],
)
def test_the_settlement_says_whether_r_fell_inside_the_band(case, off, inside):
    of = terms(evidence={"sure": {"method": "mark", "shared": "10"}})
    quoted = quote(of)
    r = quoted.bands["gold"].recovered_g[case] + F(off)
    assert inside_band(quoted, refined(of, {"gold": "500"}, {"gold": r})) == {"gold": inside}


@pytest.mark.rule("G3")
def test_a_metal_that_was_not_quoted_for_never_fell_inside():
    found = refined(terms_on(silver={}), {"silver": "10"}, {"silver": "1"})
    assert inside_band(quote(terms_on(silver={})), found) == {"silver": False}


OUTTURN = {"gold": ("outturn", "0.995"), "silver": ("outturn", "0.97")}
UNDER = [
    ({m: {"settle_on": s, "recovery": r} for m, (s, r) in OUTTURN.items()}, "pro_rata"),
    ({m: {"settle_on": s, "recovery": r} for m, (s, r) in OUTTURN.items()}, "house_first"),
    ({"gold": {}, "silver": {}}, "pro_rata"),
]
LOTS = [
    # the composition of 100 g, in ‰
    {"gold": "585", "silver": "119"},
    {"gold": "751.3", "silver": "48.7"},
    {"gold": "10", "silver": "900"},  # no silver is needed to part it
    {"gold": "999", "silver": "1"},  # house first leaves nothing of its silver
]
WISH = {"gold": {"bars": [bars("20", "most")], "remainder": "cover_charges"}}
SPOT = {"gold": "61.2", "silver": "0.71"}


def as_reckoned(of, lot, recovered):
    """A refined lot of which everything turned out as the quote called likely."""
    return refined(of, lot, recovered, WISH, prices=at(**SPOT))


def no_surprise(of, quoted, lot, recovered):
    found = as_reckoned(of, lot, recovered)
    return [s.difference_minor for s in compare(quoted, found, settle(of, found))] == [0] * 7


@pytest.mark.rule("G3")
@pytest.mark.parametrize("lot", LOTS)
@pytest.mark.parametrize(("metals", "silver_rule"), UNDER)
def test_where_all_turns_out_as_likely_every_step_of_a_lot_refined_alone_is_zero(metals, silver_rule, lot):
    of = terms_on(**metals, silver_rule=silver_rule, charges=CHARGES, taxes=TAXES)
    quoted = quote(of, item_json(composition=lot), prices=SPOT, asked=WISH)
    need, lost = quoted.need.fine_g, 1 - of.metals["silver"].recovery
    own = F(lot["silver"]) / 10
    silver = own_share(own, need, lost, silver_rule) if metals["silver"] else own
    gold = F(lot["gold"]) / 10 * of.metals["gold"].recovery
    assert no_surprise(of, quoted, lot, {"gold": gold, "silver": max(F(0), silver)})


@pytest.mark.rule("G3")
@pytest.mark.parametrize("silver_rule", ["pro_rata", "house_first"])
def test_where_all_turns_out_as_likely_every_step_of_a_shared_batch_is_zero(silver_rule):
    of = terms_on(**UNDER[0][0], silver_rule=silver_rule, charges=CHARGES, taxes=TAXES)
    quotes = [quote(of, item_json(composition=lot), prices=SPOT, asked=WISH) for lot in LOTS[:3]]
    own = [F(lot["silver"]) / 10 for lot in LOTS[:3]]
    needs = [q.need.fine_g for q in quotes]
    went_in = sum(own) + sum(needs)
    lost = lost_part(went_in * F("0.97"), went_in)
    for quoted, lot, mine, need in zip(quotes, LOTS[:3], own, needs, strict=True):
        gold = F(lot["gold"]) / 10 * F("0.995")
        silver = own_share(mine, need, lost, silver_rule)
        assert no_surprise(of, quoted, lot, {"gold": gold, "silver": silver})


EDGES = [
    ({}, {"bars": [bars("25", 2)]}, [], "another number of gold bars fits"),
    ({"payable_from": weight("50")}, {}, [], "crossed the weight from which it is paid for"),
    ({}, {}, [{"tiers": [{"from": "100", "rate": "0.199"}]}], "reached another tier"),
    ({}, {}, [{"minimum": "19.90"}], "the minimum of melting came into play"),
]


@pytest.mark.rule("G3")
@pytest.mark.parametrize(("rule", "wish", "charge", "named"), EDGES)
def test_a_step_that_crosses_an_edge_names_it(rule, wish, charge, named):
    of = terms_on(gold=rule, charges=[HANDLED[1] | c for c in charge])
    found = refined(of, {"gold": "500"}, {"gold": "49.5"}, {"gold": wish}, melt_g=F(99))
    quoted = quote(of, asked={"gold": wish})
    by_name = {s.name: s.sentence for s in compare(quoted, found, settle(of, found))}
    assert named in by_name["weight"]
    assert all("edge" not in by_name[step] for step in ("quote", "fineness", "recovery"))
    assert wishes(of, gold=wish)["gold"] == found.wishes["gold"]
