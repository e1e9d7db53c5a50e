"""The tariff: charges with their bases (F1), and tax codes (F2), as the terms give them."""

from collections.abc import Mapping
from dataclasses import dataclass

from settle.reckoning.exact import ZERO, Exact
from settle.reckoning.reading import Reader
from settle.reckoning.tables import PRICE_UNITS
from settle.reckoning.weight import unit_fault

WEIGHT_BASES = ("gross_weight", "melt_weight", "fine_weight", "silver_lent")
BASES = ("lot", *WEIGHT_BASES, "bar", "article", "value")
TAX_CLASSES = ("standard", "reduced", "zero", "exempt", "outside", "reverse_charge")
CHARGED_CLASSES = ("standard", "reduced")


@dataclass(frozen=True, slots=True)
class Charge:
    """A charge and its base (F1). `rate` and `minimum` are money, or a share for `value`."""

    name: str
    base: str
    per: str | None
    metal: str | None
    rate: Exact
    minimum: Exact
    tiers: tuple[tuple[Exact, Exact], ...]
    tiering: str
    tax: str | None


@dataclass(frozen=True, slots=True)
class Tax:
    """A tax code (F2); `rate` counts only in the classes that are charged."""

    code: str
    rate: Exact
    tax_class: str


def read_tax(code: str, inner: Reader) -> Tax:
    return Tax(code, inner.share("rate"), inner.word("class", TAX_CLASSES))


def tax_code(inner: Reader, name: str, taxes: Mapping[str, Tax]) -> str | None:
    if not inner.has(name):
        return None
    code = inner.text(name)
    if code and code not in taxes:
        known = ", ".join(taxes) or "define it under taxes"
        inner.fault(name, "unknown-reference", f'no tax code "{code[:30]}"', known)
    return code


def read_charge(inner: Reader, metals: tuple[str, ...], taxes: Mapping[str, Tax]) -> Charge:
    base = inner.word("base", BASES)
    per = inner.text("per", "") or None
    if base in WEIGHT_BASES:
        if per is None:
            inner.missing("per", "one of " + " ".join(PRICE_UNITS))
        elif fault := unit_fault(per, inner.at("per"), price=True):
            inner.faults.extend([fault])
            per = "g"
    elif per is not None and base == inner.data.get("base"):
        inner.fault("per", "contradiction", f"base {base} has no unit of weight", "leave it out")
    metal = inner.text("metal", "") or None
    if base == "fine_weight" and metal not in metals:
        inner.fault("metal", "unknown-metal", "not a metal of these terms", "one of " + ", ".join(metals))
    if base != "fine_weight" and metal is not None:
        inner.fault("metal", "contradiction", f"base {base} is of no metal", "leave it out")
    return Charge(
        name=inner.text("name"),
        base=base,
        per=per or ("g" if base in WEIGHT_BASES else None),
        metal=metal,
        rate=inner.decimal("rate"),
        minimum=inner.decimal("minimum", ZERO),
        tiers=_tiers(inner),
        tiering=inner.word("tiering", ("whole", "marginal"), "whole"),
        tax=tax_code(inner, "tax", taxes),
    )


def _tiers(inner: Reader) -> tuple[tuple[Exact, Exact], ...]:
    tiers: list[tuple[Exact, Exact]] = []
    for tier in inner.objects("tiers"):
        start = tier.decimal("from")
        if start <= (tiers[-1][0] if tiers else ZERO):
            tier.fault("from", "contradiction", "not above the tier before", "tiers that ascend, above 0")
        tiers.append((start, tier.decimal("rate")))
    return tuple(tiers)
