"""Lots: what one client hands in at one time under one set of terms, from receipt to return."""

from collections.abc import Collection
from typing import Any

from sqlalchemy import Row, select

from settle.books import (
    bench,
    chain,
    clients,
    covered,
    drillings,
    erased,
    estimates,
    events,
    holds,
    owner,
    personal,
    quotes,
    records,
    scales,
    undone,
)
from settle.books import terms as terms_of_business
from settle.books.columns import moment_text
from settle.books.tables import bars, lots, reconciliations, recovery_batches, settlements
from settle.books.work import Work
from settle.reckoning import coverage, document, notices, postings
from settle.reckoning.bars import read_instructions
from settle.reckoning.exact import shown as figure
from settle.reckoning.item import Item, read_items
from settle.reckoning.problems import NO_FAULTS, Fault, Faults, Refused
from settle.reckoning.purchase import is_counter
from settle.reckoning.reading import Json, Reader
from settle.reckoning.statement import HOUSE
from settle.reckoning.terms import Terms

HOW_RECEIVED = ("in_person", "carrier")
HOUSE_METAL = ("bought", "stock")
RECEIPT, INSTRUCTIONS, WORDS = "receipt", "instructions", "words"
# What a client may still say of sharing a batch once the lot is taken in (H9).
SHARING = ("consents_to_share", "refine_alone")
PERSONAL = ("acceptance", "declaration", "carrier")


def receive(work: Work, body: Json, faults: Faults) -> dict[str, Any]:
    """Take a lot in, from an accepted quote or without one; a numbered receipt.

    Raises `Refused`: `not-accepted`, `wrong-state` for a quote that became a lot already.
    """
    r = Reader(body, faults)
    quote = _quote(work, r)
    _refuse_quote(quote)
    client = None if r.has("house") else _client(work, r, quote, faults)
    terms = _terms(work, r, quote, client)
    _read_house(r)
    if is_counter(terms):
        r.fault("terms", "contradiction", "they buy over the counter", "a purchase, or terms to refine under")
    r.word("received", HOW_RECEIVED, "in_person")
    if r.flag("owner_allows_platinum"):
        owner.refuse_others(work, "/owner_allows_platinum", "platinum beside others is an owner's word (B6)")
    _acceptance(r)
    asked = _asked(body, quote)
    known = scales.known(work)
    # What comes from the quote was asked about there.
    items = read_items(asked, terms, known, faults, again=not r.has("items"))
    wishes = read_instructions(asked.get("instructions"), terms, faults, "/instructions")
    faults.refuse_if_any()
    faults.extend(coverage.too_many(terms, items, wishes))
    faults.refuse_if_any()
    number = work.number("L")
    hold_until = work.now + terms.holding_period if terms.holding_period else None
    work.connection.execute(
        lots.insert().values(
            number=number,
            client=client,
            terms=terms.number,
            quote=None if quote is None else quote.number,
            data={},
            received_at=work.now,
            hold_until=hold_until,
            made_at=work.now,
        )
    )
    chain.seal(work, lots, number)
    _keep_words(work, number, client, body)
    records.add(work, number, RECEIPT, {**without_words(body), **asked})
    if quote is not None:
        quotes.become_lot(work, quote.number, number)
    of_quote = None if quote is None else quote.number
    events.emit(work, "lot.received", number, {"lot": number, "client": client, "quote": of_quote})
    weighed_on = estimates.scales_of(asked, known)
    told = [*notices.of_load(items, weighed_on), *notices.of_verification(weighed_on, work.now.date())]
    return shown(work, number) | {"notices": [n.as_json() for n in told]}


def _keep_words(work: Work, lot: str, client: str | None, body: Json) -> None:
    """Who said yes, what was declared, who carried it: personal, so not among the records."""
    said = {k: body[k] for k in PERSONAL if k in body}
    if said:
        before = personal.kept(work, lot, WORDS) or {}
        personal.keep(work, lot, WORDS, client, {**before, **said})


def without_words(body: Json) -> dict[str, Any]:
    """A receipt or instructions as the records keep them: how it was accepted, not by whom."""
    kept = {k: v for k, v in body.items() if k not in PERSONAL}
    if "acceptance" in body:
        kept["acceptance"] = {"how": body["acceptance"]["how"]}
    return kept


