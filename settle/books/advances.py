"""Advances on a lot that is not settled yet (D4); its settlement takes them off."""

from typing import Any

from sqlalchemy import Row

from settle.books import bench, holds, lots, prices, quotes, till, undone
from settle.books import terms as terms_of_business
from settle.books.work import Work
from settle.reckoning.advance import most_on_assay, most_on_quote
from settle.reckoning.exact import ZERO
from settle.reckoning.money import amount, printed_money
from settle.reckoning.problems import Fault, Faults, Refused
from settle.reckoning.reading import Json, Reader
from settle.reckoning.settlement import Refined
from settle.reckoning.terms import Terms


def advance(work: Work, lot: str, body: Json, faults: Faults) -> dict[str, Any]:
    """Advance money on a lot; with what was advanced before at most the terms' share.

    Raises `Refused`: `wrong-state`, `more-than-advance`, `price-too-old`.
    """
    row = lots.row_of(work, lot)
    terms = terms_of_business.find(work, row.terms)
    r = Reader(body, faults)
    minor = till.read_amount(r, terms.currency)
    paid_in = r.word("paid_in", till.PAID_IN)
    faults.refuse_if_any()
    _refuse_state(work, row)
    till.refuse_no_coins(terms, paid_in, minor)
    most, before = _most(work, row, terms), till.paid_minor(work, lot)
    if before + minor > most:
        left = f"{amount(max(0, most - before), terms.currency)} {terms.currency} at most"
        wrong = (
            f"{amount(before + minor, terms.currency)} of {amount(most, terms.currency)} that may be advanced"
        )
        raise Refused(Fault("more-than-advance", "/amount", wrong, left))
    paid = till.pay(work, lot, f"advance on {lot}", row.client, terms, minor, body)
    return paid | {"may_be_advanced": printed_money(most - before - minor, terms.currency)}


def _refuse_state(work: Work, row: Row[Any]) -> None:
    if row.client is None:
        raise Refused(Fault("wrong-state", "", "the metal is the house's own", "a client's lot"))
    if not lots.is_accepted(work, row):
        raise Refused(
            Fault("not-accepted", "", "nobody said yes to refining it", "the client's positive word")
        )
    holds.refuse_returned(work, row)
    holds.refuse_frozen(work, row.number)
    settled = lots.last_settlement(work, row.number)
    if settled is not None:
        right = "a payment of the settlement"
        raise Refused(Fault("wrong-state", "", f"{settled.number} settled it", right))


def _most(work: Work, row: Row[Any], terms: Terms) -> int:
    """By the quote, the assay, or the lesser of the two where both are there: what is known best counts."""
    most = []
    if row.quote is not None:
        quote = quotes.row_of(work, row.quote)
        # A quote that could value nothing says nothing of what may be advanced.
        if quote.document["net_range"] is not None:
            most.append(most_on_quote(quotes.request_of(work, quote.request, terms)))
    melted, found = bench.melt_of(work, row.number, terms), bench.least_of(work, row.number, terms)
    if melted is not None and found is not None:
        prices.refuse_old(work, terms, found.ppt)
        most.append(most_on_assay(terms, _refined(work, row, terms, melted, found)))
    if not most:
        right = "a melt weight and an assay first"
        raise Refused(Fault("wrong-state", "", "nothing is valued by a quote and nothing assayed", right))
    return min(most)


def _refined(work: Work, row: Row[Any], terms: Terms, melted: bench.Melt, found: bench.Assay) -> Refined:
    items = lots.items_of(work, row, terms)
    return Refined(
        melt_g=melted.weight_g,
        drillings_g=melted.drillings_g,
        assay_ppt=found.ppt,
        recovered_g={},
        gross_g=sum((item.gross_g for item in items), ZERO),
        articles=sum(item.count for item in items),
        poured={},
        wishes={},
        prices=prices.serving(work, terms),
        fees_minor=bench.client_fees_minor(work, row.number, terms),
    )


def listed(work: Work, lot: str) -> list[dict[str, Any]]:
    """The advances on a lot, reversed ones too, oldest first."""
    lots.row_of(work, lot)
    return [till.shown(work, row) for row in till.of_subject(work, lot)]


def reverse(work: Work, lot: str, payment: str, body: Json, faults: Faults) -> dict[str, Any]:
    """Reverse an advance: it was a mistake, or the client gave it back."""
    reason = undone.reason_of(body, faults)
    lots.row_of(work, lot)
    row = till.row_of(work, payment, lot)
    settled = lots.last_settlement(work, lot)
    if settled is not None:
        wrong = f"{settled.number} took it off"
        raise Refused(Fault("something-rests-on-it", "", wrong, f"the reversal of {settled.number} first"))
    return till.reverse(work, row, reason)
