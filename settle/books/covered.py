"""What bars a lot covers, before the pour and after it (E4): gathered from what is known of it."""

from collections.abc import Iterator, Mapping
from typing import Any

from sqlalchemy import Row

from settle.books import bench, poured, quotes
from settle.books.work import Work
from settle.reckoning import coverage
from settle.reckoning.bars import Placed, Poured, Wishes, read_instructions
from settle.reckoning.concession import concede
from settle.reckoning.coverage import Covered
from settle.reckoning.due import Due
from settle.reckoning.exact import Exact, plain
from settle.reckoning.item import Item
from settle.reckoning.parting import need
from settle.reckoning.problems import NO_FAULTS, Fault, Refused
from settle.reckoning.reading import Json
from settle.reckoning.terms import CASES, Terms
from settle.reckoning.weight import in_grams, milligrams
from settle.reckoning.working import SILENT


def of_lot(
    work: Work, row: Row[Any], terms: Terms, items: tuple[Item, ...], posted: Mapping[str, Row[Any]]
) -> dict[str, Covered]:
    """By metal what a lot's bars rest on: its items, its assay or, of what is closed, its account.
    `posted` are the reconciliations that closed a metal."""
    made = [] if row.quote is None else quotes.concessions_of(work, row.quote)
    terms = concede(terms, made, NO_FAULTS)
    melted, found = bench.melt_of(work, row.number, terms), bench.agreed_of(work, row.number, terms)
    if melted is None or found is None:
        return coverage.by_items(terms, items)
    own = {metal: bench.own(melted, found, metal) for metal in terms.metals}
    credited_mg = {metal: melted.drillings(terms, found.ppt).credited_mg(metal) for metal in own}
    gold_g = bench.own(melted, found, "gold").fine_g
    covered = coverage.by_assay(terms, own, need(terms, gold_g, melted.parted_g, SILENT), credited_mg)
    disputed = bench.disputed(work, row.number, terms)
    for metal, weighed in own.items():
        on_assay = terms.metals[metal].settle_on == "assay" and metal not in disputed
        if metal in posted or on_assay:
            closed_mg = credited(posted[metal], row.number) if metal in posted else weighed.fine_mg
            covered[metal] = coverage.by_account(terms, metal, closed_mg + credited_mg[metal])
    return covered


def credited(reconciliation: Row[Any], lot: str) -> int:
    """R of a lot by the posted account of a metal, whole milligrams (H2, H3)."""
    return milligrams(Exact(reconciliation.document["credited"][lot]["g"]))


def shown(work: Work, lot: str, terms: Terms, of: Mapping[str, Covered], wishes: Json) -> dict[str, Any]:
    """By metal and line of the wishes: bars asked for, poured and covered, and what is left after them."""
    return {
        metal: coverage.shown(
            of[metal], wish, list(poured.of_lot(work, lot, metal).values()), terms.weight_unit
        )
        for metal, wish in read_instructions(wishes, terms, NO_FAULTS).items()
        if wish.lines and metal in of
    }


def refuse_beyond(terms: Terms, of: Covered | None, wishes: Wishes, there: list[Poured], line: int) -> None:
    """Refuse a bar that the lot can't cover, at the most that it may come to (E4)."""
    of = of or Covered(coverage.ITEMS, dict.fromkeys(CASES, 0))
    placed = of.places(wishes, there)
    if placed.given_too_much_mg(terms):
        raise Refused(coverage.fault(of, wishes, placed, terms, line))


def not_as_due(of: Due) -> list[Fault]:
    """Bars that hold more than the client is due, or a whole one that states less, beyond E4's bounds:
    posted by an owner's word alone."""
    terms = of.whole.basis.terms
    return [fault for m, account in of.metals.items() for fault in _not_as_due(m, account.placed, terms)]


def _not_as_due(metal: str, placed: Placed, terms: Terms) -> Iterator[Fault]:
    right = 'a bar withdrawn, or an owner\'s word: "override": {"reason": …}'
    if given_mg := placed.given_too_much_mg(terms):
        wrong = f"bars of {metal} hold {plain(in_grams(given_mg), 3)} g more than the client is due"
        yield Fault("bar-not-covered", "", wrong, right)
    if below_mg := placed.below_too_much_mg(terms):
        wrong = f"bars of {metal} state {plain(in_grams(below_mg), 3)} g less than the client is due"
        yield Fault("bar-below-promise", "", wrong, right)
