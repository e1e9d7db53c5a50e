"""Exact numbers: strict decimals in, fractions inside, the few named roundings out.

The only room that knows what an exact number is made of. Everything else says
`Exact`, adds, multiplies and compares, and comes here to read, round or print.
"""

import re
from fractions import Fraction
from math import isqrt

Exact = Fraction
ZERO = Fraction(0)
ONE = Fraction(1)
HALF = Fraction(1, 2)

_DECIMAL = re.compile(r"(0|[1-9][0-9]{0,11})(?:\.([0-9]{1,9}))?", re.ASCII)
# As `plain` writes it; longer than any figure that comes of what requests may say.
_PLAIN = re.compile(r"-?[0-9]+(?:\.[0-9]+|/[1-9][0-9]*)?", re.ASCII)
_MOST_PLAIN = 1000
_PART = re.compile(r"([1-9][0-9]?|100)/([1-9][0-9]?|100)", re.ASCII)

DECIMAL_IN_WORDS = (
    'a decimal string such as "31.42": up to 12 digits, then at most 9 after a point; '
    "no sign, exponent, space or other digits"
)
SIGNED_DECIMAL_IN_WORDS = DECIMAL_IN_WORDS.replace("no sign,", "a minus may lead, no")


def decimal(text: str) -> Exact:
    """The exact value of a strict decimal string (A7); `ValueError` for anything else."""
    # An over-long text is refused before the pattern sees it: a million digits cost nothing.
    match = _DECIMAL.fullmatch(text) if len(text) <= 22 else None
    if match is None:
        raise ValueError("not a decimal string")
    whole, places = match[1], match[2]
    return Fraction(int(whole + places), 10 ** len(places)) if places else Fraction(int(whole))


def signed_decimal(text: str) -> Exact:
    """As `decimal`, but a minus may lead (A7: `bias` alone)."""
    return -decimal(text[1:]) if text.startswith("-") else decimal(text)


def part(text: str) -> Exact:
    """A filled part: a decimal, or `n/d` of at most 100 each (A7); `ValueError` for anything else."""
    match = _PART.fullmatch(text) if len(text) <= 7 else None
    return Fraction(int(match[1]), int(match[2])) if match else decimal(text)


def exactly(text: str) -> Exact:
    """Any exact figure as `plain` writes it, however many places it has; `ValueError` for anything else.

    Not for requests: they are held to A7.
    """
    if len(text) > _MOST_PLAIN or not _PLAIN.fullmatch(text):
        raise ValueError(f'"{text[:30]}" is no figure')
    return Fraction(text)


def half_even(value: Exact, places: int) -> int:
    """`value` in units of 10^-places, nearest, half to even (A2, A8; ISO 80000-1 B)."""
    return round(value * int(10**places))


def half_away(value: Exact, places: int) -> int:
    """`value` in units of 10^-places, nearest, half away from zero (A3)."""
    scaled = value * int(10**places)
    nearest = (2 * abs(scaled.numerator) + scaled.denominator) // (2 * scaled.denominator)
    return nearest if scaled >= 0 else -nearest


def down(value: Exact, places: int) -> int:
    """`value` in units of 10^-places, down (A6, A8)."""
    return int(value * int(10**places) // 1)


def down_to(value: Exact, step: Exact) -> Exact:
    """The greatest multiple of `step` not above `value` (A6)."""
    return (value // step) * step


def root(value: Exact, places: int = 12) -> Exact:
    """Square root of a value not below zero, to `places` decimals, half to even (C3)."""
    scale: int = 10**places
    scaled = value * scale * scale
    floor = isqrt(scaled.numerator // scaled.denominator)
    midpoint = Fraction(2 * floor + 1, 2) ** 2
    if scaled > midpoint or (scaled == midpoint and floor % 2):
        floor += 1
    return Fraction(floor, scale)


def within(value: Exact, least: Exact, most: Exact) -> Exact:
    """`value`, kept within two bounds."""
    return min(max(value, least), most)


def largest_remainder(whole: int, weights: list[int]) -> list[int]:
    """Parts of `whole` in proportion to `weights`, by largest remainder (A5).

    The earlier part is first at a tie. All weights zero: all parts are zero,
    and the caller says whose the whole is.
    """
    total = sum(weights)
    if total == 0:
        return [0] * len(weights)
    parts = [whole * w // total for w in weights]
    by_remainder = sorted(range(len(weights)), key=lambda i: -(whole * weights[i] % total))
    for i in by_remainder[: whole - sum(parts)]:
        parts[i] += 1
    return parts


def fixed(units: int, places: int) -> str:
    """`units` of 10^-places as text with exactly that many places."""
    if places == 0:
        return str(units)
    sign, digits = "-" if units < 0 else "", str(abs(units)).rjust(places + 1, "0")
    return f"{sign}{digits[:-places]}.{digits[-places:]}"


def shown(value: Exact, places: int) -> str:
    """A figure that is only shown (A8): rounded half to even, trailing zeros dropped."""
    text = fixed(half_even(value, places), places)
    return text.rstrip("0").rstrip(".") if "." in text else text


def plain(value: Exact, least_places: int = 0) -> str:
    """The exact value: a decimal where it ends (with `least_places` at least), else a fraction `n/d`."""
    rest, twos, fives = value.denominator, 0, 0
    while rest % 2 == 0:
        rest, twos = rest // 2, twos + 1
    while rest % 5 == 0:
        rest, fives = rest // 5, fives + 1
    if rest != 1:
        return f"{value.numerator}/{value.denominator}"
    places = max(twos, fives, least_places)
    return fixed(value.numerator * 10**places // value.denominator, places)
