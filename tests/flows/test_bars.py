"""Bars handed over, kept, unclaimed; bars of the house's poured, bought and sold."""

from typing import Any

import pytest
from desk import Desk, grams, money
from stages import BARS, CLIENT, LOT

from settle.books import personal

OWED = f"client:{CLIENT}:bars"
GIFT = "house:gift above what is stated"


# handover


def test_a_bar_leaves_with_all_that_is_in_it_and_the_rest_is_a_gift(settled: Desk) -> None:
    before = settled.balance(GIFT, "gold")
    bar = settled.hand_over(BARS[0], "20.03")
    assert (bar["state"], bar["client"]) == ("handed_over", CLIENT)
    # 20.03 g × 999.97 ‰ = 20.029 g are in it, 20 g × 999.9 ‰ = 19.998 g are stated.
    assert settled.balance("house:bars", "gold") == 20_019
    assert settled.balance(OWED, "gold") == -19_998
    assert settled.balance(GIFT, "gold") == before + 31


def test_who_took_it_stands_among_the_personal_data_alone(settled: Desk) -> None:
    bar = settled.hand_over(BARS[0], "20.03", who="Cora Carrier")
    assert "Cora" not in str(bar)
    with settled.books.reading() as work:
        assert personal.kept(work, bar["handover"], "handover") == {"who": "Cora Carrier"}


@pytest.mark.parametrize("reading", ["20.02", "20.03", "20.04"])
def test_weighed_again_it_may_differ_by_one_division(settled: Desk, reading: str) -> None:
    settled.hand_over(BARS[0], reading)


@pytest.mark.parametrize("reading", ["20.01", "20.05"])
def test_a_bar_that_weighs_otherwise_stays(settled: Desk, reading: str) -> None:
    refused = settled.refused.hand_over(BARS[0], reading)
    assert refused.faults == {"/reading": "bar-weighs-otherwise"}
    assert "0.01 g" in refused.rights["/reading"]


def test_on_a_coarser_scale_its_division_is_what_counts(settled: Desk) -> None:
    settled.scale("coarse", "0.1", min=grams("50"))
    told = settled.hand_over(BARS[0], "20.1", scale="coarse")
    assert told.notices == ["below-minimum-load"]


@pytest.mark.parametrize(
    ("body", "faults"),
    [
        ({"reading": grams("20.03")}, {"/who": "missing"}),
        ({"who": "Ann Other"}, {"/reading": "missing"}),
        ({"who": "Ann Other", "reading": grams("20.03"), "scale": "none"}, {"/scale": "unknown-scale"}),
    ],
)
def test_a_handover_says_who_and_what_it_weighed(settled: Desk, body: Any, faults: dict[str, str]) -> None:
    assert settled.refused.post(f"/v1/bars/{BARS[0]}/handover", body).faults == faults


def test_only_a_clients_bar_is_handed_over_and_once(at: Any) -> None:
    assert at("poured").refused.hand_over(BARS[0], "20.03").said == (409, "wrong-state", "")
    desk = at("settled")
    desk.hand_over(BARS[0], "20.03")
    assert desk.refused.hand_over(BARS[0], "20.03").said == (409, "wrong-state", "")
    assert desk.refused.hand_over("BAR-2026-0099", "20.03").status == 404


def test_a_handover_is_reversed_by_an_owner(settled: Desk, keys: dict[str, str]) -> None:
    before = settled.balances()
    assert settled.refused.reverse(f"bars/{BARS[0]}/handover").said == (409, "wrong-state", "")
    settled.hand_over(BARS[0], "20.03")
    worker = settled.with_key(keys["work"])
    assert worker.refused.reverse(f"bars/{BARS[0]}/handover").status == 403
    assert settled.reverse(f"bars/{BARS[0]}/handover", "another bar was meant")["state"] == "assigned"
    assert settled.balances() == before
    settled.hand_over(BARS[0], "20.03")


