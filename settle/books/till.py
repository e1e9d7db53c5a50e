"""Money that passed between the house and a client, from till or bank: rows, and what cash is linked.

A row's `minor` is above zero where the house paid, below where the client did. Its
`subject` is the settlement, lot or sale that it answers for.
"""

from datetime import datetime
from typing import Any

from sqlalchemy import Row, cast, func, select

from settle.books import chain, events, journal, personal, undone
from settle.books.columns import Member, Whole, moment_text
from settle.books.tables import payments, purchases
from settle.books.work import Work
from settle.reckoning import notices, postings
from settle.reckoning.exact import Exact
from settle.reckoning.ledger import Entry
from settle.reckoning.money import PLACES as DECIMALS
from settle.reckoning.money import amount, in_coins, minor_units, printed_money
from settle.reckoning.notices import Notice
from settle.reckoning.problems import Fault, Refused
from settle.reckoning.reading import Json, Reader
from settle.reckoning.terms import Limit, Terms

PLACES = {"cash": postings.TILL, "transfer": postings.BANK}
PAID_IN = tuple(PLACES)
WORDS = "payment"


def read_amount(r: Reader, currency: str, field: str = "amount", *, may_be_nothing: bool = False) -> int:
    """The amount of a payment in the currency of what it pays; minor units."""
    if not r.has(field):
        r.missing(field, f'money such as {{"amount": "100.00", "currency": "{currency}"}}')
        return 0
    inner = r.object(field)
    value, given = inner.decimal("amount"), inner.text("currency")
    if given and given != currency:
        inner.fault("currency", "other-currency", f"{given} can't pay what is in {currency}", currency)
    minor = _whole(inner, value, currency)
    if value == 0 and not may_be_nothing:
        inner.fault("amount", "out-of-range", "nothing", "an amount above zero")
    return minor


def _whole(r: Reader, value: Exact, currency: str) -> int:
    """Minor units of a currency; a fault where there is a part of one."""
    minor = minor_units(value, currency)
    if Exact(minor, 10 ** DECIMALS[currency]) != value:
        r.fault("amount", "out-of-range", "finer than the currency", f"whole minor units of {currency}")
    return minor


def read_money(r: Reader, field: str) -> tuple[str, int]:
    """The currency and minor units of money in any currency; no currency where it isn't one."""
    inner = r.object(field)
    value, currency = inner.decimal("amount"), inner.text("currency")
    if not currency:
        return "", 0
    if currency not in DECIMALS:
        inner.fault("currency", "unknown-currency", f'"{currency[:10]}" is not in ISO 4217', "such as GBP")
        return "", 0
    return currency, _whole(inner, value, currency)


def closing(terms: Terms, paid_in: str, open_minor: int) -> int:
    """What closes an open amount: all of it or, in cash, the nearest that coins make up (F4)."""
    in_cash = paid_in == "cash" and terms.cash_step_minor is not None
    return in_coins(open_minor, terms.cash_step_minor or 1) if in_cash else open_minor


def refuse_no_coins(terms: Terms, paid_in: str, minor: int) -> None:
    """Refuse cash that coins don't make up (F4)."""
    if closing(terms, paid_in, minor) != minor:
        step = amount(terms.cash_step_minor or 1, terms.currency)
        wrong = f"{amount(minor, terms.currency)} in cash is no multiple of {step}"
        raise Refused(Fault("out-of-range", "/amount", wrong, f"a multiple of {step} {terms.currency}"))


def pay(
    work: Work,
    subject: str,
    text: str,
    client: str,
    terms: Terms,
    minor: int,
    body: Json,
    rounding_minor: int = 0,
) -> dict[str, Any]:
    """Keep and post a payment. `body` says `paid_in`, and may say `who` took or gave it and a `reference`.
    `rounding_minor` is what it is above what it closes, with the payment's sign (F4)."""
    name = work.name("PM")
    if rounding_minor:
        text += f", {amount(abs(minor), terms.currency)} in cash"
    data = {"text": text, "minor": minor, "currency": terms.currency, "paid_in": body["paid_in"]}
    data["rounding_minor"] = rounding_minor
    work.connection.execute(
        payments.insert().values(
            id=name, subject=subject, client=client, data=data, made_at=work.now, **work.made_by
        )
    )
    chain.seal(work, payments, name)
    said = {k: body[k] for k in ("who", "reference") if k in body}
    if said:
        personal.keep(work, name, WORDS, client, said)
    row = row_of(work, name)
    journal.post(work, entry_of(row))
    paid = {"payment": name, "of": subject, "client": client, **_told(data)}
    events.emit(work, "payment.recorded", subject, paid)
    told = cash_notices(work, terms, client) if data["paid_in"] == "cash" else []
    return shown(work, row) | {"notices": [n.as_json() for n in told]}


