"""E4 at the till: bars that a lot doesn't cover are told before the pour, refused, or an owner's word."""

from typing import Any

import pytest
from desk import Desk, grams
from stages import CLIENT, LOT, gold_only

from settle.books.check import all_faults

BATCH = "B-2026-0001"
YES = {"who": "Ann Other", "how": "in_person"}
# 21.915 g of accountable gold, asked for bars of 10 g.
MELT, GOLD = "43.83", "500"
TENS = {"nominal": grams("10"), "fineness": "1000"}
OUTTURN = {"settle_on": "outturn", "recovery": "1", "accountable": "1", "payout_rate": "1"}
WORD = {"override": {"reason": "a present to an old client"}}


class Lot:
    """A lot whose gold came out, in a house that has gold to spare."""

    def __init__(self, desk: Desk, **line: Any) -> None:
        self.desk = desk
        desk.terms(gold_only(metals={"gold": OUTTURN}, fineness_steps=["1000"]))
        desk.prices(gold="60.00")
        desk.stock("gold", "500", "1000")
        asked = {name: of for name, of in (TENS | {"count": "most"} | line).items() if of is not None}
        wishes = {"gold": {"bars": [asked], "remainder": "pay_out"}}
        item = {"description": "scrap", "evidence": "sure", "fineness": GOLD, "gross": grams(MELT)}
        desk.receive(client=CLIENT, terms="T-2", items=[item], acceptance=YES, instructions=wishes)
        desk.melt(LOT, MELT)

    def out(self) -> "Lot":
        self.desk.assay(LOT, {"gold": GOLD})
        self.desk.batch(LOT)
        self.desk.take_out(BATCH, "gold", "21.915", "1000", division=grams("0.001"))
        return self

    def pour(self, desk: Desk | None = None, **more: Any) -> Any:
        return (desk or self.desk).pour(LOT, "10.02", **more)

    @property
    def covered(self) -> Any:
        return self.desk.get(f"/v1/lots/{LOT}")["bars_covered"]["gold"]


@pytest.fixture
def till_key(shop: Desk) -> str:
    said = {"name": "a till", "scopes": ["read", "quote", "work", "settle"]}
    return str(shop.post("/v1/keys", said)["secret"])


def test_a_bar_that_the_lot_can_not_cover_is_refused_when_it_is_entered(shop: Desk) -> None:
    lot = Lot(shop).out()
    lot.pour()
    lot.pour()
    refusal = lot.pour(shop.refused)
    assert refusal.faults == {"/line": "bar-not-covered"}
    assert "at most 2 bars of line 0, with 1.941 g left over" in refusal.body["errors"][0]["wrong"]


def test_of_a_numbered_line_no_more_is_poured_than_is_covered(shop: Desk) -> None:
    lot = Lot(shop, count=3).out()
    lot.pour()
    lot.pour()
    assert lot.pour(shop.refused).faults == {"/line": "bar-not-covered"}


def test_a_top_up_covers_one_bar_more_and_no_further(shop: Desk) -> None:
    lot = Lot(shop, count=5, top_up=True).out()
    for _ in range(3):
        lot.pour()
    assert lot.pour(shop.refused).faults == {"/line": "bar-not-covered"}
    shop.reconcile(BATCH)
    settled = shop.settle(shop.draft(LOT)["id"])
    gold = settled["cases"]["final"]["metals"]["gold"]
    assert (gold["top_up"]["g"], gold["excess_gift"]["g"]) == ("8.085", "0.000")


def test_what_is_covered_is_told_by_line_before_anything_is_poured(shop: Desk) -> None:
    lot = Lot(shop, count=3)
    told = lot.covered
    assert (told["rests_on"], told["lines"][0]["covered"]) == ("items", {"low": 2, "likely": 2, "high": 2})
    lot.out()
    told = lot.covered
    # u of 43.83 g × 500 ‰, d 0.01 g and u 0.3 ‰: root(0.5² × 0.01² ÷ 12 + (43.83 × 0.0003)²) = 0.013228…
    assert told["rests_on"] == "assay"
    assert {case: of["g"] for case, of in told["accountable"].items()} == {
        "low": "21.889",
        "likely": "21.915",
        "high": "21.941",
    }
    assert {case: of["g"] for case, of in told["left"].items()} == {
        "low": "1.889",
        "likely": "1.915",
        "high": "1.941",
    }
    lot.pour()
    assert lot.covered["lines"][0]["poured"] == 1
    assert shop.get(f"/v1/batches/{BATCH}")["bars_covered"][LOT]["gold"] == lot.covered
    assert shop.get(f"/v1/batches/{BATCH}/parting-plan")["bars_covered"][LOT]["gold"] == lot.covered
    plan = {"weight": grams("21.915"), "moulds": [grams("10")], "lot": LOT}
    assert shop.post("/v1/pour-plans", plan)["bars_covered"]["gold"] == lot.covered
    assert shop.refused.post("/v1/pour-plans", plan | {"lot": "L-9"}).faults == {"/lot": "unknown-reference"}
    shop.reconcile(BATCH)
    assert (lot.covered["rests_on"], lot.covered["left"]["low"]["g"]) == ("account", "1.915")


