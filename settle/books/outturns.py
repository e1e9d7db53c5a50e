"""Metal that came out of a batch or a silver recovery, weighed and assayed."""

from collections.abc import Sequence

from sqlalchemy import select

from settle.books import bench, held, journal, melts, owner, records, scales
from settle.books.columns import Member
from settle.books.tables import bars
from settle.books.work import Work
from settle.reckoning import postings
from settle.reckoning.batch import Weighed
from settle.reckoning.exact import Exact
from settle.reckoning.item import Scale
from settle.reckoning.notices import ACIDS, Notice
from settle.reckoning.problems import NO_FAULTS, Fault, Faults, Refused
from settle.reckoning.proof import least_claimed, look_at_proof
from settle.reckoning.reading import Json, Kept, Reader
from settle.reckoning.tables import METALS
from settle.reckoning.terms import Terms
from settle.reckoning.weight import printed

OUTTURN = "outturn"


def look_at_metal(terms: Terms, metal: str, faults: Faults) -> None:
    """Leave a fault where the terms don't account for a metal: it would stay in process for ever."""
    if metal not in terms.metals and not faults.found:
        right = "one of " + ", ".join(terms.metals)
        faults.add("unknown-metal", "/metal", f"the terms don't account for {metal}", right)


def take(
    work: Work, subject: str, of_lots: Sequence[Terms], body: Json, faults: Faults
) -> tuple[str, list[Notice]]:
    """Record an outturn, correct one, or bring back what was held; its id and notices.

    Bars of it state their fineness under the terms of each lot, those that govern the pot first. A
    correction to a weight of nothing strikes out what never came out. Raises `Refused`: `unknown-metal`,
    `something-rests-on-it`.
    """
    known, terms = scales.known(work), of_lots[0]
    metal, out = read(body, terms, known, faults)
    look_at_metal(terms, metal, faults)
    told = [ACIDS, *melts.weighing_notices(work, body, out.weight_g, known)]
    bench.refuse_nothing(body, out.weight_g, faults)
    # No bar is of what came back of held metal: its assay names a method, and is bound by no least u.
    assay = Reader(body, faults).object("assay")
    _, u = bench.read_fineness(assay)
    look_at_proof(assay, u, () if "held" in body else of_lots)
    if "held" in body:
        record = held.came_back(work, subject, body, terms, faults)
        _refuse_missing(work, metal, 0)
        return record.id, told
    if owner.word(work, Reader(body, faults)) is not None:
        right = "leave it out; it lets held metal come back short of its estimate"
        faults.add("contradiction", "/override", "there is nothing to override", right)
    faults.refuse_if_any()
    held.refuse_reconciled(work, subject, metal)
    old = records.standing(work, subject, OUTTURN, body)
    records.refuse_other(old, "metal", metal)
    if old is not None:
        _refuse_poured(work, old)
        journal.undo_standing(work, old.id, journal.CORRECTED)
        _refuse_missing(work, metal, out.fine_mg)
    data = {k: v for k, v in body.items() if k not in ("corrects", "reason")}
    record = records.add(work, subject, OUTTURN, data, body.get("corrects"), body.get("reason"))
    journal.post(work, postings.came_out(record.id, subject, metal, out.fine_mg))
    return record.id, told


def read(body: Json, terms: Terms, known: dict[str, Scale], faults: Faults) -> tuple[str, Weighed]:
    """The metal of an outturn, and what was weighed and assayed."""
    r = Reader(body, faults)
    fineness, u = bench.read_fineness(r.object("assay"))
    weight = r.weight("weight", positive=False)
    return r.word("metal", METALS), Weighed(weight, bench.division(r, terms, known), fineness, u**2)


def _refuse_poured(work: Work, old: records.Record) -> None:
    # Bars of silver may be of what came out of a recovery: they name the outturn that they are of.
    of_it = Member(bars.c.data, "outturn") == old.id
    poured = select(bars.c.serial).where(of_it, bars.c.state != "withdrawn")
    if serial := work.connection.execute(poured).scalar():
        raise Refused(
            Fault("something-rests-on-it", "", f"{serial} was poured from it", "withdraw that first")
        )


def _refuse_missing(work: Work, metal: str, fine_mg: int) -> None:
    """What left the stock since can't never have come out."""
    there = journal.balance(work, postings.STOCK, metal)
    if there + fine_mg < 0:
        wrong = f"{printed(-there)['g']} g of it left the stock since"
        right = "what was poured or lent undone first"
        raise Refused(Fault("something-rests-on-it", "/weight", wrong, right))


def of(work: Work, subject: str, metal: str, terms: Terms) -> list[tuple[str, Weighed]]:
    """What came out of one metal: entry and weighing."""
    known = scales.known(work)
    found = [(r.id, *read(r.data, terms, known, NO_FAULTS)) for r in records.in_force(work, subject, OUTTURN)]
    return [(entry, out) for entry, of_metal, out in found if of_metal == metal and out.weight_g]


def assayed(work: Work, entry: str, terms: Terms) -> tuple[Exact, Exact]:
    """Fineness and u of an outturn, parts per thousand: what is poured of it is stated by them (A6), and by
    no less u than the terms of whom it is poured for let its method claim."""
    found = records.find(work, entry)
    if found is None:
        raise LookupError(f"no outturn {entry}")
    assay = Kept(found.data).object("assay")
    fineness, u = bench.read_fineness(assay)
    return fineness, least_claimed(terms, assay.data.get("method"), u)


def any_of(work: Work, subject: str) -> bool:
    """Whether anything came out yet: from then on the way of sharing stands."""
    return any(bench.is_something(r.data) for r in records.in_force(work, subject, OUTTURN))
