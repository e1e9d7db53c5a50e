"""What every place of the books holds over any period: opening, moved, closing (J4)."""

from collections.abc import Iterator
from typing import Any

from settle.books import balances, journal, periods
from settle.books.periods import Span
from settle.books.work import Work


def over(work: Work, span: Span) -> dict[str, Any]:
    """Places in their order, each commodity a line; what is held is positive, what is owed negative.

    The closing of one period is the opening of the next; each column adds up to nothing by commodity.
    Raises `Refused` (bad-request) for balances of a day to come.
    """
    periods.refuse_to_come(work, journal.now(work), **{"from": span.first, "to": span.last})
    before = span.before(work)
    opened_at = 0 if before is None else journal.last_entry(work, before)
    closed_at = journal.last_entry(work, span.end(work))
    return {**span.shown(), "places": list(_lines(work, opened_at, closed_at))}


def _lines(work: Work, opened_at: int, closed_at: int) -> Iterator[dict[str, Any]]:
    opening, closing = balances.of_all(work, opened_at), balances.of_all(work, closed_at)
    for place, commodity in sorted({*opening, *closing}):
        first, last = (held.get((place, commodity), 0) for held in (opening, closing))
        figures = {"opening": first, "moved": last - first, "closing": last}
        shown = {name: balances.shown(commodity, amount) for name, amount in figures.items()}
        yield {"place": place, "commodity": commodity, **shown}
