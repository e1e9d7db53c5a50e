"""A client's account over any period: opening, movements, closing (J4).

In the books what the house owes is negative; here it is turned round, so that what is the
client's is positive and what the client owes is negative.
"""

from collections.abc import Sequence
from typing import Any

from sqlalchemy import Row, select

from settle.books import balances, clients, journal, periods
from settle.books import terms as terms_of_business
from settle.books.balances import Held
from settle.books.columns import moment_text
from settle.books.listing import Listed, Page
from settle.books.periods import Span
from settle.books.tables import journal_entries, journal_lines
from settle.books.work import Work
from settle.reckoning.problems import Fault, Refused

MOST_ON_PAPER = 2000
# What a place of a client's account is called in an answer, where not by its own word.
NAMES = {"lot": "lots", "metal": "metal_account"}


def of_client(work: Work, client: str, span: Span, page: Page) -> tuple[dict[str, Any], Listed]:
    """The account, with a page of its movements, oldest first.

    Raises `Refused`: `not-found` for no such client, `bad-request` for balances of a day to come.
    """
    clients.shown(work, client)
    periods.refuse_to_come(work, journal.now(work), **{"from": span.first, "to": span.last})
    owner, unit = f"client:{client}", terms_of_business.weight_unit(work, client)
    before = span.before(work)
    opened_at = 0 if before is None else journal.last_entry(work, before)
    closed_at = journal.last_entry(work, span.end(work))
    listed = _page(work, owner, opened_at, closed_at, page)
    answer = {
        "client": client,
        **span.shown(),
        "opening": _balances(balances.of_owner(work, owner, opened_at), unit),
        "movements": [_movement(row, lines, unit) for row, lines in _with_lines(work, owner, listed.rows)],
        "closing": _balances(balances.of_owner(work, owner, closed_at), unit),
    }
    return answer, listed


def whole(work: Work, client: str, span: Span) -> dict[str, Any]:
    """The account with all its movements, as a paper has it. Raises `Refused` (bad-request) for too many."""
    answer, listed = of_client(work, client, span, Page(MOST_ON_PAPER))
    if listed.next_after is not None:
        wrong = f"more than {MOST_ON_PAPER} movements for one paper"
        raise Refused(Fault("bad-request", "", wrong, "a shorter period: from and to"))
    return answer


def _balances(held: Held, unit: str) -> dict[str, Any]:
    """By what it is: lots not settled, bars, shot, metal on account, money; each by commodity."""
    answer: dict[str, Any] = {}
    for (place, commodity), amount in held.items():
        answer.setdefault(name_of(place), {})[commodity] = balances.shown(commodity, -amount, unit)
    return answer


def name_of(place: str) -> str:
    """What a place of a client's account is called."""
    what = place.split(":")[2]
    return NAMES.get(what, what)


def _page(work: Work, owner: str, opened_at: int, closed_at: int, page: Page) -> Listed:
    line, entry = journal_lines.c, journal_entries.c
    moved = select(line.entry).where(line.owner == owner, line.entry <= closed_at)
    moved = moved.where(line.entry > max(opened_at, page.after or 0)).distinct()
    # One more than asked for tells whether there is a next page.
    wanted = moved.order_by(line.entry).limit(page.limit + 1)
    query = select(journal_entries).where(entry.n.in_(wanted)).order_by(entry.n)
    rows = list(work.connection.execute(query))
    shown = rows[: page.limit]
    return Listed(shown, shown[-1].n if len(rows) > page.limit else None)


def _with_lines(work: Work, owner: str, rows: Sequence[Row[Any]]) -> list[tuple[Row[Any], list[Row[Any]]]]:
    line = journal_lines.c
    query = select(journal_lines).where(line.owner == owner, line.entry.in_([row.n for row in rows]))
    lines: dict[int, list[Row[Any]]] = {row.n: [] for row in rows}
    for found in work.connection.execute(query.order_by(line.entry, line.position)):
        lines[found.entry].append(found)
    return [(row, lines[row.n]) for row in rows]


def _movement(entry: Row[Any], lines: list[Row[Any]], unit: str) -> dict[str, Any]:
    return {
        "entry": entry.id,
        "document": entry.document,
        "text": entry.text,
        "made_at": moment_text(entry.made_at),
        "reverses": entry.reverses,
        "lines": [_line(line, unit) for line in lines],
    }


def _line(line: Row[Any], unit: str) -> dict[str, Any]:
    """`balance` is that of the whole place, so that opening and movements add up to the closing."""
    return {
        "in": name_of(line.place),
        "of": line.account.removeprefix(line.place).removeprefix(":") or None,
        "commodity": line.commodity,
        "amount": balances.shown(line.commodity, -line.amount, unit),
        "balance": balances.shown(line.commodity, -line.place_balance, unit),
    }
