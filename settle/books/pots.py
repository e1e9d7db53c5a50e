"""A pot: lots whose metal comes back together (H2, H3, H8).

A batch is a pot of every metal. Once the baths of some batches go into one silver
recovery, their silver is the recovery's pot, and they keep the other metals.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Row, select

from settle.books import bench, held, loans, outturns
from settle.books import terms as terms_of_business
from settle.books.tables import lots as lots_table
from settle.books.tables import recovery_batches
from settle.books.work import Work
from settle.reckoning.batch import Held, LotIn, Weighed
from settle.reckoning.exact import ZERO
from settle.reckoning.parting import Need, need
from settle.reckoning.postings import InPot
from settle.reckoning.terms import Terms
from settle.reckoning.working import SILENT

SILVER = "silver"


@dataclass(frozen=True, slots=True)
class Pot:
    """A batch or recovery by its number, and the batches whose lots are in it."""

    number: str
    batches: tuple[str, ...]
    of_recovery: bool

    @property
    def subjects(self) -> tuple[str, ...]:
        """Under what its outturns and held metal are recorded."""
        return (*self.batches, self.number) if self.of_recovery else self.batches


def of_batch(number: str) -> Pot:
    return Pot(number, (number,), of_recovery=False)


def of_recovery(work: Work, number: str) -> Pot:
    of = recovery_batches
    query = select(of.c.batch).where(of.c.recovery == number).order_by(of.c.batch)
    return Pot(number, tuple(work.connection.execute(query).scalars()), of_recovery=True)


def recovery_of(work: Work, batch: str) -> str | None:
    """The silver recovery that a batch's bath went into."""
    of = recovery_batches
    number: str | None = work.connection.execute(select(of.c.recovery).where(of.c.batch == batch)).scalar()
    return number


def where_closed(work: Work, batch: str, metal: str) -> Pot:
    """The pot in which a metal of a batch is closed."""
    recovery = recovery_of(work, batch) if metal == SILVER else None
    return of_batch(batch) if recovery is None else of_recovery(work, recovery)


def lot_rows(work: Work, pot: Pot) -> list[Row[Any]]:
    """The lots of a pot: batch by batch, in the order they came."""
    of = lots_table
    rows = work.connection.execute(select(of).where(of.c.batch.in_(pot.batches)).order_by(of.c.n))
    return sorted(rows, key=lambda row: pot.batches.index(row.batch))


def terms_of(work: Work, pot: Pot) -> Terms:
    """The terms of its clients' lots, which agree in all that matters here; the house's own metal
    binds nobody to its terms (H9)."""
    rows = lot_rows(work, pot)
    return terms_of_business.find(work, next((row for row in rows if row.client), rows[0]).terms)


def all_terms(work: Work, pot: Pot) -> list[Terms]:
    """The terms of every lot of a pot, each once, those of `terms_of` first."""
    numbers = [terms_of(work, pot).number, *(row.terms for row in lot_rows(work, pot))]
    return [terms_of_business.find(work, number) for number in dict.fromkeys(numbers)]


def lots_in(work: Work, pot: Pot, metal: str) -> list[LotIn]:
    """Each lot with its own metal and, for silver, what it needed to be parted (H1, H3)."""
    found = []
    for row in lot_rows(work, pot):
        terms = terms_of_business.find(work, row.terms)
        melted = bench.melt_of(work, row.number, terms)
        agreed = bench.agreed_of(work, row.number, terms)
        if melted is None or agreed is None:
            raise LookupError(f"{row.number} is in a batch and lacks its melt or assay")
        needed = lot_need(terms, melted, agreed).fine_g if metal == SILVER else ZERO
        found.append(LotIn(row.number, bench.own(melted, agreed, metal), needed))
    return found


def lot_need(terms: Terms, melted: bench.Melt, assayed: bench.Assay) -> Need:
    """House silver that a melted and assayed lot needs (H1)."""
    gold = bench.own(melted, assayed, "gold")
    return need(terms, gold.fine_g, gold.weight_g, SILENT)


def lent(work: Work, pot: Pot, metal: str) -> list[Weighed]:
    """What was lent of one metal to the batches of a pot."""
    terms = terms_of(work, pot)
    return [w for batch in pot.batches for w in loans.of(work, batch, metal, terms)]


def came_out(work: Work, pot: Pot, metal: str) -> list[Weighed]:
    """What came out of one metal, weighed and assayed."""
    terms = terms_of(work, pot)
    return [w for of in pot.subjects for _, w in outturns.of(work, of, metal, terms)]


def entries_out(work: Work, batch: str, metal: str) -> list[tuple[str, Weighed]]:
    """What bars of a batch's metal can be poured from: its own outturns, and its recovery's silver."""
    pot = where_closed(work, batch, metal)
    terms = terms_of(work, pot)
    return [found for of in pot.subjects for found in outturns.of(work, of, metal, terms)]


def kept_in(work: Work, pot: Pot, metal: str) -> list[Held]:
    """What is known to be held in process of one metal (H6)."""
    return [h for of in pot.subjects for h in held.of(work, of, metal)]


def in_pot(work: Work, pot: Pot, metal: str) -> InPot:
    """What the posting of an account closes, by lot, batch and recovery."""
    terms = terms_of(work, pot)

    def sums(of: Callable[[str], list[Weighed] | list[Held]]) -> dict[str, int]:
        return {subject: sum(w.fine_mg for w in of(subject)) for subject in pot.subjects}

    return InPot(
        lots={row.number: (row.batch, row.client) for row in lot_rows(work, pot)},
        lent_mg={b: sum(w.fine_mg for w in loans.of(work, b, metal, terms)) for b in pot.batches},
        out_mg=sums(lambda s: [w for _, w in outturns.of(work, s, metal, terms)]),
        held_mg=sums(lambda s: held.of(work, s, metal)),
    )


def metals_of(work: Work, pot: Pot) -> list[str]:
    """Metals of the terms that are closed in this pot, and that it holds by assay, loan or outturn."""
    return [m for m in terms_of(work, pot).metals if _is_closed_here(work, pot, m) and _holds(work, pot, m)]


def _is_closed_here(work: Work, pot: Pot, metal: str) -> bool:
    if pot.of_recovery:
        return metal == SILVER
    return metal != SILVER or recovery_of(work, pot.number) is None


def _holds(work: Work, pot: Pot, metal: str) -> bool:
    weighed = [
        *(lot.own for lot in lots_in(work, pot, metal)),
        *lent(work, pot, metal),
        *came_out(work, pot, metal),
    ]
    return any(w.fine_mg for w in weighed)
