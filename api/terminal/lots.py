"""Many estimates as a page: a line a lot; one alone is shown whole."""

from collections.abc import Mapping, Sequence
from typing import Any

from rich.console import Console
from rich.text import Text

from api.terminal.estimate import show_estimate
from api.terminal.page import heading, money, table, tell_notices

Document = Mapping[str, Any]


def show_lots(console: Console, lots: Sequence[tuple[str, Document]], *, working: bool) -> None:
    """Print estimates as the API answers them, each with the name of its lot."""
    if len(lots) == 1 or working:
        for name, document in lots:
            if name:
                heading(console, f"Lot {name}")
            show_estimate(console, document, working=working)
        return
    console.rule(Text("Estimates: they bind nobody and are not kept", style="bold"))
    listed = table("lot", "items", "currency", "money, least", "likely", "greatest", "with metal, likely")
    for name, document in lots:
        nets = [_end(document["net_range"], end) for end in ("least", "likely", "greatest")]
        worth = _end(document["worth_range"], "likely")
        listed.add_row(Text(name or "–"), str(len(document["items"])), document["currency"], *nets, worth)
    console.print(listed)
    # What must be told is told once, whichever lots it is about.
    told = {notice["text"]: notice for _, document in lots for notice in document["notices"]}
    tell_notices(console, list(told.values()))


def _end(of: Mapping[str, Any] | None, end: str) -> str:
    """One end of a range; nothing where nothing can be valued."""
    return "–" if of is None else money(of[end])
