"""The till's silver credits against the books: each is told, and the total explains itself."""

from typing import Any

import pytest
from works import ALL, Works, batch, grams, mg

CSV = "text/csv"


@pytest.fixture
def credited(works: Works) -> list[str]:
    """Three settled lots: 3.000 g of silver are credited to the first two, nothing to the third."""
    of = batch(works, [("40", "500", "100"), ("40", "500", "100"), ("40", "600", "0")], "100", "63.68")
    works.take_out(of.number, "silver", "108", "1000")
    # λ is nothing, so R is each lot's own: 4 g, of which 95 % are answered for.
    works.close(of.number, override={"reason": "none was lost"})
    for lot in of.lots:
        works.settled(lot)
    return list(of.lots)


def credit(lot: str, weight: str, unit: str = "g", **more: str) -> dict[str, Any]:
    return {"lot": lot, "weight": grams(weight, unit), **more}


def verdicts(found: Any) -> dict[str, str]:
    return {row["entry"] or row["lot"]: row["verdict"] for row in found["lines"]}


def explains_itself(found: Any) -> None:
    """The parts add up to the difference, the lines to the parts."""
    difference = mg(found["till_total"]) - mg(found["books_total"])
    assert mg(found["difference"]) == difference
    assert sum(mg(part) for part in found["explained_by"].values()) == difference
    assert sum(mg(row["difference"]) for row in found["lines"]) == difference


def test_credits_that_agree_are_told_as_such(works: Works, credited: list[str]) -> None:
    found = works.credits([credit(credited[0], "3.8"), credit(credited[1], "3.8")])
    assert found["counts"] == {"agreed": 2}
    assert (found["difference"], found["explained_by"]) == ({"g": "0.000"}, {})


def test_each_credit_says_how_it_stands_and_by_how_much(works: Works, credited: list[str]) -> None:
    first, second, third = credited
    found = works.credits(
        [
            credit(first, "3.805", entry="till 1"),
            credit(first, "3.8", entry="till 2"),
            credit("L-2025-0007", "2", entry="till 3"),
            credit(third, "1", entry="till 4"),
        ]
    )
    assert verdicts(found) == {
        "till 1": "differing",
        "till 2": "doubled",
        "till 3": "missing in the books",
        "till 4": "differing",
        second: "missing in the till",
    }
    assert {name: mg(part) for name, part in found["explained_by"].items()} == {
        "differing": 1_005,
        "doubled": 3_800,
        "missing in the books": 2_000,
        "missing in the till": -3_800,
    }
    explains_itself(found)


def test_a_lot_that_was_credited_nothing_is_missing_at_no_till(works: Works, credited: list[str]) -> None:
    found = works.credits([])
    assert verdicts(found) == dict.fromkeys(credited[:2], "missing in the till")
    assert verdicts(works.credits([credit(credited[2], "0")]))[credited[2]] == "agreed"


@pytest.mark.parametrize(
    ("weight", "unit"),
    [("3800", "mg"), ("0.0038", "kg"), ("2.44346", "dwt"), ("0.122173", "ozt"), ("19", "ct")],
)
def test_the_till_weighs_in_any_unit(works: Works, credited: list[str], weight: str, unit: str) -> None:
    assert verdicts(works.credits([credit(credited[0], weight, unit)]))[credited[0]] == "agreed"


def test_a_reversed_settlement_credits_nothing(works: Works, credited: list[str]) -> None:
    number = works.get(f"/v1/lots/{credited[0]}")["settlement"]
    works.reverse(f"settlements/{number}", "a slip")
    assert verdicts(works.credits([credit(credited[0], "3.8")]))[credited[0]] == "missing in the books"


def in_csv(works: Works, text: str, **how: Any) -> Any:
    response = works.ask("POST", "/v1/silver-credits/comparison", text.encode(), media=CSV)
    assert response.status_code == 200, response.json
    return response.json


def test_a_spreadsheet_says_the_same(works: Works, credited: list[str]) -> None:
    first, second, _ = credited
    text = f"\ufeffEntry,Lot,Amount,Unit\r\n t1 ,{first}, 3.8 ,g\r\n,{second},3801,mg\r\n\r\n"
    by_json = works.credits([credit(first, "3.8", entry="t1"), credit(second, "3801", "mg")])
    assert in_csv(works, text) == by_json
    explains_itself(by_json)


