"""What is posted, undone by a new entry that names it: reversals, credit notes, withdrawn bars."""

from typing import Any

from api.http.access import scope
from api.http.body import body
from api.http.conditional import tagged
from api.http.idempotency import keeps, reads, the_work
from api.http.paging import page_answer, paged
from api.http.published import Blueprint, answers
from api.http.query import query, wanted
from api.http.representations import on_paper, the_issuer
from api.schemas.answers_accounts import CreditNoteAnswer, CreditNotesAnswer, ReplacedAnswer, SettlementAnswer
from api.schemas.answers_bench import BarAnswer, ReconciliationAnswer
from api.schemas.answers_counter import PurchaseAnswer
from api.schemas.dealings import ReasonSchema, ReconciliationReversalSchema, WithdrawalSchema
from api.schemas.queries import OfClientQuery
from settle.books import batches, credit_notes, recoveries, reversals
from settle.books.listing import Page
from settle.reckoning.problems import Faults

blp = Blueprint("reversals", __name__, url_prefix="/v1", description="Reversals and credit notes")
Body = dict[str, Any]


@blp.route("/settlements/<name>/reversal", methods=["POST"])
@scope("owner")
@keeps(demanded=True)
@body(ReasonSchema)
@answers(201, SettlementAnswer)
def reverse_settlement(data: Body, faults: Faults, name: str) -> Any:
    """Reverse a posted settlement; what rests on it goes first. It draws a credit note."""
    return tagged(reversals.settlement(the_work(), name, data, the_issuer(), faults))


@blp.route("/settlements/<name>/difference")
@scope("settle")
@reads
@answers(200, ReplacedAnswer)
def show_difference(name: str) -> Any:
    """Figure by figure how a settlement differs from the one that it replaces."""
    return reversals.difference(the_work(), name)


@blp.route("/purchases/<number>/reversal", methods=["POST"])
@scope("owner")
@keeps(demanded=True)
@body(ReasonSchema)
@answers(201, PurchaseAnswer)
def reverse_purchase(data: Body, faults: Faults, number: str) -> Any:
    """Reverse an outright purchase; it draws a credit note."""
    return tagged(reversals.purchase(the_work(), number, data, the_issuer(), faults))


@blp.route("/batches/<number>/reconciliation/reversal", methods=["POST"])
@scope("owner")
@keeps(demanded=True)
@body(ReconciliationReversalSchema)
@answers(201, ReconciliationAnswer)
def reverse_reconciliation(data: Body, faults: Faults, number: str) -> Any:
    """Reverse the posted account of a batch: its metals are open, and its entries can be corrected again."""
    batches.row_of(the_work(), number)
    return tagged(reversals.reconciliation(the_work(), number, data, faults))


@blp.route("/silver-recoveries/<number>/reconciliation/reversal", methods=["POST"])
@scope("owner")
@keeps(demanded=True)
@body(ReconciliationReversalSchema)
@answers(201, ReconciliationAnswer)
def reverse_recovery(data: Body, faults: Faults, number: str) -> Any:
    """Reverse the posted account of a silver recovery."""
    recoveries.row_of(the_work(), number)
    return tagged(reversals.reconciliation(the_work(), number, data, faults))


@blp.route("/bars/<serial>/withdrawal", methods=["POST"])
@scope("owner")
@keeps(demanded=True)
@body(WithdrawalSchema)
@answers(201, BarAnswer)
def withdraw_bar(data: Body, faults: Faults, serial: str) -> Any:
    """Withdraw a bar that is nobody's yet: its metal is loose stock again."""
    return tagged(reversals.withdraw_bar(the_work(), serial, data, faults), "reversal")


@blp.route("/credit-notes")
@scope("settle")
@query(OfClientQuery)
@reads
@paged
@answers(200, CreditNotesAnswer)
def list_credit_notes(page: Page, asked: Body) -> Any:
    """The credit notes, newest first."""
    found, listed = credit_notes.listed(the_work(), page, wanted(asked))
    return page_answer(found, listed.next_after)


@blp.route("/credit-notes/<number>")
@scope("settle")
@reads
@answers(200, CreditNoteAnswer)
@on_paper("credit_note")
def show_credit_note(number: str) -> Any:
    """One credit note: issuer, client, tax point, each line with its class, and the reason."""
    return tagged(credit_notes.shown(the_work(), number))
