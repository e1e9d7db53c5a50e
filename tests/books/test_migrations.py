"""The schema, and what can't be done to a posted row."""

import re
from pathlib import Path

import pytest
import stores
from alembic.autogenerate import compare_metadata
from alembic.runtime.migration import MigrationContext
from sqlalchemy import CheckConstraint, inspect, text
from sqlalchemy.exc import IntegrityError

from settle.books.migrations import is_current, upgrade
from settle.books.store import open_engine, transaction
from settle.books.tables import metadata
from settle.books.work import THE_COMMAND, Books

AT = "2026-03-02T09:30:00.000Z"
ROWS = {
    "terms": {"id": "T-1", "name": "n", "public": 1, "data": "{}", "made_at": AT},
    "prices": {"id": "PR-1", "metal": "gold", "data": "{}", "entered_at": AT},
    "purchases": {"number": "P-1", "document": "{}", "hash": "h", "made_at": AT},
    "records": {"id": "E-1", "subject": "L-1", "kind": "melt", "data": "{}", "made_at": AT},
    "batches": {"number": "B-1", "data": "{}", "made_at": AT},
    "reconciliations": {
        "id": "RC-1", "batch": "B-1", "metal": "gold", "document": "{}", "hash": "h", "posted_at": AT,
    },
    "lots": {"number": "L-1", "terms": "T-1", "data": "{}", "received_at": AT, "made_at": AT},
    "settlements": {
        "id": "ST-1", "lot": "L-1", "state": "draft", "document": "{}", "inputs": "{}", "hash": "h",
        "version": 1, "made_at": AT,
    },
    "quotes": {
        "number": "Q-1", "terms": "T-1", "state": "issued", "valid_until": AT, "request": "{}",
        "document": "{}", "hash": "h", "made_at": AT,
    },
    "payments": {"id": "PM-1", "subject": "ST-1", "data": "{}", "made_at": AT},
    "reversals": {"id": "RV-1", "subject": "ST-1", "reason": "r", "made_at": AT},
    "journal_entries": {"n": 1, "id": "J-1", "document": "ST-1", "text": "t", "made_at": AT},
    "chain": {"of": "records", "name": "E-1", "hash": "h", "link": "k"},
    "journal_lines": {
        "entry": 1, "position": 0, "account": "a", "owner": "a", "place": "a", "commodity": "GBP",
        "amount": 5, "balance": 5, "place_balance": 5,
    },
    "periods": {"month": "2026-02", "locked_at": AT},
    "photographs": {
        "id": "PH-1", "lot": "L-1", "media_type": "image/png", "hash": "h", "picture": b"p", "made_at": AT,
    },
}  # fmt: skip
TABLES = metadata.tables.items()
POSTED = [
    "terms", "prices", "purchases", "records", "reconciliations", "payments", "reversals", "chain",
    "journal_entries", "journal_lines", "periods", "photographs",
]  # fmt: skip


@pytest.fixture
def filled(books: Books) -> Books:
    with books.writing(THE_COMMAND) as work:
        for table, row in ROWS.items():
            marks = ", ".join(f":{c}" for c in row)
            work.connection.execute(text(f"INSERT INTO {table} ({', '.join(row)}) VALUES ({marks})"), row)
    return books


def run(books: Books, statement: str) -> int:
    with books.writing(THE_COMMAND) as work:
        return work.connection.execute(text(statement)).rowcount


def test_migrating_makes_every_table_and_twice_is_once(tmp_path: Path) -> None:
    url = stores.empty(tmp_path / "b.sqlite3")
    engine = open_engine(url)
    assert not is_current(engine)
    upgrade(url)
    upgrade(url)
    assert is_current(engine)
    with transaction(engine, "reading") as connection:
        assert {*inspect(connection).get_table_names()} == {*metadata.tables, "alembic_version"}
    engine.dispose()


def test_the_newest_schema_is_what_the_tables_say(books: Books) -> None:
    """Migrations are never changed once they are out: a new one brings their sum to `tables.py`."""
    with books.reading() as work:
        context = MigrationContext.configure(work.connection, opts={"compare_type": True})
        assert compare_metadata(context, metadata) == []
        inspector = inspect(work.connection)
        checks = {t: {c["name"] for c in inspector.get_check_constraints(t)} for t in metadata.tables}
        keys = {t: inspector.get_pk_constraint(t)["constrained_columns"] for t in metadata.tables}
    named = {t: {c.name for c in of.constraints if isinstance(c, CheckConstraint)} for t, of in TABLES}
    assert checks == named
    assert keys == {t: [column.name for column in of.primary_key] for t, of in TABLES}


def test_a_schema_that_the_tables_do_not_say_is_told(books: Books, tmp_path: Path) -> None:
    with stores.sql(tmp_path / "books.sqlite3") as connection:
        connection.execute(text("ALTER TABLE lots ADD COLUMN colour TEXT"))
        connection.execute(text("DROP INDEX ix_lots_batch"))
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert {difference[0] for difference in compare_metadata(context, metadata)} == {
            "remove_column", "add_index",
        }  # fmt: skip


