"""What is posted can't be changed or removed, not even in SQL; a reversal is all that is left."""

from collections.abc import Iterator
from typing import Any

import pytest
import stores
from sqlalchemy import Connection, inspect, text
from sqlalchemy.exc import IntegrityError
from stages import DRAFT, QUOTE, gold_only, scrap
from till import everything

COUNTER = {"settle_on": "counter", "accountable": "1", "payout_rate": "1"}
# Each table of what is posted, and a figure in it that someone might want other.
POSTED = {
    "journal_entries": "text = 'nothing of note'",
    "journal_lines": "amount = amount + 1",
    "records": "data = '{}'",
    "reconciliations": "document = '{}'",
    "purchases": "document = '{}'",
    "settlements": "document = '{}'",
    "terms": "data = '{}'",
    "prices": "data = '{}'",
    "quotes": "document = '{}'",
}


@pytest.fixture(scope="module")
def settled(standing: Any) -> Any:
    till = standing("settled")
    till.terms(gold_only(metals={"gold": COUNTER}))
    till.buy({"client": "C-1", "terms": "T-2", "paid_in": "cash", "items": [scrap()]})
    return till


@pytest.fixture
def sql(settled: Any) -> Iterator[Connection]:
    """Someone with the database and a prompt."""
    with stores.sql(settled.file) as connection:
        yield connection


@pytest.mark.parametrize("table", POSTED)
@pytest.mark.parametrize("statement", ["UPDATE {table} SET {change}", "DELETE FROM {table}"])
def test_what_is_posted_is_neither_changed_nor_removed_in_sql(
    settled: Any, sql: Connection, table: str, statement: str
) -> None:
    before = everything(settled.file)
    assert before[table], "without a row nothing could be changed"
    with pytest.raises(IntegrityError, match=table):
        sql.execute(text(statement.format(table=table, change=POSTED[table])))
    assert everything(settled.file) == before


@pytest.mark.parametrize("table", POSTED)
def test_every_column_of_what_is_posted_is_guarded(sql: Connection, table: str) -> None:
    columns = {column["name"]: str(column["type"]) for column in inspect(sql).get_columns(table)}
    # A quote is accepted, withdrawn and becomes a lot; what was quoted stands.
    guarded = ("number", "request", "document", "hash") if table == "quotes" else columns
    for column in guarded:
        new = "'other'" if columns[column].startswith("TEXT") else f"{column} + 1000"
        with pytest.raises(IntegrityError, match=table):
            sql.execute(text(f'UPDATE {table} SET "{column}" = {new}'))


@pytest.mark.sqlite
@pytest.mark.parametrize("table", POSTED)
def test_what_is_posted_is_not_replaced_through_the_books_own_connections(settled: Any, table: str) -> None:
    before = everything(settled.file)
    with settled.books.engine.connect() as connection:
        names = [column["name"] for column in inspect(connection).get_columns(table)]
        values = ", ".join(names)
        with pytest.raises(Exception, match=table):
            connection.exec_driver_sql(f"INSERT OR REPLACE INTO {table} SELECT {values} FROM {table}")
        connection.rollback()
    assert everything(settled.file) == before


@pytest.mark.parametrize("state", ["draft", "reversed"])
def test_a_posted_settlement_can_only_become_reversed(settled: Any, state: str) -> None:
    with settled.books.engine.connect() as connection:
        if state == "reversed":
            connection.exec_driver_sql("UPDATE settlements SET state = 'reversed'")
            assert connection.exec_driver_sql("SELECT state FROM settlements").scalars().all() == ["reversed"]
        with pytest.raises(IntegrityError, match="settlements"):
            connection.exec_driver_sql(
                "UPDATE settlements SET state = 'draft', number = NULL, posted_at = NULL"
            )
        connection.rollback()


def test_a_reversal_in_sql_takes_no_figure_along(sql: Connection) -> None:
    with pytest.raises(IntegrityError, match="settlements"):
        sql.execute(text("UPDATE settlements SET state = 'reversed', document = '{}'"))


def test_a_draft_is_free(at: Any) -> None:
    till = at("drafted")
    with stores.sql(till.file) as connection:
        assert connection.execute(text("UPDATE settlements SET version = version")).rowcount == 1
        assert connection.execute(text("DELETE FROM settlements")).rowcount == 1
    assert till.refused.get(f"/v1/settlements/{DRAFT}").kind == "not-found"


@pytest.mark.parametrize("stage", ["accepted", "received"])
def test_what_was_quoted_stands_whatever_becomes_of_the_quote(standing: Any, stage: str) -> None:
    told = ("cases", "net_range", "items", "prices", "working", "hash", "made_at", "valid_until")
    issued, later = (standing(s).get(f"/v1/quotes/{QUOTE}") for s in ("quoted", stage))
    assert {part: later[part] for part in told} == {part: issued[part] for part in told}
