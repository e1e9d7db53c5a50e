"""J1 to J4, asked of the rows in the file and of the answers, after every step of the machine.

The sums are made here from the rows alone; nothing of the product is imported.
"""

import json
import sqlite3
from collections import Counter
from contextlib import closing
from pathlib import Path
from typing import Any

from naive import METALS, Bar, Model
from papers import CURRENCY, mg, minor

# Of posted rows these columns stand for ever; what may still change of them is not among them.
STANDING = {
    "journal_entries": "n, id, document, text, reverses, reason, made_at",
    "journal_lines": "entry, position, account, commodity, amount, balance, place_balance",
    "settlements": "number, lot, document, inputs, hash, posted_at",
    "purchases": "number, document, hash, made_at",
    "reconciliations": "id, metal, document, hash, posted_at",
    "payments": "id, subject, data, made_at",
    "reversals": "id, number, subject, reason, document, made_at",
    "records": "id, subject, kind, data, corrects, made_at",
    "periods": "month, locked_at",
}
EARNED = {"kept", "fees", "too small to pay"}
HOUSE = {"stock", "bought", "bars", "till", "bank", "owner", "cash rounding", *EARNED}


def everything(books: sqlite3.Connection) -> dict[str, list[tuple[Any, ...]]]:
    """Every row of every table; but for answers that are kept to be repeated, and when a key was used."""
    names = books.execute("SELECT name FROM sqlite_schema WHERE type = 'table' AND name <> 'idempotency'")
    return {name: _rows(books, name) for (name,) in names.fetchall()}


def _rows(books: sqlite3.Connection, table: str) -> list[tuple[Any, ...]]:
    columns = [row[1] for row in books.execute(f"PRAGMA table_info({table})") if row[1] != "last_used_at"]
    return sorted(books.execute(f"SELECT {', '.join(columns)} FROM {table}"), key=repr)


def place_of(account: str) -> str:
    """The model's word for an account of the journal; "" for where the house's differences went."""
    first, *rest = account.split(":")
    if first == "client":
        return " ".join(rest)
    if first in ("charges", "tax"):
        return first
    if first == "house" and rest[0] in ("process", "lent", "held"):
        return " ".join(["in" if rest[0] == "process" else rest[0], *rest[1:]])
    return rest[0] if first == "house" and rest[0] in HOUSE else ""


class Surveyor:
    """Looks at one file of books; remembers what stood posted."""

    def __init__(self, file: Path) -> None:
        self.file = file
        self.stood: dict[str, list[tuple[Any, ...]]] = {}
        # Month → how many entries fell into it when it was locked.
        self.in_locked: dict[str, int] = {}

    def survey(self, model: Model) -> list[str]:
        """Every way in which the books break J1 to J3, or a locked month (J4)."""
        with closing(sqlite3.connect(self.file)) as books:
            lines = books.execute("SELECT entry, account, commodity, amount FROM journal_lines").fetchall()
            return [
                *_loose(lines),
                *self._changed(books),
                *_differs("the journal", _owed_and_held(lines), model.balances()),
                *_bars(books, model),
                *_running(books),
                *_series(books, model),
                *self._locked(books, model),
            ]

    def _changed(self, books: sqlite3.Connection) -> list[str]:
        """J2: what stood posted stands as it was, row for row; in `settlements` drafts are no rows yet."""
        wrong = []
        for table, columns in STANDING.items():
            posted = "WHERE number IS NOT NULL ORDER BY posted_at, n" if table == "settlements" else ""
            order = posted or "ORDER BY rowid"
            rows = books.execute(f"SELECT {columns} FROM {table} {order}").fetchall()
            if table == "settlements":
                lost = [row[0] for row in self.stood.get(table, []) if row not in rows]
            else:
                before = self.stood.get(table, [])
                lost = [row[0] for row, now in zip(before, rows, strict=False) if row != now]
                lost += [row[0] for row in before[len(rows) :]]
            wrong += [f"J2: {table}: {name} is not as it stood" for name in lost]
            self.stood[table] = rows
        return wrong

    def _locked(self, books: sqlite3.Connection, model: Model) -> list[str]:
        wrong = []
        for month in model.locked:
            count = "SELECT count(*) FROM journal_entries WHERE substr(made_at, 1, 7) = ?"
            (there,) = books.execute(count, (month,)).fetchone()
            if self.in_locked.setdefault(month, there) != there:
                wrong.append(f"J4: {month} is locked and took an entry")
        return wrong