def _quote(work: Work, r: Reader) -> Row[Any] | None:
    if not r.has("quote"):
        return None
    try:
        return quotes.row_of(work, r.text("quote"))
    except Refused as refused:
        wrong = refused.faults[0].wrong
        unknown = Fault("unknown-reference", "/quote", wrong, "the number of a quote")
        raise Refused(*r.faults.found, unknown) from refused


def _refuse_quote(quote: Row[Any] | None) -> None:
    if quote is None:
        return
    if quote.lot is not None:
        raise Refused(Fault("wrong-state", "/quote", f"it became {quote.lot}", "a quote that became no lot"))
    if quote.state != "accepted":
        right = "a quote that the client accepted"
        raise Refused(Fault("not-accepted", "/quote", f"it is {quote.state}", right))


def _client(work: Work, r: Reader, quote: Row[Any] | None, faults: Faults) -> str:
    of_quote = None if quote is None else quote.client
    if of_quote is not None:
        erased.refuse_erased(work, of_quote)
        if r.has("client") and r.text("client") != of_quote:
            r.fault("client", "contradiction", "not the client of the quote", of_quote)
        return str(of_quote)
    client = r.text("client")
    if client:
        clients.refuse_unknown(work, client, faults)
    return client


def _read_house(r: Reader) -> None:
    """Metal of the house's own, bought or out of stock, joins a batch as a lot without a client (H9)."""
    if not r.has("house"):
        return
    r.word("house", HOUSE_METAL)
    for field in ("quote", "client", "acceptance"):
        if r.has(field):
            r.fault(field, "contradiction", "the metal is the house's own", "leave it out")


def _terms(work: Work, r: Reader, quote: Row[Any] | None, client: str | None) -> Terms:
    if quote is None:
        return terms_of_business.chosen_for(work, r, client or None, r.faults)
    # What a quote was made under rules its lot to the end.
    if r.has("terms") and r.text("terms") != quote.terms:
        r.fault("terms", "contradiction", "not the terms of the quote", quote.terms)
    return terms_of_business.find(work, quote.terms)


def _acceptance(r: Reader) -> None:
    if r.has("acceptance"):
        inner = r.object("acceptance")
        inner.text("who")
        inner.word("how", quotes.HOW_ACCEPTED)


def _asked(body: Json, quote: Row[Any] | None) -> dict[str, Any]:
    """Items and instructions: as weighed again, else as quoted."""
    of_quote = {} if quote is None else quote.request
    asked = {k: body.get(k, of_quote.get(k)) for k in ("items", "instructions")}
    return {k: v for k, v in asked.items() if v is not None}


def row_of(work: Work, number: str) -> Row[Any]:
    """The row of a lot; `not-found` where there is none."""
    row = work.connection.execute(select(lots).where(lots.c.number == number)).first()
    if row is None:
        raise Refused(Fault("not-found", "", f"no lot {number[:20]}", "the number of a lot"))
    return row


def named(work: Work, r: Reader, field: str) -> Row[Any] | None:
    """The row of a lot that a request may name."""
    if not r.has(field):
        return None
    row = work.connection.execute(select(lots).where(lots.c.number == r.text(field))).first()
    if row is None:
        r.fault(field, "unknown-reference", f"no lot {r.text(field)[:20]}", "the number of a lot")
    return row


def of_client(work: Work, client: str) -> list[Row[Any]]:
    """The lots of a client, first received first."""
    return list(work.connection.execute(select(lots).where(lots.c.client == client).order_by(lots.c.n)))


def said(work: Work, lot: str) -> Json:
    """What was said of a lot when it was taken in, and since: consent, and whether it is refined alone."""
    later = [r.data for r in records.in_force(work, lot, INSTRUCTIONS)]
    found: dict[str, Any] = dict(receipt(work, lot))
    for data in later:
        found |= {field: data[field] for field in SHARING if field in data}
    return found


def receipt(work: Work, lot: str) -> Json:
    """What was taken in, as corrected."""
    data: Json = records.in_force(work, lot, RECEIPT)[-1].data
    return data


