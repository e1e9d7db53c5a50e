"""The house's books, opened for a command; what can't be done is told in one line."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from api.settings import Settings
    from settle.books.work import Books


def settings_named() -> "Settings":
    """The settings; where the books are is named if nobody said it."""
    from api.settings import DEFAULT, find_settings, read_settings

    settings = read_settings()
    if any(f.setting.place == "database_url" and f.source == DEFAULT for f in find_settings()):
        click.echo(f"SETTLE_DATABASE_URL is not set: the books are {settings.database_url}", err=True)
    return settings


def settings_of_current_books() -> "Settings":
    """Settings whose books have the newest schema; nothing is made where there are none."""
    from settle.books.migrations import is_current
    from settle.books.store import is_there, open_engine

    settings = settings_named()
    if not is_there(settings.database_url):
        raise ValueError("there are no books yet: run `settle migrate` to make them")
    engine = open_engine(settings.database_url)
    try:
        if not is_current(engine):
            raise ValueError("the books have the schema of another version: run `settle migrate`")
    finally:
        engine.dispose()
    return settings


@contextmanager
def told() -> Iterator[None]:
    """What can't be done is told in one line, not as a trace."""
    import sqlite3

    from sqlalchemy.exc import SQLAlchemyError

    from settle.reckoning.problems import Refused

    try:
        yield
    except Refused as refused:
        faults = "; ".join(f"{f.wrong}: {f.right}" for f in refused.faults)
        # What the database said is for whoever has this machine, and for nobody else.
        said = " ".join(str(getattr(refused.__cause__, "orig", "")).split())
        raise click.ClickException(f"{faults} ({said})" if said else faults) from refused
    except (ValueError, OSError, SQLAlchemyError, sqlite3.Error) as error:
        raise click.ClickException(str(error)) from error


@contextmanager
def current_books() -> "Iterator[tuple[Books, Settings]]":
    """The books, of the newest schema, and the settings."""
    from settle.books.work import open_books

    with told():
        settings = settings_of_current_books()
        books = open_books(settings.database_url, time_zone=settings.time_zone)
        try:
            yield books, settings
        finally:
            books.close()
