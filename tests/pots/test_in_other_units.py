"""A7: a shop that weighs in pennyweights, troy ounces, grains or tola goes the whole road with exact figures."""

import random
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

import pytest
from works import TERMS, YES, Json, Works, accounted

from settle.books.settlements import posted_of
from settle.reckoning import record

# Grams in one of each unit (31.1034768 g to the troy ounce, A1), and the places to which a scale of it reads.
UNITS = {
    "dwt": (Decimal("31.1034768") / 20, 2),
    "ozt": (Decimal("31.1034768"), 3),
    "grain": (Decimal("0.06479891"), 1),
    "tola": (Decimal("0.06479891") * 180, 3),
}


@dataclass(frozen=True)
class Bench:
    """A shop that weighs in one unit; what it weighs is drawn."""

    works: Works
    unit: str
    rng: random.Random

    @property
    def d(self) -> Decimal:
        return Decimal(1).scaleb(-UNITS[self.unit][1])

    def near(self, grams: float) -> Decimal:
        """A reading of the scale near some grams, its last digits at random."""
        reading = Decimal(grams) / UNITS[self.unit][0] + self.rng.randint(-9, 9) * self.d
        return max(self.d, reading.quantize(self.d))

    def of(self, amount: Decimal) -> Json:
        return {"amount": f"{amount}", "unit": self.unit}

    def weight(self, grams: float) -> Json:
        return self.of(self.near(grams))

    def ppt(self, least: int, most: int, places: int) -> str:
        return f"{Decimal(self.rng.randrange(least * 10**places, most * 10**places)).scaleb(-places)}"

    @property
    def nominal(self) -> Decimal:
        """A bar of about 10 g, a multiple of the division."""
        return (10 / UNITS[self.unit][0]).quantize(self.d)

    def terms(self) -> Json:
        gold = TERMS["metals"]["gold"] | {"splitting_limit": "2", "minimum_deduction": self.of(self.d)}
        return TERMS | {
            "name": f"in {self.unit}",
            "weight_unit": self.unit,
            "division": self.of(self.d),
            "metals": TERMS["metals"] | {"gold": gold},
            "stating_step": self.of(self.d * 5),
            "over_pour": self.of(self.d * 4),
            "price_time": "quote",
        }

    def item(self) -> Json:
        stones = {"reason": "stones, guessed", "weight": self.weight(2), "plus_minus": self.weight(0.5)}
        return {
            "evidence": "sure",
            "fineness": self.ppt(500, 600, 3),
            "gross": self.weight(self.rng.uniform(60, 150)),
            "division": self.of(self.d * 2),
            "deductions": [stones, {"reason": "spring", "weight": self.weight(1)}],
        }

    def quoted_lot(self) -> str:
        """A lot quoted, accepted, received, melted, and assayed by two parties who agree on the mean."""
        till, name = self.works, f"in {self.unit}"
        wishes = {
            "gold": {"bars": [{"nominal": self.of(self.nominal), "fineness": "999", "count": 1}]},
            "silver": {"bars": [{"fineness": "990", "count": "whole"}]},
        }
        terms = next(of["number"] for of in till.listed("/v1/terms") if of["name"] == name)
        body = {"client": "C-1", "terms": terms, "items": [self.item()], "instructions": wishes}
        quote = till.accept(till.quote(body))
        lot = str(till.receive(quote=quote["number"], acceptance=YES, consents_to_share=True)["number"])
        net = float(quote["items"][0]["net"]["g"])
        drillings = {"weight": self.weight(0.4), "whose": "house"}
        till.post(
            f"/v1/lots/{lot}/melt",
            {"weight": self.weight(net * 0.995), "drillings": drillings, "scale": self.unit},
        )
        found = self.ppt(500, 600, 9)
        of_lab = {"expanded_u": "0.7", "k": "3"}
        for party, gold in (("house", found), ("client", f"{Decimal(found) + Decimal('0.000000001')}")):
            finenesses = {"gold": {"fineness": gold, **of_lab}}
            if party == "house":
                finenesses["silver"] = {"fineness": self.ppt(80, 120, 2), **of_lab}
            assay = {"party": party, "method": "fire_assay", "finenesses": finenesses}
            till.post(f"/v1/lots/{lot}/assays", assay)
        return lot

    def outturn(self, batch: str, metal: str, grams: float, fineness: str) -> None:
        body = {
            "metal": metal,
            "weight": self.weight(grams / float(fineness) * 1000),
            "assay": {"fineness": fineness, "expanded_u": "0.05", "k": "3", "method": "fire_assay"},
            "scale": self.unit,
        }
        self.works.post(f"/v1/batches/{batch}/outturns", body)

    def pour(self, lot: str, metal: str, reading: Decimal) -> str:
        body = {"lot": lot, "metal": metal, "reading": self.of(reading), "scale": self.unit}
        return str(self.works.post("/v1/bars", body)["serial"])


