"""Low, likely, high: how much fine metal a lot holds and how much of it comes back (C)."""

from collections.abc import Mapping
from dataclasses import dataclass

from settle.reckoning.exact import ZERO, Exact, root, within
from settle.reckoning.fineness import WHOLE_PPT
from settle.reckoning.item import Item
from settle.reckoning.parting import Need
from settle.reckoning.recovered import expected, slopes
from settle.reckoning.terms import CASES, Terms
from settle.reckoning.working import Working

_COVERAGE = {"low": -2, "likely": 0, "high": 2}


@dataclass(frozen=True, slots=True)
class Fine:
    """Likely fine weight of one metal in all items, its variance, and what it can't exceed (C2, C4)."""

    likely_g: Exact
    variance: Exact
    most_g: Exact
    indicative: bool


@dataclass(frozen=True, slots=True)
class Band:
    """Fine weight and R of one metal in the three cases, grams, and their standard uncertainties."""

    fine_g: Mapping[str, Exact]
    recovered_g: Mapping[str, Exact]
    fine_u_g: Exact
    recovered_u_g: Exact


def fine(metal: str, items: tuple[Item, ...], working: Working, *, credited_only: bool = False) -> Fine:
    """Σ of the items that hold the metal (B4), and the variance of the sum (C2).

    `credited_only` leaves out what is indicative: only an assay credits it (B5).
    """
    likely = variance = most = ZERO
    shared: dict[str, Exact] = {}
    indicative = False
    for item in items:
        for h in item.holds:
            if h.metal != metal or (credited_only and h.indicative):
                continue
            alloy_g = item.alloy_g
            likely += item.fine_g(h)
            most += alloy_g
            variance += (item.filled_part * h.likely_ppt / WHOLE_PPT) ** 2 * item.net_variance
            variance += (alloy_g / WHOLE_PPT) ** 2 * h.scatter2 / item.count
            shared[h.kind] = shared.get(h.kind, ZERO) + alloy_g / WHOLE_PPT * h.shared_ppt
            indicative = indicative or h.indicative
            _note_item(metal, item, h.likely_ppt, working)
    variance += sum((s**2 for s in shared.values()), ZERO)
    return Fine(likely, variance, most, indicative)


def _note_item(metal: str, item: Item, likely_ppt: Exact, working: Working) -> None:
    if working.kept:
        working.note(
            f"{metal} in {item.description or 'an item'}, g",
            "B4",
            "net × filled part × likely fineness ÷ 1000",
            item.alloy_g * likely_ppt / WHOLE_PPT,
            net=item.net_g,
            filled_part=item.filled_part,
            likely_fineness=likely_ppt,
        )


def band(terms: Terms, metal: str, content: Fine, need: Need, working: Working) -> Band:
    """The three cases of fine weight and R (C3, C4)."""
    rule = terms.metals[metal]
    fine_u = root(content.variance)
    fines = {
        case: within(content.likely_g + k * fine_u, ZERO, content.most_g) for case, k in _COVERAGE.items()
    }
    if rule.settle_on == "counter":
        # Bought as it lies: one figure, the case that the terms name, bounded by none of the three.
        bought = fines[terms.purchase_case]
        working.note(
            f"{metal} bought, g",
            "D1",
            "counter: the fine weight of the case that the terms name",
            bought,
            case=terms.purchase_case,
            likely=content.likely_g,
            u=fine_u,
            most=content.most_g,
        )
        return Band(fines, dict.fromkeys(CASES, bought), fine_u, ZERO)
    by_fine, by_recovery = slopes(terms, metal, content.likely_g, need)
    variance = by_fine**2 * content.variance + by_recovery**2 * rule.recovery_u**2
    recovered_u = root(variance)
    # Bounds come after the band (C3): the middle is the R of D1 before it is kept within them.
    middle = expected(terms, metal, content.likely_g, need)
    recovered = {case: within(middle + k * recovered_u, ZERO, fines[case]) for case, k in _COVERAGE.items()}
    _note_expected(terms, metal, content.likely_g, need, middle, working)
    _note_band(metal, content, middle, (fine_u, recovered_u), fines, recovered, working)
    return Band(fines, recovered, fine_u, recovered_u)


def _note_expected(
    terms: Terms, metal: str, fine_g: Exact, need: Need, middle: Exact, working: Working
) -> None:
    """How R comes of fine metal and recovery (D1)."""
    rule = terms.metals[metal]
    what = f"{metal} expected back, g"
    if rule.settle_on == "assay":
        working.note(what, "D1", "on assay: the fine weight", middle, fine_weight=fine_g)
    elif metal == "silver" and terms.silver_rule == "house_first":
        words = "fine weight − (fine weight + parting silver needed) × (1 − recovery)"
        working.note(
            what,
            "D1",
            words,
            middle,
            fine_weight=fine_g,
            parting_silver_needed=need.fine_g,
            recovery=rule.recovery,
        )
    else:
        words = "fine weight × recovery"
        working.note(what, "D1", words, middle, fine_weight=fine_g, recovery=rule.recovery)


def _note_band(
    metal: str,
    content: Fine,
    middle: Exact,
    us: tuple[Exact, Exact],
    fines: Mapping[str, Exact],
    recovered: Mapping[str, Exact],
    working: Working,
) -> None:
    if not working.kept:
        return
    fine_u, recovered_u = us
    working.note(f"u of fine {metal}, g", "C2", "root of the variance", fine_u, variance=content.variance)
    working.note(f"u of {metal} recovered, g", "C3", "root of the variance", recovered_u)
    for case in CASES:
        of_case = working.of_case(case)
        of_case.note(
            f"fine {metal}, g",
            "C4",
            "likely ± 2u, kept within 0 and the weight of the alloys that hold it",
            fines[case],
            likely=content.likely_g,
            u=fine_u,
            most=content.most_g,
        )
        of_case.note(
            f"{metal} recovered, g",
            "C4",
            "R ± 2u, kept within 0 and the fine weight of the case",
            recovered[case],
            r=middle,
            u=recovered_u,
            fine_weight=fines[case],
        )
