"""Bars of the house's own sold from stock: invoiced, numbered without a gap, paid at once."""

from typing import Any

from sqlalchemy import ColumnElement, Row, Select, func, select

from settle.books import bars, clients, house_bars, journal, poured, prices, records, till, undone
from settle.books import terms as terms_of_business
from settle.books.columns import Member, moment_text
from settle.books.listing import Listed, Page, page_of
from settle.books.narrowing import ALL, Wanted
from settle.books.tables import records as records_table
from settle.books.work import Work
from settle.reckoning import document, postings, sale
from settle.reckoning.ledger import Entry
from settle.reckoning.price import read_prices
from settle.reckoning.problems import NO_FAULTS, Fault, Faults, Refused
from settle.reckoning.purchase import is_counter
from settle.reckoning.reading import Json, Reader
from settle.reckoning.working import Working

SALE = "sale"
_BRIEF = ("id", "number", "bar", "client", "terms", "tax_point", "currency", "net")


def numbers() -> Select[Any]:
    """The numbers of all invoices; sales that were kept before there were any have none."""
    number = Member(records_table.c.data, "number")
    return select(number).where(records_table.c.kind == SALE, number.is_not(None))


def _name() -> ColumnElement[str]:
    """As a column: what journal, payment and reversal know a sale by."""
    name: ColumnElement[str] = func.coalesce(Member(records_table.c.data, "number"), records_table.c.id)
    return name


def name_of(record: records.Record) -> str:
    """Its number; the id of its entry where it was kept before sales had numbers."""
    return str(record.data.get("number", record.id))


def sell(work: Work, serial: str, body: Json, issuer: Json, faults: Faults) -> dict[str, Any]:
    """Sell a bar from stock for what it states, at the price in force; draws an `I-` number, is paid at once.

    Raises `Refused`: `wrong-state`, `price-too-old`, `price-missing`.
    """
    row = bars.row_of(work, serial)
    r = Reader(body, faults)
    client = r.text("client")
    if client:
        clients.refuse_unknown(work, client, faults)
    paid_in = r.word("paid_in", till.PAID_IN)
    faults.refuse_if_any()
    house_bars.refuse_not_the_houses(row)
    terms = house_bars.terms_to_trade(work, r, client, row.metal)
    if is_counter(terms):
        right = "terms to refine under, which say at what rate and tax metal is sold"
        raise Refused(Fault("contradiction", "/terms", f"{terms.number} buy over the counter", right))
    asked = {
        "client": client,
        "terms": terms.number,
        "metal": row.metal,
        "fine_mg": poured.stated(row).stated_mg,
        "price": document.price(prices.of_metal(work, terms, row.metal)),
        "paid_in": paid_in,
    }
    made, answer = _reckoned(work, asked)
    paid_minor = till.closing(terms, paid_in, made.net_minor)
    if paid_minor <= 0:
        raise Refused(
            Fault("wrong-state", "", "nothing would be paid for it", "a price, or a bar, of some worth")
        )
    number = work.number("I")
    data = {"number": number, "issuer": dict(issuer), "asked": asked, "answer": answer}
    digest = document.digest(_document(work, serial, work.moment, data))
    record = records.add(work, serial, SALE, {**data, "hash": digest})
    journal.post(work, sold(work, record))
    bars.change(work, row, state="assigned", client=client)
    text, rounding = f"payment of {number}", made.net_minor - paid_minor
    paid = till.pay(work, number, text, client, terms, -paid_minor, body, rounding)
    return shown(work, record) | {"payment": paid}


def _reckoned(work: Work, asked: Json) -> tuple[sale.Sale, dict[str, Any]]:
    terms = terms_of_business.find(work, asked["terms"])
    price = read_prices({asked["metal"]: asked["price"]}, terms, NO_FAULTS)[asked["metal"]]
    rows = Working()
    made = sale.by_house(terms, asked["metal"], asked["fine_mg"], price, rows)
    return made, document.sale(made, rows)


def _document(work: Work, serial: str, at: str, data: Json) -> dict[str, Any]:
    """The invoice, from what was kept of a sale and of its bar."""
    asked, bar = data["asked"], bars.row_of(work, serial)
    return {
        "number": data.get("number"),
        "issuer": data.get("issuer"),
        "client": asked["client"],
        "tax_point": at,
        "bar": serial,
        "mark": bar.data.get("mark"),
        **document.stated(poured.stated(bar), terms_of_business.find(work, asked["terms"])),
        "currency": data["answer"]["net"]["currency"],
        "paid_in": asked["paid_in"],
        **data["answer"],
    }


def posted(work: Work, record: records.Record) -> dict[str, Any]:
    """The invoice of a sale as it was posted."""
    return _document(work, record.subject, moment_text(record.made_at), record.data)


def sold(work: Work, record: records.Record) -> Entry:
    """The entry of a sale, reckoned from what was asked; `ValueError` if answer or invoice was another."""
    data = record.data
    made, answer = _reckoned(work, data["asked"])
    if answer != data["answer"]:
        raise ValueError("reckoned anew it differs")
    if "number" in data and document.digest(posted(work, record)) != data["hash"]:
        raise ValueError(f"the hash of {data['number']} is not that of its document")
    return postings.bar_sold(name_of(record), data["asked"]["client"], record.subject, made)


def standing(work: Work, serial: str) -> records.Record | None:
    """The sale of a bar that is not reversed, if there is one."""
    sales = records.in_force(work, serial, SALE)
    return next((r for r in reversed(sales) if undone.of(work, name_of(r)) is None), None)


def row_of(work: Work, name: str) -> records.Record:
    """A sale by its number, or by the id of one that has none; `not-found` where there is none."""
    query = select(records_table).where(records_table.c.kind == SALE, _name() == name)
    row = work.connection.execute(query).first()
    if row is None:
        raise Refused(Fault("not-found", "", f"no bar sale {name[:20]}", "the number of a bar's sale"))
    return records.of_row(row)


def shown(work: Work, record: records.Record) -> dict[str, Any]:
    """A sale with its payment, and whether it stands."""
    name = name_of(record)
    reversal = undone.shown(work, name)
    return {
        "id": record.id,
        **posted(work, record),
        "payment": till.shown(work, till.of_subject(work, name)[-1]),
        "state": "posted" if reversal is None else "reversed",
        "reversal": reversal,
        "hash": record.data.get("hash"),
    }


def listed(work: Work, page: Page, wanted: Wanted = ALL) -> tuple[list[dict[str, Any]], Listed]:
    """The sales of bars, newest first."""
    of, undone_since = records_table.c, undone.is_undone(_name())
    query = wanted.of(
        work,
        select(records_table).where(of.kind == SALE),
        of.made_at,
        client=Member(Member(of.data, "asked"), "client").__eq__,
        states={"posted": ~undone_since, "reversed": undone_since},
    )
    rows = page_of(work, query, records_table, page)
    return [_brief(work, row) for row in rows.rows], rows


def _brief(work: Work, row: Row[Any]) -> dict[str, Any]:
    sale_of = shown(work, records.of_row(row))
    return {name: sale_of[name] for name in (*_BRIEF, "state")}


def of_client(work: Work, client: str) -> list[records.Record]:
    """The sales to a client, reversed ones too, oldest first."""
    of = records_table.c
    query = select(records_table).where(of.kind == SALE, Member(Member(of.data, "asked"), "client") == client)
    return [records.of_row(row) for row in work.connection.execute(query.order_by(of.n))]