def _loose(lines: list[tuple[Any, ...]]) -> list[str]:
    """J1: each entry balances to zero in every commodity, by itself."""
    sums: Counter[tuple[int, str]] = Counter()
    for entry, _, commodity, amount in lines:
        sums[entry, commodity] += amount
    return [f"J1: entry {n} is loose by {by} of {of}" for (n, of), by in sums.items() if by]


def _owed_and_held(lines: list[tuple[Any, ...]]) -> dict[tuple[str, str], int]:
    """The sums of the lines by the model's places, what is a client's or earned turned round."""
    held: Counter[tuple[str, str]] = Counter()
    for _, account, commodity, amount in lines:
        place = place_of(account)
        turned = account.split(":")[0] in ("client", "charges", "tax") or place in EARNED
        if place:
            held[place, commodity] += -amount if turned else amount
    return {of: amount for of, amount in held.items() if amount}


def _differs(who: str, said: dict[Any, int], expected: dict[Any, int]) -> list[str]:
    return [
        f"J3: {who} says {said.get(of, 0)} of {of}, the papers {expected.get(of, 0)}"
        for of in sorted({*said, *expected})
        if said.get(of, 0) != expected.get(of, 0)
    ]


def _bars(books: sqlite3.Connection, model: Model) -> list[str]:
    """J3: bars stand as they were poured, bought, settled, handed over; and hold what the books say."""
    rows = {r[0]: r for r in books.execute("SELECT serial, metal, state, client, lot FROM bars")}
    expected = {s: (s, b.metal, b.state, b.client, b.lot) for s, b in model.bars.items()}
    wrong = [
        f"J3: {serial} is {rows.get(serial)}, by the papers {expected.get(serial)}"
        for serial in sorted({*rows, *expected})
        if rows.get(serial) != expected.get(serial)
    ]
    in_house: Counter[str] = Counter()
    owed: Counter[tuple[str | None, str]] = Counter()
    for bar in model.bars.values():
        _count(bar, in_house, owed)
    wrong += [
        f"J3: bars hold {in_house[metal]} mg of {metal}, the papers {model.held('bars', metal)}"
        for metal in METALS
        if in_house[metal] != model.held("bars", metal)
    ]
    return wrong + [
        f"J3: assigned to {client} are {amount} mg of {metal} in bars"
        for (client, metal), amount in owed.items()
        if amount != model.held(f"{client} bars", metal)
    ]


def _count(bar: Bar, in_house: Counter[str], owed: Counter[tuple[str | None, str]]) -> None:
    if bar.state in ("poured", "assigned"):
        in_house[bar.metal] += bar.fine_mg
    if bar.state == "assigned":
        owed[bar.client, bar.metal] += bar.stated_mg


def _running(books: sqlite3.Connection) -> list[str]:
    """J4: each line carries what its account and its place hold after it."""
    held: Counter[tuple[str, str]] = Counter()
    wrong = []
    lines = books.execute(
        "SELECT entry, account, place, commodity, amount, balance, place_balance FROM journal_lines"
        " ORDER BY entry, position"
    )
    for entry, account, place, commodity, amount, balance, of_place in lines:
        held[account, commodity] += amount
        held[f"{place}, all", commodity] += amount
        if (held[account, commodity], held[f"{place}, all", commodity]) != (balance, of_place):
            wrong.append(f"J4: entry {entry}: the running balance of {account} or its place is off")
    times = [made for (made,) in books.execute("SELECT made_at FROM journal_entries ORDER BY n")]
    return wrong + (["J4: entries run back in time"] if times != sorted(times) else [])


