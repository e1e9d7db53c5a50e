"""Bars: poured, weighed, numbered, each filling a line of a lot's wishes (E1, E2, A6)."""

from collections.abc import Iterable
from typing import Any

from sqlalchemy import Row, select

from settle.books import bench, covered, journal, lots, melts, outturns, owner, pots, poured, records, scales
from settle.books import terms as terms_of_business
from settle.books.columns import Member, moment_text
from settle.books.listing import Listed, Page, page_of
from settle.books.narrowing import ALL, Wanted, of_clients_lot
from settle.books.tables import bars
from settle.books.tables import lots as lots_table
from settle.books.tables import records as records_table
from settle.books.work import Work
from settle.reckoning import document, postings, settlement
from settle.reckoning.bars import Poured, Reading, Wishes, pour, read_instructions
from settle.reckoning.exact import plain
from settle.reckoning.fineness import WHOLE_PPT
from settle.reckoning.item import Scale
from settle.reckoning.money import printed_money
from settle.reckoning.notices import HOT_METAL
from settle.reckoning.problems import NO_FAULTS, Fault, Faults, Refused
from settle.reckoning.reading import Json, Kept, Reader
from settle.reckoning.tables import METALS
from settle.reckoning.terms import Terms
from settle.reckoning.weight import milligrams, milligrams_down, printed

BAR, POUR = "bar", "pour"
# States in which a bar is in the house's hands, whosever it is.
IN_HOUSE = ("poured", "assigned")
HOUSE = "house"
STATES = (*IN_HOUSE, "handed_over", "withdrawn")
# Scopes of the keys that see what the house paid for a bar.
SEE_COST = frozenset({"settle", "read", "owner"})


def enter(work: Work, body: Json, faults: Faults) -> dict[str, Any]:
    """Enter a poured bar, or correct its reading while nothing posted rests on it.

    Raises `Refused`: `bar-under-nominal`, `bar-over-pour`, `bar-below-promise`, `wrong-state`;
    `bar-not-covered` for a bar that the lot can't cover, unless by an owner's word (E4).
    """
    r = Reader(body, faults)
    lot = r.text("lot")
    metal = r.word("metal", METALS)
    line, word = _line(r), owner.word(work, r)
    faults.refuse_if_any()
    row = _lot(work, lot)
    terms = terms_of_business.find(work, row.terms)
    wanted = wishes(work, lot, metal, terms)
    if line >= len(wanted.lines):
        right = f"a line from 0 to {len(wanted.lines) - 1}" if wanted.lines else "bars in the instructions"
        raise Refused(Fault("contradiction", "/line", f"{lot} asked for no such line of {metal}", right))
    _refuse_settled(work, row, metal)
    known = scales.known(work)
    kept = _kept(work, row, body, r, terms, known, metal)
    faults.refuse_if_any()
    corrected = _corrected(work, body, metal)
    _refuse_filled(work, row, metal, line, wanted, corrected)
    # Looked at before anything is kept: a refused bar draws no number.
    bar = pour(terms, wanted, line, read_reading(kept), "")
    if word is None:
        _refuse_beyond(work, row, metal, wanted, bar, corrected)
    _refuse_more_than_in_stock(work, metal, kept, corrected)
    kept |= {"stated": states(bar), "owners_word": word}
    serial = _keep(work, row, metal, kept, body, corrected)
    told = [HOT_METAL, *melts.weighing_notices(work, body, read_reading(kept).weight_g, known)]
    return shown(work, serial) | {"notices": [n.as_json() for n in told]}


def wishes(work: Work, lot: str, metal: str, terms: Terms) -> Wishes:
    """What bars a lot's client wants of a metal."""
    return read_instructions(lots.instructions(work, lot), terms, NO_FAULTS).get(metal, Wishes())


def _line(r: Reader) -> int:
    line = r.data.get("line", 0)
    if isinstance(line, bool) or not isinstance(line, int) or line < 0:
        r.fault("line", "wrong-type", "not a line number", "0 for the first line of the instructions")
        return 0
    return line


