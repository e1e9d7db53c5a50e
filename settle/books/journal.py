"""The double-entry journal: posted once, never changed (J1, J2)."""

from collections.abc import Iterator
from datetime import datetime
from typing import Any

from sqlalchemy import ColumnElement, exists, select

from settle.books import chain, erased, periods
from settle.books.columns import moment_text
from settle.books.listing import Listed, Page, page_of
from settle.books.narrowing import ALL, Wanted
from settle.books.tables import journal_entries, journal_lines
from settle.books.work import Work
from settle.reckoning.ledger import Entry, Leg, owner_of, place_of, reversed_entry
from settle.reckoning.problems import Fault, Refused

MOST_UNITS = 10**15
CLIENTS = "client:"
# Why an entry is undone whose record another corrects.
CORRECTED = "corrected"


def post(work: Work, entry: Entry, *, reverses: str | None = None, reason: str | None = None) -> str:
    """Post a balanced entry; its id. An entry that moves nothing is not posted and has none."""
    made_at = now(work)
    # Of a clock that was set back, the document would be dated in a month that the entry is not,
    # or in one that is locked where no entry is.
    for at in {work.now, made_at}:
        periods.refuse_locked(work, at)
    if not entry.legs:
        return ""
    _refuse_beyond_count(entry)
    _refuse_erased(work, entry)
    name = work.name("J")
    added = work.connection.execute(
        journal_entries.insert().values(
            id=name,
            document=entry.document,
            text=entry.text,
            reverses=reverses,
            reason=reason,
            made_at=made_at,
            **work.made_by,
        )
    )
    key = added.inserted_primary_key
    assert key is not None
    work.connection.execute(journal_lines.insert(), list(_rows(work, key[0], entry)))
    chain.seal(work, journal_entries, name)
    return name


def _refuse_erased(work: Work, entry: Entry) -> None:
    """What a client owed or was owed was nothing when the data was erased, and stays so."""
    owners = {owner_of(leg.account) for leg in entry.legs}
    for owner in sorted(owners):
        if owner.startswith(CLIENTS):
            erased.refuse_erased(work, owner.removeprefix(CLIENTS))


def _rows(work: Work, n: int, entry: Entry) -> Iterator[dict[str, Any]]:
    """The lines of an entry, each with what its account and its place hold after it."""
    held: dict[tuple[str, str], int] = {}
    for position, leg in enumerate(entry.legs):
        place = place_of(leg.account)
        of = (place, leg.commodity)
        if of not in held:
            held[of] = place_balance(work, place, leg.commodity)
        held[of] += leg.amount
        yield {
            "entry": n,
            "position": position,
            "account": leg.account,
            "owner": owner_of(leg.account),
            "place": place,
            "commodity": leg.commodity,
            "amount": leg.amount,
            "balance": balance(work, leg.account, leg.commodity) + leg.amount,
            "place_balance": held[of],
        }


def _refuse_beyond_count(entry: Entry) -> None:
    """The books count in 64 bits; what comes near is a slip of the finger."""
    if any(abs(leg.amount) > MOST_UNITS for leg in entry.legs):
        wrong = f"{entry.document} moves more than the books can count"
        raise Refused(Fault("out-of-range", "", wrong, f"at most {MOST_UNITS} milligrams or minor units"))


def now(work: Work) -> datetime:
    """The moment of an entry that is made now: the clock's, but never before the last entry."""
    # A clock that was set back must not put an entry before one that is posted: balances as at
    # a moment rest on entries that stand in the order of their time.
    newest = select(journal_entries.c.made_at).order_by(journal_entries.c.n.desc()).limit(1)
    last: datetime | None = work.connection.execute(newest).scalar()
    return work.now if last is None else max(work.now, last)


def undo(work: Work, entry: str, document: str, reason: str) -> str:
    """Post the reversal of an entry: it names the old one, the reason and, by the key, who (J2)."""
    row = work.connection.execute(select(journal_entries).where(journal_entries.c.id == entry)).one()
    old = Entry(row.document, row.text, tuple(Leg(**line) for line in _lines(work, [row.n])[row.n]))
    return post(
        work, reversed_entry(old, document, f"reversal of {entry}: {row.text}"), reverses=entry, reason=reason
    )


