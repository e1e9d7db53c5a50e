"""C, D1, F6: an unmelted lot, reckoned low, likely and high."""

from fractions import Fraction

from .items import fine_variance, likely_fine, most_fine, pieces
from .quantities import per_gram, root, within
from .refining import needed, needed_fine
from .statement import printed, statement, worth

CASES = {"low": -2, "likely": 0, "high": 2}


def estimate(terms: dict, request: dict) -> dict:
    """The three cases as they are printed."""
    cases = exact_estimate(terms, request)
    return {case: printed(terms, figures) for case, figures in cases.items()}


def exact_estimate(terms: dict, request: dict) -> dict:
    """Per case: grams as fractions (each metal's fine, u, R, u_R …), money as whole minor units."""
    lot = pieces(terms, request)
    bands = {m: band(terms, lot, m) for m in held(terms, lot)}
    prices = {m: per_gram(p) for m, p in request["prices"].items()}
    wishes = request.get("instructions", {})
    quantities = quoted_quantities(terms, lot)
    cases = {}
    for case in CASES:
        recovered = {m: b[case]["R"] for m, b in bands.items()}
        cases[case] = statement(terms, recovered, quantities, prices, wishes)
        for metal, b in bands.items():
            cases[case]["metals"][metal].update(b[case])
    return cases


def held(terms: dict, lot: list[dict]) -> list[str]:
    return [m for m in terms["metals"] if any(m in p["holds"] for p in lot)]


def quoted_quantities(terms: dict, lot: list[dict]) -> dict:
    melt = sum(p["net"] for p in lot)
    return {
        "gross": sum(p["gross"] for p in lot),
        "melt": melt,
        "need": needed(terms, likely_fine(lot, "gold"), melt),
        "articles": sum(p["count"] for p in lot),
    }


def band(terms: dict, lot: list[dict], metal: str) -> dict[str, dict]:
    """C3, C4: per case the fine weight and R, with u of both."""
    fine, variance = likely_fine(lot, metal), fine_variance(lot, metal)
    u, most = root(variance), most_fine(lot, metal)
    cases = {c: {"fine": within(Fraction(0), fine + k * u, most), "u": u} for c, k in CASES.items()}
    if terms["metals"][metal]["settle_on"] == "counter":
        paid = cases[terms.get("purchase_case", "low")]["fine"]
        return {c: figures | {"R": paid, "u_R": Fraction(0)} for c, figures in cases.items()}
    need = needed_fine(terms, quoted_quantities(terms, lot)["need"])
    likely, by_fine, by_recovery = recovery_line(terms, metal, fine, need)
    recovery_u = Fraction(terms["metals"][metal].get("recovery_u", "0"))
    u_r = root(by_fine**2 * variance + (by_recovery * recovery_u) ** 2)
    for case, k in CASES.items():
        r = within(Fraction(0), likely + k * u_r, cases[case]["fine"])
        cases[case].update({"R": r, "u_R": u_r})
    return cases


def recovery_line(
    terms: dict, metal: str, fine: Fraction, need_fine: Fraction
) -> tuple[Fraction, Fraction, Fraction]:
    """D1 before bounds: R, and how it moves with the fine weight and with the recovery."""
    rules = terms["metals"][metal]
    if rules["settle_on"] == "assay":
        return fine, Fraction(1), Fraction(0)
    recovery = Fraction(rules["recovery"])
    at_stake = fine
    if metal == "silver" and terms.get("silver_rule") == "house_first":
        at_stake = fine + need_fine
    return fine - at_stake * (1 - recovery), recovery, at_stake


def quoted_recovered(terms: dict, metal: str, fine: Fraction, need_fine: Fraction) -> Fraction:
    """D1 as when quoting, kept within nothing and the fine weight."""
    return within(Fraction(0), recovery_line(terms, metal, fine, need_fine)[0], fine)


def all_in(terms: dict, request: dict) -> dict[str, Fraction]:
    """F6: what the client gets in each case, as a share of the likely fine metal at spot."""
    cases = exact_estimate(terms, request)
    spot = {m: per_gram(request["prices"][m]) for m in cases["likely"]["metals"]}
    metal = sum(f["fine"] * spot[m] for m, f in cases["likely"]["metals"].items())
    return {case: worth(terms, figures, spot) / metal for case, figures in cases.items()}
