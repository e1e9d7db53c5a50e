"""Metal and cash counted against the books: shown, or booked with a reason."""

from typing import Any

import pytest
from ledger_house import House
from stages import BARS, grams

from settle.books import records

STOCK, CASH = "/v1/stock-counts", "/v1/cash-counts"
GOLD_MG, SILVER_MG = 17_660, 509_894


def counted(metal: str, weight: str, fineness: str, **more: Any) -> dict[str, Any]:
    return {"metal": metal, "weight": grams(weight), "fineness": fineness, **more}


def held(house: House) -> dict[str, str]:
    return {m: of["g"] for m, of in house.till.get("/v1/stock")["stock"].items()}


# rows counted → metal: counted, books, difference
ROWS = [
    ([counted("silver", "500", "999")], {"silver": ("499.500", "509.894", "-10.394")}),
    (
        [counted("silver", "500", "999"), counted("silver", "10.394", "1000")],
        {"silver": ("509.894", "509.894", "0.000")},
    ),
    ([counted("gold", "0", "999")], {"gold": ("0.000", "17.660", "-17.660")}),
    ([counted("gold", "3", "999", place="bought")], {"gold": ("2.997", "0.000", "2.997")}),
]


@pytest.mark.parametrize(("rows", "found"), ROWS)
def test_what_is_counted_stands_beside_what_the_books_say(house: House, rows: Any, found: Any) -> None:
    before = held(house)
    answer = house.till.post(STOCK, {"metals": rows})
    shown = {
        c["commodity"]: tuple(c[k]["g"] for k in ("counted", "books", "difference"))
        for c in answer["compared"]
    }
    assert shown == found
    assert (answer["booked"], answer["entry"]) == (False, None)
    assert held(house) == before


def test_a_difference_is_booked_with_its_reason(house: House) -> None:
    body = {"metals": [counted("gold", "17.5", "1000")], "book": True, "reason": "sweeps of March"}
    answer = house.till.post(STOCK, body)
    entry = house.till.get(f"/v1/journal?document={answer['id']}")["items"][0]
    assert [(line["account"], line["amount"]) for line in entry["lines"]] == [
        ("house:stock", -160),
        ("house:difference of counting", 160),
    ]
    assert entry["reason"] == "sweeps of March"
    assert held(house)["gold"] == "17.500"
    again = house.till.post(STOCK, body)
    assert (again["booked"], again["entry"]) == (True, None)  # nothing is left to book
    assert house.faults() == []


@pytest.mark.parametrize("path", [STOCK, CASH])
def test_a_booking_demands_its_reason(house: House, path: str) -> None:
    what = {"metals": [counted("gold", "1", "999")]} if path == STOCK else {"counted": pounds("1")}
    assert house.till.refused.post(path, {**what, "book": True}).faults == {"/reason": "missing"}
    assert house.till.refused.post(path, {**what, "book": True, "reason": " "}).faults == {
        "/reason": "bad-text"
    }


def test_bars_are_counted_by_their_serials_and_never_booked(house: House) -> None:
    answer = house.till.post(STOCK, {"bars": [BARS[1], "BAR-1999-0001"], "book": True, "reason": "shelf"})
    assert answer["bars"] == {"missing": [BARS[0]], "unexpected": ["BAR-1999-0001"]}
    assert answer["entry"] is None


def test_a_count_of_nothing_is_refused(house: House) -> None:
    assert house.till.refused.post(STOCK, {}).faults == {"/metals": "missing"}


def test_every_fault_of_a_count_is_said_at_once(house: House) -> None:
    row = {"metal": "tin", "weight": grams("1", "oz"), "fineness": "1001", "scale": "no such"}
    assert house.till.refused.post(STOCK, {"metals": [row]}).faults == {
        "/metals/0/metal": "not-one-of",
        "/metals/0/weight/unit": "ambiguous-unit",
        "/metals/0/fineness": "out-of-range",
        "/metals/0/scale": "unknown-scale",
    }


