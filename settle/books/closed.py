"""Which metals of a lot are closed, and which of them a settlement settles (H8, D1)."""

from typing import Any

from sqlalchemy import Row

from settle.books import bench, lots
from settle.books.work import Work
from settle.reckoning.exact import plain
from settle.reckoning.problems import Fault, Faults, Refused
from settle.reckoning.terms import Terms
from settle.reckoning.weight import in_grams


def to_settle(
    work: Work,
    row: Row[Any],
    terms: Terms,
    melted: bench.Melt,
    found: bench.Assay,
    before: Row[Any] | None,
    wanted: list[str] | None,
) -> tuple[dict[str, Any], list[str]]:
    """R of the metals settled before and of those to be settled now, and the metals still to come.

    `wanted` are those to settle now; all that are closed if None. Raises `Refused`: `metal-not-closed`,
    `wrong-state`.
    """
    closed, still_open = _closed(work, row, terms, melted, found)
    _refuse_stranding(row, terms, closed, still_open)
    recovered = _chosen(row, before, closed, still_open, wanted)
    there = {*closed, *still_open}
    return recovered, [m for m in terms.metals if m in there and m not in recovered]


def _closed(
    work: Work, row: Row[Any], terms: Terms, melted: bench.Melt, found: bench.Assay
) -> tuple[dict[str, Any], list[str]]:
    """R of each metal that is closed (H2, H3, D1), and the metals that the lot holds and are open."""
    posted = lots.posted_reconciliations(work, row.batch)
    disputed = bench.disputed(work, row.number, terms)
    closed: dict[str, Any] = {}
    still_open = []
    for metal, rule in terms.metals.items():
        own = bench.own(melted, found, metal)
        if metal in posted:
            closed[metal] = {"amount": posted[metal].document["credited"][row.number]["g"], "unit": "g"}
        elif rule.settle_on == "assay" and own.fine_mg and metal not in disputed:
            closed[metal] = {"amount": plain(in_grams(own.fine_mg)), "unit": "g"}
        elif own.fine_mg:
            still_open.append(metal)
    if closed or not still_open:
        # What the assay was asked for and found nothing of is settled with the rest, at nothing.
        closed |= {
            m: {"amount": "0", "unit": "g"} for m, ppt in found.ppt.items() if not ppt and m not in closed
        }
    return {m: closed[m] for m in terms.metals if m in closed}, still_open


def _refuse_stranding(row: Row[Any], terms: Terms, closed: dict[str, Any], still_open: list[str]) -> None:
    """Settled on its assay, the metal as it lies is the house's, and the lot can't join a batch any more."""
    waiting = [m for m in still_open if terms.metals[m].settle_on == "outturn"]
    if row.batch is None and closed and waiting:
        wrong = f"{', '.join(waiting)} of {row.number} waits for a batch, which it couldn't join once settled"
        raise Refused(Fault("metal-not-closed", "/lot", wrong, "a batch of it first"))


def _chosen(
    row: Row[Any],
    before: Row[Any] | None,
    closed: dict[str, Any],
    still_open: list[str],
    wanted: list[str] | None,
) -> dict[str, Any]:
    """R of the metals settled before and of those to be settled now."""
    settled = [] if before is None else list(before.inputs["recovered"])
    new = [m for m in closed if m not in settled]
    faults = Faults()
    for i, metal in enumerate(wanted or ()):
        if metal in settled:
            faults.add("wrong-state", f"/metals/{i}", f"{metal} is settled already", "leave it out")
        elif metal not in closed:
            right = f"the reconciliation of {row.batch or 'its batch'} posted for {metal}"
            faults.add("metal-not-closed", f"/metals/{i}", f"{metal} of {row.number} is not closed", right)
    faults.refuse_if_any()
    if not new and still_open:
        names, right = ", ".join(still_open), f"the reconciliation of {row.batch or 'its batch'} posted"
        raise Refused(Fault("metal-not-closed", "/lot", f"{names} of {row.number} not closed yet", right))
    if not new and before is None:
        wrong, right = "by its assay it holds none of the terms' metals", "a lot to settle, or its return"
        raise Refused(Fault("wrong-state", "/lot", wrong, right))
    if not new:
        number = "" if before is None else before.number
        raise Refused(Fault("wrong-state", "/lot", f"{number} settled it", "a lot not settled yet"))
    chosen = {*settled, *(wanted or new)}
    return {m: r for m, r in closed.items() if m in chosen}
