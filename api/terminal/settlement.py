"""A settlement as a page: what came in, what came out, what is paid, and why it differs from the quote."""

from collections.abc import Iterable, Mapping
from decimal import Decimal
from typing import Any

from rich.console import Console
from rich.table import Table
from rich.text import Text

from api.terminal.gets import show_gets
from api.terminal.page import (
    heading,
    is_nothing,
    less,
    money,
    nominal,
    number,
    price,
    signed,
    table,
    taken_off,
    tell_notices,
    weight,
)

HALF_PICTURE = 9
Document = Mapping[str, Any]


def show_settlement(console: Console, document: Document, client: str, quote: Document | None) -> None:
    """Print a settlement as the API answers it, and beside it what its quote had said."""
    case = document["cases"]["final"]
    console.rule(Text(f"Settlement {document['number'] or document['id']} · {client}", style="bold"))
    console.print(Text(_origin(document), style="dim"), justify="center")
    show_gets(console, "The client gets", [("", case["client_gets"])], document["currency"])
    _weights(console, document)
    _metals(console, document, case)
    _destinations(console, document, case)
    _money(console, document, case)
    if quote:
        _comparison(console, document, quote)
    tell_notices(console, document["notices"])
    console.print()
    console.print(Text(f"SHA-256 of the document  {document['hash']}", style="dim"))


def _origin(document: Document) -> str:
    quote = f"quote {document['quote']}" if document["quote"] else "without a quote"
    when = (document.get("posted_at") or document["made_at"])[:10]
    return f"lot {document['lot']} · {quote} · terms {document['terms']} · {document['state']} {when}"


def _weights(console: Console, document: Document) -> None:
    heading(console, "Weights")
    weights, become = document["weights"], document["drillings_become"]
    told = f"received {weight(weights['gross'])}, melted to {weight(weights['melt'])}"
    if become is not None:
        told += f", {weight(weights['drillings'])} of drillings taken for assay, {become}"
    console.print(Text(told))


def _metals(console: Console, document: Document, case: Document) -> None:
    heading(console, "Metal")
    listed = table("", "assay", "in the melt", "came back", "the house keeps", "accountable")
    for metal, account in case["metals"].items():
        listed.add_row(
            metal,
            f"{document['assay'].get(metal, '0')} ‰",
            weight(account["fine"]),
            weight(account["recovered"]),
            weight(account["kept"]),
            Text(weight(account["accountable"]), style="bold"),
        )
    console.print(listed)


def _destinations(console: Console, document: Document, case: Document) -> None:
    heading(console, "Where it goes")
    listed = table("", "", "fine weight", left=2)
    for metal, account in case["metals"].items():
        for what, of in _places(metal, account, document):
            listed.add_row(metal, what, weight(of))
    console.print(listed)


def _places(metal: str, account: Document, document: Document) -> Iterable[tuple[str, Any]]:
    for bar in account["bars"]:
        size = "whole bar" if bar["nominal"] is None else f"bar of {nominal(bar['nominal'])}"
        if "serial" in bar:
            stated = f"states {weight(bar['stated_weight'])} of {bar['stated_fineness']} ‰"
            yield f"{size}, {bar['serial']}, {stated}", bar["fine"]
        else:
            yield f"{size} of {bar['fineness']} ‰", bar["fine"]
    if not is_nothing(account["sold"]):
        at = price(document["prices"][metal])
        yield f"sold at payout rate × {at}", account["sold"]
    for what, words in (("shot", "back as shot"), ("metal_account", "on the client's metal account")):
        if not is_nothing(account[what]):
            yield words, account[what]
    if not is_nothing(account["top_up"]):
        yield "of the bars, bought to top up", account["top_up"]


