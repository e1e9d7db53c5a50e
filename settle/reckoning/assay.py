"""What two assays of a melted lot, and an umpire's, agree on (D3); one metal at a time.

Finenesses are parts per thousand. *Common practice.*
"""

from dataclasses import dataclass

from settle.reckoning.exact import ZERO, Exact, half_away, within
from settle.reckoning.fineness import WHOLE_PPT
from settle.reckoning.money import Price, minor_units
from settle.reckoning.problems import Fault, Refused

AGREED = "agreed"
HOUSE_AWAITED = "the house's is awaited"
CLIENT_AWAITED = "the client's is awaited"
UMPIRE_NEEDED = "an umpire is needed"

FINAL, MIDDLE = "final", "middle"
UMPIRE_RULES = (FINAL, MIDDLE)


@dataclass(frozen=True, slots=True)
class Found:
    """A fineness as assayed, and its u², ‰²."""

    ppt: Exact
    u2: Exact = ZERO


@dataclass(frozen=True, slots=True)
class Exchange:
    """The assays of one metal as they stand: what they agree on, if they do, and who bears the fee.

    The fee is whole minor units; nobody bears one where no umpire decided.
    """

    state: str
    agreed: Found | None = None
    house_fee_minor: int = 0
    client_fee_minor: int = 0


@dataclass(frozen=True, slots=True)
class Gap:
    """What the difference of two assays is worth, beside what an umpire costs; minor units."""

    worth_minor: int
    fee_minor: int


def exchange(
    house: Found | None,
    client: Found | None,
    umpire: Found | None,
    splitting_limit_ppt: Exact | None,
    umpire_rule: str,
    umpire_fee_minor: int,
) -> Exchange:
    """What is agreed (D3): within the limit, inclusive, the mean; beyond it by the umpire.

    Terms without a `splitting_limit` know no exchange: the house's assay stands alone.
    Raises `Refused` where the client's or the umpire's is given all the same.
    """
    if splitting_limit_ppt is None:
        return _house_alone(house, client, umpire)
    if house is None:
        return Exchange(HOUSE_AWAITED)
    if client is None:
        return Exchange(CLIENT_AWAITED)
    if abs(house.ppt - client.ppt) <= splitting_limit_ppt:
        return Exchange(AGREED, Found((house.ppt + client.ppt) / 2, (house.u2 + client.u2) / 4))
    if umpire is None:
        return Exchange(UMPIRE_NEEDED)
    agreed = _by_umpire(house.ppt, client.ppt, umpire.ppt, umpire_rule)
    # Its u is that of the party whose figure it is, the least where several found the same (H4).
    least_u2 = min(found.u2 for found in (house, client, umpire) if found.ppt == agreed)
    off = abs(house.ppt - umpire.ppt), abs(client.ppt - umpire.ppt)
    return Exchange(AGREED, Found(agreed, least_u2), *_fee(*off, umpire_fee_minor))


def _house_alone(house: Found | None, client: Found | None, umpire: Found | None) -> Exchange:
    if client is not None or umpire is not None:
        field = "/client" if client is not None else "/umpire"
        right = "terms with a splitting limit for this metal"
        raise Refused(Fault("contradiction", field, "these terms exchange no assays", right))
    return Exchange(HOUSE_AWAITED) if house is None else Exchange(AGREED, house)


def _by_umpire(house: Exact, client: Exact, umpire: Exact, rule: str) -> Exact:
    if rule == FINAL:
        return within(umpire, min(house, client), max(house, client))
    if rule == MIDDLE:
        return sorted((house, client, umpire))[1]
    raise Refused(Fault("not-one-of", "/umpire_rule", "no such rule", "one of " + ", ".join(UMPIRE_RULES)))


def _fee(house_off: Exact, client_off: Exact, fee_minor: int) -> tuple[int, int]:
    """Whole to the party farther from the umpire; if equally far the client bears half of it, rounded by
    A3, and the house the rest."""
    if house_off == client_off:
        of_client = half_away(Exact(fee_minor, 2), 0)
        return fee_minor - of_client, of_client
    return (fee_minor, 0) if house_off > client_off else (0, fee_minor)


def gap(house_ppt: Exact, client_ppt: Exact, melt_g: Exact, price: Price, umpire_fee_minor: int) -> Gap:
    """What is at stake before anyone asks for an umpire: |difference| × melt weight × price ÷ 1000."""
    worth = abs(house_ppt - client_ppt) * melt_g * price.per_g / WHOLE_PPT
    return Gap(minor_units(worth, price.currency), umpire_fee_minor)