@pytest.mark.sqlite
def test_every_table_is_strict(books: Books) -> None:
    with books.reading() as work:
        listed = work.connection.exec_driver_sql("PRAGMA table_list").mappings().all()
    ours = {row["name"]: row["strict"] for row in listed if row["name"] in metadata.tables}
    assert ours == dict.fromkeys(metadata.tables, 1)


@pytest.mark.parametrize("table", POSTED)
@pytest.mark.parametrize("statement", ["UPDATE {0} SET {1} = {1}", "DELETE FROM {0}"])
def test_a_posted_row_is_neither_changed_nor_removed(filled: Books, table: str, statement: str) -> None:
    column = list(ROWS[table])[-1]
    with pytest.raises(IntegrityError, match="only added to"):
        run(filled, statement.format(table, column))


@pytest.mark.sqlite
def test_a_posted_row_is_not_replaced_either(filled: Books) -> None:
    with pytest.raises(IntegrityError, match="only added to"):
        run(filled, "INSERT OR REPLACE INTO journal_lines VALUES (1, 0, 'a', 'a', 'a', 'GBP', 6, 6, 6)")


def test_a_draft_may_change_and_be_thrown_away(filled: Books) -> None:
    assert run(filled, "UPDATE settlements SET document = '[]', version = 2") == 1
    assert run(filled, "DELETE FROM settlements") == 1


@pytest.fixture
def posted(filled: Books) -> Books:
    run(filled, f"UPDATE settlements SET state = 'posted', number = 'S-1', posted_at = '{AT}'")
    return filled


@pytest.mark.parametrize(
    "change",
    [
        "document = '[]'",
        "version = 2",
        "number = 'S-2'",
        "state = 'draft', number = NULL",
        "state = 'posted'",
        "state = 'reversed', hash = 'other'",
        "state = 'reversed', person = 'p'",
    ],
)
def test_nothing_of_a_posted_settlement_changes(posted: Books, change: str) -> None:
    with pytest.raises(IntegrityError, match="only reversed"):
        run(posted, f"UPDATE settlements SET {change}")


def test_a_posted_settlement_is_reversed_once_and_for_good(posted: Books) -> None:
    assert run(posted, "UPDATE settlements SET state = 'reversed'") == 1
    for statement in ("UPDATE settlements SET state = 'posted'", "DELETE FROM settlements"):
        with pytest.raises(IntegrityError, match="only reversed"):
            run(posted, statement)


@pytest.mark.parametrize("change", ["request = '[]'", "document = '[]'", "hash = 'x'"])
def test_what_was_quoted_stands(filled: Books, change: str) -> None:
    with pytest.raises(IntegrityError, match="what was quoted stands"):
        run(filled, f"UPDATE quotes SET {change}")


def test_a_quotes_state_goes_on(filled: Books) -> None:
    assert run(filled, "UPDATE quotes SET state = 'withdrawn'") == 1
    with pytest.raises(IntegrityError, match="what was quoted stands"):
        run(filled, "DELETE FROM quotes")


def test_a_row_that_names_what_is_not_there_is_refused(filled: Books) -> None:
    with pytest.raises(IntegrityError, match=r"(?i)foreign key"):
        run(
            filled,
            f"INSERT INTO lots VALUES (9, 'L-9', NULL, 'T-404', NULL, '{{}}', '{AT}', NULL, '{AT}', NULL)",
        )


@pytest.mark.parametrize(("column", "of", "order"), [
    ("balance", "account = 'a' AND commodity = 'GBP'", "entry DESC"),
    ("place_balance", "place = 'a' AND commodity = 'GBP'", "entry DESC, position DESC"),
    ("DISTINCT entry", "owner = 'a' AND entry > 7", "entry"),
])  # fmt: skip
def test_a_balance_and_a_page_are_read_from_an_index_however_long_the_journal(
    filled: Books, column: str, of: str, order: str
) -> None:
    query = f"SELECT {column} FROM journal_lines WHERE {of} ORDER BY {order} LIMIT 1"
    with filled.reading() as work:
        if stores.IS_SQLITE:
            plan = [row[3] for row in work.connection.exec_driver_sql(f"EXPLAIN QUERY PLAN {query}")]
            assert len(plan) == 1
            assert re.match("SEARCH journal_lines USING (COVERING )?INDEX", plan[0])
        else:
            # Of a row or two it would read the whole table and sort it: as if there were many.
            for setting in ("enable_seqscan", "enable_sort", "enable_bitmapscan"):
                work.connection.exec_driver_sql(f"SET LOCAL {setting} = off")
            plan = list(work.connection.exec_driver_sql(f"EXPLAIN {query}").scalars())
            assert any(re.search("Index (Only )?Scan", line) for line in plan), plan
            assert not any(re.search("Seq Scan|Sort", line) for line in plan), plan
