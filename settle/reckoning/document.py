"""The answer put together: plain JSON, every figure printed by its rule; canonical bytes and hash."""

import hashlib
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import rfc8785

from settle.reckoning import case as printed_case
from settle.reckoning.bars import Poured
from settle.reckoning.batch import Reconciled, in_words
from settle.reckoning.case import Document
from settle.reckoning.comparison import Step, metal_found_minor
from settle.reckoning.due import Due
from settle.reckoning.exact import Exact, plain, shown
from settle.reckoning.item import Item
from settle.reckoning.money import PLACES, Price, printed_money
from settle.reckoning.notices import Notice
from settle.reckoning.price import Prices, binds_price
from settle.reckoning.quote import Quoted
from settle.reckoning.sale import Sale
from settle.reckoning.settlement import Refined, inside_band
from settle.reckoning.statement import all_in
from settle.reckoning.terms import CASES, Terms
from settle.reckoning.weight import printed, printed_exactly
from settle.reckoning.working import Working

# Why something is in no worth (C4).
NOT_VALUED = ON_ASSAY_ONLY, NOT_ACCOUNTED_FOR, NO_PRICE = ("on_assay_only", "not_accounted_for", "no_price")


def canonical(document: Any) -> bytes:
    """The canonical bytes of JSON-shaped data (RFC 8785). `ValueError` for NaN and huge integers."""
    return rfc8785.dumps(document)


def digest(document: Mapping[str, Any]) -> str:
    """SHA-256 of the canonical bytes, in hexadecimal."""
    return hashlib.sha256(canonical(document)).hexdigest()


def estimate(quoted: Quoted, notices: Iterable[Notice], working: Working) -> Document:
    """An estimate: three cases side by side, what it binds, notices, working."""
    request = quoted.request
    terms = request.terms
    answer: Document = {
        "terms": terms.number,
        "currency": terms.currency,
        "prices": prices(request.prices),
        "items": [item(i, terms) for i in request.items],
        "parting_silver_needed": printed(quoted.need.weight_g, terms.weight_unit),
        "cases": {case: _quoted_case(quoted, case) for case in CASES},
        "net_range": _range(quoted.net_range, terms.currency) if quoted.is_valued else None,
        "worth_range": _range(quoted.worth_range, terms.currency) if quoted.has_worth else None,
        "worth_refining": quoted.worth_refining,
        "not_valued": _not_valued(quoted),
        "bars_covered": {m: quoted.bars_covered(m) for m in quoted.bands},
        "not_accounted_for": _not_accounted_for(quoted),
        "binds": binds(terms),
        "notices": [n.as_json() for n in notices],
    }
    return _with_working(answer, working)


def _range(of: tuple[int, int, int], currency: str) -> Document:
    names = ("least", "likely", "greatest")
    return {name: printed_money(minor, currency) for name, minor in zip(names, of, strict=True)}


def _not_valued(quoted: Quoted) -> list[Document]:
    """What is in no worth, and why: items by their place in the list, metals by name (C4)."""
    unread = [i for i, item in enumerate(quoted.request.items) if not item.holds]
    others = [m for m in quoted.contents if m not in quoted.bands]
    return [
        *({"item": i, "metal": None, "reason": ON_ASSAY_ONLY} for i in unread),
        *({"item": None, "metal": m, "reason": NOT_ACCOUNTED_FOR} for m in others),
        *({"item": None, "metal": m, "reason": NO_PRICE} for m in quoted.unpriced),
    ]


def _with_working(answer: Document, working: Working) -> Document:
    if working.kept:
        answer["working"] = [row.as_json() for row in working.rows]
    return answer


def binds(terms: Terms) -> Document:
    """What a quote under these terms binds, and what it doesn't (D5)."""
    bound = ["charges", "price"] if binds_price(terms) else ["charges"]
    free = ["weight", "fineness", "recovery"] + ([] if binds_price(terms) else ["price"])
    limit = terms.void_if_moved
    return {
        "binds": bound,
        "does_not_bind": free,
        "price_time": terms.price_time,
        "void_if_moved": None if limit is None else plain(limit),
    }


def prices(of: Prices) -> Document:
    return {metal: price(p) for metal, p in of.items()}


def price(p: Price) -> Document:
    answer = {"amount": plain(p.amount, PLACES[p.currency]), "currency": p.currency, "per": p.per}
    return answer if p.entry is None else answer | {"entry": p.entry}


def item(of: Item, terms: Terms) -> Document:
    """What one line weighs, and what it is reckoned to hold."""
    unit = terms.weight_unit
    return {
        "description": of.description,
        "stamped": of.stamped,
        "evidence": of.evidence.name,
        "count": of.count,
        "gross": printed(of.gross_g, unit),
        "net": printed(of.net_g, unit),
        "filled_part": plain(of.filled_part),
        "on_assay_only": not of.holds,
        "holds": {
            h.metal: {"fineness": shown(h.likely_ppt, 1), "fine": printed(of.fine_g(h), unit)}
            for h in of.holds
        },
    }


def _not_accounted_for(quoted: Quoted) -> Document:
    unit = quoted.request.terms.weight_unit
    return {m: printed(c.likely_g, unit) for m, c in quoted.contents.items() if m not in quoted.bands}


