"""Published roundings and shares (A3, A5, A8). Each line names its source and how far seen."""

from fractions import Fraction

import pytest

from settle.reckoning.exact import half_even, largest_remainder, shown
from settle.reckoning.money import PLACES

from .driven import rows

F = Fraction

ISO_80000 = "ISO 80000-1 Annex B; read"
ISO_4217 = "ISO 4217, minor units; read"
HAMILTON = "US House of 1790, 120 seats, Hamilton's method: For All Practical Purposes, ch. 14; read"


@pytest.mark.parametrize(("value", "rounded"), [("1225.0", 1220), ("1235.0", 1240)])
def test_a_half_goes_to_the_even_ten(value, rounded):
    assert half_even(F(value) / 10, 0) * 10 == rounded, ISO_80000


@pytest.mark.parametrize(("value", "rounded"), [("12.223", "12.2"), ("12.251", "12.3"), ("12.275", "12.3")])
def test_what_is_no_half_goes_to_the_nearest(value, rounded):
    assert shown(F(value), 1) == rounded, ISO_80000


@pytest.mark.parametrize(
    ("places", "codes"), [(2, "GBP EUR USD INR"), (0, "JPY"), (3, "BHD KWD")], ids=["two", "none", "three"]
)
def test_a_currency_has_the_places_of_the_standard(places, codes):
    assert {PLACES[code] for code in codes.split()} == {places}, ISO_4217


def test_the_seats_of_1790_are_shared_as_hamilton_shared_them():
    states = rows("hamilton-1790")
    people = [int(row["population"]) for row in states]
    assert largest_remainder(120, people) == [int(row["seats"]) for row in states], HAMILTON


@pytest.mark.parametrize("row", rows("hamilton-1790"), ids=lambda row: row["state"])
def test_the_quota_of_each_state_is_the_one_printed(row):
    everybody = sum(int(r["population"]) for r in rows("hamilton-1790"))
    assert shown(F(120 * int(row["population"]), everybody), 3) == shown(F(row["quota_printed"]), 3), HAMILTON
