"""Whose silver came back (H3): `pro_rata` or `house_first`, exact and to whole milligrams.

Weights are grams where exact, `_mg` where a rule has rounded them.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from settle.reckoning.exact import ONE, ZERO, Exact, half_even, largest_remainder, within


@dataclass(frozen=True, slots=True)
class Shares:
    """What each lot is credited, and what is the house's, whole milligrams; house may be negative."""

    lots_mg: tuple[int, ...]
    house_mg: int


def lost_part(came_back: Exact, went_in: Exact) -> Exact:
    """λ = 1 − came back ÷ in; 0 where nothing went in."""
    return ONE - came_back / went_in if went_in else ZERO


def own_share(own: Exact, need: Exact, lost: Exact, rule: str) -> Exact:
    """One lot's R, exact, before it is kept within bounds: it loses λ of its own, under
    `house_first` also λ of the silver that it needed to be parted."""
    return own - (own + need if rule == "house_first" else own) * lost


def share_out(
    rule: str, own_mg: Sequence[int], need_g: Sequence[Exact], lent_mg: int, came_back_mg: int
) -> Shares:
    """Share what came back among the lots and the house (H3, A2, A5).

    R is kept within 0 and the lot's own: a gain is the house's.
    """
    went_in_mg = lent_mg + sum(own_mg)
    if went_in_mg == 0:
        lots = [0] * len(own_mg)
    elif rule == "pro_rata":
        # The loan comes first, so at a tie the house's milligram is placed before a lot's.
        lots = largest_remainder(came_back_mg, [lent_mg, *own_mg])[1:]
    else:
        lost = lost_part(Exact(came_back_mg), Exact(went_in_mg))
        lots = [
            half_even(own_share(Exact(own, 1000), need, lost, rule), 3)
            for own, need in zip(own_mg, need_g, strict=True)
        ]
    kept = tuple(int(within(Exact(r), ZERO, Exact(own))) for r, own in zip(lots, own_mg, strict=True))
    return Shares(kept, came_back_mg - sum(kept))
