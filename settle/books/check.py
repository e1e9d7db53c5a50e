"""`check`: everything computed anew from the rows alone (J3).

Each part yields None for what holds and a sentence, naming the document, for what doesn't.
"""

from collections import defaultdict
from collections.abc import Callable, Iterator
from functools import partial
from typing import Any

from sqlalchemy import func, select

from settle.books import (
    bar_sales,
    bars,
    chain,
    check_dealings,
    journal,
    purchases,
    quotes,
    reconciliations,
    settlements,
    tables,
)
from settle.books.work import Work
from settle.reckoning import document, postings
from settle.reckoning.ledger import owner_of, place_of
from settle.reckoning.problems import Fault, Refused
from settle.reckoning.tables import METALS

Found = Iterator[str | None]


def parts(work: Work) -> list[tuple[str, int, Callable[[], Found]]]:
    """What is checked: its name, about how many steps it takes, and the check itself."""
    made: list[tuple[str, int, Callable[[], Found]]] = [
        ("chain of what is posted", _rows(work, tables.chain), lambda: chain.faults(work)),
        ("nothing posted outside the chain", 1, lambda: _nothing_else(chain.unsealed(work))),
        ("entries and balances", _rows(work, tables.journal_entries), lambda: _entries(work)),
        ("quotes reckoned anew", _rows(work, tables.quotes), lambda: _quotes(work)),
        ("purchases reckoned anew", _rows(work, tables.purchases), lambda: _purchases(work)),
        ("reconciliations anew", _rows(work, tables.reconciliations), lambda: _reconciliations(work)),
        ("settlements reckoned anew", _rows(work, tables.settlements), lambda: _settlements(work)),
        ("stock against bars", len(METALS), lambda: _bars(work)),
        ("numbers without a gap", len(_NO_GAP), lambda: _numbers(work)),
        *check_dealings.parts(work),
    ]
    return [(name, steps, partial(_to_its_end, name, check)) for name, steps, check in made]


def _to_its_end(name: str, check: Callable[[], Found]) -> Found:
    """A row that can't even be read is a fault; the chain says which."""
    try:
        yield from check()
    except (ValueError, LookupError, TypeError, AttributeError, Refused) as error:
        yield f"{name}: a row can't be read: {error}"


def all_faults(work: Work) -> list[str]:
    """Every fault that any part finds."""
    return [fault for _, _, check in parts(work) for fault in check() if fault]


def _rows(work: Work, table: Any) -> int:
    return int(work.connection.execute(select(func.count()).select_from(table)).scalar_one())


def _nothing_else(found: Iterator[str]) -> Found:
    yield from found
    yield None


def _entries(work: Work) -> Found:
    """Each entry balances by itself, times don't run back, running balances follow from the lines."""
    held: dict[tuple[str, str], int] = defaultdict(int)
    last = None
    entries = select(tables.journal_entries).order_by(tables.journal_entries.c.n)
    for entry in work.connection.execute(entries):
        wrong = [f"{entry.id}: {fault}" for fault in _lines(work, entry.n, held)]
        if last is not None and entry.made_at < last:
            wrong.append(f"{entry.id}: made before the entry that stands before it")
        last = entry.made_at
        yield from wrong or (None,)


def _lines(work: Work, entry: int, held: dict[tuple[str, str], int]) -> Iterator[str]:
    """What is wrong with the lines of an entry; `held` runs on, by account or place, and commodity."""
    line = tables.journal_lines.c
    loose: dict[str, int] = defaultdict(int)
    lines = select(tables.journal_lines).where(line.entry == entry).order_by(line.position)
    for row in work.connection.execute(lines):
        loose[row.commodity] += row.amount
        parts = (owner_of(row.account), place_of(row.account))
        if (row.owner, row.place) != parts:
            yield f"{row.account} stands under {row.owner} and {row.place}"
        for name, balance in ((row.account, row.balance), (f"{parts[1]}, all", row.place_balance)):
            held[name, row.commodity] += row.amount
            if held[name, row.commodity] != balance:
                yield f"the balance of {name} does not follow from its lines"
    yield from (f"does not balance in {commodity}" for commodity, total in loose.items() if total)


