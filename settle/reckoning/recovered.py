"""What is the lot's of what comes out: R, by the metal's `settle_on` (D1, H2, H3)."""

from collections.abc import Mapping, Sequence

from settle.reckoning.exact import ONE, ZERO, Exact, largest_remainder
from settle.reckoning.parting import Need
from settle.reckoning.silver import Shares, own_share
from settle.reckoning.terms import Terms


def expected(terms: Terms, metal: str, fine_g: Exact, need: Need) -> Exact:
    """R when quoting, exact grams, before it is kept within bounds (D1).

    Outturn: fine × recovery, but silver by H3 for this lot alone with λ = 1 − recovery.
    Assay and counter: the fine weight itself.
    """
    rule = terms.metals[metal]
    if rule.settle_on != "outturn":
        return fine_g
    if metal == "silver":
        return own_share(fine_g, need.fine_g, ONE - rule.recovery, terms.silver_rule)
    return fine_g * rule.recovery


def slopes(terms: Terms, metal: str, fine_g: Exact, need: Need) -> tuple[Exact, Exact]:
    """∂R/∂fine and ∂R/∂recovery (C3), the parting silver held at its likely figure."""
    rule = terms.metals[metal]
    if rule.settle_on != "outturn":
        return ONE, ZERO
    lost_with = need.fine_g if metal == "silver" and terms.silver_rule == "house_first" else ZERO
    return rule.recovery, fine_g + lost_with


def expected_within(terms: Terms, metal: str, fine_g: Exact, need: Need) -> Exact:
    """`expected`, kept within 0 and the fine weight (C4)."""
    return min(max(expected(terms, metal, fine_g, need), ZERO), fine_g)


def share_gold(own_mg: Sequence[int], came_back_mg: int) -> Shares:
    """Share what came back of gold, or of any metal but silver, by assayed fine weight (H2, A5).

    No lot is credited more than its own: a gain is the house's. Gold that came with the
    house silver is one more lot, the house's: give it last, and take its part off again.
    """
    shares = largest_remainder(came_back_mg, list(own_mg))
    lots = tuple(min(share, own) for share, own in zip(shares, own_mg, strict=True))
    return Shares(lots, came_back_mg - sum(lots))


def assayed(melt_g: Exact, assay_ppt: Mapping[str, Exact]) -> Mapping[str, Exact]:
    """A lot's own fine weight of each metal: melt weight less drillings taken × assay (H3)."""
    return {metal: melt_g * ppt / 1000 for metal, ppt in assay_ppt.items()}
