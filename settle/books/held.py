"""Metal known to stay behind in filters, stock pot or crucible: held in process under its batch
or recovery at an estimate, until it comes back or is written off by an owner's word (H6)."""

from typing import Any

from settle.books import bench, journal, lots, owner, records, scales
from settle.books.work import Work
from settle.reckoning import postings
from settle.reckoning.batch import Held, Weighed
from settle.reckoning.exact import ZERO
from settle.reckoning.ledger import Entry
from settle.reckoning.problems import NO_FAULTS, Fault, Faults, Refused
from settle.reckoning.reading import Json, Reader
from settle.reckoning.tables import METALS
from settle.reckoning.terms import Terms
from settle.reckoning.weight import printed

HELD, ENDED = "held", "held_ended"


def keep(work: Work, subject: str, body: Json, faults: Faults) -> records.Record:
    """Keep an estimate of metal that stayed behind, or correct one that nothing posted rests on."""
    metal, held = _read(body, faults)
    # What is found before the account is posted was never held back: its estimate is corrected to nothing.
    if not held.estimate_g and "corrects" not in body and not faults.found:
        faults.add("weight-not-positive", "/estimate", "nothing is held", "an estimate above zero")
    faults.refuse_if_any()
    refuse_reconciled(work, subject, metal)
    records.refuse_other(records.standing(work, subject, HELD, body), "metal", metal)
    data = {k: v for k, v in body.items() if k not in ("corrects", "reason")}
    return records.add(work, subject, HELD, data, body.get("corrects"), body.get("reason"))


def _read(body: Json, faults: Faults) -> tuple[str, Held]:
    r = Reader(body, faults)
    estimate = r.weight("estimate", positive=False)
    u = r.weight("u", ZERO, positive=False)
    r.text("where")
    return r.word("metal", METALS), Held(estimate, u)


def refuse_reconciled(work: Work, subject: str, metal: str) -> None:
    """A metal whose account is posted takes no further entry."""
    posted = lots.reconciled(work, subject).get(metal)
    if posted is not None:
        right = "entries before the reconciliation"
        raise Refused(Fault("something-rests-on-it", "", f"{posted.id} is posted and rests on it", right))


def of(work: Work, subject: str, metal: str) -> list[Held]:
    """Estimates of one metal as the account of a pot takes them; what became of them later is the house's."""
    read = (_read(record.data, NO_FAULTS) for record in records.in_force(work, subject, HELD))
    return [estimate for held_metal, estimate in read if held_metal == metal]


def write_off(work: Work, subject: str, name: str, body: Json, faults: Faults) -> records.Record:
    """An owner's word that it will not come back: the house bears it (H7)."""
    Reader(body, faults).text("reason")
    faults.refuse_if_any()
    metal, estimate = _standing(work, subject, name, in_path=True)
    data = {"held": name, "written_off": True, "reason": body["reason"]}
    record = records.add(work, subject, ENDED, data)
    journal.post(work, postings.held_ended(record.id, subject, metal, estimate.fine_mg, 0))
    return record


def entry_of(work: Work, record: records.Record, terms: Terms) -> Entry:
    """The entry that the end of held metal makes, from the rows alone."""
    kept = records.find(work, record.data["held"])
    if kept is None:
        raise LookupError(f"{record.id} ends what was never held")
    metal, estimate = _read(kept.data, NO_FAULTS)
    back_mg = 0 if record.data["written_off"] else _weighed(work, record.data, terms, NO_FAULTS).fine_mg
    return postings.held_ended(record.id, record.subject, metal, estimate.fine_mg, back_mg)


def came_back(work: Work, subject: str, body: Json, terms: Terms, faults: Faults) -> records.Record:
    """Held metal that came back, weighed and assayed: proved wrong, the estimate moves the house share.

    What falls short of the estimate by more than twice the uncertainty is written off with it, so it
    wants an owner's word. It may correct what was entered of it before. Raises `Refused`: `beyond-balance`.
    """
    r = Reader(body, faults)
    name, word = r.text("held"), owner.word(work, r)
    weighed = _weighed(work, body, terms, faults)
    faults.refuse_if_any()
    old = records.standing(work, subject, ENDED, body)
    records.refuse_other(old, "held", name)
    metal, estimate = _standing(work, subject, name, old)
    if body.get("metal") != metal:
        raise Refused(Fault("contradiction", "/metal", f"{name} holds {metal}", metal))
    if word is None:
        _refuse_short(name, estimate, weighed)
    if old is not None:
        journal.undo_standing(work, old.id, journal.CORRECTED)
    data = {k: v for k, v in body.items() if k not in ("corrects", "reason", "override")}
    data |= {"written_off": False, "override": word}
    record = records.add(work, subject, ENDED, data, body.get("corrects"), body.get("reason"))
    journal.post(work, postings.held_ended(record.id, subject, metal, estimate.fine_mg, weighed.fine_mg))
    return record


def _refuse_short(name: str, estimate: Held, weighed: Weighed) -> None:
    short_g = estimate.estimate_g - weighed.fine_g
    if short_g > 0 and short_g**2 > 4 * (estimate.u_g**2 + weighed.variance):
        wrong = f"{printed(weighed.fine_mg)['g']} g of the {printed(estimate.fine_mg)['g']} g of {name}"
        right = 'all that came back, or an owner\'s word on the rest: "override": {"reason": …}'
        raise Refused(Fault("beyond-balance", "/weight", wrong, right))


def _weighed(work: Work, body: Json, terms: Terms, faults: Faults) -> Weighed:
    r = Reader(body, faults)
    fineness, u = bench.read_fineness(r.object("assay"))
    return Weighed(r.weight("weight"), bench.division(r, terms, scales.known(work)), fineness, u**2)


def _standing(
    work: Work, subject: str, name: str, old: records.Record | None = None, *, in_path: bool = False
) -> tuple[str, Held]:
    """An estimate that is posted with its account and has not ended, but with `old`, which is corrected."""
    found = next((r for r in records.in_force(work, subject, HELD) if r.id == name), None)
    if found is None:
        right = f"the id of metal held under {subject}"
        kind, where = ("not-found", "") if in_path else ("unknown-reference", "/held")
        raise Refused(Fault(kind, where, f'nothing is held as "{name[:20]}"', right))
    ends = (r for r in records.in_force(work, subject, ENDED) if r != old)
    ended = [r.id for r in ends if r.data["held"] == name]
    if ended:
        raise Refused(Fault("wrong-state", "/held", f"it ended with {ended[0]}", "metal that is still held"))
    metal, estimate = _read(found.data, NO_FAULTS)
    # The silver of a batch may be closed by the recovery that its bath went into.
    if metal not in lots.posted_reconciliations(work, subject) | lots.reconciled(work, subject):
        right = "a correction of the estimate, or the reconciliation first"
        raise Refused(Fault("wrong-state", "/held", f"{metal} of {subject} is not reconciled", right))
    return metal, estimate


def still(work: Work, subject: str) -> list[dict[str, Any]]:
    """What is still held under a batch or recovery."""
    ended = {r.data["held"] for r in records.in_force(work, subject, ENDED)}
    there = [r for r in records.in_force(work, subject, HELD) if r.id not in ended]
    return [{"id": r.id, **r.data} for r in there if _read(r.data, NO_FAULTS)[1].fine_mg]
