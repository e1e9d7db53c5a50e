"""The till's silver credits against the books as a page: each credit, and a total that explains itself."""

from collections.abc import Mapping
from typing import Any

from rich.console import Console
from rich.text import Text

from api.terminal.page import heading, is_nothing, table, weight

_STYLES = {"agreed": "green"}


def show_credits(console: Console, compared: Mapping[str, Any]) -> None:
    """Print a comparison as the API answers it."""
    heading(console, "The till's silver credits against the books")
    listed = table("at the till", "lot", "till", "books", "differs by", "", left=2)
    for line in compared["lines"]:
        verdict = Text(line["verdict"], style=_STYLES.get(line["verdict"], "yellow"))
        differs = "–" if is_nothing(line["difference"]) else weight(line["difference"])
        sides = (weight(line[side]) if line[side] else "–" for side in ("till", "books"))
        listed.add_row(line["entry"] or "–", line["lot"], *sides, differs, verdict)
    totals = (weight(compared[of]) for of in ("till_total", "books_total", "difference"))
    listed.add_row(Text("together", style="bold"), "", *totals, "")
    listed.columns[5].justify = "left"
    console.print(listed)
    parts = [f"{name} {weight(of)}" for name, of in compared["explained_by"].items()]
    told = f"The difference is made up of: {'; '.join(parts)}." if parts else "Till and books agree."
    console.print(Text(told, style="dim"))
