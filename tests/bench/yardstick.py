"""The sums of an estimate, written plainly: the yardstick of the benchmark.

One text of the sums, run with two kinds of numbers: bare `Decimal` grams, and
Pint quantities throughout. It knows just what the measured request needs (no
refusals, no notices, no document), so it is the least that anyone could pay.
"""

from decimal import ROUND_HALF_EVEN, ROUND_HALF_UP, Decimal
from typing import Any

import pint

MG = Decimal("0.001")
CENT = Decimal("0.01")
MARKS = {"9": "375", "10": "417", "18": "750"}


class BareDecimal:
    """Weights as `Decimal` grams."""

    zero = Decimal(0)

    @staticmethod
    def weight(data: dict[str, str]) -> Any:
        return Decimal(data["amount"])

    @staticmethod
    def grams(weight: Any) -> Decimal:
        return weight

    @staticmethod
    def root(square: Any) -> Any:
        return square.sqrt()

    @staticmethod
    def of_mg(grams: Decimal) -> Any:
        return grams


class PintThroughout:
    """Weights as Pint quantities of `Decimal`, from a registry of the shop's units alone."""

    registry = pint.UnitRegistry(None, non_int_type=Decimal)
    registry.define("g = [mass]")
    registry.define("ozt = 31.1034768 g")
    zero = registry.Quantity(Decimal(0), "g")

    @classmethod
    def weight(cls, data: dict[str, str]) -> Any:
        return cls.registry.Quantity(Decimal(data["amount"]), data["unit"]).to("g")

    @staticmethod
    def grams(weight: Any) -> Decimal:
        return weight.to("g").magnitude

    @classmethod
    def root(cls, square: Any) -> Any:
        return cls.registry.Quantity(square.to("g**2").magnitude.sqrt(), "g")

    @classmethod
    def of_mg(cls, grams: Decimal) -> Any:
        return cls.registry.Quantity(grams, "g")


def estimate(kind: Any, terms: dict[str, Any], request: dict[str, Any]) -> dict[str, Decimal]:
    """The net of each case."""
    fine, variance, net, gross, articles = _contents(kind, terms, request)
    target, house = Decimal(terms["parting_target"]), Decimal(terms["house_silver"]["fineness"]) / 1000
    need = max(kind.zero, (fine["gold"] - target * net) / target)
    nets = {}
    for case, k in (("low", -2), ("likely", 0), ("high", 2)):
        accountable = {}
        for metal, rule in terms["metals"].items():
            recovery, u_recovery = Decimal(rule["recovery"]), Decimal(rule["recovery_u"])
            lost_with = fine[metal] + (need * house if metal == "silver" else kind.zero)
            r = fine[metal] - lost_with * (1 - recovery)
            u = kind.root(recovery**2 * variance[metal] + (lost_with * u_recovery) ** 2)
            bound = max(kind.zero, fine[metal] + k * kind.root(variance[metal]))
            r = min(max(r + k * u, kind.zero), bound)
            accountable[metal] = _accountable(kind, rule, r)
        nets[case] = _net(kind, terms, request, accountable, gross, need)
    return nets


def _contents(kind: Any, terms: dict[str, Any], request: dict[str, Any]) -> Any:
    metals = list(terms["metals"])
    fine = dict.fromkeys(metals, kind.zero)
    variance = dict.fromkeys(metals, kind.zero * kind.zero)
    shared: dict[tuple[str, str], Any] = {}
    total = gross = kind.zero
    articles = 0
    d2 = kind.weight(terms["division"]) ** 2 / 12
    for item in request["items"]:
        weight, u2 = kind.weight(item["gross"]), d2
        gross, articles = gross + weight, articles + item["count"]
        for off in item.get("deductions", ()):
            weight = weight - kind.weight(off["weight"])
            u2 = u2 + (kind.weight(off["plus_minus"]) ** 2 / 3 if "plus_minus" in off else d2)
        total = total + weight
        part = Decimal(1) / 20 if "filled_part" in item else Decimal(1)
        for metal, ppt, evidence, scatter in _holds(terms, item):
            fine[metal] = fine[metal] + weight * part * ppt / 1000
            variance[metal] = variance[metal] + (part * ppt / 1000) ** 2 * u2
            variance[metal] = variance[metal] + (weight * part / 1000 * scatter) ** 2 / item["count"]
            common = weight * part / 1000 * Decimal(evidence["shared"])
            key = (metal, evidence["name"])
            shared[key] = shared.get(key, kind.zero) + common
    for (metal, _), common in shared.items():
        variance[metal] = variance[metal] + common**2
    return fine, variance, total, gross, articles


