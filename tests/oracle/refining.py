"""H: parting silver, and whose metal came back. Grams."""

from fractions import Fraction

from .quantities import grams, parts, root, shown, to_mg, unrounded, within

NOTHING = Fraction(0)


def needed(terms: dict, fine_gold: Fraction, melt: Fraction) -> Fraction:
    """H1: weight of house silver, exact."""
    if terms.get("metals", {}).get("gold", {}).get("settle_on") == "counter":
        return NOTHING
    target = Fraction(terms.get("parting_target", "0.25"))
    gold_fraction = Fraction(house_silver(terms)["gold"]) / 1000
    return max(NOTHING, (fine_gold - target * melt) / (target - gold_fraction))


def needed_fine(terms: dict, need: Fraction) -> Fraction:
    return need * Fraction(house_silver(terms)["fineness"]) / 1000


def house_silver(terms: dict) -> dict:
    return {"fineness": "1000", "gold": "0"} | terms.get("house_silver", {})


def undrilled(lot: dict) -> Fraction:
    return Fraction(lot["melt"]) - Fraction(lot.get("drillings", "0"))


def own(lot: dict, metal: str) -> Fraction:
    return undrilled(lot) * Fraction(lot.get(metal, "0")) / 1000


def lot_need(case: dict, lot: dict) -> Fraction:
    """H1 on the lot's own figures."""
    return needed(case, own(lot, "gold"), undrilled(lot))


def lent_weight(case: dict) -> Fraction:
    return grams(case["silver_lent"]["weight"]) if "silver_lent" in case else NOTHING


def fine_of(weighed: dict) -> Fraction:
    return grams(weighed["weight"]) * Fraction(weighed["fineness"]) / 1000


def came_back(case: dict, metal: str, rounding) -> Fraction:
    """Weighed out and held in process at its estimate."""
    back = rounding(fine_of(case[f"{metal}_out"]))
    if f"{metal}_held" in case:
        back += rounding(grams(case[f"{metal}_held"]))
    return back


def exact_parts(whole: Fraction, weights: list[Fraction]) -> list[Fraction]:
    """Parts of a whole with A5 left off."""
    total = sum(weights)
    return [whole * w / total if total else NOTHING for w in weights]


def shares(case: dict, metal: str, exact: bool = False) -> list[Fraction]:
    """H2: the lots' shares of a metal but silver; the house's gold is one more lot, last."""
    rounding, split = (unrounded, exact_parts) if exact else (to_mg, parts)
    owns = [rounding(own(lot, metal)) for lot in case["lots"]]
    lent = Fraction(house_silver(case)["gold"]) / 1000 if metal == "gold" else NOTHING
    house = rounding(lent_weight(case) * lent)
    given = split(came_back(case, metal, rounding), [*owns, house])
    return [min(mine, part) for mine, part in zip(owns, given, strict=False)]


def silver(case: dict, rule: str, exact: bool = False) -> dict:
    """H3: `rule` house_first, pro_rata or settle_on_assay."""
    rounding, split = (unrounded, exact_parts) if exact else (to_mg, parts)
    owns = [rounding(own(lot, "silver")) for lot in case["lots"]]
    needs = [rounding(needed_fine(case, lot_need(case, lot))) for lot in case["lots"]]
    lent = rounding(fine_of(case["silver_lent"])) if "silver_lent" in case else NOTHING
    back, came_in = came_back(case, "silver", rounding), lent + sum(owns)
    if rule == "settle_on_assay" or came_in == 0:
        given = owns
    elif rule == "pro_rata":
        given = split(back, [lent, *owns])[1:]
    else:
        lost = 1 - back / came_in
        given = [rounding(mine - (mine + need) * lost) for mine, need in zip(owns, needs, strict=True)]
    kept = [within(NOTHING, r, mine) for r, mine in zip(given, owns, strict=True)]
    return {
        "own": owns,
        "needs": needs,
        "lent": lent,
        "back": back,
        "in": came_in,
        "R": kept,
        "house": back - sum(kept),
    }


def batch_need(case: dict) -> Fraction:
    """H1 for the lots of a batch melted together."""
    lots = case["lots"]
    return needed(case, sum(own(x, "gold") for x in lots), sum(undrilled(x) for x in lots))


def exact_batch(case: dict, rule: str) -> dict:
    """A batch with the roundings A2 and A5 left off."""
    return {"gold": shares(case, "gold", exact=True), "silver": silver(case, rule, exact=True)}


def batch(case: dict, rule: str) -> dict:
    """A batch as it is printed, in the words of the published file."""
    s = silver(case, rule)
    recovery = Fraction(case["recovery"])

    def in_grams(figures: list[Fraction]) -> list[str]:
        return [shown(g, 3) for g in figures]

    return {
        "parting_silver_needed": shown(batch_need(case), 3),
        "silver_lent": shown(s["lent"], 3),
        "gold_out": shown(to_mg(fine_of(case["gold_out"])), 3),
        "silver_out": shown(to_mg(fine_of(case["silver_out"])), 3),
        "gold_own": in_grams([own(lot, "gold") for lot in case["lots"]]),
        "gold_shares": in_grams(shares(case, "gold")),
        "silver_own": in_grams(s["own"]),
        "needs_fine": in_grams(s["needs"]),
        "silver_in": shown(s["in"], 3),
        "silver_residual": shown(residual(s["in"], recovery, s["back"]), 5),
        "silver": {"lots_R": in_grams(s["R"]), "house": shown(s["house"], 3)},
    }


def residual(came_in: Fraction, recovery: Fraction, back: Fraction) -> Fraction:
    """H4."""
    return came_in * recovery - back


def residual_u(
    entered: list[dict],
    came_out: list[dict],
    held_u: list[Fraction],
    recovery: Fraction,
    recovery_u: Fraction,
    came_in: Fraction,
) -> Fraction:
    """H4: entered and came_out are {weight, fineness, division, u, weighings}, weights as in a request."""
    variance = sum((weighed_variance(w) * recovery**2 for w in entered), NOTHING)
    variance += sum(weighed_variance(w) for w in came_out) + sum(u**2 for u in held_u)
    return root(variance + (came_in * recovery_u) ** 2)


def weighed_variance(weighed: dict) -> Fraction:
    """Of a fine weight: each weighing (d squared over 12; two where drillings were taken) and the assay."""
    scale = grams(weighed["division"]) ** 2 / 12 * weighed.get("weighings", 1)
    weighing = scale * (Fraction(weighed["fineness"]) / 1000) ** 2
    assay = grams(weighed["weight"]) * Fraction(weighed.get("u", "0")) / 1000
    return weighing + assay**2
