"""Terms that are wrong: the review says so, and what it proposes holds for lots that it never saw."""

import random
from dataclasses import replace
from fractions import Fraction

import pytest

from settle.reckoning.history import equation
from settle.reckoning.review import ENOUGH, in_words, proposed_terms, recovery_in_words, review
from tests.simulation import figures, house, light
from tests.simulation.truth import Market, World

SHOPS, HISTORY, KEPT_OUT = 3, 300, 600
WRONG = [
    ("stamp only", {"bias": 4.0, "scatter": 4.0, "shared": 1.0}),
    ("hallmark", {"bias": 3.0}),
    ("xrf", {"scatter": 2.0, "shared": 0.5}),
]
WORLD = World(house.USUAL)


def shop(terms_json, seed, world=WORLD, lots=HISTORY):
    """A shop that has been at it for a while, and its review."""
    terms, market = light.read(terms_json), Market(world, random.Random(seed))
    history, accounts = light.history(world, terms, market, lots)
    return market, review(terms, history, accounts)


def judged(found, kind):
    return next(of for of in found.kinds if of.kind == kind)


@pytest.fixture(scope="module")
def shops():
    return [shop(house.terms(WORLD, WRONG), 100 + i) for i in range(SHOPS)]


@pytest.fixture(scope="module")
def right_shops():
    return [shop(house.terms(WORLD), 200 + i, lots=100) for i in range(SHOPS)]


def test_the_proposal_restores_coverage_on_lots_kept_out(shops, say):
    wrong = house.terms(WORLD, WRONG)
    inside = {"wrong": 0, "proposed": 0}
    for market, found in shops:
        kept_out = [light.refined(WORLD, market.rng, market.lot()) for _ in range(KEPT_OUT)]
        for name, data in (("wrong", wrong), ("proposed", proposed_terms(wrong, found))):
            terms = light.read(data)
            inside[name] += sum(light.is_inside(WORLD, terms, of) for of in kept_out)
    lots = SHOPS * KEPT_OUT
    say(
        f"wrong terms: {inside['wrong'] / lots:.1%} of {lots} lots kept out of the review inside the band; "
        f"as proposed from {HISTORY} lots a shop: {inside['proposed'] / lots:.1%}"
    )
    assert inside["wrong"] / lots < 0.80
    assert 0.935 <= inside["proposed"] / lots <= 0.97


def test_a_bias_that_is_off_beyond_what_the_terms_allow_is_said_to_be(shops):
    for _, found in shops:
        assert "more than they allow for" in " ".join(in_words(judged(found, "hallmark")))


def test_a_scatter_stated_too_small_is_said_to_be_wider(shops):
    for _, found in shops:
        said = " ".join(in_words(judged(found, "stamp only")))
        assert "wider" in said
        assert judged(found, "stamp only").proposed.scatter_ppt > 5


def test_how_often_the_band_held_shows_it_too(shops, right_shops):
    def share(of):
        kinds = [judged(found, "stamp only") for _, found in of]
        return sum(kind.held for kind in kinds) / sum(kind.lots for kind in kinds)

    assert share(shops) < 0.80 < 0.90 < share(right_shops)


def test_terms_that_are_right_are_not_found_beyond_what_they_allow(right_shops):
    for _, found in right_shops:
        for of in found.kinds:
            assert "more than they allow for" not in " ".join(in_words(of))
            assert "wider" not in " ".join(in_words(of))


def test_a_short_history_proposes_nothing_and_says_that_it_is_too_short():
    data = house.terms(WORLD, WRONG)
    _, found = shop(data, 5, lots=6)
    assert all(of.lots < ENOUGH for of in found.kinds)
    assert proposed_terms(data, found) == data
    assert "too few to say" in in_words(judged(found, "hallmark"))[0]
    assert all("too few to say" in recovery_in_words(of)[0] for of in found.recoveries)


def test_the_longer_the_history_the_nearer_the_proposal_is_to_what_it_finds():
    data = house.terms(WORLD, [("hallmark", {"bias": 9.0})])
    shares = list[float]()
    for lots in (30, 200):
        of = judged(shop(data, 6, lots=lots)[1], "hallmark")
        shares.append(float((9 - of.proposed.bias_ppt) / (9 - of.found.bias_ppt)))
    assert 0.3 < shares[0] < shares[1] < 1


def test_a_mark_that_lies_by_itself_is_found_beside_its_kind():
    world = World(house.USUAL[:1], lying_marks={"18": -12.0})
    _, found = shop(house.terms(world), 8, world)
    of = {mark.mark: mark for mark in found.marks}
    others = [of[m].found.bias_ppt for m in ("9k", "14k", "22k")]
    assert all(of["18k"].found.bias_ppt + 8 < other for other in others)
    assert "more than its figures allow for" in " ".join(in_words(of["18k"]))


