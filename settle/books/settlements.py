"""Settlements: the final account of a lot, drafted, looked at, posted (G)."""

from dataclasses import replace
from datetime import datetime
from functools import partial
from typing import Any

from sqlalchemy import Row, func, select

from settle.books import (
    bars,
    bench,
    chain,
    closed,
    events,
    holds,
    journal,
    lots,
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
from settle.reckoning import document, notices, postings
from settle.reckoning.concession import concede, shown_all
from settle.reckoning.exact import Exact, plain
from settle.reckoning.ledger import Entry, difference
from settle.reckoning.money import amount, minor_units, printed_money
from settle.reckoning.price import Prices, serving
from settle.reckoning.problems import NO_FAULTS, Fault, Faults, Refused
from settle.reckoning.quote import Quoted
from settle.reckoning.reading import Json, Reader
from settle.reckoning.settlement import Refined, compare, read_refined, settle
from settle.reckoning.statement import Statement
from settle.reckoning.terms import Terms
from settle.reckoning.working import Working


def draft(work: Work, body: Json, faults: Faults) -> dict[str, Any]:
    """Draft the settlement of a lot, for the metals that are closed and not settled yet.

    With metals settled before it is a further one (H8). Raises `Refused`: `metal-not-closed`,
    `wrong-state`, `price-too-old`.
    """
    r = Reader(body, faults)
    lot = r.text("lot")
    cash = r.flag("cash")
    faults.refuse_if_any()
    row = _lot(work, lot)
    inputs = _inputs(work, row, cash=cash, wanted=body.get("metals"))
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
            version=1,
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


def _inputs(work: Work, row: Row[Any], *, cash: bool, wanted: list[str] | None) -> dict[str, Any]:
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
        "assay": {m: plain(ppt) for m, ppt in found.ppt.items()},
        "recovered": recovered,
        "still_to_come": to_come,
        "bars": [_bar(b) for b in bars.of_lot(work, row.number) if b.metal in recovered],
        "instructions": lots.instructions(work, row.number),
        "prices": served,
        "advances": amount(till.paid_minor(work, row.number), terms.currency),
        "concessions": [] if row.quote is None else quotes.concessions_of(work, row.quote),
        "fees": amount(bench.client_fees_minor(work, row.number, terms), terms.currency),
        "cash": cash,
        "replaces": _to_replace(work, row.number),
        "further_to": None,
        "sold_before": {},
    }
    return inputs if before is None else inputs | _after(before, served)


def _after(before: Row[Any], served: dict[str, Any]) -> dict[str, Any]:
    """What an earlier settlement of the lot has decided: its prices, what it sold, cash or not (H8)."""
    settled = before.inputs["recovered"]
    metals = before.document["cases"]["final"]["metals"]
    return {
        "further_to": before.number,
        "prices": {**served, **{m: p for m, p in before.inputs["prices"].items() if m in settled}},
        "sold_before": {m: {"amount": metals[m]["sold"]["g"], "unit": "g"} for m in settled},
        "cash": before.inputs["cash"],
    }


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


def _reckoned(work: Work, inputs: Json) -> tuple[dict[str, Any], Entry]:
    """The document of a settlement and the entry that it makes, from its inputs alone."""
    terms, refined, final, rows = _statement(work, inputs)
    quoted: Quoted | None = None
    if inputs["quote"] is not None:
        quoted = quotes.reckoned_again(work, inputs["quote"])
    steps = compare(quoted, refined, final) if quoted else ()
    told = [
        *notices.of_wishes(terms, refined.wishes),
        *notices.of_money(terms, abs(final.net_minor)),
    ]
    reckoned = document.settlement(refined, final, quoted, steps, told, rows)
    about = {k: inputs[k] for k in ("lot", "client", "quote", "still_to_come", "replaces")}
    about["concessions"] = shown_all(terms_of_business.find(work, inputs["terms"]), inputs["concessions"])
    entry = _entry(inputs, final)
    if inputs["further_to"] is None:
        return {**about, "further": None, **reckoned}, entry
    before = row_of(work, inputs["further_to"])
    _, _, earlier, _ = _statement(work, before.inputs)
    further = {"to": before.number, **document.further(earlier, final)}
    due = {"net": further["net"]}
    earlier_entry = _entry(before.inputs, earlier)
    return {**about, "further": further, **reckoned, **due}, difference(entry, earlier_entry)


