"""What the client gets, in words: bars, loose metal, metal on account, drillings, and money."""

from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal
from typing import Any

from rich.box import SQUARE
from rich.console import Console
from rich.table import Table
from rich.text import Text

from api.terminal.page import is_nothing, money, nominal, weight

Gets = Mapping[str, Any]
_LOOSE = (("shot", "loose"), ("metal_account", "on account"), ("drillings", "in drillings"))


def lines(of: Gets, currency: str) -> Iterator[str]:
    """One line for each kind of thing; money last."""
    for bar in of["bars"]:
        many = "1 bar" if bar["count"] == 1 else f"{bar['count']} bars"
        size = "of all that is left" if bar["nominal"] is None else f"of {nominal(bar['nominal'])}"
        yield f"{many} {size}, {bar['metal']} {bar['fineness']} ‰"
    for kind, where in _LOOSE:
        for metal, of_metal in of[kind].items():
            yield f"{weight(of_metal)} {metal} {where}"
    yield from _money(of, currency)


def has_metal(of: Gets) -> bool:
    return bool(of["bars"]) or any(of[kind] for kind, _ in _LOOSE)


def _money(of: Gets, currency: str) -> Iterator[str]:
    if of["money"] is None or (is_nothing(of["money"]) and has_metal(of)):
        return
    amount = money(of["money"])
    owes = Decimal(of["money"]["amount"]) < 0
    yield f"the client pays {amount.removeprefix('−')} {currency}" if owes else f"{amount} {currency}"


def show_gets(console: Console, title: str, cases: Sequence[tuple[str, Gets]], currency: str) -> None:
    """A box with what the client gets in one case or several, and what all of it is worth."""
    box = Table(box=SQUARE, title=title, title_justify="left", title_style="bold", expand=False)
    for name, _ in cases:
        box.add_column(name, justify="left")
    box.show_header = any(name for name, _ in cases)
    box.add_row(*(Text("\n".join(lines(of, currency)), style="bold") for _, of in cases))
    if any(has_metal(of) and of["worth"] is not None for _, of in cases):
        box.add_row(*(Text(_worth(of, currency), style="dim") for _, of in cases))
    console.print()
    console.print(box)


def _worth(of: Gets, currency: str) -> str:
    return "" if of["worth"] is None else f"worth of it all {money(of['worth'])} {currency}"
