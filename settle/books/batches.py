"""Batches: lots refined together or alone, with house silver; what was lent and what came out."""

from functools import partial
from typing import Any

from sqlalchemy import Row, select

from settle.books import (
    bench,
    held,
    loans,
    lots,
    melts,
    outturns,
    owner,
    pots,
    records,
    sharing,
    stages,
)
from settle.books import terms as terms_of_business
from settle.books.columns import moment_text
from settle.books.listing import Listed, Page, page_of, sifted
from settle.books.narrowing import ALL, Wanted, has_clients_lot
from settle.books.pots import SILVER, Pot
from settle.books.tables import batches, reconciliations
from settle.books.tables import lots as lots_table
from settle.books.work import Work
from settle.reckoning import notices
from settle.reckoning.exact import ZERO, Exact
from settle.reckoning.notices import ACIDS, HOT_METAL, Notice
from settle.reckoning.problems import Fault, Faults, Refused
from settle.reckoning.reading import Json, Reader
from settle.reckoning.weight import printed


def make(work: Work, body: Json, faults: Faults) -> dict[str, Any]:
    """Make a batch of assayed lots that may share one (H9)."""
    word = owner.word(work, Reader(body, faults))
    faults.refuse_if_any()
    number = work.number("B")
    work.connection.execute(batches.insert().values(number=number, data={}, made_at=work.now))
    _put_in(work, number, body["lots"], word)
    return shown(work, number)


def add_lots(work: Work, number: str, body: Json, faults: Faults) -> dict[str, Any]:
    """Add lots to a batch; from the first outturn on the way of sharing stands."""
    row_of(work, number)
    word = owner.word(work, Reader(body, faults))
    faults.refuse_if_any()
    if outturns.any_of(work, number):
        right = "lots before the first outturn, or another batch"
        raise Refused(Fault("wrong-state", "", f"metal came out of {number} already", right))
    if pots.recovery_of(work, number) is not None:
        raise Refused(Fault("wrong-state", "", "its bath is in a silver recovery", "another batch"))
    _refuse_accounted(work, number)
    _put_in(work, number, body["lots"], word)
    return shown(work, number)


def _refuse_accounted(work: Work, number: str) -> None:
    """An account that was posted, and reversed since, is reckoned anew with the lots that it was of."""
    of = reconciliations.c
    posted = work.connection.execute(select(of.id).where(of.batch == number).limit(1)).scalar()
    if posted is not None:
        raise Refused(
            Fault("wrong-state", "", f"{posted} was posted of what is in {number}", "another batch")
        )


def _put_in(work: Work, number: str, names: list[str], word: str | None) -> None:
    rows = _named(work, names)
    there = pots.lot_rows(work, pots.of_batch(number))
    faults = Faults()
    for i, row in enumerate(rows):
        _look_at_state(work, row, f"/lots/{i}", faults)
    faults.extend(sharing.faults_apart(work, there, rows, owner_allows=word is not None))
    faults.refuse_if_any()
    if word is not None:
        owner.keep(work, number, names, word)
    for row in rows:
        work.connection.execute(
            lots_table.update().where(lots_table.c.number == row.number).values(batch=number)
        )
        melts.post_own(work, row.number)
    _refuse_unaccounted(work, number, names)


def _refuse_unaccounted(work: Work, number: str, names: list[str]) -> None:
    """A metal that the batch's terms don't account for would never come out of it."""
    terms, faults = _terms(work, number), Faults()
    for row in pots.lot_rows(work, pots.of_batch(number)):
        own = terms_of_business.find(work, row.terms)
        assay = bench.agreed_of(work, row.number, own)
        found = [m for m, ppt in assay.ppt.items() if ppt and m in own.metals] if assay else []
        for metal in (m for m in found if m not in terms.metals):
            pointer = f"/lots/{names.index(row.number)}" if row.number in names else "/lots"
            wrong = f"{row.number} holds {metal}, which {terms.number} don't account for"
            faults.add("kept-apart", pointer, wrong, "lots whose metals the terms of all account for")
    faults.refuse_if_any()


def _named(work: Work, names: list[str]) -> list[Row[Any]]:
    """The lots of these names, each named once."""
    faults, rows = Faults(), []
    for i, name in enumerate(names):
        row = work.connection.execute(select(lots_table).where(lots_table.c.number == name)).first()
        if row is None:
            faults.add("unknown-reference", f"/lots/{i}", f"no lot {name[:20]}", "the number of a lot")
        elif name in names[:i]:
            faults.add("contradiction", f"/lots/{i}", f"{name} stands there twice", "each lot once")
        else:
            rows.append(row)
    faults.refuse_if_any()
    return rows


def _look_at_state(work: Work, row: Row[Any], pointer: str, faults: Faults) -> None:
    state = lots.state_of(work, row)
    if lots.settled_metals(work, row.number):
        right = "the metal brought in as a lot of the house's own"
        faults.add("wrong-state", pointer, f"{row.number} is settled on its assay", right)
    elif state != "assayed":
        faults.add("wrong-state", pointer, f"{row.number} is {state}", "a melted and assayed lot")


def row_of(work: Work, number: str) -> Row[Any]:
    """The row of a batch; `not-found` where there is none."""
    row = work.connection.execute(select(batches).where(batches.c.number == number)).first()
    if row is None:
        raise Refused(Fault("not-found", "", f"no batch {number[:20]}", "the number of a batch"))
    return row