def _lot(work: Work, number: str) -> Row[Any]:
    known = work.connection.execute(select(lots_table).where(lots_table.c.number == number)).first()
    if known is None:
        raise Refused(Fault("unknown-reference", "/lot", f"no lot {number[:20]}", "the number of a lot"))
    if known.batch is None:
        raise Refused(Fault("wrong-state", "/lot", f"{number} is in no batch", "a lot that was refined"))
    return known


def _refuse_settled(work: Work, row: Row[Any], metal: str) -> None:
    if metal in lots.settled_metals(work, row.number):
        right = "bars before the settlement"
        raise Refused(Fault("something-rests-on-it", "", f"{metal} of {row.number} is settled", right))


def _kept(
    work: Work, row: Row[Any], body: Json, r: Reader, terms: Terms, known: dict[str, Scale], metal: str
) -> dict[str, Any]:
    """What is kept of a bar: its reading, the division, and the assay of the outturn it is of."""
    came_out = pots.entries_out(work, row.batch, metal)
    r.weight("reading")
    d = bench.division(r, terms, known)
    if not came_out:
        raise Refused(Fault("wrong-state", "/metal", f"no {metal} came out yet", "an outturn first"))
    entries = [entry for entry, _ in came_out]
    named = r.text("outturn") if r.has("outturn") else entries[-1]
    if named not in entries:
        right = "one of " + ", ".join(entries)
        r.fault("outturn", "unknown-reference", f'no outturn "{named[:20]}" of {metal}', right)
        named = entries[-1]
    fineness, u = outturns.assayed(work, named, terms)
    return {
        "metal": metal,
        "line": _line(r),
        "outturn": named,
        "reading": body.get("reading"),
        "division": {"amount": plain(d), "unit": "g"},
        "assay": plain(fineness),
        "assay_u": plain(u),
    }


def read_reading(data: Json) -> Reading:
    """The reading of a bar that is kept."""
    return settlement.read_reading(Kept(data))


def reading_before(work: Work, serial: str, entry: str) -> Reading:
    """The reading that a bar of a lot had when an entry was made; `LookupError` where it had none."""
    of = records_table.c
    until = select(of.n).where(of.id == entry).scalar_subquery()
    there = select(of.data).where(of.kind == BAR, Member(of.data, "serial") == serial, of.n < until)
    data = work.connection.execute(there.order_by(of.n.desc()).limit(1)).scalar()
    if data is None:
        raise LookupError(f"no bar {serial}")
    return read_reading(data)


def states(bar: Poured) -> dict[str, Any]:
    """What a bar states, as its row keeps it."""
    return {
        "weight": {"amount": plain(bar.stated_g), "unit": "g"},
        "fineness": plain(bar.stated_ppt),
    }


def fine_mg(data: Json) -> int:
    """All the fine metal in a bar as read and assayed, to A2: more than it states. A bought bar holds
    what it states."""
    reading = read_reading(data)
    in_mg = milligrams_down if "mark" in data else milligrams
    return in_mg(reading.weight_g * reading.assay_ppt / WHOLE_PPT)


def _corrected(work: Work, body: Json, metal: str) -> Row[Any] | None:
    """The bar whose entry a body corrects."""
    name = body.get("corrects")
    if name is None:
        return None
    row = work.connection.execute(select(bars).where(bars.c.record == name)).first()
    if row is None:
        right = "the id of a bar's entry in force"
        raise Refused(Fault("unknown-reference", "/corrects", f'no bar rests on "{str(name)[:20]}"', right))
    if row.state == "withdrawn":
        raise Refused(Fault("wrong-state", "/corrects", f"{row.serial} is withdrawn", "a bar poured anew"))
    if row.metal != metal:
        raise Refused(Fault("contradiction", "/metal", f"{row.serial} is of {row.metal}", row.metal))
    _refuse_in_a_pour(work, row)
    return row


