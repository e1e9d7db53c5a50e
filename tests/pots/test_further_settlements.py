"""H8: gold is settled first, the silver by a further settlement of the whole, line by line."""

from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from stages import Clock
from works import ALL, YES, Works, grams, mg, money, terms

# 20 g of gold and 4 g of silver; it needs 40 g of house silver, and has 50.
MELT, GOLD, SILVER = "40", "500", "100"


def minor(of: dict[str, str]) -> int:
    return int(Decimal(of["amount"]) * 100)


class Road:
    """One lot whose gold is settled, and whose silver is three weeks in the bath."""

    def __init__(self, works: Works, clock: Clock, of: str | None = None, **wishes: Any) -> None:
        self.works, self.clock = works, clock
        quote = works.quote(
            {
                "client": "C-1",
                "items": [self.item()],
                "instructions": ALL | wishes,
                **({} if of is None else {"terms": of}),
            }
        )
        works.accept(quote)
        self.lot = works.receive(quote=quote["number"], consents_to_share=True)["number"]
        works.melt(self.lot, MELT)
        works.assay(self.lot, {"gold": GOLD, "silver": SILVER})
        self.batch = works.batch(self.lot)["number"]
        works.lend(self.batch, "50", fineness="1000")
        works.take_out(self.batch, "gold", "19.9", "1000")
        self.recovery = works.bath(self.batch)["number"]
        works.close(self.batch)
        self.first = works.settled(self.lot)

    @staticmethod
    def item() -> dict[str, Any]:
        composition = {"gold": GOLD, "silver": SILVER}
        return {"evidence": "sure", "composition": composition, "gross": grams(MELT)}

    def silver(self, out: str = "52.92") -> None:
        """λ is 0.02 with 52.92 g of 54 g: R is 4 − 44 × 0.02 = 3.12 g."""
        self.clock.move(days=21)
        self.works.silver_out(self.recovery, out)
        self.works.close(self.recovery)


@pytest.fixture
def road(works: Works, clock: Clock) -> Callable[..., Road]:
    return lambda **more: Road(works, clock, **more)


def charged(document: Any, name: str) -> tuple[str, str, str]:
    """Of the whole lot, charged before, and by this document."""
    lines = {line["name"]: line for line in document["cases"]["final"]["charges"]}
    of = lines.get(name)
    return ("", "", "0.00") if of is None else _since(of)


def taxed(document: Any, code: str) -> tuple[str, str, str]:
    [of] = [line for line in document["cases"]["final"]["taxes"] if line["code"] == code]
    return _since(of)


def _since(of: Any) -> tuple[str, str, str]:
    return of["of_lot"]["amount"], of["charged_before"]["amount"], of["amount"]["amount"]


@pytest.mark.rule("H8")
def test_the_first_settlement_says_what_is_still_to_come(road: Callable[..., Road]) -> None:
    first = road().first
    assert (first["still_to_come"], first["further_to"], first["whole"]) == (["silver"], None, None)
    assert list(first["cases"]["final"]["metals"]) == ["gold"]


@pytest.mark.rule("H8")
def test_a_further_settlement_is_of_the_difference_and_shows_the_whole_beside_it(
    road: Callable[..., Road],
) -> None:
    of = road(silver={"remainder": "pay_out"})
    of.silver()
    further = of.works.settled(of.lot)
    assert (further["further_to"], further["still_to_come"]) == (of.first["number"], [])
    # Accountable: 19.701 g of gold at 60.00 × 0.98; 2.964 g of silver at 0.80 × 0.90.
    final = further["cases"]["final"]
    assert {m: a["payout"] for m, a in final["metals"].items()} == {"silver": money("2.13")}
    # 2 % of 1182.06, then of 1182.06 + 2.3712: a charge by value rises with the silver, and its tax.
    assert charged(further, "assurance") == ("23.69", "23.64", "0.05")
    assert charged(further, "treatment")[2] == "0.00", "it was charged before, and is left out"
    assert taxed(further, "standard") == ("8.74", "8.73", "0.01")
    for document in (further, final):
        due = (document["charges_total"], document["tax_total"], document["net"])
        assert due == (money("0.05"), money("0.01"), money("2.07"))
    whole = further["whole"]
    assert {m: a["payout"] for m, a in whole["metals"].items()} == {
        "gold": money("1158.42"),
        "silver": money("2.13"),
    }
    assert (whole["charges_total"], whole["tax_total"]) == (money("43.69"), money("8.74"))
    assert minor(whole["net"]) == minor(of.first["net"]) + minor(further["net"])


@pytest.mark.rule("H8")
def test_the_charges_and_taxes_of_both_papers_are_the_ledgers(road: Callable[..., Road]) -> None:
    of = road(silver={"remainder": "pay_out"})
    of.silver()
    papers = [of.first, of.works.settled(of.lot)]
    for total, accounts in (
        ("tax_total", "tax:standard"),
        ("charges_total", "charges:treatment + charges:assurance"),
    ):
        printed = sum(minor(paper[total]) for paper in papers)
        assert printed == -of.works.balance(accounts, "GBP")


