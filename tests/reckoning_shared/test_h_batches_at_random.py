"""H2, H3, H7, G3 over random batches: what holds whatever the lots are."""

from fractions import Fraction

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from reckoning.shop import F, at, bars, item_json, quote, refined, terms_on, weight

from settle.reckoning.bars import Poured
from settle.reckoning.comparison import STEPS, compare
from settle.reckoning.exact import fixed
from settle.reckoning.recovered import share_gold
from settle.reckoning.settlement import settle
from settle.reckoning.silver import lost_part, own_share, share_out

OWN = st.lists(st.integers(0, 90_000), min_size=1, max_size=6)
LOTS = st.lists(st.tuples(st.integers(0, 90_000), st.integers(0, 200_000)), min_size=1, max_size=6)
BACK = st.integers(0, 1_500_000)
RULES = st.sampled_from(("house_first", "pro_rata"))


@pytest.mark.rule("H7")
@given(LOTS, st.integers(0, 400_000), BACK, RULES)
def test_of_silver_nothing_is_lost_or_made_and_no_lot_is_credited_more_than_its_own(lots, lent, back, rule):
    own = [mine for mine, _ in lots]
    shares = share_out(rule, own, [Fraction(need, 1000) for _, need in lots], lent, back)
    assert sum(shares.lots_mg) + shares.house_mg == back
    assert all(0 <= r <= mine for r, mine in zip(shares.lots_mg, own, strict=True))


@pytest.mark.rule("H7")
@given(OWN, BACK)
def test_of_gold_nothing_is_lost_or_made_and_no_lot_is_credited_more_than_its_own(own, back):
    shares = share_gold(own, back)
    assert sum(shares.lots_mg) + shares.house_mg == back
    assert all(0 <= r <= mine for r, mine in zip(shares.lots_mg, own, strict=True))


@pytest.mark.rule("H3")
@given(LOTS, st.integers(0, 1000))
def test_house_first_a_loan_equal_to_the_needs_comes_back_whole_to_half_a_milligram_a_lot(lots, lost_ppt):
    own, needs = [mine for mine, _ in lots], [need for _, need in lots]
    lent = sum(needs)
    back = (sum(own) + lent) * (1000 - lost_ppt) // 1000
    lost = lost_part(F(back), F(sum(own) + lent))
    exact = [own_share(F(mine), F(need), lost, "house_first") for mine, need in lots]
    # Unless an R is kept at a bound: what a lot can't bear is the house's.
    assume(all(0 <= r <= mine for r, mine in zip(exact, own, strict=True)))
    shares = share_out("house_first", own, [Fraction(need, 1000) for need in needs], lent, back)
    assert abs(shares.house_mg - lent) <= Fraction(len(lots), 2)


@pytest.mark.rule("H3")
@given(LOTS, BACK)
def test_house_first_the_house_never_fares_better_than_its_loan_but_by_a_gain_or_a_bound(lots, back):
    own, needs = [mine for mine, _ in lots], [need for _, need in lots]
    lent = sum(needs)
    assume(0 < back <= sum(own) + lent)
    shares = share_out("house_first", own, [Fraction(need, 1000) for need in needs], lent, back)
    assert shares.house_mg <= lent + Fraction(len(lots), 2)


RECOVERIES = st.integers(900, 1000).map(lambda n: fixed(n, 3))
SHARED = st.lists(
    st.tuples(st.integers(100, 9_000), st.integers(1_100, 9_000), st.integers(0, 1_000)),
    min_size=2,
    max_size=4,
)
CHARGES = [
    {"name": "handling", "base": "gross_weight", "per": "g", "rate": "0.10"},
    {"name": "parting", "base": "silver_lent", "per": "g", "rate": "0.03"},
    {"name": "refining", "base": "fine_weight", "metal": "gold", "per": "g", "rate": "0.70"},
]
WISH = {"gold": {"bars": [bars("5", "most")], "remainder": "cover_charges"}}
SPOT = {"gold": "61.2", "silver": "0.71"}


@pytest.mark.rule("G3")
@pytest.mark.parametrize("rule", ["house_first", "pro_rata"])
@given(drawn=SHARED, of_gold=RECOVERIES, of_silver=RECOVERIES, accountable=RECOVERIES)
def test_a_shared_batch_that_loses_what_was_expected_surprises_none_of_its_lots(
    rule, drawn, of_gold, of_silver, accountable
):
    kept = {"settle_on": "outturn", "accountable": accountable}
    of = terms_on(
        gold=kept | {"recovery": of_gold},
        silver=kept | {"recovery": of_silver},
        silver_rule=rule,
        charges=CHARGES,
        house_silver={"fineness": "998"},
    )
    lots = [lot_of(of, *figures) for figures in drawn]
    own = {m: [quoted.contents[m].likely_g for quoted, _, _ in lots] for m in ("gold", "silver")}
    needs = [quoted.need.fine_g for quoted, _, _ in lots]
    # What is expected comes back, and what the lots needed was lent: A2 and A5 are left off.
    lost = lost_part((sum(own["silver"]) + sum(needs)) * F(of_silver), sum(own["silver"]) + sum(needs))
    back = sum(own["gold"]) * F(of_gold)
    for i, (quoted, composition, melt) in enumerate(lots):
        mine = own["silver"][i]
        silver = min(max(F(0), own_share(mine, needs[i], lost, rule)), mine)
        recovered = {"gold": back * own["gold"][i] / sum(own["gold"]), "silver": silver}
        as_planned = {"poured": poured(quoted), "melt_g": melt, "gross_g": melt, "prices": at(**SPOT)}
        found = refined(of, composition, recovered, WISH, **as_planned)
        steps = compare(quoted, found, settle(of, found))
        assert [s.name for s in steps[1:]] == list(STEPS)
        assert [s.difference_minor for s in steps] == [0] * len(steps)


def lot_of(of, centigrams, gold, silver):
    """A quoted lot, its composition as the assay will find it, and its melt."""
    composition = {"gold": fixed(gold, 1), "silver": fixed(silver, 1)}
    item = item_json(composition=composition, gross=weight(fixed(centigrams, 2)))
    return quote(of, item, prices=SPOT, asked=WISH), composition, F(centigrams) / 100


def poured(quoted):
    """The bars that the quote called likely, each stating what it takes."""
    (count,) = quoted.cases["likely"].metals["gold"].placed.counts
    return {"gold": [Poured(f"N{i}", 0, F(5), F(1000)) for i in range(count)]}
