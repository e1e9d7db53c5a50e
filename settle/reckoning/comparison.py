"""Why a settlement differs from its quote: one more input replaced at each step, one sentence each (G2)."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from settle.reckoning.bars import COVER_CHARGES, NO_WISHES
from settle.reckoning.charges import Quantities
from settle.reckoning.exact import ZERO, Exact, shown
from settle.reckoning.fineness import WHOLE_PPT
from settle.reckoning.money import amount
from settle.reckoning.parting import Need, need
from settle.reckoning.quote import Quoted
from settle.reckoning.recovered import assayed, expected_within
from settle.reckoning.settlement import Refined
from settle.reckoning.statement import Basis, Statement, statement
from settle.reckoning.terms import CREDITED, KEPT, RETURNED, Terms
from settle.reckoning.weight import in_grams, milligrams
from settle.reckoning.working import SILENT

STEPS = ("weight", "fineness", "recovery", "instructions", "price", "charges")


@dataclass(frozen=True, slots=True)
class Step:
    """One step of the comparison (G2): V after it, the difference, one plain sentence."""

    name: str
    worth_minor: int
    difference_minor: int
    sentence: str


def compare(quoted: Quoted, refined: Refined, final: Statement) -> tuple[Step, ...]:
    """Why the settlement differs from the quote (G2).

    The statement is replayed, each time with one more of the quote's likely inputs
    replaced by the settlement's, over the metals that are settled. Each V is rounded
    by A3 and each step is the difference of two of them, so the steps add up. Where nothing was
    valued in the quote there is nothing to compare with.
    """
    if not quoted.is_valued:
        return ()
    before = statement(_quoted_basis(quoted, refined))
    steps = [Step("quote", before.worth_minor, 0, _of_quote(quoted, refined))]
    for name, basis in _replayed(quoted, refined, final):
        after = statement(basis) if basis is not final.basis else final
        difference = after.worth_minor - before.worth_minor
        sentence = _sentence(name, quoted, refined, before, after)
        steps.append(Step(name, after.worth_minor, difference, sentence))
        before = after
    return tuple(steps)


def metal_found_minor(steps: Sequence[Step]) -> int:
    """Weight and fineness as one sum: a stone lighter than guessed moves both, against each other."""
    return sum(step.difference_minor for step in steps if step.name in ("weight", "fineness"))


def _fine_quoted(quoted: Quoted, refined: Refined) -> dict[str, Exact]:
    """Likely fine weight of each settled metal, and of gold, which decides the parting silver."""
    wanted = {*refined.recovered_g, "gold"}
    return {m: quoted.contents[m].likely_g if m in quoted.contents else ZERO for m in wanted}


def _quoted_basis(quoted: Quoted, refined: Refined) -> Basis:
    gross, net, articles = quoted.request.quantities
    fine_g = _fine_quoted(quoted, refined)
    needed = need(quoted.request.terms, fine_g["gold"], net, SILENT)
    return Basis(
        quoted.request.terms,
        _expected(quoted.request.terms, refined, fine_g, needed),
        Quantities(gross, net, needed.weight_g, articles),
        # A metal that only the assay found had no price in the quote: the settlement's serves.
        {**refined.prices, **quoted.request.prices},
        quoted.request.wishes,
    )


def _expected(
    terms: Terms, refined: Refined, fine_g: Mapping[str, Exact], needed: Need
) -> Mapping[str, Exact]:
    return {m: expected_within(terms, m, fine_g[m], needed) for m in refined.recovered_g}


def _replayed(quoted: Quoted, refined: Refined, final: Statement) -> Iterator[tuple[str, Basis]]:
    """The basis after each step, in the order of G2."""
    basis = _quoted_basis(quoted, refined)
    terms, net = quoted.request.terms, quoted.request.net_g
    as_quoted = {m: f / net * WHOLE_PPT for m, f in _fine_quoted(quoted, refined).items()}
    as_assayed = {m: refined.assay_ppt.get(m, ZERO) for m in as_quoted}
    for name, ppt in (("weight", as_quoted), ("fineness", as_assayed)):
        fine_g = assayed(refined.parted_g, ppt)
        needed = need(terms, fine_g["gold"], refined.parted_g, SILENT)
        basis = replace(
            basis,
            recovered_g=_expected(terms, refined, fine_g, needed),
            quantities=replace(basis.quantities, melt_g=refined.melt_g, silver_lent_g=needed.weight_g),
            drillings=refined.drillings(terms, ppt),
        )
        yield name, basis
    basis = replace(basis, recovered_g=refined.recovered_g)
    yield "recovery", basis
    basis = replace(
        basis,
        wishes=refined.wishes,
        poured=refined.poured,
        terms=final.basis.terms,
        sold_before_mg=refined.sold_before_mg,
        taken_before_minor=refined.posted.taken_minor,
    )
    yield "instructions", basis
    basis = replace(basis, prices=refined.prices)
    yield "price", basis
    yield "charges", final.basis


def _sentence(name: str, quoted: Quoted, refined: Refined, before: Statement, after: Statement) -> str:
    plain_words = {
        "weight": _of_weight,
        "fineness": _of_fineness,
        "recovery": _of_recovery,
        "instructions": _of_instructions,
        "price": _of_price,
        "charges": _of_charges,
    }[name](quoted, refined, before, after)
    edges = _edges(before, after)
    return f"{plain_words} {edges}" if edges else plain_words


def _of_quote(quoted: Quoted, refined: Refined) -> str:
    settled = [metal for metal in quoted.bands if metal in refined.recovered_g]
    if not settled or len(settled) == len(quoted.bands):
        return "What the quote called likely."
    return f"What the quote called likely of {' and '.join(settled)}."


def _of_weight(quoted: Quoted, refined: Refined, before: Statement, after: Statement) -> str:
    net, melt = quoted.request.net_g, refined.melt_g
    text = f"The lot melted to {shown(melt, 3)} g, {shown(abs(melt - net), 3)} g "
    text += f"{'lighter' if melt < net else 'heavier'} than the net weight of its items"
    if net == melt:
        text = "The lot melted to the weight that was reckoned with"
    if not refined.drillings_g:
        return f"{text}."
    become = {
        RETURNED: "go back to the client",
        CREDITED: "are credited to the client",
        KEPT: "are the house's",
    }[refined.drillings(quoted.request.terms, {}).become]
    return f"{text}; {shown(refined.drillings_g, 3)} g of drillings were taken for assay and {become}."


def _of_fineness(quoted: Quoted, refined: Refined, before: Statement, after: Statement) -> str:
    net = quoted.request.net_g
    told = []
    for metal in after.metals:
        content = quoted.contents.get(metal)
        reckoned = (content.likely_g if content else ZERO) / net * WHOLE_PPT
        found = refined.assay_ppt.get(metal, ZERO)
        told.append(f"{shown(found, 1)} ‰ {metal}, where {shown(reckoned, 1)} ‰ was reckoned")
    return "The assay found " + "; ".join(told) + "."


def _of_recovery(quoted: Quoted, refined: Refined, before: Statement, after: Statement) -> str:
    told = []
    for metal, account in after.metals.items():
        more = milligrams(account.recovered_g - before.metals[metal].recovered_g)
        if more:
            told.append(f"{_g(abs(more))} {'more' if more > 0 else 'less'} {metal}")
    if told:
        return "Of what the assay found, " + " and ".join(told) + " came back than expected."
    if before.worth_minor == after.worth_minor:
        return "As much came back as was expected."
    return "As much came back as was expected; it is settled in whole milligrams."


def _of_instructions(quoted: Quoted, refined: Refined, before: Statement, after: Statement) -> str:
    told = []
    if quoted.request.wishes != refined.wishes:
        told.append("the client's wishes changed")
    if before.basis.terms != after.basis.terms:
        told.append("a concession was made")
    for metal, account in after.metals.items():
        poured, planned = account.placed.number, before.metals[metal].placed.number
        if poured != planned:
            told.append(f"{poured} {metal} bars were poured, where {planned} would fit")
    told += _sold_otherwise(before, after)
    if not told and before.worth_minor == after.worth_minor:
        return "Bars and remainder are as the quote had them."
    return f"Not as quoted: {'; '.join(told or ['bars as they were poured'])}."


def _sold_otherwise(before: Statement, after: Statement) -> Iterator[str]:
    """Metal that covers charges was sold by an earlier settlement, or is sold to repay an advance (E3)."""
    for metal, account in after.metals.items():
        covers = after.basis.wishes.get(metal, NO_WISHES).remainder == COVER_CHARGES
        if covers and account.sold_mg != before.metals[metal].sold_mg:
            yield f"{_g(account.sold_mg)} {metal} is sold, where {_g(before.metals[metal].sold_mg)} would be"


def _of_price(quoted: Quoted, refined: Refined, before: Statement, after: Statement) -> str:
    told = []
    for metal in after.metals:
        old, new = before.basis.prices.get(metal), after.basis.prices.get(metal)
        if old is not None and new is not None and old.per_g != new.per_g:
            told.append(
                f"{metal} at {shown(new.amount, 4)} {new.currency} per {new.per}, "
                f"quoted at {shown(old.amount, 4)} per {old.per}"
            )
    return ("Settled with " + "; ".join(told) + ".") if told else "The prices of the quote served."


def _of_charges(quoted: Quoted, refined: Refined, before: Statement, after: Statement) -> str:
    told = []
    if refined.fees_minor:
        told.append(f"fees of {amount(refined.fees_minor, after.basis.terms.currency)}")
    if before.charges_minor != after.charges_minor or before.tax_minor != after.tax_minor:
        told.append("charges and tax on the quantities as recorded")
    told += _sold_otherwise(before, after)
    if not told and before.worth_minor == after.worth_minor:
        return "Charges are as the same quantities would have cost."
    return "Made up of " + ", ".join(told or ["rounding"]) + "."


def _g(weight_mg: int) -> str:
    return f"{shown(in_grams(weight_mg), 3)} g"


def _edges(before: Statement, after: Statement) -> str:
    """The edges that a step crossed (G3): a bar, a tier, a minimum, `payable_from`."""
    crossed = []
    for metal, account in after.metals.items():
        old = before.metals[metal]
        if old.placed.counts != account.placed.counts and after.basis.poured is None:
            crossed.append(f"another number of {metal} bars fits")
        if bool(old.accountable_mg) != bool(account.accountable_mg):
            crossed.append(f"{metal} crossed the weight from which it is paid for")
    lines = {line.charge.name: line for line in before.charges}
    for line in after.charges:
        old_line = lines.get(line.charge.name)
        if old_line and old_line.tier != line.tier:
            crossed.append(f"{line.charge.name} reached another tier")
        if old_line and old_line.minimum_applied != line.minimum_applied:
            crossed.append(f"the minimum of {line.charge.name} came into play or ceased to")
    return ("It crossed an edge: " + "; ".join(crossed) + ".") if crossed else ""
