"""The database behind the books: the one room that knows whether it is SQLite or PostgreSQL.

Both know one writer at a time. A writer's first statement takes the lock, before anything is read, so
that what it reads is what the writer before it left: numbers without a gap, running balances and the
chain need nothing else, and no transaction has to be run again. Readers wait for nobody and see one
state from their first question to the last.
"""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Literal

from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.engine import make_url
from sqlalchemy.exc import OperationalError

from settle.reckoning.problems import Fault, Refused

Purpose = Literal["writing", "reading", "migrating"]

_PURPOSE = "settle_purpose"
_ON_CONNECT = {
    "sqlite": (
        "PRAGMA busy_timeout = 10000",
        "PRAGMA journal_mode = WAL",
        "PRAGMA synchronous = FULL",
        "PRAGMA foreign_keys = ON",
        # Without it INSERT OR REPLACE would delete a posted row and no trigger would see it.
        "PRAGMA recursive_triggers = ON",
        # What is erased is overwritten in the file, not just let go of.
        "PRAGMA secure_delete = ON",
    ),
    "postgresql": (
        "SET lock_timeout = '10s'",
        # A process that hangs in the middle of its work must not hold the books for ever.
        "SET idle_in_transaction_session_timeout = '5min'",
    ),
}
# LOCK TABLE takes no snapshot: what is read after it is what the last writer left. Asking for a row
# lock or an advisory lock would freeze the snapshot before the lock is had.
_LOCK = "LOCK TABLE numbers IN EXCLUSIVE MODE"
_SCHEMA_LOCK = "SELECT pg_advisory_xact_lock(hashtext('settle schema'))"
_ON_BEGIN: dict[str, dict[str, tuple[str, ...]]] = {
    "sqlite": {
        "writing": ("PRAGMA query_only = OFF", "BEGIN IMMEDIATE"),
        "reading": ("PRAGMA query_only = ON", "BEGIN DEFERRED"),
        "migrating": ("PRAGMA query_only = OFF", "BEGIN IMMEDIATE"),
    },
    "postgresql": {
        "writing": (_LOCK,),
        "reading": ("SET TRANSACTION READ ONLY",),
        # There may be no table to lock yet; whoever waited must see what the other made.
        "migrating": ("SET TRANSACTION ISOLATION LEVEL READ COMMITTED", _SCHEMA_LOCK),
    },
}
_ENGINE: dict[str, dict[str, Any]] = {
    "sqlite": {},
    # A connection that the server let go of in the meantime is made anew.
    "postgresql": {"isolation_level": "REPEATABLE READ", "pool_pre_ping": True},
}
# https://www.postgresql.org/docs/current/errcodes-appendix.html: serialization_failure, deadlock_detected,
# lock_not_available, too_many_connections, admin_shutdown, crash_shutdown, cannot_connect_now.
_BUSY = ("40001", "40P01", "55P03", "53300")
_AWAY = ("57P01", "57P02", "57P03")


def open_engine(url: str) -> Engine:
    """An engine whose every connection keeps the house's settings. `ValueError` for a URL that can't be."""
    parsed = make_url(url)
    name = parsed.get_backend_name()
    if name not in _ENGINE:
        right = "a URL that starts with sqlite:/// or postgresql+psycopg://"
        raise ValueError(f"the books are kept in SQLite or PostgreSQL: give {right}")
    if name == "postgresql":
        parsed = parsed.set(drivername="postgresql+psycopg")
    try:
        engine = create_engine(parsed, **_ENGINE[name])
    except ModuleNotFoundError as error:
        raise ValueError("PostgreSQL needs its driver: pip install 'settle[postgres]'") from error
    if name == "sqlite" and parsed.database:
        Path(parsed.database).parent.mkdir(parents=True, exist_ok=True)
    event.listen(engine, "connect", _on_connect_sqlite if name == "sqlite" else _on_connect_postgresql)
    event.listen(engine, "begin", _on_begin)
    return engine


def is_there(url: str) -> bool:
    """Whether there is a database to look into, so that looking makes none."""
    parsed = make_url(url)
    return parsed.get_backend_name() != "sqlite" or bool(parsed.database and Path(parsed.database).exists())


@contextmanager
def transaction(engine: Engine, purpose: Purpose) -> Iterator[Connection]:
    """One transaction, taken back unless it ends well.

    Raises `Refused` of kind `busy` where the lock isn't to be had, or the database isn't.
    """
    with (
        _busy_said(),
        engine.connect().execution_options(**{_PURPOSE: purpose}) as connection,
        connection.begin(),
    ):
        yield connection


def _on_connect_sqlite(connection: Any, _record: Any) -> None:
    # The driver's own idea of transactions is switched off: BEGIN is said by `_on_begin` alone.
    connection.isolation_level = None
    for statement in _ON_CONNECT["sqlite"]:
        connection.execute(statement).close()


def _on_connect_postgresql(connection: Any, _record: Any) -> None:
    encoding = connection.info.parameter_status("server_encoding")
    if encoding != "UTF8":
        raise ValueError(f"the database is in {encoding}: make one with createdb --encoding=UTF8")
    for statement in _ON_CONNECT["postgresql"]:
        connection.execute(statement).close()
    connection.commit()


def _on_begin(connection: Connection) -> None:
    purpose = connection.get_execution_options().get(_PURPOSE, "writing")
    for statement in _ON_BEGIN[connection.dialect.name][purpose]:
        connection.exec_driver_sql(statement)


@contextmanager
def _busy_said() -> Iterator[None]:
    try:
        yield
    except OperationalError as error:
        wrong = _why_to_wait(error.orig)
        if wrong is None:
            raise
        raise Refused(Fault("busy", "", wrong, "try again in a moment")) from error


def _why_to_wait(error: Any) -> str | None:
    """What is wrong, where the same may well work in a moment; else None."""
    if isinstance(error, sqlite3.Error):
        # The low byte is the primary code; extended codes say more than we need.
        code = getattr(error, "sqlite_errorcode", 0) & 0xFF
        return "another process is writing" if code in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED) else None
    state = getattr(error, "sqlstate", None)
    if state in _BUSY:
        return "another process is writing"
    # Of a server that can't be reached there is no state.
    return "the database can't be reached" if state is None or state in _AWAY else None
