"""Drift: residuals that lean one way for many batches (H5)."""

from typing import Any

from sqlalchemy import Row, select

from settle.books.tables import reconciliations, reversals
from settle.books.work import Work
from settle.reckoning.drift import Drift, Residual, chart, in_words
from settle.reckoning.exact import Exact, shown


def of(work: Work, metal: str) -> dict[str, Any]:
    """The two sums over the posted accounts of a metal, and each drift with where it began."""
    found = chart(residuals(work, metal))
    return {
        "missing": shown(found.standing.missing, 3),
        "over": shown(found.standing.over, 3),
        "drifts": [_shown(metal, drift) for drift in found.drifts],
    }


def residuals(work: Work, metal: str) -> list[Residual]:
    """What each posted account of a metal left unexplained, oldest first."""
    table = reconciliations
    standing = table.c.id.not_in(select(reversals.c.subject))
    query = select(table).where(table.c.metal == metal, standing).order_by(table.c.n)
    return [_residual(row) for row in work.connection.execute(query)]


def _residual(row: Row[Any]) -> Residual:
    _, residual_g, u_g = judged(row)
    return Residual(row.document["subject"], residual_g, u_g)


def judged(row: Row[Any]) -> tuple[Exact, Exact, Exact]:
    """In, residual and its u of a posted account, grams, exact, as its working has them (the u that is
    printed is rounded, A8)."""
    of = next(r for r in row.document["working"] if r["what"].startswith("residual of"))
    return Exact(of["inputs"]["went in"]), Exact(of["exact"]), Exact(of["inputs"]["u"])


def _shown(metal: str, drift: Drift) -> dict[str, str]:
    return {
        "way": drift.way,
        "began_at": drift.began_at,
        "alarm_at": drift.alarm_at,
        "sum": shown(drift.sum, 3),
        "text": in_words(metal, drift),
    }
