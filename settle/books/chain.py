"""The hash chain over what is posted: whatever is changed afterwards is found.

Each sealed row adds a link: SHA-256 over the link before it, the table, the
row's name and the hash of the row's canonical bytes. Columns that may change
(a quote's state, a settlement's reversal) are not sealed; personal data never is.
"""

import hashlib
from collections.abc import Iterator, Mapping
from typing import Any

from sqlalchemy import Row, Select, Table, select

from settle.books import tables
from settle.books.columns import moment_text
from settle.books.tables import chain
from settle.books.work import Work
from settle.reckoning import document

START = "0" * 64
_BY = ("key", "person")
ACCEPTANCES = "acceptances"


class Sealed:
    """A table whose rows are sealed: the column that names a row, and those that are sealed.

    What comes to a row later is sealed by itself, under a name `of` its own, once its first
    column is filled; a row is, once it has its name.
    """

    def __init__(self, table: Table, name: str, *columns: str, of: str | None = None) -> None:
        self.table = table
        self.of = of or table.name
        self.name = table.c[name]
        self.filled = self.name if of is None else table.c[columns[0]]
        self.columns = ("n", name, *columns)

    def rows(self) -> Select[Any]:
        return select(self.table)

    def digest(self, work: Work, row: Row[Any]) -> str:  # noqa: ARG002 - entries need the work
        return document.digest({c: _plain(getattr(row, c)) for c in self.columns})


class SealedEntry(Sealed):
    """A journal entry is sealed with its lines."""

    def digest(self, work: Work, row: Row[Any]) -> str:
        line = tables.journal_lines
        query = select(line).where(line.c.entry == row.n).order_by(line.c.position)
        lines = [list(found) for found in work.connection.execute(query)]
        entry = {c: _plain(getattr(row, c)) for c in self.columns}
        return document.digest(entry | {"lines": lines})


def _plain(value: Any) -> Any:
    if isinstance(value, bytes):
        return hashlib.sha256(value).hexdigest()
    return moment_text(value) if hasattr(value, "astimezone") else value


_OF: tuple[Sealed, ...] = (
    Sealed(tables.scales, "id", "name", "data", "version", "made_at"),
    Sealed(tables.moulds, "id", "name", "data", "version", "made_at"),
    Sealed(tables.prices, "id", "metal", "data", "entered_at", *_BY),
    Sealed(tables.terms, "id", "name", "public", "data", "made_at", *_BY),
    Sealed(tables.records, "id", "subject", "kind", "data", "corrects", "reason", "made_at", *_BY),
    Sealed(
        tables.quotes,
        "number",
        *("client", "terms", "valid_until", "request", "document", "hash", "made_at", "revises", *_BY),
    ),
    Sealed(tables.quotes, "number", "accepted_at", "acceptance", of=ACCEPTANCES),
    Sealed(tables.lots, "number", "client", "terms", "quote", "received_at", "hold_until", "made_at"),
    Sealed(tables.purchases, "number", "client", "document", "hash", "made_at", *_BY),
    Sealed(tables.photographs, "id", "lot", "media_type", "hash", "picture", "made_at", *_BY),
    Sealed(
        tables.reconciliations,
        "id",
        *("batch", "recovery", "metal", "document", "hash", "posted_at", *_BY),
    ),
    Sealed(
        tables.settlements,
        "number",
        *("id", "lot", "document", "inputs", "hash", "version", "made_at", "posted_at", *_BY),
    ),
    Sealed(tables.payments, "id", "subject", "client", "data", "made_at", *_BY),
    Sealed(tables.reversals, "id", "number", "subject", "reason", "document", "made_at", *_BY),
    Sealed(tables.periods, "month", "locked_at", *_BY),
    SealedEntry(tables.journal_entries, "id", "document", "text", "reverses", "reason", "made_at", *_BY),
)
SEALED: Mapping[str, Sealed] = {sealed.of: sealed for sealed in _OF}


def seal(work: Work, table: Table, name: str, *, of: str | None = None) -> None:
    """Seal a row as it stands, or what came to it later, at the end of the chain."""
    sealed = SEALED[of or table.name]
    row = work.connection.execute(sealed.rows().where(sealed.name == name)).one()
    newest = select(chain.c.n, chain.c.link).order_by(chain.c.n.desc()).limit(1)
    n, before = work.connection.execute(newest).first() or (0, START)
    digest = sealed.digest(work, row)
    # Counted here: a database's own count leaves out what was taken back.
    work.connection.execute(
        chain.insert().values(
            n=n + 1, of=sealed.of, name=name, hash=digest, link=link(before, sealed.of, name, digest)
        )
    )


def link(before: str, of: str, name: str, digest: str) -> str:
    """The link of one sealed row."""
    return hashlib.sha256("\n".join((before, of, name, digest)).encode()).hexdigest()


def last_entry_before(work: Work, table: Table, name: str) -> int:
    """The number of the last entry (`records`) that was sealed before a row of another table."""
    of, records = chain.c, tables.records
    row = select(of.n).where(of.of == table.name, of.name == name).scalar_subquery()
    before = select(records.c.n).join(chain, (of.of == "records") & (of.name == records.c.id))
    query = before.where(of.n < row).order_by(of.n.desc()).limit(1)
    return int(work.connection.execute(query).scalar() or 0)


def faults(work: Work) -> Iterator[str | None]:
    """Walk the chain: None for a link that holds, else what is wrong, naming the document."""
    before = START
    for n, row in enumerate(work.connection.execute(select(chain).order_by(chain.c.n)), 1):
        wrong = []
        if row.n != n or row.link != link(before, row.of, row.name, row.hash):
            wrong.append(f"{row.name}: its link in the chain does not follow from the one before")
        if (changed := _changed(work, row)) is not None:
            wrong.append(changed)
        yield from wrong or (None,)
        before = row.link


def _changed(work: Work, of: Row[Any]) -> str | None:
    """What is wrong with the row that a link seals."""
    sealed = SEALED.get(of.of)
    try:
        query = None if sealed is None else sealed.rows().where(sealed.name == of.name)
        row = None if query is None else work.connection.execute(query).first()
        if sealed is None or row is None:
            return f"{of.name}: sealed in {of.of}, and not there"
        as_sealed = sealed.digest(work, row) == of.hash
    except ValueError:
        # Not even JSON or a moment any more.
        as_sealed = False
    return None if as_sealed else f"{of.name}: {of.of} was changed after it was posted"


def unsealed(work: Work) -> Iterator[str]:
    """Rows that should be sealed and are not."""
    for of, sealed in SEALED.items():
        names = select(chain.c.name).where(chain.c.of == of)
        missing = select(sealed.name).where(sealed.filled.is_not(None), sealed.name.not_in(names))
        for name in work.connection.execute(missing).scalars():
            yield f"{name}: posted in {of}, and not in the chain"
