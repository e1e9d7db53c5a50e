"""The books as files: each list as CSV (RFC 4180), the bars in the house, the journal as plain text.

A text that a spreadsheet would take for a formula is prefixed, so that it is shown and not
run, and so is one within a cell where a spreadsheet of another country, that parts cells by
semicolons or tabs, would see a cell begin; figures are exact and stay figures.
"""

import csv
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import datetime
from decimal import Decimal
from pathlib import Path
from typing import Any

from sqlalchemy import Row, Table, select

from settle.books import (
    bar_sales,
    bars,
    clients,
    lots,
    personal,
    plain_text,
    purchases,
    quotes,
    records,
    register,
    tables,
    till,
)
from settle.books.balances import is_metal
from settle.books.columns import moment_text
from settle.books.listing import MOST, Page
from settle.books.work import Work
from settle.reckoning.money import PLACES

Cell = str | int | Decimal | datetime | None
Rows = Iterator[Sequence[Cell]]

# OWASP's list (CSV injection), with the wide forms that East Asian spreadsheets take for the same.
_RUN_AS_FORMULA = re.compile(r"(^|[;\t\r\n]\"?)(?=[=+@\t\r＝＋－＠-])")
JOURNAL_AS_TEXT = "journal.beancount"


def write(work: Work, folder: Path) -> Iterator[Path]:
    """Write every file into a folder, and tell each once it is whole."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, (heading, rows) in LISTS.items():
        path = folder / f"{name}.csv"
        with path.open("w", encoding="utf-8", newline="") as file:
            writer = csv.writer(file)
            writer.writerow(heading)
            writer.writerows([written(cell) for cell in row] for row in rows(work))
        yield path
    path = folder / JOURNAL_AS_TEXT
    with path.open("w", encoding="utf-8", newline="\n") as file:
        file.writelines(f"{line}\n" for line in plain_text.lines(work))
    yield path


def written(cell: Cell) -> str:
    """A cell as it is written: a figure with its digits, a text that no spreadsheet runs."""
    if cell is None:
        return ""
    if isinstance(cell, Decimal):
        return f"{cell:f}"
    if isinstance(cell, datetime):
        return moment_text(cell)
    return _RUN_AS_FORMULA.sub(r"\1'", cell) if isinstance(cell, str) else str(cell)


def _of(work: Work, table: Table) -> Iterator[Row[Any]]:
    yield from work.connection.execute(select(table).order_by(table.c.n))


def _clients(work: Work) -> Rows:
    for row in _of(work, tables.clients):
        who = personal.kept(work, row.id, clients.CLIENT) or {}
        told = [who.get(field) for field in ("name", "address", "email", "telephone", "note")]
        yield row.id, *told, row.default_terms, row.made_at, row.erased_at


def _quotes(work: Work) -> Rows:
    for row in _of(work, tables.quotes):
        nets = _ends(row.document["net_range"])
        about = (row.number, row.client, row.terms, quotes.state_of(work, row))
        yield *about, row.made_at, row.valid_until, row.accepted_at, row.lot, row.document["currency"], *nets


def _ends(of: Mapping[str, Any] | None) -> list[Decimal | None]:
    """Least, likely, greatest; nothing where nothing could be valued."""
    ends = ("least", "likely", "greatest")
    return [None if of is None else Decimal(of[end]["amount"]) for end in ends]


def _lots(work: Work) -> Rows:
    for row in _of(work, tables.lots):
        state = lots.state_of(work, row)
        settled = lots.last_settlement(work, row.number)
        about = (row.number, row.client, row.quote, row.terms, state)
        yield *about, row.received_at, row.hold_until, row.batch, None if settled is None else settled.number


def _batches(work: Work) -> Rows:
    for row in _of(work, tables.batches):
        of = tables.lots.c
        there = work.connection.execute(select(of.number).where(of.batch == row.number).order_by(of.n))
        yield row.number, " ".join(there.scalars()), row.made_at


def _settlements(work: Work) -> Rows:
    for row in _of(work, tables.settlements):
        final = row.document["cases"]["final"]
        totals = [Decimal(final[name]["amount"]) for name in _TOTALS]
        about = (row.id, row.number, row.lot, row.inputs["client"], row.state)
        further = row.inputs.get("further_to")
        yield *about, further, row.made_at, row.posted_at, row.document["currency"], *totals, row.hash


def _purchases(work: Work) -> Rows:
    for row in _of(work, tables.purchases):
        kept = row.document
        state = purchases.state_of(work, row.number)
        about = (row.number, row.client, kept["terms"], state, row.made_at, kept["paid_in"], kept["currency"])
        money = [Decimal(kept[name]["amount"]) for name in ("charges_total", "tax_total", "net", "paid")]
        yield *about, *money, row.hash


def _bar_sales(work: Work) -> Rows:
    of = tables.records
    for row in work.connection.execute(select(of).where(of.c.kind == bar_sales.SALE).order_by(of.c.n)):
        sale = bar_sales.shown(work, records.of_row(row))
        about = [sale[name] for name in ("id", "number", "bar", "client", "terms", "state")]
        money = [Decimal(sale[name]["amount"]) for name in ("value", "tax_total", "net")]
        yield *about, row.made_at, sale["paid_in"], sale["currency"], *money, sale["hash"]


def _credit_notes(work: Work) -> Rows:
    for row in _of(work, tables.reversals):
        if row.number is None:
            continue
        note = row.document
        about = (row.number, note["credits"]["number"], note["client"], note["terms"], row.made_at)
        money = [Decimal(note[name]["amount"]) for name in ("charges_total", "tax_total", "net")]
        yield *about, note["currency"], *money, row.reason


def _payments(work: Work) -> Rows:
    """What an outright purchase paid stands with the purchase."""
    for row in _of(work, tables.payments):
        paid = till.shown(work, row)
        told = [paid[name] for name in ("direction", "paid_in", "state")]
        money = (paid["amount"]["currency"], Decimal(paid["amount"]["amount"]))
        yield row.id, row.subject, row.client, *told, row.made_at, *money, row.person


def _register(work: Work) -> Rows:
    """A row an item: who brought it and when, marks as stamped, paid how, melted when, which bars."""
    page: Page | None = Page(MOST)
    entries = []
    while page is not None:
        found, listed = register.listed(work, page)
        entries += found
        page = None if listed.next_after is None else Page(MOST, listed.next_after)
    for entry in reversed(entries):
        who = entry["client"]
        about = (*(entry[name] for name in ("document", "kind", "when")), who["id"], who["name"])
        paid = " ".join(_paid(one) for one in entry["paid"])
        went = (entry.get("melted_at"), entry.get("batch"), " ".join(entry.get("bars", ())))
        for item in entry["items"]:
            marks = [item[name] for name in ("description", "stamped", "evidence", "count")]
            weights = [Decimal(item[name]["g"]) for name in ("gross", "net")]
            yield *about, entry["taken_in_by"], *marks, *weights, paid, *went


def _paid(paid: Mapping[str, Any]) -> str:
    """Such as `811.04GBP/transfer/to_client`."""
    money = "".join(paid["amount"][name] for name in ("amount", "currency"))
    return "/".join((money, paid["paid_in"], paid["direction"]))


def _prices(work: Work) -> Rows:
    for row in _of(work, tables.prices):
        price = row.data
        yield row.id, row.metal, Decimal(price["amount"]), price["currency"], price["per"], row.entered_at


def _journal(work: Work) -> Rows:
    entry, line = tables.journal_entries, tables.journal_lines
    both = select(entry, line).join(line, line.c.entry == entry.c.n)
    for row in work.connection.execute(both.order_by(line.c.entry, line.c.position)):
        figures = (_figure(row.commodity, units) for units in (row.amount, row.balance))
        about = (row.id, row.made_at, row.document, row.text, row.reverses, row.reason)
        yield *about, row.account, row.commodity, *figures


def _figure(commodity: str, units: int) -> Decimal:
    """Grams of fine metal, or money."""
    return Decimal(units).scaleb(-3 if is_metal(commodity) else -PLACES[commodity])


def _bars(work: Work) -> Rows:
    for row in _of(work, tables.bars):
        yield _bar(work, row)


def _bar_list(work: Work) -> Rows:
    """The bars that are in the house."""
    for row in _of(work, tables.bars):
        if row.state in bars.IN_HOUSE:
            yield _bar(work, row)


def _bar(work: Work, row: Row[Any]) -> Sequence[Cell]:
    bar = bars.shown(work, row.serial)
    stated = [Decimal(bar[name]["g"]) for name in ("reading", "stated_weight", "stated_fine")]
    fineness = Decimal(bar["stated_fineness"])
    about = (row.serial, row.metal, row.state, bar["belongs_to"], row.lot, row.batch)
    return *about, *stated, fineness, row.made_at


_TOTALS = ("payouts_total", "top_ups_total", "charges_total", "tax_total", "waived", "net")
_BAR = (
    *("serial", "metal", "state", "belongs_to", "lot", "batch", "reading_g", "stated_weight_g"),
    *("stated_fine_g", "stated_fineness_ppt", "made_at"),
)

# Each list: its heading and its rows.
LISTS: Mapping[str, tuple[Sequence[str], Callable[[Work], Rows]]] = {
    "clients": (
        ("id", "name", "address", "email", "telephone", "note", "default_terms", "made_at", "erased_at"),
        _clients,
    ),
    "quotes": (
        (
            *("number", "client", "terms", "state", "made_at", "valid_until", "accepted_at", "lot"),
            *("currency", "net_least", "net_likely", "net_greatest"),
        ),
        _quotes,
    ),
    "lots": (
        (
            *("number", "client", "quote", "terms", "state", "received_at", "hold_until", "batch"),
            "settlement",
        ),
        _lots,
    ),
    "batches": (("number", "lots", "made_at"), _batches),
    "bars": (_BAR, _bars),
    "bar-list": (_BAR, _bar_list),
    "settlements": (
        (
            *("id", "number", "lot", "client", "state", "further_to", "made_at", "posted_at", "currency"),
            *(*_TOTALS, "hash"),
        ),
        _settlements,
    ),
    "purchases": (
        (
            *("number", "client", "terms", "state", "made_at", "paid_in", "currency"),
            *("charges_total", "tax_total", "net", "paid", "hash"),
        ),
        _purchases,
    ),
    "bar-sales": (
        (
            *("id", "number", "bar", "client", "terms", "state", "made_at", "paid_in", "currency", "value"),
            *("tax_total", "net", "hash"),
        ),
        _bar_sales,
    ),
    "credit-notes": (
        (
            *("number", "credits", "client", "terms", "made_at", "currency"),
            *("charges_total", "tax_total", "net", "reason"),
        ),
        _credit_notes,
    ),
    "payments": (
        (
            *("id", "of", "client", "direction", "paid_in", "state", "made_at", "currency", "amount"),
            "person",
        ),
        _payments,
    ),
    "register": (
        (
            *("document", "kind", "when", "client", "name", "taken_in_by", "description", "stamped"),
            *("evidence", "count", "gross_g", "net_g", "paid", "melted_at", "batch", "bars"),
        ),
        _register,
    ),
    "prices": (("id", "metal", "amount", "currency", "per", "entered_at"), _prices),
    "journal": (
        (
            *("entry", "made_at", "document", "text", "reverses", "reason", "account", "commodity"),
            *("amount", "balance"),
        ),
        _journal,
    ),
}
