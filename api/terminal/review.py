"""The evidence review as a page: tables, and a picture of where the truth lay."""

from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any

from rich.console import Console
from rich.text import Text

from api.terminal.page import heading, money, table

Document = Mapping[str, Any]
_WIDE = 64
_MOST_SHOWN = 12
_KEY = (
    "Lots with it; held: in how many of them the assay lay inside its band, some 95 in 100 where the "
    "terms are right; bias: what is to be added to what is read; ± 2u: how unsure that is; scatter: from "
    "article to article; shared: what the articles of one lot have in common. The terms' table of silver in "
    "gold alloys (alloy_table) keeps the scatter of its rows."
)
_KEY_OF_RECOVERIES = (
    "Accounts posted; recovery: which part of what went in comes back; ± 2u: how unsure that is; from batch "
    "to batch: how far one usually lies from the mean."
)


_NEXT = (
    "settle review --terms {terms} --proposed > proposed.json: look at it, and change what you know better.",
    "Then send it to POST /v1/terms with the owner's key; with ?dry_run=true nothing is kept.",
    "What was quoted before keeps its terms. Lots share a batch, and batches a silver recovery, only under "
    "terms that agree in their recoveries: empty the bench first, or leave the recoveries as they were "
    "where the history agrees with them.",
)


def show_review(console: Console, document: Document) -> None:
    """Print a review as the API answers it."""
    assayed = _lots(document["lots"], "assayed ")
    title = f"Evidence review of {document['terms']} “{document['name']}”: {assayed}"
    console.rule(Text(title, style="bold"))
    for sentence in document["says"]:
        console.print(Text(sentence, style="bold"))
    _evidence(console, document["evidence"])
    _picture(console, document["evidence"])
    _marks(console, document["marks"])
    _recoveries(console, document)
    _left_out(console, document)
    _last_quotes(console, document)
    console.print()
    console.print(Text(document["method"], style="dim"))


def _evidence(console: Console, judged: Sequence[Document]) -> None:
    heading(console, "Kinds of evidence, ‰: how far the truth lies from what is read")
    listed = table("", "", "lots", "held", "bias", "± 2u", "scatter", "shared", left=2)
    for of in judged:
        listed.add_row(Text(of["kind"]), "terms say", str(of["lots"]), _held(of), *_figures(of["present"]))
        if of["found"]:
            listed.add_row("", Text("history finds"), "", "", *_figures(of["found"]))
            listed.add_row("", Text("proposed", style="bold"), "", "", *_figures(of["proposed"]))
    console.print(listed)
    console.print(Text(_KEY, style="dim"))
    for of in judged:
        for sentence in of["says"]:
            console.print(Text.assemble((f"{of['kind']}: ", "bold"), sentence))


def _lots(n: int, of_what: str = "") -> str:
    return f"{n} {of_what}lot{'' if n == 1 else 's'}"


def _held(of: Document) -> str:
    return f"{Decimal(of['held']) / of['lots'] * 100:.0f} %" if of["lots"] else "–"


def _figures(of: Document) -> list[str]:
    u = f"{2 * Decimal(of['u']):.1f}" if "u" in of else ""
    bias, scatter, shared = (f"{Decimal(of[name]):.1f}" for name in ("bias", "scatter", "shared"))
    return [_minus(bias), u, scatter, shared]


def _minus(text: str) -> str:
    return text.replace("-", "−")


def _picture(console: Console, judged: Sequence[Document]) -> None:
    """For each kind the range of one article, twice its uncertainty, by the terms and by the history."""
    drawn = [of for of in judged if of["found"]]
    if not drawn:
        return
    heading(console, "Where one article lies, twice its uncertainty; ┊ is what was read")
    ranges = {(of["kind"], which): _range(of[which]) for of in drawn for which in ("present", "proposed")}
    for of in drawn:
        ends = [end for which in ("present", "proposed") for end in ranges[of["kind"], which]]
        low, high = min(*ends, Decimal(0)), max(*ends, Decimal(0))
        for which, stroke in (("present", "─"), ("proposed", "━")):
            name = of["kind"][:16] if which == "present" else ""
            line = _line(ranges[of["kind"], which], Decimal(of[which]["bias"]), low, high, stroke)
            console.print(Text(f"{name:<17}{which:<9}{line}"))
        console.print(Text(f"{'':<26}{_scale(low, high)}", style="dim"))


def _range(of: Document) -> tuple[Decimal, Decimal]:
    bias, scatter, shared = (Decimal(of[name]) for name in ("bias", "scatter", "shared"))
    reach = 2 * (scatter**2 + shared**2).sqrt()
    return bias - reach, bias + reach


def _line(ends: tuple[Decimal, Decimal], middle: Decimal, low: Decimal, high: Decimal, stroke: str) -> str:
    line = [" "] * _WIDE
    start, end = (_column(value, low, high) for value in ends)
    line[start : end + 1] = stroke * (end - start + 1)
    line[_column(Decimal(0), low, high)] = "┊"
    line[_column(middle, low, high)] = "●"
    return "".join(line)


def _column(value: Decimal, low: Decimal, high: Decimal) -> int:
    return round((value - low) / ((high - low) or 1) * (_WIDE - 1))


