"""The journal as plain text for double-entry tools: Beancount's syntax, every entry exact.

Metal stands in grams of fine weight. Each entry balances in each commodity by itself (J1),
so it needs no prices and no tolerance. What each account holds in the end is asserted.
"""

from collections.abc import Iterator, Mapping
from datetime import date, timedelta
from typing import Any

from sqlalchemy import Row, select

from settle.books import balances
from settle.books.columns import moment_text
from settle.books.periods import day_of
from settle.books.tables import journal_entries, journal_lines
from settle.books.work import Work
from settle.reckoning.exact import fixed
from settle.reckoning.ledger import owner_of
from settle.reckoning.money import amount
from settle.reckoning.tables import METALS

_ROOTS = {"client": "Liabilities", "tax": "Liabilities", "charges": "Income", "conversion": "Equity"}
# The house's own: what it holds, what it began with, what it earned; the rest is what it bore.
_HOUSE = {
    **dict.fromkeys(("stock", "bars", "bought", "process", "held", "lent", "till", "bank"), "Assets"),
    **dict.fromkeys(("opening", "owner"), "Equity"),
    **dict.fromkeys(("kept", "fees"), "Income"),
}
_OPTIONS = ('option "title" "settle"', 'option "tolerance_multiplier" "0"')

Lines = Iterator[str]


class _Names:
    """Accounts under names that the syntax allows, each its own; the books' name stands beside it."""

    def __init__(self) -> None:
        self.of: dict[str, str] = {}
        self._taken: set[str] = set()

    def __getitem__(self, account: str) -> str:
        if account not in self.of:
            self.of[account] = self._free(_name(account))
            self._taken.add(self.of[account])
        return self.of[account]

    def _free(self, name: str) -> str:
        others = (f"{name}-{n}" for n in range(2, len(self._taken) + 3))
        return next(free for free in (name, *others) if free not in self._taken)


def _name(account: str) -> str:
    root = _HOUSE.get(account.split(":")[1], "Expenses") if owner_of(account) == "house" else ""
    root = root or _ROOTS.get(account.split(":")[0], "Equity")
    return ":".join([root, *(_word(part) for part in account.split(":"))])


def _word(part: str) -> str:
    kept = (c if c.isalpha() or (c.isascii() and c.isdigit()) else " " for c in part)
    bare = "-".join("".join(kept).split())
    return bare[:1].upper() + bare[1:] or "X"


def lines(work: Work) -> Lines:
    """The file, line by line."""
    yield from _OPTIONS
    entries = journal_entries.c
    dated = select(entries.made_at).order_by(entries.n)
    first = work.connection.execute(dated.limit(1)).scalar()
    if first is None:
        return
    names = _Names()
    yield from _opened(work, names, day_of(work, first))
    held: dict[tuple[str, str], int] = {}
    last = first
    for row in work.connection.execute(select(journal_entries).order_by(entries.n)):
        yield from _entry(work, row, names, held)
        last = row.made_at
    yield from _asserted(held, names, day_of(work, last) + timedelta(days=1))


def _opened(work: Work, names: _Names, day: date) -> Lines:
    accounts = select(journal_lines.c.account).distinct().order_by(journal_lines.c.account)
    for commodity in METALS:
        yield from ("", f"{day} commodity {commodity.upper()}", '  name: "grams of fine metal"')
    for account in work.connection.execute(accounts).scalars():
        yield from ("", f"{day} open {names[account]}", f"  account: {_quoted(account)}")


def _entry(work: Work, row: Row[Any], names: _Names, held: dict[tuple[str, str], int]) -> Lines:
    about = {"entry": row.id, "made-at": moment_text(row.made_at), "reverses": row.reverses}
    about["reason"] = row.reason
    yield from ("", f"{day_of(work, row.made_at)} * {_quoted(row.document)} {_quoted(row.text)}")
    yield from (f"  {key}: {_quoted(value)}" for key, value in about.items() if value is not None)
    line = journal_lines.c
    of = select(journal_lines).where(line.entry == row.n).order_by(line.position)
    for found in work.connection.execute(of):
        held[found.account, found.commodity] = found.balance
        yield f"  {names[found.account]}  {_amount(found.commodity, found.amount)}"


def _asserted(held: Mapping[tuple[str, str], int], names: _Names, day: date) -> Lines:
    yield ""
    for (account, commodity), balance in sorted(held.items()):
        figure, unit = _amount(commodity, balance).split(" ")
        yield f"{day} balance {names[account]}  {figure} ~ 0 {unit}"


def _amount(commodity: str, units: int) -> str:
    if balances.is_metal(commodity):
        return f"{fixed(units, 3)} {commodity.upper()}"
    return f"{amount(units, commodity)} {commodity}"


def _quoted(text: str) -> str:
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + " ".join(escaped.splitlines()) + '"'
