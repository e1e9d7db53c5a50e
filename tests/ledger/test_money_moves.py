"""Money that answers for no metal: a float, takings banked, tax paid, what the owner takes."""

from typing import Any

import pytest
from ledger_house import House

MOVES = "/v1/money-moves"


def moved(source: str, target: str, amount: str, currency: str = "GBP", **more: Any) -> dict[str, Any]:
    return {"from": source, "to": target, "amount": {"amount": amount, "currency": currency}, **more}


def balances(house: House) -> dict[str, int]:
    """Minor units by place, from the trial balance."""
    places = house.till.get("/v1/trial-balance")["places"]
    return {
        row["place"]: round(100 * float(row["closing"]["amount"]))
        for row in places
        if row["commodity"] == "GBP"
    }


@pytest.mark.parametrize(
    ("body", "changes"),
    [
        (moved("owner", "till", "150.00", note="the float"), {"house:owner": -15000, "house:till": 15000}),
        (moved("till", "bank", "0.01"), {"house:till": -1, "house:bank": 1}),
        (moved("bank", "tax", "20.00", tax="standard"), {"house:bank": -2000, "tax:standard": 2000}),
        (moved("tax", "bank", "3.00", tax="standard"), {"house:bank": 300, "tax:standard": -300}),
        (moved("bank", "owner", "999.99"), {"house:bank": -99999, "house:owner": 99999}),
    ],
)
def test_money_leaves_one_place_and_is_in_another(
    house: House, body: dict[str, Any], changes: dict[str, int]
) -> None:
    before = balances(house)
    answer = house.till.post(MOVES, body)
    assert {k: answer[k] for k in body} == body
    after = balances(house)
    moved_now = {place: after.get(place, 0) - before.get(place, 0) for place in {*before, *after}}
    assert {place: by for place, by in moved_now.items() if by} == changes
    assert house.faults() == []


def test_tax_that_is_paid_is_owed_no_more(house: House) -> None:
    owed = house.till.get("/v1/position")["money"]["GBP"]["tax_owed"]
    house.till.post(MOVES, moved("bank", "tax", owed["amount"], tax="standard"))
    assert house.till.get("/v1/position")["money"]["GBP"]["tax_owed"]["amount"] == "0.00"


def test_what_was_moved_is_listed_newest_first(house: House) -> None:
    made = [house.till.post(MOVES, moved("till", "bank", amount)) for amount in ("1.00", "2.00")]
    assert house.as_("read").get(MOVES)["items"] == made[::-1]


def test_a_slip_is_corrected_and_what_was_never_moved_is_struck_out(house: House) -> None:
    before = balances(house)
    slip = house.till.post(MOVES, moved("till", "bank", "510.00"))["id"]
    right = moved("till", "bank", "150.00", corrects=slip, reason="figures swapped")
    corrected = house.till.post(MOVES, right)
    assert (corrected["corrects"], corrected["reason"]) == (slip, "figures swapped")
    assert balances(house)["house:till"] == before.get("house:till", 0) - 15000
    struck = moved("till", "bank", "0.00", corrects=corrected["id"], reason="entered twice")
    house.till.post(MOVES, struck)
    assert balances(house) == before
    assert house.till.refused.post(MOVES, right).said == (409, "wrong-state", "/corrects")
    assert house.faults() == []


@pytest.mark.parametrize(
    ("body", "faults"),
    [
        (moved("till", "till", "1.00"), {"/to": "contradiction"}),
        (moved("till", "bank", "0.00"), {"/amount/amount": "out-of-range"}),
        (moved("till", "bank", "1.00", "XXZ"), {"/amount/currency": "unknown-currency"}),
        (moved("till", "bank", "1.005"), {"/amount/amount": "out-of-range"}),
        (moved("till", "bank", "-1.00"), {"/amount/amount": "not-a-decimal"}),
        (moved("till", "bank", "1.00", tax="standard"), {"/tax": "contradiction"}),
        (moved("till", "tax", "1.00"), {"/tax": "missing"}),
        (moved("till", "tax", "1.00", tax="luxury"), {"/tax": "unknown-reference"}),
        (moved("till", "tax", "1.00", "EUR", tax="standard"), {"/tax": "unknown-reference"}),
        (moved("safe", "till", "1.00"), {"/from": "not-one-of"}),
        (moved("till", "bank", "1.00", corrects="E-999", reason="x"), {"/corrects": "unknown-reference"}),
    ],
)
def test_what_can_not_be_moved_is_refused(house: House, body: dict[str, Any], faults: dict[str, str]) -> None:
    before = balances(house)
    assert house.till.refused.post(MOVES, body).faults == faults
    assert balances(house) == before


def test_only_an_owner_moves_money(house: House) -> None:
    assert house.as_("settle").refused.post(MOVES, moved("till", "bank", "1.00")).status == 403