def entry_of(row: Row[Any]) -> Entry:
    """The entry that a payment makes, from its row alone."""
    data = row.data
    place = PLACES[data["paid_in"]]
    money = (data["currency"], data["minor"], data["rounding_minor"])
    return postings.paid(row.id, data["text"], row.client, place, *money)


def row_of(work: Work, name: str, subject: str | None = None) -> Row[Any]:
    """A payment, of a subject if one is given; `not-found` where there is none."""
    query = select(payments).where(payments.c.id == name)
    if subject is not None:
        query = query.where(payments.c.subject == subject)
    row = work.connection.execute(query).first()
    if row is None:
        raise Refused(Fault("not-found", "", f"no payment {name[:20]}", "the id of a payment of this one"))
    return row


def of_subject(work: Work, subject: str) -> list[Row[Any]]:
    query = select(payments).where(payments.c.subject == subject).order_by(payments.c.n)
    return list(work.connection.execute(query))


def standing(work: Work, subject: str) -> list[Row[Any]]:
    """The payments of a subject that are not reversed."""
    query = select(payments).where(payments.c.subject == subject, ~undone.is_undone(payments.c.id))
    return list(work.connection.execute(query.order_by(payments.c.n)))


def paid_minor(work: Work, subject: str) -> int:
    """What the house has paid on a subject, less what it was paid."""
    return sum(row.data["minor"] for row in standing(work, subject))


def closed_minor(work: Work, subject: str) -> int:
    """What of a subject's net is paid; what cash was rounded by is no part of it (F4)."""
    return sum(row.data["minor"] - row.data["rounding_minor"] for row in standing(work, subject))


def shown(work: Work, row: Row[Any]) -> dict[str, Any]:
    data = row.data
    reversal = undone.shown(work, row.id)
    return {
        "id": row.id,
        "of": row.subject,
        "client": row.client,
        **_told(data),
        "words": personal.kept(work, row.id, WORDS),
        "state": "posted" if reversal is None else "reversed",
        "reversal": reversal,
        "made_at": moment_text(row.made_at),
        "person": row.person,
    }


def _told(data: Json) -> dict[str, Any]:
    # What it closes says which way it went; the money itself may be nothing.
    sign = 1 if data["minor"] - data["rounding_minor"] > 0 else -1
    return {
        "amount": printed_money(sign * data["minor"], data["currency"]),
        "cash_rounding": printed_money(sign * data["rounding_minor"], data["currency"]),
        "direction": "to_client" if sign > 0 else "from_client",
        "paid_in": data["paid_in"],
    }


def reverse(work: Work, row: Row[Any], reason: str) -> dict[str, Any]:
    """Reverse a payment: the money is back where it came from."""
    undone.refuse_undone(work, row.id)
    undone.undo(work, row.id, reason, [row.id])
    return shown(work, row)


def cash_notices(work: Work, terms: Terms, client: str) -> list[Notice]:
    """Limits of the terms that cash with one client reaches, added up within the limit's window.

    Cash counts whichever way it went: settlements, purchases, advances, sales.
    """
    return [n for limit in terms.limits if (n := _reached(work, terms, client, limit)) is not None]


def linked_notices(work: Work, terms: Terms, client: str) -> list[Notice]:
    """Of these, the limits that no single amount reaches."""
    return [notice for notice in cash_notices(work, terms, client) if notice.code == notices.LINKED]


def _reached(work: Work, terms: Terms, client: str, limit: Limit) -> Notice | None:
    linked = _cash_since(work, client, work.now - limit.window, terms.currency)
    most = minor_units(limit.amount, terms.currency)
    if sum(linked) < most:
        return None
    if max(linked) >= most:
        return notices.limit_notice(limit)
    return notices.linked_cash(limit, sum(linked), len(linked), terms.currency)


def _cash_since(work: Work, client: str, since: datetime, currency: str) -> list[int]:
    """Amounts in cash with a client, from a moment on: minor units, without their direction."""
    of, data = payments.c, payments.c.data
    paid = select(func.abs(cast(Member(data, "minor"), Whole))).where(
        of.client == client,
        of.made_at >= since,
        Member(data, "paid_in") == "cash",
        Member(data, "currency") == currency,
        ~undone.is_undone(of.id),
    )
    bought = select(purchases.c.document).where(
        purchases.c.client == client, purchases.c.made_at >= since, ~undone.is_undone(purchases.c.number)
    )
    spent = [d["paid"] for d in work.connection.execute(bought).scalars() if d["paid_in"] == "cash"]
    there = [minor_units(Exact(n["amount"]), currency) for n in spent if n["currency"] == currency]
    return [*work.connection.execute(paid).scalars(), *there]
