"""An estimate as a page: items, then low, likely and high side by side, then what must be told."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from decimal import Decimal
from itertools import groupby
from typing import Any

from rich.console import Console
from rich.table import Table
from rich.text import Text

from api.terminal.gets import show_gets
from api.terminal.page import (
    heading,
    is_nothing,
    money,
    nominal,
    price,
    table,
    taken_off,
    tell_notices,
    weight,
)

CASES = ("low", "likely", "high")
Document = Mapping[str, Any]
_METAL_ROWS = (
    ("fine", "fine metal"),
    ("recovered", "comes back"),
    ("kept", "the house keeps"),
    ("accountable", "accountable"),
    ("bars_total", "in bars"),
    ("sold", "sold"),
    ("shot", "back as shot"),
    ("metal_account", "on account"),
    ("top_up", "bought to top up"),
)


def show_estimate(console: Console, document: Document, *, working: bool) -> None:
    """Print an estimate as the API answers it."""
    console.rule(Text("Estimate: it binds nobody and is not kept", style="bold"))
    prices = " · ".join(f"{metal} {price(of)}" for metal, of in document["prices"].items())
    console.print(Text(prices, style="dim"), justify="center")
    _first_of_all(console, document)
    _items(console, document["items"])
    _cases(console, document)
    _range(console, document)
    tell_notices(console, document["notices"])
    if working:
        _working(console, document["working"])


def _first_of_all(console: Console, document: Document) -> None:
    """What the client would get; or that it isn't worth refining, or can't be valued yet."""
    for notice in document["notices"]:
        if notice["code"] in ("charges-above-value", "nothing-valued"):
            console.print()
            console.print(Text(notice["text"], style="bold"))
    if document["net_range"] is None:
        likely, currency = document["cases"]["likely"], document["currency"]
        charges, tax = money(likely["charges_total"]), money(likely["tax_total"])
        console.print(Text(f"In any case there would be due: charges {charges} and tax {tax} {currency}."))
    if offer := document.get("outright_offer"):
        currency = document["currency"]
        console.print(Text(f"Sold today as it is, the house would pay {money(offer['net'])} {currency}."))
    if document["net_range"] is not None:
        cases = [(name, document["cases"][name]["client_gets"]) for name in CASES]
        show_gets(console, "What the client would get", cases, document["currency"])
    if document["net_range"] is not None and document["not_valued"]:
        named = ", ".join(_left_out(document, it) for it in document["not_valued"])
        console.print(Text(f"In none of these figures: {named}."))


def _left_out(document: Document, it: Document) -> str:
    """What is in no figure, by the item's or the metal's name, and why."""
    what = it["metal"] if it["item"] is None else document["items"][it["item"]]["description"] or "an item"
    return f"{what} ({it['reason'].replace('_', ' ')})"


def _items(console: Console, items: Sequence[Document]) -> None:
    heading(console, "Items")
    metals = list(dict.fromkeys(metal for item in items for metal in item["holds"]))
    listed = table("", "evidence", "gross", "net", "fineness", *metals, left=2)
    for item in items:
        count = f"{item['count']} × " if item["count"] > 1 else ""
        held = [weight(item["holds"][m]["fine"]) if m in item["holds"] else "" for m in metals]
        listed.add_row(
            Text(count + (item["description"] or "an item")),
            Text(item["evidence"]),
            weight(item["gross"]),
            weight(item["net"]),
            _fineness(item),
            *held,
        )
    console.print(listed)


def _fineness(item: Document) -> str:
    if item["on_assay_only"]:
        return "on assay"
    first = next(iter(item["holds"].values()))
    part = "" if item["filled_part"] == "1" else f" × {item['filled_part']}"
    return f"{first['fineness']} ‰{part}"


def _cases(console: Console, document: Document) -> None:
    heading(console, f"Three cases, named for the metal; money in {document['currency']}")
    listed = table("", *CASES)
    cases = [document["cases"][name] for name in CASES]
    for metal in cases[0]["metals"]:
        _group(listed, metal)
        accounts = [case["metals"][metal] for case in cases]
        for what, words in _METAL_ROWS:
            _weights(listed, words, [account[what] for account in accounts])
        counts = [_bars_in_words(account["bars"]) for account in accounts]
        if any(counts):
            listed.add_row("  bars", *(count or "–" for count in counts))
    _group(listed, "money")
    _money(listed, cases)
    console.print(listed)


def _group(listed: Table, words: str) -> None:
    listed.add_row(Text(words, style="bold"))


def _weights(listed: Table, words: str, of: Sequence[Mapping[str, str]]) -> None:
    if not all(is_nothing(one) for one in of):
        listed.add_row(f"  {words}", *("–" if is_nothing(one) else weight(one) for one in of))


def _bars_in_words(bars: Sequence[Document]) -> str:
    sizes = ["whole" if bar["nominal"] is None else nominal(bar["nominal"]) for bar in bars]
    return ", ".join(f"{len(list(alike))} × {size}" for size, alike in groupby(sizes))


def _money(listed: Table, cases: Sequence[Document]) -> None:
    for metal in cases[0]["metals"]:
        _row(listed, f"payout of {metal}", [case["metals"][metal]["payout"] for case in cases], money)
    for name in dict.fromkeys(line["name"] for case in cases for line in case["charges"]):
        _row(listed, name, [_named(case["charges"], "name", name) for case in cases], taken_off)
    for code in dict.fromkeys(line["code"] for case in cases for line in case["taxes"]):
        _row(listed, f"tax, {code}", [_named(case["taxes"], "code", code) for case in cases], taken_off)
    _row(listed, "top-ups", [case["top_ups_total"] for case in cases], taken_off)
    if all(case["net"] is not None for case in cases):
        net = [Text(money(case["net"]), style="bold") for case in cases]
        listed.add_row(Text("  net", style="bold"), *net)
    if all(case["all_in"] for case in cases):
        listed.add_row(
            Text("  all in, of the metal's worth", style="dim"), *(_percent(case) for case in cases)
        )


def _row(
    listed: Table, words: str, of: Sequence[Mapping[str, str]], shown: Callable[[Mapping[str, str]], str]
) -> None:
    if not all(is_nothing(one) for one in of):
        listed.add_row(f"  {words}", *(shown(one) for one in of))


def _named(lines: Iterable[Document], field: str, name: str) -> Mapping[str, str]:
    """The amount of the line of that name; a charge of zero is left out of a case."""
    return next((line["amount"] for line in lines if line[field] == name), {"amount": "0"})


def _percent(case: Document) -> Text:
    return Text(f"{Decimal(case['all_in']) * 100:.1f} %", style="dim")


def _range(console: Console, document: Document) -> None:
    if document["net_range"] is None:
        return
    console.print()
    nets = [Decimal(document["cases"][name]["net"]["amount"]) for name in CASES]
    if nets != sorted(nets):
        console.print(
            Text("More metal can mean less money: what goes into one more bar is not sold.", style="dim")
        )
    for metal, counts in document["bars_covered"].items():
        if counts:
            covered = ", ".join(str(count) for count in counts)
            console.print(Text(f"Bars of {metal} covered in each of the three cases, by line: {covered}."))


def _working(console: Console, rows: Sequence[Document]) -> None:
    heading(console, "Working")
    listed = table("case", "rule", "figure and how it comes about", "value", left=3)
    for row in rows:
        inputs = ", ".join(f"{name} {figure}" for name, figure in row["inputs"].items())
        beneath = "\n".join(line for line in (row["formula"], inputs) if line)
        told = Text.assemble(row["what"], (f"\n{beneath}", "dim"))
        value = row.get("rounded", row["exact"])
        listed.add_row(row.get("case", ""), row["rule"], told, _short(value))
    console.print(listed)


def _short(value: str) -> str:
    """A long fraction would push the page off its columns; `--json` has it whole."""
    return value if len(value) <= 24 else f"{value[:23]}…"
