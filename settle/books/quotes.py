"""Quotes: kept, numbered, held until a time; accepted by a positive word (D5)."""

from datetime import datetime
from typing import Any

from sqlalchemy import Row, select

from settle.books import chain, clients, erased, estimates, events, owner, personal, prices, records, scales
from settle.books import terms as terms_of_business
from settle.books.columns import moment_text
from settle.books.listing import Listed, Page, page_of
from settle.books.narrowing import ALL, Wanted
from settle.books.tables import quotes
from settle.books.tables import terms as terms_table
from settle.books.work import Work
from settle.reckoning import document, notices
from settle.reckoning.concession import shown_all
from settle.reckoning.item import Item, read_items
from settle.reckoning.money import printed_money
from settle.reckoning.price import Prices, moved_fault, read_prices
from settle.reckoning.problems import NO_FAULTS, Fault, Faults, Refused
from settle.reckoning.quote import Quoted, Request, read_request, reckon
from settle.reckoning.reading import Json, Reader
from settle.reckoning.terms import Terms, read_terms
from settle.reckoning.working import SILENT, Working

ACCEPTANCE, CONCESSION = "acceptance", "concession"
LAST_QUOTES = 20
HOW_ACCEPTED = ("in_person", "telephone", "e_mail", "website", "letter")


def issue(work: Work, body: Json, faults: Faults) -> dict[str, Any]:
    """Issue a quote; it holds until `valid_until`. Price older than the terms allow: `price-too-old`."""
    r = Reader(body, faults)
    client = r.text("client") if r.has("client") else None
    if client:
        clients.refuse_unknown(work, client, faults)
    terms = terms_of_business.chosen_for(work, r, client, faults)
    request, _ = estimates.read(work, body, terms, faults)
    faults.refuse_if_any()
    refuse_own_prices(work, body)
    if "prices" not in body:
        prices.refuse_old(work, terms, request.metals_held)
    # The prices that served are kept with what was asked: the quote can be reckoned again.
    asked = {**body, "terms": terms.number, "prices": document.prices(request.prices)}
    return keep(work, client, asked, terms, work.now + terms.quote_valid_for)


def refuse_own_prices(work: Work, body: Json) -> None:
    """A quote binds the house: at a price of its own only by a key that may enter prices, or settle."""
    if "prices" in body:
        owner.refuse_without(work, frozenset({"price", "settle"}), "/prices", "a quote at a price of its own")


def keep(
    work: Work, client: str | None, asked: Json, terms: Terms, valid_until: datetime, old: str | None = None
) -> dict[str, Any]:
    """Keep a quote of what was asked, under its number; `old` is the quote that it revises."""
    quote = work.number("Q")
    # What isn't worth refining may be bought: under which terms is kept, so that it is reckoned anew.
    asked = {**asked, "to_buy_under": terms_of_business.to_buy_under(work, terms.currency)}
    about = {
        "number": quote,
        "client": client,
        "made_at": work.moment,
        "valid_until": moment_text(valid_until),
    }
    kept = about | _document(work, asked, terms, work.now)
    work.connection.execute(
        quotes.insert().values(
            number=quote,
            client=client,
            terms=terms.number,
            state="issued",
            valid_until=valid_until,
            request=asked,
            document=kept,
            hash=document.digest(kept),
            made_at=work.now,
            revises=old,
            **work.made_by,
        )
    )
    chain.seal(work, quotes, quote)
    told = {"quote": quote, "client": client, "valid_until": about["valid_until"], "revises": old}
    events.emit(work, "quote.issued", quote, told)
    return shown(work, quote)


def _document(work: Work, asked: Json, terms: Terms, at: datetime) -> dict[str, Any]:
    rows = Working()
    quoted = reckon(request_of(work, asked, terms), rows)
    weighed_on = estimates.scales_of(asked, scales.known(work))
    estimate = document.estimate(quoted, estimates.all_notices(quoted, weighed_on, at), rows)
    offer = estimates.outright_offer(work, asked, quoted, asked["to_buy_under"])
    conceded = shown_all(terms, asked.get("concessions", ()))
    return estimate | {"outright_offer": offer, "concessions": conceded}


