"""Drillings taken for assay: whose they are, what becomes of them, and whether they are still owed (H6)."""

from datetime import datetime
from typing import Any

from sqlalchemy import Row

from settle.books import bench, holds
from settle.books.work import Work
from settle.reckoning.statement import HOUSE
from settle.reckoning.terms import KEPT, RETURNED, Terms
from settle.reckoning.weight import printed


def shown(work: Work, row: Row[Any], terms: Terms) -> dict[str, Any] | None:
    """What was taken of a lot and not melted in again; none where nothing was."""
    melted = bench.melt_of(work, row.number, terms)
    if melted is None or not melted.drillings_g:
        return None
    whose = HOUSE if row.client is None else melted.drillings_whose
    become = KEPT if whose == HOUSE else terms.drillings
    gone = holds.is_returned(work, row.number) or bool(holds.returns(work, row.number, holds.DRILLINGS))
    return {
        "weight": printed(melted.drillings_g, terms.weight_unit),
        "whose": whose,
        "become": become,
        "owed": become == RETURNED and not gone,
    }


def kept_until(terms: Terms, settled_at: datetime) -> datetime:
    """Until when the house keeps the client's drillings, for an assay that may be asked for again."""
    until: datetime = settled_at + terms.sample_period
    return until
