"""Which lots may be refined together (H9)."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from sqlalchemy import Row

from settle.books import bench, holds, lots
from settle.books import terms as terms_of_business
from settle.books.columns import moment_text
from settle.books.work import Work
from settle.reckoning.problems import Fault, Refused
from settle.reckoning.shared import FLAGGED_METALS, Joining, recovery_faults, sharing_faults
from settle.reckoning.terms import Terms


def faults_apart(
    work: Work, there: Sequence[Row[Any]], rows: Sequence[Row[Any]], *, owner_allows: bool
) -> list[Fault]:
    """Every reason why lots may not join those that are in a batch already, by their place among `rows`."""
    found = sharing_faults([joining(work, row, owner_allows=owner_allows) for row in [*there, *rows]])
    return [replace(fault, pointer=_among(fault.pointer, len(there))) for fault in found]


def _among(pointer: str, there: int) -> str:
    """The place of a lot in the request; all of them for a lot that is in the batch already."""
    place = int(pointer.rpartition("/")[2]) - there
    return f"/lots/{place}" if place >= 0 else "/lots"


def refuse_terms_apart(batches: Sequence[tuple[str, Terms]]) -> None:
    """Refuse batches that may not share a silver recovery; each with the terms of its clients' lots."""
    if faults := recovery_faults(batches):
        raise Refused(*faults)


def joining(work: Work, row: Row[Any], *, owner_allows: bool = False) -> Joining:
    """A lot as H9 looks at it; an owner may allow platinum metals (B6)."""
    said = lots.said(work, row.number)
    waits = row.hold_until is not None and work.now < row.hold_until
    return Joining(
        lot=row.number,
        terms=terms_of_business.find(work, row.terms),
        consents=bool(said.get("consents_to_share")),
        refine_alone=bool(said.get("refine_alone")),
        found=flagged(work, row),
        owner_allows_platinum=owner_allows or bool(said.get("owner_allows_platinum")),
        holding_until=moment_text(row.hold_until) if waits else None,
        frozen=holds.order_of(work, row.number) is not None,
        bought=row.client is None,
    )


def flagged(work: Work, row: Row[Any]) -> tuple[str, ...]:
    """Platinum metals that the items or the assay of a lot show (B6)."""
    terms = terms_of_business.find(work, row.terms)
    held = {h.metal for item in lots.items_of(work, row, terms) for h in item.holds if h.likely_ppt}
    found = bench.agreed_of(work, row.number, terms)
    if found is not None:
        held |= {metal for metal, ppt in found.ppt.items() if ppt}
    return tuple(metal for metal in FLAGGED_METALS if metal in held)
