"""Faults of a body or a file: where, what is wrong, what would be right."""

from collections.abc import Iterable

from rich.console import Console
from rich.text import Text

from api.terminal.page import table
from settle.reckoning.problems import Fault


def tell_faults(console: Console, faults: Iterable[Fault], of: str) -> None:
    found = list(faults)
    console.print(Text(f"{of}: {len(found)} fault{'s' if len(found) > 1 else ''}", style="bold red"))
    for fault in found:
        console.print()
        console.print(Text(fault.pointer or "(the whole)", style="bold"))
        said = table("", "", left=2, show_header=False)
        said.add_row("  wrong", Text(fault.wrong))
        said.add_row("  right", Text(fault.right))
        console.print(said)