def pounds(amount: str) -> dict[str, str]:
    return {"amount": amount, "currency": "GBP"}


def test_the_till_is_counted_and_its_difference_booked(house: House) -> None:
    shown = house.till.post(CASH, {"counted": pounds("12.50")})
    assert [c["difference"] for c in shown["compared"]] == [pounds("12.50")]
    booked = house.till.post(CASH, {"counted": pounds("12.50"), "book": True, "reason": "float"})
    assert house.till.get(f"/v1/journal?document={booked['id']}")["items"][0]["reason"] == "float"
    assert house.till.get("/v1/position")["money"]["GBP"]["till"] == pounds("12.50")
    assert house.faults() == []


@pytest.mark.parametrize("path", [STOCK, CASH])
def test_counting_is_the_owners(house: House, path: str) -> None:
    assert house.as_("work").ask("POST", path, {}).status_code == 403


@pytest.mark.parametrize("path", [STOCK, CASH])
def test_counts_are_listed_as_they_were_answered_newest_first(house: House, path: str) -> None:
    what = {"bars": [BARS[1]], "metals": [counted("gold", "17.5", "1000")]}
    body = what if path == STOCK else {"counted": pounds("12.50")}
    shown = house.till.post(path, body)
    house.clock.move(days=1)
    booked = house.till.post(path, {**body, "book": True, "reason": "sweeps of March"})
    assert booked["entry"] is not None
    # Afterwards the books and the shelf are others; what was compared then stands.
    house.till.post(path, {**body, "book": True, "reason": "again"})
    house.till.post(f"/v1/bars/{BARS[0]}/handover", {"who": "Ann Other", "reading": grams("20.03")})
    assert house.till.listed(path)[1:] == [
        {name: value for name, value in answer.items() if name != "notices"} for answer in (booked, shown)
    ]
    day = booked["made_at"][:10]
    assert [one["id"] for one in house.till.listed(f"{path}?to={day}&from={day}")][1:] == [booked["id"]]


def test_bars_counted_before_their_comparison_was_kept_are_listed_without_it(house: House) -> None:
    body = {"bars": [BARS[1]], "compared": []}
    with house.writing() as work:
        records.add(work, "house", "stock-count", body)
    assert "bars" not in house.till.listed(STOCK)[0]


def test_metal_that_was_entered_is_listed_newest_first_beside_what_is_there(house: House) -> None:
    cost = {"cost": {"amount": "60.00", "currency": "GBP"}, "paid_in": "transfer"}
    bought = house.till.post("/v1/stock", {**an_opening("gold"), "kind": "bought", "note": "grain", **cost})
    found = house.till.get("/v1/stock")
    assert found["stock"] == bought["stock"]
    newest, opening = found["items"]
    assert newest == {name: value for name, value in bought.items() if name != "stock"}
    assert (opening["kind"], opening["metals"][0]["metal"]) == ("opening", "silver")
    assert house.till.listed("/v1/stock?from=1999-01-01&to=1999-12-31") == []


def an_opening(*metals: str) -> dict[str, Any]:
    return {"kind": "opening", "metals": [counted(metal, "1", "999") for metal in metals]}


def test_a_metal_is_opened_once_and_the_earlier_entry_is_named(house: House) -> None:
    entry = house.till.post("/v1/stock", an_opening("gold"))["id"]
    refused = house.till.refused.post("/v1/stock", an_opening("palladium", "gold"))
    assert refused.said == (409, "wrong-state", "/metals")
    assert f"{entry} is the opening of gold" in refused.body["errors"][0]["wrong"]
    # Another metal can still be opened, and more of the same be bought.
    house.till.post("/v1/stock", an_opening("palladium"))
    cost = {"amount": "60.00", "currency": "GBP"}
    house.till.post("/v1/stock", {**an_opening("gold"), "kind": "bought", "cost": cost})
    assert house.faults() == []