def _scale(low: Decimal, high: Decimal) -> str:
    """The ends of a picture, and 0 below its place where there is room for it."""
    left, right = _minus(f"{low:.0f}"), f"{high:.0f} ‰"
    zero = _column(Decimal(0), low, high)
    if not len(left) < zero < _WIDE - len(right) - 1:
        return f"{left}{right:>{_WIDE - len(left)}}"
    return f"{left:<{zero}}0{right:>{_WIDE - zero - 1}}"


def _marks(console: Console, marks: Sequence[Document]) -> None:
    told = [of for of in marks if of["found"]]
    few = [of for of in marks if not of["found"]]
    if not marks:
        return
    heading(console, "Marks, against their kind")
    if told:
        listed = table("", "", "lots", "held", "bias", "± 2u", "scatter", "shared", left=2)
        for of in told[:_MOST_SHOWN]:
            row = (str(of["lots"]), _held(of), *_figures(of["found"]))
            listed.add_row(Text(of["mark"]), Text(of["kind"]), *row)
        console.print(listed)
    for of in told[:_MOST_SHOWN]:
        for sentence in of["says"]:
            if sentence != "As its kind.":
                console.print(Text.assemble((f"{of['mark']} ({of['kind']}): ", "bold"), sentence))
    if len(told) > _MOST_SHOWN:
        console.print(Text(f"… and {len(told) - _MOST_SHOWN} marks more: --json shows all.", style="dim"))
    if few:
        names = ", ".join(f"{of['mark']} ({of['kind']}): {of['lots']}" for of in few[:_MOST_SHOWN])
        more = f", and {len(few) - _MOST_SHOWN} more" if len(few) > _MOST_SHOWN else ""
        console.print(Text(f"Too few lots to say: {names}{more}", style="dim"))


def _recoveries(console: Console, document: Document) -> None:
    heading(console, "Recoveries")
    listed = table("", "", "accounts", "recovery", "± 2u", "from batch to batch", left=2)
    for of in document["recoveries"]:
        listed.add_row(Text(of["metal"]), "terms say", str(of["accounts"]), *_parts(of["present"]))
        if of["found"]:
            listed.add_row("", "history finds", "", *_parts(of["found"]))
            listed.add_row("", Text("proposed", style="bold"), "", *_parts(of["proposed"]))
    console.print(listed)
    console.print(Text(_KEY_OF_RECOVERIES, style="dim"))
    for of in document["recoveries"]:
        for sentence in [*of["says"], *(drift["text"] for drift in of["drift"]["drifts"])]:
            console.print(Text.assemble((f"{of['metal']}: ", "bold"), sentence))
    for metal, held in document["recovered_inside_band"].items():
        counts = f"{held['inside']} of {_lots(held['lots'])}"
        console.print(Text(f"What came back of {metal} lay inside the band of its quote in {counts}."))


def _parts(of: Document) -> list[str]:
    u = f"{2 * Decimal(of['u']):.4f}" if "u" in of else ""
    return [f"{Decimal(of['recovery']):.4f}", u, f"{Decimal(of['recovery_u']):.4f}"]


def _left_out(console: Console, document: Document) -> None:
    if document["left_out"]:
        whys: dict[str, list[str]] = {}
        for of in document["left_out"]:
            whys.setdefault(f"{of['metal']}: {of['why']}", []).append(of["lot"])
        heading(console, "Left out")
        for why, lots in whys.items():
            more = ", …" if len(lots) > _MOST_SHOWN else ""
            console.print(Text(f"{_lots(len(lots))}, {why} ({', '.join(lots[:_MOST_SHOWN])}{more})"))
    if document["far_off"]:
        heading(console, "Far off, whatever the terms say: look at these lots")
        named = ", ".join(f"{of['lot']} ({of['metal']}, {_minus(of['z'])} u)" for of in document["far_off"])
        console.print(Text(named))


def _last_quotes(console: Console, document: Document) -> None:
    if document["proposed_terms"] is None:
        console.print()
        console.print(Text("Nothing is proposed: the terms stay as they are."))
        return
    heading(console, f"What the proposal would have changed on the last quotes under “{document['name']}”")
    if not document["last_quotes"]:
        console.print(Text("There are none."))
        return
    listed = table("likely net", "as quoted", "as proposed", "difference", "")
    for of in document["last_quotes"]:
        old, new = of["likely_net"], of["under_new_terms"]
        if new is None:
            listed.add_row(Text(of["quote"]), money(old), "refused", "", old["currency"])
            continue
        difference = Decimal(new["amount"]) - Decimal(old["amount"])
        row = (money(old), money(new), _minus(f"{difference:+,}"), old["currency"])
        listed.add_row(Text(of["quote"]), *row)
    console.print(listed)
    for of in document["last_quotes"]:
        for why in of["refused"]:
            console.print(Text(f"{of['quote']}: refused: {why}"))


def show_next(console: Console, document: Document) -> None:
    """How a proposal becomes terms."""
    if document["proposed_terms"] is not None:
        heading(console, "To take it over")
        for sentence in _NEXT:
            console.print(Text(sentence.format(terms=document["terms"])))
