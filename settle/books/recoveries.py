"""Silver recoveries: the bath of one or more batches, weighed and assayed days or weeks later (H8)."""

from functools import partial
from typing import Any

from sqlalchemy import ColumnElement, Row, select

from settle.books import held, lots, outturns, pots, records, sharing, stages
from settle.books.columns import moment_text
from settle.books.listing import Listed, Page, page_of
from settle.books.narrowing import ALL, Wanted, has_clients_lot
from settle.books.pots import SILVER
from settle.books.tables import batches, recoveries, recovery_batches
from settle.books.work import Work
from settle.reckoning.notices import ACIDS, Notice
from settle.reckoning.problems import Fault, Faults, Refused
from settle.reckoning.reading import Json
from settle.reckoning.weight import printed


def make(work: Work, body: Json, faults: Faults) -> dict[str, Any]:
    """Make a silver recovery of the baths of batches whose silver is not closed (H9)."""
    faults.refuse_if_any()
    rows = [_batch(work, name, i) for i, name in enumerate(body["batches"])]
    sharing.refuse_terms_apart([(row.number, pots.terms_of(work, pots.of_batch(row.number))) for row in rows])
    number = work.number("R")
    work.connection.execute(recoveries.insert().values(number=number, data={}, made_at=work.now))
    for batch in dict.fromkeys(row.number for row in rows):
        work.connection.execute(recovery_batches.insert().values(recovery=number, batch=batch))
    return shown(work, number)


def _batch(work: Work, number: str, position: int) -> Row[Any]:
    pointer = f"/batches/{position}"
    row = work.connection.execute(select(batches).where(batches.c.number == number)).first()
    if row is None:
        right = "the number of a batch"
        raise Refused(Fault("unknown-reference", pointer, f"no batch {number[:20]}", right))
    taken = pots.recovery_of(work, number)
    if taken is not None:
        right = "a batch whose bath is in no recovery"
        raise Refused(Fault("wrong-state", pointer, f"its bath is in {taken}", right))
    if SILVER in lots.reconciled(work, number):
        right = "a batch whose silver is not closed"
        raise Refused(Fault("wrong-state", pointer, "its silver is closed already", right))
    return row


def row_of(work: Work, number: str) -> Row[Any]:
    """The row of a silver recovery; `not-found` where there is none."""
    row = work.connection.execute(select(recoveries).where(recoveries.c.number == number)).first()
    if row is None:
        right = "the number of a silver recovery"
        raise Refused(Fault("not-found", "", f"no silver recovery {number[:20]}", right))
    return row


def take_out(work: Work, number: str, body: Json, faults: Faults) -> dict[str, Any]:
    """Record silver won back from the bath, weighed and assayed; or correct it."""
    row_of(work, number)
    _refuse_other_metal(body, faults)
    of_lots = pots.all_terms(work, pots.of_recovery(work, number))
    entry, told = outturns.take(work, number, of_lots, {**body, "metal": SILVER}, faults)
    return _changed(work, number, entry, told)


def keep_held(work: Work, number: str, body: Json, faults: Faults) -> dict[str, Any]:
    """Record silver known to stay behind in the bath, at its estimate (H6)."""
    row_of(work, number)
    _refuse_other_metal(body, faults)
    entry = held.keep(work, number, {**body, "metal": SILVER}, faults).id
    return _changed(work, number, entry, [])


def _refuse_other_metal(body: Json, faults: Faults) -> None:
    if body.get("metal", SILVER) != SILVER:
        faults.add("contradiction", "/metal", "a silver recovery yields silver", SILVER)


def write_off(work: Work, number: str, name: str, body: Json, faults: Faults) -> dict[str, Any]:
    """An owner's word that held silver will not come back (H6)."""
    row_of(work, number)
    return _changed(work, number, held.write_off(work, number, name, body, faults).id, [])


def _changed(work: Work, number: str, entry: str, told: list[Notice]) -> dict[str, Any]:
    found = shown(work, number)
    return found | {"entry": entry, "notices": [n.as_json() for n in told] or found["notices"]}


def shown(work: Work, number: str) -> dict[str, Any]:
    """A silver recovery as it stands."""
    row = row_of(work, number)
    pot = pots.of_recovery(work, number)
    unit = pots.terms_of(work, pot).weight_unit
    came_out = pots.came_out(work, pot, SILVER)
    posted = lots.reconciled(work, number)
    return {
        "number": number,
        "batches": list(pot.batches),
        "state": _state_of(work, number),
        "lent": printed(sum(w.fine_mg for w in pots.lent(work, pot, SILVER)), unit),
        "own": {lot.lot: printed(lot.own.fine_mg, unit) for lot in pots.lots_in(work, pot, SILVER)},
        "out": printed(sum(w.fine_mg for w in came_out), unit),
        "held": held.still(work, number),
        "reconciliation": posted[SILVER].id if posted else None,
        "entries": [records.shown(r) for r in records.history(work, number)],
        "notices": [ACIDS.as_json()],
        "made_at": moment_text(row.made_at),
    }


def listed(work: Work, page: Page, wanted: Wanted = ALL) -> tuple[list[dict[str, Any]], Listed]:
    of = recoveries.c
    client, states = partial(_has_clients_lot, recovery=of.number), stages.of_recoveries()
    query = wanted.of(work, select(recoveries), of.made_at, client=client, states=states)
    rows = page_of(work, query, recoveries, page)
    return [
        {
            "number": row.number,
            "batches": list(pots.of_recovery(work, row.number).batches),
            "state": _state_of(work, row.number),
            "made_at": moment_text(row.made_at),
        }
        for row in rows.rows
    ], rows


def _state_of(work: Work, number: str) -> str:
    """open → outturn → closed."""
    if lots.reconciled(work, number):
        return "closed"
    return "outturn" if pots.came_out(work, pots.of_recovery(work, number), SILVER) else "open"


def _has_clients_lot(client: str, recovery: ColumnElement[Any]) -> ColumnElement[bool]:
    of = recovery_batches.c
    return recovery.in_(select(of.recovery).where(has_clients_lot(client, of.batch)))
