"""The `settle` command. What is heavy is imported by the command that needs it."""

import signal
import sys
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import click

from api import cli_access, cli_books, cli_estimate, cli_papers, cli_review, cli_settings
from api.cli_opened import current_books, settings_named, settings_of_current_books, told

LOOPBACK = "127.0.0.1"


class _Group(click.Group):
    """A group that lists its commands in the order in which a house meets them."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 - click's signature
        return list(self.commands)


def _tell_version(ctx: click.Context, _: click.Parameter, is_asked: bool) -> None:
    if is_asked:
        from settle import __version__

        click.echo(f"settle {__version__}")
        ctx.exit()


@click.group(cls=_Group, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.option("--version", is_flag=True, is_eager=True, expose_value=False, callback=_tell_version)
def main() -> None:
    """Quotation and settlement engine of a small precious-metals refiner.

    See it at work:  settle demo
    """
    for stream in (sys.stdout, sys.stderr):
        # A terminal that knows no minus sign shows a question mark, and the command goes on.
        stream.reconfigure(errors="replace")  # type: ignore[union-attr]


@main.command()
@click.option("--once", is_flag=True, help="Walk the roads, print what came of them, and end.")
@click.option("--database", metavar="URL", help="Keep the demo's books here; they must be empty.")
def demo(once: bool, database: str | None) -> None:
    """An invented spring of a shop, over HTTP, on a server of its own.

    At the end the server is gone, and so are the books, unless --database says where they stay.

    Example:  settle demo --once
    """
    from api.demo.house import DemoClock, open_house
    from api.demo.scenario import load_scenarios
    from api.demo.show import show_what_to_try, walk_and_show
    from api.terminal.page import page

    _end_when_asked()
    console, scenarios = page(), load_scenarios()
    clock = DemoClock(scenarios[0].steps[0].moment)
    with told(), TemporaryDirectory(prefix="settle-demo-", ignore_cleanup_errors=True) as folder:
        url = database or f"sqlite:///{Path(folder) / 'books.sqlite3'}"
        with open_house(url, clock) as house:
            walked = walk_and_show(console, scenarios, house, clock)
            if not once:
                show_what_to_try(console, house, walked.settlement)
                console.print("Ctrl-C ends it.")
                _wait_for_the_end()
    sys.exit(0 if walked.went_well else 1)


@main.command()
@click.option(
    "--port", type=click.IntRange(0, 65535), default=8080, show_default=True, help="0 takes a free one."
)
@click.option("--host", default=LOOPBACK, show_default=True, help="Address to listen on.")
def serve(port: int, host: str) -> None:
    """Serve the API over the house's books.

    Example:  settle serve --port 8080
    """
    from waitress import create_server

    from api.app import create_app
    from api.http.served import Channel
    from api.logs import write_logs

    _end_when_asked()
    with told():
        settings = settings_of_current_books()
        # Whom a proxy asks for is believed or not by the app, which knows the setting. What is far
        # larger than the app takes is not even received, and nobody is told which server this is.
        most = 2 * max(settings.body_limit, settings.photograph_limit)
        kept = {"clear_untrusted_proxy_headers": False, "max_request_body_size": most, "ident": None}
        server = create_server(create_app(settings), host=host, port=port, **kept)
        server.channel_class = Channel
        cli_access.deliver_beside(settings)
    if host != LOOPBACK:
        click.echo("Access keys travel as they are: put TLS in front of it.", err=True)
    click.echo(f"http://{host}:{server.effective_port}   Ctrl-C ends it.", err=True)
    write_logs()
    server.run()


@main.command()
def migrate() -> None:
    """Bring the house's books to the schema that this version knows, making them if need be.

    Example:  SETTLE_DATABASE_URL=sqlite:///books.sqlite3 settle migrate
    """
    from settle.books.migrations import upgrade

    with told():
        settings = settings_named()
        upgrade(settings.database_url)
    click.echo("The books have the newest schema.", err=True)


@main.group(cls=_Group)
def keys() -> None:
    """Access keys."""


@keys.command("create")
@click.option("--name", required=True, help="Whose key it is, such as: till.")
@click.option(
    "--scope",
    "scopes",
    required=True,
    multiple=True,
    help="What it may do: estimate, quote, settle, work, price, read or owner. May be given again.",
)
def create_key(name: str, scopes: tuple[str, ...]) -> None:
    """Make an access key. The key alone goes to the standard output; it is shown this once.

    Example:  settle keys create --name till --scope quote --scope work
    """
    from settle.books.access import key_of_secret, make_key
    from settle.books.work import THE_COMMAND

    with current_books() as (books, _), books.writing(THE_COMMAND) as work:
        secret = make_key(work, name, scopes)
        made = key_of_secret(work, secret)
    scopes_told = ", ".join(made["scopes"])
    click.echo(f"{made['id']} “{name}”: {scopes_told}. Keep it: it can't be shown again.", err=True)
    click.echo(secret)


for _of_keys in cli_access.KEY_COMMANDS:
    keys.add_command(_of_keys)
for _command in (
    *cli_access.COMMANDS,
    *cli_books.COMMANDS,
    *cli_papers.COMMANDS,
    *cli_review.COMMANDS,
    *cli_settings.COMMANDS,
):
    main.add_command(_command)


@main.group(cls=_Group)
def terms() -> None:
    """Terms of business."""


@terms.command("example")
@click.option("--counter", is_flag=True, help="Terms to buy under over the counter, not to refine under.")
def example_of_terms(counter: bool) -> None:
    """Print terms to fill in. Every figure is a placeholder, refused until it is the shop's own.

    Example:  settle terms example > terms.json
    """
    from api.shipped import shipped

    name = f"{'counter' if counter else 'refining'}-terms-to-fill-in.json"
    click.echo((shipped("shared") / "examples" / name).read_text("utf-8"), nl=False)
    click.echo(
        "Put your own figure in place of each “FILL IN (for example …)”, words and all; drop what you\n"
        "don't need. Then send it with an owner's key to POST /v1/terms (?dry_run=true only checks it).\n"
        "The examples are no advice: what you charge and answer for is yours to decide.",
        err=True,
    )


for _command in cli_estimate.COMMANDS:
    main.add_command(_command)


@main.command()
def openapi() -> None:
    """Print the OpenAPI document that the server publishes.

    Example:  settle openapi > openapi.json
    """
    from api.app import create_app
    from api.settings import Settings

    # The document doesn't depend on any books: these are nowhere but in memory.
    app = create_app(Settings("sqlite://"))
    _print_json(app.test_client().get("/openapi.json").json)


def _print_json(data: Any) -> None:
    import json

    click.echo(json.dumps(data, ensure_ascii=False, indent=2))


def _end_when_asked() -> None:
    """Ctrl-C and a polite request to end are heard, also where whoever started us told us not to listen."""
    signal.signal(signal.SIGINT, signal.default_int_handler)
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(0))


def _wait_for_the_end() -> None:
    from threading import Event

    try:
        Event().wait()
    except KeyboardInterrupt:
        click.echo()


if __name__ == "__main__":
    main(prog_name="settle")
