"""A client's account over any period: what is his is positive, what he owes negative."""

from typing import Any

import pytest
from ledger_house import House
from stages import CLIENT, LOT, SETTLEMENT

ACCOUNT = f"/v1/clients/{CLIENT}/account"

# from, to → opening, documents moved, closing; gold in lots and bars, pounds.
PERIODS = [
    ("", "", {}, [f"B-2026-0001/{LOT}", "RC-1", "RC-2", SETTLEMENT], {"bars": "39.996", "money": "811.04"}),
    ("2026-03-01", "2026-03-03", {}, [], {}),
    ("2026-03-04", "2026-03-04", {}, [f"B-2026-0001/{LOT}"], {"lots": "57.969"}),
    ("2026-03-05", "2026-03-07", {"lots": "57.969"}, ["RC-1", "RC-2"], {"lots": "57.708"}),
    ("2026-03-08", "", {"lots": "57.708"}, [SETTLEMENT], {"bars": "39.996", "money": "811.04"}),
    (
        *("2026-04-01", "2026-04-30", {"bars": "39.996", "money": "811.04"}),
        *([], {"bars": "39.996", "money": "811.04"}),
    ),
]


def of_gold_and_money(balances: dict[str, Any]) -> dict[str, str]:
    shown = {name: of.get("gold", of.get("GBP")) for name, of in balances.items()}
    return {name: of.get("g", of.get("amount")) for name, of in shown.items() if of}


@pytest.mark.parametrize(("first", "last", "opening", "moved", "closing"), PERIODS)
def test_opening_movements_and_closing_of_a_period(
    house: House, first: str, last: str, opening: Any, moved: list[str], closing: Any
) -> None:
    asked = "&".join(f"{name}={day}" for name, day in (("from", first), ("to", last)) if day)
    house.clock.move(days=60)
    found = house.till.get(f"{ACCOUNT}?{asked}")
    assert of_gold_and_money(found["opening"]) == opening
    assert [m["document"] for m in found["movements"]] == moved
    assert of_gold_and_money(found["closing"]) == closing


def test_opening_and_lines_add_up_to_the_balance_of_each_line_and_to_the_closing(house: House) -> None:
    found = house.till.get(ACCOUNT)
    running: dict[tuple[str, str], int] = {}
    for line in (line for movement in found["movements"] for line in movement["lines"]):
        key = (line["in"], line["commodity"])
        running[key] = running.get(key, 0) + units(line["amount"])
        assert units(line["balance"]) == running[key]
    closing = {(i, c): units(of) for i, by in found["closing"].items() for c, of in by.items()}
    assert closing == {key: total for key, total in running.items() if total}


def units(of: dict[str, str]) -> int:
    return int(of.get("g", of.get("amount", "")).replace(".", ""))


def test_movements_come_a_page_at_a_time_oldest_first(house: House) -> None:
    whole = house.till.get(ACCOUNT)["movements"]
    pages, path = [], f"{ACCOUNT}?limit=1"
    while path:
        answer = house.till.ask("GET", path)
        pages += answer.json["movements"]
        link = answer.headers.get("Link", "")
        path = link[1 : link.index(">")] if link else ""
    assert pages == whole
    assert len(whole) == 4


def test_days_are_those_of_the_house(house: House) -> None:
    house.clock.now = house.clock.now.replace(month=6, day=30, hour=23, minute=30)  # 00:30 in London
    till = house.till
    till.post(f"/v1/settlements/{SETTLEMENT}/payments", PAYMENT)
    assert len(till.get(f"{ACCOUNT}?from=2026-06-30&to=2026-06-30")["movements"]) == 0
    assert len(till.get(f"{ACCOUNT}?from=2026-07-01&to=2026-07-01")["movements"]) == 1


PAYMENT = {"amount": {"amount": "811.04", "currency": "GBP"}, "paid_in": "transfer"}


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ("?from=2026-03-02&to=2026-03-01", "from is after to"),
        ("?from=yesterday", '"yesterday" is not one'),
        ("?to=0001-01-01", "no day of these books"),
        ("?to=2026-03-09", "to: 2026-03-09 is to come; 2026-03-08 at the latest"),
        ("?from=2026-03-09", "from: 2026-03-09 is to come"),
    ],
)
def test_a_period_that_is_none_is_refused(house: House, asked: str, said: str) -> None:
    refused = house.till.refused.get(ACCOUNT + asked)
    assert (refused.status, refused.kind) == (400, "bad-request")
    assert said in refused.body["detail"]


def test_nobody_has_no_account(house: House) -> None:
    assert house.till.refused.get("/v1/clients/C-404/account").status == 404


@pytest.mark.parametrize(("scope", "status"), [("read", 200), ("owner", 200), ("quote", 403), ("work", 403)])
def test_an_account_is_read_with_the_scope_to_read(house: House, scope: str, status: int) -> None:
    assert house.as_(scope).ask("GET", ACCOUNT).status_code == status
