"""Whether anything of a posting is there without the rest of it, asked of the tables alone.

`check` reckons documents anew; this looks only for parts that miss each other, in words of its own.
"""

import hashlib
import json
from collections import Counter
from collections.abc import Iterator
from typing import Any

from sqlalchemy import func, select

from settle.books import tables
from settle.books.work import Work

# The end of a path → the table of what it makes, and what tells that a row of it is posted.
POSTED = {
    "/posting": (tables.settlements, tables.settlements.c.number),
    "/payments": (tables.payments, tables.payments.c.id),
    "/purchases": (tables.purchases, tables.purchases.c.number),
    "/reversal": (tables.reversals, tables.reversals.c.number),
}
DRAWN = {"S": "/posting", "P": "/purchases", "N": "/reversal"}
TOLD = {"/posting": "settlement.posted", "/payments": "payment.recorded"}


def kept_answers(work: Work) -> dict[str, str]:
    """Idempotency-Key → hash of the answer, of what the postings were answered."""
    of = tables.idempotency.c
    rows = work.connection.execute(select(of.idempotency_key, of.path, of.answer))
    return {row[0]: hashlib.sha256(row.answer).hexdigest() for row in rows if row[0].startswith("life ")}


def half_done(work: Work) -> list[str]:
    return [*_numbers(work), *_answers(work), *_events(work), *_journal(work)]


def _names(work: Work, end: str) -> list[str]:
    _, name = POSTED[end]
    return list(work.connection.execute(select(name).where(name.is_not(None))).scalars())


def _numbers(work: Work) -> Iterator[str]:
    """A number that was drawn has its document, and every document its number."""
    of = tables.numbers.c
    for series, end in DRAWN.items():
        drawn = select(func.sum(of.last)).where(of.series == series)
        last = int(work.connection.execute(drawn).scalar() or 0)
        there = sorted(int(name.rpartition("-")[2]) for name in _names(work, end))
        if there != list(range(1, last + 1)):
            yield f"{series}: {last} drawn, there are {there}"


def _answers(work: Work) -> Iterator[str]:
    """An answer that is kept tells of a document that is there, and there is one for each."""
    told: dict[str, Counter[str]] = {end: Counter() for end in POSTED}
    for row in work.connection.execute(select(tables.idempotency)):
        end = next((end for end in POSTED if row.path.endswith(end)), None)
        if end is not None:
            told[end][_told(json.loads(row.answer))[end]] += 1
    for end, names in told.items():
        if names != Counter(_names(work, end)):
            yield f"{end}: answers tell of {names}, there are {_names(work, end)}"


def _told(answer: Any) -> dict[str, Any]:
    """Of an answer the name of what was made, by the end of its path."""
    number, name = answer.get("number"), answer.get("id")
    note = (answer.get("reversal") or {}).get("credit_note")
    return {"/posting": number, "/purchases": number, "/payments": name, "/reversal": note}


def _events(work: Work) -> Iterator[str]:
    for end, kind in TOLD.items():
        count = select(func.count()).where(tables.events.c.kind == kind)
        told, there = work.connection.execute(count).scalar_one(), len(_names(work, end))
        if told != there:
            yield f"{end}: {told} events of {there}"


def _journal(work: Work) -> Iterator[str]:
    """Every document has one entry, every reversal undoes one, every entry its lines and a document."""
    line = tables.journal_lines.c
    made: Counter[str] = Counter()
    for row in work.connection.execute(select(tables.journal_entries)):
        lines = list(work.connection.execute(select(line.commodity, line.amount).where(line.entry == row.n)))
        made[row.document] += 1
        loose: Counter[str] = Counter()
        for commodity, amount in lines:
            loose[commodity] += amount
        if not lines or any(loose.values()):
            yield f"{row.id}: its lines are {lines}"
    named = [name for end in ("/posting", "/payments", "/purchases") for name in _names(work, end)]
    named += work.connection.execute(select(tables.reversals.c.id)).scalars()
    if made != Counter(named):
        yield f"entries of {sorted(made - Counter(named))}, none of {sorted(Counter(named) - made)}"
