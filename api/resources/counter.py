"""At the counter: estimates, clients, quotes, purchases, lots."""

from typing import Any

from api.http.access import scope, the_actor
from api.http.body import body
from api.http.conditional import if_match, must_match, tagged, version
from api.http.idempotency import keeps, reads, the_work
from api.http.limits import limit_items
from api.http.lines import by_line
from api.http.paging import page_answer, paged
from api.http.published import Blueprint, answers
from api.http.query import query, span, wanted
from api.http.representations import on_paper
from api.schemas.answers_counter import (
    ClientAnswer,
    ClientsAnswer,
    EstimateAnswer,
    PurchaseAnswer,
    PurchasesAnswer,
    QuoteAnswer,
    QuotesAnswer,
)
from api.schemas.answers_lots import LotAnswer, LotsAnswer
from api.schemas.answers_website import WebsiteEstimateAnswer, for_website
from api.schemas.dealings import ConcessionSchema, RevisionSchema
from api.schemas.items import (
    EstimateSchema,
    InstructionsSchema,
    LotSchema,
    PurchaseSchema,
    QuoteAcceptanceSchema,
    QuoteSchema,
)
from api.schemas.queries import LotsQuery, PurchasesQuery, QuotesQuery, SpanQuery, WorkingQuery
from api.schemas.shop import ClientChangeSchema, ClientSchema
from settle.books import clients, estimates, lot_list, lots, purchases, quotes, revisions
from settle.books.listing import Page
from settle.reckoning.problems import Faults

blp = Blueprint("counter", __name__, url_prefix="/v1", description="At the counter")
Body = dict[str, Any]


def _must_be_as_seen(number: str) -> None:
    """A quote is changed as it was seen; that it expired since is told by itself."""
    shown = quotes.shown(the_work(), number)
    before = [version({**shown, "state": "issued"})] if shown["state"] == "expired" else []
    must_match(version(shown), *before)


@blp.route("/estimates", methods=["POST"])
@scope("estimate", "quote")
@query(WorkingQuery)
@by_line
@reads
@body(EstimateSchema)
@answers(200, {"anyOf": [EstimateAnswer, WebsiteEstimateAnswer]})
def estimate(data: Body, faults: Faults, asked: Body) -> Any:
    """Answer an estimate: low, likely, high. It binds nobody and is not kept.

    With `estimate` alone: public terms and prices in force only, and neither
    working nor what is the house's own. As `application/jsonl` many lots come in one
    body, one a line; each is answered by a line, in order: what it
    would be answered alone, or a problem, which alone has a `status`.
    """
    website = not the_actor().scopes & {"quote", "owner"}
    if website:
        limit_items(data, faults)
    with_working = asked.get("working") != "false"
    found = estimates.answer(the_work(), data, faults, public_only=website, working=with_working)
    return for_website(found) if website else found


@blp.route("/clients", methods=["POST"])
@scope("quote")
@keeps()
@body(ClientSchema)
@answers(201, ClientAnswer)
def add_client(data: Body, faults: Faults) -> Any:
    """Enter a client."""
    found = clients.add(the_work(), data, faults)
    return tagged(found, Location=f"/v1/clients/{found['id']}")


@blp.route("/clients")
@scope("quote")
@query(SpanQuery)
@reads
@paged
@answers(200, ClientsAnswer)
def list_clients(page: Page, asked: Body) -> Any:
    """The clients, newest first."""
    found, listed = clients.listed(the_work(), page, span(asked))
    return page_answer(found, listed.next_after)


@blp.route("/clients/<client>")
@scope("quote")
@reads
@answers(200, ClientAnswer)
def show_client(client: str) -> Any:
    """One client."""
    return tagged(clients.shown(the_work(), client))


@blp.route("/clients/<client>", methods=["PATCH"])
@scope("quote")
@keeps()
@if_match
@body(ClientChangeSchema)
@answers(200, ClientAnswer)
def change_client(data: Body, faults: Faults, client: str) -> Any:
    """Change what is given of a client, and nothing else."""
    must_match(version(clients.shown(the_work(), client)))
    return tagged(clients.change(the_work(), client, data, faults))


@blp.route("/quotes", methods=["POST"])
@scope("quote")
@keeps()
@body(QuoteSchema)
@answers(201, QuoteAnswer)
def issue_quote(data: Body, faults: Faults) -> Any:
    """Issue a quote: kept, numbered, held until `valid_until`."""
    found = quotes.issue(the_work(), data, faults)
    return tagged(found, Location=f"/v1/quotes/{found['number']}")


