"""`check`, for what follows a settlement or goes without one: payments, bars, sales, reversals, and
whether what the books owe each client is what the documents say (J3)."""

from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping
from typing import Any

from sqlalchemy import Row, func, select

from settle.books import (
    bar_sales,
    bars,
    counts,
    custody,
    handovers,
    held,
    holds,
    house_bars,
    journal,
    loans,
    lots,
    money_moves,
    on_account,
    outturns,
    pots,
    poured,
    pouring,
    purchases,
    reconciliations,
    records,
    scales,
    settlements,
    stock,
    tables,
    till,
    undone,
)
from settle.books import terms as terms_of_business
from settle.books.work import Work
from settle.reckoning import postings, reissue
from settle.reckoning.exact import Exact
from settle.reckoning.ledger import Entry
from settle.reckoning.problems import NO_FAULTS, Refused
from settle.reckoning.reading import Json
from settle.reckoning.terms import Terms
from settle.reckoning.weight import milligrams

Found = Iterator[str | None]
Part = tuple[str, int, Callable[[], Found]]


def parts(work: Work) -> list[Part]:
    """As `check.parts`: its name, about how many steps it takes, and the check itself."""
    return [
        ("payments in the journal", _rows(work, tables.payments), lambda: _payments(work)),
        ("what entries moved", _rows(work, tables.records), lambda: _moved(work)),
        ("what bars state", _rows(work, tables.bars), lambda: _stated(work)),
        ("reversals", _rows(work, tables.reversals), lambda: _reversals(work)),
        ("what clients are owed", _rows(work, tables.clients), lambda: _clients(work)),
    ]


def _rows(work: Work, table: Any) -> int:
    return int(work.connection.execute(select(func.count()).select_from(table)).scalar_one())


def _payments(work: Work) -> Found:
    for row in work.connection.execute(select(tables.payments).order_by(tables.payments.c.n)):
        yield _not_posted(work, till.entry_of(row))


def _not_posted(work: Work, entry: Entry) -> str | None:
    posted = sorted(journal.legs_of(work, entry.document))
    if posted != sorted((leg.account, leg.commodity, leg.amount) for leg in entry.legs):
        return f"{entry.document}: the journal's entry is not the one that it makes"
    return None


def _poured(_work: Work, record: records.Record) -> Entry:
    data = record.data
    return postings.poured(record.id, data["serial"], data["metal"], bars.fine_mg(data))


def _bar(work: Work, record: records.Record) -> Entry:
    of_lot = "serial" in record.data
    return _poured(work, record) if of_lot else house_bars.entered(work, record)


def _returned(work: Work, record: records.Record) -> Entry:
    return custody.entry_of(record, lots.row_of(work, record.subject).client)


def _terms(work: Work, subject: str) -> Terms:
    pot = reconciliations.pot_of(work, subject)
    return pots.terms_of(work, pot)


def _lent(work: Work, record: records.Record) -> Entry:
    terms = _terms(work, record.subject)
    lent = loans.read(record.data, terms, scales.known(work), NO_FAULTS)
    fine_mg = {metal: of.fine_mg for metal, of in lent.items() if of.fine_mg}
    return postings.silver_lent(record.id, record.subject, fine_mg)


def _came_out(work: Work, record: records.Record) -> Entry:
    terms = _terms(work, record.subject)
    metal, out = outturns.read(record.data, terms, scales.known(work), NO_FAULTS)
    return postings.came_out(record.id, record.subject, metal, out.fine_mg)


def _pour(work: Work, record: records.Record) -> Entry:
    return pouring.entry_of(work, record, _terms(work, record.subject))


def _held_ended(work: Work, record: records.Record) -> Entry:
    return held.entry_of(work, record, _terms(work, record.subject))


_MOVES: Mapping[str, Callable[[Work, records.Record], Entry]] = {
    loans.LOAN: _lent,
    outturns.OUTTURN: _came_out,
    held.ENDED: _held_ended,
    bars.BAR: _bar,
    bars.POUR: _pour,
    bar_sales.SALE: bar_sales.sold,
    holds.RETURN: _returned,
    handovers.HANDOVER: lambda _work, record: handovers.entry_of(record),
    on_account.SALE: on_account.sold,
    on_account.AS_BAR: lambda _work, record: on_account.taken(record),
    stock.STOCK: lambda _work, record: stock.entry_of(record),
    counts.STOCK_COUNT: lambda _work, record: counts.entry_of(record),
    money_moves.MOVE: lambda _work, record: money_moves.entry_of(record),
    counts.CASH_COUNT: lambda _work, record: counts.entry_of(record),
}


def _moved(work: Work) -> Found:
    """Each entry that moves metal, reckoned anew from what it says, moved just that."""
    of = tables.records.c
    for name, kind in work.connection.execute(
        select(of.id, of.kind).where(of.kind.in_(_MOVES)).order_by(of.n)
    ):
        record = records.find(work, name)
        assert record is not None
        try:
            yield _not_posted(work, _MOVES[kind](work, record))
        except (Refused, LookupError, ValueError, TypeError) as error:
            yield f"{name}: can't be reckoned anew: {error}"