def _series(books: sqlite3.Connection, model: Model) -> list[str]:
    """Papers are numbered from 1 without a gap, one for each that the model saw drawn."""
    drawn = Counter(
        {
            (s, y): last
            for s, y, last in books.execute("SELECT series, year, last FROM numbers WHERE year > 0")
        }
    )
    return [
        f"series {of}: {drawn[of]} drawn, {model.numbers[of]} seen"
        for of in sorted({*drawn, *model.numbers})
        if drawn[of] != model.numbers[of]
    ]


def position(model: Model) -> dict[str, Any]:
    """What a position must say, from the model's balances: milligrams and minor units."""
    found: dict[str, Any] = {}
    for metal in METALS:
        held = {p: model.held(p, metal) for p in ("stock", "bars", "bought")}
        owed: Counter[str] = Counter()
        process = lent = 0
        for (place, of), amount in model.totals.items():
            if of == metal and place.startswith("C-"):
                owed[{"lot": "lots", "metal": "metal_account"}.get(place.split()[1], place.split()[1])] += (
                    amount
                )
            elif of == metal and place.split()[0] in ("in", "held"):
                process += amount
            elif of == metal and place.startswith("lent "):
                lent += amount
        found[metal] = {
            "held": held,
            "owed": {k: v for k, v in owed.items() if v},
            "in_process": process,
            "lent": lent,
        }
        found[metal]["own"] = sum(held.values()) + process + lent - sum(owed.values())
    of_clients = [a for (p, of), a in model.totals.items() if of == CURRENCY and p.startswith("C-")]
    money = {p: model.held(p, CURRENCY) for p in ("till", "bank")}
    money["owed_to_clients"] = sum(a for a in of_clients if a > 0)
    money["owed_by_clients"] = -sum(a for a in of_clients if a < 0)
    money["tax_owed"] = model.held("tax", CURRENCY)
    return found | {"money": money}


def position_read(answer: dict[str, Any]) -> dict[str, Any]:
    """An answered position in the same shape; a metal that was never there holds nothing."""
    found: dict[str, Any] = {}
    for metal in METALS:
        of = answer["metals"].get(metal)
        if of is None:
            found[metal] = {"held": dict.fromkeys(("stock", "bars", "bought"), 0), "owed": {}}
            found[metal] |= {"in_process": 0, "lent": 0, "own": 0}
            continue
        found[metal] = {
            "held": {p: mg(of["held"][p]) for p in ("stock", "bars", "bought")},
            "owed": {p: mg(w) for p, w in of["owed"].items() if p != "total" and mg(w)},
            **{name: mg(of[name]) for name in ("in_process", "lent", "own")},
        }
    money = answer["money"].get(CURRENCY)
    names = ("till", "bank", "owed_to_clients", "owed_by_clients", "tax_owed")
    return found | {"money": {n: minor(money[n]) if money else 0 for n in names}}


def account(model: Model, client: str) -> dict[str, dict[str, int]]:
    """The closing balances of a client's account, as it must read."""
    found: dict[str, dict[str, int]] = {}
    for (place, commodity), amount in model.totals.items():
        if amount and place.split()[0] == client:
            what = {"lot": "lots", "metal": "metal_account"}.get(place.split()[1], place.split()[1])
            of = found.setdefault(what, {})
            of[commodity] = of.get(commodity, 0) + amount
    return {what: {c: a for c, a in of.items() if a} for what, of in found.items() if any(of.values())}


def account_read(closing: dict[str, Any]) -> dict[str, dict[str, int]]:
    return {
        what: {c: minor(of) if c == CURRENCY else mg(of) for c, of in by.items()}
        for what, by in closing.items()
    }


def copied(of: Any) -> Any:
    """A position kept for later, out of reach of what comes after."""
    return json.loads(json.dumps(of))
