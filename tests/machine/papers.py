"""What a paper says it moves, in whole milligrams and minor units. Imports nothing of the product."""

from collections import Counter
from collections.abc import Mapping
from fractions import Fraction
from typing import Any

Json = dict[str, Any]
# (place, commodity) → amount
Moves = Mapping[tuple[str, str], int]
CURRENCY = "GBP"


def mg(weight: Mapping[str, str]) -> int:
    """Whole milligrams of a weight as an answer prints it."""
    return int(Fraction(weight["g"]) * 1000)


def minor(money: Mapping[str, str]) -> int:
    return int(Fraction(money["amount"]) * 100)


def in_coins(amount: int) -> int:
    """The nearest that coins of five make up; of two that are as near, the one farther from zero (F4)."""
    nearest = (2 * abs(amount) + 5) // 10 * 5
    return nearest if amount > 0 else -nearest


def fine(grams: Fraction, ppt: Fraction) -> int:
    """Milligrams of fine metal, half to even (A2): a gram of one part in a thousand holds one."""
    return round(grams * ppt)


def of_final(paper: Json, client: str, lot: str | None) -> Moves:
    """What a settlement or purchase gives the client, line by line as printed."""
    moved: Counter[tuple[str, str]] = Counter()
    final = paper["cases"]["final"]
    stays = paper.get("drillings_become") in ("credited", "kept")
    for metal, account in final["metals"].items():
        # Drillings that don't go back are the house's, as they lie (H6).
        drillings = mg(account["drillings"]) if stays else 0
        moved["bought", metal] += drillings
        if lot is not None:
            moved[f"{client} lot {lot}", metal] -= mg(account["recovered"])
        for what, place in (("shot", "shot"), ("metal_account", "metal")):
            moved[f"{client} {place}", metal] += mg(account[what])
        moved[f"{client} bars", metal] += sum(mg(bar["stated_fine"]) for bar in account["bars"])
        moved["kept", metal] += mg(account["recovered"]) + drillings - mg(account["accountable"])
    taken = {name: minor(final[f"{name}_total"]) for name in ("charges", "tax", "fees")}
    taken["too small to pay"] = minor(final["waived"])
    moved[f"{client} money", CURRENCY] = minor(final["payouts_total"]) - minor(final["top_ups_total"])
    for place, amount in taken.items():
        moved[place, CURRENCY] += amount
        moved[f"{client} money", CURRENCY] -= amount
    return moved


def added_up(final: Json) -> bool:
    """Whether the printed lines add up to the printed totals, and these to the net (F4)."""
    metals = final["metals"].values()
    totals = {
        "payouts_total": sum(minor(a["payout"]) for a in metals),
        "top_ups_total": sum(minor(a["top_up_cost"]) for a in metals),
        "charges_total": sum(minor(c["amount"]) for c in final["charges"]),
        "tax_total": sum(minor(t["amount"]) for t in final["taxes"]),
    }
    signs = {"payouts_total": 1}
    of_net = (*totals, "advances_total", "fees_total", "waived")
    net = sum(signs.get(name, -1) * minor(final[name]) for name in of_net)
    return net == minor(final["net"]) and all(minor(final[n]) == of for n, of in totals.items())


# What the house gives away in bars of a metal and no more (E4), milligrams: the terms don't say otherwise.
OVER_POUR, STATING_STEP = 50, 10


def not_as_due(account: Json) -> bool:
    """Bars beyond the account by more than an over-pour, or one that states far more, or less, than it takes
    (E4): posted by an owner's word alone."""
    if mg(account["excess_gift"]) > OVER_POUR:
        return True
    return any(
        mg(bar["gift"]) > OVER_POUR + (10 * Fraction(bar["nominal"]["g"]) if bar["nominal"] else 0)
        or mg(bar["stated_below"]) > OVER_POUR + STATING_STEP + 10 * Fraction(bar["fine"]["g"])
        for bar in account["bars"]
    )
