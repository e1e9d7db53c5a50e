"""The answer put together: plain JSON, every figure printed by its rule; canonical bytes and hash."""

import hashlib
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import rfc8785

from settle.reckoning.bars import Bar, Poured
from settle.reckoning.batch import Reconciled, in_words
from settle.reckoning.charges import ChargeLine, TaxLine
from settle.reckoning.exact import Exact, plain, shown
from settle.reckoning.item import Item
from settle.reckoning.money import PLACES, Price, printed_money
from settle.reckoning.notices import Notice
from settle.reckoning.price import Prices, binds_price
from settle.reckoning.quote import Quoted
from settle.reckoning.sale import Sale
from settle.reckoning.settlement import Refined, Step, inside_band, metal_found_minor
from settle.reckoning.statement import MetalAccount, Statement, all_in, house_worth_minor
from settle.reckoning.tariff import WEIGHT_BASES
from settle.reckoning.terms import CASES, Terms
from settle.reckoning.weight import places, printed, printed_exactly
from settle.reckoning.working import Working

Document = dict[str, Any]
# What a key with `estimate` alone never sees: the house's margins and its view of its evidence.
HOUSE_ONLY = {"holds", "kept", "kept_worth", "all_in", "fine_u", "working"}


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
        "net_range": {
            name: printed_money(net, terms.currency)
            for name, net in zip(("least", "likely", "greatest"), quoted.net_range, strict=True)
        },
        "bars_covered": {m: quoted.bars_covered(m) for m in quoted.bands},
        "not_accounted_for": _not_accounted_for(quoted),
        "binds": binds(terms),
        "notices": [n.as_json() for n in notices],
    }
    return _with_working(answer, working)


def _with_working(answer: Document, working: Working) -> Document:
    if working.kept:
        answer["working"] = [row.as_json() for row in working.rows]
    return answer


def for_website(document: Any) -> Any:
    """The same document without what belongs to the house alone."""
    if isinstance(document, dict):
        return {k: for_website(v) for k, v in document.items() if k not in HOUSE_ONLY}
    if isinstance(document, list):
        return [for_website(v) for v in document]
    return document


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
    answer = _case(of)
    for metal, band in quoted.bands.items():
        answer["metals"][metal]["fine"] = printed(band.fine_g[case], of.basis.terms.weight_unit)
        answer["metals"][metal]["fine_u"] = printed(band.fine_u_g, of.basis.terms.weight_unit)
    likely = {m: c.likely_g for m, c in quoted.contents.items() if m in quoted.bands}
    return answer | {"all_in": _share(all_in(of, likely))}


def _share(value: Exact | None) -> str | None:
    return None if value is None else shown(value, 3)


def _case(of: Statement) -> Document:
    """One statement as printed; lines add up to totals (F4)."""
    currency = of.basis.terms.currency

    def money(minor: int) -> dict[str, str]:
        return printed_money(minor, currency)

    return {
        "metals": {m: _metal(of, m, account) for m, account in of.metals.items()},
        "charges": [_charge(line, of.basis.terms) for line in of.charges],
        "taxes": [_tax(line, currency) for line in of.taxes],
        "payouts_total": money(of.payouts_minor),
        "top_ups_total": money(of.top_ups_minor),
        "charges_total": money(of.charges_minor),
        "tax_total": money(of.tax_minor),
        "advances_total": money(of.basis.advances_minor),
        "fees_total": money(of.basis.fees_minor),
        "cash_rounding": money(of.cash_rounding_minor),
        "net": money(of.net_minor),
    }


def _metal(of: Statement, metal: str, account: MetalAccount) -> Document:
    terms = of.basis.terms
    unit, currency = terms.weight_unit, terms.currency
    worth = house_worth_minor(of, metal)
    return {
        "recovered": printed(account.recovered_g, unit),
        "accountable": printed(account.accountable_mg, unit),
        "kept": printed(account.kept_mg, unit),
        "kept_worth": None if worth is None else printed_money(worth, currency),
        "bars": [_bar(bar, unit) for bar in account.placed.bars],
        "bars_total": printed(account.placed.total_mg, unit),
        "remainder": printed(account.remainder_mg, unit),
        "sold": printed(account.sold_mg, unit),
        "shot": printed(account.shot_mg, unit),
        "metal_account": printed(account.account_mg, unit),
        "top_up": printed(account.placed.top_up_mg, unit),
        "excess_gift": printed(account.placed.excess_gift_mg, unit),
        "payout": printed_money(account.payout_minor, currency),
        "top_up_cost": printed_money(account.top_up_minor, currency),
    }


def _bar(bar: Bar, unit: str) -> Document:
    answer: Document = {
        "line": bar.line,
        "nominal": None if bar.nominal_g is None else printed(bar.nominal_g, unit),
        "fineness": plain(bar.fineness_ppt),
        "fine": printed(bar.takes_mg, unit),
    }
    if bar.poured is not None:
        answer |= {
            "serial": bar.poured.serial,
            **_stated(bar.poured, unit),
            "gift": printed(bar.gift_mg, unit),
            "stated_below": printed(bar.below_mg, unit),
        }
    return answer


