"""The review of evidence: what lots were read as and assayed to hold, and what came back of batches."""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from typing import Any

from sqlalchemy import Row, select

from settle.books import bench, drifts, lots, quotes, scales, undone
from settle.books import terms as terms_of_business
from settle.books.tables import lots as lots_table
from settle.books.tables import reconciliations, settlements
from settle.books.tables import terms as terms_table
from settle.books.work import Work
from settle.reckoning import review as reviewing
from settle.reckoning.batch import Weighed
from settle.reckoning.exact import ZERO, Exact, shown
from settle.reckoning.history import Account, AssayedLot, assayed_lot
from settle.reckoning.problems import NO_FAULTS, Fault, Refused
from settle.reckoning.reading import Json
from settle.reckoning.review import Judged, Recovery, Review, Worth
from settle.reckoning.terms import Terms

# Newest first: an old history says little of today's clients, and a review should answer in seconds.
MOST_LOTS = 500

METHOD = (
    "Each assayed lot is one equation a metal. Biases by generalised least squares (Aitken), variances by "
    "restricted maximum likelihood (Patterson and Thompson 1971), scales and assays taken off. The proposal "
    f"lets the present terms count as {reviewing.WORTH} lots of history (credibility, Bühlmann 1967); its "
    "shared bears how unsure its bias still is."
)


def review(work: Work, number: str | None = None) -> dict[str, Any]:
    """What the history says against terms (the public ones in force where none are named), what it would
    have them say, and what that would have changed on the last quotes.

    Raises `Refused`: `not-found` where there are no such terms, or none in force.
    """
    terms = _terms(work, number)
    assayed = list(_assayed(work))
    found = reviewing.review(terms, assayed, list(_accounts(work, terms)))
    posted = terms_of_business.shown(work, terms.number) or {}
    asked = {k: v for k, v in posted.items() if k not in ("number", "made_at")}
    proposed = reviewing.proposed_terms(asked, found)
    changed = proposed != asked
    return {
        "terms": terms.number,
        "name": terms.name,
        "lots": found.lots,
        "most_lots": MOST_LOTS,
        "method": METHOD,
        "says": _of_earlier_lots(work, terms, assayed) if changed else [],
        "evidence": [_kind(judged, terms) for judged in found.kinds],
        "marks": [_mark(judged) for judged in found.marks],
        "recoveries": [_recovery(work, of) for of in found.recoveries],
        "recovered_inside_band": _inside_band(work),
        "left_out": [{"lot": lot, "metal": metal, "why": why} for lot, metal, why in found.left_out],
        "far_off": _far_off(found),
        "proposed_terms": proposed if changed else None,
        "last_quotes": _on_last_quotes(work, proposed) if changed else [],
    }


def _terms(work: Work, number: str | None) -> Terms:
    try:
        return terms_of_business.chosen(work, number)
    except Refused as refused:
        # Asked for, not named in a body: what isn't there is not found.
        raise Refused(*(Fault("not-found", "", f.wrong, f.right) for f in refused.faults)) from refused


def _of_earlier_lots(work: Work, terms: Terms, assayed: Sequence[AssayedLot]) -> list[str]:
    """A proposal that was taken over rests on the lots before it: they would count twice in the next."""
    posted = select(terms_table.c.made_at).where(terms_table.c.id == terms.number).scalar_subquery()
    newer = select(lots_table.c.number).where(lots_table.c.made_at > posted)
    since = len(set(work.connection.execute(newer).scalars()) & {of.lot for of in assayed})
    if since == len(assayed) or since >= reviewing.ENOUGH:
        return []
    return [
        f"{since} of the {len(assayed)} lots came in after {terms.number} was posted. If its figures are "
        "from a review, they rest on the others already, and what is proposed here counts those again: "
        f"wait until {reviewing.ENOUGH} lots are new."
    ]


def _assayed(work: Work) -> Iterator[AssayedLot]:
    """The lots that were melted and assayed, newest first, each read under its own terms."""
    known = scales.known(work)
    newest = select(lots_table).order_by(lots_table.c.n.desc())
    there = 0
    for row in work.connection.execute(newest):
        terms = terms_of_business.find(work, row.terms)
        melted, assayed = (of(work, row.number, terms) for of in (bench.melt_of, bench.agreed_of))
        if not isinstance(melted, bench.Melt) or not isinstance(assayed, bench.Assay):
            continue
        # Drillings were of the lot as well: the whole melt is what its items held.
        found = {m: _whole(melted, assayed, m) for m in assayed.found}
        yield assayed_lot(row.number, terms, lots.receipt(work, row.number), known, found)
        there += 1
        if there == MOST_LOTS:
            return


