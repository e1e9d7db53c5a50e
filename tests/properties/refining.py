"""Random refined lots and batches: as the oracle reads them, and the same through the code under test."""

from fractions import Fraction
from typing import Any

from hypothesis import strategies as st

from settle.reckoning.bars import Poured, read_instructions
from settle.reckoning.batch import Held, LotIn, Reconciled, Weighed, reconcile
from settle.reckoning.exact import Exact, decimal
from settle.reckoning.money import minor_units
from settle.reckoning.parting import need
from settle.reckoning.price import read_prices
from settle.reckoning.problems import Faults
from settle.reckoning.settlement import Refined
from settle.reckoning.terms import Terms, read_terms
from settle.reckoning.weight import GRAMS_PER, grams
from settle.reckoning.working import Working

from .strategies import (
    SMALL_WEIGHTS,
    Json,
    decimals,
    instructions,
    pick,
    prices,
    requests,
    terms,
    text,
    whole,
)

DIVISION = Exact(1, 100)
ASSAYED = ("gold", "silver", "platinum", "palladium")
# What is found of each metal, parts per thousand at most, so that no lot exceeds the whole.
MOST_FOUND = {"gold": 600, "silver": 300, "platinum": 60, "palladium": 40}


def net_g(request: Json) -> Fraction:
    def weighed(w: Json) -> Fraction:
        return Fraction(w["amount"]) * GRAMS_PER[w["unit"]]

    return sum(
        (weighed(i["gross"]) - sum(weighed(d["weight"]) for d in i["deductions"]) for i in request["items"]),
        Fraction(0),
    )


@st.composite
def outturns(draw: st.DrawFn, metals: tuple[str, ...], fine_g: dict[str, Fraction]) -> Json:
    """What was lent, what came out of each metal, near what went in, and what is held."""
    lent = draw(st.one_of(st.none(), whole(1, 400)))
    found: Json = {}
    if lent is not None:
        found["silver_lent"] = {"weight": {"amount": str(lent), "unit": "g"}, "fineness": "998.5"}
    for metal in metals:
        went_in = fine_g.get(metal, Fraction(0)) + (lent or 0 if metal == "silver" else 0)
        back = int(went_in * 100 * draw(whole(850, 1010)) / 1000)
        fineness = draw(pick(("999.9", "998", "1000", "987.65")))
        found[f"{metal}_out"] = {"weight": {"amount": text(back, 2), "unit": "g"}, "fineness": fineness}
        if draw(whole(0, 3)) == 3:
            found[f"{metal}_held"] = draw(SMALL_WEIGHTS)
    return found


@st.composite
def poured(draw: st.DrawFn, wishes: Json) -> list[Json]:
    """Bars as they were poured: of each line some, of a whole line one at most."""
    bars = []
    for metal, wish in wishes.items():
        for line, wanted in enumerate(wish["bars"]):
            most = 1 if wanted["count"] == "whole" else 3
            bars += [{"metal": metal, "line": line}] * draw(whole(0, most))
    return bars


@st.composite
def settled_lots(draw: st.DrawFn) -> tuple[Json, Json, Json]:
    """Terms, a request, and what became of the lot: every metal of the terms assayed and closed."""
    of = draw(terms(("outturn", "assay")))
    request = draw(requests(of))
    melt = draw(whole(80, 103)) * net_g(request) / 100
    melt = max(Fraction(1), Fraction(round(melt * 100), 100))
    assay = {m: draw(decimals(0, MOST_FOUND[m], 1)) for m in of["metals"]}
    fine = {m: melt * Fraction(a) / 1000 for m, a in assay.items()}
    wishes = draw(st.one_of(st.just(request["instructions"]), instructions(tuple(of["metals"]))))
    case: Json = draw(outturns(tuple(of["metals"]), fine)) | {
        "melt_weight": {"amount": text(int(melt * 100), 2), "unit": "g"},
        "drillings": {"amount": draw(pick(("0", "0.25"))), "unit": "g"},
        "drillings_whose": draw(pick(("client", "house"))),
        "assay": assay,
        "instructions": wishes,
        "bars": draw(poured(wishes)),
        "prices": draw(st.one_of(st.just(request["prices"]), prices(of))),
        "gross_weight": {"amount": draw(decimals(20, 400, 2)), "unit": "g"},
        "articles": draw(whole(1, 12)),
    }
    for name in ("advances", "fees"):
        if draw(st.booleans()):
            case[name] = {"amount": draw(decimals(0, 90, 2))}
    return of, request, case


