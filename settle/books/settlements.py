"""Settlements: the final account of a lot, drafted, looked at, posted (G)."""

from datetime import datetime
from functools import partial
from typing import Any

from sqlalchemy import Row, func, select

from settle.books import (
    bars,
    bench,
    chain,
    closed,
    covered,
    events,
    holds,
    journal,
    lots,
    owner,
    prices,
    quotes,
    till,
    undone,
)
from settle.books import terms as terms_of_business
from settle.books.columns import moment_text
from settle.books.listing import Listed, Page, page_of
from settle.books.narrowing import ALL, Wanted, of_clients_lot
from settle.books.tables import reversals, settlements
from settle.books.work import Work
from settle.reckoning import document, postings, record
from settle.reckoning.concession import shown_all
from settle.reckoning.due import Due
from settle.reckoning.exact import Exact, plain
from settle.reckoning.ledger import Entry
from settle.reckoning.money import amount, minor_units, printed_money
from settle.reckoning.price import Prices, serving
from settle.reckoning.problems import Fault, Faults, Refused
from settle.reckoning.reading import Json, Reader
from settle.reckoning.terms import Terms


def draft(work: Work, body: Json, faults: Faults) -> dict[str, Any]:
    """Draft the settlement of a lot, for the metals that are closed and not settled yet.

    With metals settled before it is a further one (H8). Raises `Refused`: `metal-not-closed`,
    `wrong-state`, `price-too-old`.
    """
    lot = Reader(body, faults).text("lot")
    faults.refuse_if_any()
    inputs = _inputs(work, _lot(work, lot), wanted=body.get("metals"))
    reckoned, _ = _reckoned(work, inputs)
    name = work.name("SD")
    work.connection.execute(
        settlements.insert().values(
            id=name,
            lot=lot,
            state="draft",
            document=reckoned,
            inputs=inputs,
            hash=document.digest(reckoned),
            made_at=work.now,
            **work.made_by,
        )
    )
    return shown(work, name)


def _lot(work: Work, number: str) -> Row[Any]:
    try:
        row = lots.row_of(work, number)
    except Refused as refused:
        wrong = refused.faults[0].wrong
        raise Refused(Fault("unknown-reference", "/lot", wrong, "the number of a lot")) from refused
    if row.client is None:
        raise Refused(Fault("wrong-state", "/lot", "the metal is the house's own", "a client's lot"))
    holds.refuse_returned(work, row)
    return row


def _inputs(work: Work, row: Row[Any], wanted: list[str] | None) -> dict[str, Any]:
    """All that a settlement rests on, JSON-shaped: it can be reckoned again from this alone."""
    terms = terms_of_business.find(work, row.terms)
    melted, found = bench.melt_of(work, row.number, terms), bench.agreed_of(work, row.number, terms)
    if melted is None or found is None:
        right = "a melt weight and an assay first"
        raise Refused(Fault("metal-not-closed", "/lot", "it is not melted and assayed yet", right))
    items = lots.items_of(work, row, terms)
    before = lots.last_settlement(work, row.number)
    recovered, to_come = closed.to_settle(work, row, terms, melted, found, before, wanted)
    served = document.prices(_prices(work, row, terms))
    inputs = {
        "lot": row.number,
        "client": row.client,
        "batch": row.batch,
        "terms": row.terms,
        "quote": row.quote,
        "gross": _grams(sum(i.gross_g for i in items)),
        "articles": sum(i.count for i in items),
        "melt": _grams(melted.weight_g),
        "drillings": _grams(melted.drillings_g),
        "drillings_whose": melted.drillings_whose,
        "assay": {m: plain(ppt) for m, ppt in found.ppt.items()},
        "recovered": recovered,
        "still_to_come": to_come,
        "bars": [_bar(b) for b in bars.of_lot(work, row.number) if b.metal in recovered],
        "instructions": lots.instructions(work, row.number),
        "prices": served,
        "advances": amount(till.paid_minor(work, row.number), terms.currency),
        "concessions": [] if row.quote is None else quotes.concessions_of(work, row.quote),
        "fees": amount(bench.client_fees_minor(work, row.number, terms), terms.currency),
        "replaces": _to_replace(work, row.number),
        "further_to": None,
        "sold_before": {},
        "posted_before": None,
    }
    return inputs if before is None else inputs | _after(work, before, served, terms.currency)


