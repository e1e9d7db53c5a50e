"""Estimates without a server: a file with one lot, or a spreadsheet with many."""

import json
import sys
from typing import TYPE_CHECKING, Any, BinaryIO, NoReturn

import click

if TYPE_CHECKING:
    from collections.abc import Iterable

    from api.spreadsheet import Lot
    from settle.reckoning.problems import Fault

FAULTY = 2
Found = dict[str, Any]


@click.command()
@click.argument("file", type=click.File("rb"))
@click.option("--working", is_flag=True, help="Show how each figure comes about.")
@click.option("--json", "as_json", is_flag=True, help="Print the answer as the API would give it.")
@click.option("--csv", "as_csv", is_flag=True, help="FILE is a spreadsheet saved as CSV: a row an item.")
@click.option("--terms", "about", type=click.File("rb"), help="With --csv: JSON with terms and prices.")
def estimate(file: BinaryIO, working: bool, as_json: bool, as_csv: bool, about: BinaryIO | None) -> None:
    """Estimate a lot from a FILE that brings its own terms, items and prices ("-" reads the input).

    Example:  settle estimate lot.json --working

    A spreadsheet brings items alone; terms, prices and wishes come from the JSON file of --terms.

    Example:  settle estimate items.csv --csv --terms terms-and-prices.json

    \b
    Its first row names the columns, in any order:
      description           what it is
      metal                 gold if left out
      karat                 24ths; or
      fineness              parts per thousand
      in                    permille beside a fineness that was asked back, and is meant
      stamped               what is stamped on it, as seen
      colour                yellow, rose, white or green
      filled_part           of filled goods the part that is the marked alloy, such as 1/20
      evidence              a kind of evidence that the terms know; needed
      count                 like articles weighed together; 1 if left out
      gross                 weight as it hangs; needed
      unit                  of every weight in the row; g if left out
      deduction             weight of stones, springs, cord
      deduction_plus_minus  how far the guess may be off, where it is guessed
      deduction_reason      what is deducted
      lot                   rows of one name are one lot; all rows if left out

    Lots whose rows are in order are answered, with --json one a line; faults are told by row.
    """
    if as_csv != (about is not None):
        raise click.UsageError("--csv and --terms belong together.")
    if about is not None:
        _estimate_rows(file, about, working=working, as_json=as_json)
    else:
        _estimate_file(file, working=working, as_json=as_json)


COMMANDS = (estimate,)


def _estimate_file(file: BinaryIO, *, working: bool, as_json: bool) -> None:
    from api.estimate_file import estimate_of
    from api.terminal.estimate import show_estimate
    from api.terminal.page import page
    from settle.reckoning.problems import Refused

    try:
        found = estimate_of(file.read())
    except Refused as refused:
        _refuse(refused.faults, file)
    if as_json:
        click.echo(json.dumps(_answer(found, working), ensure_ascii=False, indent=2))
    else:
        show_estimate(page(), found, working=working)


def _estimate_rows(file: BinaryIO, about: BinaryIO, *, working: bool, as_json: bool) -> None:
    from api.spreadsheet import read_lots
    from api.terminal.lots import show_lots
    from api.terminal.page import page
    from settle.reckoning.problems import Refused

    try:
        lots = read_lots(file.read())
    except Refused as refused:
        _refuse(refused.faults, file)
    try:
        answered, faults = _answers(lots, about.read())
    except Refused as refused:
        _refuse(refused.faults, about)
    if as_json:
        for lot, found in answered:
            click.echo(json.dumps({"lot": lot.name, **_answer(found, working)}, ensure_ascii=False))
    elif answered:
        show_lots(page(), [(lot.name, found) for lot, found in answered], working=working)
    if faults:
        _refuse(faults, file)


def _answers(lots: "list[Lot]", about: bytes) -> "tuple[list[tuple[Lot, Found]], list[Fault]]":
    """The lots that can be estimated, under a progress bar, and the faults of those that can't."""
    from rich.progress import track

    from api.estimate_file import estimate_of
    from api.spreadsheet import bodies
    from api.terminal.page import page
    from settle.reckoning.problems import Refused

    answered, faults = [], []
    for lot, body in track(list(bodies(lots, about)), "Reckoning", console=page(stderr=True), transient=True):
        try:
            answered.append((lot, estimate_of(body)))
        except Refused as refused:
            faults += [lot.located(fault) for fault in refused.faults]
    # A fault of the terms is every lot's, and is told once.
    return answered, list(dict.fromkeys(faults))


def _answer(found: Found, working: bool) -> Found:
    return found if working else {k: v for k, v in found.items() if k != "working"}


def _refuse(faults: "Iterable[Fault]", file: BinaryIO) -> NoReturn:
    from api.terminal.faults import tell_faults
    from api.terminal.page import page

    tell_faults(page(stderr=True), faults, getattr(file, "name", "the input"))
    sys.exit(FAULTY)
