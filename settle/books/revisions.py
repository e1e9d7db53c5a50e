"""As the talk goes on: a quote revised by another, and concessions (F5)."""

from typing import Any

from sqlalchemy import Row

from settle.books import erased, estimates, lots, owner, personal, prices, quotes, records
from settle.books import terms as terms_of_business
from settle.books.work import Work
from settle.reckoning import concession, document
from settle.reckoning.concession import conceded
from settle.reckoning.problems import NO_FAULTS, Fault, Faults, Refused
from settle.reckoning.quote import reckon
from settle.reckoning.reading import Json, Reader
from settle.reckoning.terms import Terms
from settle.reckoning.working import SILENT

_REVISABLE = ("issued", "expired")


def revise(work: Work, number: str, body: Json, faults: Faults) -> dict[str, Any]:
    """Issue a new quote that names the old one. What the body leaves out stays as it was asked,
    but for prices: those in force serve. What was conceded stays, unless under other terms; for other
    items by who may concede alone.

    Raises `Refused`: `wrong-state` for a quote that was accepted, withdrawn or revised, `price-too-old`.
    """
    row = quotes.row_of(work, number)
    r = Reader(body, faults)
    terms = terms_of_business.find(work, r.text("terms") if r.has("terms") else row.terms)
    stays = ("items", "instructions", *(("concessions",) if terms.number == row.terms else ()))
    wanted = {**{k: row.request[k] for k in stays if k in row.request}, **body}
    request, _ = estimates.read(work, wanted, terms, faults)
    faults.refuse_if_any()
    _refuse_state(work, row)
    erased.refuse_erased(work, row.client)
    quotes.refuse_own_prices(work, body)
    if "items" in body and wanted.get("concessions"):
        wrong = "other items at what was conceded for these"
        owner.refuse_without(work, frozenset({"settle"}), "/items", wrong)
    if "prices" not in body:
        prices.refuse_old(work, terms, request.metals_held)
    asked = {**wanted, "terms": terms.number, "prices": document.prices(request.prices)}
    quotes.change(work, row, state="revised", closed_at=work.now)
    return quotes.keep(work, row.client, asked, terms, work.now + terms.quote_valid_for, number)


def _refuse_state(work: Work, row: Row[Any]) -> None:
    state = quotes.state_of(work, row)
    if state not in _REVISABLE:
        right = "an issued quote; or a new one"
        raise Refused(Fault("wrong-state", "", f"it is {state}", right))


def concede(work: Work, number: str, body: Json, faults: Faults) -> dict[str, Any]:
    """Replace one rate for one quote, with reason and who granted it.

    An issued quote is revised by one with the concession in it, at the same prices and as
    long. On an accepted one it is kept beside what was agreed, until the lot is settled.
    Raises `Refused`: `wrong-state`, `quote-expired`, `contradiction` for what would cost the client.
    """
    row = quotes.row_of(work, number)
    terms = terms_of_business.find(work, row.terms)
    made = _read(body, terms, faults)
    faults.refuse_if_any()
    before = quotes.concessions_of(work, number)
    _refuse_dearer(work, row, terms, before, made)
    erased.refuse_erased(work, row.client)
    state = quotes.state_of(work, row)
    if state == "issued":
        asked = {**row.request, "concessions": [*before, made]}
        quotes.change(work, row, state="revised", closed_at=work.now)
        shown = quotes.keep(work, row.client, asked, terms, row.valid_until, number)
        personal.keep(work, shown["number"], quotes.CONCESSION, row.client, {"who": body["who"]})
        return quotes.shown(work, shown["number"])
    _refuse_late(work, row, state)
    record = records.add(work, number, quotes.CONCESSION, made)
    personal.keep(work, record.id, quotes.CONCESSION, row.client, {"who": body["who"]})
    return quotes.shown(work, number)


def _read(body: Json, terms: Terms, faults: Faults) -> dict[str, Any]:
    r = Reader(body, faults)
    for field in ("reason", "who"):
        if not r.text(field).strip() and r.has(field):
            r.fault(field, "bad-text", "empty", "a text")
    conceded(terms, r)
    return {k: v for k, v in body.items() if k != "who"}


def _refuse_late(work: Work, row: Row[Any], state: str) -> None:
    if state == "expired":
        raise Refused(Fault("quote-expired", "", "it has expired", "a revision first"))
    if state != "accepted":
        raise Refused(Fault("wrong-state", "", f"it is {state}", "an issued or accepted quote"))
    settled = None if row.lot is None else lots.last_settlement(work, row.lot)
    if settled is not None:
        right = "a concession before the settlement"
        raise Refused(Fault("wrong-state", "", f"{settled.number} settled {row.lot}", right))


def _refuse_dearer(work: Work, row: Row[Any], terms: Terms, before: list[Json], made: Json) -> None:
    """A concession that would cost the client something is none."""
    old, better = (concession.concede(terms, of, NO_FAULTS) for of in (before, [*before, made]))
    least, new = (
        reckon(quotes.request_of(work, {**row.request, "concessions": of}, terms), SILENT).net_range[1]
        for of in (before, [*before, made])
    )
    if concession.is_worse(old, better) or new < least:
        wrong = "the client would get less with it than without"
        raise Refused(Fault("contradiction", "/rate", wrong, "a rate that is better for the client"))
