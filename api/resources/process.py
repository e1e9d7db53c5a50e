"""Refining together: lots in a batch, held metal, silver recoveries, pours; the till's silver credits."""

from functools import wraps
from typing import Any

from flask import request

from api.http.access import scope
from api.http.body import body, takes_too
from api.http.conditional import if_match, must_match, tagged, version
from api.http.idempotency import keeps, reads, the_work
from api.http.paging import page_answer, paged
from api.http.published import Blueprint, View, answers, documented
from api.http.query import query, span, wanted
from api.http.representations import on_paper
from api.schemas.answers_bench import (
    BatchAnswer,
    PartingPlanAnswer,
    PourAnswer,
    PourPlanAnswer,
    ReconciliationAnswer,
    RecoveriesAnswer,
    RecoveryAnswer,
)
from api.schemas.answers_books import CreditComparisonAnswer, LoansAnswer
from api.schemas.bench import (
    BatchSchema,
    CreditsSchema,
    HeldSchema,
    PourPlanSchema,
    PourSchema,
    ReconciliationSchema,
    RecoverySchema,
    SilverOutturnSchema,
    WriteOffSchema,
)
from api.schemas.queries import LoansQuery, PotsQuery, SpanQuery
from settle.books import batches, pouring, reconciliations, recoveries, silver
from settle.books.listing import Page
from settle.reckoning.problems import Fault, Faults, Refused

blp = Blueprint("process", __name__, url_prefix="/v1", description="Refining together, silver recovery")
Body = dict[str, Any]
CSV = "text/csv"
_TABLE = {"type": "string", "description": "Columns lot, amount, unit; entry if there is one"}


def _entered(found: Body) -> Any:
    """A batch or recovery as it stands since an entry."""
    return tagged(found, "entry")


@blp.route("/batches/<number>/lots", methods=["POST"])
@scope("work")
@keeps()
@body(BatchSchema)
@answers(201, BatchAnswer)
def add_lots(data: Body, faults: Faults, number: str) -> Any:
    """Add lots to a batch, before anything came out of it."""
    return tagged(batches.add_lots(the_work(), number, data, faults))


@blp.route("/batches/<number>/parting-plan")
@scope("work")
@reads
@answers(200, PartingPlanAnswer)
@on_paper("parting_plan")
def parting_plan(number: str) -> Any:
    """House silver to add, planned on the high gold figures; the bath's chemicals, with cautions (H1)."""
    return pouring.parting_plan(the_work(), number)


@blp.route("/batches/<number>/held", methods=["POST"])
@scope("work")
@keeps()
@body(HeldSchema)
@answers(201, BatchAnswer)
def keep_held(data: Body, faults: Faults, number: str) -> Any:
    """Record metal known to stay behind, at its estimate (H6); or correct it."""
    return _entered(batches.keep_held(the_work(), number, data, faults))


@blp.route("/batches/<number>/held/<name>/write-off", methods=["POST"])
@scope("owner")
@keeps()
@body(WriteOffSchema)
@answers(201, BatchAnswer)
def write_off(data: Body, faults: Faults, number: str, name: str) -> Any:
    """An owner's word that held metal will not come back: the house bears it."""
    return _entered(batches.write_off(the_work(), number, name, data, faults))


@blp.route("/batches/<number>/pours", methods=["POST"])
@scope("work")
@keeps()
@body(PourSchema)
@answers(201, PourAnswer)
def record_pour(data: Body, faults: Faults, number: str) -> Any:
    """Record what a pour took, its bars and trimmings; the loss is the house's (E6)."""
    return pouring.pour(the_work(), number, data, faults)


@blp.route("/pour-plans", methods=["POST"])
@scope("work", "quote")
@reads
@body(PourPlanSchema)
@answers(200, PourPlanAnswer)
def plan_pour(data: Body, faults: Faults) -> Any:
    """The best plan of bars for a weight in hand (E5); nothing is kept."""
    return pouring.plan(the_work(), data, faults)


@blp.route("/silver-recoveries", methods=["POST"])
@scope("work")
@keeps()
@body(RecoverySchema)
@answers(201, RecoveryAnswer)
def make_recovery(data: Body, faults: Faults) -> Any:
    """Put the baths of some batches into one silver recovery (H8)."""
    found = recoveries.make(the_work(), data, faults)
    return tagged(found, Location=f"/v1/silver-recoveries/{found['number']}")


