"""The till's list of silver credits against the books, credit by credit (whole milligrams)."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

AGREED, DIFFERING = "agreed", "differing"
MISSING_IN_TILL, MISSING_IN_BOOKS, DOUBLED = "missing in the till", "missing in the books", "doubled"


@dataclass(frozen=True, slots=True)
class Compared:
    """One credit, by the lot that it is for: what each side says, and how they stand.

    `till_mg` is the first entry of a lot at the till; each further one is `doubled`.
    """

    lot: str
    verdict: str
    till_mg: int | None
    books_mg: int | None
    entry: str | None = None

    @property
    def difference_mg(self) -> int:
        """Till less books; a side that lacks it counts nothing."""
        return (self.till_mg or 0) - (self.books_mg or 0)


def compare(till: Sequence[tuple[str, str | None, int]], books: Mapping[str, int]) -> tuple[Compared, ...]:
    """The till's (lot, entry, milligrams) against the books' credits by lot.

    The differences of all lines add up to the difference of the totals. A lot that was credited
    nothing is missing at no till.
    """
    seen: set[str] = set()
    lines = []
    for lot, entry, mg in till:
        if lot in seen:
            lines.append(Compared(lot, DOUBLED, mg, None, entry))
            continue
        seen.add(lot)
        of_books = books.get(lot)
        verdict = MISSING_IN_BOOKS if of_books is None else AGREED if of_books == mg else DIFFERING
        lines.append(Compared(lot, verdict, mg, of_books, entry))
    lines += [Compared(lot, MISSING_IN_TILL, None, mg) for lot, mg in books.items() if mg and lot not in seen]
    return tuple(lines)
