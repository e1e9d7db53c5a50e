"""Money: payments of settlements, advances on lots, metal on account sold or taken as a bar."""

from typing import Any

from api.http.access import scope
from api.http.body import body
from api.http.idempotency import keeps, reads, the_work
from api.http.paging import page_answer, paged
from api.http.published import Blueprint, answers
from api.http.query import query, wanted
from api.schemas.answers_accounts import (
    AllPaymentsAnswer,
    MetalBarAnswer,
    MetalBarsAnswer,
    MetalSaleAnswer,
    MetalSalesAnswer,
    PaymentAnswer,
    PaymentsAnswer,
)
from api.schemas.dealings import MetalBarSchema, MetalSaleSchema, PaymentSchema, ReasonSchema
from api.schemas.queries import OnAccountQuery, PaymentsQuery
from settle.books import advances, on_account, payment_list, payments
from settle.books.listing import Page
from settle.reckoning.problems import Faults

blp = Blueprint("payments", __name__, url_prefix="/v1", description="Payments, advances, metal on account")
Body = dict[str, Any]


@blp.route("/settlements/<name>/payments", methods=["POST"])
@scope("settle")
@keeps(demanded=True)
@body(PaymentSchema)
@answers(201, PaymentAnswer)
def pay(data: Body, faults: Faults, name: str) -> Any:
    """Pay some of what is open of a settlement; which way the money goes follows from who owes it."""
    return payments.pay(the_work(), name, data, faults)


@blp.route("/settlements/<name>/payments")
@scope("settle")
@reads
@answers(200, PaymentsAnswer)
def list_payments(name: str) -> Any:
    """The payments of a settlement, reversed ones too, oldest first; all of them, for they are few."""
    return {"items": payments.listed(the_work(), name)}


@blp.route("/settlements/<name>/payments/<payment>/reversal", methods=["POST"])
@scope("owner")
@keeps(demanded=True)
@body(ReasonSchema)
@answers(201, PaymentAnswer)
def reverse_payment(data: Body, faults: Faults, name: str, payment: str) -> Any:
    """Reverse a payment: the money is back where it came from."""
    return payments.reverse(the_work(), name, payment, data, faults)


@blp.route("/payments")
@scope("settle")
@query(PaymentsQuery)
@reads
@paged
@answers(200, AllPaymentsAnswer)
def list_all_payments(page: Page, asked: Body) -> Any:
    """The payments of all settlements, advances, purchases and sales, reversed ones too, newest first."""
    found, listed = payment_list.listed(the_work(), page, wanted(asked))
    return page_answer(found, listed.next_after)


@blp.route("/lots/<number>/advances", methods=["POST"])
@scope("settle")
@keeps(demanded=True)
@body(PaymentSchema)
@answers(201, PaymentAnswer)
def advance(data: Body, faults: Faults, number: str) -> Any:
    """Advance money on a lot, at most the terms' share (D4); its settlement takes it off."""
    return advances.advance(the_work(), number, data, faults)


@blp.route("/lots/<number>/advances")
@scope("settle")
@reads
@answers(200, PaymentsAnswer)
def list_advances(number: str) -> Any:
    """The advances on a lot, reversed ones too, oldest first; all of them, for they are few."""
    return {"items": advances.listed(the_work(), number)}


@blp.route("/lots/<number>/advances/<payment>/reversal", methods=["POST"])
@scope("owner")
@keeps(demanded=True)
@body(ReasonSchema)
@answers(201, PaymentAnswer)
def reverse_advance(data: Body, faults: Faults, number: str, payment: str) -> Any:
    """Reverse an advance: it was a mistake, or the client gave it back."""
    return advances.reverse(the_work(), number, payment, data, faults)


@blp.route("/clients/<client>/metal-sales", methods=["POST"])
@scope("settle")
@keeps(demanded=True)
@body(MetalSaleSchema)
@answers(201, MetalSaleAnswer)
def sell_metal(data: Body, faults: Faults, client: str) -> Any:
    """Sell a client's metal on account to the house, at the price now in force; paid at once."""
    return on_account.sell(the_work(), client, data, faults)


@blp.route("/clients/<client>/metal-sales")
@scope("settle")
@query(OnAccountQuery)
@reads
@paged
@answers(200, MetalSalesAnswer)
def list_metal_sales(page: Page, asked: Body, client: str) -> Any:
    """A client's sales of metal on account, reversed ones too, oldest first."""
    found, listed = on_account.listed(the_work(), client, on_account.SALE, page, wanted(asked))
    return page_answer(found, listed.next_after)


@blp.route("/clients/<client>/metal-sales/<name>/reversal", methods=["POST"])
@scope("owner")
@keeps(demanded=True)
@body(ReasonSchema)
@answers(201, MetalSaleAnswer)
def reverse_metal_sale(data: Body, faults: Faults, client: str, name: str) -> Any:
    """Reverse a sale of metal on account, the money back."""
    return on_account.reverse(the_work(), client, on_account.SALE, name, data, faults)


@blp.route("/clients/<client>/metal-bars", methods=["POST"])
@scope("settle")
@keeps(demanded=True)
@body(MetalBarSchema)
@answers(201, MetalBarAnswer)
def take_bar(data: Body, faults: Faults, client: str) -> Any:
    """Take metal on account as a bar from stock: it takes what the bar states."""
    return on_account.take_bar(the_work(), client, data, faults)


@blp.route("/clients/<client>/metal-bars")
@scope("settle")
@query(OnAccountQuery)
@reads
@paged
@answers(200, MetalBarsAnswer)
def list_metal_bars(page: Page, asked: Body, client: str) -> Any:
    """The bars that a client took for metal on account, reversed ones too, oldest first."""
    found, listed = on_account.listed(the_work(), client, on_account.AS_BAR, page, wanted(asked))
    return page_answer(found, listed.next_after)


@blp.route("/clients/<client>/metal-bars/<name>/reversal", methods=["POST"])
@scope("owner")
@keeps(demanded=True)
@body(ReasonSchema)
@answers(201, MetalBarAnswer)
def reverse_metal_bar(data: Body, faults: Faults, client: str, name: str) -> Any:
    """Reverse a bar taken for metal on account, as long as it was not handed over."""
    return on_account.reverse(the_work(), client, on_account.AS_BAR, name, data, faults)
