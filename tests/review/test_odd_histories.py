"""Histories as no simulation makes them: worked in the head, mistyped, in step, of many marks."""

import random
from fractions import Fraction
from itertools import pairwise

import pytest

from settle.reckoning import fit as fitting
from settle.reckoning.fit import Belief, Equation, fit
from settle.reckoning.history import Account, assayed_lot, equation, of_recovery
from settle.reckoning.review import MOST_APART, WORTH, in_words, proposed_terms, review
from tests.simulation import house, light
from tests.simulation.truth import World

F = Fraction
DATA = house.terms(World(house.USUAL))
TERMS = light.read(DATA)
WEIGHING = F(1, 100) ** 2 / 12


def item(kind, grams, **known):
    return {"evidence": kind, "gross": {"amount": grams, "unit": "g"}, **known}


def lot(name, items, melt, u=0, **ppt):
    found = {m: light.Weighed(F(melt), F(1, 100), F(p), F(u) ** 2) for m, p in ppt.items()}
    return assayed_lot(name, TERMS, {"items": items}, {}, found)


def stamped(name, ppt, mark="750", grams=10):
    return lot(name, [item("hallmark", str(grams), karat="18", stamped=mark)], grams, F("0.3"), gold=ppt)


def kind_of(found, name):
    return next(of for of in found.kinds if of.kind == name)


# One lot, in the head --------------------------------------------------------------------------


def test_by_hand_items_of_one_kind_add_up_and_a_filled_part_takes_its_part():
    guess = {
        "reason": "stones",
        "weight": {"amount": "1", "unit": "g"},
        "plus_minus": {"amount": "0.3", "unit": "g"},
    }
    items = [
        item("stamp only", "21", fineness="500", deductions=[guess]),
        item("stamp only", "40", fineness="600", filled_part="1/4", count=2),
    ]
    made = equation(lot("L-1", items, 60, gold=300), "gold")
    name = ("stamp only", "")
    assert made.left == 18 - 20 * F(1, 2) - 10 * F(6, 10)
    assert made.means == {name: F(20 + 10, 1000)}
    assert made.spreads == {
        (name, "scatter"): F(20**2, 10**6) + F(10**2, 10**6) / 2,
        (name, "shared"): F(30**2, 10**6),
    }
    weighed = WEIGHING * (F(3, 10) ** 2 + F(1, 2) ** 2 + (F(1, 4) * F(6, 10)) ** 2)
    assert made.known == weighed + F(3, 10) ** 2 / 3 * F(1, 2) ** 2


def test_by_hand_a_composition_tells_a_bias_of_its_metal_alone_and_scatter_of_each():
    composition = item("xrf", "10", composition={"gold": "600", "silver": "200"})
    made = {m: equation(lot("L-1", [composition], 10, gold=610, silver=190), m) for m in ("gold", "silver")}
    assert {m: of.left for m, of in made.items()} == {"gold": F(1, 10), "silver": F(-1, 10)}
    assert {m: of.means for m, of in made.items()} == {"gold": {("xrf", ""): F(1, 100)}, "silver": {}}
    assert made["gold"].spreads == made["silver"].spreads


def test_by_hand_silver_of_the_table_scatters_as_its_row_says():
    row = next(r for r in TERMS.alloy_silver if r.colour == "yellow" and r.start_ppt <= 585 < r.end_ppt)
    items = [item("hallmark", "30", karat="14", colour="yellow", count=3)]
    made = equation(lot("L-1", items, 30, gold=585, silver=100), "silver")
    assert made.left == 3 - 30 * row.likely_ppt / 1000
    assert made.means == {("alloy_table", ""): F(30, 1000)}
    assert made.spreads == {(("alloy_table", ""), "shared"): F(30, 1000) ** 2}
    scatter = F(30, 1000) ** 2 * (row.high_ppt - row.low_ppt) ** 2 / 12 / 3
    assert made.known == scatter + WEIGHING * ((row.likely_ppt / 1000) ** 2 + F(1, 10) ** 2)


def test_gold_that_says_nothing_of_its_silver_leaves_the_silver_of_its_lot_out():
    silver = item("hallmark", "50", fineness="925", metal="silver")
    uncoloured = item("hallmark", "10", karat="18")
    mixed = lot("L-1", [silver, uncoloured], 60, gold=125, silver=780)
    assert equation(mixed, "silver") == "an item doesn't say how much silver it holds"
    assert equation(mixed, "gold").means == {("hallmark", ""): F(1, 100)}


