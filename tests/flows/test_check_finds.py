"""What is changed behind the books' back is found, and named."""

from pathlib import Path
from typing import Any

import pytest
import stores
from desk import Desk, grams, money
from stages import BARS, BATCH, CLIENT, SETTLEMENT, Clock

from settle.books.check_dealings import parts
from settle.books.work import open_books

WEIGHT = "metals[0].weight.amount"
BOUGHT = """kind = 'stock' AND data LIKE '%"kind":"bought"%'"""


def changed(table: str, column: str, member: str, value: object, where: str = "1 = 1") -> str:
    return f"UPDATE {table} SET {column} = {stores.with_member(column, member, value)} WHERE {where}"


@pytest.fixture
def full(settled: Desk) -> Desk:
    """A payment, a bar handed over, a bar bought, one sold, a payment reversed; stock entered and counted;
    a pour that lost 5 mg; tax paid."""
    settled.pay(SETTLEMENT, "100.00", "cash")
    settled.unpay(SETTLEMENT, settled.pay(SETTLEMENT, "50.00")["id"])
    settled.hand_over(BARS[0], "20.03")
    settled.sell_bar(settled.buy_bar()["serial"])
    silver = {"metal": "silver", "weight": grams("10"), "fineness": "925"}
    settled.post("/v1/stock", {"kind": "bought", "metals": [silver], "cost": money("7.00")})
    settled.post("/v1/stock-counts", {"metals": [silver], "book": True, "reason": "swept"})
    settled.post("/v1/cash-counts", {"counted": money("3.00"), "book": True, "reason": "a float"})
    settled.post("/v1/money-moves", {"from": "bank", "to": "tax", "tax": "standard", "amount": money("5.00")})
    taken = {"weight": grams("40.053"), "assay": {"fineness": "999.9"}}
    settled.post(f"/v1/batches/{BATCH}/pours", {"metal": "gold", "taken": taken, "bars": BARS})
    return settled


def found(desk: Desk, target: Path, statement: str) -> list[str]:
    """The faults after a statement that no trigger stops, in a copy of the books."""
    books = open_books(stores.copied(desk.file, target), Clock())
    with stores.forging(target) as forge:
        assert forge(statement) > 0
    with books.reading() as work:
        faults = [fault for _, _, check in parts(work) for fault in check() if fault]
    books.close()
    return faults


@pytest.mark.parametrize(
    ("statement", "named"),
    [
        (changed("payments", "data", "minor", 10001, "id = 'PM-1'"), "PM-1"),
        (changed("payments", "data", "paid_in", "transfer", "id = 'PM-1'"), "PM-1"),
        (changed("records", "data", "stated_mg", 1, "kind = 'handover'"), "E-"),
        (changed("records", "data", "asked.fine_mg", 1, "kind = 'sale'"), "E-"),
        (changed("records", "data", "answer.rate", "2", "kind = 'sale'"), "E-"),
        (changed("records", "data", WEIGHT, "9", BOUGHT), "E-"),
        (changed("records", "data", "cost.amount", "9.00", BOUGHT), "E-"),
        (changed("records", "data", WEIGHT, "9", "kind = 'stock-count'"), "not what was counted"),
        (changed("records", "data", "compared[0].books", 1, "kind = 'stock-count'"), "E-"),
        (changed("records", "data", "counted.amount", "4", "kind = 'cash-count'"), "not what was counted"),
        ("UPDATE records SET reason = NULL WHERE kind = 'cash-count'", "E-"),
        (changed("records", "data", "amount.amount", "6.00", "kind = 'money-move'"), "E-"),
        (changed("records", "data", "taken.weight.amount", "40.063", "kind = 'pour'"), "E-"),
        (changed("bars", "data", "stated.fineness", "999.99", f"serial = '{BARS[1]}'"), BARS[1]),
        (changed("bars", "data", "reading.amount", "20.04", f"serial = '{BARS[1]}'"), BARS[1]),
        ("UPDATE bars SET state = 'assigned' WHERE state = 'handed_over'", f"client:{CLIENT}:bars"),
        ("UPDATE bars SET client = NULL WHERE state = 'assigned'", f"client:{CLIENT}:bars"),
        ("DELETE FROM reversals", f"client:{CLIENT}:money"),
        ("UPDATE reversals SET subject = 'PM-1'", "PM-1"),
        ("UPDATE settlements SET state = 'reversed' WHERE number IS NOT NULL", SETTLEMENT),
    ],
)
def test_a_changed_value_is_found_and_named(full: Desk, tmp_path: Path, statement: str, named: str) -> None:
    faults = found(full, tmp_path / "changed.sqlite3", statement)
    assert any(named in fault for fault in faults), faults


def test_a_credit_note_that_says_otherwise_is_found(settled: Desk, tmp_path: Path) -> None:
    settled.reverse(f"settlements/{SETTLEMENT}")
    otherwise = changed("reversals", "document", "net.amount", "-1.00")
    assert "N-2026-0001" in found(settled, tmp_path / "changed.sqlite3", otherwise)[0]


def test_books_that_nobody_changed_have_no_fault(full: Desk, tmp_path: Path) -> None:
    nothing: Any = found(full, tmp_path / "same.sqlite3", "UPDATE bars SET state = state")
    assert nothing == []
