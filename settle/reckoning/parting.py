"""Parting silver: what must be melted in so that gold is about a quarter (H1)."""

from dataclasses import dataclass

from settle.reckoning.exact import ZERO, Exact
from settle.reckoning.fineness import WHOLE_PPT
from settle.reckoning.terms import Terms
from settle.reckoning.working import Working


@dataclass(frozen=True, slots=True)
class Need:
    """House silver that a melt needs, grams: as weighed, and the fine silver in it."""

    weight_g: Exact = ZERO
    fine_g: Exact = ZERO


def is_parted(terms: Terms) -> bool:
    """Gold is parted unless it is bought over the counter (H1)."""
    gold = terms.metals.get("gold")
    return gold is None or gold.settle_on != "counter"


def need(terms: Terms, gold_fine_g: Exact, melt_g: Exact, working: Working) -> Need:
    """max(0, (fine gold − target × melt) ÷ (target − gold fraction of the house silver)) (H1)."""
    if not is_parted(terms):
        return Need()
    house_gold = terms.house_gold_ppt / WHOLE_PPT
    missing = gold_fine_g - terms.parting_target * melt_g
    weight = max(ZERO, missing / (terms.parting_target - house_gold))
    fine = weight * terms.house_silver_ppt / WHOLE_PPT
    working.note(
        "parting silver needed, g",
        "H1",
        "max(0, (fine gold − target × melt weight) ÷ (target − gold fraction of the house silver))",
        weight,
        fine_gold=gold_fine_g,
        target=terms.parting_target,
        melt_weight=melt_g,
        gold_fraction_of_the_house_silver=house_gold,
    )
    return Need(weight, fine)
