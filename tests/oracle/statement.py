"""D2, E1, E3, E4, F: from what is recovered to the net. Grams exact, money in minor units."""

from fractions import Fraction
from math import ceil, floor

from .charges import charge_amount, taxes_of
from .quantities import (
    grams,
    half_away,
    in_money,
    places,
    shown,
    shown_money,
    to_mg,
    to_minor,
)

NOTHING = Fraction(0)


def statement(
    terms: dict,
    recovered: dict[str, Fraction],
    quantities: dict,
    prices: dict[str, Fraction],
    wishes: dict,
    poured: list[dict] | None = None,
    taken_off: dict | None = None,
    drillings: dict | None = None,
) -> dict:
    """One case. `poured` None: bars are planned. `taken_off`: advances, fees (minor). `drillings`: what
    becomes of them, and their fine metal."""
    taken_off, metals = taken_off or {}, {}
    drillings = drillings or {"become": "kept", "fine": {}}
    for m, r in recovered.items():
        fine = drillings["fine"].get(m, NOTHING)
        answered = r + fine if drillings["become"] == "credited" else r
        metals[m] = divided(terms, m, answered, wishes.get(m, {}), poured_of(poured, m))
        metals[m]["drillings_back"] = fine if drillings["become"] == "returned" else NOTHING
    counts = {m: f.pop("bar_counts") for m, f in metals.items()}
    bars = sum(sum(c) for c in counts.values())
    owed = due(terms, metals, quantities | {"bars": bars}, prices)
    owed["advances"], owed["fees"] = taken_off.get("advances", 0), taken_off.get("fees", 0)
    cover(terms, metals, prices, wishes, owed)
    payouts = {m: payout(terms, m, f["sold"], prices) for m, f in metals.items() if f["sold"]}
    net = sum(payouts.values()) - total_due(owed)
    return owed | {"metals": metals, "payouts": payouts, "net": net, "bar_counts": counts}


def poured_of(poured: list[dict] | None, metal: str) -> list[dict] | None:
    if poured is None:
        return None
    return [bar for bar in poured if bar.get("metal", "gold") == metal]


def accountable(rules: dict, r: Fraction) -> Fraction:
    """D2."""
    if r < weight(rules, "payable_from"):
        return NOTHING
    kept = max(r * (1 - Fraction(rules["accountable"])), weight(rules, "minimum_deduction"))
    return to_mg(max(NOTHING, r - kept))


def weight(rules: dict, name: str) -> Fraction:
    return grams(rules[name]) if name in rules else NOTHING


def divided(terms: dict, metal: str, r: Fraction, wish: dict, poured: list[dict] | None) -> dict:
    """E1, E3, E4: the accountable metal in bars, sold, shot, on account; what is bought to it."""
    a = accountable(terms["metals"][metal], r)
    lines = wish.get("bars", [])
    if poured is None:
        counts, taken = planned_bars(lines, a)
        bought = max(NOTHING, taken - a)
    else:
        counts, taken, bought = poured_bars(lines, poured, a)
    figures = {
        "accountable": a,
        "bars": taken,
        "sold": NOTHING,
        "shot": NOTHING,
        "metal_account": NOTHING,
        "top_up": bought,
        "bar_counts": counts,
    }
    goes_to = {"pay_out": "sold", "shot": "shot", "metal_account": "metal_account"}
    remainder = wish.get("remainder", "pay_out")
    figures[goes_to.get(remainder, "shot")] = max(NOTHING, a - taken)
    return figures


def bar_takes(line: dict) -> Fraction:
    return Fraction(floor(grams(line["nominal"]) * Fraction(line["fineness"])), 1000)


def planned_bars(lines: list[dict], a: Fraction) -> tuple[list[int], Fraction]:
    """E1: how many bars each line gets, and the metal they take."""
    counts, taken = [], NOTHING
    for line in lines:
        left = max(NOTHING, a - taken)
        if line["count"] == "whole":
            counts.append(1 if left else 0)
            taken += left
            continue
        each = bar_takes(line)
        count = left // each
        if line["count"] != "most":
            count = min(count, line["count"])
            bought = line.get("top_up") and count < line["count"] and left > count * each
            count += 1 if bought else 0
        counts.append(int(count))
        taken += count * each
    return counts, taken


def poured_bars(lines: list[dict], poured: list[dict], a: Fraction) -> tuple[list[int], Fraction, Fraction]:
    """E1, E4: each poured bar takes what its line promised, a whole bar what is left; and what of the
    excess is bought: of the first bar of a line with a top-up that no longer fits, if some of it does."""
    counts, taken, bought, left = [], NOTHING, NOTHING, a
    for i, line in enumerate(lines):
        counts.append(sum(bar.get("line", 0) == i for bar in poured))
        for _ in range(counts[-1]):
            if line["count"] == "whole":
                taken, left = taken + left, NOTHING
                continue
            each = bar_takes(line)
            if line.get("top_up") and 0 < left < each:
                bought += each - left
            taken, left = taken + each, max(NOTHING, left - each)
    return counts, taken, bought


