"""A6, D3: what may be stated, and what two parties and an umpire agree on."""

from fractions import Fraction
from math import floor

from .quantities import within


def stated_weight(reading_g: Fraction, division_g: Fraction, step_g: Fraction) -> Fraction:
    """A6: the reading less half a division, down to the stating step."""
    return floor((reading_g - division_g / 2) / step_g) * step_g


def stated_fineness(assayed: Fraction, u: Fraction, steps: list[Fraction]) -> Fraction:
    """A6: parts per thousand."""
    sure = assayed - 2 * u
    reached = [step for step in steps if step <= sure]
    return max(reached) if reached else Fraction(floor(sure * 10), 10)


def agreed_assay(
    house: Fraction, client: Fraction, umpire: Fraction | None, limit: Fraction, rule: str
) -> tuple[Fraction | None, dict[str, Fraction]]:
    """D3: the agreed fineness (None: an umpire is wanted) and who bears which part of the fee."""
    if abs(house - client) <= limit:
        return (house + client) / 2, {}
    if umpire is None:
        return None, {}
    figures = sorted([house, client, umpire])
    low, high = sorted([house, client])
    agreed = within(low, umpire, high) if rule == "final" else figures[1]
    far_house, far_client = abs(house - umpire), abs(client - umpire)
    if far_house == far_client:
        return agreed, {"house": Fraction(1, 2), "client": Fraction(1, 2)}
    return agreed, {"house" if far_house > far_client else "client": Fraction(1)}


def agreed_u2(
    house: tuple[Fraction, Fraction],
    client: tuple[Fraction, Fraction],
    umpire: tuple[Fraction, Fraction] | None,
    limit: Fraction,
    rule: str,
) -> Fraction:
    """H4: u squared of what is agreed; each party's figure and its u."""
    if abs(house[0] - client[0]) <= limit:
        return (house[1] ** 2 + client[1] ** 2) / 4
    parties = [party for party in (house, client, umpire) if party is not None]
    agreed, _ = agreed_assay(*(ppt for ppt, _ in parties), limit, rule)
    return min(u**2 for ppt, u in parties if ppt == agreed)


def fees(fee_minor: int, bears: dict[str, Fraction]) -> tuple[int, int]:
    """D3: the house's and the client's whole minor units; a half of the client's away from zero (A3)."""
    client = floor(fee_minor * bears.get("client", 0) + Fraction(1, 2))
    return (fee_minor - client, client) if bears else (0, 0)
