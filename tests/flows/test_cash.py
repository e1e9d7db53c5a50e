"""F4 at the till: cash is what coins make up; what is too small to pay is waived."""

from typing import Any

import pytest
from desk import Desk, money
from stages import CLIENT, LOT, SETTLEMENT, gold_only, scrap

from settle.books.check import all_faults

YES = {"who": "Ann Other", "how": "in_person"}
PAYMENTS = f"/v1/settlements/{SETTLEMENT}/payments"


def settled_for(shop: Desk, gold: str, price: str, **terms: Any) -> Any:
    """A settlement of some fine gold, on assay, in a house with coins of 0.05."""
    shop.terms(gold_only(cash_step="0.05", **terms))
    shop.prices(gold=price)
    shop.receive(client=CLIENT, terms="T-2", items=[scrap()], acceptance=YES)
    shop.melt(LOT, gold)
    shop.assay(LOT, {"gold": "1000"})
    return shop.settle(shop.draft(LOT)["id"])


def test_no_net_is_rounded_and_cash_that_closes_it_is(shop: Desk) -> None:
    assert settled_for(shop, "1", "38.29")["net"] == money("38.29")
    refusal = shop.refused.pay(SETTLEMENT, "38.29", "cash")
    assert refusal.faults == {"/amount": "out-of-range"}
    assert refusal.rights["/amount"] == "a multiple of 0.05 GBP"
    paid = shop.pay(SETTLEMENT, "38.30", "cash")
    assert (paid["cash_rounding"], paid["open"]) == (money("0.01"), money("0.00"))
    shown = shop.get(f"/v1/settlements/{SETTLEMENT}")
    assert (shown["net"], shown["paid"], shown["open"]) == (money("38.29"), money("38.30"), money("0.00"))
    assert shop.balance(f"client:{CLIENT}:money", "GBP") == 0
    assert shop.balance("house:cash rounding", "GBP") == 1
    shop.unpay(SETTLEMENT, paid["id"])
    assert shop.get(f"/v1/settlements/{SETTLEMENT}")["open"] == money("38.29")
    assert shop.balance("house:cash rounding", "GBP") == 0


def test_by_transfer_the_net_is_paid_to_the_penny(shop: Desk) -> None:
    settled_for(shop, "1", "38.29")
    assert shop.refused.pay(SETTLEMENT, "38.30").said == (409, "more-than-open", "/amount")
    paid = shop.pay(SETTLEMENT, "38.29")
    assert (paid["cash_rounding"], paid["open"]) == (money("0.00"), money("0.00"))


def test_paid_in_parts_the_last_coins_close_what_is_open(shop: Desk) -> None:
    settled_for(shop, "1", "38.29")
    assert shop.pay(SETTLEMENT, "30.00", "cash")["open"] == money("8.29")
    assert shop.refused.pay(SETTLEMENT, "8.35", "cash").said == (409, "more-than-open", "/amount")
    last = shop.pay(SETTLEMENT, "8.30", "cash")
    assert (last["cash_rounding"], last["open"]) == (money("0.01"), money("0.00"))
    with shop.books.reading() as work:
        assert all_faults(work) == []


def test_an_advance_in_cash_is_what_coins_make_up(shop: Desk) -> None:
    shop.terms(gold_only(cash_step="0.05", advance_share="0.5"))
    shop.prices(gold="60.00")
    shop.receive(client=CLIENT, terms="T-2", items=[scrap()], acceptance=YES)
    shop.melt(LOT, "99")
    shop.assay(LOT, {"gold": "500"})
    assert shop.refused.advance(LOT, "10.01").faults == {"/amount": "out-of-range"}
    shop.advance(LOT, "10.05")


@pytest.mark.parametrize(("charge", "waived"), [("38.26", "0.03"), ("38.32", "-0.03")])
def test_a_net_that_is_too_small_to_pay_is_waived_and_nothing_is_open(
    shop: Desk, charge: str, waived: str
) -> None:
    charges = [{"name": "lot", "base": "lot", "rate": charge}]
    settled = settled_for(shop, "1", "38.29", charges=charges, least_paid="0.05")
    assert (settled["net"], settled["cases"]["final"]["waived"]) == (money("0.00"), money(waived))
    assert settled["open"] == money("0.00")
    assert shop.refused.pay(SETTLEMENT, "0.05", "cash").said == (409, "wrong-state", "")
    assert shop.balance(f"client:{CLIENT}:money", "GBP") == 0
    with shop.books.reading() as work:
        assert all_faults(work) == []


def test_what_is_too_little_for_any_coin_is_closed_by_a_payment_of_nothing(shop: Desk) -> None:
    settled_for(shop, "1", "38.29")
    assert shop.refused.pay(SETTLEMENT, "0.00", "cash").faults == {"/amount/amount": "out-of-range"}
    shop.pay(SETTLEMENT, "38.27")
    assert shop.refused.pay(SETTLEMENT, "0.05", "cash").rights["/amount"] == "0.00 GBP at most"
    assert shop.refused.pay(SETTLEMENT, "0.00").faults == {"/amount/amount": "out-of-range"}
    paid = shop.pay(SETTLEMENT, "0.00", "cash")
    assert (paid["cash_rounding"], paid["open"]) == (money("-0.02"), money("0.00"))
    shown = shop.get(f"/v1/settlements/{SETTLEMENT}")
    assert [shown[of] for of in ("paid", "cash_rounding", "open")] == [
        money("38.27"),
        money("-0.02"),
        money("0.00"),
    ]
    with shop.books.reading() as work:
        assert all_faults(work) == []


def test_what_was_paid_in_coins_stands_in_the_clients_account(shop: Desk) -> None:
    settled_for(shop, "1", "38.29")
    shop.pay(SETTLEMENT, "38.30", "cash")
    movements = shop.get(f"/v1/clients/{CLIENT}/account")["movements"]
    assert f"payment of {SETTLEMENT}, 38.30 in cash" in [row["text"] for row in movements]