def due(terms: dict, metals: dict, quantities: dict, prices: dict[str, Fraction]) -> dict:
    """F1, F2 and the top-ups (E4), in minor units."""
    currency = terms["currency"]
    charges, lines = {}, []
    for charge in terms.get("charges", []):
        amount = charge_amount(charge, metals, quantities, prices, currency)
        if amount:
            charges[charge["name"]] = amount
            lines.append((charge.get("tax"), amount))
    top_ups = {}
    for m, f in metals.items():
        if f["top_up"]:
            rules = terms["metals"][m]
            rate = Fraction(rules.get("top_up_rate", "1"))
            top_ups[m] = to_minor(f["top_up"] * prices[m] * rate, currency)
            if top_ups[m]:
                lines.append((rules.get("top_up_tax"), top_ups[m]))
    taxes = taxes_of(terms.get("taxes", {}), lines)
    return {"charges": charges, "top_ups": top_ups, "taxes": taxes}


def total_due(owed: dict) -> int:
    lines = sum(sum(owed[group].values()) for group in ("charges", "top_ups", "taxes"))
    return lines + owed["advances"] + owed["fees"]


def payout(terms: dict, metal: str, sold: Fraction, prices: dict[str, Fraction]) -> int:
    """F3."""
    rate = Fraction(terms["metals"][metal]["payout_rate"])
    return to_minor(sold * prices[metal] * rate, terms["currency"])


def cover(terms: dict, metals: dict, prices: dict, wishes: dict, owed: dict) -> None:
    """E3: sells of the covering metal the least milligrams that leave the net not below zero."""
    covering = [m for m in metals if wishes.get(m, {}).get("remainder") == "cover_charges"]
    if not covering:
        return
    metal = covering[0]
    others = sum(payout(terms, m, f["sold"], prices) for m, f in metals.items() if f["sold"])
    missing = total_due(owed) - others
    left = metals[metal]["shot"]
    if missing <= 0 or not left:
        return
    rate = prices[metal] * Fraction(terms["metals"][metal]["payout_rate"])
    per_mg = rate / 1000 * 10 ** places(terms["currency"])
    least = ceil((missing - Fraction(1, 2)) / per_mg) if per_mg else left * 1000
    sold = min(left, Fraction(least, 1000))
    metals[metal]["sold"], metals[metal]["shot"] = sold, left - sold


def in_coins(terms: dict, open_minor: int) -> int:
    """F4: the cash that closes an open amount, where the terms have a step."""
    step = to_minor(Fraction(terms["cash_step"]), terms["currency"])
    return half_away(Fraction(open_minor, step)) * step


def waived(terms: dict, net: int) -> int:
    """F4: a net to post that is smaller than what is paid at least."""
    least = to_minor(Fraction(terms.get("least_paid", "0")), terms["currency"])
    return net if abs(net) < least else 0


def worth(terms: dict, figures: dict, prices: dict[str, Fraction]) -> Fraction:
    """Metal returned, poured or credited, at spot, and the net."""
    total = in_money(figures["net"], terms["currency"])
    for metal, f in figures["metals"].items():
        got = f["bars"] + f["shot"] + f["metal_account"] + f["drillings_back"]
        total += got * prices[metal] if got else 0
    return total


SHOWN = ["accountable", "bars", "sold", "shot", "metal_account", "top_up"]


def printed(terms: dict, figures: dict) -> dict:
    """An estimate's case as it is printed."""
    answer = printed_money(terms, figures)
    for metal, f in figures["metals"].items():
        answer["metals"][metal]["fine"] = shown(f["fine"], 3)
        answer["metals"][metal]["recovered"] = shown(f["R"], 3)
    return answer | {"bar_counts": figures["bar_counts"]}


def printed_money(terms: dict, figures: dict) -> dict:
    currency = terms["currency"]

    def lines(group: str) -> dict[str, str]:
        return {name: shown_money(amount, currency) for name, amount in figures[group].items()}

    return {
        "metals": {m: {k: shown(f[k], 3) for k in SHOWN} for m, f in figures["metals"].items()},
        "payouts": lines("payouts"),
        "top_ups": lines("top_ups"),
        "charges": lines("charges"),
        "charges_total": shown_money(sum(figures["charges"].values()), currency),
        "taxes": lines("taxes"),
        "tax_total": shown_money(sum(figures["taxes"].values()), currency),
        "net": shown_money(figures["net"], currency),
    }
