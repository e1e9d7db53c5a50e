"""G: a refined lot settled, and why it differs from the quote."""

from fractions import Fraction

from .items import likely_fine, pieces
from .quantities import grams, per_gram, shown, shown_money, to_mg, to_minor
from .quoting import held, quoted_quantities, quoted_recovered
from .refining import needed, needed_fine, own, shares, silver
from .statement import printed_money, statement, worth

STEPS = ["quote", "weight", "fineness", "recovery", "instructions", "price", "charges"]


def settle(case: dict, terms: dict, request: dict, recovered: dict[str, Fraction] | None = None) -> dict:
    """R, answer and comparison as they are printed; `recovered` stands in for a shared batch."""
    settled = exact_settlement(case, terms, request, recovered)
    before, comparison = settled["V"]["quote"], []
    for step, v in settled["V"].items():
        figures = {"V": v, "difference": v - before}
        comparison.append({"step": step} | {k: shown_money(n, terms["currency"]) for k, n in figures.items()})
        before = v
    return {
        "R": {m: shown(r, 3) for m, r in settled["R"].items()},
        "answer": printed_money(terms, settled["figures"]),
        "comparison": comparison,
    }


def exact_settlement(
    case: dict, terms: dict, request: dict, recovered: dict[str, Fraction] | None = None
) -> dict:
    """R in grams, the statement's figures, V of each step in minor units."""
    came = outturn(case, terms) if recovered is None else recovered
    inputs, values = quoted_inputs(case, terms, request, came), {}
    for step in STEPS:
        inputs |= replaced(step, case, terms, inputs, came)
        figures = replay(terms, inputs)
        v = to_minor(worth(terms, figures, inputs["prices"]), terms["currency"])
        values[step] = v + figures["advances"]
    return {"R": came, "figures": figures, "V": values}


def lot_of(case: dict) -> dict:
    drillings = grams(case["drillings"]) if "drillings" in case else 0
    melt = {"melt": str(grams(case["melt_weight"])), "drillings": str(drillings)}
    return melt | case["assay"]


def outturn(case: dict, terms: dict) -> dict[str, Fraction]:
    """H2, H3 for a lot refined alone."""
    alone = case | {"lots": [lot_of(case)]}
    alone |= {k: terms[k] for k in ("metals", "parting_target", "house_silver") if k in terms}
    return {m: metal_back(alone, terms, m) for m in terms["metals"] if m in case["assay"]}


def metal_back(alone: dict, terms: dict, metal: str) -> Fraction:
    on_assay = terms["metals"][metal]["settle_on"] == "assay"
    if metal == "silver":
        rule = "settle_on_assay" if on_assay else terms.get("silver_rule", "pro_rata")
        return silver(alone, rule)["R"][0]
    return to_mg(own(alone["lots"][0], metal)) if on_assay else shares(alone, metal)[0]


def quoted_inputs(case: dict, terms: dict, request: dict, came: dict[str, Fraction]) -> dict:
    """What the quote's likely case was reckoned from."""
    lot = pieces(terms, request)
    quantities = quoted_quantities(terms, lot)
    metals = [m for m in terms["metals"] if m in came or m in held(terms, lot)]
    # Gold decides the parting silver (H1), also where the terms don't account for it.
    return {
        "metals": metals,
        "fine": {m: likely_fine(lot, m) for m in {*metals, "gold"}},
        "parted": quantities["melt"],
        "R": None,
        "quantities": quantities,
        "wishes": request.get("instructions", {}),
        "poured": None,
        "prices": in_grams(case["prices"] | request["prices"]),
        "taken_off": {},
        "drillings": None,
    }


def in_grams(prices: dict) -> dict[str, Fraction]:
    return {m: per_gram(p) for m, p in prices.items()}


def replaced(step: str, case: dict, terms: dict, inputs: dict, came: dict) -> dict:
    """G2: the inputs that this step takes from the settlement."""
    lot = lot_of(case)
    parted = Fraction(lot["melt"]) - Fraction(lot["drillings"])
    if step == "weight":
        parts = {m: f / inputs["parted"] for m, f in inputs["fine"].items()}
        melt = {"melt": Fraction(lot["melt"])}
        return in_alloy(case, terms, lot, parts) | {
            "parted": parted,
            "quantities": inputs["quantities"] | melt,
        }
    if step == "fineness":
        return in_alloy(case, terms, lot, {m: Fraction(lot.get(m, "0")) / 1000 for m in inputs["fine"]})
    if step == "recovery":
        return {"R": came}
    if step == "instructions":
        return {"wishes": case.get("instructions", {}), "poured": case.get("bars", [])}
    if step == "price":
        return {"prices": in_grams(case["prices"])}
    if step == "charges":
        return as_recorded(case, terms, inputs)
    return {}


def in_alloy(case: dict, terms: dict, lot: dict, parts: dict[str, Fraction]) -> dict:
    """Fine metal of the lot without its drillings, and of the drillings, at some parts of the alloy (H6)."""
    taken = Fraction(lot["drillings"])
    parted = Fraction(lot["melt"]) - taken
    his = case.get("drillings_whose", "client") == "client"
    return {
        "fine": {m: part * parted for m, part in parts.items()},
        "drillings": {
            "become": terms.get("drillings", "returned") if his else "kept",
            "fine": {m: to_mg(part * taken) for m, part in parts.items()},
        },
    }


def as_recorded(case: dict, terms: dict, inputs: dict) -> dict:
    """Quantities, fees and advances as the settlement records them."""
    recorded = {}
    if "gross_weight" in case:
        recorded["gross"] = grams(case["gross_weight"])
    if "articles" in case:
        recorded["articles"] = case["articles"]
    off = {
        k: to_minor(Fraction(case[k]["amount"]), terms["currency"]) for k in ("advances", "fees") if k in case
    }
    quantities = inputs["quantities"] | recorded
    return {"quantities": quantities, "taken_off": off}


def replay(terms: dict, inputs: dict) -> dict:
    need = needed(terms, inputs["fine"].get("gold", Fraction(0)), inputs["parted"])
    recovered = inputs["R"]
    if recovered is None:
        need_fine = needed_fine(terms, need)
        recovered = {m: quoted_recovered(terms, m, inputs["fine"][m], need_fine) for m in inputs["metals"]}
    return statement(
        terms,
        recovered,
        inputs["quantities"] | {"need": need},
        inputs["prices"],
        inputs["wishes"],
        inputs["poured"],
        inputs["taken_off"],
        inputs["drillings"],
    )
