"""Where a test keeps its books: in an SQLite file, or with SETTLE_TEST_STORE=postgresql in a database.

Either way a house's books are named by a path of the test's own; what a test does behind the books'
back it does here, so that no test need know which of the two it runs on.
"""

import json
import os
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from hashlib import sha256
from pathlib import Path
from typing import Any

import postgresql
from sqlalchemy import Connection, Engine, create_engine, event, inspect, text

from settle.books.migrations import upgrade

STORE = os.environ.get("SETTLE_TEST_STORE") or "sqlite"
if STORE not in ("sqlite", "postgresql"):
    raise ValueError(f"SETTLE_TEST_STORE can't be {STORE}: sqlite or postgresql")
IS_SQLITE = STORE == "sqlite"
_made: dict[Path, str] = {}


def url(books: Path) -> str:
    """Where the books of this name are, or would be."""
    return f"sqlite:///{books}" if IS_SQLITE else postgresql.server().url(_name(books))


def migrated(books: Path) -> str:
    """New books of the newest schema; their URL."""
    if IS_SQLITE:
        upgrade(url(books))
    else:
        _make(books, postgresql.TEMPLATE)
    return url(books)


def empty(books: Path) -> str:
    """The URL of a database with nothing in it; of SQLite, of a file that is yet to be made."""
    if not IS_SQLITE:
        _make(books, "template0")
    return url(books)


def copied(source: Path, target: Path) -> str:
    """The books of one name under another, though they may be open; their URL."""
    if IS_SQLITE:
        with closing(sqlite3.connect(source)) as one, closing(sqlite3.connect(target)) as other:
            one.backup(other)
    else:
        _make(target, _name(source))
    return url(target)


def forgotten(below: Path) -> None:
    """Drop the databases whose names lie below a folder; files go with their folder."""
    gone = [books for books in _made if books.is_relative_to(below)]
    if gone:
        postgresql.server().drop(*(_made.pop(books) for books in gone))


def _name(books: Path) -> str:
    return "b" + sha256(str(books).encode()).hexdigest()[:20]


def _make(books: Path, of: str) -> None:
    if books in _made:
        postgresql.server().drop(_made.pop(books))
    postgresql.server().make(_name(books), of)
    _made[books] = _name(books)


@contextmanager
def sql(books: Path) -> Iterator[Connection]:
    """Somebody with the database and a prompt: each statement stands at once."""
    engine = create_engine(url(books), isolation_level="AUTOCOMMIT")
    try:
        with engine.connect() as connection:
            yield connection
    finally:
        engine.dispose()


@contextmanager
def forging(books: Path) -> Iterator[Callable[[str], int]]:
    """As whoever owns the database may: statements past triggers, foreign keys and checks; rows changed."""
    with sql(books) as connection:
        for statement in _PAST[STORE]:
            connection.exec_driver_sql(statement)
        for (statement,) in connection.exec_driver_sql(_TAKEN_AWAY[STORE]).all():
            connection.exec_driver_sql(statement)
        # The driver of PostgreSQL would take a percent sign for the place of a value.
        percent = "%" if IS_SQLITE else "%%"
        yield lambda statement: connection.exec_driver_sql(statement.replace("%", percent)).rowcount


_PAST = {
    "sqlite": ("PRAGMA foreign_keys = OFF", "PRAGMA ignore_check_constraints = ON"),
    "postgresql": ("SET session_replication_role = replica",),
}
_TAKEN_AWAY = {
    "sqlite": "SELECT 'DROP TRIGGER ' || name FROM sqlite_schema WHERE type = 'trigger'",
    "postgresql": "SELECT format('ALTER TABLE %%s DROP CONSTRAINT %%I', conrelid::regclass, conname) "
    "FROM pg_constraint WHERE contype = 'c' AND conrelid <> 0",
}


def with_member(column: str, name: str, value: object) -> str:
    """SQL of a column's JSON with another value of a member; `name` may be `a.b[0].c`."""
    new = json.dumps(value)
    if IS_SQLITE:
        return f"json_set({column}, '$.{name}', json('{new}'))"
    path = name.replace("[", ".").replace("]", "").replace(".", ",")
    return f"jsonb_set({column}::jsonb, '{{{path}}}', '{new}'::jsonb)::text"


def impatient(engine: Engine, ms: int = 20) -> None:
    """Wait for no lock longer than a moment."""
    told = f"PRAGMA busy_timeout = {ms}" if IS_SQLITE else f"SET lock_timeout = '{ms}ms'"

    def tell(connection: Any, _record: Any) -> None:
        connection.execute(told).close()
        connection.commit()

    event.listen(engine, "connect", tell)


def texts(books: Path) -> bytes:
    """Everything that is in the file, and in what stands beside it; of PostgreSQL, in the rows."""
    if IS_SQLITE:
        with closing(sqlite3.connect(books)) as raw:
            raw.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        return b"".join(file.read_bytes() for file in books.parent.glob(f"{books.name}*"))
    with sql(books) as connection:
        tables = inspect(connection).get_table_names()
        rows = [list(row) for t in tables for row in connection.execute(text(f"SELECT * FROM {t}"))]
    return b"\n".join(v if isinstance(v, bytes) else str(v).encode() for row in rows for v in row)
