"""Each row of the working can be redone from what stands in it, by whoever reads it (rule by rule)."""

from collections.abc import Callable
from fractions import Fraction

import pytest
from hypothesis import given
from oracle.quantities import root

from settle.reckoning.batch import LotIn, Weighed, reconcile
from settle.reckoning.settlement import settle
from settle.reckoning.terms import read_terms
from settle.reckoning.working import Working

from .reckoned import quoted
from .refining import account, batches, came_out, held, lent, lot_in, refined, settled_lots
from .strategies import Json, lots

# Grams in the units of prices, typed again.
GRAMS = {
    "g": Fraction(1),
    "kg": Fraction(1000),
    "ozt": Fraction("31.1034768"),
    "dwt": Fraction("31.1034768") / 20,
    "tola": Fraction("0.06479891") * 180,
}
PLACES = {"GBP": 2, "USD": 2, "INR": 2, "JPY": 0, "KRW": 0, "KWD": 3, "BHD": 3}
Inputs = dict[str, Fraction]


def fine(i: Inputs) -> Fraction:
    return i["net"] * i["filled part"] * i["likely fineness"] / 1000


def accountable(i: Inputs) -> Fraction:
    kept = max(i["recovered"] * (1 - i["accountable"]), i["minimum deduction"])
    return Fraction(0) if i["recovered"] < i["payable from"] else max(Fraction(0), i["recovered"] - kept)


def charged(i: Inputs) -> Fraction:
    """One rate, or marginal tiers part by part."""
    return i["parts"] or i["charged as"] * i["rate"]


def paid_out(i: Inputs) -> Fraction:
    return i["sold"] / i["per"] * i["price"] * i["payout rate"]


def bought_in(i: Inputs) -> Fraction:
    return i["excess"] / i["per"] * i["price"] * i["top up rate"]


def net(i: Inputs) -> Fraction:
    off = i["charges"] + i["tax"] + i["top ups"] + i["advances"] + i["fees"]
    return i["payouts"] - off


def silver_needed(i: Inputs) -> Fraction:
    over = i["fine gold"] - i["target"] * i["melt weight"]
    return max(Fraction(0), over / (i["target"] - i["gold fraction of the house silver"]))


def judged(i: Inputs) -> Fraction:
    """The residual, its u, or the variance of one weighing."""
    if "came back" in i:
        return i["went in"] * i["recovery"] - i["came back"]
    if "recovery u" in i:
        scatter = (i["went in"] * i["recovery u"]) ** 2
        return root(i["recovery"] ** 2 * i["variance in"] + i["variance out and held"] + scatter)
    weighing = (i["assay"] / 1000) ** 2 * i["weighings"] * i["division"] ** 2 / 12
    return weighing + (i["weight"] / 1000) ** 2 * i["variance of the assay"]


REDONE: dict[str, Callable[[Inputs], Fraction]] = {
    "B4": fine, "D2": accountable, "E4": bought_in, "F1": charged, "F2": lambda i: i["base"] * i["rate"],
    "F3": paid_out, "F4": net, "H1": silver_needed, "H4": judged,
}  # fmt: skip


def figure(name: str, printed: str) -> Fraction:
    """An input as printed: a decimal, a fraction n/d, a unit by its name, or the parts of a charge."""
    if name == "per":
        return GRAMS[printed]
    if name == "parts":
        parts = [] if printed == "none" else [part.split(" × ") for part in printed.split(" + ")]
        return sum((Fraction(quantity) * Fraction(rate) for quantity, rate in parts), Fraction(0))
    return Fraction(0) if name == "base" and not printed[:1].isdigit() else Fraction(printed)


def redone(rows: list[Json]) -> set[str]:
    """The rules whose rows were redone and found right."""
    seen = set()
    for row in rows:
        if row["rule"] in REDONE:
            inputs = {name: figure(name, printed) for name, printed in row["inputs"].items()}
            assert REDONE[row["rule"]](inputs) == Fraction(row["exact"]), row
            seen.add(row["rule"])
    return seen


def printed(working: Working) -> list[Json]:
    return [row.as_json() for row in working.rows]


def rounded(exact: Fraction, places: int, rule: str) -> str:
    """A2 for metal, A3 for money, as text."""
    units = exact * 10**places
    half_up = int(abs(units) + Fraction(1, 2)) * (1 if units >= 0 else -1)
    whole = round(units) if rule == "D2" else half_up
    digits = str(abs(whole)).zfill(places + 1)
    text = f"{digits[:-places]}.{digits[-places:]}" if places else digits
    return ("-" if whole < 0 else "") + text