@pytest.mark.rule("H8")
def test_what_is_posted_is_the_difference_alone(road: Callable[..., Road]) -> None:
    of = road(silver={"remainder": "pay_out"})
    of.silver()
    further = of.works.settled(of.lot)
    [entry] = of.works.get(f"/v1/journal?document={further['number']}")["items"]
    moved = {(row["account"], row["commodity"]): row["amount"] for row in entry["lines"]}
    assert moved == {
        ("client:C-1:money", "GBP"): -207,
        ("conversion", "GBP"): 213,
        ("conversion", "silver"): -2_964,
        ("house:kept", "silver"): -156,
        (f"client:C-1:lot:{of.lot}", "silver"): 3_120,
        ("charges:assurance", "GBP"): -5,
        ("tax:standard", "GBP"): -1,
    }


@pytest.mark.rule("H8")
@pytest.mark.rule("E3")
def test_gold_that_was_sold_to_cover_the_charges_stays_sold(road: Callable[..., Road]) -> None:
    of = road(gold={"remainder": "cover_charges"}, silver={"remainder": "pay_out"})
    first = of.first["cases"]["final"]["metals"]["gold"]
    # 20.00 + 23.64 and 8.73 of tax: 0.891 g at 58.80 is 52.39, and 0.890 g would be 52.33.
    assert (first["sold"], first["shot"]) == ({"g": "0.891"}, {"g": "18.810"})
    of.silver()
    of.works.prices(gold="70.00", silver="0.90")
    further = of.works.settled(of.lot)
    gold = further["whole"]["metals"]["gold"]
    assert (gold["sold"], gold["shot"], gold["payout"]) == (first["sold"], first["shot"], first["payout"])
    # At the price of its own day the silver alone is new: 2.964 g at 0.90 × 0.90, and its charge and tax.
    metals = further["cases"]["final"]["metals"]
    assert {m: a["payout"] for m, a in metals.items()} == {"silver": money("2.40")}
    assert further["net"] == money("2.34")


@pytest.mark.rule("F4")
@pytest.mark.rule("H8")
def test_each_document_waives_by_itself_what_is_too_small_to_pay(works: Works, clock: Clock) -> None:
    works.terms(terms(name="small", least_paid="2.10"))
    of = Road(works, clock, of="T-2", silver={"remainder": "pay_out"})
    assert (of.first["net"], of.first["cases"]["final"]["waived"]) == (money("1106.05"), money("0.00"))
    of.silver()
    further = works.settled(of.lot)
    assert (further["net"], further["cases"]["final"]["waived"]) == (money("0.00"), money("2.07"))
    assert further["whole"]["net"] == money("1108.12"), "the whole is before anything is waived"
    assert works.balance("house:too small to pay", "GBP") == -207
    assert works.balance("client:C-1:money", "GBP") == -110_605
    note = works.reverse(f"settlements/{further['number']}", "a slip")
    assert works.balance("house:too small to pay", "GBP") == 0
    credited = works.get(f"/v1/credit-notes/{note['reversal']['credit_note']}")
    assert ("too small to pay", "2.07") in [(x["line"], x["amount"]["amount"]) for x in credited["lines"]]
    assert credited["net"] == money("0.00")


@pytest.mark.rule("G2")
@pytest.mark.rule("G3")
def test_the_comparison_is_of_the_whole(road: Callable[..., Road]) -> None:
    of = road(silver={"remainder": "pay_out"})
    of.silver()
    further = of.works.settled(of.lot)
    steps = further["comparison"]["steps"]
    assert steps[0]["worth"] == money("1108.12"), "gold and silver, as they were quoted"
    assert sum(minor(step["difference"]) for step in steps[1:]) == minor(further["comparison"]["difference"])
    assert minor(steps[-1]["worth"]) == minor(of.first["net"]) + minor(further["net"])
    # What the further one gives is worth what it pays, and no more.
    assert further["cases"]["final"]["client_gets"]["worth"] == further["net"]
    assert further["whole"]["client_gets"]["worth"] == steps[-1]["worth"]
    assert further["inside_band"] == {"gold": True, "silver": True}
    # All came out as quoted, in a batch with another loan than the need: nobody is surprised.
    assert [step["difference"]["amount"] for step in steps[1:]] == ["0.00"] * 6


@pytest.mark.rule("H8")
def test_metal_on_account_is_credited_by_the_further_settlement(road: Callable[..., Road]) -> None:
    of = road()
    of.silver()
    further = of.works.settled(of.lot)
    assert mg(further["cases"]["final"]["metals"]["silver"]["metal_account"]) == 2_964
    assert of.works.balance("client:C-1:metal", "silver") == -2_964
    lot = of.works.get(f"/v1/lots/{of.lot}")
    assert (lot["settlement"], lot["settled_metals"]) == (further["number"], ["gold", "silver"])