def _holds(terms: dict[str, Any], item: dict[str, Any]) -> list[Any]:
    evidence = {**terms["evidence"][item["evidence"]], "name": item["evidence"]}
    if not evidence.get("reckon", True):
        return []
    bias, scatter = Decimal(evidence["bias"]), Decimal(evidence["scatter"])
    if "composition" in item:
        known = {m: Decimal(p) * 10 for m, p in item["composition"].items()}
        return [(m, p + (bias if m == "gold" else 0), evidence, scatter) for m, p in known.items()]
    known_gold = Decimal(MARKS[item["karat"]])
    holds = [("gold", known_gold + bias, evidence, scatter)]
    table = {**terms["evidence"]["alloy_table"], "name": "alloy_table"}
    for row in terms["alloy_silver"]:
        in_range = Decimal(row["from"]) <= known_gold < Decimal(row["to"])
        if row["colour"] == item.get("colour") and in_range:
            spread = (Decimal(row["high"]) - Decimal(row["low"])) / Decimal(12).sqrt()
            holds.append(("silver", Decimal(row["likely"]), table, spread))
    return holds


def _accountable(kind: Any, rule: dict[str, Any], r: Any) -> Any:
    if "payable_from" in rule and r < kind.weight(rule["payable_from"]):
        return kind.zero
    kept = max(r * (1 - Decimal(rule["accountable"])), kind.weight(rule["minimum_deduction"]))
    answered = max(kind.zero, r - kept)
    return kind.of_mg(kind.grams(answered).quantize(MG, ROUND_HALF_EVEN))


def _net(kind: Any, terms: Any, request: Any, accountable: Any, gross: Any, need: Any) -> Decimal:
    line = request["instructions"]["gold"]["bars"][0]
    nominal = kind.grams(kind.weight(line["nominal"])) * Decimal(line["fineness"]) / 1000
    takes = kind.of_mg(nominal.quantize(MG, ROUND_HALF_EVEN))
    bars = int(kind.grams(accountable["gold"]) // kind.grams(takes))
    sold = accountable["gold"] - bars * takes
    rate = Decimal(terms["metals"]["gold"]["payout_rate"])
    price = Decimal(request["prices"]["gold"]["amount"])
    payout = (kind.grams(sold) * price * rate).quantize(CENT, ROUND_HALF_UP)
    quantities = {
        "gross_weight": kind.grams(gross),
        "lot": Decimal(1),
        "fine_weight": kind.grams(accountable["gold"]),
        "silver_lent": kind.grams(need),
        "bar": Decimal(bars),
    }
    charges = sum(_charge(c, quantities[c["base"]]) for c in terms["charges"])
    tax = (charges * Decimal(terms["taxes"]["standard"]["rate"])).quantize(CENT, ROUND_HALF_UP)
    return payout - charges - tax


def _charge(charge: dict[str, Any], quantity: Decimal) -> Decimal:
    best = quantity * Decimal(charge["rate"])
    for tier in charge.get("tiers", ()):
        start, rate = Decimal(tier["from"]), Decimal(tier["rate"])
        best = quantity * rate if start <= quantity else min(best, start * rate)
    return max(best.quantize(CENT, ROUND_HALF_UP), Decimal(charge.get("minimum", 0)))
