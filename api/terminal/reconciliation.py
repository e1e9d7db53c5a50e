"""The account of one metal of a batch or silver recovery as a page: in, out, who is credited."""

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from rich.console import Console
from rich.text import Text

from api.terminal.page import heading, table, weight

Document = Mapping[str, Any]


def show_reconciliation(console: Console, document: Document, clients: Mapping[str, str]) -> None:
    """Print a posted account as the API answers it; `clients` names who brought each lot."""
    metal, subject = document["metal"], document["subject"]
    console.rule(Text(f"{metal.capitalize()} of {subject}", style="bold"))
    origin = f"batches {', '.join(document['batches'])} · posted {document['posted_at'][:10]}"
    console.print(Text(origin, style="dim"), justify="center")
    _judged(console, document)
    _credited(console, document, clients)
    console.print()
    console.print(Text(f"SHA-256 of the document  {document['hash']}", style="dim"))


def _judged(console: Console, document: Document) -> None:
    heading(console, "In and out")
    listed = table("", "fine weight", "", show_header=False)
    own = _sum(document["own"])
    listed.add_row(
        "in", weight(document["in"]), _told(f"of the lots {own} g, lent {document['lent']['g']} g")
    )
    listed.add_row("out", weight(document["out"]), _told("weighed and assayed"))
    listed.add_row("held", weight(document["held"]), _told("known to stay behind, at its estimate"))
    recovery = f"in × (1 − {document['recovery']}), the recovery of the terms"
    listed.add_row("expected loss", weight(document["expected_loss"]), _told(recovery))
    u = f"± {document['residual_u']['g']} g, one standard uncertainty"
    listed.add_row("residual", weight(document["residual"]), _told(u))
    listed.columns[2].justify = "left"
    console.print(listed)
    console.print(Text(document["verdict_in_words"]))
    if document["balance"] is not None:
        console.print(_told(f"The terms tolerate {document['balance']} of what went in."))
    if document["owners_word"]:
        console.print(Text(f"Closed by an owner's word: {document['owners_word']}"))


def _credited(console: Console, document: Document, clients: Mapping[str, str]) -> None:
    heading(console, "Who is credited")
    listed = table("", "", "brought or lent", "credited", left=2)
    for lot, credited in document["credited"].items():
        listed.add_row(
            lot, clients.get(lot, "the house's own"), weight(document["own"][lot]), weight(credited)
        )
    listed.add_row("", "the house", weight(document["lent"]), weight(document["house_share"]))
    total = _sum({**document["credited"], "": document["house_share"]})
    listed.add_row("", "together", weight(document["in"]), Text(f"{total} g", style="bold"))
    console.print(listed)
    console.print(_told("What is credited is what came out and what is held, to the milligram."))


def _sum(of: Mapping[str, Mapping[str, str]]) -> Decimal:
    return sum((Decimal(each["g"]) for each in of.values()), Decimal("0.000"))


def _told(text: str) -> Text:
    return Text(text, style="dim")
