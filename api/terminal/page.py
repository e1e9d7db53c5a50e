"""The page that everything is printed on, and how figures stand on it."""

import sys
from collections.abc import Mapping
from decimal import Decimal

from rich.console import Console
from rich.table import Table
from rich.text import Text

WIDEST = 100
Figure = Mapping[str, str]


def page(*, stderr: bool = False) -> Console:
    """A console of at most 100 columns; a file or a pipe gets all of them."""
    found = Console(stderr=stderr, highlight=False, emoji=False)
    is_shown = (sys.stderr if stderr else sys.stdout).isatty()
    found.width = min(found.width, WIDEST) if is_shown else WIDEST
    return found


def number(text: str) -> str:
    """A decimal string as a person reads it: thousands apart, a real minus."""
    return f"{Decimal(text):,}".replace("-", "−")


def less(text: str) -> str:
    """The same, taken off."""
    return number(str(-Decimal(text)))


def money(of: Figure) -> str:
    return number(of["amount"])


def taken_off(of: Figure) -> str:
    """Money that is taken off what is paid; nothing where it is nothing."""
    return less(of["amount"]) if Decimal(of["amount"]) else "–"


def signed(of: Figure) -> str:
    """Money with its sign, also where it is above zero."""
    amount = Decimal(of["amount"])
    return f"+{number(of['amount'])}" if amount > 0 else number(of["amount"])


def weight(of: Figure) -> str:
    """A weight in grams, and in the terms' unit beside them when that is another."""
    beside = [f"{amount} {unit}" for unit, amount in of.items() if unit != "g"]
    return " · ".join([f"{number(of['g'])} g", *beside])


def is_nothing(of: Figure) -> bool:
    """Whether a weight or an amount of money is zero."""
    return not Decimal(of["g"] if "g" in of else of["amount"])


def price(of: Figure) -> str:
    return f"{number(of['amount'])} {of['currency']}/{of['per']}"


def nominal(of: Figure) -> str:
    """A nominal weight without the zeros that nobody says."""
    return f"{Decimal(of['g']).normalize():f} g"


def table(*headings: str, left: int = 1, show_header: bool = True) -> Table:
    """A table without frames: the first `left` columns are words, the others figures."""
    made = Table(box=None, pad_edge=False, show_header=show_header, header_style="dim", padding=(0, 2, 0, 0))
    for i, heading in enumerate(headings):
        made.add_column(heading, justify="left" if i < left else "right", no_wrap=i >= left)
    return made


def heading(console: Console, text: str) -> None:
    """A heading inside a page, with a line of air above it."""
    console.print()
    console.print(Text(text, style="bold"))


def tell_notices(console: Console, notices: list[Mapping[str, str]]) -> None:
    """Every notice with its source; each says whose rule it is."""
    if not notices:
        return
    heading(console, "To be told")
    listed = table("", "", left=2, show_header=False)
    for notice in notices:
        source = f"({notice['source']})"
        listed.add_row("•", Text.assemble(notice["text"], " ", (source, "dim")))
    console.print(listed)
