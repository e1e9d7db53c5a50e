"""A client's metal on account: sold to the house at a later price (D5), or taken as a bar from stock."""

from typing import Any

from sqlalchemy import select

from settle.books import (
    bars,
    clients,
    custody,
    house_bars,
    journal,
    owner,
    poured,
    prices,
    records,
    tables,
    till,
    undone,
)
from settle.books import terms as terms_of_business
from settle.books.listing import Listed, Page, page_of
from settle.books.narrowing import ALL, Wanted
from settle.books.work import Work
from settle.reckoning import document, postings, sale
from settle.reckoning.ledger import Entry
from settle.reckoning.price import read_prices
from settle.reckoning.problems import NO_FAULTS, Fault, Faults, Refused
from settle.reckoning.reading import Json, Reader
from settle.reckoning.tables import METALS
from settle.reckoning.weight import milligrams, printed
from settle.reckoning.working import Working

SALE, AS_BAR = "metal-sale", "metal-bar"


def held_mg(work: Work, client: str, metal: str) -> int:
    """What a client holds on account, whole milligrams."""
    return -journal.balance(work, postings.of_client(client, "metal"), metal)


def sell(work: Work, client: str, body: Json, faults: Faults) -> dict[str, Any]:
    """Sell metal on account to the house at the price in force; all of it where no weight is given.

    It is paid at once. Raises `Refused`: `not-on-account`, `price-too-old`, `price-missing`; `frozen`;
    `net-unpaid` while the client owes the net of a settlement, unless by an owner's word.
    """
    clients.shown(work, client)
    r = Reader(body, faults)
    metal, paid_in = r.word("metal", METALS), r.word("paid_in", till.PAID_IN)
    wanted = milligrams(r.weight("weight")) if r.has("weight") else None
    word = owner.word(work, r)
    faults.refuse_if_any()
    custody.refuse_held_back(work, client, word)
    terms = house_bars.terms_to_trade(work, r, client, metal)
    fine_mg = held_mg(work, client, metal) if wanted is None else wanted
    _refuse_lacking(work, client, metal, fine_mg, "/weight")
    asked = {
        "client": client,
        "terms": terms.number,
        "metal": metal,
        "fine_mg": fine_mg,
        "price": document.price(prices.of_metal(work, terms, metal)),
    }
    made, answer = _sold(work, asked)
    paid_minor = till.closing(terms, paid_in, made.net_minor)
    if paid_minor <= 0 or made.net_minor < terms.least_paid_minor:
        wrong = "it is worth less than what is paid at least"
        raise Refused(Fault("wrong-state", "/weight", wrong, "metal that is worth something"))
    record = records.add(work, client, SALE, {"asked": asked, "answer": answer, "override": word})
    journal.post(work, sold(work, record))
    text, rounding = f"{metal} on account paid", paid_minor - made.net_minor
    paid = till.pay(work, record.id, text, client, terms, paid_minor, body, rounding)
    return shown(work, record) | {"payment": paid}


def _refuse_lacking(work: Work, client: str, metal: str, fine_mg: int, pointer: str) -> None:
    there = held_mg(work, client, metal)
    if fine_mg > there or there <= 0:
        wrong = f"{client} holds {printed(there)['g']} g of {metal} on account"
        raise Refused(Fault("not-on-account", pointer, wrong, "as much as is there, at most"))


def _sold(work: Work, asked: Json) -> tuple[sale.Sale, dict[str, Any]]:
    terms = terms_of_business.find(work, asked["terms"])
    price = read_prices({asked["metal"]: asked["price"]}, terms, NO_FAULTS)[asked["metal"]]
    rows = Working()
    made = sale.by_client(terms, asked["metal"], asked["fine_mg"], price, rows)
    return made, document.sale(made, rows)


def sold(work: Work, record: records.Record) -> Entry:
    """The entry of a sale, reckoned from what was asked; `ValueError` if the answer was another."""
    made, answer = _sold(work, record.data["asked"])
    if answer != record.data["answer"]:
        raise ValueError("reckoned anew it differs")
    return postings.account_sold(record.id, record.subject, made)


def take_bar(work: Work, client: str, body: Json, faults: Faults) -> dict[str, Any]:
    """Take metal on account as a bar from stock: it takes what the bar states; the bar is the client's.

    Raises `Refused`: `wrong-state` for a bar that is not the house's, `not-on-account`, `frozen`;
    `net-unpaid` while the client owes the net of a settlement, unless by an owner's word.
    """
    clients.shown(work, client)
    r = Reader(body, faults)
    serial, word = r.text("bar"), owner.word(work, r)
    faults.refuse_if_any()
    custody.refuse_held_back(work, client, word)
    row = bars.row_of(work, serial, "/bar")
    house_bars.refuse_not_the_houses(row, "/bar")
    stated_mg = poured.stated(row).stated_mg
    _refuse_lacking(work, client, row.metal, stated_mg, "/bar")
    data = {"bar": serial, "metal": row.metal, "stated_mg": stated_mg, "override": word}
    record = records.add(work, client, AS_BAR, data)
    journal.post(work, taken(record))
    bars.change(work, row, state="assigned", client=client)
    return shown(work, record)


def taken(record: records.Record) -> Entry:
    data = record.data
    return postings.account_as_bar(record.id, record.subject, data["bar"], data["metal"], data["stated_mg"])


def shown(work: Work, record: records.Record) -> dict[str, Any]:
    data = record.data
    figures = data["answer"] if record.kind == SALE else _bar_shown(data)
    reversal = undone.shown(work, record.id)
    state = "posted" if reversal is None else "reversed"
    return {"id": record.id, "client": record.subject, **figures, "state": state, "reversal": reversal}


def _bar_shown(data: Json) -> dict[str, Any]:
    return {"bar": data["bar"], "metal": data["metal"], "takes": printed(data["stated_mg"])}


def listed(
    work: Work, client: str, kind: str, page: Page, wanted: Wanted = ALL
) -> tuple[list[dict[str, Any]], Listed]:
    """A client's sales, or bars taken, reversed ones too, oldest first."""
    clients.shown(work, client)
    of = tables.records.c
    entries = select(tables.records).where(of.subject == client, of.kind == kind)
    undone_since = undone.is_undone(of.id)
    query = wanted.of(work, entries, of.made_at, states={"posted": ~undone_since, "reversed": undone_since})
    rows = page_of(work, query, tables.records, page, oldest_first=True)
    return [shown(work, records.of_row(row)) for row in rows.rows], rows


def reverse(work: Work, client: str, kind: str, name: str, body: Json, faults: Faults) -> dict[str, Any]:
    """Reverse a sale, the money back; or a bar taken and not handed over, which is the house's again."""
    clients.shown(work, client)
    reason = undone.reason_of(body, faults)
    record = next((r for r in records.history(work, client, kind) if r.id == name), None)
    if record is None:
        raise Refused(Fault("not-found", "", f"no such entry {name[:20]}", f"the id of a {kind} of {client}"))
    undone.refuse_undone(work, name)
    if kind == AS_BAR:
        row = bars.row_of(work, record.data["bar"])
        house_bars.refuse_handed_over(row)
        bars.change(work, row, state="poured", client=None)
    undone.undo(work, name, reason, [name])
    for payment in till.standing(work, name):
        till.reverse(work, payment, reason)
    return shown(work, record)