def source_of(work: Work, row: Row[Any]) -> str:
    """The account that a lot's metal comes from: the client's, or for metal of the house's own
    what it was bought as, or the stock."""
    if row.client is not None:
        return postings.of_lot(row.client, row.number)
    return {"bought": postings.BOUGHT, "stock": postings.STOCK}[receipt(work, row.number)["house"]]


def items_of(work: Work, row: Row[Any], terms: Terms) -> tuple[Item, ...]:
    return read_items(receipt(work, row.number), terms, scales.known(work), NO_FAULTS)


def instructions(work: Work, lot: str) -> Json:
    """The client's wishes in force, JSON-shaped."""
    later = records.in_force(work, lot, INSTRUCTIONS)
    wishes: Json = (later[-1].data if later else receipt(work, lot)).get("instructions") or {}
    return wishes


def instruct(work: Work, lot: str, body: Json, faults: Faults) -> dict[str, Any]:
    """Change the client's wishes, metal by metal, until the metal is poured or paid; or
    record the positive word that was still missing."""
    row = row_of(work, lot)
    r = Reader(body, faults)
    terms = terms_of_business.find(work, row.terms)
    _acceptance(r)
    if not any(r.has(field) for field in ("instructions", "acceptance", *SHARING)):
        r.missing("instructions", "the client's wishes, an acceptance, or a word on sharing a batch")
    wishes = {**instructions(work, lot), **(body.get("instructions") or {})}
    read = read_instructions(wishes, terms, faults, "/instructions")
    faults.refuse_if_any()
    faults.extend(coverage.too_many(terms, items_of(work, row, terms), read))
    faults.refuse_if_any()
    holds.refuse_returned(work, row)
    if row.batch is not None and any(r.has(field) for field in SHARING):
        right = "a word on sharing before it goes into a batch"
        raise Refused(Fault("wrong-state", "", f"it is in {row.batch}", right))
    for metal in body.get("instructions") or {}:
        if metal in settled_metals(work, lot):
            right = "wishes before the settlement"
            raise Refused(Fault("wrong-state", f"/instructions/{metal}", f"{metal} is settled", right))
        poured = select(bars.c.serial).where(
            bars.c.lot == lot, bars.c.metal == metal, bars.c.state != "withdrawn"
        )
        if serial := work.connection.execute(poured).scalar():
            pointer = f"/instructions/{metal}"
            raise Refused(Fault("wrong-state", pointer, f"{serial} is poured", "wishes before the pour"))
    _keep_words(work, lot, row.client, body)
    records.add(work, lot, INSTRUCTIONS, {**without_words(body), "instructions": wishes})
    return shown(work, lot)


def last_settlement(work: Work, lot: str) -> Row[Any] | None:
    """The last posted settlement of a lot: it holds the whole account up to then (H8)."""
    # A further one is drafted after the one before it was posted, whatever the clock says.
    of = settlements
    query = select(of).where(of.c.lot == lot, of.c.state == "posted").order_by(of.c.n.desc())
    return work.connection.execute(query.limit(1)).first()


def settled_metals(work: Work, lot: str) -> list[str]:
    """The metals of a lot that are settled."""
    last = last_settlement(work, lot)
    return [] if last is None else list(last.inputs["recovered"])


def reconciled(work: Work, subject: str | None) -> dict[str, Row[Any]]:
    """What is posted of a batch or silver recovery, by metal."""
    if subject is None:
        return {}
    of = reconciliations.c
    posted = select(reconciliations).where((of.batch == subject) | (of.recovery == subject))
    rows = work.connection.execute(posted.where(~undone.is_undone(of.id)))
    return {row.metal: row for row in rows}


def posted_reconciliations(work: Work, batch: str | None) -> dict[str, Row[Any]]:
    """What is posted for the lots of a batch, by metal: its own account, and its recovery's silver."""
    of = recovery_batches
    recovery = work.connection.execute(select(of.c.recovery).where(of.c.batch == batch)).scalar()
    return reconciled(work, batch) | reconciled(work, recovery)


