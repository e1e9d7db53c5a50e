"""B: what an item weighs and holds. Grams and parts per thousand."""

from fractions import Fraction

from .quantities import grams, within

MARKS = {8: 333, 9: 375, 10: 417, 14: 585, 18: 750, 22: 916, 24: 999}


def pieces(terms: dict, request: dict) -> list[dict]:
    return [piece(terms, item) for item in request["items"]]


def piece(terms: dict, item: dict) -> dict:
    deductions = item.get("deductions", [])
    gross = grams(item["gross"])
    return {
        "count": item.get("count", 1),
        "gross": gross,
        "net": gross - sum(grams(d["weight"]) for d in deductions),
        "net_variance": net_variance(terms, item, deductions),
        "filled": Fraction(item.get("filled_part", "1")),
        "holds": holds(terms, item),
    }


def net_variance(terms: dict, item: dict, deductions: list[dict]) -> Fraction:
    """C1."""
    division = grams(item.get("division", terms["division"]))
    guesses = [grams(d["plus_minus"]) for d in deductions if "plus_minus" in d]
    weighings = 1 + len(deductions) - len(guesses)
    return weighings * division**2 / 12 + sum((a**2 for a in guesses), Fraction(0)) / 3


def known(terms: dict, item: dict) -> dict[str, Fraction]:
    """B2: metal to parts per thousand, before any bias."""
    if "composition" in item:
        times = 10 if item.get("in") == "percent" else 1
        return {m: Fraction(v) * times for m, v in item["composition"].items()}
    metal = item.get("metal", "gold")
    if "fineness" in item:
        return {metal: Fraction(item["fineness"])}
    karat = Fraction(item["karat"])
    if terms["karat_basis"] == "standard" and karat in MARKS:
        return {metal: Fraction(MARKS[karat])}
    return {metal: karat * 1000 / 24}


def holds(terms: dict, item: dict) -> dict[str, dict]:
    """B3, B5: what is likely held of each metal, with the variances that go with it."""
    kind = terms["evidence"][item["evidence"]]
    if not kind.get("reckon", True):
        return {}
    main = item.get("metal", "gold")
    found = {
        m: reading(item["evidence"], kind, ppt, m == main, Fraction(kind.get("scatter", "0")) ** 2)
        for m, ppt in known(terms, item).items()
    }
    guessed = guessed_silver(terms, item)
    found.update(guessed)
    total = sum(f["ppt"] for f in found.values())
    if total > 1000:
        for f in found.values():
            f["ppt"] = f["ppt"] * 1000 / total
    for m in found:
        found[m]["credited"] = not (m in guessed and bought_blind(terms, m))
    return found


def bought_blind(terms: dict, metal: str) -> bool:
    """B5: guessed silver is credited by an assay only; what is bought outright never has one."""
    return terms["metals"].get(metal, {}).get("settle_on") == "counter"


def reading(name: str, kind: dict, ppt: Fraction, biased: bool, scatter_squared: Fraction) -> dict:
    bias = Fraction(kind.get("bias", "0")) if biased else 0
    return {
        "kind": name,
        "ppt": within(Fraction(0), ppt + bias, Fraction(1000)),
        "scatter_squared": scatter_squared,
        "shared": Fraction(kind.get("shared", "0")),
    }


def guessed_silver(terms: dict, item: dict) -> dict[str, dict]:
    """B5, for the rows that the terms bring."""
    gold = item.get("metal", "gold") == "gold" and "composition" not in item
    if not (terms.get("estimate_silver") and gold and "colour" in item):
        return {}
    ppt = known(terms, item)["gold"]
    for row in terms["alloy_silver"]:
        if row["colour"] != item["colour"]:
            continue
        if Fraction(row["from"]) <= ppt < Fraction(row["to"]):
            spread = (Fraction(row["high"]) - Fraction(row["low"])) ** 2 / 12
            kind = terms["evidence"].get("alloy_table", {})
            return {"silver": reading("alloy_table", kind, Fraction(row["likely"]), True, spread)}
    return {}


def of_metal(lot: list[dict], metal: str) -> list[tuple[dict, dict]]:
    holding = [(p, p["holds"][metal]) for p in lot if metal in p["holds"]]
    return [(p, h) for p, h in holding if h["credited"]]


def likely_fine(lot: list[dict], metal: str) -> Fraction:
    """B4."""
    return sum((p["net"] * p["filled"] * h["ppt"] / 1000 for p, h in of_metal(lot, metal)), Fraction(0))


def most_fine(lot: list[dict], metal: str) -> Fraction:
    """C4: no more metal than the alloy of the items that hold it."""
    return sum((p["net"] * p["filled"] for p, _ in of_metal(lot, metal)), Fraction(0))


def fine_variance(lot: list[dict], metal: str) -> Fraction:
    """C2."""
    alone = Fraction(0)
    shared: dict[str, Fraction] = {}
    for p, h in of_metal(lot, metal):
        weight = p["net"] * p["filled"] / 1000
        alone += (p["filled"] * h["ppt"] / 1000) ** 2 * p["net_variance"]
        alone += weight**2 * h["scatter_squared"] / p["count"]
        shared[h["kind"]] = shared.get(h["kind"], Fraction(0)) + weight * h["shared"]
    return alone + sum(s**2 for s in shared.values())
