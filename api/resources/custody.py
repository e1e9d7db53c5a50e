"""What is held and let go: frozen lots, lots and shot returned, bars in stock, sold and handed over."""

from typing import Any

from api.http.access import scope
from api.http.body import body
from api.http.conditional import tagged
from api.http.idempotency import keeps, reads, the_work
from api.http.paging import page_answer, paged
from api.http.published import Blueprint, answers
from api.http.query import query, wanted
from api.http.representations import on_paper, the_issuer
from api.schemas.answers_accounts import BarSaleAnswer, BarSalesAnswer
from api.schemas.answers_bench import BarAnswer
from api.schemas.answers_lots import LotAnswer
from api.schemas.dealings import (
    BarSaleSchema,
    FreezeSchema,
    HandoverSchema,
    HouseBarSchema,
    ReasonSchema,
    ReturnSchema,
)
from api.schemas.queries import BarSalesQuery
from settle.books import bar_sales, custody, handovers, house_bars, reversals
from settle.books.listing import Page
from settle.reckoning.problems import Faults

blp = Blueprint("custody", __name__, url_prefix="/v1", description="What is held and let go")
Body = dict[str, Any]


@blp.route("/lots/<number>/freeze", methods=["POST"])
@scope("owner")
@keeps()
@body(FreezeSchema)
@answers(201, LotAnswer)
def freeze(data: Body, faults: Faults, number: str) -> Any:
    """Freeze a lot by order: no melt, batch, handover, return or erasure until it is released."""
    return tagged(custody.freeze(the_work(), number, data, faults))


@blp.route("/lots/<number>/release", methods=["POST"])
@scope("owner")
@keeps()
@body(ReasonSchema)
@answers(201, LotAnswer)
def release(data: Body, faults: Faults, number: str) -> Any:
    """Release a frozen lot."""
    return tagged(custody.release(the_work(), number, data, faults))


@blp.route("/lots/<number>/return", methods=["POST"])
@scope("quote", "work")
@keeps(demanded=True)
@body(ReturnSchema)
@answers(201, LotAnswer)
def give_back(data: Body, faults: Faults, number: str) -> Any:
    """Return a lot that was not refined, or the loose shot or the drillings of a settled one."""
    return tagged(custody.give_back(the_work(), number, data, faults), "entry")


@blp.route("/lots/<number>/return/reversal", methods=["POST"])
@scope("owner")
@keeps(demanded=True)
@body(ReasonSchema)
@answers(201, LotAnswer)
def reverse_return(data: Body, faults: Faults, number: str) -> Any:
    """Reverse the last return of a lot: it came back, or never left."""
    return tagged(custody.reverse_return(the_work(), number, data, faults))


@blp.route("/stock/bars", methods=["POST"])
@scope("work")
@keeps(demanded=True)
@body(HouseBarSchema)
@answers(201, BarAnswer)
def enter_house_bar(data: Body, faults: Faults) -> Any:
    """Enter a bar of the house's: poured from loose stock, or bought."""
    found = house_bars.enter(the_work(), data, faults)
    return tagged(found, Location=f"/v1/bars/{found['serial']}")


@blp.route("/bars/<serial>/sale", methods=["POST"])
@scope("settle")
@keeps(demanded=True)
@body(BarSaleSchema)
@answers(201, BarSaleAnswer)
def sell_bar(data: Body, faults: Faults, serial: str) -> Any:
    """Sell a bar from stock to a client at the price in force; it is invoiced, and paid at once."""
    found = bar_sales.sell(the_work(), serial, data, the_issuer(), faults)
    return tagged(found, Location=f"/v1/bar-sales/{found['number']}")


@blp.route("/bar-sales")
@scope("settle")
@query(BarSalesQuery)
@reads
@paged
@answers(200, BarSalesAnswer)
def list_bar_sales(page: Page, asked: Body) -> Any:
    """The bars sold from stock, newest first."""
    found, listed = bar_sales.listed(the_work(), page, wanted(asked))
    return page_answer(found, listed.next_after)


@blp.route("/bar-sales/<number>")
@scope("settle")
@reads
@answers(200, BarSaleAnswer)
@on_paper("bar_sale")
def show_bar_sale(number: str) -> Any:
    """One bar sold from stock: its invoice, how it was paid, and whether it stands.

    A sale that was kept before sales had numbers is found by its id.
    """
    return tagged(bar_sales.shown(the_work(), bar_sales.row_of(the_work(), number)))


@blp.route("/bars/<serial>/sale/reversal", methods=["POST"])
@scope("owner")
@keeps(demanded=True)
@body(ReasonSchema)
@answers(201, BarAnswer)
def reverse_sale(data: Body, faults: Faults, serial: str) -> Any:
    """Reverse the sale of a bar that was not handed over; it draws a credit note."""
    return tagged(reversals.bar_sale(the_work(), serial, data, the_issuer(), faults), "reversal")


@blp.route("/bars/<serial>/handover", methods=["POST"])
@scope("work")
@keeps(demanded=True)
@body(HandoverSchema)
@answers(201, BarAnswer)
def hand_over(data: Body, faults: Faults, serial: str) -> Any:
    """Hand a client's bar over: who took it, weighed again (E2)."""
    return tagged(handovers.hand_over(the_work(), serial, data, faults), "handover")


@blp.route("/bars/<serial>/handover/reversal", methods=["POST"])
@scope("owner")
@keeps(demanded=True)
@body(ReasonSchema)
@answers(201, BarAnswer)
def reverse_handover(data: Body, faults: Faults, serial: str) -> Any:
    """Reverse a handover: the bar is in the house again, and still its client's."""
    return tagged(handovers.take_back(the_work(), serial, data, faults))