def lend(work: Work, number: str, body: Json, faults: Faults) -> dict[str, Any]:
    """Lend house silver to a batch (H1), or correct a loan."""
    row_of(work, number)
    _refuse_silver_closed(work, number)
    entry, told = loans.lend(work, number, _terms(work, number), body, faults)
    return _changed(work, number, entry, told)


def take_out(work: Work, number: str, body: Json, faults: Faults) -> dict[str, Any]:
    """Record metal that came out, weighed and assayed; correct it; or bring back what was held."""
    row_of(work, number)
    if body.get("metal") == SILVER and "held" not in body:
        _refuse_silver_closed(work, number)
    entry, told = outturns.take(work, number, pots.all_terms(work, pots.of_batch(number)), body, faults)
    return _changed(work, number, entry, [*told, *_more_than_went_in(work, number, body["metal"])])


def _more_than_went_in(work: Work, number: str, metal: str) -> list[Notice]:
    pot = pots.where_closed(work, number, metal)
    weighed = [*(lot.own for lot in pots.lots_in(work, pot, metal)), *pots.lent(work, pot, metal)]
    came_out = sum(w.fine_mg for w in pots.came_out(work, pot, metal))
    return notices.more_than_went_in(metal, sum(w.fine_mg for w in weighed), came_out)


def keep_held(work: Work, number: str, body: Json, faults: Faults) -> dict[str, Any]:
    """Record metal known to stay behind, at its estimate (H6)."""
    row_of(work, number)
    if body.get("metal") == SILVER:
        _refuse_silver_closed(work, number)
    outturns.look_at_metal(_terms(work, number), body.get("metal", "gold"), faults)
    entry = held.keep(work, number, body, faults).id
    return _changed(work, number, entry, [])


def write_off(work: Work, number: str, name: str, body: Json, faults: Faults) -> dict[str, Any]:
    """An owner's word that held metal will not come back (H6)."""
    row_of(work, number)
    entry = held.write_off(work, number, name, body, faults).id
    return _changed(work, number, entry, [])


def _refuse_silver_closed(work: Work, number: str) -> None:
    """The silver of a batch may be closed by the recovery that its bath went into."""
    recovery = pots.recovery_of(work, number)
    if recovery is not None:
        held.refuse_reconciled(work, recovery, SILVER)


def _terms(work: Work, number: str) -> Any:
    return pots.terms_of(work, pots.of_batch(number))


def _changed(work: Work, number: str, entry: str, told: list[Notice]) -> dict[str, Any]:
    found = shown(work, number)
    return found | {"entry": entry, "notices": [n.as_json() for n in told] or found["notices"]}


def shown(work: Work, number: str) -> dict[str, Any]:
    """A batch as it stands."""
    row = row_of(work, number)
    pot = pots.of_batch(number)
    terms = pots.terms_of(work, pot)
    closed = lots.posted_reconciliations(work, number)
    unit = terms.weight_unit
    return {
        "number": number,
        "lots": [lot.number for lot in pots.lot_rows(work, pot)],
        "terms": terms.number,
        "silver_recovery": pots.recovery_of(work, number),
        "metals": _states(work, row),
        "parting_silver_needed": printed(
            sum((_need_of(work, lot) for lot in pots.lot_rows(work, pot)), ZERO), unit
        ),
        "bars_covered": {lot.number: lots.bars_covered(work, lot) for lot in pots.lot_rows(work, pot)},
        "lent": {m: printed(sum(w.fine_mg for w in pots.lent(work, pot, m)), unit) for m in loans.METALS},
        "held": held.still(work, number),
        "reconciliations": {m: posted.id for m, posted in closed.items()},
        "entries": [records.shown(r) for r in records.history(work, number)],
        "notices": [ACIDS.as_json(), HOT_METAL.as_json()],
        "made_at": moment_text(row.made_at),
    }


def _states(work: Work, row: Row[Any]) -> dict[str, str]:
    """How far each metal that a batch holds is."""
    pot = pots.of_batch(row.number)
    return {m: state for m in pots.terms_of(work, pot).metals if (state := _state(work, pot, m))}


def _state(work: Work, pot: Pot, metal: str) -> str | None:
    """open → outturn → closed; none for a metal that the batch doesn't hold."""
    if metal in lots.posted_reconciliations(work, pot.number):
        return "closed"
    if pots.came_out(work, pot, metal):
        return "outturn"
    own = any(lot.own.fine_mg for lot in pots.lots_in(work, pot, metal))
    return "open" if own or any(w.fine_mg for w in pots.lent(work, pot, metal)) else None


def _need_of(work: Work, lot: Row[Any]) -> Exact:
    terms = terms_of_business.find(work, lot.terms)
    melted, assayed = bench.melt_of(work, lot.number, terms), bench.agreed_of(work, lot.number, terms)
    return pots.lot_need(terms, melted, assayed).weight_g if melted and assayed else ZERO


def listed(work: Work, page: Page, wanted: Wanted = ALL) -> tuple[list[dict[str, Any]], Listed]:
    """The batches; in a state is one of which any metal is."""
    of = batches.c
    client, states = partial(has_clients_lot, batch=of.number), stages.of_batches()
    query = wanted.of(work, select(batches), of.made_at, client=client, states=states)
    if wanted.state is None:
        rows = page_of(work, query, batches, page)
    else:
        rows = sifted(work, query, batches, page, lambda row: wanted.state in _states(work, row).values())
    return [
        {
            "number": row.number,
            "lots": [lot.number for lot in pots.lot_rows(work, pots.of_batch(row.number))],
            "silver_recovery": pots.recovery_of(work, row.number),
            "metals": _states(work, row),
            "made_at": moment_text(row.made_at),
        }
        for row in rows.rows
    ], rows
