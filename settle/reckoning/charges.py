"""A charge and its base (F1), and tax by code (F2)."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from settle.reckoning.exact import ONE, ZERO, Exact, plain
from settle.reckoning.money import amount, minor_units
from settle.reckoning.tariff import CHARGED_CLASSES, WEIGHT_BASES, Charge, Tax
from settle.reckoning.terms import Terms
from settle.reckoning.weight import GRAMS_PER, in_grams
from settle.reckoning.working import Working


@dataclass(frozen=True, slots=True)
class Quantities:
    """What charges are made on, besides the metal itself: grams, and a count of articles."""

    gross_g: Exact
    melt_g: Exact
    silver_lent_g: Exact
    articles: int


@dataclass(frozen=True, slots=True)
class ChargeLine:
    """One charge as printed. `tier` is the start of the tier that priced it, if one did;
    `parts` are (quantity, rate) of marginal tiers."""

    charge: Charge
    quantity: Exact
    rate: Exact
    tier: Exact | None
    parts: tuple[tuple[Exact, Exact], ...]
    minimum_applied: bool
    amount_minor: int


@dataclass(frozen=True, slots=True)
class TaxLine:
    """Tax of one code: taxed lines added, multiplied, rounded once (F2)."""

    tax: Tax
    base_minor: int
    amount_minor: int


@dataclass(frozen=True, slots=True)
class _Priced:
    exact: Exact
    rate: Exact
    tier: Exact | None
    parts: tuple[tuple[Exact, Exact], ...] = ()


def quantity(
    charge: Charge, quantities: Quantities, accountable_mg: Mapping[str, int], bars: int, value: Exact
) -> Exact:
    """The quantity of a charge in its own unit, exact (F1)."""
    if charge.base in WEIGHT_BASES:
        weight_g = {
            "gross_weight": quantities.gross_g,
            "melt_weight": quantities.melt_g,
            "silver_lent": quantities.silver_lent_g,
            "fine_weight": in_grams(accountable_mg.get(charge.metal or "", 0)),
        }[charge.base]
        return weight_g / GRAMS_PER[charge.per or "g"]
    counted = {"lot": ONE, "bar": Exact(bars), "article": Exact(quantities.articles), "value": value}
    return counted[charge.base]


def charge_line(charge: Charge, of: Exact, currency: str, working: Working) -> ChargeLine | None:
    """The line of one charge; none for a quantity of zero, minimum or not, or an amount of zero (F1)."""
    if of == 0:
        return None
    priced = _marginal(charge, of) if charge.tiering == "marginal" else _whole(charge, of)
    least = minor_units(charge.minimum, currency)
    rounded = minor_units(priced.exact, currency)
    line = ChargeLine(
        charge, of, priced.rate, priced.tier, priced.parts, rounded < least, max(rounded, least)
    )
    working.note(
        f"charge: {charge.name}, {currency}",
        "F1",
        "charged as × rate, or the parts of marginal tiers added; at least the minimum",
        priced.exact,
        amount(line.amount_minor, currency),
        base=charge.base.replace("_", " "),
        quantity=of,
        charged_as=of if priced.tier is None else max(of, priced.tier),
        rate=priced.rate,
        minimum=charge.minimum,
        parts=_parts(priced),
    )
    return line if line.amount_minor else None


def _parts(priced: _Priced) -> str:
    """Marginal tiers, part by part, as one input of the working."""
    return " + ".join(f"{plain(quantity)} × {plain(rate)}" for quantity, rate in priced.parts) or "none"


def _whole(charge: Charge, of: Exact) -> _Priced:
    """The tier reached rates all of it, but never more than the start of a higher tier would cost."""
    best = _Priced(of * charge.rate, charge.rate, None)
    for start, rate in charge.tiers:
        if start <= of:
            best = _Priced(of * rate, rate, start)
        elif start * rate < best.exact:
            best = _Priced(start * rate, rate, start)
    return best


def _marginal(charge: Charge, of: Exact) -> _Priced:
    """Each part at its own rate."""
    starts = [ZERO, *(start for start, _ in charge.tiers)]
    rates = [charge.rate, *(rate for _, rate in charge.tiers)]
    ends = [*starts[1:], of]
    parts = tuple(
        (min(end, of) - start, rate)
        for start, end, rate in zip(starts, ends, rates, strict=True)
        if start < of
    )
    reached = [start for start in starts[1:] if start <= of]
    total = sum((part * rate for part, rate in parts), ZERO)
    return _Priced(total, charge.rate, reached[-1] if reached else None, parts)


def tax_lines(terms: Terms, taxed: Iterable[tuple[str | None, int]], working: Working) -> tuple[TaxLine, ...]:
    """Tax per code of (code, amount) lines, in the order of the terms (F2)."""
    bases: dict[str, int] = {}
    for code, minor in taxed:
        if code is not None:
            bases[code] = bases.get(code, 0) + minor
    lines = []
    for code, tax in terms.taxes.items():
        if code not in bases:
            continue
        rate = tax.rate if tax.tax_class in CHARGED_CLASSES else ZERO
        minor = _tax(terms.currency, code, bases[code], rate, working)
        lines.append(TaxLine(tax, bases[code], minor))
    return tuple(lines)


def _tax(currency: str, code: str, base_minor: int, rate: Exact, working: Working) -> int:
    base = amount(base_minor, currency)
    exact = Exact(base) * rate
    minor = minor_units(exact, currency)
    working.note(
        f"tax: {code}, {currency}",
        "F2",
        "taxed lines added × rate",
        exact,
        amount(minor, currency),
        base=base,
        rate=rate,
    )
    return minor
