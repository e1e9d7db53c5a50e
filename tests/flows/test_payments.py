"""Payments of a settlement: in parts and back, from till or bank, and what cash is noticed."""

from typing import Any

import pytest
from desk import Desk, money
from stages import CLIENT, LOT, SETTLEMENT, gold_only, scrap, terms

MONEY = f"client:{CLIENT}:money"
YES = {"who": "Ann Other", "how": "in_person"}


def test_a_settlement_is_paid_in_parts_until_nothing_is_open(settled: Desk) -> None:
    one = settled.pay(SETTLEMENT, "800.00", "cash", who="Ann Other")
    assert (one["direction"], one["open"], one["words"]) == (
        "to_client",
        money("11.04"),
        {"who": "Ann Other"},
    )
    settled.pay(SETTLEMENT, "11.04")
    shown = settled.get(f"/v1/settlements/{SETTLEMENT}")
    assert (shown["paid"], shown["open"]) == (money("811.04"), money("0.00"))
    assert settled.balance("house:till", "GBP") == -80_000
    assert settled.balance("house:bank", "GBP") == -1_104
    assert settled.balance(MONEY, "GBP") == 0


def test_a_payment_names_what_it_pays_and_is_listed(settled: Desk) -> None:
    paid = settled.pay(SETTLEMENT, "10.00", "cash")
    listed = settled.get(f"/v1/settlements/{SETTLEMENT}/payments")["items"]
    assert [(p["id"], p["of"], p["paid_in"], p["state"]) for p in listed] == [
        (paid["id"], SETTLEMENT, "cash", "posted")
    ]


def test_a_draft_shows_neither_paid_nor_open_and_has_no_payments(at: Any) -> None:
    desk = at("drafted")
    draft = desk.get("/v1/settlements/SD-1")
    assert (draft["paid"], draft["open"]) == (None, None)
    assert desk.get("/v1/settlements/SD-1/payments")["items"] == []


@pytest.mark.parametrize(
    ("amount", "status", "kind", "pointer"),
    [
        ("811.05", 409, "more-than-open", "/amount"),
        ("0.00", 422, "invalid-body", "/amount/amount"),
        ("1.005", 422, "invalid-body", "/amount/amount"),
    ],
)
def test_never_more_is_paid_than_is_open(
    settled: Desk, amount: str, status: int, kind: str, pointer: str
) -> None:
    assert settled.refused.pay(SETTLEMENT, amount).said == (status, kind, pointer)


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({"amount": money("1.00", "EUR"), "paid_in": "cash"}, "/amount/currency"),
        ({"amount": money("1.00"), "paid_in": "favours"}, "/paid_in"),
        ({"amount": money("1.00")}, "/paid_in"),
        ({"paid_in": "cash"}, "/amount"),
    ],
)
def test_a_payment_that_can_not_be_read_says_where(settled: Desk, body: Any, pointer: str) -> None:
    assert pointer in settled.refused.post(f"/v1/settlements/{SETTLEMENT}/payments", body).faults


def test_what_is_paid_is_refused_another_payment(settled: Desk) -> None:
    settled.pay(SETTLEMENT, "811.04")
    assert settled.refused.pay(SETTLEMENT, "0.01").said == (409, "wrong-state", "")


def test_a_draft_is_not_paid(at: Any) -> None:
    assert at("drafted").refused.pay("SD-1", "1.00").said == (409, "wrong-state", "")


def test_a_payment_wants_an_idempotency_key(settled: Desk) -> None:
    body = {"amount": money("1.00"), "paid_in": "cash"}
    path = f"/v1/settlements/{SETTLEMENT}/payments"
    assert settled.refused.sent("POST", path, body, Idempotency_Key=None).kind == "idempotency-key-missing"


def test_a_reversed_payment_is_open_again_and_the_money_back(settled: Desk, keys: dict[str, str]) -> None:
    paid = settled.pay(SETTLEMENT, "800.00", "cash")
    before = settled.get(f"/v1/settlements/{SETTLEMENT}")
    cashier = settled.with_key(keys["settle"])
    assert cashier.refused.unpay(SETTLEMENT, paid["id"]).status == 403
    back = settled.unpay(SETTLEMENT, paid["id"], "paid to somebody else")
    assert (back["state"], back["reversal"]["reason"]) == ("reversed", "paid to somebody else")
    shown = settled.get(f"/v1/settlements/{SETTLEMENT}")
    assert (shown["paid"], shown["open"]) == (money("0.00"), money("811.04"))
    assert shown.etag != before.etag
    assert settled.balance("house:till", "GBP") == 0
    assert settled.refused.unpay(SETTLEMENT, paid["id"]).said == (409, "wrong-state", "")
    assert settled.refused.unpay(SETTLEMENT, "PM-99").said == (404, "not-found", "")
    assert settled.refused.unpay(SETTLEMENT, paid["id"], " ").faults == {"/reason": "bad-text"}


# the client owes