def test_only_an_owners_word_with_a_reason_passes(shop: Desk, till_key: str) -> None:
    lot = Lot(shop).out()
    for _ in range(2):
        lot.pour()
    till = shop.with_key(till_key)
    assert till.refused.pour(LOT, "10.02", **WORD).status == 403
    assert shop.refused.pour(LOT, "10.02", override={}).faults == {"/override/reason": "missing"}
    lot.pour(**WORD)
    shop.reconcile(BATCH)
    draft = till.draft(LOT)
    assert draft.notices[0] == "bars-above-account"
    # 30.000 − 21.915 g at 60.00
    assert "8.085 g more than the client is due" in draft["notices"][0]["text"]
    assert "worth 485.10 GBP" in draft["notices"][0]["text"]
    assert till.refused.settle(draft["id"]).faults == {"": "bar-not-covered"}
    path = f"/v1/settlements/{draft['id']}/posting"
    assert till.refused.post(path, WORD, draft.etag).status == 403
    posted = shop.post(path, WORD, draft.etag)
    assert posted["owners_word"] == "a present to an old client"
    with shop.books.reading() as work:
        assert all_faults(work) == []


def test_within_one_over_pour_the_house_gives_without_a_word(shop: Desk) -> None:
    shop.terms(gold_only(metals={"gold": OUTTURN}, fineness_steps=["1000"]))
    shop.stock("gold", "500", "1000")
    item = {"evidence": "sure", "fineness": GOLD, "gross": grams("39.92")}
    wishes = {"gold": {"bars": [TENS | {"count": "most"}]}}
    shop.receive(client=CLIENT, terms="T-2", items=[item], acceptance=YES, instructions=wishes)
    shop.melt(LOT, "39.92")
    shop.assay(LOT, {"gold": GOLD})
    shop.batch(LOT)
    shop.take_out(BATCH, "gold", "19.96", "1000")
    for _ in range(2):
        shop.pour(LOT, "10.02")
    shop.reconcile(BATCH)
    draft = shop.draft(LOT)
    assert draft["cases"]["final"]["metals"]["gold"]["excess_gift"]["g"] == "0.040"
    assert draft.notices[0] == "bars-above-account"
    assert shop.settle(draft["id"])["owners_word"] is None


def test_a_quote_says_of_each_numbered_line_what_is_not_covered(shop: Desk) -> None:
    shop.terms(gold_only(metals={"gold": OUTTURN}, fineness_steps=["1000"]))
    lines = [TENS | {"count": 3}, TENS | {"nominal": grams("1"), "count": 1}]
    item = {"evidence": "sure", "fineness": GOLD, "gross": grams(MELT)}
    quote = shop.quote(
        {"client": CLIENT, "terms": "T-2", "items": [item], "instructions": {"gold": {"bars": lines}}}
    )
    told = [n["text"] for n in quote["notices"] if n["code"] == "bars-not-covered"]
    assert len(told) == 1
    assert told[0].startswith(
        "Of 3 gold bars in line 1, 2 are covered in the low case and 2 in the likely one."
    )


def test_wishes_for_more_than_a_thousand_bars_are_refused_at_the_receipt_and_later(shop: Desk) -> None:
    shop.terms(gold_only(metals={"gold": OUTTURN}))
    item = {"evidence": "sure", "fineness": GOLD, "gross": grams("1000")}
    crumbs = {"gold": {"bars": [{"nominal": grams("0.01"), "fineness": "999", "count": "most"}]}}
    body = {"client": CLIENT, "terms": "T-2", "items": [item], "acceptance": YES}
    at_once = {"/instructions/gold/bars/0": "too-many-bars"}
    assert shop.refused.receive(**body, instructions=crumbs).faults == at_once
    shop.receive(**body)
    assert shop.refused.instruct(LOT, **crumbs).faults == at_once
