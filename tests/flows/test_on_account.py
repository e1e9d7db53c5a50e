"""A client's metal on account: sold at a later price, or taken as a bar from stock."""

from typing import Any

import pytest
from desk import Desk, grams, money
from stages import CLIENT, LOT, gold_only, scrap

METAL, MONEY = f"client:{CLIENT}:metal", f"client:{CLIENT}:money"
YES = {"who": "Ann Other", "how": "in_person"}


@pytest.fixture
def on_account(shop: Desk, clock: Any) -> Desk:
    """49.995 g of gold on account under the client's own terms; a month later gold is at 70.00."""
    gold = {"settle_on": "assay", "accountable": "1", "payout_rate": "0.97"}
    shop.terms(gold_only(metals={"gold": gold}, cash_step="0.05"))
    wish = {"gold": {"remainder": "metal_account"}}
    shop.receive(client=CLIENT, terms="T-2", items=[scrap()], acceptance=YES, instructions=wish)
    shop.melt(LOT, "99")
    shop.assay(LOT, {"gold": "505"})
    shop.settle(shop.draft(LOT)["id"])
    path = f"/v1/clients/{CLIENT}"
    shop.call("PATCH", path, {"default_terms": "T-2"}, shop.get(path).etag)
    clock.move(days=30)
    shop.prices(gold="70.00")
    return shop


def test_metal_is_sold_at_the_price_now_in_force_and_paid_at_once(on_account: Desk) -> None:
    sale = on_account.sell_metal(CLIENT, "gold", weight=grams("10"))
    # 10 g × 70.00 × 0.97
    assert (sale["fine"]["g"], sale["price"]["amount"], sale["net"]) == ("10.000", "70.00", money("679.00"))
    assert sale["payment"]["direction"] == "to_client"
    assert on_account.balance(METAL, "gold") == -39_995
    assert on_account.balance(MONEY, "GBP") == 0
    assert on_account.balance("house:bank", "GBP") == -67_900
    assert (on_account.balance("conversion", "gold"), on_account.balance("conversion", "GBP")) == (
        -10_000, 67_900,
    )  # fmt: skip


def test_without_a_weight_all_of_it_is_sold(on_account: Desk) -> None:
    assert on_account.sell_metal(CLIENT, "gold")["fine"]["g"] == "49.995"
    assert on_account.balance(METAL, "gold") == 0
    assert on_account.refused.sell_metal(CLIENT, "gold").said == (409, "not-on-account", "/weight")


def test_cash_is_rounded_to_the_step_as_a_line_of_the_payment(on_account: Desk) -> None:
    sale = on_account.sell_metal(CLIENT, "gold", weight=grams("0.999"), paid_in="cash")
    # 0.999 g × 70 × 0.97 = 67.8321
    assert (sale["value"], sale["net"]) == (money("67.83"), money("67.83"))
    assert (sale["payment"]["amount"], sale["payment"]["cash_rounding"]) == (money("67.85"), money("0.02"))
    assert on_account.balance("house:cash rounding", "GBP") == 2
    assert on_account.balance("house:till", "GBP") == -6_785


@pytest.mark.parametrize(
    ("body", "said"),
    [
        ({"weight": grams("49.996")}, (409, "not-on-account", "/weight")),
        ({"metal": "silver"}, (422, "invalid-body", "/terms")),
        ({"terms": "T-1", "metal": "silver"}, (409, "not-on-account", "/weight")),
        ({"terms": "T-9"}, (422, "invalid-body", "/terms")),
        ({"metal": "tin"}, (422, "invalid-body", "/metal")),
        ({"paid_in": "favours"}, (422, "invalid-body", "/paid_in")),
        ({"weight": grams("0.0001")}, (409, "wrong-state", "/weight")),
    ],
)
def test_what_can_not_be_sold_is_refused(on_account: Desk, body: Any, said: Any) -> None:
    asked = {"metal": "gold", "weight": grams("1"), "paid_in": "transfer", **body}
    assert on_account.refused.post(f"/v1/clients/{CLIENT}/metal-sales", asked).said == said


