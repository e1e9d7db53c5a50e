"""What two assays of a melted lot, and an umpire's, agree on (D3); one metal at a time.

Finenesses are parts per thousand. *Common practice.*
"""

from dataclasses import dataclass

from settle.reckoning.exact import Exact, within
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
class Exchange:
    """The assays of one metal as they stand: what they agree on, if they do, and who bears the fee.

    The fee is whole minor units; nobody bears one where no umpire decided.
    """

    state: str
    agreed_ppt: Exact | None = None
    house_fee_minor: int = 0
    client_fee_minor: int = 0


@dataclass(frozen=True, slots=True)
class Gap:
    """What the difference of two assays is worth, beside what an umpire costs; minor units."""

    worth_minor: int
    fee_minor: int


def exchange(
    house_ppt: Exact | None,
    client_ppt: Exact | None,
    umpire_ppt: Exact | None,
    splitting_limit_ppt: Exact | None,
    umpire_rule: str,
    umpire_fee_minor: int,
) -> Exchange:
    """What is agreed (D3): within the limit, inclusive, the mean; beyond it by the umpire.

    Terms without a `splitting_limit` know no exchange: the house's assay stands alone.
    Raises `Refused` where the client's or the umpire's is given all the same.
    """
    if splitting_limit_ppt is None:
        return _house_alone(house_ppt, client_ppt, umpire_ppt)
    if house_ppt is None:
        return Exchange(HOUSE_AWAITED)
    if client_ppt is None:
        return Exchange(CLIENT_AWAITED)
    if abs(house_ppt - client_ppt) <= splitting_limit_ppt:
        return Exchange(AGREED, (house_ppt + client_ppt) / 2)
    if umpire_ppt is None:
        return Exchange(UMPIRE_NEEDED)
    agreed = _by_umpire(house_ppt, client_ppt, umpire_ppt, umpire_rule)
    house_fee, client_fee = _fee(abs(house_ppt - umpire_ppt), abs(client_ppt - umpire_ppt), umpire_fee_minor)
    return Exchange(AGREED, agreed, house_fee, client_fee)


def _house_alone(house: Exact | None, client: Exact | None, umpire: Exact | None) -> Exchange:
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
    """Whole to the party farther from the umpire; halves if equally far, the odd unit the house's."""
    if house_off == client_off:
        return fee_minor - fee_minor // 2, fee_minor // 2
    return (fee_minor, 0) if house_off > client_off else (0, fee_minor)


def gap(house_ppt: Exact, client_ppt: Exact, melt_g: Exact, price: Price, umpire_fee_minor: int) -> Gap:
    """What is at stake before anyone asks for an umpire: |difference| × melt weight × price ÷ 1000."""
    worth = abs(house_ppt - client_ppt) * melt_g * price.per_g / WHOLE_PPT
    return Gap(minor_units(worth, price.currency), umpire_fee_minor)