@pytest.fixture(params=[(unit, seed) for unit in UNITS for seed in (1, 2)], ids=lambda p: f"{p[0]}-{p[1]}")
def bench(works: Works, request: pytest.FixtureRequest) -> Bench:
    unit, seed = request.param
    made = Bench(works, unit, random.Random(f"{unit} {seed}"))
    scale = {"name": unit, "division": made.of(made.d), "min": made.of(made.d), "max": made.weight(2000)}
    works.post("/v1/scales", scale)
    mould = {"name": "ten", "nominal": made.of(made.nominal), "over_pour": made.of(made.d * 4), "scale": unit}
    works.post("/v1/moulds", mould)
    works.terms(made.terms())
    return made


def closed(bench: Bench, lots: list[str]) -> str:
    """A batch of the lots, house silver lent, some silver held back; both metals came out and are closed."""
    works, batch = bench.works, str(bench.works.batch(*lots)["number"])
    plan = works.get(f"/v1/batches/{batch}/parting-plan")
    loan = bench.weight(float(plan["silver_to_add"]["g"]))
    works.post(f"/v1/batches/{batch}/silver-loans", {"weight": loan, "scale": bench.unit})
    held = {"metal": "silver", "estimate": bench.weight(2), "u": bench.weight(0.2), "where": "the filters"}
    works.post(f"/v1/batches/{batch}/held", held)
    lent = float(works.get(f"/v1/batches/{batch}")["lent"]["silver"]["g"])
    went_in = {m: works.balance(f"house:process:{batch}", m) / 1000 for m in ("gold", "silver")}
    bench.outturn(batch, "gold", went_in["gold"] * 0.995, "999.951234567")
    bench.outturn(batch, "silver", (went_in["silver"] + lent) * 0.98 - 2, "998.123456789")
    account = works.close(batch)
    for of in account["metals"].values():
        accounted(works, of)
        rest = Fraction(of["in"]["g"]) - Fraction(of["expected_loss"]["g"]) - Fraction(of["residual"]["g"])
        assert rest == Fraction(of["out"]["g"]) + Fraction(of["held"]["g"])
    assert record.faults_of(works.ask("GET", f"/v1/batches/{batch}/reconciliation/record").data) == []
    return batch


def settled(bench: Bench, lot: str, silver_g: float) -> Json:
    """The lot's bars poured, one of nominal weight and one of all its silver; its account posted."""
    works = bench.works
    rest = (Decimal(silver_g * 0.95 / 0.9981) / UNITS[bench.unit][0]).quantize(bench.d) - 2 * bench.d
    readings = {"gold": bench.nominal + bench.d * bench.rng.randint(1, 4), "silver": rest}
    serials = {metal: bench.pour(lot, metal, reading) for metal, reading in readings.items()}
    final = works.settled(lot)
    assert final["state"] == "posted"
    for metal, serial in serials.items():
        assert works.get(f"/v1/bars/{serial}/certificate")["in_force"]
        again = {"reading": bench.of(readings[metal] - bench.d), "scale": bench.unit}
        works.post(f"/v1/bars/{serial}/handover", {"who": "Ann Other", **again})
    return dict(final)


def test_the_whole_road_is_gone_in_any_unit_and_every_record_is_equal(bench: Bench) -> None:
    works, lots = bench.works, [bench.quoted_lot() for _ in range(2)]
    batch = closed(bench, lots)
    credited = works.account(batch)["metals"]["silver"]["credited"]
    for lot in lots:
        final = settled(bench, lot, float(credited[lot]["g"]))
        path = f"/v1/settlements/{final['number']}"
        raw = works.ask("GET", f"{path}/record").data
        assert record.faults_of(raw) == []
        assert works.ask("GET", path, Accept="application/pdf").data.startswith(b"%PDF")
    [kept] = works.get(f"/v1/batches/{batch}")["held"]
    assay = {"fineness": "999.123456789", "expanded_u": "1", "k": "3", "method": "fire_assay"}
    back = {"metal": "silver", "weight": kept["estimate"], "assay": assay, "held": kept["id"]}
    works.post(f"/v1/batches/{batch}/outturns", {**back, "scale": bench.unit})


