"""Melting and assaying a lot: the weight that governs from then on, and what it was found to be."""

from typing import Any

from sqlalchemy import Row

from settle.books import bench, holds, journal, lots, owner, records, scales
from settle.books import terms as terms_of_business
from settle.books.columns import moment_text
from settle.books.work import Work
from settle.reckoning import notices, postings
from settle.reckoning.exact import ZERO, Exact
from settle.reckoning.item import Scale
from settle.reckoning.notices import Notice
from settle.reckoning.problems import Fault, Faults, Refused
from settle.reckoning.proof import read_method
from settle.reckoning.reading import Json, Reader
from settle.reckoning.statement import HOUSE
from settle.reckoning.weight import printed


def melt(work: Work, lot: str, body: Json, faults: Faults) -> dict[str, Any]:
    """Record the melt weight, or correct it while nothing posted rests on it.

    Raises `Refused`: `not-accepted`, `holding-period`, `wrong-state`.
    """
    row = lots.row_of(work, lot)
    terms = terms_of_business.find(work, row.terms)
    known = scales.known(work)
    read = bench.read_melt(body, terms, known, faults)
    faults.refuse_if_any()
    _refuse_melt(work, row, body)
    told = weighing_notices(work, body, read.weight_g, known)
    if read.weight_g > sum((i.gross_g for i in lots.items_of(work, row, terms)), ZERO):
        told.append(notices.heavier_than_received())
    told += notices.far_lighter(sum((i.net_g for i in lots.items_of(work, row, terms)), ZERO), read.weight_g)
    return _kept(work, row, bench.MELT, body, told)


def _refuse_melt(work: Work, row: Row[Any], body: Json) -> None:
    holds.refuse_returned(work, row)
    holds.refuse_frozen(work, row.number)
    if not lots.is_accepted(work, row):
        right = "an accepted quote, or an acceptance in the lot's instructions"
        raise Refused(Fault("not-accepted", "", "nobody said yes to melting it", right))
    if row.hold_until is not None and work.now < row.hold_until:
        until = moment_text(row.hold_until)
        raise Refused(Fault("holding-period", "", f"it runs until {until}", "a melt after that"))
    _refuse_second(work, row, bench.MELT, body)


def _refuse_second(work: Work, row: Row[Any], kind: str, body: Json, party: str | None = None) -> None:
    standing = [r for r in records.in_force(work, row.number, kind) if r.data.get("party") == party]
    if party is not None:
        records.refuse_other(records.standing(work, row.number, kind, body), "party", party)
    if body.get("corrects") is not None:
        lots.refuse_if_posted(work, row, (_said_otherwise(standing, body) or None) if party else None)
    elif standing:
        wrong = f"{standing[-1].id} stands already"
        raise Refused(Fault("wrong-state", "", wrong, f'"corrects": "{standing[-1].id}" with a reason'))


def _said_otherwise(standing: list[records.Record], body: Json) -> set[str]:
    """The metals of which a corrected assay says something else."""
    old, new = (standing[-1].data["finenesses"] if standing else {}), body["finenesses"]
    return {metal for metal in {*old, *new} if old.get(metal) != new.get(metal)}


def _kept(work: Work, row: Row[Any], kind: str, body: Json, told: list[Notice]) -> dict[str, Any]:
    data = {k: v for k, v in body.items() if k not in ("corrects", "reason")}
    record = records.add(work, row.number, kind, data, body.get("corrects"), body.get("reason"))
    if row.batch is not None:
        # Its metal stands in the batch as weighed and assayed before.
        post_own(work, row.number)
    shown = lots.shown(work, row.number)
    return shown | {"entry": record.id, "notices": [n.as_json() for n in told]}


def weighing_notices(work: Work, body: Json, weight_g: Exact, known: dict[str, Scale]) -> list[Notice]:
    """A reading below the minimum load of its scale, or past its verification, is told of, not refused."""
    if not weight_g:
        return []  # nothing was weighed: an entry is struck out
    scale = known.get(str(body.get("scale")))
    light = [notices.light_load(scale, weight_g)] if scale and weight_g < scale.min_g else []
    return [*light, *notices.of_verification([scale], work.now.date())]


def assay(work: Work, lot: str, body: Json, faults: Faults) -> dict[str, Any]:
    """Record a party's assay of the melted lot, or correct it while nothing posted rests on it (D3)."""
    row = lots.row_of(work, lot)
    r = Reader(body, faults)
    party = r.word("party", bench.PARTIES)
    read_method(r)
    bench.read_assay(r)
    faults.refuse_if_any()
    holds.refuse_returned(work, row)
    if not records.in_force(work, lot, bench.MELT):
        raise Refused(Fault("wrong-state", "", "it is not melted yet", "a melt weight first"))
    if party != HOUSE:
        lots.refuse_if_posted(work, row, body["finenesses"])
        _refuse_no_exchange(work, row, body)
    _refuse_second(work, row, bench.ASSAY, body, party)
    return _kept(work, row, bench.ASSAY, body, [])


def _refuse_no_exchange(work: Work, row: Row[Any], body: Json) -> None:
    """Terms without a splitting limit for a metal know no exchange of its assays (D3)."""
    terms = terms_of_business.find(work, row.terms)
    faults = Faults()
    for metal in body["finenesses"]:
        if metal not in terms.metals or terms.metals[metal].splitting_limit_ppt is None:
            right = "terms with a splitting_limit for it"
            faults.add("contradiction", f"/finenesses/{metal}", "these terms exchange no assays of it", right)
    faults.refuse_if_any()


def post_own(work: Work, lot: str) -> None:
    """The lot's own metal, as assayed, into its batch; what an older entry had put there is undone."""
    row = lots.row_of(work, lot)
    terms = terms_of_business.find(work, row.terms)
    melted, assayed = bench.melt_of(work, lot, terms), bench.agreed_of(work, lot, terms)
    document = own_document(row.batch, lot)
    journal.undo_standing(work, document, "weighed or assayed again")
    if melted and assayed:
        own_mg = {m: bench.own(melted, assayed, m).fine_mg for m in terms.metals}
        source = lots.source_of(work, row)
        beyond_mg = {} if row.client else _beyond(work, row, source, own_mg)
        journal.post(work, postings.lot_in(document, row.batch, source, lot, own_mg, beyond_mg))


def _beyond(work: Work, row: Row[Any], source: str, own_mg: dict[str, int]) -> dict[str, int]:
    """What metal of the house's own is assayed above what the books have of it. It must be there before it
    goes into a batch; but what was bought low, or unseen in it, is the house's by an owner's word."""
    beyond = {}
    for metal, mg in own_mg.items():
        there = max(0, journal.balance(work, source, metal))
        if mg > there:
            beyond[metal] = mg - there
            if not owner.said_of(work, row.batch, row.number):
                wrong = f"{printed(mg)['g']} g of fine {metal}, and {source} has {printed(there)['g']} g"
                right = 'metal that was bought or entered as stock, or an owner\'s "override"'
                raise Refused(Fault("not-in-stock", "", wrong, right))
    return beyond


def own_document(batch: str, lot: str) -> str:
    """The name under which a lot's metal in a batch stands in the journal."""
    return f"{batch}/{lot}"