@pytest.fixture
def owing(shop: Desk) -> Desk:
    """49.995 g of gold all left on account, and a charge of 30.00 on it: the client owes it."""
    charge = {"name": "assay", "base": "lot", "rate": "30.00"}
    shop.terms(gold_only(charges=[charge]))
    wish = {"gold": {"remainder": "metal_account"}}
    shop.receive(client=CLIENT, terms="T-2", items=[scrap()], acceptance=YES, instructions=wish)
    shop.melt(LOT, "99")
    shop.assay(LOT, {"gold": "505"})
    shop.settle(shop.draft(LOT)["id"])
    return shop


def test_what_the_client_owes_comes_from_him_in_parts(owing: Desk) -> None:
    assert owing.get(f"/v1/settlements/{SETTLEMENT}")["open"] == money("-30.00")
    paid = owing.pay(SETTLEMENT, "20.00", "cash")
    assert (paid["direction"], paid["open"]) == ("from_client", money("-10.00"))
    assert owing.balance("house:till", "GBP") == 2_000
    assert owing.balance(MONEY, "GBP") == 1_000
    assert owing.refused.pay(SETTLEMENT, "10.01").said == (409, "more-than-open", "/amount")
    owing.pay(SETTLEMENT, "10.00")
    assert owing.balance(MONEY, "GBP") == 0


# cash that is noticed

LIMITS = {
    "identity": {
        "amount": money("500"), "window": "P7D", "text": "Ask who it is.", "source": "an invented rule",
    },
}  # fmt: skip
COUNTER = {"settle_on": "counter", "accountable": "1", "payout_rate": "1"}


@pytest.fixture
def limited(shop: Desk) -> Desk:
    """Terms T-2 refine and T-3 buy, both at spot, both with a limit of 500.00 within seven days."""
    shop.terms(gold_only(limits=LIMITS, price_time="receipt"))
    shop.terms(gold_only(name="counter", limits=LIMITS, metals={"gold": COUNTER}))
    for lot in ("L-2026-0001", "L-2026-0002"):
        shop.receive(client=CLIENT, terms="T-2", items=[scrap("20")], acceptance=YES)
        shop.melt(lot, "20")
        shop.assay(lot, {"gold": "500"})
        shop.settle(shop.draft(lot)["id"])
    return shop


def test_cash_below_the_limit_is_not_noticed(limited: Desk) -> None:
    assert limited.pay("S-2026-0001", "499.99", "cash").notices == []


def test_cash_that_reaches_the_limit_is_noticed_with_whose_rule_it_is(limited: Desk) -> None:
    (told,) = limited.pay("S-2026-0001", "500.00", "cash")["notices"]
    assert (told["code"], told["source"]) == ("money-limit", "an invented rule")
    assert told["text"].startswith("Ask who it is.")


def test_a_transfer_is_no_cash(limited: Desk) -> None:
    assert limited.pay("S-2026-0001", "600.00").notices == []


def test_linked_cash_is_added_up_over_settlements_and_purchases(limited: Desk, clock: Any) -> None:
    limited.pay("S-2026-0001", "200.00", "cash")
    limited.pay("S-2026-0002", "200.00", "cash")
    clock.move(days=6)
    limited.prices(gold="61.20")
    bought = limited.buy({"client": CLIENT, "terms": "T-3", "paid_in": "cash", "items": [scrap("4")]})
    assert "linked-cash" in bought.notices
    assert "3 payments" in next(n["text"] for n in bought["notices"] if n["code"] == "linked-cash")


def test_cash_before_the_window_is_forgotten(limited: Desk, clock: Any) -> None:
    limited.pay("S-2026-0001", "400.00", "cash")
    clock.move(days=7, seconds=1)
    assert limited.pay("S-2026-0002", "400.00", "cash").notices == []


def test_cash_of_another_client_is_not_linked(limited: Desk) -> None:
    limited.pay("S-2026-0001", "400.00", "cash")
    other = limited.client("Ben Brown")["id"]
    offer = {"client": other, "terms": "T-3", "paid_in": "cash", "items": [scrap("4")]}
    assert "linked-cash" not in limited.buy(offer).notices


def test_cash_that_came_back_is_not_linked(limited: Desk) -> None:
    paid = limited.pay("S-2026-0001", "400.00", "cash")
    limited.unpay("S-2026-0001", paid["id"])
    assert limited.pay("S-2026-0002", "400.00", "cash").notices == []


def test_an_advance_in_cash_is_linked_too(shop: Desk) -> None:
    shop.terms(gold_only(limits=LIMITS, price_time="receipt", advance_share="1"))
    shop.receive(client=CLIENT, terms="T-2", items=[scrap("20")], acceptance=YES)
    shop.melt(LOT, "20")
    shop.assay(LOT, {"gold": "500"})
    assert shop.advance(LOT, "300.00").notices == []
    shop.settle(shop.draft(LOT)["id"])
    assert shop.pay(SETTLEMENT, "200.00", "cash").notices == ["linked-cash"]


def test_the_road_knows_no_limits(settled: Desk) -> None:
    assert "limits" not in terms()
    assert settled.pay(SETTLEMENT, "811.04", "cash").notices == []
