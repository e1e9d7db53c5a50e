"""Bars handed over: who took them, weighed again (E2); and taken back."""

from typing import Any

from sqlalchemy import Row

from settle.books import (
    bar_sales,
    bars,
    bench,
    custody,
    events,
    holds,
    journal,
    melts,
    owner,
    personal,
    poured,
    records,
    scales,
    undone,
)
from settle.books.work import Work
from settle.reckoning import postings
from settle.reckoning.exact import Exact, plain
from settle.reckoning.exact import shown as figure
from settle.reckoning.ledger import Entry
from settle.reckoning.problems import Fault, Faults, Refused
from settle.reckoning.reading import Json, Reader

HANDOVER = "handover"


def hand_over(work: Work, serial: str, body: Json, faults: Faults) -> dict[str, Any]:
    """Hand a client's bar over. Weighed again it may differ by one division.

    Raises `Refused`: `wrong-state`, `frozen`, `bar-weighs-otherwise`, `net-unpaid` while the
    client owes the net, unless by an owner's word.
    """
    row = bars.row_of(work, serial)
    r = Reader(body, faults)
    known = scales.known(work)
    r.text("who")
    reading, division = r.weight("reading"), bench.division(r, bars.terms_of(work, row), known)
    word = owner.word(work, r)
    faults.refuse_if_any()
    if row.state != "assigned":
        right = "a bar that is a client's: settled, sold or taken for metal on account"
        raise Refused(Fault("wrong-state", "", f"{serial} is {row.state.replace('_', ' ')}", right))
    if row.lot is not None:
        holds.refuse_frozen(work, row.lot)
        custody.refuse_unpaid(work, row.lot, word)
    elif bar_sales.standing(work, serial) is None:
        # It was taken for metal on account, not bought with money.
        custody.refuse_held_back(work, row.client, word)
    _refuse_otherwise(row, reading, division)
    record = records.add(work, serial, HANDOVER, _kept(row, body, word))
    personal.keep(work, record.id, HANDOVER, row.client, {"who": body["who"]})
    journal.post(work, entry_of(record))
    bars.change(work, row, state="handed_over")
    told = {"bar": serial, "lot": row.lot, "client": row.client, "handover": record.id}
    events.emit(work, "bar.handed_over", serial, told)
    said = melts.weighing_notices(work, body, reading, known)
    return bars.shown(work, serial) | {"handover": record.id, "notices": [n.as_json() for n in said]}


def _refuse_otherwise(row: Row[Any], reading_g: Exact, division_g: Exact) -> None:
    poured = bars.read_reading(row.data)
    # A coarser scale can't show what a finer one did: the coarser division is the one that counts, unless
    # it is so coarse that it tells nothing.
    one = max(poured.division_g, division_g)
    coarsest = max(poured.division_g, poured.weight_g / 100)
    if division_g > coarsest:
        wrong = f"a division of {plain(division_g)} g tells nothing of this bar"
        right = f"a scale with a division of {figure(coarsest, 3)} g or less"
        raise Refused(Fault("out-of-range", "/reading", wrong, right))
    if abs(reading_g - poured.weight_g) > one:
        wrong = f"{plain(reading_g)} g, and {plain(poured.weight_g)} g when it was entered"
        right = f"within one division, {plain(one)} g; or the bar withdrawn"
        raise Refused(Fault("bar-weighs-otherwise", "/reading", wrong, right))


def _kept(row: Row[Any], body: Json, word: str | None) -> dict[str, Any]:
    """What a handover keeps; all that its entry rests on, and no name."""
    return {
        **{k: body[k] for k in ("reading", "scale", "division") if k in body},
        "client": row.client,
        "metal": row.metal,
        "fine_mg": bars.fine_mg(row.data),
        "stated_mg": poured.stated(row).stated_mg,
        "override": word,
    }


def entry_of(record: records.Record) -> Entry:
    data = record.data
    return postings.handed_over(
        record.id, record.subject, data["client"], data["metal"], data["fine_mg"], data["stated_mg"]
    )


def take_back(work: Work, serial: str, body: Json, faults: Faults) -> dict[str, Any]:
    """Reverse a handover: the bar is in the house again, and still its client's."""
    reason = undone.reason_of(body, faults)
    row = bars.row_of(work, serial)
    standing = undone.standing(work, serial, HANDOVER)
    if not standing:
        raise Refused(Fault("wrong-state", "", f"{serial} was not handed over", "a bar that left the house"))
    undone.undo(work, standing[-1].id, reason, [standing[-1].id])
    bars.change(work, row, state="assigned")
    return bars.shown(work, serial)
