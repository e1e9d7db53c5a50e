"""Scales, moulds, prices, terms, stock: what the owner enters."""

from typing import Any

from api.http.access import scope
from api.http.body import body
from api.http.idempotency import is_dry_run, keeps, reads, the_work
from api.http.paging import page_answer, paged
from api.http.published import Blueprint, answers
from api.http.query import query, span
from api.schemas.answers_counter import PostedTermsAnswer, TermsAnswer, TermsPageAnswer, TriedTermsAnswer
from api.schemas.answers_shop import (
    CurrentPricesAnswer,
    MouldAnswer,
    MouldsAnswer,
    PriceListAnswer,
    PricesAnswer,
    ScaleAnswer,
    ScalesAnswer,
    StockAnswer,
    StockEntryAnswer,
    TriedPricesAnswer,
)
from api.schemas.queries import SpanQuery, TermsQuery
from api.schemas.shop import MouldSchema, PricesSchema, ScaleSchema, StockSchema
from api.schemas.terms import TermsSchema
from settle.books import prices, quotes, repricing, scales, stock, terms
from settle.books.listing import Page
from settle.reckoning.problems import Fault, Faults, Refused

blp = Blueprint("shop", __name__, url_prefix="/v1", description="Scales, moulds, prices, terms, stock")
Body = dict[str, Any]


@blp.route("/scales", methods=["POST"])
@scope("owner")
@keeps()
@body(ScaleSchema)
@answers(201, ScaleAnswer)
def add_scale(data: Body, faults: Faults) -> Any:
    """Enter a scale."""
    return scales.add_scale(the_work(), data, faults)


@blp.route("/scales")
@scope("quote", "work")
@reads
@paged
@answers(200, ScalesAnswer)
def list_scales(page: Page) -> Any:
    """The scales."""
    found, listed = scales.list_scales(the_work(), page)
    return page_answer(found, listed.next_after)


@blp.route("/moulds", methods=["POST"])
@scope("owner")
@keeps()
@body(MouldSchema)
@answers(201, MouldAnswer)
def add_mould(data: Body, faults: Faults) -> Any:
    """Enter a mould; refused where no reading of its scale can satisfy it (E2)."""
    return scales.add_mould(the_work(), data, faults)


@blp.route("/moulds")
@scope("quote", "work")
@reads
@paged
@answers(200, MouldsAnswer)
def list_moulds(page: Page) -> Any:
    """The moulds."""
    found, listed = scales.list_moulds(the_work(), page)
    return page_answer(found, listed.next_after)


@blp.route("/prices", methods=["POST"])
@scope("price")
@keeps(dry_run=True)
@body(PricesSchema)
@answers(200, TriedPricesAnswer, "As if: nothing was kept")
@answers(201, PricesAnswer)
def enter_prices(data: Body, faults: Faults) -> Any:
    """Enter prices; nothing fetches one. `?dry_run=true` shows what they would do to open quotes."""
    entered = prices.enter(the_work(), data, faults)
    if is_dry_run():
        return {"kept": False, "open_quotes": repricing.of_open_quotes(the_work(), [*data["prices"]])}
    return entered


@blp.route("/prices")
@scope("price", "quote", "work")
@query(SpanQuery)
@reads
@paged
@answers(200, PriceListAnswer)
def list_prices(page: Page, asked: Body) -> Any:
    """Every price that was entered, newest first."""
    found, listed = prices.entered(the_work(), page, span(asked))
    return page_answer(found, listed.next_after)


@blp.route("/prices/current")
@scope("price", "quote", "work")
@reads
@answers(200, CurrentPricesAnswer)
def current_prices() -> Any:
    """The last price of each metal and currency."""
    return prices.current(the_work())


@blp.route("/terms", methods=["POST"])
@scope("owner")
@keeps(dry_run=True)
@body(TermsSchema)
@answers(200, TriedTermsAnswer, "As if: nothing was kept")
@answers(201, PostedTermsAnswer)
def add_terms(data: Body, faults: Faults) -> Any:
    """Post a new version of the terms; `?dry_run=true`: what it would have changed on the last quotes."""
    if is_dry_run():
        return quotes.under_new_terms(the_work(), data, faults)
    added = terms.add(the_work(), data, faults)
    return added, {"Location": f"/v1/terms/{added['number']}"}


@blp.route("/terms")
@scope("quote", "work")
@query(TermsQuery)
@reads
@paged
@answers(200, TermsPageAnswer)
def list_terms(page: Page, asked: Body) -> Any:
    """The versions of the terms, newest first."""
    found, listed = terms.versions(the_work(), page, span(asked), asked.get("name"))
    return page_answer(found, listed.next_after)


@blp.route("/terms/<number>")
@scope("quote", "work")
@reads
@answers(200, TermsAnswer)
def show_terms(number: str) -> Any:
    """One version of the terms."""
    found = terms.shown(the_work(), number)
    if found is None:
        raise Refused(Fault("not-found", "", f"no terms {number[:20]}", "the number of terms, such as T-1"))
    return found


@blp.route("/stock", methods=["POST"])
@scope("owner")
@keeps()
@body(StockSchema)
@answers(201, StockEntryAnswer)
def enter_stock(data: Body, faults: Faults) -> Any:
    """Enter metal of the house's: at the opening, or bought."""
    return stock.enter(the_work(), data, faults)


@blp.route("/stock")
@scope("read")
@query(SpanQuery)
@reads
@paged
@answers(200, StockAnswer)
def show_stock(page: Page, asked: Body) -> Any:
    """Metal of the house's as it was entered, newest first; `stock` is the fine metal that is in stock now,
    the house's own and its clients' alike."""
    found, listed = stock.listed(the_work(), page, span(asked))
    answer, links = page_answer(found, listed.next_after)
    return {**answer, "stock": stock.held(the_work())}, links