def _after(work: Work, before: Row[Any], served: dict[str, Any], currency: str) -> dict[str, Any]:
    """What earlier settlements of the lot have decided: their prices, what they sold, and what the
    journal has of them (H8)."""
    settled = before.inputs["recovered"]
    sold = {m: a["sold"]["g"] for m, a in metals_settled(work, before.lot).items()}
    legs = [leg for row in posted_of(work, before.lot) for leg in journal.legs_of(work, row.number)]
    advances = Exact(before.inputs["advances"])
    return {
        "further_to": before.number,
        "prices": {**served, **{m: p for m, p in before.inputs["prices"].items() if m in settled}},
        "sold_before": {m: {"amount": sold[m], "unit": "g"} for m in settled},
        "posted_before": {
            **postings.posted_before(legs, currency),
            "advances_minor": minor_units(advances, currency),
        },
    }


def metals_settled(work: Work, lot: str) -> dict[str, Any]:
    """The account of each metal of a lot as the settlement that settled it posted it."""
    found: dict[str, Any] = {}
    for row in posted_of(work, lot):
        found |= row.document["cases"]["final"]["metals"]
    return found


def _to_replace(work: Work, lot: str) -> str | None:
    """The settlement of a lot that was reversed last and that no other replaces yet."""
    of = settlements.c
    reversed_last = (
        select(of.number)
        .join(reversals, reversals.c.subject == of.number)
        .where(of.lot == lot)
        .order_by(reversals.c.n.desc())
    )
    posted = select(of.inputs).where(of.lot == lot, of.number.is_not(None))
    replaced = {inputs["replaces"] for inputs in work.connection.execute(posted).scalars()}
    return next((n for n in work.connection.execute(reversed_last).scalars() if n not in replaced), None)


def _grams(weight: Any) -> dict[str, str]:
    return {"amount": plain(weight), "unit": "g"}


def _bar(row: Row[Any]) -> dict[str, Any]:
    kept = ("metal", "line", "reading", "division", "assay", "assay_u")
    return {"serial": row.serial, **{k: row.data[k] for k in kept}}


def _prices(work: Work, row: Row[Any], terms: Terms) -> Prices:
    at_quote: Prices | None = None
    accepted: datetime | None = None
    if row.quote is not None:
        quote = quotes.row_of(work, row.quote)
        at_quote, accepted = quotes.prices_of(quote, terms), quote.accepted_at
    at_acceptance = prices.serving(work, terms, accepted) if accepted else None
    at_receipt = prices.serving(work, terms, row.received_at)
    if terms.price_time == "settlement":
        prices.refuse_old(work, terms, terms.metals)
    return serving(terms, at_quote, at_acceptance, at_receipt, prices.serving(work, terms))


def _reckoned(work: Work, inputs: Json) -> tuple[dict[str, Any], Due]:
    """The document of a settlement, and what is due by it, from its inputs alone."""
    terms = terms_of_business.find(work, inputs["terms"])
    quoted = None if inputs["quote"] is None else quotes.reckoned_again(work, inputs["quote"])
    reckoned, of = record.settled(terms, inputs, quoted)
    about = {k: inputs[k] for k in ("lot", "client", "quote", "still_to_come", "replaces")}
    return {**about, "concessions": shown_all(terms, inputs["concessions"]), **reckoned}, of


def _entry(number: str, inputs: Json, of: Due) -> Entry:
    unrefined = inputs["batch"] is None
    return postings.settled(number, inputs["client"], inputs["lot"], of, unrefined=unrefined)


def row_of(work: Work, name: str) -> Row[Any]:
    """The row of a settlement by its id or its number; `not-found` where there is none."""
    query = select(settlements).where((settlements.c.id == name) | (settlements.c.number == name))
    row = work.connection.execute(query).first()
    if row is None:
        right = "the id or number of a settlement"
        raise Refused(Fault("not-found", "", f"no settlement {name[:20]}", right))
    return row


def posted_of(work: Work, lot: str) -> list[Row[Any]]:
    """The posted settlements of a lot, in the order in which they were posted."""
    query = select(settlements).where(settlements.c.lot == lot, settlements.c.state == "posted")
    return list(work.connection.execute(query.order_by(settlements.c.n)))


def open_minor(work: Work, row: Row[Any]) -> int:
    """What of a posted settlement is not paid yet: above zero the house owes it, below the client."""
    net = row.document["net"]
    due = minor_units(Exact(net["amount"]), net["currency"])
    return due - till.closed_minor(work, row.number) if row.state == "posted" else 0


def shown(work: Work, name: str) -> dict[str, Any]:
    row = row_of(work, name)
    return {
        "id": row.id,
        "number": row.number,
        "state": row.state,
        "owners_word": None,
        **row.document,
        **_paid(work, row),
        "reversal": undone.shown(work, row.number or ""),
        "hash": row.hash,
        "made_at": moment_text(row.made_at),
        "posted_at": None if row.posted_at is None else moment_text(row.posted_at),
    }


