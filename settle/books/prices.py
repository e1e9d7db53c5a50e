"""Entered prices with their time, and which are in force (D5)."""

from collections.abc import Iterable
from datetime import datetime
from typing import Any

from sqlalchemy import Select, func, select

from settle.books import chain, events
from settle.books.columns import Member, moment_text
from settle.books.listing import Listed, Page, page_of
from settle.books.periods import Span
from settle.books.tables import prices
from settle.books.work import Work
from settle.reckoning import notices
from settle.reckoning.exact import decimal
from settle.reckoning.money import Price
from settle.reckoning.notices import Notice
from settle.reckoning.price import Prices
from settle.reckoning.problems import Fault, Faults, Refused
from settle.reckoning.reading import Json, Reader
from settle.reckoning.tables import METALS
from settle.reckoning.terms import Terms


def enter(work: Work, body: Json, faults: Faults) -> dict[str, Any]:
    """Enter prices, each an entry of its own with the time it was entered."""
    r = Reader(body, faults)
    inner = r.object("prices")
    if not inner.data:
        r.missing("prices", 'such as {"gold": {"amount": "61.20", "currency": "GBP", "per": "g"}}')
    for metal in inner.data:
        if metal not in METALS:
            inner.fault(metal, "unknown-metal", f'no metal "{metal[:20]}"', "one of " + ", ".join(METALS))
        else:
            inner.price(metal, "")
    faults.refuse_if_any()
    told = _jumps(work, inner)
    rows = [
        {
            "id": work.name("PR"),
            "metal": metal,
            "data": dict(data),
            "entered_at": work.now,
            **work.made_by,
        }
        for metal, data in inner.data.items()
    ]
    work.connection.execute(prices.insert(), rows)
    for row in rows:
        chain.seal(work, prices, str(row["id"]))
        entered = {"metal": row["metal"], **_shown(row["id"], row["data"], work.now)}
        events.emit(work, "price.entered", str(row["metal"]), entered)
    return {
        "prices": {str(row["metal"]): _shown(row["id"], row["data"], work.now) for row in rows},
        "notices": [notice.as_json() for notice in told],
    }


def _jumps(work: Work, entering: Reader) -> list[Notice]:
    """Prices that are far from the last of the same metal and currency."""
    told: list[Notice] = []
    for metal in entering.data:
        now = entering.price(metal, "")
        before = in_force(work, now.currency).get(metal)
        told += notices.price_jump(metal, before[0], now) if before else []
    return told


def _shown(name: object, data: Any, entered_at: datetime) -> dict[str, Any]:
    return {**data, "entry": name, "entered_at": moment_text(entered_at)}


def in_force(work: Work, currency: str, at: datetime | None = None) -> dict[str, tuple[Price, datetime]]:
    """The last price of each metal in a currency, entered not after `at`, with its time."""
    last = {}
    for metal in METALS:
        row = work.connection.execute(_newest(metal, currency, at)).first()
        if row is not None:
            value = Price(decimal(row.data["amount"]), currency, row.data["per"], row.id)
            last[metal] = (value, row.entered_at)
    return last


def _newest(metal: str, currency: str, at: datetime | None) -> Select[Any]:
    # One row by the index on metal and n, however many prices were ever entered.
    of_currency = Member(prices.c.data, "currency") == currency
    query = select(prices).where(prices.c.metal == metal, of_currency)
    if at is not None:
        query = query.where(prices.c.entered_at <= at)
    return query.order_by(prices.c.n.desc()).limit(1)


def serving(work: Work, terms: Terms, at: datetime | None = None) -> Prices:
    """The prices in force, for the metals of the terms."""
    found = in_force(work, terms.currency, at)
    return {metal: found[metal][0] for metal in terms.metals if metal in found}


def of_metal(work: Work, terms: Terms, metal: str) -> Price:
    """The price in force of one metal, not older than the terms allow.

    Raises `Refused`: `price-missing`, `price-too-old`.
    """
    found = in_force(work, terms.currency)
    if metal not in found:
        right = f"a price of {metal} in {terms.currency}, entered first"
        raise Refused(Fault("price-missing", "", f"no price of {metal}", right))
    refuse_old(work, terms, [metal])
    return found[metal][0]


def refuse_old(work: Work, terms: Terms, metals: Iterable[str]) -> None:
    """Refuse prices in force that are older than the terms allow."""
    found = in_force(work, terms.currency)
    faults = Faults()
    for metal in metals:
        if metal in found and is_old(work, terms, found[metal][1]):
            entered = found[metal][1].isoformat(timespec="minutes")
            right = "a price entered anew"
            faults.add("price-too-old", f"/prices/{metal}", f"{metal} was entered at {entered}", right)
    faults.refuse_if_any()


def is_old(work: Work, terms: Terms, entered_at: datetime) -> bool:
    return bool(work.now > entered_at + terms.price_max_age)


def current(work: Work) -> dict[str, Any]:
    """The last price of each metal and currency."""
    currency = Member(prices.c.data, "currency")
    newest = select(func.max(prices.c.n)).group_by(prices.c.metal, currency)
    last: dict[str, dict[str, Any]] = {}
    for row in work.connection.execute(select(prices).where(prices.c.n.in_(newest))):
        last.setdefault(row.metal, {})[row.data["currency"]] = _shown(row.id, row.data, row.entered_at)
    return {"prices": last}


def entered(work: Work, page: Page, span: Span) -> tuple[list[dict[str, Any]], Listed]:
    listed = page_of(work, span.of(work, select(prices), prices.c.entered_at), prices, page)
    shown = [{"metal": row.metal, **_shown(row.id, row.data, row.entered_at)} for row in listed.rows]
    return shown, listed
