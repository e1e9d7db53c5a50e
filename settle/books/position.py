"""The position of the house as at any moment: held, in process, lent, owed; priced; exposed (J4)."""

from collections import defaultdict
from collections.abc import Iterator
from datetime import datetime
from typing import Any

from sqlalchemy import ColumnElement, Select, exists, or_, select

from settle.books import accounts, balances, holds, journal, prices
from settle.books import terms as terms_of_business
from settle.books.balances import Held
from settle.books.columns import Member, moment_text
from settle.books.tables import clients, quotes, records, reversals, settlements, terms
from settle.books.work import Work
from settle.reckoning import document, postings
from settle.reckoning.exact import exactly
from settle.reckoning.ledger import owner_of
from settle.reckoning.money import Price, minor_units, printed_money
from settle.reckoning.price import binds_price
from settle.reckoning.reading import Json
from settle.reckoning.weight import milligrams, printed

HELD_METAL = {postings.STOCK: "stock", postings.BARS: "bars", postings.BOUGHT: "bought"}
HELD_MONEY = {postings.TILL: "till", postings.BANK: "bank"}
# Places whose accounts end in a batch: in it, known to be held back by it (H6), lent to it.
IN_PROCESS, LENT = ("house:process", "house:held"), "house:lent"
# Of these states a quote holds its price; in the others it did until it was closed.
_OPEN = ("issued", "accepted")

Priced = dict[str, dict[str, tuple[Price, datetime]]]


def as_at(work: Work, at: datetime) -> dict[str, Any]:
    """Everything from the journal up to a moment, at the prices that were in force then."""
    held = balances.of_all(work, journal.last_entry(work, at))
    in_force = {currency: prices.in_force(work, currency, at) for currency in _currencies(work)}
    named = balances.commodities(held)
    return {
        "as_at": moment_text(at),
        "metals": {m: _metal(held, m, in_force) for m in named if balances.is_metal(m)},
        "money": {c: _money(held, c) for c in named if not balances.is_metal(c)},
        "exposure": _exposure(work, at, in_force),
    }


def _currencies(work: Work) -> list[str]:
    of = Member(terms.c.data, "currency")
    return sorted(work.connection.execute(select(of).distinct()).scalars())


def _metal(held: Held, metal: str, in_force: Priced) -> dict[str, Any]:
    """Milligrams of one metal; `own` is what would be left if every client were given theirs."""
    there = {name: held.get((place, metal), 0) for place, name in HELD_METAL.items()}
    process = sum(held.get((place, metal), 0) for place in IN_PROCESS)
    lent = held.get((LENT, metal), 0)
    owed = _owed(held, metal)
    total, owed_total = sum(there.values()), sum(owed.values())
    sums = {"held": total, "in_process": process, "lent": lent, "owed": owed_total}
    return {
        "held": {name: printed(mg) for name, mg in [*there.items(), ("total", total)]},
        "in_process": printed(process),
        "lent": printed(lent),
        "owed": {name: printed(mg) for name, mg in [*owed.items(), ("total", owed_total)]},
        "own": printed(total + process + lent - owed_total),
        "priced": {
            currency: _priced(sums, currency, *found[metal])
            for currency, found in in_force.items()
            if metal in found
        },
    }


def _owed(held: Held, metal: str) -> dict[str, int]:
    """What clients are owed of a metal, by what it is."""
    owed: dict[str, int] = defaultdict(int)
    for (place, commodity), amount in held.items():
        if commodity == metal and place.startswith("client:"):
            owed[accounts.name_of(place)] -= amount
    return owed


def _priced(mg: dict[str, int], currency: str, price: Price, entered_at: datetime) -> dict[str, Any]:
    worth = {name: minor_units(price.value(of), currency) for name, of in mg.items()}
    # What is printed adds up, as the weights do.
    worth["own"] = worth["held"] + worth["in_process"] + worth["lent"] - worth["owed"]
    return {
        "price": {**document.price(price), "entered_at": moment_text(entered_at)},
        **{name: printed_money(minor, currency) for name, minor in worth.items()},
    }


