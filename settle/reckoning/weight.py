"""Weight: units at the edge, grams inside (A1), and how weights are printed (A2, A8).

The only room that knows Pint. Pint is the authority on factors; numbers and
unit names are read by us, strictly, because its own parser guesses.
"""

from collections.abc import Callable, Mapping
from fractions import Fraction

import pint

from settle.reckoning.exact import Exact, down, fixed, half_even, plain
from settle.reckoning.problems import Fault
from settle.reckoning.tables import AMBIGUOUS_UNITS, PRICE_UNITS, UNITS


def _factors() -> Mapping[str, Exact]:
    """Grams in one of each unit, from a private registry that knows our units only."""
    registry: pint.UnitRegistry[Fraction] = pint.UnitRegistry(None, non_int_type=Fraction)
    registry.define("g = [mass]")
    for unit in UNITS[1:]:
        amount, base = unit.definition.split()
        registry.define(f"{unit.name} = {amount} * {base}")
    return {u.name: Fraction(registry.Quantity(1, u.name).to("g").magnitude) for u in UNITS}


GRAMS_PER: Mapping[str, Exact] = _factors()
MG_PER_G = 1000


def grams(amount: Exact, unit: str) -> Exact:
    """`amount` of `unit` in grams, exactly (A1). The unit is one of `GRAMS_PER`."""
    return amount * GRAMS_PER[unit]


def unit_fault(unit: str, pointer: str, *, price: bool = False) -> Fault | None:
    """What is wrong with a unit's name, if anything (A1)."""
    allowed = PRICE_UNITS if price else tuple(GRAMS_PER)
    if unit in allowed:
        return None
    if unit in AMBIGUOUS_UNITS:
        meant = [m for m in AMBIGUOUS_UNITS[unit] if m in allowed] or list(allowed)
        which = " or ".join(f'"{m}"' for m in meant)
        return Fault("ambiguous-unit", pointer, f'"{unit}" alone is not clear', f"say which: {which}")
    return Fault("unknown-unit", pointer, f'no unit "{unit[:20]}" here', "one of " + " ".join(allowed))


def milligrams(weight_g: Exact) -> int:
    """Whole milligrams, half to even (A2)."""
    return half_even(weight_g, 3)


def milligrams_down(weight_g: Exact) -> int:
    """Whole milligrams, down: what is stated, or taken by a bar, is never more than is there (A2, A6, E1)."""
    return down(weight_g, 3)


def in_grams(weight_mg: int) -> Exact:
    """Grams of whole milligrams."""
    return Fraction(weight_mg, MG_PER_G)


def places(unit: str) -> int:
    """Places to which a weight in `unit` is shown (A8)."""
    return 5 if unit == "ozt" else 3


def printed(weight: Exact | int, unit: str = "g") -> dict[str, str]:
    """A weight as answers print it: grams, and the terms' unit beside it when another.

    An `int` is whole milligrams, a fraction exact grams.
    """
    weight_g = in_grams(weight) if isinstance(weight, int) else weight
    return {"g": fixed(milligrams(weight_g), 3), **_beside(weight_g, unit)}


def printed_down(weight: Exact | int, unit: str = "g") -> dict[str, str]:
    """As `printed`, but never more than it is: what a bar states (A6, A8)."""
    weight_g = in_grams(weight) if isinstance(weight, int) else weight
    return {"g": fixed(milligrams_down(weight_g), 3), **_beside(weight_g, unit, down)}


def printed_exactly(weight_g: Exact, unit: str = "g") -> dict[str, str]:
    """As `printed`, but grams with all their places: what a verdict rests on (H4)."""
    return {"g": plain(weight_g, 3), **_beside(weight_g, unit)}


def _beside(weight_g: Exact, unit: str, rounding: Callable[[Exact, int], int] = half_even) -> dict[str, str]:
    if unit == "g":
        return {}
    return {unit: fixed(rounding(weight_g / GRAMS_PER[unit], places(unit)), places(unit))}
