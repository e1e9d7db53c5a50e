"""Money that is moved and answers for no metal: a float, takings banked, tax paid, an owner's own."""

from typing import Any

from sqlalchemy import select

from settle.books import journal, records, till
from settle.books.columns import moment_text
from settle.books.listing import Listed, Page
from settle.books.periods import Span
from settle.books.stock import HOUSE
from settle.books.tables import journal_lines
from settle.books.work import Work
from settle.reckoning import postings
from settle.reckoning.ledger import Entry
from settle.reckoning.money import printed_money
from settle.reckoning.problems import Fault, Faults, Refused
from settle.reckoning.reading import Json, Kept, Reader

MOVE, TAX = "money-move", "tax"
_PLACES = {"till": postings.TILL, "bank": postings.BANK, "owner": postings.OWNER}
PLACES = (*_PLACES, TAX)


def enter(work: Work, body: Json, faults: Faults) -> dict[str, Any]:
    """Move money from one place to another, or correct such an entry; a correction to nothing strikes it out.

    Raises `Refused`: `unknown-reference` for tax by a code that the books owe nothing under.
    """
    r = Reader(body, faults)
    _, _, currency, minor = _read(r)
    if body.get("from") == body.get("to"):
        r.fault("to", "contradiction", "it comes from there", "another place")
    if currency and not minor and "corrects" not in body:
        right = "an amount above zero; nothing strikes out an entry that is corrected"
        faults.add("out-of-range", "/amount/amount", "nothing is moved", right)
    faults.refuse_if_any()
    _refuse_unknown_tax(work, body, currency)
    old = records.standing(work, HOUSE, MOVE, body)
    data = {k: v for k, v in body.items() if k not in ("corrects", "reason")}
    record = records.add(work, HOUSE, MOVE, data, body.get("corrects"), body.get("reason"))
    if old is not None:
        journal.undo_standing(work, old.id, journal.CORRECTED)
    journal.post(work, entry_of(record))
    return shown(record)


def _read(r: Reader) -> tuple[str, str, str, int]:
    """The accounts that money comes from and goes to, its currency and minor units."""
    code = r.text("tax") if TAX in (r.data.get("from"), r.data.get("to")) else None
    if code is None and r.has("tax"):
        r.fault("tax", "contradiction", "no tax is paid or paid back", "leave it out")
    accounts = {**_PLACES, TAX: f"tax:{code}"}
    source, target = (accounts[r.word(end, PLACES)] for end in ("from", "to"))
    return source, target, *till.read_money(r, "amount")


def _refuse_unknown_tax(work: Work, body: Json, currency: str) -> None:
    of = journal_lines.c
    charged = select(of.account).where(of.owner == TAX, of.commodity == currency).distinct()
    codes = sorted(account.removeprefix("tax:") for account in work.connection.execute(charged).scalars())
    code = body.get("tax")
    if code is not None and code not in codes:
        right = f"one of {', '.join(codes)}" if codes else "a code under which tax was charged"
        wrong = f'no tax in {currency} under "{code[:30]}"'
        raise Refused(Fault("unknown-reference", "/tax", wrong, right))


def listed(work: Work, page: Page, span: Span) -> tuple[list[dict[str, Any]], Listed]:
    """A page of the moves of money, corrected ones too, newest first."""
    found, rows = records.listed(work, MOVE, page, span)
    return [shown(record) for record in found], rows


def entry_of(record: records.Record) -> Entry:
    """The entry that a move of money makes, from what was entered alone."""
    source, target, currency, minor = _read(Kept(record.data))
    return postings.money_moved(record.id, source, target, currency, minor)


def shown(record: records.Record) -> dict[str, Any]:
    """A move of money as it was entered; which older entry it corrects, and why."""
    currency, minor = till.read_money(Kept(record.data), "amount")
    return {
        "id": record.id,
        "from": record.data["from"],
        "to": record.data["to"],
        "tax": record.data.get("tax"),
        "amount": printed_money(minor, currency),
        "note": record.data.get("note"),
        "corrects": record.corrects,
        "reason": record.reason,
        "made_at": moment_text(record.made_at),
        "person": record.person,
    }