def _refuse_in_a_pour(work: Work, row: Row[Any]) -> None:
    """What a pour took and lost rests on the readings of its bars (E6)."""
    for pour_of in records.in_force(work, row.batch, POUR):
        if row.serial in pour_of.data["bars"]:
            right = "a correction of the pour without the bar first"
            raise Refused(Fault("something-rests-on-it", "/corrects", f"{pour_of.id} names it", right))


def _refuse_filled(
    work: Work, row: Row[Any], metal: str, line: int, wanted: Wishes, corrected: Row[Any] | None
) -> None:
    count = wanted.lines[line].count
    most = 1 if count == "whole" else count
    there = [b for b in of_lot(work, row.number) if b.metal == metal and b.data["line"] == line]
    there = [b for b in there if corrected is None or b.serial != corrected.serial]
    if isinstance(most, int) and len(there) >= most:
        wrong = f"line {line} is filled by {', '.join(b.serial for b in there)}"
        raise Refused(Fault("wrong-state", "/line", wrong, "a line that still lacks a bar"))


def _refuse_beyond(
    work: Work, row: Row[Any], metal: str, wanted: Wishes, bar: Poured, corrected: Row[Any] | None
) -> None:
    if row.client is None:
        return  # the house's own metal: it gives nothing away
    terms = terms_of_business.find(work, row.terms)
    items, posted = lots.items_of(work, row, terms), lots.posted_reconciliations(work, row.batch)
    there = poured.of_lot(work, row.number, metal)
    there.pop("" if corrected is None else corrected.serial, None)
    of = covered.of_lot(work, row, terms, items, posted).get(metal)
    covered.refuse_beyond(terms, of, wanted, [*there.values(), bar], bar.line)


def _refuse_more_than_in_stock(work: Work, metal: str, kept: Json, corrected: Row[Any] | None) -> None:
    """A bar is poured from what is there: what came out, and house metal where a bar is topped up."""
    there = journal.balance(work, postings.STOCK, metal)
    there += 0 if corrected is None else fine_mg(corrected.data)
    if fine_mg(kept) > there:
        wrong = f"{printed(fine_mg(kept))['g']} g of fine {metal}, {printed(there)['g']} g are in stock"
        raise Refused(Fault("not-in-stock", "/reading", wrong, "a reading of what is there"))


def _keep(
    work: Work, row: Row[Any], metal: str, kept: dict[str, Any], body: Json, old: Row[Any] | None
) -> str:
    serial = work.number("BAR") if old is None else str(old.serial)
    record = records.add(
        work, row.number, BAR, {"serial": serial, **kept}, body.get("corrects"), body.get("reason")
    )
    if old is not None:
        journal.undo_standing(work, old.record, journal.CORRECTED)
    journal.post(work, postings.poured(record.id, serial, metal, fine_mg(kept)))
    if old is None:
        work.connection.execute(
            bars.insert().values(
                serial=serial,
                record=record.id,
                batch=row.batch,
                lot=row.number,
                metal=metal,
                data=kept,
                state="poured",
                made_at=work.now,
            )
        )
    else:
        changed = {"record": record.id, "data": kept}
        work.connection.execute(bars.update().where(bars.c.serial == serial).values(changed))
    return serial


def of_lot(work: Work, lot: str) -> list[Row[Any]]:
    """The bars of a lot, but for those that were withdrawn."""
    there = select(bars).where(bars.c.lot == lot, bars.c.state != "withdrawn")
    return list(work.connection.execute(there.order_by(bars.c.n)))


def of_batch(work: Work, batch: str) -> list[Row[Any]]:
    """The bars of a batch, but for those that were withdrawn."""
    there = select(bars).where(bars.c.batch == batch, bars.c.state != "withdrawn")
    return list(work.connection.execute(there.order_by(bars.c.n)))


def in_house_mg(work: Work, metal: str) -> int:
    """Fine metal in the bars that are in the house, all that is in them."""
    there = select(bars).where(bars.c.metal == metal, bars.c.state.in_(IN_HOUSE))
    return sum(fine_mg(row.data) for row in work.connection.execute(there))