def _paid(work: Work, row: Row[Any]) -> dict[str, Any]:
    """How much is paid, what of it is rounding of cash, and how much still open; nothing yet of a draft."""
    if row.state == "draft":
        return dict.fromkeys(("paid", "cash_rounding", "open"))
    currency, paid = row.document["currency"], till.paid_minor(work, row.number)
    return {
        "paid": printed_money(paid, currency),
        "cash_rounding": printed_money(paid - till.closed_minor(work, row.number), currency),
        "open": printed_money(open_minor(work, row), currency),
    }


def comparison(work: Work, name: str) -> dict[str, Any]:
    """Why it differs from the quote; `not-found` where there was no quote (G2)."""
    row = row_of(work, name)
    if row.document["comparison"] is None:
        raise Refused(Fault("not-found", "", "no quote, no comparison", "a lot that came with a quote"))
    return {
        "id": row.id,
        "quote": row.document["quote"],
        "inside_band": row.document["inside_band"],
        **row.document["comparison"],
    }


def post(work: Work, name: str, body: Json, faults: Faults) -> dict[str, Any]:
    """Post a draft: it draws an `S-` number, enters the journal and is never edited again.

    Raises `Refused`: `wrong-state`; `frozen`, as settling sells metal to the house and makes bars the
    client's; `changed-since-seen` where what it rests on changed since; `bar-not-covered` for bars that
    the lot doesn't cover, `bar-below-promise` for one that states far less than it takes, unless by an
    owner's word (E4).
    """
    word = owner.word(work, Reader(body, faults))
    faults.refuse_if_any()
    row = row_of(work, name)
    if row.state != "draft":
        raise Refused(Fault("wrong-state", "", f"it is {row.state}", "a draft"))
    holds.refuse_frozen(work, row.lot)
    of = row.inputs
    now_settled = [m for m in of["recovered"] if m not in of["sold_before"]]
    inputs = _inputs(work, _lot(work, row.lot), wanted=now_settled)
    if document.canonical(inputs) != document.canonical(of):
        changed = sorted(k for k in inputs if inputs[k] != of.get(k))
        wrong = f"since it was drafted, these changed: {', '.join(changed)}"
        raise Refused(Fault("changed-since-seen", "", wrong, "a new draft, looked at"))
    reckoned, final = _reckoned(work, inputs)
    unlike_due = covered.not_as_due(final)
    if unlike_due and word is None:
        raise Refused(*unlike_due)
    number = work.number("S")
    about = {"number": number, "posted_at": work.moment, "owners_word": word if unlike_due else None}
    kept = {**about, **reckoned}
    work.connection.execute(
        settlements.update()
        .where(settlements.c.id == row.id)
        .values(
            number=number,
            state="posted",
            document=kept,
            hash=document.digest(kept),
            posted_at=work.now,
        )
    )
    chain.seal(work, settlements, number)
    bars.assign(work, row.lot, now_settled)
    journal.post(work, _entry(number, inputs, final))
    told = {"settlement": number, "lot": row.lot, "client": of["client"], "net": kept["net"]}
    events.emit(work, "settlement.posted", number, told)
    return shown(work, row.id)


def again(work: Work, row: Row[Any]) -> tuple[dict[str, Any], Entry, list[Fault]]:
    """A posted settlement put together anew from its inputs, the entry that it makes, and what it gives
    away that an owner must have said (E4)."""
    reckoned, final = _reckoned(work, row.inputs)
    about = {k: row.document[k] for k in ("number", "posted_at", "owners_word")}
    return about | reckoned, _entry(row.number, row.inputs, final), covered.not_as_due(final)


def listed(work: Work, page: Page, wanted: Wanted = ALL) -> tuple[list[dict[str, Any]], Listed]:
    """The settlements: a draft by the day it was made, else by the day it was posted."""
    of = settlements.c
    query = wanted.of(
        work,
        select(settlements),
        func.coalesce(of.posted_at, of.made_at, type_=of.made_at.type),
        client=partial(of_clients_lot, lot=of.lot),
        lot=of.lot.__eq__,
        states={state: of.state == state for state in ("draft", "posted", "reversed")},
    )
    rows = page_of(work, query, settlements, page)
    return [
        {
            "id": row.id,
            "number": row.number,
            "lot": row.lot,
            "state": row.state,
            "net": row.document["net"],
            "made_at": moment_text(row.made_at),
            "posted_at": None if row.posted_at is None else moment_text(row.posted_at),
        }
        for row in rows.rows
    ], rows
