"""Lots held and let go: frozen by order and released; returned unrefined, or their shot and drillings."""

from datetime import datetime
from typing import Any

from sqlalchemy import Row

from settle.books import (
    drillings,
    erased,
    holds,
    journal,
    lots,
    owner,
    personal,
    records,
    settlements,
    till,
    undone,
)
from settle.books import terms as terms_of_business
from settle.books.columns import moment_text
from settle.books.work import Work
from settle.reckoning import postings
from settle.reckoning.exact import Exact
from settle.reckoning.ledger import Entry
from settle.reckoning.problems import Fault, Faults, Refused
from settle.reckoning.reading import Json, Reader
from settle.reckoning.weight import milligrams

RETURNABLE = ("received", "melted", "assayed")


def freeze(work: Work, lot: str, body: Json, faults: Faults) -> dict[str, Any]:
    """Freeze a lot by order: whose, the reason, the reference of the order."""
    return _say(work, lot, holds.FREEZE, body, ("by", "reason", "reference"), faults)


def release(work: Work, lot: str, body: Json, faults: Faults) -> dict[str, Any]:
    """Release a frozen lot, with the reason."""
    return _say(work, lot, holds.RELEASE, body, ("reason",), faults)


def _say(
    work: Work, lot: str, kind: str, body: Json, demanded: tuple[str, ...], faults: Faults
) -> dict[str, Any]:
    lots.row_of(work, lot)
    r = Reader(body, faults)
    for field in demanded:
        r.text(field)
    faults.refuse_if_any()
    is_frozen = holds.order_of(work, lot) is not None
    if is_frozen == (kind == holds.FREEZE):
        state, right = (
            ("frozen already", "a lot that is free") if is_frozen else ("not frozen", "a frozen lot")
        )
        raise Refused(Fault("wrong-state", "", f"{lot} is {state}", right))
    records.add(work, lot, kind, dict(body))
    return lots.shown(work, lot)


def give_back(work: Work, lot: str, body: Json, faults: Faults) -> dict[str, Any]:
    """Return a lot that was not refined, or the loose shot or the drillings of one that is settled; who
    took it.

    Raises `Refused`: `frozen`, `wrong-state`, `something-rests-on-it` for an advance that
    stands; unless by an owner's word `net-unpaid` while the client owes the net, `wrong-state` for
    drillings before the sample period is over.
    """
    row = lots.row_of(work, lot)
    r = Reader(body, faults)
    r.text("who")
    what, word = r.word("what", (holds.SHOT, holds.DRILLINGS), holds.SHOT), owner.word(work, r)
    faults.refuse_if_any()
    holds.refuse_frozen(work, lot)
    holds.refuse_returned(work, row)
    settled = lots.last_settlement(work, lot)
    if settled is None:
        data = _the_lot(work, row, r)
    else:
        is_shot = what == holds.SHOT
        data = _its_shot(work, row) if is_shot else _its_drillings(work, row, settled.posted_at, word)
        refuse_unpaid(work, lot, word)
    record = records.add(work, lot, holds.RETURN, {**data, "override": word})
    personal.keep(work, record.id, holds.RETURN, row.client, {"who": body["who"]})
    journal.post(work, entry_of(record, row.client))
    return lots.shown(work, lot) | {"entry": record.id}


def _the_lot(work: Work, row: Row[Any], r: Reader) -> dict[str, Any]:
    state = lots.state_of(work, row)
    if r.has("what"):
        right = "leave it out: a lot goes back whole"
        raise Refused(Fault("wrong-state", "/what", f"{row.number} is not settled", right))
    if state not in RETURNABLE:
        raise Refused(Fault("wrong-state", "", f"it is {state}", "a lot that is in no batch"))
    if row.client is None:
        raise Refused(Fault("wrong-state", "", "the metal is the house's own", "a client's lot"))
    if paid := till.standing(work, row.number):
        wrong = f"{', '.join(p.id for p in paid)} was advanced on it"
        raise Refused(Fault("something-rests-on-it", "", wrong, "the advance back and reversed first"))
    return {"what": holds.THE_LOT, "fine_mg": {}}


def _its_shot(work: Work, row: Row[Any]) -> dict[str, Any]:
    left = shot_left(work, row.number)
    if not left:
        right = "a settled lot with loose shot, or one that is not settled"
        raise Refused(Fault("wrong-state", "", f"no shot of {row.number} is in the house", right))
    return {"what": holds.SHOT, "fine_mg": left}


def _its_drillings(work: Work, row: Row[Any], settled_at: datetime, word: str | None) -> dict[str, Any]:
    terms = terms_of_business.find(work, row.terms)
    taken = drillings.shown(work, row, terms)
    if taken is None or not taken["owed"]:
        wrong = f"no drillings of {row.number} are to be handed back"
        raise Refused(Fault("wrong-state", "/what", wrong, "drillings of the client's that are still here"))
    until = drillings.kept_until(terms, settled_at)
    if work.now < until and word is None:
        wrong = f"they are kept until {moment_text(until)}, for an assay that may be asked for again"
        right = 'a return after that, or an owner\'s word: "override": {"reason": …}'
        raise Refused(Fault("wrong-state", "/what", wrong, right))
    return {"what": holds.DRILLINGS, "fine_mg": {}, "weight": taken["weight"]}


def shot_left(work: Work, lot: str) -> dict[str, int]:
    """Loose shot that the settlements of a lot owe and that is not returned, milligrams by metal."""
    metals = settlements.metals_settled(work, lot)
    returned = [r.data["fine_mg"] for r in holds.returns(work, lot, holds.SHOT)]
    left = {
        metal: milligrams(Exact(account["shot"]["g"])) - sum(mg.get(metal, 0) for mg in returned)
        for metal, account in metals.items()
    }
    return {metal: mg for metal, mg in left.items() if mg}


def refuse_unpaid(work: Work, lot: str, word: str | None) -> None:
    """What is the client's stays while he owes the net of a settlement, but for an owner's word."""
    if word is not None:
        return
    for row in settlements.posted_of(work, lot):
        if settlements.open_minor(work, row) < 0:
            right = 'its payment first, or an owner\'s word: "override": {"reason": …}'
            raise Refused(Fault("net-unpaid", "", f"the client owes the net of {row.number}", right))


def refuse_held_back(work: Work, client: str, word: str | None) -> None:
    """What lots gave to a client's account stays while one of them is frozen, or its net unpaid."""
    for row in lots.of_client(work, client):
        if lots.last_settlement(work, row.number) is not None:
            holds.refuse_frozen(work, row.number)
            refuse_unpaid(work, row.number, word)


def entry_of(record: records.Record, client: str) -> Entry:
    """The entry of a return; a lot that was not refined moves nothing in the books."""
    return postings.shot_returned(record.id, record.subject, client, record.data["fine_mg"])


def reverse_return(work: Work, lot: str, body: Json, faults: Faults) -> dict[str, Any]:
    """Reverse the last return of a lot: it came back, or never left."""
    reason = undone.reason_of(body, faults)
    erased.refuse_erased(work, lots.row_of(work, lot).client)
    standing = undone.standing(work, lot, holds.RETURN)
    if not standing:
        raise Refused(Fault("wrong-state", "", f"nothing of {lot} was returned", "a return that stands"))
    undone.undo(work, standing[-1].id, reason, [standing[-1].id])
    return lots.shown(work, lot)