@blp.route("/quotes")
@scope("quote")
@query(QuotesQuery)
@reads
@paged
@answers(200, QuotesAnswer)
def list_quotes(page: Page, asked: Body) -> Any:
    """The quotes, newest first."""
    found, listed = quotes.listed(the_work(), page, wanted(asked))
    return page_answer(found, listed.next_after)


@blp.route("/quotes/<number>")
@scope("quote")
@reads
@answers(200, QuoteAnswer)
@on_paper("quote")
def show_quote(number: str) -> Any:
    """One quote; its `hash` is of the document as it was issued."""
    return tagged(quotes.shown(the_work(), number))


@blp.route("/quotes/<number>/acceptance", methods=["POST"])
@scope("quote")
@keeps()
@if_match
@body(QuoteAcceptanceSchema)
@answers(201, QuoteAnswer)
def accept_quote(data: Body, faults: Faults, number: str) -> Any:
    """The client's positive word: who, how, and the hash of what was shown."""
    _must_be_as_seen(number)
    return tagged(quotes.accept(the_work(), number, data, faults))


@blp.route("/quotes/<number>/withdrawal", methods=["POST"])
@scope("quote")
@keeps()
@if_match
@answers(201, QuoteAnswer)
def withdraw_quote(number: str) -> Any:
    """Withdraw a quote that was not accepted."""
    _must_be_as_seen(number)
    return tagged(quotes.withdraw(the_work(), number))


@blp.route("/quotes/<number>/revisions", methods=["POST"])
@scope("quote")
@keeps()
@if_match
@body(RevisionSchema)
@answers(201, QuoteAnswer)
def revise_quote(data: Body, faults: Faults, number: str) -> Any:
    """Issue a new quote in place of this one: what the body leaves out stays, at the prices in force."""
    _must_be_as_seen(number)
    found = revisions.revise(the_work(), number, data, faults)
    return tagged(found, Location=f"/v1/quotes/{found['number']}")


@blp.route("/quotes/<number>/concessions", methods=["POST"])
@scope("settle")
@keeps()
@if_match
@body(ConcessionSchema)
@answers(201, QuoteAnswer)
def concede(data: Body, faults: Faults, number: str) -> Any:
    """Replace one rate for this quote (F5). An issued quote is revised by one that has it."""
    _must_be_as_seen(number)
    found = revisions.concede(the_work(), number, data, faults)
    return tagged(found, Location=f"/v1/quotes/{found['number']}")


@blp.route("/purchases", methods=["POST"])
@scope("settle")
@keeps(demanded=True)
@body(PurchaseSchema)
@answers(201, PurchaseAnswer)
def buy(data: Body, faults: Faults) -> Any:
    """Buy outright: accepted, paid and settled at once; the metal is the house's."""
    found = purchases.buy(the_work(), data, faults)
    return tagged(found, Location=f"/v1/purchases/{found['number']}")


@blp.route("/purchases")
@scope("settle")
@query(PurchasesQuery)
@reads
@paged
@answers(200, PurchasesAnswer)
def list_purchases(page: Page, asked: Body) -> Any:
    """The purchases, newest first."""
    found, listed = purchases.listed(the_work(), page, wanted(asked))
    return page_answer(found, listed.next_after)


@blp.route("/purchases/<number>")
@scope("settle")
@reads
@answers(200, PurchaseAnswer)
@on_paper("purchase")
def show_purchase(number: str) -> Any:
    """One purchase."""
    return tagged(purchases.shown(the_work(), number))


@blp.route("/lots", methods=["POST"])
@scope("quote")
@keeps()
@body(LotSchema)
@answers(201, LotAnswer)
def receive_lot(data: Body, faults: Faults) -> Any:
    """Take a lot in, from an accepted quote or without one; what differs from the quote is said."""
    found = lots.receive(the_work(), data, faults)
    return tagged(found, Location=f"/v1/lots/{found['number']}")


@blp.route("/lots")
@scope("quote", "work")
@query(LotsQuery)
@reads
@paged
@answers(200, LotsAnswer)
def list_lots(page: Page, asked: Body) -> Any:
    """The lots, newest first."""
    found, listed = lot_list.listed(the_work(), page, wanted(asked))
    return page_answer(found, listed.next_after)


@blp.route("/lots/<number>")
@scope("quote", "work")
@reads
@answers(200, LotAnswer)
@on_paper("receipt", code="number")
def show_lot(number: str) -> Any:
    """One lot as it stands, with every entry about it."""
    return tagged(lots.shown(the_work(), number))


@blp.route("/lots/<number>/instructions", methods=["POST"])
@scope("quote")
@keeps()
@body(InstructionsSchema)
@answers(201, LotAnswer)
def instruct(data: Body, faults: Faults, number: str) -> Any:
    """Change the client's wishes until the metal is poured or paid."""
    return tagged(lots.instruct(the_work(), number, data, faults))
