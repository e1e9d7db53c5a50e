"""D3: two assays of a melted lot, and an umpire's; H4: the u of what they agree on."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st
from oracle import agreed_assay, agreed_u2, fees

from settle.reckoning.assay import (
    AGREED,
    CLIENT_AWAITED,
    HOUSE_AWAITED,
    UMPIRE_NEEDED,
    UMPIRE_RULES,
    Exchange,
    Found,
    Gap,
    exchange,
    gap,
)
from settle.reckoning.problems import Refused

from .shop import F, price


def found(given, u="0"):
    return None if given is None else Found(F(given), F(u) ** 2)


def made(house, client, umpire, rule="final", limit="0.5", fee=3001):
    given = (found(ppt) for ppt in (house, client, umpire))
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
    assert made(house, client, umpire) == Exchange(state, found(agreed))


DECIDED = [
    # rule, house, client, umpire: agreed, the fee of 30.01 as house and client bear it
    ("final", "585", "586", "585.2", "585.2", 0, 3001),
    ("final", "585", "586", "585.8", "585.8", 3001, 0),
    ("final", "585", "586", "587", "586", 3001, 0),  # kept within the two parties' figures
    ("final", "585", "586", "583", "585", 0, 3001),
    ("final", "585", "586", "585.5", "585.5", 1500, 1501),  # 15.005 by A3, the house has the rest
    ("middle", "585", "586", "585.2", "585.2", 0, 3001),
    ("middle", "585", "586", "587", "586", 3001, 0),
    ("middle", "586", "585", "584", "585", 3001, 0),
    ("middle", "586", "585", "585.5", "585.5", 1500, 1501),
]


@pytest.mark.rule("D3")
@pytest.mark.parametrize(("rule", "house", "client", "umpire", "agreed", "of_house", "of_client"), DECIDED)
def test_beyond_the_limit_the_umpire_decides_and_the_farther_party_bears_the_fee(
    rule, house, client, umpire, agreed, of_house, of_client
):
    assert made(house, client, umpire, rule) == Exchange(AGREED, found(agreed), of_house, of_client)


@pytest.mark.rule("D3")
@pytest.mark.parametrize(("fee", "house", "client"), [(101, 50, 51), (2001, 1000, 1001), (100, 50, 50)])
def test_of_a_fee_in_halves_the_client_has_his_by_half_away_from_zero_and_the_house_the_rest(
    fee, house, client
):
    # 101 yen; 20.01 pounds; what comes out even
    assert made("585", "586", "585.5", fee=fee) == Exchange(AGREED, found("585.5"), house, client)


AGREED_U2 = [
    # rule, (ppt, u) of house, client, umpire: u² of what is agreed
    ("final", ("585", "0.3"), ("585.4", "0.4"), None, "0.0625"),  # of a mean: (0.09 + 0.16) ÷ 4
    ("final", ("585", "0.3"), ("585", "0.4"), None, "0.0625"),  # a mean, whatever it is the mean of
    ("final", ("585", "0.3"), ("586", "0.4"), ("585.2", "0.1"), "0.01"),  # the umpire's own
    ("final", ("585", "0.3"), ("586", "0.4"), ("587", "0.1"), "0.16"),  # kept at the client's figure
    ("final", ("585", "0.3"), ("586", "0.4"), ("584", "0.1"), "0.09"),  # kept at the house's
    ("middle", ("585", "0.3"), ("586", "0.4"), ("587", "0.1"), "0.16"),
    ("middle", ("585", "0.3"), ("586", "0.4"), ("586", "0.1"), "0.01"),  # two found it: the least
    ("final", ("585", "0.3"), ("586", "0.4"), ("585", "0.5"), "0.09"),
]


@pytest.mark.rule("H4")
@pytest.mark.parametrize(("rule", "house", "client", "umpire", "u2"), AGREED_U2)
def test_the_u_of_what_is_agreed_is_the_means_or_that_of_the_party_whose_figure_it_is(
    rule, house, client, umpire, u2
):
    given = (None if party is None else found(*party) for party in (house, client, umpire))
    assert exchange(*given, F("0.5"), rule, 0).agreed.u2 == F(u2)


PPT = st.integers(9900, 10_000).map(lambda n: Fraction(n, 10))
PARTY = st.tuples(PPT, st.sampled_from(("0.1", "0.2", "0.25")).map(Fraction))


@pytest.mark.rule("D3")
@given(
    PARTY, PARTY, st.none() | PARTY, st.integers(0, 30), st.sampled_from(UMPIRE_RULES), st.integers(0, 999)
)
def test_what_is_agreed_its_u_and_who_bears_what_part_of_the_fee_are_the_oracles(
    house, client, umpire, limit, rule, fee
):
    limit_ppt = Fraction(limit, 10)
    given = (None if party is None else Found(party[0], party[1] ** 2) for party in (house, client, umpire))
    made = exchange(*given, limit_ppt, rule, fee)
    agreed, bears = agreed_assay(house[0], client[0], umpire and umpire[0], limit_ppt, rule)
    assert (made.agreed and made.agreed.ppt) == agreed
    if agreed is not None:
        assert made.agreed.u2 == agreed_u2(house, client, umpire, limit_ppt, rule)
    assert (made.house_fee_minor, made.client_fee_minor) == fees(fee, bears)


@pytest.mark.rule("D3")
@pytest.mark.parametrize(("house", "state"), [("585", AGREED), (None, HOUSE_AWAITED)])
def test_without_a_splitting_limit_the_houses_assay_stands_alone(house, state):
    assert made(house, None, None, limit=None) == Exchange(state, found(house))


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
