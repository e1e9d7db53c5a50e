"""Copies of SQLite books: taken while writing goes on, and verified before they become the books again."""

import os
import shlex
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from itertools import count
from pathlib import Path
from tempfile import mkstemp

from sqlalchemy.engine import make_url

from settle.books.migrations import is_current
from settle.books.store import open_engine

# A reader of one page at a time would start again with every write: all pages in one step.
_ALL_PAGES = -1
_COPIED_BY = (
    "these books are kept in PostgreSQL, and its own tools copy them while work goes on:\n"
    "    pg_dump --format=custom --file=FILE {url}\n"
    "and back, with nobody at work, into an empty database, to be looked through by `settle check`:\n"
    "    pg_restore --exit-on-error --single-transaction --no-owner --dbname={url} FILE"
)


def file_of(url: str) -> Path:
    """The file behind an SQLite URL. Raises `ValueError` for other books, with what copies them."""
    parsed = make_url(url)
    if parsed.get_backend_name() == "postgresql":
        # The password stays out of it: these tools ask, or look into ~/.pgpass.
        bare = parsed._replace(drivername="postgresql", password=None)
        raise ValueError(_COPIED_BY.format(url=shlex.quote(bare.render_as_string())))
    file = parsed.database
    if not file or file == ":memory:":
        raise ValueError("these books are kept in no file")
    return Path(file)


def take(books: Path, target: Path) -> None:
    """Copy books that may be in use to a file that is whole as soon as it is there.

    Raises `ValueError` where the file is the books themselves, `OSError`, `sqlite3.Error`.
    """
    if target.exists() and target.samefile(books):
        raise ValueError(f"{target.name} is the books themselves")
    with _beside(target) as whole:
        _copy(books, whole)
        _refuse_damaged(whole)
        with whole.open("r+b") as file:
            os.fsync(file.fileno())
        whole.replace(target)


@contextmanager
def verified(backup: Path, beside: Path) -> Iterator[Path]:
    """A copy of a backup to look at, found sound and of this program's schema; it is gone afterwards.

    Raises `ValueError` that says what is wrong with it.
    """
    with _beside(beside) as copy:
        try:
            _copy(backup, copy)
            _refuse_damaged(copy)
        except sqlite3.Error as error:
            raise ValueError(f"{backup.name} is no sound database: {error}") from error
        _refuse_other_schema(copy, backup.name)
        yield copy


def put_back(copy: Path, books: Path) -> Path | None:
    """Make a verified copy the books, in one transaction of the database.

    Whoever has the old books open sees the new ones from then on; nothing is mixed of the two.
    Books so damaged that no transaction can be had of them are set aside; the file that they are in then.
    """
    books.parent.mkdir(parents=True, exist_ok=True)
    try:
        _copy(copy, books)
    except sqlite3.DatabaseError as error:
        if getattr(error, "sqlite_errorcode", 0) & 0xFF not in _DAMAGED:
            raise
    else:
        return None
    aside = _set_aside(books)
    _copy(copy, books)
    return aside


# The low byte of SQLite's codes for a file that is damaged, or no database.
_DAMAGED = (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB)


def _set_aside(books: Path) -> Path:
    """Rename a database, and what stands beside it, to the first name that is free."""
    names = (books.with_name(f"{books.name}.damaged-{n}") for n in count(1))
    aside = next(name for name in names if not name.exists())
    for end in ("-wal", "-shm", ""):
        beside = Path(f"{books}{end}")
        if beside.exists():
            beside.rename(f"{aside}{end}")
    return aside


@contextmanager
def _beside(target: Path) -> Iterator[Path]:
    """A file of nobody else's beside another, in the same file system; removed if it is still there."""
    handle, name = mkstemp(prefix=f".{target.name}.", suffix=".part", dir=target.parent)
    os.close(handle)
    part = Path(name)
    try:
        yield part
    finally:
        for file in (part, Path(f"{part}-wal"), Path(f"{part}-shm")):
            file.unlink(missing_ok=True)


def _copy(source: Path, target: Path) -> None:
    with (
        closing(sqlite3.connect(f"{source.absolute().as_uri()}?mode=ro", uri=True)) as one,
        closing(sqlite3.connect(target)) as other,
    ):
        one.backup(other, pages=_ALL_PAGES)


def _refuse_damaged(file: Path) -> None:
    with closing(sqlite3.connect(file)) as opened:
        # One file, with nothing beside it that would have to be carried along.
        opened.execute("PRAGMA journal_mode = DELETE")
        said = [row[0] for row in opened.execute("PRAGMA integrity_check(5)")]
        loose = [f"{row[0]} row {row[1]} names what is not there" for row in opened.execute(_FOREIGN)]
    if said != ["ok"] or loose:
        raise ValueError(f"the copy is damaged: {'; '.join([*said, *loose][:5])}")


_FOREIGN = "PRAGMA foreign_key_check"


def _refuse_other_schema(file: Path, name: str) -> None:
    engine = open_engine(f"sqlite:///{file}")
    try:
        if not is_current(engine):
            raise ValueError(f"{name} has the schema of another version")
    finally:
        engine.dispose()
