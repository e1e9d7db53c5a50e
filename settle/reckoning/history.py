"""What became of lots and batches, as equations: what was found against what was read.

Each assayed lot is one equation a metal: what the assay found, less what was read, is a sum over
the kinds of evidence in it, so that a lot of several kinds speaks for all of them. What is known
of the scales (C1) and of the assay stands beside. Parts per thousand; variances their squares.
"""

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, replace

from settle.reckoning.band import fine
from settle.reckoning.batch import Weighed
from settle.reckoning.exact import ZERO, Exact
from settle.reckoning.fineness import WHOLE_PPT
from settle.reckoning.fit import Equation, Name
from settle.reckoning.item import Holding, Item, Scale, read_items
from settle.reckoning.problems import NO_FAULTS
from settle.reckoning.reading import Json
from settle.reckoning.terms import ALLOY_TABLE, Terms
from settle.reckoning.working import SILENT

# A kind of evidence, or a kind and a mark of it.
Key = tuple[str, str]
SCATTER, SHARED = "scatter", "shared"


@dataclass(frozen=True, slots=True)
class Seen:
    """An item as it was read, bias left out; the metal that its bias would be of, its mark, and
    whether it says all that it holds."""

    item: Item
    metal: str
    mark: str
    is_whole: bool


@dataclass(frozen=True, slots=True)
class AssayedLot:
    """A lot with what its melt was assayed to hold (drillings with it), and whether the band held that."""

    lot: str
    seen: tuple[Seen, ...]
    found: Mapping[str, Weighed]
    held: Mapping[str, bool]


@dataclass(frozen=True, slots=True)
class Account:
    """One posted account of a metal, from what went in; grams. `measured_variance` is of the
    weighings and assays alone, `recovery` what its terms expected."""

    pot: str
    metal: str
    in_g: Exact
    residual_g: Exact
    measured_variance: Exact
    recovery: Exact


def assayed_lot(
    lot: str, terms: Terms, data: Json, scales: Mapping[str, Scale], found: Mapping[str, Weighed]
) -> AssayedLot:
    """A lot from its items as received (`data` as in a quote), under its own terms."""
    items = read_items(data, terms, scales, NO_FAULTS)
    unbiased = replace(
        terms, evidence={name: replace(kind, bias_ppt=ZERO) for name, kind in terms.evidence.items()}
    )
    read = read_items(data, unbiased, scales, NO_FAULTS)
    seen = tuple(_seen(item, raw) for item, raw in zip(read, data["items"], strict=True))
    return AssayedLot(lot, seen, found, {m: _is_held(m, items, of) for m, of in found.items()})


def _seen(item: Item, raw: Json) -> Seen:
    mark = " ".join((item.stamped or "").split()).casefold()
    return Seen(item, str(raw.get("metal", "gold")), mark, "composition" in raw)


def _is_held(metal: str, items: tuple[Item, ...], of: Weighed) -> bool:
    reckoned = fine(metal, items, SILENT)
    return (of.fine_g - reckoned.likely_g) ** 2 <= 4 * reckoned.variance


def key_of(seen: Seen, holding: Holding, apart: Collection[Key] = ()) -> Key:
    """Under which name a holding is judged: its kind, or kind and mark where that stands `apart`."""
    marked = (holding.kind, seen.mark)
    return marked if marked in apart else (holding.kind, "")


def equation(lot: AssayedLot, metal: str, apart: Collection[Key] = ()) -> Equation | str | None:
    """The equation of a lot for a metal; why it has none; or None where nothing is reckoned of it."""
    holding = [(s, h) for s in lot.seen for h in s.item.holds if h.metal == metal]
    if not holding or metal not in lot.found:
        return None
    if not all(s.item.evidence.reckon for s in lot.seen):
        return "an item went on assay only"
    # A silver or platinum item without gold in its composition is taken to hold none.
    if metal != "gold" and not all(s.is_whole or _says(s, metal) for s in lot.seen):
        return f"an item doesn't say how much {metal} it holds"
    means, spreads, common = dict[Name, Exact](), dict[Name, Exact](), dict[Key, Exact]()
    known, left = lot.found[metal].variance, lot.found[metal].fine_g
    for seen, held in holding:
        name, weight = key_of(seen, held, apart), seen.item.alloy_g / WHOLE_PPT
        left -= weight * held.likely_ppt
        known += (seen.item.filled_part * held.likely_ppt / WHOLE_PPT) ** 2 * seen.item.net_variance
        common[name] = common.get(name, ZERO) + weight
        if held.metal == seen.metal or held.kind == ALLOY_TABLE:
            means[name] = means.get(name, ZERO) + weight
        if held.kind == ALLOY_TABLE:
            # The scatter of a row of the table is the row's own (B5).
            known += weight**2 * held.scatter2 / seen.item.count
        else:
            spreads[name, SCATTER] = spreads.get((name, SCATTER), ZERO) + weight**2 / seen.item.count
    return Equation(left, means, spreads | {(name, SHARED): x**2 for name, x in common.items()}, known)


def _says(seen: Seen, metal: str) -> bool:
    return any(h.metal == metal for h in seen.item.holds)


def articles(lot: AssayedLot, apart: Collection[Key] = ()) -> Mapping[Key, int]:
    """How many articles a lot has of each kind, or of each mark that stands apart."""
    counts: dict[Key, int] = {}
    for seen in lot.seen:
        for name in {key_of(seen, h, apart) for h in seen.item.holds}:
            counts[name] = counts.get(name, 0) + seen.item.count
    return counts


def marks(lot: AssayedLot) -> Iterator[Key]:
    """Each kind and mark in a lot, once."""
    yield from {(h.kind, s.mark) for s in lot.seen for h in s.item.holds if s.mark and h.kind != ALLOY_TABLE}


def of_recovery(account: Account, recovery: Exact) -> Equation:
    """The equation of an account: how far its recovery lay from `recovery`, ‰ of what went in."""
    weight = account.in_g / WHOLE_PPT
    left = account.in_g * (account.recovery - recovery) - account.residual_g
    return Equation(left, {account.metal: weight}, {account.metal: weight**2}, account.measured_variance)
