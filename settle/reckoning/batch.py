"""The account of a batch, per metal: in, out, expected loss, residual, who is credited (H2 to H4, H7)."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from settle.reckoning.exact import ZERO, Exact, fixed, plain, root, shown
from settle.reckoning.fineness import WHOLE_PPT
from settle.reckoning.recovered import share_gold
from settle.reckoning.silver import Shares, share_out
from settle.reckoning.terms import MetalTerms, Terms
from settle.reckoning.weight import in_grams, milligrams
from settle.reckoning.working import SILENT, Working

AS_EXPECTED = "as expected"
WITHIN_TOLERANCE = "within tolerance"
QUERY = "query"
_VARIANCE = "(assay ÷ 1000)² × weighings × division² ÷ 12 + (weight ÷ 1000)² × variance of the assay"


@dataclass(frozen=True, slots=True)
class Weighed:
    """Metal weighed and assayed: grams, division of the scale, parts per thousand, u² of the assay (‰²), and
    how many weighings its weight is made of: two where drillings were taken off it (H4)."""

    weight_g: Exact
    division_g: Exact
    assay_ppt: Exact
    assay_u2: Exact = ZERO
    weighings: int = 1

    @property
    def fine_g(self) -> Exact:
        return self.weight_g * self.assay_ppt / WHOLE_PPT

    @property
    def fine_mg(self) -> int:
        """Fine metal to A2, as the books take it (H3)."""
        return milligrams(self.fine_g)

    @property
    def high_fine_g(self) -> Exact:
        """Fine weight and twice its u, not above the weight itself: what a batch is planned on (H1)."""
        return min(self.weight_g, self.fine_g + 2 * root(self.variance))

    @property
    def variance(self) -> Exact:
        """Variance of the fine weight, g²: each weighing (d²/12) and the assay (H4)."""
        weighing = (self.assay_ppt / WHOLE_PPT) ** 2 * self.weighings * self.division_g**2 / 12
        return weighing + (self.weight_g / WHOLE_PPT) ** 2 * self.assay_u2


@dataclass(frozen=True, slots=True)
class Held:
    """Fine metal known to stay behind, at its estimate, and the standard uncertainty of that; grams (H6)."""

    estimate_g: Exact
    u_g: Exact = ZERO

    @property
    def fine_mg(self) -> int:
        """The estimate to A2, as the books take it."""
        return milligrams(self.estimate_g)


@dataclass(frozen=True, slots=True)
class LotIn:
    """One lot in a batch: its own metal by the assay that governs (D3), and the fine silver that it
    needed (H1)."""

    lot: str
    own: Weighed
    need_g: Exact = ZERO


@dataclass(frozen=True, slots=True)
class Reconciled:
    """The account of one metal of a batch; milligrams, and exact grams for what is judged."""

    metal: str
    own_mg: tuple[int, ...]
    lent_mg: int
    out_mg: int
    held_mg: int
    shares: Shares
    expected_loss_g: Exact
    residual_g: Exact
    u_g: Exact
    verdict: str

    @property
    def in_mg(self) -> int:
        return sum(self.own_mg) + self.lent_mg

    @property
    def came_back_mg(self) -> int:
        """Weighed out and held in process at its estimate (H3)."""
        return self.out_mg + self.held_mg


def reconcile(
    terms: Terms,
    metal: str,
    lots: Sequence[LotIn],
    lent: Sequence[Weighed],
    out: Sequence[Weighed],
    held: Sequence[Held] = (),
    working: Working = SILENT,
) -> Reconciled:
    """The account of one metal. `lent` is what came with the house silver; Σ R + house share
    = weighed out + held at its estimate (H7)."""
    own_mg = [lot.own.fine_mg for lot in lots]
    lent_mg = sum(loan.fine_mg for loan in lent)
    out_mg, held_mg = sum(o.fine_mg for o in out), sum(h.fine_mg for h in held)
    back_mg = out_mg + held_mg
    shares = _shares(terms, metal, lots, own_mg, lent_mg, back_mg)
    rule, in_g = terms.metals[metal], in_grams(sum(own_mg) + lent_mg)
    residual = in_g * rule.recovery - in_grams(back_mg)
    entered = sum((w.variance for w in [*(lot.own for lot in lots), *lent]), ZERO)
    left = sum((w.variance for w in out), ZERO) + sum((h.u_g**2 for h in held), ZERO)
    u = root(rule.recovery**2 * entered + left + (in_g * rule.recovery_u) ** 2)
    verdict = _verdict(residual, u, rule.balance, in_g)
    _note_residual(working, metal, rule, in_g, in_grams(back_mg), (residual, u), (entered, left))
    _note_shares(terms, metal, lots, own_mg, lent_mg, back_mg, shares, working)
    _note_weighed(working, metal, lots, lent, out, held)
    expected_loss = in_g * (1 - rule.recovery)
    return Reconciled(
        metal, tuple(own_mg), lent_mg, out_mg, held_mg, shares, expected_loss, residual, u, verdict
    )


def _shares(
    terms: Terms, metal: str, lots: Sequence[LotIn], own_mg: list[int], lent_mg: int, back_mg: int
) -> Shares:
    if terms.metals[metal].settle_on == "assay":
        # Each lot is credited its own; the house bears the refining (D1).
        return Shares(tuple(own_mg), back_mg - sum(own_mg))
    if metal == "silver":
        # The need is exact, then whole milligrams (H1, A2).
        need_g = [in_grams(milligrams(lot.need_g)) for lot in lots]
        return share_out(terms.silver_rule, own_mg, need_g, lent_mg, back_mg)
    # Gold that came with the house silver is one more lot, the house's, last (H2).
    of_all = share_gold([*own_mg, lent_mg], back_mg)
    lots_mg = of_all.lots_mg[: len(own_mg)]
    return Shares(lots_mg, back_mg - sum(lots_mg))


def _verdict(residual: Exact, u: Exact, balance: Exact | None, in_g: Exact) -> str:
    """A gain is judged as severely as a loss (H4)."""
    if abs(residual) <= 2 * u:
        return AS_EXPECTED
    if balance is not None and abs(residual) <= balance * in_g:
        return WITHIN_TOLERANCE
    return QUERY


def _note_residual(
    working: Working,
    metal: str,
    rule: MetalTerms,
    in_g: Exact,
    back_g: Exact,
    judged: tuple[Exact, Exact],
    variances: tuple[Exact, Exact],
) -> None:
    residual, u = judged
    entered, left = variances
    working.note(
        f"residual of {metal}, g",
        "H4",
        "in × recovery − came back",
        residual,
        went_in=in_g,
        recovery=rule.recovery,
        came_back=back_g,
        u=u,
    )
    working.note(
        f"u of the residual of {metal}, g",
        "H4",
        "√(recovery² × variance in + variance out and held + (in × recovery u)²)",
        u,
        recovery=rule.recovery,
        variance_in=entered,
        variance_out_and_held=left,
        went_in=in_g,
        recovery_u=rule.recovery_u,
    )


def _note_weighed(
    working: Working,
    metal: str,
    lots: Sequence[LotIn],
    lent: Sequence[Weighed],
    out: Sequence[Weighed],
    held: Sequence[Held],
) -> None:
    """Each weighing that the account rests on, with its u²."""
    if not working.kept:
        return
    named = [(lot.lot, lot.own) for lot in lots]
    named += [(f"loan {i}", of) for i, of in enumerate(lent, 1)]
    named += [(f"outturn {i}", of) for i, of in enumerate(out, 1)]
    for name, of in named:
        weighed: dict[str, Any] = {"weight": of.weight_g, "assay": of.assay_ppt}
        what, formula = f"{metal} in {name}, g", "weight × assay ÷ 1000"
        working.note(what, "H3", formula, of.fine_g, fixed(of.fine_mg, 3), **weighed)
        scale: dict[str, Any] = {
            "weighings": of.weighings,
            "division": of.division_g,
            "variance_of_the_assay": of.assay_u2,
        }
        working.note(f"variance of {metal} in {name}, g²", "H4", _VARIANCE, of.variance, **weighed, **scale)
    for i, kept in enumerate(held, 1):
        what, rounded = f"{metal} held {i}, g", fixed(kept.fine_mg, 3)
        working.note(what, "H6", "its estimate", kept.estimate_g, rounded, u=kept.u_g)


def _note_shares(
    terms: Terms,
    metal: str,
    lots: Sequence[LotIn],
    own_mg: Sequence[int],
    lent_mg: int,
    back_mg: int,
    shares: Shares,
    working: Working,
) -> None:
    if not working.kept:
        return
    by_assay = terms.metals[metal].settle_on == "assay"
    rule = "D1" if by_assay else "H3" if metal == "silver" else "H2"
    words = {
        "D1": "the assayed fine weight itself",
        "H2": "came back in proportion to assayed fine weight, none more than its own",
        "H3": _SHARED_BY[terms.silver_rule],
    }[rule]
    for lot, own, share in zip(lots, own_mg, shares.lots_mg, strict=True):
        working.note(
            f"{metal} of lot {lot.lot}, g",
            rule,
            words,
            in_grams(share),
            own=in_grams(own),
            needed_to_part_it=lot.need_g,
            all_lots_own=in_grams(sum(own_mg)),
            lent=in_grams(lent_mg),
            came_back=in_grams(back_mg),
        )


# How a lot's silver comes about (H3), by the rule of the terms.
_SHARED_BY = {
    "pro_rata": "came back in proportion to the loan and each lot's own, kept within 0 and the lot's own",
    "house_first": "own − (own + needed to part it) × (1 − came back ÷ (lent + all lots' own)), kept within "
    "0 and the lot's own",
}


def in_words(account: Reconciled) -> str:
    """The verdict as a sentence (H4)."""
    if account.residual_g == 0:
        return f"{account.metal.capitalize()} came back exactly as expected."
    size = f"{plain(abs(account.residual_g))} g of {account.metal}"
    loss = f"the expected loss of {plain(account.expected_loss_g)} g"
    found = f"{size} is missing beyond {loss}" if account.residual_g > 0 else f"{size} came back above {loss}"
    twice = f"twice its uncertainty of {_u_that_tells(account)} g"
    judged = {
        AS_EXPECTED: f"within {twice}: as expected.",
        WITHIN_TOLERANCE: f"above {twice}, but within the balance of the terms.",
        QUERY: f"above {twice} and beyond the balance of the terms: a query that an owner must answer for.",
    }[account.verdict]
    return f"{found}, {judged}"


def _u_that_tells(account: Reconciled) -> str:
    """u to the milligram (A8); with all its places where the milligram would tell the opposite."""
    to_mg, size = shown(account.u_g, 3), abs(account.residual_g)
    tells = (size <= 2 * Exact(to_mg)) == (size <= 2 * account.u_g)
    return to_mg if tells else plain(account.u_g)