@st.composite
def batches(draw: st.DrawFn) -> tuple[Json, Json]:
    """Terms, and up to four lots melted together, as the oracle reads a batch."""
    of = draw(terms(("outturn",), metals=("gold", "silver")))
    lots = []
    for _ in range(draw(whole(1, 4))):
        lots.append(
            {
                "melt": draw(decimals(10, 300, 2)),
                "gold": draw(decimals(0, 900, 1)),
                "silver": draw(decimals(0, 100, 1)),
                "drillings": draw(pick(("0", "0.3"))),
                "u": draw(pick(("0", "0.3", "1.25"))),
            }
        )
    fine = {m: sum(Fraction(x["melt"]) * Fraction(x[m]) / 1000 for x in lots) for m in ("gold", "silver")}
    case: Json = draw(outturns(("gold", "silver"), fine)) | {"lots": lots}
    case |= {"recovery": of["metals"]["silver"]["recovery"]}
    case.setdefault("silver_lent", {"weight": {"amount": "0", "unit": "g"}, "fineness": "999"})
    return of, case | {k: of[k] for k in ("house_silver", "parting_target")}


def weighed(of: Json) -> Weighed:
    w = of["weight"]
    return Weighed(grams(decimal(w["amount"]), w["unit"]), DIVISION, decimal(of["fineness"]))


def came_out(case: Json, metal: str) -> list[Weighed]:
    """What was weighed out."""
    return [weighed(case[f"{metal}_out"])] if f"{metal}_out" in case else []


def held(case: Json, metal: str) -> list[Held]:
    """What stays behind, at its estimate, with a u of a tenth of it (H6)."""
    known = case.get(f"{metal}_held")
    if known is None:
        return []
    estimate = grams(decimal(known["amount"]), known["unit"])
    return [Held(estimate, estimate / 10)]


def lent(terms: Terms, case: Json, metal: str) -> list[Weighed]:
    """What came with the house silver: silver as assayed, gold as the terms say."""
    if metal not in ("gold", "silver") or "silver_lent" not in case:
        return []
    loan = weighed(case["silver_lent"])
    return [Weighed(loan.weight_g, DIVISION, terms.house_gold_ppt) if metal == "gold" else loan]


def lot_in(terms: Terms, lot: Json, metal: str, name: str = "one") -> LotIn:
    """A lot of a batch; the silver that it needed is given exact (H1)."""
    drillings = decimal(lot.get("drillings", "0"))
    parted, weighings = decimal(lot["melt"]) - drillings, 2 if drillings else 1
    own = Weighed(parted, DIVISION, decimal(lot.get(metal, "0")), decimal(lot.get("u", "0")) ** 2, weighings)
    gold = parted * decimal(lot.get("gold", "0")) / 1000
    needed = need(terms, gold, parted, Working(kept=False))
    return LotIn(name, own, needed.fine_g)


def account(terms: Terms, case: Json, metal: str) -> Reconciled:
    """One metal of a batch, reconciled."""
    lots = [lot_in(terms, lot, metal, str(i)) for i, lot in enumerate(case["lots"])]
    return reconcile(terms, metal, lots, lent(terms, case, metal), came_out(case, metal), held(case, metal))


def refined(of: Json, case: Json, recovered: dict[str, Exact] | None = None) -> Refined:
    """A refined lot as the code under test takes it; alone in its batch unless R is given."""
    terms, faults = read_terms(of), Faults()
    wishes = read_instructions(case["instructions"], terms, faults)
    melt = grams(decimal(case["melt_weight"]["amount"]), case["melt_weight"]["unit"])
    lot = case["assay"] | {"melt": case["melt_weight"]["amount"], "drillings": case["drillings"]["amount"]}
    if recovered is None:
        alone = case | {"lots": [lot]}
        recovered = {
            m: Exact(account(terms, alone, m).shares.lots_mg[0], 1000) for m in terms.metals if m in lot
        }
    bars: dict[str, list[Poured]] = {}
    for i, bar in enumerate(case["bars"]):
        line = wishes[bar["metal"]].lines[bar["line"]]
        bars.setdefault(bar["metal"], []).append(
            Poured(str(i), bar["line"], line.nominal_g or Exact(7), line.fineness_ppt)
        )
    found = Refined(
        melt,
        decimal(case["drillings"]["amount"]),
        {m: decimal(a) for m, a in case["assay"].items()},
        recovered,
        grams(decimal(case["gross_weight"]["amount"]), "g"),
        case["articles"],
        bars,
        wishes,
        read_prices(case["prices"], terms, faults),
        advances_minor=money(case, "advances", terms),
        fees_minor=money(case, "fees", terms),
        drillings_whose=case["drillings_whose"],
    )
    faults.refuse_if_any()
    return found


def money(case: dict[str, Any], name: str, terms: Terms) -> int:
    return minor_units(decimal(case[name]["amount"]), terms.currency) if name in case else 0
