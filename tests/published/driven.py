"""The worked files through the code under test: requests, settlements and batches as JSON in, figures out."""

import json
from fractions import Fraction
from pathlib import Path
from typing import Any

from settle.reckoning.bars import Reading, pour, read_instructions
from settle.reckoning.batch import Held, LotIn, Reconciled, Weighed, reconcile
from settle.reckoning.comparison import compare
from settle.reckoning.exact import Exact, decimal, fixed, plain, shown
from settle.reckoning.money import amount
from settle.reckoning.parting import Need, need
from settle.reckoning.price import read_prices
from settle.reckoning.problems import Faults
from settle.reckoning.quote import Quoted, read_request, reckon
from settle.reckoning.settlement import Refined, lot_need, settle
from settle.reckoning.statement import Statement
from settle.reckoning.terms import CASES, Terms, read_terms
from settle.reckoning.weight import grams, milligrams
from settle.reckoning.working import SILENT

Json = dict[str, Any]
HERE = Path(__file__).parent
DIVISION = Exact(1, 100)


def worked(name: str) -> Json:
    answer: Json = json.loads((HERE / "worked" / f"{name}.json").read_text(encoding="utf-8"))
    return answer


def rows(name: str) -> list[dict[str, str]]:
    """The rows of a published table; lines that begin with # tell where it is from."""
    lines = (HERE / "data" / f"{name}.csv").read_text(encoding="utf-8").splitlines()
    head, *body = [line.split(",") for line in lines if not line.startswith("#")]
    return [dict(zip(head, line, strict=True)) for line in body]


def quoted(terms: Json, request: Json) -> Quoted:
    faults = Faults()
    asked = read_request(request, read_terms(terms), {}, {}, faults)
    faults.refuse_if_any()
    return reckon(asked)


def weight_g(of: Json) -> Exact:
    return grams(decimal(of["amount"]), of["unit"])


def in_g(mg: int) -> str:
    return fixed(mg, 3)


def of_statement(of: Statement) -> Json:
    """A statement in the words of the worked files."""
    currency = of.basis.terms.currency
    metals = of.metals.items()
    return {
        "metals": {
            m: {
                "accountable": in_g(a.accountable_mg),
                "bars": in_g(a.placed.total_mg),
                "sold": in_g(a.sold_mg),
                "shot": in_g(a.shot_mg),
                "metal_account": in_g(a.account_mg),
                "top_up": in_g(a.placed.top_up_mg),
            }
            for m, a in metals
        },
        "payouts": {m: amount(a.payout_minor, currency) for m, a in metals if a.sold_mg},
        "top_ups": {m: amount(a.top_up_minor, currency) for m, a in metals if a.top_up_minor},
        "charges": {line.charge.name: amount(line.amount_minor, currency) for line in of.charges},
        "charges_total": amount(of.charges_minor, currency),
        "taxes": {line.tax.code: amount(line.amount_minor, currency) for line in of.taxes},
        "tax_total": amount(of.tax_minor, currency),
        "net": amount(of.net_minor, currency),
    }


def estimated(case: Json) -> Json:
    """The three cases of an estimate in the words of the worked files."""
    answer = {}
    quote = quoted(case["terms"], case["request"])
    for name in CASES:
        answer[name] = of_statement(quote.cases[name])
        for m, band in quote.bands.items():
            answer[name]["metals"][m]["fine"] = in_g(milligrams(band.fine_g[name]))
            answer[name]["metals"][m]["recovered"] = in_g(milligrams(band.recovered_g[name]))
        accounts = quote.cases[name].metals.items()
        answer[name]["bar_counts"] = {m: list(a.placed.counts) for m, a in accounts}
    return answer


def weighed(of: Json) -> Weighed:
    return Weighed(weight_g(of["weight"]), DIVISION, decimal(of["fineness"]), decimal(of.get("u", "0")) ** 2)


def lot_of(terms: Terms, melt_g: Exact, assay: Json) -> tuple[dict[str, LotIn], Need]:
    """One lot as it enters a batch; the silver that it needed is given exact (H1)."""
    own = {m: Weighed(melt_g, DIVISION, decimal(assay[m])) for m in ("gold", "silver")}
    needed = need(terms, own["gold"].fine_g, melt_g, SILENT)
    return {"gold": LotIn("one", own["gold"]), "silver": LotIn("one", own["silver"], needed.fine_g)}, needed