def _whole(melted: bench.Melt, assayed: bench.Assay, metal: str) -> Weighed:
    found = assayed.of(metal)
    return Weighed(melted.weight_g, melted.division_g, found.ppt, found.u2)


def _accounts(work: Work, terms: Terms) -> Iterator[Account]:
    """The posted accounts of the metals that the terms name, newest first."""
    table = reconciliations
    query = select(table).where(~undone.is_undone(table.c.id)).order_by(table.c.n.desc()).limit(MOST_LOTS)
    for row in work.connection.execute(query):
        if row.metal in terms.metals:
            yield _account(work, row)


def _account(work: Work, row: Row[Any]) -> Account:
    document = row.document
    rule = terms_of_business.find(work, document["terms"]).metals[row.metal]
    in_g, residual_g, u_g = drifts.judged(row)
    # What the terms allow from batch to batch is part of u; what is left of it was weighed and assayed.
    measured = u_g**2 - (in_g * rule.recovery_u) ** 2
    return Account(document["subject"], row.metal, in_g, residual_g, max(ZERO, measured), rule.recovery)


def _inside_band(work: Work) -> dict[str, dict[str, int]]:
    """How often R lay inside the band of the quote, by metal, in the settlements that stand (G3)."""
    counts: dict[str, dict[str, int]] = defaultdict(lambda: {"lots": 0, "inside": 0})
    of = settlements.c
    query = select(of.document, of.inputs).where(of.state == "posted").order_by(of.n)
    for row in work.connection.execute(query):
        for metal, inside in (row.document["inside_band"] or {}).items():
            if metal not in row.inputs["sold_before"]:
                counts[metal]["lots"] += 1
                counts[metal]["inside"] += inside
    return dict(counts)


def _kind(judged: Judged, terms: Terms) -> dict[str, Any]:
    return {
        "kind": judged.kind,
        "method": terms.evidence[judged.kind].method,
        **_judged(judged, judged.proposed),
    }


def _mark(judged: Judged) -> dict[str, Any]:
    """A mark is judged against its kind; terms know kinds, so for a mark only its bias is told."""
    return {"kind": judged.kind, "mark": judged.mark, **_judged(judged, judged.proposed)}


def _judged(judged: Judged, proposed: Worth | None) -> dict[str, Any]:
    return {
        "lots": judged.lots,
        "articles": judged.articles,
        "lots_of_several": judged.lots_of_several,
        "held": judged.held,
        "present": _worth(judged.present),
        "found": None if judged.found is None else _worth(judged.found) | {"u": shown(judged.found.u_ppt, 1)},
        "proposed": None if proposed is None else _worth(proposed),
        "says": reviewing.in_words(judged),
    }


def _worth(of: Worth) -> dict[str, str]:
    return {
        "bias": shown(of.bias_ppt, 1),
        "scatter": shown(of.scatter_ppt, 1),
        "shared": shown(of.shared_ppt, 1),
    }


def _recovery(work: Work, of: Recovery) -> dict[str, Any]:
    return {
        "metal": of.metal,
        "accounts": of.accounts,
        "present": _parts(of.present),
        "found": None if of.found is None else _parts(of.found) | {"u": shown(of.found_u, 4)},
        "proposed": None if of.proposed is None else _parts(of.proposed),
        "drift": drifts.of(work, of.metal),
        "says": reviewing.recovery_in_words(of),
    }


def _parts(of: tuple[Exact, Exact]) -> dict[str, str]:
    return {"recovery": shown(of[0], 4), "recovery_u": shown(of[1], 4)}


def _far_off(found: Review) -> list[dict[str, str]]:
    """Lots that even the proposed terms would not have expected: a slip, or something else than it seemed."""
    return [{"lot": lot, "metal": metal, "z": shown(z, 1)} for lot, metal, z in found.far_off]


def _on_last_quotes(work: Work, proposed: Json) -> list[dict[str, Any]]:
    last: list[dict[str, Any]] = quotes.under_new_terms(work, proposed, NO_FAULTS)["last_quotes"]
    return last