def test_no_metal_is_sold_at_an_old_price_or_by_nobody(on_account: Desk, clock: Any) -> None:
    assert on_account.refused.sell_metal("C-9", "gold").status == 404
    clock.move(hours=2)
    assert on_account.refused.sell_metal(CLIENT, "gold").kind == "price-too-old"


def test_a_sale_wants_an_idempotency_key_and_the_scope_settle(on_account: Desk, keys: dict[str, str]) -> None:
    body = {"metal": "gold", "paid_in": "transfer"}
    path = f"/v1/clients/{CLIENT}/metal-sales"
    assert on_account.refused.sent("POST", path, body, Idempotency_Key=None).kind == "idempotency-key-missing"
    assert on_account.with_key(keys["work"]).refused.sell_metal(CLIENT, "gold").status == 403


def test_a_reversed_sale_is_on_account_again_and_the_money_back(on_account: Desk) -> None:
    before = on_account.balances()
    sale = on_account.sell_metal(CLIENT, "gold", weight=grams("10"))
    path = f"clients/{CLIENT}/metal-sales/{sale['id']}"
    assert on_account.reverse(path, "he meant silver")["state"] == "reversed"
    assert on_account.balances() == before
    assert on_account.refused.reverse(path).said == (409, "wrong-state", "")
    assert on_account.refused.reverse(f"clients/{CLIENT}/metal-sales/E-999").status == 404
    listed = on_account.get(f"/v1/clients/{CLIENT}/metal-sales")["items"]
    assert [(s["id"], s["state"]) for s in listed] == [(sale["id"], "reversed")]


# as a bar


def test_a_bar_takes_what_it_states_and_the_rest_is_a_gift(on_account: Desk) -> None:
    on_account.stock("gold", "20", "1000")
    assay = {"fineness": "999.97", "u": "0", "method": "fire_assay"}
    serial = on_account.pour_bar("10.04", assay=assay)["serial"]
    taken = on_account.take_bar(CLIENT, serial)
    assert (taken["bar"], taken["takes"]["g"]) == (serial, "9.999")
    assert on_account.balance(METAL, "gold") == -(49_995 - 9_999)
    assert on_account.balance(f"client:{CLIENT}:bars", "gold") == -9_999
    assert on_account.get(f"/v1/bars/{serial}")["client"] == CLIENT
    on_account.hand_over(serial, "10.04")
    # 10.04 g × 999.97 ‰ = 10.040 g were in it.
    assert on_account.balance("house:gift above what is stated", "gold") == 41
    assert on_account.balance(f"client:{CLIENT}:bars + house:bars", "gold") == 0


def test_a_bar_taken_is_given_back_while_it_is_in_the_house(on_account: Desk) -> None:
    serial = on_account.buy_bar("10")["serial"]
    before = on_account.balances()
    taken = on_account.take_bar(CLIENT, serial)
    path = f"clients/{CLIENT}/metal-bars/{taken['id']}"
    on_account.hand_over(serial, "10")
    assert on_account.refused.reverse(path).said == (409, "something-rests-on-it", "")
    on_account.reverse(f"bars/{serial}/handover")
    on_account.reverse(path, "he would rather sell")
    assert on_account.balances() == before
    on_account.sell_bar(serial, client=CLIENT)
    assert on_account.refused.reverse(path).said == (409, "wrong-state", "")


def test_a_bar_that_is_not_the_houses_or_states_more_than_is_there_is_refused(on_account: Desk) -> None:
    heavy, light = on_account.buy_bar("50.1")["serial"], on_account.buy_bar("10")["serial"]
    assert on_account.refused.take_bar(CLIENT, heavy).said == (409, "not-on-account", "/bar")
    on_account.take_bar(CLIENT, light)
    assert on_account.refused.take_bar(CLIENT, light).said == (409, "wrong-state", "/bar")
    assert on_account.refused.take_bar(CLIENT, "BAR-2026-0099").faults == {"/bar": "unknown-reference"}
    assert on_account.refused.take_bar("C-9", heavy).status == 404
    listed = on_account.get(f"/v1/clients/{CLIENT}/metal-bars")["items"]
    assert [t["bar"] for t in listed] == [light]


# held back