def without_tiers(of: Json) -> Json:
    return of | {"charges": [charge | {"tiers": []} for charge in of["charges"]]}


@given(lots())
def test_each_row_of_an_estimate_can_be_redone_from_its_inputs(lot):
    of, request = lot
    working = Working()
    quoted(without_tiers(of), request, working)
    assert "F4" in redone(printed(working))


@given(lots())
def test_what_a_row_prints_is_its_exact_value_rounded_by_its_rule(lot):
    of, request = lot
    working = Working()
    quoted(without_tiers(of), request, working)
    least = {f"charge: {c['name']}": Fraction(c.get("minimum", "0")) for c in of["charges"]}
    for row in printed(working):
        if "rounded" in row and row["rule"] != "F4":
            places = 3 if row["rule"] == "D2" else PLACES[of["currency"]]
            exact = max(Fraction(row["exact"]), least.get(row["what"].split(",")[0], Fraction(0)))
            assert rounded(exact, places, row["rule"]) == row["rounded"], row


@given(settled_lots())
def test_each_row_of_a_settlement_can_be_redone_from_its_inputs(lot):
    of, _, case = lot
    plain = without_tiers(of)
    working = Working()
    settle(read_terms(plain), refined(plain, case), working)
    seen = redone(printed(working))
    assert {"D2", "F4"} <= seen
    assert ("H1" in seen) == (of["metals"].get("gold", {}).get("settle_on") != "counter")


@pytest.mark.parametrize("metal", ["gold", "silver"])
@given(drawn=batches())
def test_what_judges_a_batch_can_be_redone_row_by_row(metal, drawn):
    of, case = drawn
    terms, working = read_terms(of), Working()
    lots_in = [lot_in(terms, lot, metal) for lot in case["lots"]]
    found = reconcile(
        terms, metal, lots_in, lent(terms, case, metal), came_out(case, metal), held(case, metal), working
    )
    assert redone(printed(working)) == {"H4"}
    assert found == account(terms, case, metal)


TIERS = [
    ("whole", "150"),  # the tier reached
    ("whole", "99"),  # the start of a higher tier costs less
    ("marginal", "150"),  # each part at its own rate
]


@pytest.mark.parametrize(("tiering", "gross"), TIERS)
def test_the_row_of_a_charge_by_tiers_can_be_redone_from_its_inputs(tiering, gross):
    working = Working()
    quoted(*tiered(tiering, gross), working)
    assert "F1" in redone(printed(working))


def tiered(tiering: str, gross: str) -> tuple[Json, Json]:
    """A lot under one charge by weight: 2.00 a gram, from 100 g on 1.00 a gram."""
    charge = {
        "name": "treatment", "base": "gross_weight", "per": "g", "rate": "2.00", "tiering": tiering,
        "tiers": [{"from": "100", "rate": "1.00"}],
    }  # fmt: skip
    of = {
        "name": "tiers", "currency": "GBP", "division": {"amount": "0.01", "unit": "g"},
        "evidence": {"fire assay": {"method": "fire_assay"}},
        "metals": {"gold": {"settle_on": "assay", "accountable": "1", "payout_rate": "1"}},
        "charges": [charge],
    }  # fmt: skip
    item = {"evidence": "fire assay", "fineness": "500", "gross": {"amount": gross, "unit": "g"}}
    return of, {"items": [item], "prices": {"gold": {"amount": "50", "currency": "GBP", "per": "g"}}}


def test_a_row_that_is_wrong_is_found():
    working = Working()
    working.note("gold in a ring, g", "B4", "", Fraction(3), net=Fraction(4), filled_part=Fraction(1),
                 likely_fineness=Fraction(749))  # fmt: skip
    with pytest.raises(AssertionError, match="gold in a ring"):
        redone(printed(working))


def test_a_batch_of_one_pure_bar_has_the_residual_that_anyone_reckons():
    of, _ = tiered("whole", "1")
    of["metals"]["gold"] |= {"settle_on": "outturn", "recovery": "0.99"}
    bar = Weighed(Fraction(100), Fraction(1, 100), Fraction(1000))
    working = Working()
    out = Weighed(Fraction(98), bar.division_g, bar.assay_ppt)
    reconcile(read_terms(of), "gold", [LotIn("L-1", bar)], [], [out], [], working)
    assert redone(printed(working)) == {"H4"}
    assert printed(working)[0]["exact"] == "1"
