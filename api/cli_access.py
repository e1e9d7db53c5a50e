"""Commands about access and events: a key revoked, events delivered."""

from threading import Event, Thread
from typing import TYPE_CHECKING

import click

from api.cli_opened import current_books

if TYPE_CHECKING:
    from api.settings import Settings


@click.command("revoke")
@click.argument("key")
def revoke_key(key: str) -> None:
    """Revoke an access key for good. KEY is its id; the last owner's stays.

    Example:  settle keys revoke K-3
    """
    from settle.books import access
    from settle.books.work import THE_COMMAND

    with current_books() as (books, _), books.writing(THE_COMMAND) as work:
        access.revoke_key(work, key)
    click.echo(f"{key} is revoked.", err=True)


@click.command()
@click.option("--once", is_flag=True, help="Try what is due now, and end.")
def deliver(once: bool) -> None:
    """Deliver events to the hooks, as they come, until it is ended.

    What a receiver doesn't take is tried again for days, ever more rarely. Private addresses
    are refused unless SETTLE_HOOKS_PRIVATE is true.

    Example:  settle deliver --once
    """
    from api.events import Deliverer

    with current_books() as (books, settings):
        deliverer = Deliverer(books, private=settings.hooks_private)
        if once:
            click.echo(f"{deliverer.deliver_due()} attempts.", err=True)
            return
        click.echo("Delivering. Ctrl-C ends it.", err=True)
        try:
            deliverer.run(Event())
        except KeyboardInterrupt:
            click.echo("Ended; what is left waits.", err=True)


def deliver_beside(settings: "Settings") -> None:
    """Deliver in a thread of the server, where SETTLE_DELIVER says so."""
    from api.events import Deliverer
    from settle.books.work import open_books

    if settings.deliver:
        books = open_books(settings.database_url, time_zone=settings.time_zone)
        deliverer = Deliverer(books, private=settings.hooks_private)
        Thread(target=deliverer.run, args=(Event(),), name="events", daemon=True).start()


COMMANDS = (deliver,)
KEY_COMMANDS = (revoke_key,)