def in_debt(desk: Desk) -> None:
    """Another lot of hers, all of it to her account: she owes its charges."""
    lot = f"L-{LOT[2:6]}-0002"
    charge = {"name": "treatment", "base": "lot", "rate": "15.00", "tax": "none"}
    gold = {"settle_on": "assay", "accountable": "1", "payout_rate": "0.97"}
    taxes = {"none": {"rate": "0", "class": "zero"}}
    desk.terms(gold_only(name="charged", metals={"gold": gold}, charges=[charge], taxes=taxes))
    wish = {"gold": {"remainder": "metal_account"}}
    desk.receive(client=CLIENT, terms="T-3", items=[scrap()], acceptance=YES, instructions=wish)
    desk.melt(lot, "99")
    desk.assay(lot, {"gold": "505"})
    desk.settle(desk.draft(lot)["id"])


def test_who_owes_charges_gets_nothing_off_the_account_but_by_an_owners_word(
    on_account: Desk, keys: dict[str, str]
) -> None:
    in_debt(on_account)
    bars = [on_account.buy_bar("10")["serial"] for _ in "12"]
    word: Any = {"override": {"reason": "she pays out of it"}}
    refused = on_account.refused
    assert refused.sell_metal(CLIENT, "gold").said == (409, "net-unpaid", "")
    assert refused.take_bar(CLIENT, bars[0]).said == (409, "net-unpaid", "")
    settler, worker = (on_account.with_key(keys[scope]).refused for scope in ("settle", "work"))
    assert settler.sell_metal(CLIENT, "gold", **word).faults == {"/override": "forbidden"}
    assert worker.take_bar(CLIENT, bars[0], **word).status == 403
    on_account.sell_metal(CLIENT, "gold", weight=grams("1"), **word)
    on_account.take_bar(CLIENT, bars[0], **word)
    # Taken for metal, it stays as long as she owes; bought with money, it is hers.
    assert refused.hand_over(bars[0], "10").said == (409, "net-unpaid", "")
    on_account.hand_over(bars[0], "10", **word)
    on_account.sell_bar(bars[1], client=CLIENT)
    on_account.hand_over(bars[1], "10")


def test_what_a_frozen_lot_gave_stays_on_the_account(on_account: Desk) -> None:
    bars = [on_account.buy_bar("10")["serial"] for _ in "12"]
    on_account.take_bar(CLIENT, bars[0])
    on_account.freeze(LOT)
    word: Any = {"override": {"reason": "an order doesn't care"}}
    refused = on_account.refused
    assert refused.sell_metal(CLIENT, "gold", **word).said == (409, "frozen", "")
    assert refused.take_bar(CLIENT, bars[1], **word).said == (409, "frozen", "")
    assert refused.hand_over(bars[0], "10", **word).said == (409, "frozen", "")
    on_account.release(LOT)
    on_account.hand_over(bars[0], "10")
    on_account.sell_metal(CLIENT, "gold")


def test_what_a_client_paid_for_a_frozen_lot_goes_back_once_it_is_released(on_account: Desk) -> None:
    in_debt(on_account)
    lot, settlement = (f"{letter}-{LOT[2:6]}-0002" for letter in "LS")
    on_account.freeze(lot)
    # Her debt is paid whatever the order says; money to her is not.
    paid = on_account.pay(settlement, "15.00")["id"]
    assert on_account.refused.unpay(settlement, paid).said == (409, "frozen", "")
    on_account.release(lot)
    assert on_account.unpay(settlement, paid, "it came back")["state"] == "reversed"


def test_retention_runs_by_the_terms_that_it_was_sold_under(on_account: Desk, clock: Any) -> None:
    gold = {"settle_on": "assay", "accountable": "1", "payout_rate": "0.97"}
    long = on_account.terms(gold_only(name="long", metals={"gold": gold}, retention="P20Y"))["number"]
    on_account.sell_metal(CLIENT, "gold", terms=long)
    clock.move(days=19 * 365)
    refusal = on_account.refused.post(f"/v1/clients/{CLIENT}/erasure")
    assert (refusal.kind, "retention runs until" in refusal.body["detail"]) == ("must-be-kept", True)