def _quoted_case(quoted: Quoted, case: str) -> Document:
    of = quoted.cases[case]
    answer = printed_case.whole(of) if quoted.is_valued else printed_case.unvalued(of)
    for metal, band in quoted.bands.items():
        answer["metals"][metal]["fine"] = printed(band.fine_g[case], of.basis.terms.weight_unit)
        answer["metals"][metal]["fine_u"] = printed(band.fine_u_g, of.basis.terms.weight_unit)
    likely = {m: c.likely_g for m, c in quoted.contents.items() if m in quoted.bands}
    share = all_in(of, likely)
    return answer | {"all_in": None if share is None else shown(share, 3)}


def stated(poured: Poured, terms: Terms) -> Document:
    """What a poured bar states (A6)."""
    return printed_case.stated(poured, terms.weight_unit)


def purchase(quoted: Quoted, notices: Iterable[Notice], working: Working) -> Document:
    """An outright purchase: the items, and the one case that the terms pay (D1)."""
    answer = estimate(quoted, notices, working)
    case = answer["cases"][quoted.request.terms.purchase_case]
    of_a_quote = ("net_range", "worth_range", "worth_refining", "bars_covered", "binds")
    kept = {k: v for k, v in answer.items() if k not in (*of_a_quote, "parting_silver_needed")}
    return kept | {"cases": {"final": case}} | _due(case)


def settlement(
    refined: Refined,
    final: Due,
    quoted: Quoted | None,
    steps: Sequence[Step],
    notices: Iterable[Notice],
    working: Working,
) -> Document:
    """The account of a lot, for the metals that it settles, and why all of it differs from the quote
    where there was one. Of a further settlement the whole lot's account stands beside it (H8)."""
    terms = final.whole.basis.terms
    unit = terms.weight_unit
    case = _with_fine(printed_case.posted(final), refined, unit)
    become = final.whole.basis.drillings.become if refined.drillings_g else None
    answer: Document = {
        "terms": terms.number,
        "currency": terms.currency,
        "prices": prices(refined.prices),
        "weights": {
            "gross": printed(refined.gross_g, unit),
            "melt": printed(refined.melt_g, unit),
            "drillings": printed(refined.drillings_g, unit),
        },
        "drillings_become": become,
        "assay": {m: plain(ppt) for m, ppt in refined.assay_ppt.items()},
        "cases": {"final": case},
        **_due(case),
        "whole": _with_fine(printed_case.whole(final.whole), refined, unit) if final.before.metals else None,
        "inside_band": dict(inside_band(quoted, refined)) if quoted else {},
        "comparison": comparison(steps, terms.currency) if steps else None,
        "notices": [n.as_json() for n in notices],
    }
    return _with_working(answer, working)


def _with_fine(case: Document, refined: Refined, unit: str) -> Document:
    for metal, account in case["metals"].items():
        account["fine"] = printed(refined.fine_g.get(metal, Exact(0)), unit)
    return case


def _due(case: Document) -> Document:
    """What is due by a document, where a till looks first."""
    return {name: case[name] for name in ("charges_total", "tax_total", "net")}


def comparison(steps: Sequence[Step], currency: str) -> Document:
    """Settlement against quote (G2): the steps add up to the difference."""
    return {
        "steps": [
            {
                "step": step.name,
                "worth": printed_money(step.worth_minor, currency),
                "difference": printed_money(step.difference_minor, currency),
                "sentence": step.sentence,
            }
            for step in steps
        ],
        "metal_found": printed_money(metal_found_minor(steps), currency),
        "difference": printed_money(steps[-1].worth_minor - steps[0].worth_minor, currency),
    }


def reconciliation(
    account: Reconciled,
    lots: Sequence[str],
    terms: Terms,
    notices: Iterable[Notice],
    working: Working,
) -> Document:
    """The account of one metal of a batch (H4, H7)."""
    unit, rule = terms.weight_unit, terms.metals[account.metal]
    answer: Document = {
        "metal": account.metal,
        "terms": terms.number,
        "in": printed(account.in_mg, unit),
        "own": {lot: printed(mg, unit) for lot, mg in zip(lots, account.own_mg, strict=True)},
        "lent": printed(account.lent_mg, unit),
        "out": printed(account.out_mg, unit),
        "held": printed(account.held_mg, unit),
        "recovery": plain(rule.recovery),
        "expected_loss": printed_exactly(account.expected_loss_g, unit),
        "residual": printed_exactly(account.residual_g, unit),
        "residual_u": printed(account.u_g, unit),
        "balance": None if rule.balance is None else plain(rule.balance),
        "verdict": account.verdict,
        "verdict_in_words": in_words(account),
        "credited": {lot: printed(mg, unit) for lot, mg in zip(lots, account.shares.lots_mg, strict=True)},
        "house_share": printed(account.shares.house_mg, unit),
        "notices": [n.as_json() for n in notices],
    }
    return _with_working(answer, working)


def sale(of: Sale, working: Working) -> Document:
    """Metal sold outside a settlement: at which price and rate, tax by code, and what changes hands."""
    terms, currency = of.terms, of.terms.currency
    answer: Document = {
        "terms": terms.number,
        "metal": of.metal,
        "fine": printed(of.fine_mg, terms.weight_unit),
        "price": price(of.price),
        "rate": plain(of.rate),
        "value": printed_money(of.value_minor, currency),
        "taxes": [
            printed_case.tax(line.tax, line.base_minor, line.amount_minor, currency) for line in of.taxes
        ],
        "tax_total": printed_money(of.tax_minor, currency),
        "net": printed_money(of.net_minor, currency),
    }
    return _with_working(answer, working)
