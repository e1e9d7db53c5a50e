"""Payments of a settlement: in parts, to the client or from him, never above what is open."""

from typing import Any

from sqlalchemy import Row

from settle.books import holds, settlements, till, undone
from settle.books import terms as terms_of_business
from settle.books.work import Work
from settle.reckoning.money import amount, printed_money
from settle.reckoning.problems import Fault, Faults, Refused
from settle.reckoning.reading import Json, Reader


def pay(work: Work, name: str, body: Json, faults: Faults) -> dict[str, Any]:
    """Pay some of what is open; which way the money goes follows from who owes it.

    Cash is a multiple of the smallest coin; what is nearest to the open amount closes it (F4).
    Raises `Refused`: `wrong-state` where nothing is open, `more-than-open`, `out-of-range` for cash that
    coins don't make up, `frozen` for money to the client while an order freezes the lot.
    """
    row = settlements.row_of(work, name)
    terms = terms_of_business.find(work, row.document["terms"])
    r = Reader(body, faults)
    paid_in = r.word("paid_in", till.PAID_IN)
    is_open = settlements.open_minor(work, row)
    # Too little for any coin is closed by a payment of nothing.
    nothing = paid_in == "cash" and is_open != 0 and till.closing(terms, paid_in, abs(is_open)) == 0
    minor = till.read_amount(r, terms.currency, may_be_nothing=nothing)
    faults.refuse_if_any()
    _refuse_state(row, is_open)
    closing = till.closing(terms, paid_in, abs(is_open))
    _refuse_more(is_open, closing, minor, terms.currency)
    till.refuse_no_coins(terms, paid_in, minor)
    if is_open > 0:
        holds.refuse_frozen(work, row.lot)
    sign, rounding = (1 if is_open > 0 else -1), (minor - abs(is_open) if minor == closing else 0)
    paid = till.pay(
        work,
        row.number,
        f"payment of {row.number}",
        row.inputs["client"],
        terms,
        sign * minor,
        body,
        sign * rounding,
    )
    return paid | {"open": printed_money(is_open - sign * (minor - rounding), terms.currency)}


def _refuse_state(row: Row[Any], is_open: int) -> None:
    if row.state != "posted":
        raise Refused(Fault("wrong-state", "", f"it is {row.state}", "a posted settlement"))
    if is_open == 0:
        raise Refused(Fault("wrong-state", "", f"nothing of {row.number} is open", "an open settlement"))


def _refuse_more(is_open: int, closing: int, minor: int, currency: str) -> None:
    """Cash may be above what is open by the rounding that closes it (F4)."""
    if minor > abs(is_open) and minor != closing:
        wrong = f"{amount(minor, currency)} of {amount(abs(is_open), currency)} {currency} open"
        raise Refused(
            Fault("more-than-open", "/amount", wrong, f"{amount(closing, currency)} {currency} at most")
        )


def listed(work: Work, name: str) -> list[dict[str, Any]]:
    """The payments of a settlement, reversed ones too, oldest first."""
    row = settlements.row_of(work, name)
    return [] if row.number is None else [till.shown(work, p) for p in till.of_subject(work, row.number)]


def reverse(work: Work, name: str, payment: str, body: Json, faults: Faults) -> dict[str, Any]:
    """Reverse a payment that was entered by mistake, or that came back; `frozen` for money to the client."""
    reason = undone.reason_of(body, faults)
    of = settlements.row_of(work, name)
    row = till.row_of(work, payment, of.number or "")
    if row.data["minor"] < 0:
        holds.refuse_frozen(work, of.lot)
    return till.reverse(work, row, reason)