# A row of the spreadsheet: where and what is wrong with it.
ROWS = [
    ("L-1,,g", {"/rows/2/amount": "not-a-decimal"}),
    ("L-1,-3,g", {"/rows/2/amount": "weight-not-positive"}),
    ("L-1,3.8,oz", {"/rows/2/unit": "ambiguous-unit"}),
    (",3.8,g", {"/rows/2/lot": "missing"}),
    ("L-1,1,234.5,g", {"/rows/2/unit": "unknown-unit", "/rows/2": "contradiction"}),
    ("L-1,3.8,g\nL-2,3.8\nL-3,x,g", {"/rows/3/unit": "unknown-unit", "/rows/4/amount": "not-a-decimal"}),
]


@pytest.mark.parametrize(("rows", "faults"), ROWS)
def test_faults_of_a_spreadsheet_are_told_all_at_once_by_their_row(
    works: Works, rows: str, faults: dict[str, str]
) -> None:
    text = f"lot,amount,unit\n{rows}\n".encode()
    refusal = works.refused.sent("POST", "/v1/silver-credits/comparison", text, media=CSV)
    assert (refusal.status, refusal.faults) == (422, faults)
    for error in refusal.body["errors"]:
        assert error["wrong"].startswith(f"row {error['pointer'].split('/')[2]}: ")


NO_TABLES = [
    (b"lot;amount;unit\nL-1;3.8;g\n", "missing"),
    (b"", "missing"),
    (b"lot,amount,unit\n\xff\xfe\n", "unparsable-body"),
    (b'lot,amount,unit\n"L-1,3.8,g\n', "unparsable-body"),
    (b"lot,amount,unit\n" + b"x" * 140_000 + b",3.8,g\n", "unparsable-body"),
    (b"lot,amount,unit\n" + b"L-1,1,g\n" * 5_001, "out-of-range"),
]


@pytest.mark.parametrize(("text", "kind"), NO_TABLES)
def test_what_is_no_such_table_is_refused(works: Works, text: bytes, kind: str) -> None:
    refusal = works.refused.sent("POST", "/v1/silver-credits/comparison", text, media=CSV)
    kinds = {refusal.kind, *refusal.faults.values()}
    assert kind in kinds


def test_the_same_credits_may_be_asked_for_by_readers_and_by_nobody_else(
    works: Works, keys: dict[str, str]
) -> None:
    assert works.with_key(keys["read"]).credits([])["lines"] == []
    assert works.with_key(keys["work"]).refused.credits([]).status == 403


def test_wishes_move_the_metal_and_not_the_credit(works: Works) -> None:
    """Sold, loose or on account: it is the accountable silver that the till credits."""
    lots = []
    for remainder in ("pay_out", "shot", "metal_account"):
        wishes = ALL | {"silver": {"remainder": remainder}}
        lots.append(works.lot("40", "500", "100", instructions=wishes))
    number = works.batch(*lots)["number"]
    works.take_out(number, "gold", "59.7", "1000")
    works.take_out(number, "silver", "12", "1000")
    works.close(number, override={"reason": "none was lost"})
    for lot in lots:
        works.settled(lot)
    assert works.credits([credit(lot, "3.8") for lot in lots])["counts"] == {"agreed": 3}


def test_of_other_days_nothing_is_missing_in_the_till(works: Works, credited: list[str], clock: Any) -> None:
    first, second, _ = credited
    later = "/v1/silver-credits/comparison?from=2026-03-03&to=2026-03-31"
    assert works.post(later, {"credits": []})["lines"] == []
    # What the till names is compared, whenever it was credited.
    found = works.post(later, {"credits": [credit(first, "3.8")]})
    assert (verdicts(found), found["from"], found["to"]) == (
        {first: "agreed"},
        "2026-03-03",
        "2026-03-31",
    )
    same = works.post("/v1/silver-credits/comparison?to=2026-03-02", {"credits": []})
    assert set(verdicts(same)) == {first, second}
    assert (
        works.refused.sent(
            "POST", "/v1/silver-credits/comparison?from=2026-03-02&to=2026-03-01", {"credits": []}
        ).status
        == 400
    )


def test_a_list_in_another_form_is_told_both_that_are_read(works: Works) -> None:
    path = "/v1/silver-credits/comparison"
    refusal = works.refused.sent("POST", path, b"lot;amount;unit", media="text/plain")
    assert refusal.status == 415
    assert refusal.body["detail"] == '"text/plain"; Content-Type: application/json or text/csv'
