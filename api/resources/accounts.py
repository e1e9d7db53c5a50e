"""The accounts: reconciliations, settlements, the journal."""

from typing import Any

from api.http.access import scope
from api.http.body import body
from api.http.conditional import if_match, must_match, tagged, version
from api.http.idempotency import keeps, reads, the_work
from api.http.paging import page_answer, paged
from api.http.published import Blueprint, answers
from api.http.query import query, wanted
from api.http.representations import on_paper
from api.schemas.answers_accounts import ComparisonAnswer, SettlementAnswer, SettlementsAnswer
from api.schemas.answers_bench import ReconciliationAnswer
from api.schemas.answers_books import JournalAnswer
from api.schemas.bench import PostingSchema, ReconciliationSchema, SettlementSchema
from api.schemas.queries import JournalQuery, SettlementsQuery
from settle.books import batches, journal, reconciliations, settlements
from settle.books.listing import Page
from settle.reckoning.problems import Faults

blp = Blueprint("accounts", __name__, url_prefix="/v1", description="Reconciliation, settlement, journal")
Body = dict[str, Any]


@blp.route("/batches/<number>/reconciliation")
@scope("settle", "work")
@reads
@answers(200, ReconciliationAnswer)
@on_paper("reconciliation")
def show_reconciliation(number: str) -> Any:
    """The account of each metal of a batch as it stands; its ETag is what one posts."""
    batches.row_of(the_work(), number)
    return tagged(reconciliations.preview(the_work(), number))


@blp.route("/batches/<number>/reconciliation", methods=["POST"])
@scope("settle")
@keeps(demanded=True)
@if_match
@body(ReconciliationSchema, required=False)
@answers(201, ReconciliationAnswer)
def post_reconciliation(data: Body, faults: Faults, number: str) -> Any:
    """Post the account of a batch: each metal posted is closed. Beyond the balance: an owner's word."""
    batches.row_of(the_work(), number)
    must_match(version(reconciliations.preview(the_work(), number)))
    return tagged(reconciliations.post(the_work(), number, data, faults))


@blp.route("/settlements", methods=["POST"])
@scope("settle")
@keeps()
@body(SettlementSchema)
@answers(201, SettlementAnswer)
def draft_settlement(data: Body, faults: Faults) -> Any:
    """Draft the final account of a lot whose metals are closed."""
    found = settlements.draft(the_work(), data, faults)
    return tagged(found, Location=f"/v1/settlements/{found['id']}")


@blp.route("/settlements")
@scope("settle")
@query(SettlementsQuery)
@reads
@paged
@answers(200, SettlementsAnswer)
def list_settlements(page: Page, asked: Body) -> Any:
    """The settlements, newest first."""
    found, listed = settlements.listed(the_work(), page, wanted(asked))
    return page_answer(found, listed.next_after)


@blp.route("/settlements/<name>")
@scope("settle")
@reads
@answers(200, SettlementAnswer)
@on_paper("settlement")
def show_settlement(name: str) -> Any:
    """One settlement, by its id or its number."""
    return tagged(settlements.shown(the_work(), name))


@blp.route("/settlements/<name>/posting", methods=["POST"])
@scope("settle")
@keeps(demanded=True)
@if_match
@body(PostingSchema, required=False)
@answers(201, SettlementAnswer)
def post_settlement(data: Body, faults: Faults, name: str) -> Any:
    """Post a draft as it was seen: it draws its number, enters the journal and is never edited again. Bars
    that the lot doesn't cover want an owner's word (E4)."""
    must_match(version(settlements.shown(the_work(), name)))
    return tagged(settlements.post(the_work(), name, data, faults))


@blp.route("/settlements/<name>/comparison")
@scope("settle")
@reads
@answers(200, ComparisonAnswer)
def show_comparison(name: str) -> Any:
    """Why the settlement differs from the quote: steps that add up (G2)."""
    return settlements.comparison(the_work(), name)


@blp.route("/journal")
@scope("read")
@query(JournalQuery)
@reads
@paged
@answers(200, JournalAnswer)
def show_journal(page: Page, asked: Body) -> Any:
    """The entries, newest first; milligrams of fine metal and minor units of money."""
    found, listed = journal.entries(the_work(), page, wanted(asked), asked.get("document"))
    return page_answer(found, listed.next_after)