@pytest.mark.parametrize(
    ("off", "held"), [("1.99", True), ("2.01", False), ("-1.99", True), ("-2.01", False)]
)
def test_the_band_held_what_lay_within_twice_its_u(off, held):
    """u by C2: the weighing, scatter 3 and shared 1 of a hallmark (its bias −1 taken)."""
    u2 = (F("0.749") ** 2 * WEIGHING + F(10, 1000) ** 2 * (3**2 + 1**2)) / F(10, 1000) ** 2
    u_ppt = F(round(float(u2) ** 0.5 * 10**9), 10**9)
    of = lot("L-1", [item("hallmark", "10", karat="18")], 10, gold=749 + F(off) * u_ppt)
    assert of.held == {"gold": held}


def test_by_hand_an_account_under_older_terms_is_told_against_these():
    """100 g in, 0.97 expected then and 0.5 g less came: 96.5 %, which is 25 ‰ below 0.99."""
    made = of_recovery(Account("B-1", "gold", F(100), F("0.5"), F("0.04"), F("0.97")), F("0.99"))
    assert made == Equation(F("-2.5"), {"gold": F(1, 10)}, {"gold": F(1, 100)}, F("0.04"))


# What is proposed ------------------------------------------------------------------------------


def test_the_shared_proposed_bears_how_unsure_the_bias_still_is():
    lots = [stamped(f"L-{i}", 720 + 9 * (i % 7)) for i in range(12)]
    name = ("hallmark", "")
    spreads = {(name, "scatter"): F(9), (name, "shared"): F(1)}
    belief = Belief({name: F(-1)}, {name: tuple(spreads)}, spreads, WORTH)
    together = fit([equation(of, "gold") for of in lots], belief)
    proposed = kind_of(review(TERMS, lots, []), "hallmark").proposed
    shared, unsure = together.spreads[name, "shared"], together.variances[name]
    assert float(proposed.shared_ppt) == pytest.approx(float(shared + unsure) ** 0.5, abs=0.051)
    assert float(shared + unsure) ** 0.5 > float(shared) ** 0.5 + 0.3
    assert float(proposed.scatter_ppt) == pytest.approx(
        float(together.spreads[name, "scatter"]) ** 0.5, abs=0.051
    )


def test_the_scatter_of_a_recovery_proposed_bears_how_unsure_the_recovery_still_is():
    accounts = [
        Account(f"B-{i}", "gold", F(100), F(3 * (i % 7) - 9), F(1, 10**4), F("0.99")) for i in range(14)
    ]
    together = fit(
        [of_recovery(of, F("0.99")) for of in accounts],
        Belief({"gold": F(0)}, {"gold": ("gold",)}, {"gold": F(4)}, WORTH),
    )
    _, scatter = review(TERMS, [], accounts).recoveries[0].proposed
    alone, unsure = together.spreads["gold"], together.variances["gold"]
    assert float(scatter) == pytest.approx(float(alone + unsure) ** 0.5 / 1000, abs=0.000051)
    assert float(alone + unsure) ** 0.5 > float(alone) ** 0.5 + 0.2


def test_a_kind_counts_its_articles_and_the_lots_of_several_and_a_mark_however_it_is_typed():
    one = [item("hallmark", "10", karat="18", stamped="750  K")]
    several = [item("hallmark", "30", karat="18", count=3, stamped="750 k ")]
    lots = [lot(f"L-{i}", one, 10, gold=745 + i % 5) for i in range(6)]
    lots += [lot(f"M-{i}", several, 30, gold=745 + i % 5) for i in range(5)]
    lots.append(lot("far", one, 10, gold=600))
    found = review(TERMS, lots, [])
    kind = kind_of(found, "hallmark")
    assert (kind.lots, kind.articles, kind.lots_of_several, kind.held) == (12, 22, 5, 11)
    assert [(of.mark, of.lots, of.held) for of in found.marks] == [("750 k", 12, 11)]


def test_the_table_keeps_its_rows_and_has_a_bias_and_a_shared_proposed():
    of_lot = [item("hallmark", "30", karat="14", colour="yellow")]
    found = review(TERMS, [lot(f"L-{i}", of_lot, 30, gold=584, silver=40 + i) for i in range(20)], [])
    proposed = proposed_terms(DATA, found)["evidence"]["alloy_table"]
    assert proposed.keys() == {"method", "bias", "shared"}
    table = kind_of(found, "alloy_table")
    assert table.proposed.scatter_ppt == table.present.scatter_ppt
    squares = [(row.high_ppt - row.low_ppt) ** 2 for row in TERMS.alloy_silver]
    mean_square = float(sum(squares) / len(squares) / 12)
    assert float(table.present.scatter_ppt) ** 2 == pytest.approx(mean_square)


# What clients and typists do to a history -------------------------------------------------------