def assign(work: Work, lot: str, metals: Iterable[str]) -> None:
    """The bars of a lot's settled metals are its client's."""
    mine = bars.update().where(bars.c.lot == lot, bars.c.metal.in_(list(metals)), bars.c.state == "poured")
    client = select(lots_table.c.client).where(lots_table.c.number == lot).scalar_subquery()
    work.connection.execute(mine.values(state="assigned", client=client))


def unassign(work: Work, lot: str, metals: Iterable[str]) -> None:
    """The settlement of these metals is reversed: their bars are nobody's yet."""
    mine = bars.update().where(bars.c.lot == lot, bars.c.metal.in_(list(metals)), bars.c.state == "assigned")
    work.connection.execute(mine.values(state="poured", client=None))


def change(work: Work, row: Row[Any], **values: Any) -> None:
    """A bar goes on to another state or owner."""
    work.connection.execute(bars.update().where(bars.c.serial == row.serial).values(values))


def row_of(work: Work, serial: str, pointer: str | None = None) -> Row[Any]:
    """The row of a bar; `not-found` where there is none, `unknown-reference` where a body names it."""
    row = work.connection.execute(select(bars).where(bars.c.serial == serial)).first()
    if row is None:
        kind = "not-found" if pointer is None else "unknown-reference"
        raise Refused(Fault(kind, pointer or "", f"no bar {serial[:20]}", "the serial of a bar"))
    return row


def shown(work: Work, serial: str) -> dict[str, Any]:
    """A bar: what it states, for whom, from which batch; `not-found` where there is none."""
    return _shown(work, row_of(work, serial))


def terms_of(work: Work, row: Row[Any]) -> Terms:
    """The terms that a bar was poured or bought under."""
    number = row.data["terms"] if row.lot is None else lots.row_of(work, row.lot).terms
    return terms_of_business.find(work, number)


def whose(work: Work, row: Row[Any]) -> str | None:
    """A client by id, or `house`; none where it is nobody's (poured for a lot not settled, withdrawn)."""
    if row.client is not None:
        return str(row.client)
    of_house = row.lot is None or lots.row_of(work, row.lot).client is None
    return HOUSE if of_house and row.state != "withdrawn" else None


def _cost(work: Work, row: Row[Any], terms: Terms) -> dict[str, Any]:
    """What a bought bar cost and how it was paid, for those who deal with the house's money."""
    entry = None
    if row.lot is None and work.actor.scopes & SEE_COST:
        entry = records.find(work, row.record)
    if entry is None or not entry.data["cost_minor"]:
        return {}
    cost = printed_money(entry.data["cost_minor"], terms.currency)
    return {"cost": cost, "paid_in": entry.data["paid_in"]}


def _shown(work: Work, row: Row[Any]) -> dict[str, Any]:
    terms = terms_of(work, row)
    return {
        "serial": row.serial,
        "metal": row.metal,
        "lot": row.lot,
        "batch": row.batch,
        "line": row.data["line"],
        "client": row.client,
        "belongs_to": whose(work, row),
        "state": row.state,
        "entry": row.record,
        "reading": printed(read_reading(row.data).weight_g, terms.weight_unit),
        **document.stated(poured.stated(row), terms),
        **({"mark": row.data["mark"]} if "mark" in row.data else {}),
        **_cost(work, row, terms),
        "made_at": moment_text(row.made_at),
    }


def listed(
    work: Work, page: Page, wanted: Wanted = ALL, *, unclaimed: bool = False
) -> tuple[list[dict[str, Any]], Listed]:
    """The bars; `unclaimed`: a client's, and still in the house. Of a client are those of his lots too."""
    of = bars.c
    query = wanted.of(
        work,
        select(bars),
        of.made_at,
        client=lambda client: (of.client == client) | of_clients_lot(client, of.lot),
        lot=of.lot.__eq__,
        states={state: of.state == state for state in STATES},
    )
    if unclaimed:
        query = query.where(bars.c.state == "assigned")
    rows = page_of(work, query, bars, page)
    return [_shown(work, row) for row in rows.rows], rows
