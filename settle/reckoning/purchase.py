"""Bought at the counter: accepted, paid and settled at once; the metal is the house's (D1)."""

from settle.reckoning.due import Due, due
from settle.reckoning.problems import Faults
from settle.reckoning.quote import Quoted, Request, reckon
from settle.reckoning.terms import Terms
from settle.reckoning.working import SILENT, Working


def check(request: Request, faults: Faults) -> None:
    """An outright purchase needs terms that buy every metal held on `counter`, and no bars."""
    for metal in request.metals_held:
        rule = request.terms.metals.get(metal)
        if rule is not None and rule.settle_on != "counter":
            wrong = f"{metal} is settled on {rule.settle_on} under these terms"
            faults.add("contradiction", "/terms", wrong, "terms that settle every metal on counter")
    for metal, wishes in request.wishes.items():
        if wishes.lines or wishes.remainder != "pay_out":
            pointer = f"/instructions/{metal}"
            faults.add("contradiction", pointer, "an outright purchase is all paid out", "leave it out")
    if not any(metal in request.terms.metals for metal in request.metals_held):
        faults.add("contradiction", "/items", "nothing here is reckoned to hold metal", "items to buy")


def buy(request: Request, working: Working = SILENT) -> tuple[Quoted, Due]:
    """The quote, and what is due by the case that the terms' `purchase_case` names."""
    quoted = reckon(request, working)
    return quoted, due(quoted.cases[request.terms.purchase_case])


def is_counter(terms: Terms) -> bool:
    """Whether these terms buy outright."""
    return any(rule.settle_on == "counter" for rule in terms.metals.values())
