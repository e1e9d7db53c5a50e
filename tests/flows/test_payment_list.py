"""Payments of all documents in one list: each as its own call answered it, with what it was for."""

from typing import Any

import pytest
from desk import Desk, grams
from filtered import faults
from stages import CLIENT, LOT, gold_only, scrap

ALL = "/v1/payments"
YES = {"who": "Ann Other", "how": "in_person"}
COUNTER = {"settle_on": "counter", "accountable": "1", "payout_rate": "1"}
# What is said when it is paid, and of that moment alone.
OF_THE_MOMENT = {"open", "may_be_advanced", "notices"}


@pytest.fixture
def paid(shop: Desk, clock: Any) -> tuple[Desk, dict[str, Any]]:
    """One payment of each kind, each on its day; the newest is the last."""
    shop.terms(gold_only(advance_share="1"))
    shop.terms(gold_only(name="counter", metals={"gold": COUNTER}))
    wish = {"gold": {"remainder": "metal_account"}}
    shop.receive(client=CLIENT, terms="T-2", items=[scrap()], acceptance=YES, instructions=wish)
    other = shop.receive(client=CLIENT, terms="T-2", items=[scrap()], acceptance=YES)["number"]
    for lot in (LOT, other):
        shop.melt(lot, "99")
        shop.assay(lot, {"gold": "505"})
    answers = {"advance": shop.advance(LOT, "1.00")}
    shop.take_advance_back(LOT, answers["advance"]["id"])
    shop.settle(shop.draft(LOT)["id"])
    second = shop.settle(shop.draft(other)["id"])["number"]
    ben = shop.client("Ben Other")["id"]
    clock.move(days=1)
    shop.prices(gold="61.20")
    answers["purchase"] = shop.buy({"client": ben, "terms": "T-3", "paid_in": "cash", "items": [scrap()]})
    clock.move(days=1)
    shop.prices(gold="61.20")
    answers["settlement"] = shop.pay(second, "20.00", "cash", who="Ann Other")
    bar = shop.buy_bar()["serial"]
    clock.move(minutes=20)
    answers["bar_sale"] = shop.sell_bar(bar, client=ben, terms="T-2")["payment"]
    clock.move(minutes=20)
    answers["metal_sale"] = shop.sell_metal(CLIENT, "gold", weight=grams("1"))["payment"]
    return shop, answers


def test_a_payment_is_listed_as_it_was_answered_with_what_it_was_for(
    paid: tuple[Desk, dict[str, Any]],
) -> None:
    desk, answers = paid
    rows = {row["kind"]: row for row in desk.listed(ALL)}
    assert [*rows] == [*reversed(answers)]
    for kind in answers.keys() - {"purchase", "advance"}:
        told = {k: v for k, v in answers[kind].items() if k not in OF_THE_MOMENT}
        assert rows[kind] == {**told, "kind": kind, "href": rows[kind]["href"]}
        assert desk.get(rows[kind]["href"])
    assert rows["settlement"]["href"].endswith(rows["settlement"]["of"])
    assert (rows["advance"]["href"], rows["advance"]["state"]) == (f"/v1/lots/{LOT}", "reversed")


def test_a_purchase_is_its_own_payment(paid: tuple[Desk, dict[str, Any]]) -> None:
    desk, answers = paid
    bought = answers["purchase"]
    (row,) = (row for row in desk.listed(ALL) if row["kind"] == "purchase")
    assert {k: row[k] for k in ("id", "of", "client", "amount", "direction", "paid_in", "made_at")} == {
        **dict.fromkeys(("id", "of"), bought["number"]),
        **{k: bought[k] for k in ("client", "paid_in", "made_at")},
        "amount": bought["net"],
        "direction": "to_client",
    }
    assert desk.get(row["href"])["number"] == bought["number"]
    desk.reverse(f"purchases/{bought['number']}")
    (row,) = (row for row in desk.listed(f"{ALL}?state=reversed") if row["kind"] == "purchase")
    assert row["reversal"]["credit_note"] == "N-2026-0001"


def test_the_list_adds_up_to_what_till_and_bank_gave(paid: tuple[Desk, dict[str, Any]]) -> None:
    desk, _ = paid
    minor = {"cash": 0, "transfer": 0}
    for row in desk.listed(f"{ALL}?state=posted"):
        units = int(row["amount"]["amount"].replace(".", ""))
        minor[row["paid_in"]] += units if row["direction"] == "from_client" else -units
    # The bank paid for the bar too, which no client brought.
    assert minor == {
        "cash": desk.balance("house:till", "GBP"),
        "transfer": desk.balance("house:bank", "GBP") + 190_000,
    }


def test_the_list_is_narrowed_by_client_day_and_state(paid: tuple[Desk, dict[str, Any]]) -> None:
    desk, answers = paid
    desk.reverse(f"purchases/{answers['purchase']['number']}")
    assert [*faults(desk)] == []
    assert {row["kind"] for row in desk.listed(f"{ALL}?client=C-2")} == {"purchase", "bar_sale"}
    assert {row["kind"] for row in desk.listed(f"{ALL}?state=reversed")} == {"purchase", "advance"}


def test_money_alone_is_listed(paid: tuple[Desk, dict[str, Any]]) -> None:
    desk, _ = paid
    before = len(desk.listed(ALL))
    desk.take_bar(CLIENT, desk.buy_bar("10")["serial"])
    assert len(desk.listed(ALL)) == before
