"""What is held and let go: frozen lots, lots and shot returned, bars in stock, sold and handed over."""

from typing import Any

from api.http.access import scope
from api.http.body import body
from api.http.conditional import tagged
from api.http.idempotency import keeps, the_work
from api.http.published import Blueprint, answers
from api.schemas.answers_accounts import BarSaleAnswer
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
from settle.books import custody, handovers, house_bars
from settle.reckoning.problems import Faults

blp = Blueprint("custody", __name__, url_prefix="/v1", description="What is held and let go")
Body = dict[str, Any]


def _tagged(found: Body) -> Any:
    return found, tagged(found["version"])


@blp.route("/lots/<number>/freeze", methods=["POST"])
@scope("owner")
@keeps()
@body(FreezeSchema)
@answers(201, LotAnswer)
def freeze(data: Body, faults: Faults, number: str) -> Any:
    """Freeze a lot by order: no melt, batch, handover, return or erasure until it is released."""
    return _tagged(custody.freeze(the_work(), number, data, faults))


@blp.route("/lots/<number>/release", methods=["POST"])
@scope("owner")
@keeps()
@body(ReasonSchema)
@answers(201, LotAnswer)
def release(data: Body, faults: Faults, number: str) -> Any:
    """Release a frozen lot."""
    return _tagged(custody.release(the_work(), number, data, faults))


@blp.route("/lots/<number>/return", methods=["POST"])
@scope("quote", "work")
@keeps(demanded=True)
@body(ReturnSchema)
@answers(201, LotAnswer)
def give_back(data: Body, faults: Faults, number: str) -> Any:
    """Return a lot that was not refined, or the loose shot of a settled one."""
    return _tagged(custody.give_back(the_work(), number, data, faults))


@blp.route("/lots/<number>/return/reversal", methods=["POST"])
@scope("owner")
@keeps(demanded=True)
@body(ReasonSchema)
@answers(201, LotAnswer)
def reverse_return(data: Body, faults: Faults, number: str) -> Any:
    """Reverse the last return of a lot: it came back, or never left."""
    return _tagged(custody.reverse_return(the_work(), number, data, faults))


@blp.route("/stock/bars", methods=["POST"])
@scope("work")
@keeps(demanded=True)
@body(HouseBarSchema)
@answers(201, BarAnswer)
def enter_house_bar(data: Body, faults: Faults) -> Any:
    """Enter a bar of the house's: poured from loose stock, or bought."""
    found = house_bars.enter(the_work(), data, faults)
    return found, tagged(found["version"], Location=f"/v1/bars/{found['serial']}")


@blp.route("/bars/<serial>/sale", methods=["POST"])
@scope("settle")
@keeps(demanded=True)
@body(BarSaleSchema)
@answers(201, BarSaleAnswer)
def sell_bar(data: Body, faults: Faults, serial: str) -> Any:
    """Sell a bar from stock to a client at the price in force; it is paid at once."""
    return house_bars.sell(the_work(), serial, data, faults)


@blp.route("/bars/<serial>/sale/reversal", methods=["POST"])
@scope("owner")
@keeps(demanded=True)
@body(ReasonSchema)
@answers(201, BarAnswer)
def reverse_sale(data: Body, faults: Faults, serial: str) -> Any:
    """Reverse the sale of a bar that was not handed over."""
    return _tagged(house_bars.take_back(the_work(), serial, data, faults))


@blp.route("/bars/<serial>/handover", methods=["POST"])
@scope("work")
@keeps(demanded=True)
@body(HandoverSchema)
@answers(201, BarAnswer)
def hand_over(data: Body, faults: Faults, serial: str) -> Any:
    """Hand a client's bar over: who took it, weighed again (E2)."""
    return _tagged(handovers.hand_over(the_work(), serial, data, faults))


@blp.route("/bars/<serial>/handover/reversal", methods=["POST"])
@scope("owner")
@keeps(demanded=True)
@body(ReasonSchema)
@answers(201, BarAnswer)
def reverse_handover(data: Body, faults: Faults, serial: str) -> Any:
    """Reverse a handover: the bar is in the house again, and still its client's."""
    return _tagged(handovers.take_back(the_work(), serial, data, faults))
