"""What the prices in force do to open quotes: which would be refused, which lose money (D5)."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from sqlalchemy import Row, select

from settle.books import prices, quotes
from settle.books import terms as terms_of_business
from settle.books.tables import quotes as all_quotes
from settle.books.work import Work
from settle.reckoning.margin import margin_minor
from settle.reckoning.money import printed_money
from settle.reckoning.price import Prices, binds_price, moved_fault
from settle.reckoning.quote import reckon
from settle.reckoning.terms import Terms
from settle.reckoning.working import SILENT


def of_open_quotes(work: Work, metals: Sequence[str]) -> list[dict[str, Any]]:
    """Each quote that can be accepted and rests on a price of one of these metals, oldest first.

    What is refused is not lost. What binds no price is reckoned at the prices in force.
    """
    is_open = (all_quotes.c.state == "issued", all_quotes.c.valid_until > work.now)
    rows = work.connection.execute(select(all_quotes).where(*is_open).order_by(all_quotes.c.n))
    return [_repriced(work, row) for row in rows if set(metals) & set(row.request["prices"])]


def _repriced(work: Work, row: Row[Any]) -> dict[str, Any]:
    terms = terms_of_business.find(work, row.terms)
    its_own, in_force = quotes.prices_of(row, terms), prices.serving(work, terms)
    moved = [
        fault
        for metal, price in its_own.items()
        if metal in in_force and (fault := moved_fault(terms, metal, price, in_force[metal]))
    ]
    quoted, margin = _margins(work, row, terms, {**its_own, **in_force})
    loss = max(0, -margin) if margin is not None and not moved else 0
    return {
        "quote": row.number,
        "valid_until": row.document["valid_until"],
        "binds_price": binds_price(terms),
        "refused": [f"{fault.wrong}; {fault.right}" for fault in moved],
        "margin_as_quoted": _printed(quoted, terms),
        "margin": _printed(margin, terms),
        "loss": printed_money(loss, terms.currency),
    }


def _margins(work: Work, row: Row[Any], terms: Terms, now: Prices) -> tuple[int | None, int | None]:
    """What the likely case leaves the house at the prices of the quote, and now."""
    request = quotes.request_of(work, row.request, terms)
    likely = reckon(request, SILENT).cases["likely"]
    paid = likely if binds_price(terms) else reckon(replace(request, prices=now), SILENT).cases["likely"]
    return margin_minor(likely, request.prices), margin_minor(paid, now)


def _printed(margin: int | None, terms: Terms) -> dict[str, str] | None:
    return None if margin is None else printed_money(margin, terms.currency)
