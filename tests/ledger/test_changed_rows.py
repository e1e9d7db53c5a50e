"""Any value changed in a posted row is found by `check`, which names the row."""

from pathlib import Path
from typing import Any

import pytest
import stores
from ledger_house import House, a_house
from sqlalchemy import text
from stages import SETTLEMENT, Clock, go_on

from settle.books import chain, check, tables

# What goes on after the row is posted, so that it can't be sealed with it.
GOES_ON = {
    "quotes": {"state", "lot", "closed_at"},
    "settlements": {"state"},
    "lots": {"data", "batch"},
}


@pytest.fixture(scope="session")
def full(road: Any, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Any, dict[str, str]]:
    """Books with a row in every table that is sealed."""
    source, now, keys = road
    file = tmp_path_factory.mktemp("full") / "books.sqlite3"
    stores.copied(source, file)
    house = a_house(file, Clock(now), keys)
    go_on(house.till, house.clock)
    assert house.faults() == []
    house.books.close()
    return file, house.clock.now, keys


@pytest.fixture
def house(full: Any, tmp_path: Path) -> Any:
    source, now, keys = full
    file = tmp_path / "books.sqlite3"
    stores.copied(source, file)
    found = a_house(file, Clock(now), keys)
    yield found
    found.books.close()


def sealed_columns() -> list[tuple[str, str]]:
    of_tables = [sealed.table for sealed in chain.SEALED.values()]
    every = dict.fromkeys([*of_tables, tables.journal_lines])
    return [(t.name, c.name) for t in every for c in t.columns if c.name not in GOES_ON.get(t.name, set())]


def name_column(table: str) -> str:
    return "account" if table == "journal_lines" else chain.SEALED[table].name.name


def tamper(file: Path, *statements: str) -> None:
    with stores.forging(file) as forge:
        for statement in statements:
            assert forge(statement) == 1, statement


def looked_up(file: Path, query: str) -> Any:
    with stores.sql(file) as connection:
        return connection.execute(text(query)).scalar_one()


def other_value(table: str, column: str) -> str:
    """SQL of a value that is not the one there, and that the column takes."""
    if str(getattr(tables, table).c[column].type) in ("BIGINT", "INTEGER"):
        return f'"{column}" + 1000'
    if column == "picture":
        return "x'00'" if stores.IS_SQLITE else "decode('00', 'hex')"
    if column in ("document", "data", "request", "inputs", "acceptance") and table != "journal_entries":
        return f"""replace(coalesce("{column}", '{{}}'), '}}', ',"x":1}}')"""
    return f"coalesce(\"{column}\", '') || '0'"


@pytest.mark.parametrize(("table", "column"), sealed_columns(), ids=lambda part: part)
def test_a_changed_value_is_found_and_its_row_named(house: House, table: str, column: str) -> None:
    key = name_column(table)
    where = f"n = (SELECT max(n) FROM {table})"
    if table == "settlements":
        where = f"number = '{SETTLEMENT}'"
    if (table, column) in (("quotes", "acceptance"), ("quotes", "accepted_at")):
        where = "accepted_at IS NOT NULL"
    if table == "journal_lines":
        of = "SELECT id FROM journal_entries WHERE n = (SELECT max(entry) FROM journal_lines)"
        where = f"(entry, position) = (SELECT entry, position FROM {table} ORDER BY 1 DESC, 2 DESC LIMIT 1)"
    else:
        of = f'SELECT "{key}" FROM {table} WHERE {where}'
    name = looked_up(house.file, of)
    tamper(house.file, f'UPDATE {table} SET "{column}" = {other_value(table, column)} WHERE {where}')
    faults = house.faults()
    assert [fault for fault in faults if fault.startswith(f"{name}:")], faults


LAST = "n = (SELECT max(n) FROM chain)"
A_LINE = "entry, 99, 'house:till', 'house', 'house:till', 'GBP', 1, 1, 1 FROM journal_lines WHERE entry = 1 AND position = 0"
A_PRICE = "('PR-9', 'gold', '{}', '2026-03-01T00:00:00.000Z')"
FORGED = [
    ("the last link gone", f"DELETE FROM chain WHERE {LAST}", "not in the chain"),
    ("a link renumbered", f"UPDATE chain SET n = n + 5 WHERE {LAST}", "does not follow"),
    ("a link turned", "UPDATE chain SET name = 'E-99' WHERE name = 'E-1'", "E-99: sealed in records"),
    ("a record gone", "DELETE FROM records WHERE id = 'E-3'", "E-3: sealed in records, and not there"),
    ("a lock lifted", "DELETE FROM periods", "2026-03: sealed in periods, and not there"),
    ("a line more", f"INSERT INTO journal_lines SELECT {A_LINE}", "J-1: journal_entries was changed"),
    ("no JSON any more", "UPDATE records SET data = 'x' WHERE id = 'E-3'", "E-3: records was changed"),
    (
        "a price slipped in",
        f"INSERT INTO prices (id, metal, data, entered_at) VALUES {A_PRICE}",
        "PR-9: posted in prices, and not in the chain",
    ),
]


@pytest.mark.parametrize(("statement", "said"), [f[1:] for f in FORGED], ids=[f[0] for f in FORGED])
def test_what_is_taken_out_slipped_in_or_turned_round_is_found(
    house: House, statement: str, said: str
) -> None:
    tamper(house.file, statement)
    faults = house.faults()
    assert [fault for fault in faults if said in fault], faults


def test_a_posted_tail_that_is_gone_with_its_links_leaves_a_gap(house: House) -> None:
    n = looked_up(house.file, "SELECT max(n) FROM journal_entries")
    link = looked_up(house.file, f"SELECT n FROM chain WHERE of = 'journal_entries' AND name = 'J-{n}'")
    with stores.forging(house.file) as forge:
        for table in ("photographs", "periods", "reversals"):  # sealed after it, or before in one go
            forge(f"DELETE FROM {table}")
        forge("DELETE FROM chain WHERE of IN ('photographs', 'periods', 'reversals')")
        forge(f"DELETE FROM chain WHERE n >= {link}")
        forge(f"DELETE FROM journal_lines WHERE entry = {n}")
        forge(f"DELETE FROM journal_entries WHERE n = {n}")
    assert [fault for fault in house.faults() if "series J: a gap" in fault]


def test_every_part_of_the_check_goes_on_to_its_end(house: House) -> None:
    tamper(house.file, "UPDATE quotes SET document = 'x' WHERE n = 1")
    with house.books.reading() as work:
        named = [name for name, _, _ in check.parts(work)]
    faults = house.faults()
    assert any(fault.startswith("Q-2026-0001: quotes was changed") for fault in faults)
    assert "quotes reckoned anew" in named
    assert any(fault.startswith("quotes reckoned anew: a row can't be read") for fault in faults)
