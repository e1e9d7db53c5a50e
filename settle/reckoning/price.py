"""Which price serves, what a quote binds, and when a price has moved too far (D5)."""

from collections.abc import Mapping

from settle.reckoning.exact import plain
from settle.reckoning.money import Price
from settle.reckoning.problems import Fault, Faults
from settle.reckoning.reading import Reader
from settle.reckoning.terms import Terms

Prices = Mapping[str, Price]


def read_prices(data: object, terms: Terms, faults: Faults, pointer: str = "") -> Prices:
    """Prices by metal, in the currency of the terms; every fault gathered."""
    reader = Reader({} if data is None else data, faults, pointer)
    prices = {}
    for metal in reader.data:
        if metal not in terms.metals:
            right = "one of " + ", ".join(terms.metals)
            reader.fault(metal, "unknown-metal", f'"{metal[:20]}" is not in the terms', right)
            continue
        entry = reader.object(metal).data.get("entry")
        prices[metal] = reader.price(metal, terms.currency, entry if isinstance(entry, str) else None)
    return prices


def binds_price(terms: Terms) -> bool:
    """Whether a quote under these terms holds its price (D5)."""
    return terms.price_time == "quote"


def moved_fault(terms: Terms, metal: str, bound: Price, now: Price) -> Fault | None:
    """Refuse acceptance where the price in force has moved by more than `void_if_moved`, either way."""
    limit = terms.void_if_moved
    if limit is None or not binds_price(terms):
        return None
    if abs(now.per_g - bound.per_g) <= limit * bound.per_g:
        return None
    wrong = f"{metal} moved from {plain(bound.amount)} to {plain(now.amount)} {now.currency} per {now.per}"
    return Fault("price-moved", "", wrong, f"a new quote; the terms allow a move of {plain(limit)}")


def serving(
    terms: Terms, at_quote: Prices | None, at_acceptance: Prices | None, at_receipt: Prices, now: Prices
) -> Prices:
    """The prices that a settlement is made at, by the terms' `price_time` (D5).

    A lot that came without a quote has no price of a quote or an acceptance: the
    price at its receipt serves. A metal that had no price then takes today's.
    """
    chosen = {
        "quote": at_quote or at_receipt,
        "acceptance": at_acceptance or at_receipt,
        "receipt": at_receipt,
        "settlement": now,
    }[terms.price_time]
    return {**now, **chosen}
