"""Counts of metal and cash against the books; a difference is booked with its reason."""

from typing import Any

from sqlalchemy import select

from settle.books import balances, bars, journal, melts, records, scales, till
from settle.books import terms as terms_of_business
from settle.books.columns import moment_text
from settle.books.listing import Listed, Page
from settle.books.periods import Span
from settle.books.stock import HOUSE
from settle.books.tables import bars as bars_table
from settle.books.work import Work
from settle.reckoning import postings
from settle.reckoning.exact import Exact
from settle.reckoning.fineness import WHOLE_PPT
from settle.reckoning.ledger import Entry
from settle.reckoning.notices import Notice
from settle.reckoning.problems import Faults
from settle.reckoning.reading import Json, Kept, Reader
from settle.reckoning.tables import METALS
from settle.reckoning.weight import milligrams

STOCK_COUNT, CASH_COUNT = "stock-count", "cash-count"
# What bars were missing or unexpected is kept: later the shelf is another.
BARS_COMPARED = "bars_compared"
# Where loose metal lies; bars are counted by their serials.
METAL_PLACES = {"stock": postings.STOCK, "bought": postings.BOUGHT}
_TILL = "till"
_ACCOUNTS = {**METAL_PLACES, _TILL: postings.TILL}

Counted = dict[tuple[str, str], int]


def stock(work: Work, body: Json, faults: Faults) -> dict[str, Any]:
    """Count metal, and bars by serial; what is not counted is not compared.

    With `book` and a reason the differences of metal are booked. A bar that is missing is
    only shown: it leaves the books by a withdrawal.
    """
    r = Reader(body, faults)
    counted, told = _weighed(work, r)
    if not counted and not r.has("bars"):
        r.missing("metals", "metal that was counted, or bars")
    reason = _reason(r)
    faults.refuse_if_any()
    bars_compared = _bars(work, body["bars"]) if r.has("bars") else None
    answer = _kept(work, STOCK_COUNT, {**body, BARS_COMPARED: bars_compared}, reason, counted)
    return answer | {"notices": [n.as_json() for n in told]}


def _weighed(work: Work, r: Reader) -> tuple[Counted, list[Notice]]:
    """Milligrams of fine metal by place and metal: rows of one place and metal are added up."""
    counted: Counted = {}
    told: list[Notice] = []
    known = scales.known(work)
    for inner in r.objects("metals"):
        of, weight, fine_mg = _row(inner)
        if inner.has("scale") and inner.text("scale") not in known:
            right = "one of " + ", ".join(known) if known else "a scale that was entered first"
            inner.fault("scale", "unknown-scale", f'no scale "{inner.text("scale")[:30]}"', right)
        counted[of] = counted.get(of, 0) + fine_mg
        told += melts.weighing_notices(work, inner.data, weight, known)
    return counted, told


def _row(r: Reader) -> tuple[tuple[str, str], Exact, int]:
    """Place and metal of a row, its weight, and milligrams of fine metal."""
    of = (r.word("place", tuple(METAL_PLACES), "stock"), r.word("metal", METALS))
    weight = r.weight("weight", positive=False)
    return of, weight, milligrams(weight * r.decimal("fineness", most=WHOLE_PPT) / WHOLE_PPT)


def cash(work: Work, body: Json, faults: Faults) -> dict[str, Any]:
    """Count the till in one currency; with `book` and a reason the difference is booked."""
    r = Reader(body, faults)
    counted = _cash(r)
    reason = _reason(r)
    faults.refuse_if_any()
    return _kept(work, CASH_COUNT, body, reason, counted)


def _cash(r: Reader) -> Counted:
    currency, minor = till.read_money(r, "counted")
    return {(_TILL, currency): minor} if currency else {}


def _reason(r: Reader) -> str | None:
    """The reason of a difference that is booked; none where it is only shown."""
    if not r.flag("book"):
        return None
    reason = r.text("reason")
    if r.has("reason") and not reason.strip():
        r.fault("reason", "bad-text", "empty", "why the difference is booked")
    return reason


def _compared(work: Work, place: str, commodity: str, counted: int) -> dict[str, Any]:
    said = journal.balance(work, _ACCOUNTS[place], commodity)
    return {"place": place, "commodity": commodity, "counted": counted, "books": said}


def _kept(work: Work, kind: str, body: Json, reason: str | None, counted: Counted) -> dict[str, Any]:
    """Keep the count with what the books said then, and post the differences if they are to be booked."""
    compared = [_compared(work, *of, units) for of, units in counted.items()]
    record = records.add(work, HOUSE, kind, {**body, "compared": compared}, reason=reason)
    journal.post(work, entry_of(record), reason=reason)
    return _shown(work, record)


def _shown(work: Work, record: records.Record) -> dict[str, Any]:
    """A count as it was answered; of bars counted before their comparison was kept, without it."""
    bars_compared = {"bars": record.data[BARS_COMPARED]} if BARS_COMPARED in record.data else {}
    return {
        "id": record.id,
        "made_at": moment_text(record.made_at),
        "compared": [_figures(work, one) for one in record.data["compared"]],
        **bars_compared,
        "booked": record.reason is not None,
        "reason": record.reason,
        "entry": next(iter(journal.standing(work, record.id)), None),
        "person": record.person,
    }


def listed(work: Work, kind: str, page: Page, span: Span) -> tuple[list[dict[str, Any]], Listed]:
    """A page of the counts of a kind, newest first."""
    found, rows = records.listed(work, kind, page, span)
    return [_shown(work, record) for record in found], rows


def entry_of(record: records.Record) -> Entry:
    """The entry that a count makes, from what was counted; of one that isn't booked an empty one.

    `ValueError` where what is compared with the books is not what was counted.
    """
    compared = record.data["compared"]
    if _again(record) != {(c["place"], c["commodity"]): c["counted"] for c in compared}:
        raise ValueError("what is compared is not what was counted")
    booked = [] if record.reason is None else compared
    return postings.counted(
        record.id, [(_ACCOUNTS[c["place"]], c["commodity"], c["counted"] - c["books"]) for c in booked]
    )


def _again(record: records.Record) -> Counted:
    r = Kept(record.data)
    if record.kind == CASH_COUNT:
        return _cash(r)
    counted: Counted = {}
    for of, _, fine_mg in map(_row, r.objects("metals")):
        counted[of] = counted.get(of, 0) + fine_mg
    return counted


def _figures(work: Work, one: dict[str, Any]) -> dict[str, Any]:
    commodity, unit = one["commodity"], terms_of_business.weight_unit(work)
    figures = {"counted": one["counted"], "books": one["books"], "difference": one["counted"] - one["books"]}
    named = {"place": one["place"], "commodity": commodity}
    return named | {name: balances.shown(commodity, figure, unit) for name, figure in figures.items()}


def _bars(work: Work, counted: list[str]) -> dict[str, list[str]]:
    """Bars that the books have in the house and nobody found, and the other way round."""
    of = bars_table.c
    there = select(of.serial).where(of.state.in_(bars.IN_HOUSE)).order_by(of.n)
    serials = list(work.connection.execute(there).scalars())
    return {
        "missing": [serial for serial in serials if serial not in counted],
        "unexpected": [serial for serial in counted if serial not in serials],
    }
