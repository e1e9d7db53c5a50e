"""F1, F2: a charge on its base, a tax on its lines."""

from fractions import Fraction

from .quantities import GRAMS, half_away, to_minor

NOT_CHARGED = {"zero", "exempt", "outside", "reverse_charge"}


def charge_amount(
    charge: dict, metals: dict, quantities: dict, prices: dict[str, Fraction], currency: str
) -> int:
    """F1, in minor units; 0 where there is nothing to charge."""
    quantity = charge_quantity(charge, metals, quantities, prices)
    if quantity == 0:
        return 0
    minimum = to_minor(Fraction(charge.get("minimum", "0")), currency)
    return max(to_minor(rated(charge, quantity), currency), minimum)


def charge_quantity(charge: dict, metals: dict, quantities: dict, prices: dict[str, Fraction]) -> Fraction:
    base = charge["base"]
    if base == "lot":
        return Fraction(1)
    if base == "bar":
        return Fraction(quantities["bars"])
    if base == "article":
        return Fraction(quantities["articles"])
    if base == "value":
        accounted = [(f["accountable"], m) for m, f in metals.items() if f["accountable"]]
        return sum((a * prices[m] for a, m in accounted), Fraction(0))
    if base == "fine_weight":
        in_grams = metals.get(charge["metal"], {}).get("accountable", Fraction(0))
    else:
        name = {"gross_weight": "gross", "melt_weight": "melt", "silver_lent": "need"}[base]
        in_grams = quantities[name]
    return in_grams / GRAMS[charge["per"]]


def rated(charge: dict, quantity: Fraction) -> Fraction:
    """Quantity at its rate or rates."""
    steps = [(Fraction(0), Fraction(charge["rate"]))]
    steps += [(Fraction(t["from"]), Fraction(t["rate"])) for t in charge.get("tiers", [])]
    if charge.get("tiering", "whole") == "marginal":
        ends = [start for start, _ in steps[1:]] + [max(quantity, steps[-1][0])]
        return sum(
            (max(0, min(quantity, end) - start) * rate)
            for (start, rate), end in zip(steps, ends, strict=True)
        )
    reached = [rate for start, rate in steps if start <= quantity][-1]
    higher = [start * rate for start, rate in steps if start > quantity]
    return min([quantity * reached, *higher])


def taxes_of(codes: dict, lines: list[tuple[str | None, int]]) -> dict[str, int]:
    """F2: per code the lines added, multiplied, rounded once; minor units."""
    bases: dict[str, int] = {}
    for code, amount in lines:
        if code is not None:
            bases[code] = bases.get(code, 0) + amount
    return {code: tax(codes[code], base) for code, base in bases.items()}


def tax(code: dict, base: int) -> int:
    if code["class"] in NOT_CHARGED:
        return 0
    return half_away(base * Fraction(code["rate"]))