def stated(poured: Poured, terms: Terms) -> Document:
    """What a poured bar states (A6)."""
    return _stated(poured, terms.weight_unit)


def _stated(poured: Poured, unit: str) -> Document:
    return {
        "stated_weight": printed(poured.stated_g, unit),
        "stated_fineness": plain(poured.stated_ppt),
        "stated_fine": printed(poured.stated_mg, unit),
    }


def _charge(line: ChargeLine, terms: Terms) -> Document:
    charge = line.charge
    answer: Document = {
        "name": charge.name,
        "base": charge.base,
        "metal": charge.metal,
        "quantity": _quantity(line, line.quantity),
        "per": charge.per,
        "rate": _rate(line, line.rate, terms.currency),
        "minimum_applied": line.minimum_applied,
        "tier": None if line.tier is None else plain(line.tier),
        "amount": printed_money(line.amount_minor, terms.currency),
        "tax": charge.tax,
    }
    if line.parts:
        answer["parts"] = [
            {"quantity": _quantity(line, part), "rate": _rate(line, rate, terms.currency)}
            for part, rate in line.parts
        ]
    return answer


def _rate(line: ChargeLine, rate: Exact, currency: str) -> str:
    """Money per quantity, or the share of a value."""
    return plain(rate) if line.charge.base == "value" else plain(rate, PLACES[currency])


def _quantity(line: ChargeLine, of: Exact) -> str:
    """A quantity, only shown (A8)."""
    if line.charge.base in WEIGHT_BASES:
        return shown(of, places(line.charge.per or "g"))
    return shown(of, 2) if line.charge.base == "value" else plain(of)


def _tax(line: TaxLine, currency: str) -> Document:
    return {
        "code": line.tax.code,
        "class": line.tax.tax_class,
        "rate": plain(line.tax.rate),
        "base": printed_money(line.base_minor, currency),
        "amount": printed_money(line.amount_minor, currency),
    }


def purchase(quoted: Quoted, final: Statement, notices: Iterable[Notice], working: Working) -> Document:
    """An outright purchase: the items, and the one case that the terms pay (D1)."""
    answer = estimate(quoted, notices, working)
    case = answer["cases"][quoted.request.terms.purchase_case]
    for unbound in ("net_range", "bars_covered", "binds", "parting_silver_needed"):
        del answer[unbound]
    return answer | {"cases": {"final": case}, "net": printed_money(final.net_minor, answer["currency"])}


def settlement(
    refined: Refined,
    final: Statement,
    quoted: Quoted | None,
    steps: Sequence[Step],
    notices: Iterable[Notice],
    working: Working,
) -> Document:
    """The final account of a lot, and why it differs from the quote where there was one."""
    terms = final.basis.terms
    unit = terms.weight_unit
    case = _case(final)
    for metal in final.metals:
        case["metals"][metal]["fine"] = printed(refined.fine_g.get(metal, Exact(0)), unit)
    answer: Document = {
        "terms": terms.number,
        "currency": terms.currency,
        "prices": prices(refined.prices),
        "weights": {
            "gross": printed(refined.gross_g, unit),
            "melt": printed(refined.melt_g, unit),
            "drillings": printed(refined.drillings_g, unit),
        },
        "assay": {m: plain(ppt) for m, ppt in refined.assay_ppt.items()},
        "cases": {"final": case},
        "net": printed_money(final.net_minor, terms.currency),
        "inside_band": dict(inside_band(quoted, refined)) if quoted else {},
        "comparison": comparison(steps, terms.currency) if steps else None,
        "notices": [n.as_json() for n in notices],
    }
    return _with_working(answer, working)


def further(before: Statement, whole: Statement) -> Document:
    """What a further settlement adds to what was posted, line by line (H8)."""
    currency = whole.basis.terms.currency
    old, new = _lines(before), _lines(whole)
    return {
        "lines": [
            {
                "line": name,
                "before": printed_money(old.get(name, 0), currency),
                "whole": printed_money(new.get(name, 0), currency),
                "difference": printed_money(new.get(name, 0) - old.get(name, 0), currency),
            }
            for name in dict.fromkeys([*old, *new])
        ],
        "net": printed_money(whole.net_minor - before.net_minor, currency),
    }


def _lines(of: Statement) -> dict[str, int]:
    """Every line of money of a statement, as it counts towards the net."""
    lines = {f"payout: {m}": a.payout_minor for m, a in of.metals.items() if a.payout_minor}
    lines |= {f"top-up: {m}": -a.top_up_minor for m, a in of.metals.items() if a.top_up_minor}
    lines |= {f"charge: {line.charge.name}": -line.amount_minor for line in of.charges}
    lines |= {f"tax: {line.tax.code}": -line.amount_minor for line in of.taxes}
    rest = {
        "advances": -of.basis.advances_minor,
        "fees": -of.basis.fees_minor,
        "cash rounding": of.cash_rounding_minor,
    }
    return lines | {name: minor for name, minor in rest.items() if minor}


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
        "taxes": [_tax(line, currency) for line in of.taxes],
        "cash_rounding": printed_money(of.rounding_minor, currency),
        "net": printed_money(of.net_minor, currency),
    }
    return _with_working(answer, working)