@blp.route("/silver-recoveries")
@scope("work")
@query(PotsQuery)
@reads
@paged
@answers(200, RecoveriesAnswer)
def list_recoveries(page: Page, asked: Body) -> Any:
    """The silver recoveries, newest first."""
    found, listed = recoveries.listed(the_work(), page, wanted(asked))
    return page_answer(found, listed.next_after)


@blp.route("/silver-recoveries/<number>")
@scope("work")
@reads
@answers(200, RecoveryAnswer)
def show_recovery(number: str) -> Any:
    """One silver recovery as it stands."""
    return tagged(recoveries.shown(the_work(), number))


@blp.route("/silver-recoveries/<number>/outturns", methods=["POST"])
@scope("work")
@keeps()
@body(SilverOutturnSchema)
@answers(201, RecoveryAnswer)
def take_silver(data: Body, faults: Faults, number: str) -> Any:
    """Record silver won back from the bath, weighed and assayed; or correct it."""
    return _entered(recoveries.take_out(the_work(), number, data, faults))


@blp.route("/silver-recoveries/<number>/held", methods=["POST"])
@scope("work")
@keeps()
@body(HeldSchema)
@answers(201, RecoveryAnswer)
def keep_silver_held(data: Body, faults: Faults, number: str) -> Any:
    """Record silver known to stay behind in the bath, at its estimate (H6)."""
    return _entered(recoveries.keep_held(the_work(), number, data, faults))


@blp.route("/silver-recoveries/<number>/held/<name>/write-off", methods=["POST"])
@scope("owner")
@keeps()
@body(WriteOffSchema)
@answers(201, RecoveryAnswer)
def write_silver_off(data: Body, faults: Faults, number: str, name: str) -> Any:
    """An owner's word that held silver will not come back."""
    return _entered(recoveries.write_off(the_work(), number, name, data, faults))


@blp.route("/silver-recoveries/<number>/reconciliation")
@scope("settle", "work")
@reads
@answers(200, ReconciliationAnswer)
@on_paper("reconciliation")
def show_silver_account(number: str) -> Any:
    """The account of the silver of a recovery as it stands; its ETag is what one posts."""
    recoveries.row_of(the_work(), number)
    return tagged(reconciliations.preview(the_work(), number))


@blp.route("/silver-recoveries/<number>/reconciliation", methods=["POST"])
@scope("settle")
@keeps(demanded=True)
@if_match
@body(ReconciliationSchema, required=False)
@answers(201, ReconciliationAnswer)
def post_silver_account(data: Body, faults: Faults, number: str) -> Any:
    """Post the account of a recovery's silver, which closes it for every lot."""
    recoveries.row_of(the_work(), number)
    must_match(version(reconciliations.preview(the_work(), number)))
    return tagged(reconciliations.post(the_work(), number, data, faults))


@blp.route("/silver-loans")
@scope("read")
@query(LoansQuery)
@reads
@paged
@answers(200, LoansAnswer)
def list_loans(page: Page, asked: Body) -> Any:
    """House silver lent to each batch, returned, still out."""
    found, listed = silver.lent(the_work(), page, wanted(asked))
    answer, links = page_answer(found, listed.next_after)
    return {**answer, **silver.in_stock(the_work())}, links


def _or_csv(view: View) -> View:
    """Take the list as a spreadsheet too."""

    @wraps(view)
    def wrapper(asked: Body) -> Any:
        takes_too(CSV)
        if request.mimetype == CSV:
            return silver.comparison_of_csv(the_work(), _text(), span(asked))
        return view(asked=asked)

    documented(wrapper, manual_doc={"requestBody": {"content": {CSV: {"schema": _TABLE}}}})
    return wrapper


@blp.route("/silver-credits/comparison", methods=["POST"])
@scope("read")
@query(SpanQuery)
@reads
@answers(200, CreditComparisonAnswer)
@_or_csv
@body(CreditsSchema)
def compare_credits(data: Body, faults: Faults, asked: Body) -> Any:
    """The till's list of silver credits (JSON, or CSV with lot, amount, unit) against the books; `from`
    and `to` say of which days nothing should be missing in it."""
    return silver.comparison(the_work(), data, faults, span(asked))


def _text() -> str:
    try:
        return request.get_data().decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise Refused(Fault("unparsable-body", "", "not UTF-8", "a CSV file in UTF-8")) from error
