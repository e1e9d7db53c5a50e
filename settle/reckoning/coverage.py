"""How many bars a lot covers, before they are poured (E4).

By what the house will answer for: from the items, once assayed from melt weight and assay, and
once the metal is closed from its account, which is one figure in all three cases.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from settle.reckoning.band import Fine, band
from settle.reckoning.bars import Placed, Poured, Wishes, bound_fault, place, plan
from settle.reckoning.batch import Weighed
from settle.reckoning.exact import Exact, plain
from settle.reckoning.item import Item
from settle.reckoning.parting import Need
from settle.reckoning.problems import Fault
from settle.reckoning.quote import Request, bands_of
from settle.reckoning.statement import accountable_mg
from settle.reckoning.terms import CASES, Terms
from settle.reckoning.weight import in_grams, printed
from settle.reckoning.working import SILENT

ITEMS, ASSAY, ACCOUNT = "items", "assay", "account"


@dataclass(frozen=True, slots=True)
class Covered:
    """What a lot's wishes for bars of one metal rest on: accountable milligrams by case."""

    rests_on: str
    accountable_mg: Mapping[str, int]

    def places(self, wishes: Wishes, poured: Sequence[Poured]) -> Placed:
        """Bars as they are poured, against the most that the lot may come to."""
        return place(wishes, poured, self.accountable_mg["high"])


def by_items(terms: Terms, items: tuple[Item, ...]) -> dict[str, Covered]:
    """Before the assay: the band of the items (C4)."""
    _, _, bands = bands_of(Request(terms, items, {}, {}), SILENT)
    return {m: _in_cases(ITEMS, terms, m, of.recovered_g) for m, of in bands.items()}


def too_many(terms: Terms, items: tuple[Item, ...], wishes: Mapping[str, Wishes]) -> list[Fault]:
    """Of each metal the line that fits more bars in the high case than are poured (E1)."""
    covered = by_items(terms, items)
    counts = {
        m: plan(wish, covered[m].accountable_mg["high"]).counts for m, wish in wishes.items() if m in covered
    }
    found = (bound_fault(of_metal, f"/instructions/{metal}") for metal, of_metal in counts.items())
    return [fault for fault in found if fault is not None]


def by_assay(
    terms: Terms, own: Mapping[str, Weighed], needed: Need, credited_mg: Mapping[str, int]
) -> dict[str, Covered]:
    """Once assayed: (melt weight − drillings taken) × agreed assay, its u by H4; drillings that are
    credited count with it (H6)."""
    found = {}
    for metal, weighed in own.items():
        content = Fine(weighed.fine_g, weighed.variance, weighed.weight_g, indicative=False)
        recovered_g = band(terms, metal, content, needed, SILENT).recovered_g
        credited_g = in_grams(credited_mg.get(metal, 0))
        found[metal] = _in_cases(
            ASSAY, terms, metal, {case: r + credited_g for case, r in recovered_g.items()}
        )
    return found


def by_account(terms: Terms, metal: str, recovered_mg: int) -> Covered:
    """Once the metal is closed: R, with drillings that are credited."""
    return _in_cases(ACCOUNT, terms, metal, dict.fromkeys(CASES, in_grams(recovered_mg)))


def _in_cases(rests_on: str, terms: Terms, metal: str, recovered_g: Mapping[str, Exact]) -> Covered:
    rule = terms.metals[metal]
    return Covered(rests_on, {case: accountable_mg(rule, recovered_g[case]) for case in CASES})


def _fitting(of: Covered, wishes: Wishes, case: str) -> tuple[Placed, int]:
    """Bars that fit in a case, without any top-up, and what is left after them, milligrams."""
    alone = Wishes(tuple(replace(line, top_up=False) for line in wishes.lines))
    planned = plan(alone, of.accountable_mg[case])
    return planned, of.accountable_mg[case] - planned.total_mg


def shown(of: Covered, wishes: Wishes, poured: Sequence[Poured], unit: str) -> dict[str, Any]:
    """By line how many bars are covered in each case, without a top-up, and what is left after them."""
    fitting = {case: _fitting(of, wishes, case) for case in CASES}
    return {
        "rests_on": of.rests_on,
        "accountable": {case: printed(mg, unit) for case, mg in of.accountable_mg.items()},
        "lines": [
            {
                "nominal": None if line.nominal_g is None else printed(line.nominal_g, unit),
                "fineness": plain(line.fineness_ppt),
                "count": line.count,
                "top_up": line.top_up,
                "poured": sum(bar.line == i for bar in poured),
                "covered": {case: planned.counts[i] for case, (planned, _) in fitting.items()},
            }
            for i, line in enumerate(wishes.lines)
        ],
        "left": {case: printed(left_mg, unit) for case, (_, left_mg) in fitting.items()},
    }


def fault(of: Covered, wishes: Wishes, placed: Placed, terms: Terms, line: int) -> Fault:
    """That a bar is not covered: how many of its line are at most, and what is left after them; or by
    how much it holds more than its line takes (E4)."""
    right = 'no more bars than are covered, or an owner\'s word: "override": {"reason": …}'
    if not placed.excess_is_too_much(terms):
        given = plain(in_grams(placed.given_too_much_mg(terms)), 3)
        wrong = f"with it the bars would hold {given} g more than the client is due"
        return Fault("bar-not-covered", "/line", wrong, right)
    planned, left_mg = _fitting(of, wishes, "high")
    count = planned.counts[line]
    by = {ITEMS: "its items", ASSAY: "its assay", ACCOUNT: "its account"}[of.rests_on]
    bars, left = f"{count} bar{'' if count == 1 else 's'}", plain(in_grams(left_mg), 3)
    wrong = f"by {by} the lot covers at most {bars} of line {line}, with {left} g left over"
    return Fault("bar-not-covered", "/line", wrong, right)
