"""Bars of the house's own: poured from loose stock or bought, kept in stock."""

from dataclasses import replace
from typing import Any

from sqlalchemy import Row

from settle.books import bars, bench, journal, owner, records, scales, till
from settle.books import terms as terms_of_business
from settle.books.tables import bars as bars_table
from settle.books.work import Work
from settle.reckoning import postings
from settle.reckoning.bars import Line, Poured, Reading, Wishes, pour
from settle.reckoning.exact import ZERO, plain
from settle.reckoning.fineness import WHOLE_PPT
from settle.reckoning.ledger import Entry
from settle.reckoning.notices import HOT_METAL
from settle.reckoning.problems import Fault, Faults, Refused
from settle.reckoning.proof import OF_ASSAY, look_at_proof
from settle.reckoning.reading import Json, Kept, Reader
from settle.reckoning.tables import METALS
from settle.reckoning.terms import Terms
from settle.reckoning.weight import printed

BAR = "bar"
POURED, BOUGHT = "poured", "bought"


def enter(work: Work, body: Json, faults: Faults) -> dict[str, Any]:
    """Enter a bar into stock: `poured` from loose metal, or `bought` with what it states and cost.

    Raises `Refused`: `not-in-stock`, `bar-under-nominal`, `bar-over-pour`, `bar-below-promise`.
    """
    r = Reader(body, faults)
    kind, metal = r.word("kind", (POURED, BOUGHT)), r.word("metal", METALS)
    terms = terms_of_business.chosen(work, r.text("terms") if r.has("terms") else None)
    if kind == POURED:
        reading, line = _read_poured(work, r, terms)
        cost = 0
    else:
        owner.refuse_without(work, frozenset({"settle"}), "/kind", "buying a bar spends the house's money")
        reading, cost = _read_bought(r, terms)
        line = None
    faults.refuse_if_any()
    states = _states(terms, reading, line)
    data = _kept(terms, body, reading, states)
    if line is not None:
        _refuse_lacking(work, metal, bars.fine_mg(data))
    serial = work.number("BAR")
    record = records.add(work, serial, BAR, {"kind": kind, "metal": metal, "cost_minor": cost, **data})
    work.connection.execute(
        bars_table.insert().values(
            serial=serial,
            record=record.id,
            metal=metal,
            data=data,
            state="poured",
            made_at=work.now,
        )
    )
    journal.post(work, entered(work, record))
    told = [HOT_METAL.as_json()] if kind == POURED else []
    return bars.shown(work, serial) | {"notices": told}


def _read_poured(work: Work, r: Reader, terms: Terms) -> tuple[Reading, Line]:
    """The reading of a bar, the assay of its metal, and what was to be poured: nominal and fineness."""
    assay = r.object("assay")
    fineness, u = bench.read_fineness(assay)
    # An older version that was named claims no more than the one that took its place.
    look_at_proof(assay, u, [terms, terms_of_business.newest_of_name(work, terms)])
    reading = Reading(r.weight("reading"), bench.division(r, terms, scales.known(work)), fineness, u)
    promised = r.decimal("fineness", most=WHOLE_PPT, kind="fineness-above-1000", stand_in=WHOLE_PPT)
    return reading, Line(r.weight("nominal"), promised, 1)


def _read_bought(r: Reader, terms: Terms) -> tuple[Reading, int]:
    """A bought bar holds what its maker states; and its cost, minor units."""
    r.text("mark")
    r.word("paid_in", till.PAID_IN)
    fineness = r.decimal("fineness", most=WHOLE_PPT, kind="fineness-above-1000", stand_in=WHOLE_PPT)
    reading = Reading(r.weight("weight"), terms.division_g, fineness, ZERO)
    return reading, till.read_amount(r, terms.currency, "cost")


def _states(terms: Terms, reading: Reading, line: Line | None) -> Poured:
    if line is None:
        return Poured("", 0, reading.weight_g, reading.assay_ppt)
    try:
        return pour(terms, Wishes((line,)), 0, reading, "")
    except Refused as refused:
        # It fills no line of anybody's wishes: what falls short of the promise is its assay.
        faults = (replace(f, pointer="/assay") if f.pointer == "/line" else f for f in refused.faults)
        raise Refused(*faults) from refused


def _kept(terms: Terms, body: Json, reading: Reading, states: Poured) -> dict[str, Any]:
    said = ("nominal", "fineness") if body["kind"] == POURED else ("mark", "paid_in", "fineness")
    kept = {k: body[k] for k in said}
    if body["kind"] == POURED:
        kept |= {k: body["assay"][k] for k in OF_ASSAY if k in body["assay"]}
    return {
        **kept,
        "terms": terms.number,
        "line": 0,
        "reading": {"amount": plain(reading.weight_g), "unit": "g"},
        "division": {"amount": plain(reading.division_g), "unit": "g"},
        "assay": plain(reading.assay_ppt),
        "assay_u": plain(reading.assay_u_ppt),
        "stated": bars.states(states),
    }


def _refuse_lacking(work: Work, metal: str, fine_mg: int) -> None:
    there = journal.balance(work, postings.STOCK, metal)
    if fine_mg > there:
        wrong = f"{printed(fine_mg)['g']} g, and {printed(there)['g']} g of loose {metal} in stock"
        raise Refused(Fault("not-in-stock", "/reading", wrong, "a bar of what is there"))


def entered(work: Work, record: records.Record) -> Entry:
    """The entry of a bar's coming into stock, from what was kept of it."""
    data, serial = record.data, record.subject
    fine_mg = bars.fine_mg(data)
    if data["kind"] == POURED:
        return postings.poured(record.id, serial, data["metal"], fine_mg)
    currency = terms_of_business.find(work, data["terms"]).currency
    place, cost = till.PLACES[data["paid_in"]], data["cost_minor"]
    return postings.bar_bought(record.id, serial, data["metal"], fine_mg, place, currency, cost)


def states_anew(work: Work, row: Row[Any]) -> Json:
    """What a bar states (A6), the house's or a client's, reckoned from what was kept of it."""
    terms, reading = bars.terms_of(work, row), bars.read_reading(row.data)
    if row.lot is not None:
        wishes = bars.wishes(work, row.lot, row.metal, terms)
        return bars.states(pour(terms, wishes, row.data["line"], reading, ""))
    r = Kept(row.data)
    line = Line(r.weight("nominal"), r.decimal("fineness"), 1) if r.has("nominal") else None
    return bars.states(_states(terms, reading, line))


def refuse_not_the_houses(row: Row[Any], pointer: str = "") -> None:
    """Only a bar that is in stock and nobody's can be sold or given for metal on account."""
    if row.lot is not None or row.state != "poured":
        of = f"of {row.lot}" if row.lot is not None else row.state.replace("_", " ")
        right = "a bar of the house's in stock"
        raise Refused(Fault("wrong-state", pointer, f"{row.serial} is {of}", right))


def terms_to_trade(work: Work, r: Reader, client: str, metal: str) -> Terms:
    """The terms that metal is sold under: those named, the client's, else the public ones in force."""
    terms = terms_of_business.chosen(work, r.text("terms") if r.has("terms") else None, client)
    if metal not in terms.metals:
        right = f"terms that account for {metal}"
        raise Refused(Fault("unknown-metal", "/terms", f"the terms don't account for {metal}", right))
    return terms


def refuse_handed_over(row: Row[Any]) -> None:
    if row.state == "handed_over":
        wrong = f"{row.serial} is handed over"
        raise Refused(Fault("something-rests-on-it", "", wrong, "the reversal of the handover first"))
