"""Commands about the books as a whole: check, export, backup, restore."""

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from api.cli_opened import current_books, told

if TYPE_CHECKING:
    from settle.books.work import Books


@click.command()
def check() -> None:
    """Compute everything anew from the rows alone, and name each document with a fault.

    Ends with 1 where there is a fault.

    Example:  settle check
    """
    with current_books() as (books, _):
        faults = _faults_of(books)
    for fault in faults:
        click.echo(fault)
    if faults:
        click.echo(f"{len(faults)} faults.", err=True)
        sys.exit(1)
    click.echo("Everything agrees.", err=True)


@click.command()
@click.option(
    "--to",
    "folder",
    required=True,
    type=click.Path(file_okay=False, path_type=Path),
    help="Folder for the files; it is made if need be, files of the same names are replaced.",
)
def export(folder: Path) -> None:
    """Write each list as CSV, the bars in the house, and the journal for double-entry tools.

    Example:  settle export --to books-of-march
    """
    from settle.books import export as exported

    with current_books() as (books, _), books.reading() as work:
        for path in exported.write(work, folder):
            click.echo(str(path))


@click.command()
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
def backup(file: Path) -> None:
    """Copy the books to FILE while work goes on; an older FILE is replaced once the copy is whole.

    It holds everything, access keys and personal data too: keep it as safe as the books.

    Example:  settle backup books-of-today.sqlite3
    """
    from settle.books.backup import file_of, take

    with current_books() as (books, _):
        take(file_of(str(books.engine.url)), file)
    click.echo(f"{file} is whole.", err=True)


@click.command()
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.option("--yes", is_flag=True, help="Replace the books that are there.")
def restore(file: Path, yes: bool) -> None:
    """Make a backup the books again, once it is verified: its integrity, its schema, every document.

    Books that are too damaged to be written to are set aside, not overwritten.

    Example:  settle restore books-of-today.sqlite3 --yes
    """
    from api.settings import read_settings
    from settle.books.backup import file_of, put_back, verified
    from settle.books.work import open_books

    with told():
        settings = read_settings()
        target = file_of(settings.database_url)
        if target.exists() and not yes:
            raise ValueError(f"{target} is in use: --yes replaces it")
        with verified(file, file) as copy:
            books = open_books(f"sqlite:///{copy}", time_zone=settings.time_zone)
            faults = _faults_of(books)
            books.close()
            if faults:
                raise ValueError("; ".join([f"{file.name} is not restored", *faults[:5]]))
            aside = put_back(copy, target)
    if aside is not None:
        click.echo(f"What was there is no sound database: it is {aside} now.", err=True)
    click.echo(f"{target} is what {file.name} was.", err=True)
    click.echo("Whoever has it open, such as settle serve, has to be started anew.", err=True)


COMMANDS = (check, export, backup, restore)


def _faults_of(books: "Books") -> list[str]:
    """Every fault, found under a progress bar."""
    from rich.progress import Progress

    from api.terminal.page import page
    from settle.books.check import parts

    faults = []
    with books.reading() as work, Progress(console=page(stderr=True), transient=True) as progress:
        for name, steps, found in parts(work):
            task = progress.add_task(name, total=max(steps, 1))
            for fault in found():
                progress.advance(task)
                faults += [fault] if fault else []
            progress.update(task, completed=max(steps, 1))
    return faults
