"""One account of a lot as printed: its metals, bars, charges and taxes, and what the client gets."""

from collections.abc import Iterable, Mapping
from typing import Any

from settle.reckoning.bars import Bar, Poured
from settle.reckoning.charges import ChargeLine
from settle.reckoning.due import Due, DueCharge, DueTax, due
from settle.reckoning.exact import Exact, plain, shown
from settle.reckoning.money import PLACES, printed_money
from settle.reckoning.statement import MetalAccount, Statement, house_worth_minor, worth_minor
from settle.reckoning.tariff import WEIGHT_BASES, Tax
from settle.reckoning.terms import Terms
from settle.reckoning.weight import places, printed, printed_down

Document = dict[str, Any]


def posted(of: Due) -> Document:
    """What a document that is posted charges, taxes and pays; lines add up to totals (F4)."""
    return _case(of, of.waived_minor, of.net_minor, of.metals)


def whole(of: Statement) -> Document:
    """The whole account of a lot, or of one case of a quote, before anything is waived (F4)."""
    return _case(due(of), 0, of.net_minor, of.metals)


def unvalued(of: Statement) -> Document:
    """A case of items that can't be valued: charges are charges, and there is no net (C4)."""
    answer = whole(of)
    return answer | {"net": None, "client_gets": answer["client_gets"] | {"money": None, "worth": None}}


def _case(of: Due, waived_minor: int, net_minor: int, metals: Mapping[str, MetalAccount]) -> Document:
    terms = of.whole.basis.terms

    def money(minor: int) -> dict[str, str]:
        return printed_money(minor, terms.currency)

    return {
        "metals": {m: _metal(of.whole, m, account) for m, account in metals.items()},
        "charges": [_charge(charge, terms) for charge in of.charges],
        "taxes": [_tax(tax, terms.currency) for tax in of.taxes],
        "payouts_total": money(of.payouts_minor),
        "top_ups_total": money(of.top_ups_minor),
        "charges_total": money(of.charges_minor),
        "tax_total": money(of.tax_minor),
        "advances_total": money(of.advances_minor),
        "fees_total": money(of.fees_minor),
        "waived": money(waived_minor),
        "net": money(net_minor),
        "client_gets": _gets(of.whole, metals, net_minor),
    }


def _gets(of: Statement, metals: Mapping[str, MetalAccount], net_minor: int) -> Document:
    """What the client gets by this document, metal and money, and what that is worth; no worth where no
    metal of it has a price."""
    unit, currency = of.basis.terms.weight_unit, of.basis.terms.currency
    has_worth = any(metal in of.basis.prices for metal in metals)

    def weights(what: str) -> Document:
        found = {m: getattr(account, what) for m, account in metals.items()}
        return {m: printed(mg, unit) for m, mg in found.items() if mg}

    return {
        "bars": [row for m, account in metals.items() for row in _alike(m, account, unit)],
        "shot": weights("shot_mg"),
        "metal_account": weights("account_mg"),
        "drillings": weights("drillings_back_mg"),
        "money": printed_money(net_minor, currency),
        "worth": printed_money(worth_minor(of.basis, metals, net_minor), currency) if has_worth else None,
    }


def _alike(metal: str, account: MetalAccount, unit: str) -> Iterable[Document]:
    """Bars of one weight and fineness, with their number and what they take together."""
    found: dict[tuple[Exact | None, Exact], tuple[int, int]] = {}
    for bar, number in account.placed.runs:
        count, fine_mg = found.get((bar.nominal_g, bar.fineness_ppt), (0, 0))
        found[bar.nominal_g, bar.fineness_ppt] = (count + number, fine_mg + number * bar.takes_mg)
    for (nominal_g, fineness_ppt), (count, fine_mg) in found.items():
        if count:
            yield {
                "metal": metal,
                "nominal": None if nominal_g is None else printed(nominal_g, unit),
                "fineness": plain(fineness_ppt),
                "count": count,
                "fine": printed(fine_mg, unit),
            }


def _metal(of: Statement, metal: str, account: MetalAccount) -> Document:
    terms = of.basis.terms
    unit, currency = terms.weight_unit, terms.currency
    worth = house_worth_minor(of, metal)
    return {
        "recovered": printed(account.recovered_g, unit),
        "drillings": printed(account.drillings_mg, unit),
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
            **stated(bar.poured, unit),
            "gift": printed(bar.gift_mg, unit),
            "stated_below": printed(bar.below_mg, unit),
        }
    return answer


def stated(poured: Poured, unit: str) -> Document:
    """What a poured bar states (A6)."""
    return {
        "stated_weight": printed_down(poured.stated_g, unit),
        "stated_fineness": plain(poured.stated_ppt),
        "stated_fine": printed_down(poured.stated_mg, unit),
    }


def _charge(of: DueCharge, terms: Terms) -> Document:
    """A charge; of a further settlement also the whole lot's, and what of it was charged before (H8)."""
    line, charge = of.line, of.line.charge
    answer: Document = {
        "name": charge.name,
        "base": charge.base,
        "metal": charge.metal,
        "quantity": _quantity(line, line.quantity),
        "per": charge.per,
        "rate": _rate(line, line.rate, terms.currency),
        "minimum_applied": line.minimum_applied,
        "tier": None if line.tier is None else plain(line.tier),
        **_since(line.amount_minor, of.before_minor, terms.currency),
        "amount": printed_money(of.amount_minor, terms.currency),
        "tax": charge.tax,
    }
    if line.parts:
        answer["parts"] = [
            {"quantity": _quantity(line, part), "rate": _rate(line, rate, terms.currency)}
            for part, rate in line.parts
        ]
    return answer


def _since(whole_minor: int, before_minor: int, currency: str) -> Document:
    if not before_minor:
        return {}
    before, of_lot = printed_money(before_minor, currency), printed_money(whole_minor, currency)
    return {"of_lot": of_lot, "charged_before": before}


def _rate(line: ChargeLine, rate: Exact, currency: str) -> str:
    """Money per quantity, or the share of a value."""
    return plain(rate) if line.charge.base == "value" else plain(rate, PLACES[currency])


def _quantity(line: ChargeLine, of: Exact) -> str:
    """A quantity, only shown (A8)."""
    if line.charge.base in WEIGHT_BASES:
        return shown(of, places(line.charge.per or "g"))
    return shown(of, 2) if line.charge.base == "value" else plain(of)


def _tax(of: DueTax, currency: str) -> Document:
    since = _since(of.whole_minor, of.before_minor, currency)
    return tax(of.tax, of.base_minor, of.amount_minor, currency) | since


def tax(of: Tax, base_minor: int, amount_minor: int, currency: str) -> Document:
    """Tax of one code, and the taxed lines added up (F2)."""
    return {
        "code": of.code,
        "class": of.tax_class,
        "rate": plain(of.rate),
        "base": printed_money(base_minor, currency),
        "amount": printed_money(amount_minor, currency),
    }