def test_marks_of_too_few_lots_are_named_and_nothing_is_said_of_them():
    _, found = shop(house.terms(WORLD), 9, lots=25)
    few = [mark for mark in found.marks if mark.lots < ENOUGH]
    assert few
    assert all(mark.found is mark.proposed is None for mark in few)
    assert all("too few to say" in in_words(mark)[0] for mark in few)


def recoveries(seed, world):
    """Of a shop that still has the terms of the usual one."""
    terms, market = light.read(house.terms(WORLD)), Market(world, random.Random(seed))
    return review(terms, [], light.history(world, terms, market, 120)[1]).recoveries


def test_a_recovery_that_is_lower_is_found_and_wants_a_look_before_it_is_believed():
    world = replace(WORLD, gold_recovery=(0.984, 0.003))
    found = recoveries(10, world)
    gold = found[0]
    recovery, scatter = gold.proposed
    assert abs(float(recovery) - 0.984) < 0.001
    assert abs(float(scatter) - 0.003) < 0.001
    assert "looks the same as a lower recovery" in " ".join(recovery_in_words(gold))


def test_a_theft_that_was_always_there_is_taken_for_the_recovery_so_it_is_said_beforehand():
    """No test of residuals can tell one from the other; the sentence of the review is all there is."""
    world = replace(WORLD, gold_recovery=(0.990 * 0.99, 0.002))
    found = recoveries(12, world)
    assert abs(float(found[0].proposed[0]) - 0.9801) < 0.001
    assert "look there before you accept it" in " ".join(recovery_in_words(found[0]))


def test_a_lot_with_an_item_on_assay_only_is_left_out_and_named():
    data = house.terms(WORLD)
    data["evidence"]["unread"] = {"method": "none", "reckon": False}
    terms, market = light.read(data), Market(WORLD, random.Random(3))
    of = light.refined(WORLD, market.rng, market.lot())
    unread = {"description": "filings", "evidence": "unread", "gross": {"amount": "5", "unit": "g"}}
    items = {"items": [*of.lot.entered, unread]}
    lot = light.assayed_lot("L-1", terms, items, {}, {"gold": of.own(WORLD)})
    assert equation(lot, "gold") == "an item went on assay only"
    assert review(terms, [lot], []).left_out == (("L-1", "gold", "an item went on assay only"),)


def test_a_lot_that_no_terms_would_have_expected_is_named():
    terms, market = light.read(house.terms(WORLD)), Market(WORLD, random.Random(13))
    history, _ = light.history(WORLD, terms, market, 60)
    plated = history[7]
    gold = plated.found["gold"]
    history[7] = replace(plated, found={"gold": replace(gold, assay_ppt=gold.assay_ppt / 3)})
    far_off = review(terms, history, []).far_off
    assert "L-7" in {lot for lot, _, _ in far_off}
    assert all(abs(z) > 4 for _, _, z in far_off)


def test_by_hand_one_lot_of_two_kinds_is_one_equation():
    data = house.terms(WORLD)
    items = [
        {"evidence": "hallmark", "fineness": "500", "gross": {"amount": "20", "unit": "g"}},
        {"evidence": "xrf", "fineness": "750", "count": 2, "gross": {"amount": "10", "unit": "g"}},
    ]
    terms = light.read(data)
    found = {"gold": light.Weighed(Fraction(30), Fraction(1, 100), Fraction(580))}
    made = equation(light.assayed_lot("L-1", terms, {"items": items}, {}, found), "gold")
    assert made.left == Fraction(174, 10) - 10 - Fraction(75, 10)
    assert made.means == {("hallmark", ""): Fraction(2, 100), ("xrf", ""): Fraction(1, 100)}
    assert made.spreads == {
        (("hallmark", ""), "scatter"): Fraction(4, 10**4),
        (("hallmark", ""), "shared"): Fraction(4, 10**4),
        (("xrf", ""), "scatter"): Fraction(1, 10**4) / 2,
        (("xrf", ""), "shared"): Fraction(1, 10**4),
    }
    weighing = Fraction(1, 100) ** 2 / 12
    assert made.known == weighing * (Fraction(58, 100) ** 2 + Fraction(1, 4) + Fraction(9, 16))


def test_what_chance_allows_is_reckoned_right():
    assert figures.count_interval(43.01) == (31, 56)
    low, high = figures.share_interval(19_000, 20_000)
    assert (round(low, 4), round(high, 4)) == (0.9469, 0.9529)
    assert figures.binomial_tail(1, 2, 0.5) == 0.75