def _stated(work: Work) -> Found:
    """Each bar is as its entry says, and states what follows from it."""
    for row in work.connection.execute(select(tables.bars).order_by(tables.bars.c.n)):
        record = records.find(work, row.record)
        if record is None or any(record.data.get(name) != said for name, said in row.data.items()):
            yield f"{row.serial}: it is not as {row.record} says"
            continue
        try:
            # The wishes that a withdrawn bar served may be others by now.
            anew = row.data["stated"] if row.state == "withdrawn" else house_bars.states_anew(work, row)
        except (Refused, LookupError) as error:
            yield f"{row.serial}: what it states can't be reckoned anew: {error}"
            continue
        yield None if anew == row.data["stated"] else f"{row.serial}: it would state otherwise"


def _reversals(work: Work) -> Found:
    """What is reversed stands no more in the journal, and what stands as reversed was reversed."""
    for row in work.connection.execute(select(tables.reversals).order_by(tables.reversals.c.n)):
        if standing := journal.standing(work, row.subject):
            yield f"{row.subject}: reversed by {row.id}, and {standing[0]} stands"
        else:
            yield _note_differs(work, row)
    of = tables.settlements.c
    for number, state in work.connection.execute(select(of.number, of.state).where(of.number.is_not(None))):
        if (state == "reversed") != (undone.of(work, number) is not None):
            yield f"{number}: it is {state}, and its reversal says otherwise"


def _note_differs(work: Work, row: Row[Any]) -> str | None:
    """A credit note credits what the document said."""
    if row.number is None:
        return None
    posted = _credited(work, row.subject)
    again = reissue.credit_note(posted, terms_of_business.find(work, posted["terms"]))
    if any(row.document.get(k) != v for k, v in again.items()) or row.document["number"] != row.number:
        return f"{row.number}: reckoned anew from {row.subject} it differs"
    return None


def _credited(work: Work, name: str) -> Json:
    """The document that a credit note credits."""
    if name.startswith(("S-", "P-")):
        document: Json = (settlements if name.startswith("S-") else purchases).row_of(work, name).document
        return document
    return bar_sales.posted(work, bar_sales.row_of(work, name)) | {"number": name}


def _clients(work: Work) -> Found:
    """Money, bars, shot and metal on account that the books owe a client, against the documents."""
    for client in work.connection.execute(select(tables.clients.c.id)).scalars():
        wrong = []
        said = _owed(work, client)
        held = {
            (row.account, row.commodity): -journal.balance(work, row.account, row.commodity)
            for row in _accounts(work, client)
        }
        for account, commodity in sorted({*said, *held}):
            one, other = held.get((account, commodity), 0), said.get((account, commodity), 0)
            if one != other:
                wrong.append(f"{account}: the books owe {one} of {commodity}, the documents {other}")
        yield from wrong or (None,)


def _accounts(work: Work, client: str) -> list[Row[Any]]:
    line = tables.journal_lines.c
    names = [postings.of_client(client, what) for what in ("money", "bars", "shot", "metal")]
    query = select(line.account, line.commodity).where(line.account.in_(names)).distinct()
    return list(work.connection.execute(query))


def _owed(work: Work, client: str) -> dict[tuple[str, str], int]:
    """By account and commodity: what settlements, payments, bars, returns and sales leave owed."""
    owed: dict[tuple[str, str], int] = defaultdict(int)
    money, shot, account = (postings.of_client(client, what) for what in ("money", "shot", "metal"))
    for lot in work.connection.execute(select(tables.lots).where(tables.lots.c.client == client)):
        posted = settlements.posted_of(work, lot.number)
        for row in posted:
            owed[money, row.document["currency"]] += settlements.open_minor(work, row)
        if not posted:
            owed[money, terms_of_business.find(work, lot.terms).currency] -= till.paid_minor(work, lot.number)
            continue
        for metal, mg in custody.shot_left(work, lot.number).items():
            owed[shot, metal] += mg
        for metal, of in settlements.metals_settled(work, lot.number).items():
            owed[account, metal] += milligrams(Exact(of["metal_account"]["g"]))
    for record in undone.standing(work, client, on_account.SALE):
        owed[account, record.data["asked"]["metal"]] -= record.data["asked"]["fine_mg"]
    for record in undone.standing(work, client, on_account.AS_BAR):
        owed[account, record.data["metal"]] -= record.data["stated_mg"]
    of_bars = tables.bars.c
    mine = select(tables.bars).where(of_bars.client == client, of_bars.state == "assigned")
    for row in work.connection.execute(mine):
        owed[postings.of_client(client, "bars"), row.metal] += poured.stated(row).stated_mg
    return owed