def _worth(price: Price, mg: int, currency: str) -> dict[str, str]:
    return printed_money(minor_units(price.value(mg), currency), currency)


def _money(held: Held, currency: str) -> dict[str, Any]:
    """Money that is there, what clients are owed and what they owe, each client for himself."""
    of_clients: dict[str, int] = defaultdict(int)
    tax = 0
    for (place, commodity), amount in held.items():
        if commodity == currency and place.startswith("client:"):
            of_clients[owner_of(place)] += amount
        elif commodity == currency and place.startswith("tax:"):
            tax -= amount
    figures = {name: held.get((place, currency), 0) for place, name in HELD_MONEY.items()}
    figures["owed_to_clients"] = -sum(of for of in of_clients.values() if of < 0)
    figures["owed_by_clients"] = sum(of for of in of_clients.values() if of > 0)
    figures["tax_owed"] = tax
    return {name: printed_money(minor, currency) for name, minor in figures.items()}


def _exposure(work: Work, at: datetime, in_force: Priced) -> dict[str, Any]:
    """Metal that open quotes would sell at the price they hold, and what it is worth now (D5)."""
    sold: dict[tuple[str, str], list[tuple[int, int]]] = defaultdict(list)
    for quote in work.connection.execute(_open(at)):
        if binds_price(terms_of_business.find(work, quote.terms)):
            for metal, currency, mg, paid in _likely_sold(quote.document):
                sold[metal, currency].append((mg, paid))
    exposed: dict[str, Any] = {}
    for (metal, currency), of in sorted(sold.items()):
        price = in_force[currency].get(metal)
        mg = sum(weight for weight, _ in of)
        exposed.setdefault(metal, {})[currency] = {
            "quotes": len(of),
            "likely_sold": printed(mg),
            "payout_held": printed_money(sum(paid for _, paid in of), currency),
            "at_price_in_force": None if price is None else _worth(price[0], mg, currency),
        }
    return exposed


def _likely_sold(quoted: Json) -> Iterator[tuple[str, str, int, int]]:
    """Metal, currency, milligrams and minor units of what a quote would buy in the likely case."""
    currency = quoted["currency"]
    for metal, account in quoted["cases"]["likely"]["metals"].items():
        mg = milligrams(exactly(account["sold"]["g"]))
        if mg:
            yield metal, currency, mg, minor_units(exactly(account["payout"]["amount"]), currency)


def _open(at: datetime) -> Select[Any]:
    """Quotes neither closed nor expired at a moment, their client and lot there and not settled."""
    of = quotes.c
    standing = or_(of.state.in_(_OPEN), of.closed_at > at)
    held = or_(of.valid_until > at, of.accepted_at <= at)
    gone = or_(_settled(at), _returned(at), _erased(at))
    return select(quotes).where(of.made_at <= at, standing, held, ~gone)


def _settled(at: datetime) -> ColumnElement[bool]:
    of = settlements.c
    return exists().where(of.lot == quotes.c.lot, of.posted_at <= at, ~_reversed(of.number, at))


def _returned(at: datetime) -> ColumnElement[bool]:
    of = records.c
    whole = Member(of.data, "what") == holds.THE_LOT
    there = of.kind == holds.RETURN, whole, of.made_at <= at, ~_reversed(of.id, at)
    return exists().where(of.subject == quotes.c.lot, *there)


def _erased(at: datetime) -> ColumnElement[bool]:
    """Nothing goes on with who was erased: the lot of an accepted quote can't come any more."""
    return exists().where(clients.c.id == quotes.c.client, clients.c.erased_at <= at)


def _reversed(name: ColumnElement[str], at: datetime) -> ColumnElement[bool]:
    return exists().where(reversals.c.subject == name, reversals.c.made_at <= at)
