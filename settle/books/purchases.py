"""Outright purchases: accepted, paid and settled at once (D1 `counter`)."""

from datetime import datetime
from typing import Any

from sqlalchemy import Row, select

from settle.books import chain, clients, estimates, journal, prices, scales, till, undone
from settle.books import terms as terms_of_business
from settle.books.listing import Listed, Page, page_of
from settle.books.narrowing import ALL, Wanted
from settle.books.tables import purchases
from settle.books.work import Work
from settle.reckoning import document, postings, purchase
from settle.reckoning.exact import Exact
from settle.reckoning.ledger import Entry
from settle.reckoning.money import printed_money
from settle.reckoning.problems import Fault, Faults, Refused
from settle.reckoning.quote import read_request
from settle.reckoning.reading import Json, Reader
from settle.reckoning.working import Working


def buy(work: Work, body: Json, faults: Faults) -> dict[str, Any]:
    """Buy over the counter; draws a `P-` number and posts at once.

    Raises `Refused`: terms that don't buy on `counter`, a price older than the terms allow.
    """
    r = Reader(body, faults)
    client = r.text("client")
    if client:
        clients.refuse_unknown(work, client, faults)
    paid_in = r.word("paid_in", till.PAID_IN)
    terms = terms_of_business.chosen_for(work, r, client or None, faults, outright=True)
    request, _ = estimates.read(work, body, terms, faults)
    if not faults.found:
        purchase.check(request, faults)
    faults.refuse_if_any()
    if "prices" not in body:
        prices.refuse_old(work, terms, request.metals_held)
    name = work.number("P")
    asked = {**body, "terms": terms.number, "prices": document.prices(request.prices)}
    about = {"number": name, "client": client, "made_at": work.moment, "paid_in": paid_in}
    kept, entry = _reckoned(work, about, asked)
    if not Exact(kept["paid"]["amount"]) > 0:
        wrong = "charges are as much as the metal is worth: nothing would be paid"
        raise Refused(Fault("wrong-state", "", wrong, "a purchase that pays the client something"))
    work.connection.execute(
        purchases.insert().values(
            number=name,
            client=client,
            document=kept,
            hash=document.digest(kept),
            made_at=work.now,
            **work.made_by,
        )
    )
    chain.seal(work, purchases, name)
    journal.post(work, entry)
    answer = shown(work, name)
    # The document tells of its own amount; what it adds up to with other cash is told here.
    linked = till.linked_notices(work, terms, client) if paid_in == "cash" else []
    return answer | {"notices": [*answer["notices"], *(n.as_json() for n in linked)]}


def _reckoned(work: Work, about: Json, asked: Json) -> tuple[dict[str, Any], Entry]:
    """The document of a purchase and its entry, from what was asked alone."""
    terms = terms_of_business.find(work, asked["terms"])
    faults = Faults()
    known = scales.known(work)
    request = read_request(asked, terms, {}, known, faults, again=True)
    faults.refuse_if_any()
    rows = Working()
    quoted, final = purchase.buy(request, rows)
    at = datetime.fromisoformat(about["made_at"])
    told = estimates.all_notices(quoted, estimates.scales_of(asked, known), at)
    paid_minor = till.closing(terms, about["paid_in"], final.net_minor)
    paid = {
        "paid": printed_money(paid_minor, terms.currency),
        "cash_rounding": printed_money(paid_minor - final.net_minor, terms.currency),
    }
    kept = {**about, **document.purchase(quoted, told, rows), **paid, "asked": asked}
    place = till.PLACES[about["paid_in"]]
    return kept, postings.bought(about["number"], about["client"], final, place, paid_minor)


def again(work: Work, row: Row[Any]) -> tuple[dict[str, Any], Entry]:
    """A posted purchase put together anew: its document and the entry that it makes."""
    about = {k: row.document[k] for k in ("number", "client", "made_at", "paid_in")}
    return _reckoned(work, about, row.document["asked"])


def row_of(work: Work, number: str) -> Row[Any]:
    row = work.connection.execute(select(purchases).where(purchases.c.number == number)).first()
    if row is None:
        raise Refused(Fault("not-found", "", f"no purchase {number[:20]}", "the number of a purchase"))
    return row


def shown(work: Work, number: str) -> dict[str, Any]:
    row = row_of(work, number)
    about = {"state": state_of(work, number), "reversal": undone.shown(work, number), "hash": row.hash}
    return {**row.document, **about}


def listed(work: Work, page: Page, wanted: Wanted = ALL) -> tuple[list[dict[str, Any]], Listed]:
    of = purchases.c
    undone_since = undone.is_undone(of.number)
    states = {"posted": ~undone_since, "reversed": undone_since}
    query = wanted.of(work, select(purchases), of.made_at, client=of.client.__eq__, states=states)
    rows = page_of(work, query, purchases, page)
    brief = ("number", "client", "terms", "made_at", "currency", "net")
    return [
        {**{k: row.document[k] for k in brief}, "state": state_of(work, row.number)} for row in rows.rows
    ], rows


def state_of(work: Work, number: str) -> str:
    return "posted" if undone.of(work, number) is None else "reversed"
