"""The register: every lot and purchase, by person, time and mark."""

from typing import Any

import pytest
from ledger_house import House
from stages import BARS, BATCH, LOT, gold_only, grams

COUNTER = {"gold": {"settle_on": "counter", "accountable": "1", "payout_rate": "1"}}


@pytest.fixture
def till(house: House) -> Any:
    """After settlement D: two purchases and a lot of another client, on three days."""
    till = house.till
    till.prices(gold="62.05", silver="0.75")
    bob = till.client("Bob Nobody")["id"]
    till.terms(gold_only(name="counter", metals=COUNTER))
    till.terms(gold_only(name="assay"))
    for number, (stamped, days) in enumerate((("750 LION & CO", 1), ("18ct", 1)), 1):
        house.clock.move(days=days)
        till.prices(gold="62.05")
        till.buy({"client": bob, "terms": "T-2", "items": [ring(stamped)], "paid_in": "cash"})
        assert till.get("/v1/register?limit=1")["items"][0]["document"] == f"P-2026-000{number}"
    till.receive(client=bob, terms="T-3", items=[ring("Lion, worn"), ring(None)])
    return till


def ring(stamped: str | None) -> dict[str, Any]:
    item = {"description": "ring", "evidence": "sure", "fineness": "750", "gross": grams("10")}
    return item if stamped is None else {**item, "stamped": stamped}


def documents(till: Any, asked: str = "") -> list[str]:
    return [entry["document"] for entry in till.get(f"/v1/register{asked}")["items"]]


ALL = ["L-2026-0002", "P-2026-0002", "P-2026-0001", LOT]
ASKED = [
    ("", ALL),
    ("?client=C-2", ALL[:3]),
    ("?client=C-1", [LOT]),
    ("?from=2026-03-10", ["L-2026-0002", "P-2026-0002"]),
    ("?to=2026-03-09", ["P-2026-0001", LOT]),
    ("?stamped=lion", ["L-2026-0002", "P-2026-0001"]),
    ("?stamped=%26%20co", ["P-2026-0001"]),
    ("?stamped=18K", [LOT]),
    ("?stamped=%25", []),
    ("?stamped=lion&client=C-1", []),
]


@pytest.mark.parametrize(("asked", "found"), ASKED)
def test_who_brought_what_when_and_how_it_was_marked(till: Any, asked: str, found: list[str]) -> None:
    assert documents(till, asked) == found


def test_a_client_whom_nobody_knows_is_no_empty_register(till: Any) -> None:
    assert till.refused.get("/v1/register?client=C-404").said == (400, "bad-request", "")


def test_a_page_goes_on_behind_a_lot_and_a_purchase(till: Any) -> None:
    for limit in (1, 2, 3):
        pages, path = [], f"/v1/register?limit={limit}"
        while path:
            answer = till.ask("GET", path)
            pages += [entry["document"] for entry in answer.json["items"]]
            link = answer.headers.get("Link", "")
            path = link[1 : link.index(">")] if link else ""
        assert pages == ALL


def test_a_lot_says_when_it_was_melted_and_into_which_bars_it_went(till: Any) -> None:
    lot = till.get("/v1/register")["items"][3]
    assert lot["client"] == {"id": "C-1", "name": "Ann Other", "address": "1 Nowhere Lane"}
    assert (lot["melted_at"], lot["batch"], lot["bars"]) == ("2026-03-03T09:30:00.000Z", BATCH, list(BARS))
    assert [item["stamped"] for item in lot["items"]] == ["9 375", "18K", None, None, None]
    assert lot["items"][0]["gross"] == {"g": "31.420"}
    assert lot["settlements"] == [{"number": "S-2026-0001", "state": "posted"}]


def test_a_purchase_says_how_it_was_paid(till: Any) -> None:
    bought = till.get("/v1/register")["items"][2]
    assert bought["paid"] == [
        {
            "of": "P-2026-0001",
            "amount": till.get("/v1/purchases/P-2026-0001")["net"],
            "direction": "to_client",
            "paid_in": "cash",
            "made_at": "2026-03-09T09:30:00.000Z",
        }
    ]


def test_a_lot_says_what_was_paid_on_it(till: Any) -> None:
    amount = {"amount": "811.04", "currency": "GBP"}
    till.post("/v1/settlements/S-2026-0001/payments", {"amount": amount, "paid_in": "transfer"})
    paid = till.get("/v1/register?client=C-1")["items"][0]["paid"]
    assert [(p["of"], p["amount"], p["paid_in"]) for p in paid] == [("S-2026-0001", amount, "transfer")]


@pytest.mark.parametrize(("scope", "status"), [("read", 200), ("quote", 403), ("work", 403), ("settle", 403)])
def test_the_register_is_read_with_the_scope_to_read(house: House, scope: str, status: int) -> None:
    assert house.as_(scope).ask("GET", "/v1/register").status_code == status