def _quotes(work: Work) -> Found:
    for row in work.connection.execute(select(tables.quotes).order_by(tables.quotes.c.n)):
        yield _differs(row.number, row.document, row.hash, partial(quotes.document_again, work, row))


def _purchases(work: Work) -> Found:
    for row in work.connection.execute(select(tables.purchases).order_by(tables.purchases.c.n)):
        again = _again(row.number, partial(purchases.again, work, row))
        yield again if isinstance(again, str) else _same(work, row, *again)


def _reconciliations(work: Work) -> Found:
    of = tables.reconciliations
    for row in work.connection.execute(select(of).order_by(of.c.n)):
        again = _again(row.id, partial(reconciliations.again, work, row))
        yield again if isinstance(again, str) else _same(work, row, *again)


def _settlements(work: Work) -> Found:
    of = tables.settlements
    for row in work.connection.execute(select(of).where(of.c.number.is_not(None)).order_by(of.c.n)):
        again = _again(row.number, partial(settlements.again, work, row))
        yield again if isinstance(again, str) else _same(work, row, *again[:2]) or _given_away(row, again[2])


def _given_away(row: Any, given: list[Fault]) -> str | None:
    """Bars beyond what a lot covers are posted by an owner's word alone (E4)."""
    unsaid = bool(given) and row.document["owners_word"] is None
    return f"{row.number}: {given[0].wrong}, without an owner's word" if unsaid else None


def _again(name: str, reckon: Callable[[], Any]) -> Any:
    try:
        return reckon()
    except (Refused, LookupError, ValueError, TypeError) as error:
        return f"{name}: can't be reckoned anew: {error}"


def _differs(name: str, kept: Any, digest: str, reckon: Callable[[], Any]) -> str | None:
    again = _again(name, reckon)
    if isinstance(again, str):
        return again
    if document.digest(kept) != digest:
        return f"{name}: its hash is not that of its document"
    if document.canonical(again) != document.canonical(kept):
        fields = sorted(k for k in {*again, *kept} if again.get(k) != kept.get(k))
        return f"{name}: reckoned anew it differs in {', '.join(fields)}"
    return None


def _same(work: Work, row: Any, again: dict[str, Any], entry: Any) -> str | None:
    """The document is what the reckoning says, and the journal holds the entry that it makes."""
    name = entry.document
    wrong = _differs(name, row.document, row.hash, lambda: again)
    if wrong is not None:
        return wrong
    posted = journal.legs_of(work, name)
    if entry.legs and sorted(posted) != sorted(
        (leg.account, leg.commodity, leg.amount) for leg in entry.legs
    ):
        return f"{name}: the journal's entry is not the one that it makes"
    return None


def _bars(work: Work) -> Found:
    """What the books say is in bars is what the bars in the house hold."""
    for metal in METALS:
        held = bars.in_house_mg(work, metal)
        said = journal.balance(work, postings.BARS, metal)
        yield None if held == said else f"bars of {metal}: the books say {said} mg, the bars hold {held} mg"


_NO_GAP = (
    ("S", select(tables.settlements.c.number).where(tables.settlements.c.number.is_not(None))),
    ("P", select(tables.purchases.c.number)),
    ("I", bar_sales.numbers()),
    ("N", select(tables.reversals.c.number).where(tables.reversals.c.number.is_not(None))),
    ("J", select(tables.journal_entries.c.id)),
)


def _numbers(work: Work) -> Found:
    """Series without a gap: each number from 1 to the last that was drawn is there once."""
    for series, drawn_ones in _NO_GAP:
        there: dict[int, list[int]] = defaultdict(list)
        for number in work.connection.execute(drawn_ones).scalars():
            *_, year, count = f"0-{number.removeprefix(series + '-')}".rsplit("-", 2)
            there[int(year)].append(int(count))
        of = tables.numbers.c
        drawn = select(of.year, of.last).where(of.series == series)
        last = {row.year: row.last for row in work.connection.execute(drawn)}
        gaps = [
            str(year or "all years")
            for year in sorted({*there, *last})
            if sorted(there[year]) != list(range(1, last.get(year, 0) + 1))
        ]
        yield f"series {series}: a gap or a number twice in {', '.join(gaps)}" if gaps else None
