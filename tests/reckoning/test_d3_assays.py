"""D3: two assays of a melted lot, and an umpire's."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st
from oracle import agreed_assay
from reckoning.shop import F, price

from settle.reckoning.assay import (
    AGREED,
    CLIENT_AWAITED,
    HOUSE_AWAITED,
    UMPIRE_NEEDED,
    UMPIRE_RULES,
    Exchange,
    Gap,
    exchange,
    gap,
)
from settle.reckoning.problems import Refused


def made(house, client, umpire, rule="final", limit="0.5", fee=3001):
    given = (None if ppt is None else F(ppt) for ppt in (house, client, umpire))
    return exchange(*given, None if limit is None else F(limit), rule, fee)


STATES = [
    # house, client, umpire: state, agreed
    (None, None, None, HOUSE_AWAITED, None),
    (None, "585", None, HOUSE_AWAITED, None),
    ("585", None, None, CLIENT_AWAITED, None),
    ("585", None, "585", CLIENT_AWAITED, None),
    ("585", "585", None, AGREED, "585"),
    ("585", "585.5", None, AGREED, "585.25"),  # the limit is inclusive
    ("585.5", "585", None, AGREED, "585.25"),
    ("585", "585.500000001", None, UMPIRE_NEEDED, None),
    ("585", "585.4", "700", AGREED, "585.2"),  # within the limit nobody needed the umpire
]


@pytest.mark.rule("D3")
@pytest.mark.parametrize(("house", "client", "umpire", "state", "agreed"), STATES)
def test_the_exchange_says_whose_assay_is_awaited_and_what_is_agreed(house, client, umpire, state, agreed):
    assert made(house, client, umpire) == Exchange(state, None if agreed is None else F(agreed))


DECIDED = [
    # rule, house, client, umpire: agreed, the fee of 30.01 as house and client bear it
    ("final", "585", "586", "585.2", "585.2", 0, 3001),
    ("final", "585", "586", "585.8", "585.8", 3001, 0),
    ("final", "585", "586", "587", "586", 3001, 0),  # kept within the two parties' figures
    ("final", "585", "586", "583", "585", 0, 3001),
    ("final", "585", "586", "585.5", "585.5", 1501, 1500),  # halves; the odd unit is the house's
    ("middle", "585", "586", "585.2", "585.2", 0, 3001),
    ("middle", "585", "586", "587", "586", 3001, 0),
    ("middle", "586", "585", "584", "585", 3001, 0),
    ("middle", "586", "585", "585.5", "585.5", 1501, 1500),
]


@pytest.mark.rule("D3")
@pytest.mark.parametrize(("rule", "house", "client", "umpire", "agreed", "of_house", "of_client"), DECIDED)
def test_beyond_the_limit_the_umpire_decides_and_the_farther_party_bears_the_fee(
    rule, house, client, umpire, agreed, of_house, of_client
):
    assert made(house, client, umpire, rule) == Exchange(AGREED, F(agreed), of_house, of_client)


PPT = st.integers(9900, 10_000).map(lambda n: Fraction(n, 10))


@pytest.mark.rule("D3")
@given(PPT, PPT, st.none() | PPT, st.integers(0, 30), st.sampled_from(UMPIRE_RULES), st.integers(0, 999))
def test_what_is_agreed_and_who_bears_what_part_of_the_fee_is_the_oracles(
    house, client, umpire, limit, rule, fee
):
    found = exchange(house, client, umpire, Fraction(limit, 10), rule, fee)
    agreed, bears = agreed_assay(house, client, umpire, Fraction(limit, 10), rule)
    assert found.agreed_ppt == agreed
    assert abs(found.house_fee_minor - fee * bears.get("house", 0)) <= Fraction(1, 2)
    assert found.house_fee_minor + found.client_fee_minor == (fee if bears else 0)


@pytest.mark.rule("D3")
@pytest.mark.parametrize(("house", "state"), [("585", AGREED), (None, HOUSE_AWAITED)])
def test_without_a_splitting_limit_the_houses_assay_stands_alone(house, state):
    found = made(house, None, None, limit=None)
    assert found == Exchange(state, None if house is None else F(house))


@pytest.mark.rule("D3")
@pytest.mark.parametrize(
    ("client", "umpire", "limit", "rule", "kind", "pointer"),
    [
        ("585", None, None, "final", "contradiction", "/client"),
        (None, "585", None, "final", "contradiction", "/umpire"),
        ("590", "587", "0.5", "loudest", "not-one-of", "/umpire_rule"),
    ],
)
def test_assays_that_the_terms_know_nothing_of_are_refused(client, umpire, limit, rule, kind, pointer):
    with pytest.raises(Refused) as refused:
        made("585", client, umpire, rule, limit)
    assert [(f.kind, f.pointer) for f in refused.value.faults] == [(kind, pointer)]


GAPS = [
    # house, client, melt, price: worth
    ("585", "586", "100", price("60"), 600),  # 0.1 g at 60
    ("586", "585", "100", price("60"), 600),
    ("585", "585", "100", price("60"), 0),
    ("585", "585.5", "31.1034768", price("1000", per="ozt"), 50),  # half a thousandth of an ounce
    ("585", "585.1", "50.5", price("1"), 1),  # 0.00505: half away from zero
    ("585", "586", "100", price("60", "JPY"), 6),
]


@pytest.mark.rule("D3")
@pytest.mark.parametrize(("house", "client", "melt", "at_price", "worth"), GAPS)
def test_what_the_gap_is_worth_stands_beside_the_fee(house, client, melt, at_price, worth):
    assert gap(F(house), F(client), F(melt), at_price, 4500) == Gap(worth, 4500)