def test_bars_stay_while_the_client_owes_the_net(at: Any, keys: dict[str, str]) -> None:
    desk = at("in batch")
    bars = [{"nominal": grams("20"), "fineness": "999.9", "count": "most"}]
    on_account = {"bars": bars, "remainder": "metal_account"}
    desk.instruct(LOT, gold=on_account, silver={"remainder": "metal_account"})
    desk.lend("B-2026-0001", "114.90", scale="counter")
    desk.take_out("B-2026-0001", "gold", "57.71", "999.97", "0.02")
    desk.take_out("B-2026-0001", "silver", "125.43", "998")
    desk.pour(LOT, "20.03")
    desk.reconcile("B-2026-0001")
    desk.prices(gold="61.00", silver="0.74")
    desk.settle(desk.draft(LOT)["id"])
    refused = desk.refused.hand_over(BARS[0], "20.03")
    assert (refused.said, "S-2026-0001" in refused.body["detail"]) == ((409, "net-unpaid", ""), True)
    word = {"reason": "he pays on Friday"}
    assert desk.with_key(keys["work"]).refused.hand_over(BARS[0], "20.03", override=word).status == 403
    owed = desk.get("/v1/settlements/S-2026-0001")["open"]["amount"].removeprefix("-")
    paid = desk.pay("S-2026-0001", owed)
    desk.hand_over(BARS[0], "20.03")
    desk.reverse(f"bars/{BARS[0]}/handover")
    desk.unpay("S-2026-0001", paid["id"])
    desk.hand_over(BARS[0], "20.03", override=word)


def test_bars_that_wait_for_their_client_are_listed_as_unclaimed(settled: Desk) -> None:
    settled.buy_bar()
    settled.hand_over(BARS[0], "20.03")
    assert [b["serial"] for b in settled.listed("/v1/bars?unclaimed=true")] == [BARS[1]]
    assert len(settled.listed("/v1/bars")) == 3
    assert settled.refused.get("/v1/bars?unclaimed=perhaps").status == 400


# bars of the house's own


def test_a_bought_bar_is_stock_for_what_it_states(shop: Desk) -> None:
    bar = shop.buy_bar()
    assert (bar["serial"], bar["state"], bar["lot"], bar["client"]) == ("BAR-2026-0001", "poured", None, None)
    assert shop.get("/v1/bars/BAR-2026-0001")["mark"] == "a maker 1234"
    assert (bar["stated_weight"]["g"], bar["stated_fine"]["g"]) == ("31.100", "31.096")
    assert shop.balance("house:bars", "gold") == 31_096
    assert shop.balance("house:bank", "GBP") == -190_000
    assert shop.balance("conversion", "GBP") == 190_000


def test_a_bar_is_poured_for_stock_from_what_is_loose(settled: Desk) -> None:
    loose = settled.balance("house:stock", "gold")
    bar = settled.pour_bar("10.03", mark="a maker's, which it is not")
    assert "mark" not in bar
    # 10.03 g × 999.97 ‰ = 10.030 g
    assert settled.balance("house:stock", "gold") == loose - 10_030
    assert (bar["stated_weight"]["g"], bar["stated_fineness"], bar["notices"][0]["code"]) == (
        "10.000", "999.9", "hot-metal",
    )  # fmt: skip


@pytest.mark.parametrize(
    ("reading", "changes", "faults"),
    [
        ("10.00", {}, {"/reading": "bar-under-nominal"}),
        ("10.06", {}, {"/reading": "bar-over-pour"}),
        ("10.03", {"assay": {"fineness": "998", "method": "fire_assay"}}, {"/assay": "bar-below-promise"}),
        ("10.03", {"assay": None}, {"/assay": "wrong-type"}),
        ("10.03", {"metal": "tin"}, {"/metal": "not-one-of"}),
    ],
)
def test_a_bar_that_can_not_be_stated_is_not_kept(
    settled: Desk, reading: str, changes: Any, faults: dict[str, str]
) -> None:
    assert settled.refused.pour_bar(reading, **changes).faults.items() >= faults.items()


def test_no_bar_is_poured_of_metal_that_is_not_there(shop: Desk) -> None:
    assert shop.refused.pour_bar("10.03").said == (409, "not-in-stock", "/reading")


def test_a_bought_bar_says_whose_it_was_and_what_it_cost(shop: Desk) -> None:
    told = shop.refused.post("/v1/stock/bars", {"kind": "bought", "metal": "gold", "fineness": "999.9"})
    assert told.faults == {
        "/mark": "missing", "/weight": "missing", "/cost": "missing", "/paid_in": "missing",
    }  # fmt: skip
    assert shop.refused.buy_bar(cost=money("1.00", "EUR")).faults == {"/cost/currency": "other-currency"}