def test_bars_and_metal_of_the_houses_own_are_entered_counted_and_sold_in_any_unit(bench: Bench) -> None:
    works, nominal = bench.works, (3 / UNITS[bench.unit][0]).quantize(bench.d)
    body = {
        "kind": "poured",
        "metal": "gold",
        "nominal": bench.of(nominal),
        "fineness": "999",
        "reading": bench.of(nominal + bench.d),
        "scale": bench.unit,
        "assay": {
            "method": "difference",
            "report": "LAB-204",
            "fineness": "999.951234567",
            "expanded_u": "0.05",
            "k": "3",
        },
        "terms": works.listed("/v1/terms")[0]["number"],
    }
    poured = works.post("/v1/stock/bars", body)
    bought = works.post(
        "/v1/stock/bars",
        {
            "kind": "bought",
            "metal": "gold",
            "weight": bench.weight(31.1),
            "fineness": "999.123456789",
            "mark": "a maker 1234",
            "cost": {"amount": "1900.00", "currency": "GBP"},
            "paid_in": "transfer",
        },
    )
    for bar in (poured, bought):
        sold = works.sell_bar(bar["serial"])
        assert sold["fine"]["g"] == works.get(f"/v1/bars/{bar['serial']}")["stated_fine"]["g"]
    counted = {"metal": "gold", "weight": bench.weight(2), "fineness": "999.123456789"}
    works.post("/v1/stock-counts", {"metals": [counted], "book": True, "reason": "counted again"})


@pytest.mark.rule("A7")
def test_a_lot_of_30_11_pennyweights_is_settled_on_exactly_what_it_weighed(works: Works) -> None:
    dwt = {"unit": "dwt"}
    works.terms(TERMS | {"name": "in dwt", "weight_unit": "dwt", "division": {"amount": "0.01", **dwt}})
    item = {"evidence": "sure", "fineness": "500", "gross": {"amount": "30.11", **dwt}}
    quote = works.accept(works.quote({"client": "C-1", "terms": "T-2", "items": [item]}))
    lot = works.receive(quote=quote["number"])["number"]
    works.post(f"/v1/lots/{lot}/melt", {"weight": {"amount": "30.07", **dwt}})
    works.assay(lot, {"gold": "500"})
    batch = works.batch(lot)["number"]
    # 30.07 dwt of 500 are 23.3820386844 g; 23.382 × 0.995 g are expected.
    works.take_out(batch, "gold", "23.265", "1000")
    works.close(batch)
    final = works.settled(lot)
    with works.books.reading() as work:
        [inputs] = [of.inputs for of in posted_of(work, lot)]
    assert (inputs["gross"]["amount"], inputs["melt"]["amount"]) == ("46.8262843224", "46.7640773688")
    weights = {name: of["dwt"] for name, of in final["weights"].items()}
    assert weights == {"gross": "30.110", "melt": "30.070", "drillings": "0.000"}


@pytest.mark.rule("A7")
def test_the_limits_of_one_item_are_not_those_of_a_lot(works: Works) -> None:
    """101 items of 10,000 articles, each of 10,000 kg: no item is too much, and so no lot."""
    items = [
        works.item("10000", count=10_000) | {"gross": {"amount": "10000", "unit": "kg"}} for _ in range(101)
    ]
    lot = works.receive(client="C-1", acceptance=YES, items=items, terms=on_assay(works))["number"]
    works.melt(lot, "100")
    works.assay(lot, {"gold": "500"})
    assert works.settled(lot)["weights"]["gross"] == {"g": "1010000000.000"}


def on_assay(works: Works) -> str:
    gold = {"settle_on": "assay", "accountable": "1", "payout_rate": "1"}
    made = TERMS | {"name": "on assay", "metals": {"gold": gold}, "public": False, "charges": []}
    return str(works.terms(made)["number"])
