"""A shop with plain terms, so that the figures of a table can be worked in the head.

Everything is neutral until a test changes it: fineness is certain but for the scale,
gold is settled on assay, all of it is answered for, paid at spot, and nothing is charged.
"""

from fractions import Fraction

from settle.reckoning.bars import read_instructions
from settle.reckoning.charges import Quantities
from settle.reckoning.item import read_items
from settle.reckoning.money import Price
from settle.reckoning.problems import Faults, Refused
from settle.reckoning.quote import read_request, reckon
from settle.reckoning.settlement import Refined
from settle.reckoning.statement import Basis, statement
from settle.reckoning.terms import read_terms
from settle.reckoning.working import SILENT

F = Fraction


def weight(amount, unit="g"):
    return {"amount": amount, "unit": unit}


def metal(**changes):
    return {"settle_on": "assay", "accountable": "1", "payout_rate": "1"} | changes


def terms_json(**changes):
    plain = {
        "name": "plain",
        "currency": "GBP",
        "division": weight("0.01"),
        "evidence": {"sure": {"method": "fire_assay"}, "unread": {"method": "none", "reckon": False}},
        "metals": {"gold": metal()},
    }
    return plain | changes


def terms(**changes):
    return read_terms(terms_json(**changes), number="T-1")


def terms_on(gold=None, silver=None, **changes):
    """Terms for gold, and for silver where its changes are given."""
    metals = {"gold": metal(**(gold or {}))}
    if silver is not None:
        metals["silver"] = metal(**silver)
    return terms(metals=metals, **changes)


def item_json(**changes):
    """100 g of 500 ‰ gold, unless changed; another way of fineness replaces the 500 ‰."""
    plain = {"description": "scrap", "evidence": "sure", "fineness": "500", "gross": weight("100")}
    if "karat" in changes or "composition" in changes:
        del plain["fineness"]
    return {k: v for k, v in (plain | changes).items() if v is not None}


def read_item(of=None, scales=None, **changes):
    """One item as read, or `Refused`."""
    faults = Faults()
    found = read_items({"items": [item_json(**changes)]}, of or terms(), scales or {}, faults)
    faults.refuse_if_any()
    return found[0]


def wishes(of, **by_metal):
    """Wishes by metal, as read, or `Refused`."""
    faults = Faults()
    found = read_instructions(by_metal, of, faults)
    faults.refuse_if_any()
    return found


def bars(nominal=None, count=1, fineness="1000", **more):
    """One line of bars, as a client asks for it."""
    line = {"fineness": fineness, "count": count} | more
    return line if nominal is None else line | {"nominal": weight(nominal)}


def price(per_g, currency="GBP", per="g", entry=None):
    return Price(F(per_g), currency, per, entry)


def at(**per_g):
    """Prices by metal, pounds a gram."""
    return {name: price(amount) for name, amount in per_g.items()}


def quantities(gross="100", melt="100", lent="0", articles=1):
    return Quantities(F(gross), F(melt), F(lent), articles)


def account(of, recovered, prices, asked=None, working=SILENT, **changes):
    """The statement of metals recovered (grams as text) at some prices (pounds a gram)."""
    grams = {name: F(amount) for name, amount in recovered.items()}
    wished = wishes(of, **(asked or {}))
    of_lot = changes.pop("quantities", quantities())
    return statement(Basis(of, grams, of_lot, at(**prices), wished, **changes), working)


def request(of, *items, prices=None, scales=None, asked=None, **changes):
    """A request as read, or `Refused`; `prices` are those in force."""
    body = {"items": list(items) or [item_json()], "instructions": asked or {}} | changes
    return read_body(body, of, at(**({"gold": "10"} if prices is None else prices)), scales)


def read_body(body, of, in_force=None, scales=None):
    faults = Faults()
    found = read_request(body, of, in_force or {}, scales or {}, faults)
    faults.refuse_if_any()
    return found


def quote(of, *items, working=SILENT, **changes):
    return reckon(request(of, *items, **changes), working)


def refined(of, assay, recovered, asked=None, **changes):
    """A lot that melted to 100 g (unless changed) and was refined; assays and R as text."""
    plain = {
        "melt_g": F(100),
        "drillings_g": F(0),
        "assay_ppt": {m: F(ppt) for m, ppt in assay.items()},
        "recovered_g": {m: F(r) for m, r in recovered.items()},
        "gross_g": F(100),
        "articles": 1,
        "poured": {},
        "wishes": wishes(of, **(asked or {})),
        "prices": at(gold="10"),
    }
    return Refined(**(plain | changes))


def faults_of(read):
    """(kind, pointer) of each fault that a reading is refused for, in the order found."""
    try:
        read()
    except Refused as refused:
        return [(fault.kind, fault.pointer) for fault in refused.faults]
    return []
