"""What places hold as at an entry: a row of an index each, never a sum over the history."""

from collections.abc import Iterable, Mapping

from sqlalchemy import text

from settle.books.work import Work
from settle.reckoning.money import printed_money
from settle.reckoning.tables import METALS
from settle.reckoning.weight import printed

# (place, commodity) → whole milligrams or minor units; what is nought is left out.
Held = Mapping[tuple[str, str], int]

# Each step of `places` and `pairs` seeks the next name in the index, so that its cost goes with
# how many places there are, however many lines they have.
_HELD = text(
    """
    WITH RECURSIVE places(place) AS (
        SELECT min(place) FROM journal_lines WHERE place >= :first AND place < :past
        UNION ALL
        SELECT (SELECT min(place) FROM journal_lines WHERE place > places.place AND place < :past)
        FROM places WHERE places.place IS NOT NULL
    ), pairs(place, commodity) AS (
        SELECT place, (SELECT min(commodity) FROM journal_lines AS line WHERE line.place = places.place)
        FROM places WHERE place IS NOT NULL
        UNION ALL
        SELECT place, (
            SELECT min(commodity) FROM journal_lines AS line
            WHERE line.place = pairs.place AND line.commodity > pairs.commodity
        )
        FROM pairs WHERE commodity IS NOT NULL
    )
    SELECT place, commodity, (
        SELECT place_balance FROM journal_lines AS line
        WHERE line.place = pairs.place AND line.commodity = pairs.commodity AND line.entry <= :entry
        ORDER BY line.entry DESC, line.position DESC LIMIT 1
    ) AS balance
    FROM pairs WHERE commodity IS NOT NULL ORDER BY place, commodity
    """
)


def of_owner(work: Work, owner: str, entry: int) -> Held:
    """What the places of an owner such as `client:C-1` hold after an entry, by its row number."""
    return _held(work, f"{owner}:", f"{owner};", entry)


def of_all(work: Work, entry: int) -> Held:
    """What every place holds after an entry."""
    return _held(work, "", "\U0010ffff", entry)


def _held(work: Work, first: str, past: str, entry: int) -> Held:
    found = work.connection.execute(_HELD, {"first": first, "past": past, "entry": entry})
    return {(row.place, row.commodity): row.balance for row in found if row.balance}


def is_metal(commodity: str) -> bool:
    return commodity in METALS


def shown(commodity: str, amount: int, unit: str = "g") -> dict[str, str]:
    """An amount as answers print it: a weight of fine metal, or money."""
    return printed(amount, unit) if is_metal(commodity) else printed_money(amount, commodity)


def commodities(of: Iterable[tuple[str, str]]) -> list[str]:
    """Metals in their order, then currencies."""
    named = {commodity for _, commodity in of}
    return [m for m in METALS if m in named] + sorted(named.difference(METALS))