def request_of(work: Work, asked: Json, terms: Terms) -> Request:
    """What a quote was asked, read again."""
    faults = Faults()
    request = read_request(asked, terms, {}, scales.known(work), faults, again=True)
    faults.refuse_if_any()
    return request


def row_of(work: Work, number: str) -> Row[Any]:
    """The row of a quote; `not-found` where there is none."""
    row = work.connection.execute(select(quotes).where(quotes.c.number == number)).first()
    if row is None:
        raise Refused(Fault("not-found", "", f"no quote {number[:20]}", "the number of a quote"))
    return row


def state_of(work: Work, row: Row[Any]) -> str:
    """`issued` turns `expired` by itself once `valid_until` is reached."""
    expired = row.state == "issued" and work.now >= row.valid_until
    return "expired" if expired else str(row.state)


def shown(work: Work, number: str) -> dict[str, Any]:
    row = row_of(work, number)
    return _shown(work, row)


def _shown(work: Work, row: Row[Any]) -> dict[str, Any]:
    return {
        **row.document,
        "state": state_of(work, row),
        "hash": row.hash,
        "acceptance": _acceptance(work, row),
        "lot": row.lot,
        "revises": row.revises,
        "revised_by": work.connection.execute(
            select(quotes.c.number).where(quotes.c.revises == row.number)
        ).scalar(),
        **_conceded(work, row),
    }


def concessions_of(work: Work, number: str) -> list[Json]:
    """Every concession on a quote, those of the accepted quote and those made since (F5)."""
    since = (record.data for record in records.in_force(work, number, CONCESSION))
    return [*row_of(work, number).request.get("concessions", ()), *since]


def _conceded(work: Work, row: Row[Any]) -> dict[str, Any]:
    """What was conceded since the acceptance; to those who may see it, what all of it costs the house."""
    terms = terms_of_business.find(work, row.terms)
    since = [record.data for record in records.in_force(work, row.number, CONCESSION)]
    answer: dict[str, Any] = {"conceded_since": shown_all(terms, since)}
    if concessions_of(work, row.number) and work.actor.scopes & {"settle", "owner"}:
        answer["concessions_cost"] = printed_money(_cost(work, row, terms), terms.currency)
    return answer


def _cost(work: Work, row: Row[Any], terms: Terms) -> int:
    """How much more the likely net is with every concession than it would be without."""
    nets = [
        reckon(request_of(work, {**row.request, "concessions": made}, terms), SILENT).net_range[1]
        for made in ([], concessions_of(work, row.number))
    ]
    return nets[1] - nets[0]


def _acceptance(work: Work, row: Row[Any]) -> dict[str, Any] | None:
    if row.acceptance is None:
        return None
    said = personal.kept(work, row.number, ACCEPTANCE) or {"who": None}
    return {**said, **row.acceptance}


def listed(work: Work, page: Page, wanted: Wanted = ALL) -> tuple[list[dict[str, Any]], Listed]:
    of = quotes.c
    reached, open_yet = of.valid_until <= work.now, of.state == "issued"
    states = {state: of.state == state for state in ("accepted", "withdrawn", "revised")}
    states |= {"issued": open_yet & ~reached, "expired": open_yet & reached}
    query = wanted.of(work, select(quotes), of.made_at, client=of.client.__eq__, states=states)
    rows = page_of(work, query, quotes, page)
    brief = ("number", "client", "terms", "made_at", "valid_until", "currency", "net_range", "worth_range")
    return [{**{k: row.document[k] for k in brief}, "state": state_of(work, row)} for row in rows.rows], rows


def accept(work: Work, number: str, body: Json, faults: Faults) -> dict[str, Any]:
    """The client's positive word: who, how, and the hash of what was shown.

    Raises `Refused`: `quote-expired`, `wrong-state`, `price-moved` (D5).
    """
    row = row_of(work, number)
    r = Reader(body, faults)
    r.text("who")
    r.word("how", HOW_ACCEPTED)
    if r.text("hash") != row.hash and r.has("hash"):
        r.fault(
            "hash", "contradiction", "not the hash of this quote", "the hash of the quote as it was shown"
        )
    faults.refuse_if_any()
    _refuse_state(work, row, "accepted")
    erased.refuse_erased(work, row.client)
    terms = terms_of_business.find(work, row.terms)
    _refuse_moved(work, row, terms)
    acceptance = {"how": body["how"], "hash": body["hash"], "at": work.moment}
    personal.keep(work, number, ACCEPTANCE, row.client, {"who": body["who"]})
    change(work, row, state="accepted", accepted_at=work.now, acceptance=acceptance)
    chain.seal(work, quotes, number, of=chain.ACCEPTANCES)
    events.emit(work, "quote.accepted", number, {"quote": number, "client": row.client})
    return shown(work, number)


