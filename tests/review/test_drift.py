"""The drift test (H5) over simulated shops: false alarms, thefts that are found, thefts that are not."""

import pytest

from tests.simulation import figures, house, light
from tests.simulation.truth import World

WORLD = World(house.USUAL)
TERMS = light.read(house.terms(WORLD))
SHOPS, BATCHES = 20, 1000
THIEVES, MOST = 100, 60
# Batches within which a theft of 1 % of the silver is found in 95 of 100 shops.
STATED = 20
IN_FULL = "python -m tests.simulation --light 1000 --seed 1"


@pytest.mark.rule("H5")
def test_honest_shops_hear_as_many_false_alarms_as_stated(say):
    alarms = sum(len(light.alarms(WORLD, TERMS, 500 + i, BATCHES).drifts) for i in range(SHOPS))
    expected = SHOPS * BATCHES / figures.RUN_LENGTH
    low, high = figures.count_interval(expected)
    stated = f"stated {expected:.0f} ({low} to {high})"
    say(f"false alarms: {alarms} in {SHOPS * BATCHES} honest batches; {stated}")
    say(f"  more, and other thefts, by hand: {IN_FULL}")
    assert low <= alarms <= high


@pytest.mark.rule("H5")
def test_a_theft_of_one_in_a_hundred_of_the_silver_is_found_within_twenty_batches(say):
    found = [light.found_after(WORLD, TERMS, 9000 + i, 0.01, MOST) for i in range(THIEVES)]
    mean, half, nearly_all, never = figures.delays(found, MOST)
    delays = f"found after {mean} batches on the mean, half by {half}, 95 % by {nearly_all}"
    say(f"1 % of the silver stolen: {delays}")
    assert never == f"0 of {THIEVES}"
    assert sum(n <= STATED for n in found if n) >= 0.95 * THIEVES


@pytest.mark.rule("H5")
def test_a_theft_well_below_the_scatter_is_not_found_and_nobody_should_think_so(say):
    """u is about 0.8 % of the silver of a batch: a quarter of that hides for months."""
    found = [light.found_after(WORLD, TERMS, 9500 + i, 0.002, MOST) for i in range(THIEVES)]
    _, half, _, never = figures.delays(found, MOST)
    say(
        f"CAN'T BE FOUND at a scatter of {WORLD.silver_recovery[1]:.1%} from batch to batch: 0.2 % of the "
        f"silver stolen stays unseen over {MOST} batches in {never} shops (half by: {half} batches); and a "
        "part that was always stolen is taken for the recovery"
    )
    assert sum(n is None for n in found) > THIEVES / 2
