"""At the bench: melts, assays, batches, loans, outturns, bars."""

from typing import Any

from api.http.access import scope
from api.http.body import body
from api.http.conditional import tagged
from api.http.idempotency import keeps, reads, the_work
from api.http.paging import page_answer, paged
from api.http.published import Blueprint, answers
from api.http.query import query, wanted
from api.schemas.answers_bench import BarAnswer, BarsAnswer, BatchAnswer, BatchesAnswer
from api.schemas.answers_lots import LotAnswer
from api.schemas.bench import AssaySchema, BarSchema, BatchSchema, LoanSchema, MeltSchema, OutturnSchema
from api.schemas.queries import BarsQuery, PotsQuery
from settle.books import bars, batches, melts
from settle.books.listing import Page
from settle.reckoning.problems import Faults

blp = Blueprint("bench", __name__, url_prefix="/v1", description="At the bench")
Body = dict[str, Any]


def _entered(found: Body) -> Any:
    """A lot or batch as it stands since an entry."""
    return tagged(found, "entry")


@blp.route("/lots/<number>/melt", methods=["POST"])
@scope("work")
@keeps()
@body(MeltSchema)
@answers(201, LotAnswer)
def melt(data: Body, faults: Faults, number: str) -> Any:
    """Record the melt weight, which governs from then on; or correct it."""
    return _entered(melts.melt(the_work(), number, data, faults))


@blp.route("/lots/<number>/assays", methods=["POST"])
@scope("work")
@keeps()
@body(AssaySchema)
@answers(201, LotAnswer)
def assay(data: Body, faults: Faults, number: str) -> Any:
    """Record an assay of the melted lot; or correct it."""
    return _entered(melts.assay(the_work(), number, data, faults))


@blp.route("/batches", methods=["POST"])
@scope("work")
@keeps()
@body(BatchSchema)
@answers(201, BatchAnswer)
def make_batch(data: Body, faults: Faults) -> Any:
    """Make a batch of an assayed lot."""
    found = batches.make(the_work(), data, faults)
    return tagged(found, Location=f"/v1/batches/{found['number']}")


@blp.route("/batches")
@scope("work")
@query(PotsQuery)
@reads
@paged
@answers(200, BatchesAnswer)
def list_batches(page: Page, asked: Body) -> Any:
    """The batches, newest first."""
    found, listed = batches.listed(the_work(), page, wanted(asked))
    return page_answer(found, listed.next_after)


@blp.route("/batches/<number>")
@scope("work")
@reads
@answers(200, BatchAnswer)
def show_batch(number: str) -> Any:
    """One batch as it stands."""
    return tagged(batches.shown(the_work(), number))


@blp.route("/batches/<number>/silver-loans", methods=["POST"])
@scope("work")
@keeps(demanded=True)
@body(LoanSchema)
@answers(201, BatchAnswer)
def lend_silver(data: Body, faults: Faults, number: str) -> Any:
    """Lend house silver to a batch, so that its gold can be parted (H1); or correct a loan."""
    return _entered(batches.lend(the_work(), number, data, faults))


@blp.route("/batches/<number>/outturns", methods=["POST"])
@scope("work")
@keeps()
@body(OutturnSchema)
@answers(201, BatchAnswer)
def take_out(data: Body, faults: Faults, number: str) -> Any:
    """Record metal that came out, weighed and assayed; or correct it."""
    return _entered(batches.take_out(the_work(), number, data, faults))


@blp.route("/bars", methods=["POST"])
@scope("work")
@keeps()
@body(BarSchema)
@answers(201, BarAnswer)
def enter_bar(data: Body, faults: Faults) -> Any:
    """Enter a poured, weighed bar; it is numbered. Or correct its reading."""
    found = bars.enter(the_work(), data, faults)
    return tagged(found, Location=f"/v1/bars/{found['serial']}")


@blp.route("/bars")
@scope("work")
@query(BarsQuery)
@reads
@paged
@answers(200, BarsAnswer)
def list_bars(page: Page, asked: Body) -> Any:
    """The bars, newest first."""
    unclaimed = asked.get("unclaimed") == "true"
    found, listed = bars.listed(the_work(), page, wanted(asked), unclaimed=unclaimed)
    return page_answer(found, listed.next_after)


@blp.route("/bars/<serial>")
@scope("work")
@reads
@answers(200, BarAnswer)
def show_bar(serial: str) -> Any:
    """One bar: what it states, for whom, from which batch."""
    return tagged(bars.shown(the_work(), serial))