def _refuse_state(work: Work, row: Row[Any], wanted: str) -> None:
    state = state_of(work, row)
    if state == "expired":
        until = moment_text(row.valid_until)
        raise Refused(Fault("quote-expired", "", f"it held until {until}", "a new quote"))
    if state != "issued":
        raise Refused(Fault("wrong-state", "", f"it is {state}", f"an issued quote can be {wanted}"))


def _refuse_moved(work: Work, row: Row[Any], terms: Terms) -> None:
    bound, now = prices_of(row, terms), prices.serving(work, terms)
    faults = Faults()
    for metal, price in bound.items():
        if metal in now and (fault := moved_fault(terms, metal, price, now[metal])):
            faults.extend([fault])
    faults.refuse_if_any()


def withdraw(work: Work, number: str) -> dict[str, Any]:
    """Withdraw a quote that was not accepted."""
    row = row_of(work, number)
    _refuse_state(work, row, "withdrawn")
    change(work, row, state="withdrawn", closed_at=work.now)
    return shown(work, number)


def change(work: Work, row: Row[Any], **values: Any) -> None:
    """A quote goes on to another state; what was quoted stands."""
    work.connection.execute(quotes.update().where(quotes.c.number == row.number).values(values))


def become_lot(work: Work, number: str, lot: str) -> None:
    """The quote was taken in as a lot."""
    change(work, row_of(work, number), lot=lot)


def prices_of(row: Row[Any], terms: Terms) -> Prices:
    """The prices that the quote was made at, with their entries."""
    return read_prices(row.request["prices"], terms, NO_FAULTS)


def document_again(work: Work, row: Row[Any]) -> dict[str, Any]:
    """The document of a quote, put together anew from what was asked."""
    about = {k: row.document[k] for k in ("number", "client", "made_at", "valid_until")}
    return about | _document(work, row.request, terms_of_business.find(work, row.terms), row.made_at)


def reckoned_again(work: Work, number: str, terms: Terms | None = None) -> Quoted:
    """The quote reckoned from what was asked, under its own terms or others."""
    row = row_of(work, number)
    under = terms or terms_of_business.find(work, row.terms)
    return reckon(request_of(work, row.request, under), SILENT)


def items_of(work: Work, number: str, terms: Terms) -> tuple[Item, ...]:
    """The items as they were quoted."""
    return read_items(row_of(work, number).request, terms, scales.known(work), NO_FAULTS)


def under_new_terms(work: Work, body: Json, faults: Faults) -> dict[str, Any]:
    """What terms that are not kept yet would have changed on the last quotes under terms of their name;
    on the last of all where the name is new."""
    new = read_terms(body, faults=faults)
    faults.refuse_if_any()
    last = select(quotes).order_by(quotes.c.n.desc()).limit(LAST_QUOTES)
    of_name = select(terms_table.c.id).where(terms_table.c.name == new.name)
    if work.connection.execute(of_name.limit(1)).first() is not None:
        # A house may have several sets of terms: a version of one changes no quote of another.
        last = last.where(quotes.c.terms.in_(of_name))
    return {
        "kept": False,
        "last_quotes": [_compared(work, row, new) for row in work.connection.execute(last)],
        "notices": [notice.as_json() for notice in notices.of_terms(new)],
    }


def _compared(work: Work, row: Row[Any], new: Terms) -> dict[str, Any]:
    net_range = row.document["net_range"]
    answer = {"quote": row.number, "likely_net": None if net_range is None else net_range["likely"]}
    try:
        again = reckoned_again(work, row.number, new)
    except Refused as refused:
        return answer | {"under_new_terms": None, "refused": [f.wrong for f in refused.faults]}
    net = printed_money(again.net_range[1], new.currency) if again.is_valued else None
    return answer | {"under_new_terms": net, "refused": []}