def refuse_if_posted(work: Work, lot: Row[Any], metals: Collection[str] | None = None) -> None:
    """Nothing that a posted reconciliation or settlement rests on is corrected. Gold alone decides how much
    silver it takes to part a lot; so of another metal that is open still what is said may change: `metals`
    are those of which something is said."""
    posted = posted_reconciliations(work, lot.batch)
    settled = last_settlement(work, lot.number)
    if metals is not None and "gold" not in metals:
        posted = {metal: row for metal, row in posted.items() if metal in metals}
        settled = settled if settled and set(metals) & set(settled.inputs["recovered"]) else None
    rests = [row.id for row in posted.values()] + ([settled.number] if settled else [])
    if rests:
        wrong = f"{', '.join(rests)} rests on it"
        raise Refused(Fault("something-rests-on-it", "", wrong, "reverse that first"))


def is_accepted(work: Work, row: Row[Any]) -> bool:
    """Whether the client's positive word is there: with the quote, the receipt or later."""
    if row.quote is not None or row.client is None:
        return True
    said = [receipt(work, row.number), *(r.data for r in records.in_force(work, row.number, INSTRUCTIONS))]
    return any(data.get("acceptance") for data in said)


def state_of(work: Work, row: Row[Any]) -> str:
    """Where the lot's metal is: received → melted → assayed → in_batch → refined; or returned."""
    if holds.is_returned(work, row.number):
        return "returned"
    if row.batch is not None:
        return "refined" if posted_reconciliations(work, row.batch) else "in_batch"
    # What a client or an umpire found decides nothing without the house's own assay (D3).
    if any(r.data["party"] == HOUSE for r in records.in_force(work, row.number, bench.ASSAY)):
        return "assayed"
    return "melted" if records.in_force(work, row.number, "melt") else "received"


def shown(work: Work, number: str) -> dict[str, Any]:
    """A lot as it stands, with every entry about it, corrected ones too."""
    row = row_of(work, number)
    terms = terms_of_business.find(work, row.terms)
    settled = last_settlement(work, number)
    return {
        "number": number,
        "client": row.client,
        "quote": row.quote,
        "terms": row.terms,
        "state": state_of(work, row),
        "received_at": moment_text(row.received_at),
        "hold_until": None if row.hold_until is None else moment_text(row.hold_until),
        "accepted": is_accepted(work, row),
        "words": personal.kept(work, number, WORDS),
        "frozen": holds.order_of(work, number) is not None,
        "batch": row.batch,
        "settlement": None if settled is None else settled.number,
        "settled_metals": settled_metals(work, number),
        "items": [document.item(i, terms) for i in items_of(work, row, terms)],
        "instructions": instructions(work, number),
        "bars_covered": bars_covered(work, row),
        "drillings": drillings.shown(work, row, terms),
        "assays": bench.shown(work, number, terms),
        "differs_from_quote": _differs(work, row, terms),
        "entries": [records.shown(record) for record in records.history(work, number)],
    }


def bars_covered(work: Work, row: Row[Any]) -> dict[str, Any]:
    """By metal and line how many bars the lot covers and what is left after them (E4)."""
    terms = terms_of_business.find(work, row.terms)
    posted = posted_reconciliations(work, row.batch)
    of = covered.of_lot(work, row, terms, items_of(work, row, terms), posted)
    return covered.shown(work, row.number, terms, of, instructions(work, row.number))


def _differs(work: Work, row: Row[Any], terms: Terms) -> list[dict[str, str]]:
    """What was weighed otherwise than quoted, line by line."""
    if row.quote is None:
        return []
    quoted = quotes.items_of(work, row.quote, terms)
    received = items_of(work, row, terms)
    told = []
    for i, item in enumerate(received):
        old = quoted[i].gross_g if i < len(quoted) else None
        if old is None:
            told.append({"item": str(i), "text": f"{item.description or 'an item'}: was not quoted"})
        elif old != item.gross_g:
            weighed = f"{figure(item.gross_g, 3)} g, quoted at {figure(old, 3)} g"
            told.append({"item": str(i), "text": f"{item.description or 'an item'}: {weighed}"})
    told += [
        {"item": str(i), "text": f"{old_item.description or 'an item'}: was quoted and is not here"}
        for i, old_item in enumerate(quoted)
        if i >= len(received)
    ]
    return told
