"""A concession: one rate of the terms replaced for one quote, with its reason (F5)."""

from collections.abc import Iterable
from dataclasses import replace
from typing import Any

from settle.reckoning.exact import Exact, plain
from settle.reckoning.problems import Faults, at
from settle.reckoning.reading import Json, Reader
from settle.reckoning.terms import Terms

REPLACED = ("payout_rate", "accountable", "charge")


def concede(terms: Terms, made: Iterable[Json], faults: Faults, pointer: str = "/concessions") -> Terms:
    """The terms with each of some concessions made, in their order; faults are gathered."""
    for i, data in enumerate(made):
        terms = conceded(terms, Reader(data, faults, at(pointer, i)))
    return terms


def conceded(terms: Terms, r: Reader) -> Terms:
    """The terms with one concession `{replaces, metal | charge, rate, minimum}` made."""
    replaces = r.word("replaces", REPLACED)
    return _charge(terms, r) if replaces == "charge" else _rate(terms, replaces, r)


def _rate(terms: Terms, replaces: str, r: Reader) -> Terms:
    metal, rate = r.text("metal"), r.share("rate")
    for field in ("charge", "minimum"):
        if r.has(field):
            r.fault(field, "contradiction", f"{replaces} is of a metal", "leave it out")
    if metal not in terms.metals:
        if metal:
            right = "one of " + ", ".join(terms.metals)
            r.fault("metal", "unknown-metal", f'"{metal[:20]}" is not in the terms', right)
        return terms
    old = terms.metals[metal]
    new = replace(old, payout_rate=rate) if replaces == "payout_rate" else replace(old, accountable=rate)
    return replace(terms, metals={**terms.metals, metal: new})


def _charge(terms: Terms, r: Reader) -> Terms:
    """One rate serves all of the quantity, without tiers; the minimum stays unless it is conceded too."""
    name, rate = r.text("charge"), r.decimal("rate")
    if r.has("metal"):
        r.fault("metal", "contradiction", "a charge is named by its name", "leave it out")
    old = next((charge for charge in terms.charges if charge.name == name), None)
    if old is None:
        if name:
            right = "one of " + (", ".join(charge.name for charge in terms.charges) or "no charge")
            r.fault("charge", "unknown-reference", f'the terms know no charge "{name[:30]}"', right)
        return terms
    new = replace(old, rate=rate, tiers=(), minimum=r.decimal("minimum", old.minimum))
    return replace(terms, charges=tuple(new if charge is old else charge for charge in terms.charges))


def is_worse(old: Terms, new: Terms) -> bool:
    """Whether a rate is worse for the client than it was, whatever the lot comes to. Of a charge that had
    tiers that is not told by its rate."""
    rates = ((old.metals[m], new.metals[m]) for m in old.metals)
    if any(b.payout_rate < a.payout_rate or b.accountable < a.accountable for a, b in rates):
        return True
    charges = zip(old.charges, new.charges, strict=True)
    return any(b.minimum > a.minimum or (b.rate > a.rate and not a.tiers) for a, b in charges)


def shown_all(terms: Terms, made: Iterable[Json]) -> list[dict[str, Any]]:
    """Concessions as documents print them, each beside the rate of the terms that it replaces."""
    kept = ("replaces", "metal", "charge", "rate", "minimum", "reason")
    return [
        {**{k: data[k] for k in kept if k in data}, "instead_of": plain(_before(terms, data))}
        for data in made
    ]


def _before(terms: Terms, data: Json) -> Exact:
    if data["replaces"] == "charge":
        return next(charge.rate for charge in terms.charges if charge.name == data["charge"])
    rule = terms.metals[data["metal"]]
    return rule.payout_rate if data["replaces"] == "payout_rate" else rule.accountable