def test_melts_mistyped_tenfold_propose_nothing_that_terms_may_not_say():
    found = review(TERMS, [stamped(f"L-{i}", 745 + i % 7, grams=10) for i in range(15)], [])
    assert kind_of(found, "hallmark").proposed.scatter_ppt < 10
    mistyped = [lot(f"M-{i}", [item("hallmark", "10", karat="18")], 100, gold=745 + i % 7) for i in range(15)]
    found = review(TERMS, [*(stamped(f"L-{i}", 745 + i % 7) for i in range(15)), *mistyped], [])
    assert kind_of(found, "hallmark").found.scatter_ppt > 1000
    light.read(proposed_terms(DATA, found))


def test_accounts_of_next_to_nothing_propose_no_scatter_above_the_whole():
    accounts = [
        Account(f"B-{i}", "gold", F(1, 1000), F(5 * (i % 3)), F(1, 10**7), F("0.99")) for i in range(20)
    ]
    found = review(TERMS, [], accounts)
    light.read(proposed_terms(DATA, found))


def test_kinds_that_always_came_in_step_cant_be_told_apart_and_it_is_said():
    items = [item("hallmark", "10", karat="18"), item("stamp only", "10", karat="18")]
    found = review(TERMS, [lot(f"L-{i}", items, 20, F("0.3"), gold=738 + i % 5) for i in range(30)], [])
    for kind in ("hallmark", "stamp only"):
        assert "How far it lies off can't be told" in " ".join(in_words(kind_of(found, kind)))
    alone = review(TERMS, [stamped(f"L-{i}", 745 + i % 7) for i in range(30)], [])
    assert "can't be told:" not in " ".join(in_words(kind_of(alone, "hallmark"))).partition("several")[0]


def test_the_order_of_a_history_changes_nothing():
    rng = random.Random(4)
    lots = [stamped(f"L-{i}", 745 + rng.randint(0, 9)) for i in range(30)]
    assert review(TERMS, lots, []).kinds == review(TERMS, lots[::-1], []).kinds


def test_of_very_many_marks_those_of_most_lots_are_judged_apart_and_the_others_named():
    """The work of a fit grows with the cube of its unknowns: clients' stamps must not hold a review up."""
    lots = []
    for i in range(12):
        of_lot = [item("hallmark", "10", karat="18", stamped=f"mark {n}") for n in range(3 * MOST_APART)]
        lots.append(lot(f"L-{i}", of_lot, 600, F("0.3"), gold=745 + i % 7))
    lots += [stamped(f"M-{i}", 745 + i % 7, mark="mark 35") for i in range(3)]
    found = review(TERMS, lots, [])
    apart = [of for of in found.marks if of.found is not None]
    assert (len(found.marks), len(apart), found.marks[0].mark) == (3 * MOST_APART, MOST_APART, "mark 35")
    others = [of for of in found.marks if of.found is None]
    assert {" ".join(in_words(of)) for of in others} == {
        f"12 lots with it: judged with its kind, the {MOST_APART} marks of most lots are judged apart."
    }


# The steps of a fit ------------------------------------------------------------------------------


def hardly_told_apart(seed, names=8, lots=40):
    """Nearly every reading is of one article: scatter and shared of a kind stand almost in step."""
    rng = random.Random(seed)
    rows = []
    for _ in range(lots):
        means, spreads, left = {}, {}, rng.gauss(0, 0.01)
        for k in rng.sample(range(names), 2):
            weight, count = F(rng.randint(3, 40), 1000), rng.choice((*(1,) * 9, 2))
            means[k] = weight
            spreads |= {(k, "scatter"): weight**2 / count, (k, "shared"): weight**2}
            left += float(weight) * (rng.gauss(0, 3) + rng.gauss(0, 3) / count**0.5)
        rows.append(Equation(F(round(left * 10**6), 10**6), means, spreads, F(1, 10**4)))
    told_with = {k: ((k, "scatter"), (k, "shared")) for k in range(names)}
    spreads = {name: F(9) for of in told_with.values() for name in of}
    return rows, Belief(dict.fromkeys(told_with, F(0)), told_with, spreads)


def test_no_round_makes_the_rows_less_likely_and_the_rounds_come_to_an_end(monkeypatch):
    """A whole step each time circles in such histories until the rounds run out."""
    likelihoods = []
    step_up = fitting._Fit._step_up

    def watched(self):
        step_up(self)
        likelihoods[-1].append(self.likelihood)

    monkeypatch.setattr(fitting._Fit, "_step_up", watched)
    for seed in (1, 4, 7, 8):
        likelihoods.append([])
        fit(*hardly_told_apart(seed))
    assert all(a <= b for of in likelihoods for a, b in pairwise(of))
    assert all(1 < len(of) < 90 for of in likelihoods)
