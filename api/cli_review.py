"""The command that reviews what the terms say of evidence and recoveries against the shop's own history."""

from typing import Any

import click

from api.cli_opened import current_books


@click.command()
@click.option("--terms", metavar="T-n", help="Against these terms; else against the public ones in force.")
@click.option("--json", "as_json", is_flag=True, help="Print the answer as the API would give it.")
@click.option("--proposed", is_flag=True, help="Print the proposed terms alone, to be looked at and posted.")
def review(terms: str | None, as_json: bool, proposed: bool) -> None:
    """What past lots and their assays say of each kind of evidence, each mark and each recovery.

    It changes nothing: the proposal is a new version of the terms, for the owner to post or not.

    Example:  settle review
    """
    from api.terminal.page import page
    from api.terminal.review import show_next, show_review
    from settle.books import evidence

    with current_books() as (books, _), books.reading() as work:
        found = evidence.review(work, terms)
    if proposed:
        if found["proposed_terms"] is None:
            raise click.ClickException(f"nothing is proposed for {found['terms']}; `settle review` says why")
        _print(found["proposed_terms"])
    elif as_json:
        _print(found)
    else:
        console = page()
        show_review(console, found)
        show_next(console, found)


def _print(data: Any) -> None:
    import json

    click.echo(json.dumps(data, ensure_ascii=False, indent=2))


COMMANDS = (review,)
