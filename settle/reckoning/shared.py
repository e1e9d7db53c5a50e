"""May these lots share a batch, and these batches a silver recovery? (H9)"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from settle.reckoning.exact import Exact, plain
from settle.reckoning.problems import Fault, at
from settle.reckoning.tables import METALS
from settle.reckoning.terms import MetalTerms, Terms

FLAGGED_METALS = ("platinum", "palladium")


@dataclass(frozen=True, slots=True)
class Joining:
    """A lot that is to join a batch, as plain values.

    `bought` metal joins as the house's own: no terms bind it and nobody need
    consent. `found` are the metals that items or assay show; `holding_until` is a time
    that has not come yet, as text, or none.
    """

    lot: str
    terms: Terms
    consents: bool = False
    refine_alone: bool = False
    found: tuple[str, ...] = ()
    owner_allows_platinum: bool = False
    holding_until: str | None = None
    frozen: bool = False
    bought: bool = False


def sharing_faults(lots: Sequence[Joining], pointer: str = "/lots") -> tuple[Fault, ...]:
    """Every reason why these lots may not be one batch; none if they may (H9).

    A lot refined alone needs no consent; a holding period and a freeze hold for it too.
    """
    faults = list[Fault]()
    for i, lot in enumerate(lots):
        faults += _not_to_be_melted(lot, at(pointer, i))
        if len(lots) > 1:
            faults += _apart(lot, at(pointer, i))
    bound = [(i, lot.lot, lot.terms) for i, lot in enumerate(lots) if not lot.bought]
    return (*faults, *_disagreeing(bound, pointer))


def recovery_faults(batches: Sequence[tuple[str, Terms]], pointer: str = "/batches") -> tuple[Fault, ...]:
    """Every reason why these batches may not share a silver recovery (H8, H9): their terms."""
    return tuple(_disagreeing([(i, *batch) for i, batch in enumerate(batches)], pointer))


def _not_to_be_melted(lot: Joining, pointer: str) -> Iterator[Fault]:
    if lot.holding_until is not None:
        wrong = f"{lot.lot} is held until {lot.holding_until}"
        yield Fault("holding-period", pointer, wrong, "a lot whose holding period is over")
    if lot.frozen:
        yield Fault("frozen", pointer, f"{lot.lot} is frozen by order", "a release by an owner first")


def _apart(lot: Joining, pointer: str) -> Iterator[Fault]:
    if not lot.consents and not lot.bought:
        wrong = f"the client of {lot.lot} has not agreed to share a batch"
        yield Fault("not-accepted", pointer, wrong, "the client's consent, or a batch of its own")
    if lot.refine_alone:
        yield Fault("kept-apart", pointer, f"{lot.lot} is to be refined alone", "a batch of its own")
    flagged = [m for m in FLAGGED_METALS if m in lot.found]
    if flagged and not lot.owner_allows_platinum:
        wrong = f"{' and '.join(flagged)} in {lot.lot}"
        yield Fault("kept-apart", pointer, wrong, "a batch of its own, or an owner's word (B6)")


def _disagreeing(bound: Sequence[tuple[int, str, Terms]], pointer: str) -> Iterator[Fault]:
    """The terms of each against those of the first."""
    for i, name, terms in bound[1:]:
        _, first, of_first = bound[0]
        for field, mine, theirs in _differences(terms, of_first):
            wrong = f"{field} is {mine} for {name}, {theirs} for {first}"
            yield Fault("kept-apart", at(pointer, i), wrong, f"terms that agree in {field}, or another batch")


def _differences(one: Terms, other: Terms) -> Iterator[tuple[str, str, str]]:
    """Field and both figures, wherever the terms differ in what a batch has in common."""
    for metal in METALS:
        mine, theirs = _of_metal(one.metals.get(metal)), _of_metal(other.metals.get(metal))
        if None in (mine.get("settle_on"), theirs.get("settle_on")):
            mine, theirs = _accounted(mine), _accounted(theirs)
        for field, figure in mine.items():
            if figure != theirs[field]:
                yield f"{field} of {metal}", _text(figure), _text(theirs[field])
    for field, mine_, theirs_ in (
        ("silver_rule", one.silver_rule, other.silver_rule),
        ("parting_target", one.parting_target, other.parting_target),
        ("house_silver fineness", one.house_silver_ppt, other.house_silver_ppt),
        ("house_silver gold", one.house_gold_ppt, other.house_gold_ppt),
    ):
        if mine_ != theirs_:
            yield field, _text(mine_), _text(theirs_)


def _of_metal(of: MetalTerms | None) -> dict[str, Exact | str | None]:
    if of is None:
        return {}
    return {
        "settle_on": of.settle_on,
        "recovery": of.recovery,
        "recovery_u": of.recovery_u,
        "balance": of.balance,
    }


def _accounted(of: dict[str, Exact | str | None]) -> dict[str, Exact | str | None]:
    """A metal that only one of two terms names: the one difference worth saying."""
    return {"settle_on": of.get("settle_on", "not accounted for")}


def _text(figure: Exact | str | None) -> str:
    if figure is None:
        return "not given"
    return figure if isinstance(figure, str) else plain(figure)