def undo_standing(work: Work, document: str, reason: str) -> None:
    """Undo the entries of a document that stand: it was corrected."""
    for entry in standing(work, document):
        undo(work, entry, document, reason)


def legs_of(work: Work, document: str) -> list[tuple[str, str, int]]:
    """(account, commodity, amount) of the first entry of a document; none where it moved nothing."""
    first = select(journal_entries.c.n).where(
        journal_entries.c.document == document, journal_entries.c.reverses.is_(None)
    )
    n = work.connection.execute(first.order_by(journal_entries.c.n).limit(1)).scalar()
    if n is None:
        return []
    return [(line["account"], line["commodity"], line["amount"]) for line in _lines(work, [n])[n]]


def standing(work: Work, document: str) -> list[str]:
    """The entries of a document that no later one undoes."""
    later = journal_entries.alias("later")
    undone = exists().where(later.c.reverses == journal_entries.c.id)
    query = select(journal_entries.c.id).where(
        journal_entries.c.document == document, journal_entries.c.reverses.is_(None), ~undone
    )
    return list(work.connection.execute(query.order_by(journal_entries.c.n)).scalars())


def balance(work: Work, account: str, commodity: str, at: datetime | None = None) -> int:
    """What an account holds of a commodity, whole milligrams or minor units; now, or as at a moment (J4)."""
    line = journal_lines.c
    query = select(line.balance).where(line.account == account, line.commodity == commodity)
    if at is not None:
        query = query.where(line.entry <= last_entry(work, at))
    newest = query.order_by(line.entry.desc()).limit(1)
    return int(work.connection.execute(newest).scalar() or 0)


def place_balance(work: Work, place: str, commodity: str) -> int:
    """What all accounts of a place hold together, such as `house:lent` of every batch."""
    line = journal_lines.c
    of = select(line.place_balance).where(line.place == place, line.commodity == commodity)
    newest = of.order_by(line.entry.desc(), line.position.desc()).limit(1)
    return int(work.connection.execute(newest).scalar() or 0)


def last_entry(work: Work, at: datetime | None = None) -> int:
    """The row number of the last entry made not after a moment, or of all; 0 before the first."""
    made = journal_entries.c
    newest = select(made.n).order_by(made.made_at.desc(), made.n.desc()).limit(1)
    if at is not None:
        newest = newest.where(made.made_at <= at)
    return int(work.connection.execute(newest).scalar() or 0)


def entries(
    work: Work, page: Page, wanted: Wanted = ALL, document: str | None = None
) -> tuple[list[dict[str, Any]], Listed]:
    """A page of entries with their lines, newest first; of a client are those that touch his accounts."""
    query = wanted.of(work, select(journal_entries), journal_entries.c.made_at, client=_touches)
    if document is not None:
        query = query.where(journal_entries.c.document == document)
    listed = page_of(work, query, journal_entries, page)
    lines = _lines(work, [row.n for row in listed.rows])
    shown = [
        {
            "id": row.id,
            "document": row.document,
            "text": row.text,
            "reverses": row.reverses,
            "reason": row.reason,
            "made_at": moment_text(row.made_at),
            "lines": lines[row.n],
        }
        for row in listed.rows
    ]
    return shown, listed


def _touches(client: str) -> ColumnElement[bool]:
    of = journal_lines.c
    return exists().where(of.owner == f"client:{client}", of.entry == journal_entries.c.n)


def _lines(work: Work, of: list[int]) -> dict[int, list[dict[str, Any]]]:
    query = (
        select(journal_lines)
        .where(journal_lines.c.entry.in_(of))
        .order_by(journal_lines.c.entry, journal_lines.c.position)
    )
    lines: dict[int, list[dict[str, Any]]] = {n: [] for n in of}
    for row in work.connection.execute(query):
        lines[row.entry].append({"account": row.account, "commodity": row.commodity, "amount": row.amount})
    return lines