def test_a_bar_from_stock_is_sold_paid_at_once_and_waits_for_its_client(shop: Desk) -> None:
    serial = shop.buy_bar()["serial"]
    sale = shop.sell_bar(serial)
    # It states 31.09689, down 31.096 g; × 61.20 × 1.02 = 1941.136…; exempt under these terms.
    assert (sale["value"], sale["net"]) == (money("1941.14"), money("1941.14"))
    assert [(t["code"], t["class"], t["amount"]) for t in sale["taxes"]] == [
        ("exempt", "exempt", money("0.00"))
    ]
    assert sale["payment"]["direction"] == "from_client"
    assert shop.balance("house:bank", "GBP") == 194_114 - 190_000
    assert shop.balance(OWED, "gold") == -31_096
    assert shop.balance(f"client:{CLIENT}:money", "GBP") == 0
    assert [b["serial"] for b in shop.listed("/v1/bars?unclaimed=true")] == [serial]
    shop.hand_over(serial, "31.1")
    assert shop.balance(f"{OWED} + house:bars + {GIFT}", "gold") == 0


def test_tax_on_a_bar_is_paid_with_it(shop: Desk) -> None:
    serial = shop.buy_bar("100", metal="silver", fineness="999", cost=money("70.00"))["serial"]
    sale = shop.sell_bar(serial, paid_in="cash")
    # 99.9 g × 0.74 × 1.05 = 77.6223; 20 % on it.
    assert (sale["value"], sale["net"]) == (money("77.62"), money("93.14"))
    assert shop.balance("tax:standard", "GBP") == -1_552
    assert shop.balance("house:till", "GBP") == 9_314


def test_the_sale_of_a_bar_is_reversed_while_it_is_in_the_house(shop: Desk) -> None:
    before = shop.balances()
    serial = shop.buy_bar()["serial"]
    bought = shop.balances()
    assert before != bought
    shop.sell_bar(serial)
    shop.hand_over(serial, "31.1")
    assert shop.refused.reverse(f"bars/{serial}/sale").said == (409, "something-rests-on-it", "")
    shop.reverse(f"bars/{serial}/handover")
    bar = shop.reverse(f"bars/{serial}/sale", "he changed his mind")
    assert (bar["state"], bar["client"], shop.balances()) == ("poured", None, bought)
    assert shop.refused.reverse(f"bars/{serial}/sale").said == (409, "wrong-state", "")
    shop.sell_bar(serial)


@pytest.mark.parametrize("stage", ["poured", "settled"])
def test_a_bar_of_a_lot_is_not_the_houses_to_sell(at: Any, stage: str) -> None:
    assert at(stage).refused.sell_bar(BARS[0]).said == (409, "wrong-state", "")


def test_a_bar_is_not_sold_twice_nor_to_nobody_nor_at_an_old_price(shop: Desk, clock: Any) -> None:
    one, two = shop.buy_bar()["serial"], shop.buy_bar()["serial"]
    shop.sell_bar(one)
    assert shop.refused.sell_bar(one).said == (409, "wrong-state", "")
    assert shop.refused.sell_bar(two, client="C-9").faults == {"/client": "unknown-reference"}
    assert shop.refused.sell_bar("BAR-2026-0099").status == 404
    clock.move(hours=2)
    assert shop.refused.sell_bar(two).kind == "price-too-old"


def test_terms_that_do_not_know_the_metal_sell_no_bar_of_it(shop: Desk) -> None:
    serial = shop.buy_bar("10", metal="platinum", fineness="999", cost=money("250.00"))["serial"]
    assert shop.refused.sell_bar(serial).faults == {"/terms": "unknown-metal"}


def test_a_bar_of_the_houses_is_withdrawn_into_loose_stock(settled: Desk) -> None:
    loose = settled.balance("house:stock", "gold")
    poured, bought = settled.pour_bar("10.03")["serial"], settled.buy_bar("10")["serial"]
    settled.withdraw_bar(poured)
    assert settled.balance("house:stock", "gold") == loose
    settled.withdraw_bar(bought)
    # 10 g × 999.9 ‰, bought and no bar any more.
    assert settled.balance("house:stock", "gold") == loose + 9_999
    assert settled.refused.sell_bar(bought).said == (409, "wrong-state", "")


def test_a_sold_bar_is_not_withdrawn(shop: Desk) -> None:
    serial = shop.buy_bar()["serial"]
    sale = shop.sell_bar(serial)["number"]
    refused = shop.refused.withdraw_bar(serial)
    assert (refused.kind, sale in refused.body["detail"]) == ("something-rests-on-it", True)
