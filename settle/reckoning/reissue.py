"""What a posted document takes back: the credit note of a reversal, and how the new one differs."""

from collections.abc import Iterator, Mapping
from typing import Any

from settle.reckoning.exact import Exact, half_even, plain
from settle.reckoning.money import minor_units, printed_money
from settle.reckoning.reading import Json
from settle.reckoning.terms import Terms
from settle.reckoning.weight import printed

_TOTALS = (
    *("payouts_total", "top_ups_total", "charges_total", "tax_total"),
    *("advances_total", "fees_total", "waived"),
)
_WEIGHTS = ("recovered", "drillings", "accountable", "bars_total", "sold", "shot", "metal_account", "top_up")


def credit_note(posted: Json, terms: Terms) -> dict[str, Any]:
    """Each line of a posted settlement, purchase or bar sale with its class, as it is credited to the client.

    What the client was charged is credited, what he was paid is asked back; lines and tax
    add up to `net`: what changed hands, turned round.
    """
    currency = posted["currency"]
    credited = {name: -minor for name, minor in _towards_net(posted, currency).items() if minor}
    lines = [_line(name, minor, posted, terms) for name, minor in credited.items() if _kind(name) != "tax"]

    def total(kind: str) -> dict[str, str]:
        return printed_money(sum(minor for name, minor in credited.items() if _kind(name) == kind), currency)

    return {
        "client": posted["client"],
        "terms": posted["terms"],
        "currency": currency,
        "credits": {"number": posted["number"], "tax_point": _tax_point(posted)},
        "lines": lines,
        "taxes": list(_taxes(lines, credited, terms)),
        "charges_total": total("charge"),
        "tax_total": total("tax"),
        "net": printed_money(sum(credited.values()), currency),
    }


def _tax_point(posted: Json) -> str:
    """When a settlement was posted, a purchase made; an invoice says it of itself."""
    return next(str(posted[at]) for at in ("posted_at", "made_at", "tax_point") if at in posted)


def _towards_net(posted: Json, currency: str) -> dict[str, int]:
    """Each line of money as it counts for the client."""
    if "bar" in posted:
        return _of_bar_sale(posted, currency)
    final = posted["cases"]["final"]
    metals = final["metals"]
    return {
        **{f"payout: {m}": _minor(account["payout"], currency) for m, account in metals.items()},
        **{f"top-up: {m}": -_minor(account["top_up_cost"], currency) for m, account in metals.items()},
        **{f"charge: {c['name']}": -_minor(c["amount"], currency) for c in final["charges"]},
        **{f"tax: {tax['code']}": -_minor(tax["amount"], currency) for tax in final["taxes"]},
        "advances": -_minor(final["advances_total"], currency),
        "fees": -_minor(final["fees_total"], currency),
        "too small to pay": -_minor(final["waived"], currency),
    }


def _of_bar_sale(posted: Json, currency: str) -> dict[str, int]:
    """All of it was charged to the client: bar and tax."""
    return {
        f"bar: {posted['bar']}": -_minor(posted["value"], currency),
        **{f"tax: {tax['code']}": -_minor(tax["amount"], currency) for tax in posted["taxes"]},
    }


def _minor(money: Json, currency: str) -> int:
    return minor_units(Exact(money["amount"]), currency)


def _kind(line: str) -> str:
    return line.partition(": ")[0]


def _line(name: str, minor: int, posted: Json, terms: Terms) -> dict[str, Any]:
    code = _code(name, posted, terms)
    tax_class = None if code is None else terms.taxes[code].tax_class
    return {"line": name, "amount": printed_money(minor, terms.currency), "tax": code, "class": tax_class}


def _code(name: str, posted: Json, terms: Terms) -> str | None:
    kind, _, of = name.partition(": ")
    if kind in ("top-up", "bar"):
        return terms.metals[of if kind == "top-up" else posted["metal"]].top_up_tax
    return next((c.tax for c in terms.charges if kind == "charge" and c.name == of), None)


def _taxes(
    lines: list[dict[str, Any]], credited: Mapping[str, int], terms: Terms
) -> Iterator[dict[str, Any]]:
    """Tax by code: the lines that carry it, and the tax on them (F2)."""
    for code, tax in terms.taxes.items():
        taxed = [_minor(line["amount"], terms.currency) for line in lines if line["tax"] == code]
        if taxed:
            yield {
                "code": code,
                "class": tax.tax_class,
                "rate": plain(tax.rate),
                "base": printed_money(sum(taxed), terms.currency),
                "amount": printed_money(credited.get(f"tax: {code}", 0), terms.currency),
            }


def difference(old: Json, new: Json) -> list[dict[str, Any]]:
    """Figure by figure what a settlement changes of the one it replaces; equal figures are left out."""
    before, after = dict(_figures(old)), dict(_figures(new))
    told = []
    for figure in dict.fromkeys([*before, *after]):
        one, other = before.get(figure), after.get(figure)
        if one != other:
            told.append({"figure": figure, "old": one, "new": other, "difference": _difference(one, other)})
    return told


def _figures(document: Json) -> Iterator[tuple[str, Any]]:
    final = document["cases"]["final"]
    for name, weight in document["weights"].items():
        yield f"{name} weight", weight
    for metal, ppt in document["assay"].items():
        yield f"assay of {metal}", ppt
    for metal, account in final["metals"].items():
        yield from ((f"{metal} {name.replace('_', ' ')}", account[name]) for name in _WEIGHTS)
        yield f"payout of {metal}", account["payout"]
    yield from ((f"charge {charge['name']}", charge["amount"]) for charge in final["charges"])
    yield from ((f"tax {tax['code']}", tax["amount"]) for tax in final["taxes"])
    yield from ((name.replace("_", " "), final[name]) for name in _TOTALS)
    yield "net", document["net"]


def _difference(old: Any, new: Any) -> Any:
    """New less old: money, grams or parts per thousand; a figure that is missing counts as nothing."""
    there = new if new is not None else old
    if not isinstance(there, Mapping):
        return plain(Exact(new or 0) - Exact(old or 0))
    if "currency" in there:
        currency = there["currency"]
        return printed_money(minor_units(_of(new, "amount") - _of(old, "amount"), currency), currency)
    return printed(half_even(_of(new, "g") - _of(old, "g"), 3))


def _of(figure: Mapping[str, str] | None, name: str) -> Exact:
    return Exact(0) if figure is None else Exact(figure[name])