def _entry(inputs: Json, final: Statement) -> Entry:
    unrefined = inputs["batch"] is None
    return postings.settled("", inputs["client"], inputs["lot"], final, unrefined=unrefined)


def _statement(work: Work, inputs: Json) -> tuple[Terms, Refined, Statement, Working]:
    terms = concede(terms_of_business.find(work, inputs["terms"]), inputs["concessions"], NO_FAULTS)
    refined = read_refined(inputs, terms)
    rows = Working()
    return terms, refined, settle(terms, refined, rows), rows


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
    return due - till.paid_minor(work, row.number) if row.state == "posted" else 0


def shown(work: Work, name: str) -> dict[str, Any]:
    row = row_of(work, name)
    payments = [] if row.number is None else till.of_subject(work, row.number)
    reversal = undone.shown(work, row.number or "")
    return {
        "id": row.id,
        "number": row.number,
        "state": row.state,
        **row.document,
        **_paid(work, row),
        "reversal": reversal,
        "hash": row.hash,
        "made_at": moment_text(row.made_at),
        "posted_at": None if row.posted_at is None else moment_text(row.posted_at),
        # The row stands once it is posted; what is shown of it goes on with payments and a reversal.
        "version": row.version
        + sum(1 + till.is_reversed(work, p) for p in payments)
        + (reversal is not None),
    }


def _paid(work: Work, row: Row[Any]) -> dict[str, Any]:
    """How much is paid and how much still open; nothing yet of a draft."""
    if row.state == "draft":
        return {"paid": None, "open": None}
    currency = row.document["currency"]
    return {
        "paid": printed_money(till.paid_minor(work, row.number), currency),
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


def post(work: Work, name: str) -> dict[str, Any]:
    """Post a draft: it draws an `S-` number, enters the journal and is never edited again.

    Raises `Refused`: `wrong-state`; `frozen`, as settling sells metal to the house and makes bars the
    client's; `changed-since-seen` where what it rests on changed since.
    """
    row = row_of(work, name)
    if row.state != "draft":
        raise Refused(Fault("wrong-state", "", f"it is {row.state}", "a draft"))
    holds.refuse_frozen(work, row.lot)
    of = row.inputs
    now_settled = [m for m in of["recovered"] if m not in of["sold_before"]]
    inputs = _inputs(work, _lot(work, row.lot), cash=of["cash"], wanted=now_settled)
    if document.canonical(inputs) != document.canonical(of):
        changed = sorted(k for k in inputs if inputs[k] != of.get(k))
        wrong = f"since it was drafted, these changed: {', '.join(changed)}"
        raise Refused(Fault("changed-since-seen", "", wrong, "a new draft, looked at"))
    reckoned, entry = _reckoned(work, inputs)
    number = work.number("S")
    kept = {"number": number, "posted_at": work.moment, **reckoned}
    work.connection.execute(
        settlements.update()
        .where(settlements.c.id == row.id)
        .values(
            number=number,
            state="posted",
            document=kept,
            hash=document.digest(kept),
            posted_at=work.now,
            version=row.version + 1,
        )
    )
    chain.seal(work, settlements, number)
    bars.assign(work, row.lot, now_settled)
    lots.touch(work, row.lot)
    journal.post(work, replace(entry, document=number))
    told = {"settlement": number, "lot": row.lot, "client": of["client"], "net": kept["net"]}
    events.emit(work, "settlement.posted", number, told)
    return shown(work, row.id)


def again(work: Work, row: Row[Any]) -> tuple[dict[str, Any], Entry]:
    """A posted settlement put together anew from its inputs, and the entry that it makes."""
    reckoned, entry = _reckoned(work, row.inputs)
    about = {"number": row.number, "posted_at": row.document["posted_at"]}
    return about | reckoned, replace(entry, document=row.number)


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