def recovered(terms: Terms, case: Json) -> dict[str, Fraction]:
    """R of the worked lot, refined alone."""
    lot, _ = lot_of(terms, weight_g(case["melt_weight"]), case["assay"])
    gold = reconcile(terms, "gold", [lot["gold"]], [], [weighed(case["gold_out"])])
    lent, out = [weighed(case["silver_lent"])], [weighed(case["silver_out"])]
    silver = reconcile(terms, "silver", [lot["silver"]], lent, out)
    return {m: Exact(a.shares.lots_mg[0], 1000) for m, a in (("gold", gold), ("silver", silver))}


def settled(case: Json, terms: Json, request: Json) -> Json:
    """R, answer and comparison of the worked settlement, in its words."""
    of, faults, quote = read_terms(terms), Faults(), quoted(terms, request)
    wishes = read_instructions(case["instructions"], of, faults)
    prices = read_prices(case["prices"], of, faults)
    faults.refuse_if_any()
    assay, u = decimal(case["gold_out"]["fineness"]), decimal(case["gold_out"]["u"])
    readings = [Reading(weight_g(bar["reading"]), DIVISION, assay, u) for bar in case["bars"]]
    poured = [pour(of, wishes["gold"], 0, reading, f"bar {i}") for i, reading in enumerate(readings)]
    gross, _, articles = quote.request.quantities
    refined = Refined(
        melt_g=weight_g(case["melt_weight"]),
        drillings_g=Exact(0),
        assay_ppt={m: decimal(ppt) for m, ppt in case["assay"].items()},
        recovered_g=recovered(of, case),
        gross_g=gross,
        articles=articles,
        poured={"gold": poured},
        wishes=wishes,
        prices=prices,
    )
    final = settle(of, refined)
    steps = compare(quote, refined, final)
    return {
        "R": {m: shown_g(r) for m, r in refined.recovered_g.items()},
        "answer": of_statement(final),
        "comparison": [
            {
                "step": step.name,
                "V": amount(step.worth_minor, of.currency),
                "difference": amount(step.difference_minor, of.currency),
            }
            for step in steps
        ],
        "stated": [plain(bar.stated_ppt) for bar in poured],
        "need": shown(lot_need(of, refined).weight_g, 3),
    }


def shown_g(of: Exact) -> str:
    return in_g(milligrams(of))


def batched(case: Json, terms: Json, rule: str) -> Json:
    """A worked batch under one silver rule, in the words of its file."""
    of = read_terms(under(rule, terms, case))
    lots = [lot_of(of, decimal(lot["melt"]), lot) for lot in case["lots"]]
    together = [decimal(lot["melt"]) for lot in case["lots"]]
    gold_in = sum((lot["gold"].own.fine_g for lot, _ in lots), Exact(0))
    lent, out = [weighed(case["silver_lent"])], [weighed(case["silver_out"])]
    held = [Held(weight_g(case["silver_held"]))]
    silver = reconcile(of, "silver", [lot["silver"] for lot, _ in lots], lent, out, held)
    lent_gold = Weighed(weight_g(case["silver_lent"]["weight"]), DIVISION, of.house_gold_ppt)
    owns = [lot["gold"] for lot, _ in lots]
    gold = reconcile(of, "gold", owns, [lent_gold], [weighed(case["gold_out"])])
    return {
        "parting_silver_needed": shown_g(need(of, gold_in, sum(together, Exact(0)), SILENT).weight_g),
        "gold_own": [in_g(mg) for mg in gold.own_mg],
        "gold_shares": [in_g(mg) for mg in gold.shares.lots_mg],
        "silver_own": [in_g(mg) for mg in silver.own_mg],
        "needs_fine": [shown_g(needed.fine_g) for _, needed in lots],
        "silver_in": in_g(silver.in_mg),
        "silver_residual": five_places(silver),
        "silver": {
            "lots_R": [in_g(mg) for mg in silver.shares.lots_mg],
            "house": in_g(silver.shares.house_mg),
        },
    }


def under(rule: str, terms: Json, case: Json) -> Json:
    """The terms with the batch's own parting figures, and silver under one rule or on its assay."""
    silver = terms["metals"]["silver"] | {"recovery": case["recovery"]}
    if rule == "settle_on_assay":
        rule, silver = "pro_rata", silver | {"settle_on": "assay"}
    parting = {k: case[k] for k in ("parting_target", "house_silver")}
    return terms | parting | {"silver_rule": rule, "metals": terms["metals"] | {"silver": silver}}


def five_places(of: Reconciled) -> str:
    return fixed(round(of.residual_g * 10**5), 5)