def _money(console: Console, document: Document, case: Document) -> None:
    heading(console, f"Money, {document['currency']}")
    listed = table("", "", "", left=2, show_header=False)
    for metal, account in case["metals"].items():
        if not is_nothing(account["payout"]):
            listed.add_row(f"{metal} sold", weight(account["sold"]), money(account["payout"]))
        if not is_nothing(account["top_up_cost"]):
            cost = taken_off(account["top_up_cost"])
            listed.add_row(f"{metal} bought to top up", weight(account["top_up"]), cost)
    for charge in case["charges"]:
        listed.add_row(charge["name"], charge_in_words(charge), less(charge["amount"]["amount"]))
    for tax in case["taxes"]:
        listed.add_row(f"tax, {tax['code']}", tax_in_words(tax), taken_off(tax["amount"]))
    for name in ("advances_total", "fees_total"):
        if not is_nothing(case[name]):
            listed.add_row(name.removesuffix("_total"), "", taken_off(case[name]))
    if not is_nothing(case["waived"]):
        listed.add_row("too small to pay", "", taken_off(case["waived"]))
    owes = Decimal(document["net"]["amount"]) < 0
    words = "the client owes" if owes else "the house pays"
    listed.add_row(Text("net", style="bold"), words, Text(money(document["net"]), style="bold"))
    console.print(listed)


def charge_in_words(charge: Document) -> str:
    """What a charge was reckoned on: quantity, unit, rate."""
    base = charge["base"].replace("_", " ")
    if charge["minimum_applied"]:
        return f"the minimum, by {base}"
    if charge["base"] == "lot":
        return "for the lot"
    if charge["base"] in ("bar", "article"):
        plural = "" if charge["quantity"] == "1" else "s"
        return f"{charge['quantity']} {base}{plural} × {number(charge['rate'])}"
    unit = f" {charge['per']}" if charge["per"] else ""
    return f"{base} {number(charge['quantity'])}{unit} × {number(charge['rate'])}"


def tax_in_words(tax: Document) -> str:
    percent = (Decimal(tax["rate"]) * 100).normalize()
    return f"{percent:f} % of {money(tax['base'])}"


def _comparison(console: Console, document: Document, quote: Document) -> None:
    heading(console, f"Why it differs from the quote, {document['currency']}")
    compared = document["comparison"]
    if compared is None:
        console.print(Text("Nothing was valued in the quote: there is nothing to compare with.", style="dim"))
        return
    console.print(Text(_as_quoted(quote["worth_range"]), style="dim"))
    listed = table("", "worth", "differs by", "", "")
    listed.columns[3].justify = listed.columns[4].justify = "left"
    listed.columns[4].no_wrap = False
    start, *steps = compared["steps"]
    listed.add_row("quote", money(start["worth"]), "", "", Text(start["sentence"], style="dim"))
    largest = max(abs(Decimal(step["difference"]["amount"])) for step in steps)
    for step in steps:
        by, drawn = signed(step["difference"]), _drawn(Decimal(step["difference"]["amount"]), largest)
        listed.add_row(step["step"], money(step["worth"]), by, drawn, Text(step["sentence"], style="dim"))
    _total(listed, compared)
    console.print(listed)
    inside = document["inside_band"].items()
    told = "; ".join(f"{metal} {'inside' if was else 'outside'} the quote's band" for metal, was in inside)
    console.print(Text(f"What came back: {told}.", style="dim"))


def _as_quoted(worth_range: Mapping[str, Any] | None) -> str:
    worth = "Worth is the client's metal at the full price, and the money."
    if worth_range is None:
        return worth
    least, likely, greatest = (money(worth_range[name]) for name in ("least", "likely", "greatest"))
    return f"Quoted worth: likely {likely}, from {least} to {greatest}. {worth}"


def _total(listed: Table, compared: Document) -> None:
    """The last line: all steps together; and metal found, where weight and fineness are one."""
    last = compared["steps"][-1]["worth"]
    found = Text(f"of it metal found (weight and fineness): {signed(compared['metal_found'])}")
    total = Text(signed(compared["difference"]), style="bold")
    listed.add_row(Text("settled", style="bold"), Text(money(last), style="bold"), total, "", found)


def _drawn(difference: Decimal, largest: Decimal) -> Text:
    """A step as a bar from an axis: losses to the left, gains to the right."""
    length = int((abs(difference) / largest * HALF_PICTURE).to_integral_value()) if largest else 0
    sliver = "▏" if difference and not length else ""
    if difference < 0:
        left = ("▕" if sliver else "█" * length).rjust(HALF_PICTURE)
        return Text.assemble((left, "red"), "│", " " * HALF_PICTURE)
    right = (sliver or "█" * length).ljust(HALF_PICTURE)
    return Text.assemble(" " * HALF_PICTURE, "│", (right, "green"))
