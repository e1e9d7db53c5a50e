"""H6, H7, E6: metal held in process once an account rests on it, and what a pour leaves."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from reckoning.shop import F, terms_on

from settle.reckoning import postings
from settle.reckoning.bars import Reading
from settle.reckoning.batch import Held, LotIn, Weighed, reconcile
from settle.reckoning.pour import pour_account


def weighed(grams, ppt="1000", d="0", u="0"):
    return Weighed(F(grams), F(d), F(ppt), F(u) ** 2)


@pytest.mark.rule("H6")
@pytest.mark.parametrize(("held_u", "u"), [("0", "0.05"), ("0.12", "0.13")])
def test_a_held_estimate_came_back_and_its_u_is_in_that_of_the_residual(held_u, u):
    of = terms_on(silver={"settle_on": "outturn", "recovery": "1"})
    own = [LotIn("L", weighed("100", "500", u="0.4"))]  # (100 × 0.4 ÷ 1000)² = 0.04²
    out = [weighed("30", u="1")]  # 0.03²
    made = reconcile(of, "silver", own, [], out, [Held(F(20), F(held_u))])
    assert (made.came_back_mg, made.residual_g, made.u_g) == (50_000, 0, F(u))


@pytest.mark.rule("H7")
@given(estimate_mg=st.integers(1, 10**6), back_mg=st.integers(0, 10**6))
def test_what_an_estimate_missed_is_the_houses_and_nothing_stays_held(estimate_mg, back_mg):
    made = postings.held_ended("E-1", "B-1", "silver", estimate_mg, back_mg)
    moved = {leg.account: leg.amount for leg in made.legs}
    wanted = {
        postings.held("B-1"): -estimate_mg,
        postings.STOCK: back_mg,
        postings.DIFFERENCE: estimate_mg - back_mg,
    }
    assert moved == {place: mg for place, mg in wanted.items() if mg}


READ = [Reading(F("50.02"), F("0.01"), F("999.9"), F(0)), Reading(F("20.03"), F("0.01"), F("999.9"), F(0))]

POURS = [
    # taken, trimmings, pour_loss: loss mg, kind of fault
    ("70.1", "0", "0.001", 50, None),  # 70.093 − 50.015 − 20.028
    ("70.1", "0.05", "0.001", 0, None),
    ("70.1", "0.15", "0.001", -100, "beyond-balance"),
    ("70.12", "0", "0.001", 70, None),
    ("70.13", "0", "0.001", 80, "beyond-balance"),
    ("70.06", "0", "0", 10, "beyond-balance"),
    ("70.05", "0", "0", 0, None),
]


@pytest.mark.rule("E6")
@pytest.mark.parametrize(("taken", "trimmings", "share", "loss", "kind"), POURS)
def test_what_was_taken_to_pour_is_in_bars_and_trimmings_or_lost_within_the_terms(
    taken, trimmings, share, loss, kind
):
    made = pour_account([weighed(taken, "999.9")], READ, [weighed(trimmings, "999.9")], F(share))
    assert (made.loss_mg, made.bars_mg) == (loss, 70_043)
    assert made.taken_mg == made.bars_mg + made.trimmings_mg + made.loss_mg
    fault = made.fault("/trimmings")
    assert (None if fault is None else (fault.kind, fault.pointer)) == (kind and (kind, "/trimmings"))