@pytest.mark.rule("H8")
def test_wishes_of_the_silver_are_free_until_it_is_settled_and_those_of_the_gold_are_not(
    road: Callable[..., Road],
) -> None:
    of = road()
    assert of.works.refused.instruct(of.lot, gold={"remainder": "shot"}).said == (
        *(409, "wrong-state", "/instructions/gold"),
    )
    of.works.instruct(of.lot, silver={"remainder": "shot"})
    of.silver()
    further = of.works.settled(of.lot)
    assert mg(further["cases"]["final"]["metals"]["silver"]["shot"]) == 2_964


@pytest.mark.rule("H8")
def test_reversal_goes_last_to_first(road: Callable[..., Road]) -> None:
    of = road()
    of.silver()
    before = of.works.balances()
    further = of.works.settled(of.lot)
    refusal = of.works.refused.reverse(f"settlements/{of.first['number']}", "a slip")
    assert refusal.said == (409, "something-rests-on-it", "")
    assert further["number"] in refusal.body["detail"]
    recovery = f"silver-recoveries/{of.recovery}/reconciliation"
    assert further["number"] in of.works.refused.reverse(recovery, "a slip").body["detail"]
    of.works.reverse(f"settlements/{further['number']}", "a slip")
    assert of.works.balances() == before
    of.works.reverse(f"settlements/{of.first['number']}", "a slip")
    of.works.reverse(recovery, "a slip")
    of.works.reverse(f"batches/{of.batch}/reconciliation", "a slip")
    # Done again, both at once: one settlement, of both metals.
    of.works.close(of.batch)
    of.works.close(of.recovery)
    again = of.works.settled(of.lot)
    assert (again["further_to"], list(again["cases"]["final"]["metals"])) == (None, ["gold", "silver"])


def test_a_further_settlement_waits_for_its_metal_and_comes_once(road: Callable[..., Road]) -> None:
    of = road()
    assert of.works.refused.draft(of.lot).said == (409, "metal-not-closed", "/lot")
    assert of.works.refused.draft(of.lot, metals=["gold"]).said == (409, "wrong-state", "/metals/0")
    of.silver()
    of.works.settled(of.lot)
    assert of.works.refused.draft(of.lot).said == (409, "wrong-state", "/lot")


def test_on_assay_the_silver_is_settled_with_the_gold_and_the_recovery_is_the_houses(
    works: Works, clock: Clock
) -> None:
    works.terms(terms(name="assay", silver={"settle_on": "assay"}))
    one = works.lot(MELT, GOLD, SILVER, terms="T-2")
    number = works.batch(one)["number"]
    works.lend(number, "50", fineness="1000")
    works.take_out(number, "gold", "19.9", "1000")
    recovery = works.bath(number)["number"]
    works.close(number)
    settled = works.settled(one)
    metals = settled["cases"]["final"]["metals"]
    assert ({m: mg(of["recovered"]) for m, of in metals.items()}, settled["still_to_come"]) == (
        {"gold": 19_900, "silver": 4_000},
        [],
    )
    clock.move(days=21)
    works.silver_out(recovery, "53")
    account = works.close(recovery)["metals"]["silver"]
    assert [mg(of) for of in account["credited"].values()] == [4_000]
    assert mg(account["house_share"]) == 49_000


def test_metal_settled_on_its_assay_before_its_batch_can_still_be_reckoned_in_it(works: Works) -> None:
    """A lot in a batch is credited its own on assay, whenever the batch is closed."""
    works.terms(terms(name="assay", gold={"settle_on": "assay"}, silver={"settle_on": "assay"}))
    said = {"terms": "T-2", "client": "C-1", "acceptance": YES, "instructions": ALL}
    one = works.lot(MELT, GOLD, SILVER, **said)
    number = works.batch(one)["number"]
    works.lend(number, "50", fineness="1000")
    works.settled(one)
    works.take_out(number, "gold", "19.9", "1000")
    works.take_out(number, "silver", "53", "1000")
    posted = works.close(number)["metals"]
    assert {m: mg(a["house_share"]) for m, a in posted.items()} == {"gold": -100, "silver": 49_000}


def test_what_settles_on_its_assay_waits_for_the_batch_that_the_rest_needs(works: Works) -> None:
    """Settled as it lies the metal would be the house's, and the silver could come out of no batch."""
    works.terms(terms(name="assay", gold={"settle_on": "assay"}))
    one = works.lot(MELT, GOLD, SILVER, terms="T-2")
    refused = works.refused.draft(one)
    assert refused.said == (409, "metal-not-closed", "/lot")
    assert refused.rights["/lot"] == "a batch of it first"
    works.batch(one)
    assert works.settled(one)["still_to_come"] == ["silver"]


def test_the_further_settlement_is_the_last_whatever_the_clock_says(
    road: Callable[..., Road], clock: Clock
) -> None:
    of = road()
    of.silver()
    clock.move(days=-40)
    further = of.works.settled(of.lot)
    assert further["posted_at"] < of.first["posted_at"]
    shown = of.works.get(f"/v1/lots/{of.lot}")
    assert (shown["settlement"], shown["settled_metals"]) == (further["number"], ["gold", "silver"])
    assert of.works.refused.draft(of.lot).said == (409, "wrong-state", "/lot")
    assert of.works.refused.reverse(f"settlements/{of.first['number']}", "a slip").status == 409
