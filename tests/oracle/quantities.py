"""A: weights in grams, money in minor units, and the few roundings."""

from fractions import Fraction
from math import floor, isqrt

GRAMS = {
    "g": Fraction(1),
    "mg": Fraction(1, 1000),
    "kg": Fraction(1000),
    "ozt": Fraction("31.1034768"),
    "dwt": Fraction("31.1034768") / 20,
    "grain": Fraction("0.06479891"),
    "tola": Fraction("0.06479891") * 180,
    "ct": Fraction(1, 5),
    "oz_av": Fraction("28.349523125"),
    "lb_av": Fraction("453.59237"),
}
NO_MINOR_UNIT = {
    "BIF",
    "CLP",
    "DJF",
    "GNF",
    "ISK",
    "JPY",
    "KMF",
    "KRW",
    "PYG",
    "RWF",
    "UGX",
    "UYI",
    "VND",
    "VUV",
    "XAF",
    "XOF",
    "XPF",
}
THREE_PLACES = {"BHD", "IQD", "JOD", "KWD", "LYD", "OMR", "TND"}


def grams(weight: dict) -> Fraction:
    """A1."""
    return Fraction(weight["amount"]) * GRAMS[weight["unit"]]


def per_gram(price: dict) -> Fraction:
    """A4: money per gram of fine metal."""
    return Fraction(price["amount"]) / GRAMS[price["per"]]


def to_mg(g: Fraction) -> Fraction:
    """A2: grams, to the whole milligram, half to even."""
    return Fraction(round(g * 1000), 1000)


def unrounded(g: Fraction) -> Fraction:
    return g


def half_away(x: Fraction) -> int:
    size = floor(abs(x) + Fraction(1, 2))
    return size if x >= 0 else -size


def places(currency: str) -> int:
    if currency in NO_MINOR_UNIT:
        return 0
    return 3 if currency in THREE_PLACES else 2


def to_minor(amount: Fraction, currency: str) -> int:
    """A3."""
    return half_away(amount * 10 ** places(currency))


def in_money(minor: int, currency: str) -> Fraction:
    return Fraction(minor, 10 ** places(currency))


def shown(x: Fraction, digits: int) -> str:
    """A8: a decimal string of so many places, half to even."""
    whole = round(x * 10**digits)
    sign = "-" if whole < 0 else ""
    text = str(abs(whole)).zfill(digits + 1)
    return sign + (f"{text[:-digits]}.{text[-digits:]}" if digits else text)


def shown_money(minor: int, currency: str) -> str:
    return shown(in_money(minor, currency), places(currency))


def root(variance: Fraction) -> Fraction:
    """C3: the square root to 12 decimals, half to even."""
    scaled = variance * 10**24
    low = isqrt(floor(scaled))
    middle = (low + Fraction(1, 2)) ** 2
    up = scaled > middle or (scaled == middle and low % 2 == 1)
    return Fraction(low + up, 10**12)


def parts(whole: Fraction, weights: list[Fraction]) -> list[Fraction]:
    """A5: whole milligrams by largest remainder; nothing to anyone if all weights are zero."""
    total = sum(weights)
    if total == 0:
        return [Fraction(0) for _ in weights]
    mg = int(whole * 1000)
    quotas = [mg * w / total for w in weights]
    given = [floor(q) for q in quotas]
    by_remainder = sorted(range(len(quotas)), key=lambda i: (given[i] - quotas[i], i))
    for i in by_remainder[: mg - sum(given)]:
        given[i] += 1
    return [Fraction(n, 1000) for n in given]


def within(low: Fraction, x: Fraction, high: Fraction) -> Fraction:
    return max(low, min(x, high))
