"""The people at the till."""

from typing import Any

from staged import House
from till import everything

PERSON = "Zo%C3%AB"


def test_without_people_any_name_is_taken(house: House) -> None:
    assert house.till.ask("GET", "/v1/clients", Settle_Person="whoever").status_code == 200


def test_where_there_are_people_a_name_is_one_of_theirs(house: House) -> None:
    house.till.post("/v1/people", {"name": "Zoë"})
    assert house.till.ask("GET", "/v1/clients", Settle_Person=PERSON).status_code == 200
    assert house.till.ask("GET", "/v1/clients").status_code == 200
    answer = house.till.ask("GET", "/v1/clients", Settle_Person="Zoe")
    assert (answer.status_code, answer.json["type"]) == (400, "/problems/bad-request")


def test_what_was_done_keeps_the_name_of_somebody_who_left(house: House) -> None:
    made = house.till.post("/v1/people", {"name": "Zoë"})
    prices: Any = {"prices": {"gold": {"amount": "61", "currency": "GBP", "per": "g"}}}
    assert house.till.ask("POST", "/v1/prices", prices, Settle_Person=PERSON).status_code == 201
    assert house.till.ask("DELETE", f"/v1/people/{made['id']}").status_code == 204
    assert house.till.listed("/v1/people") == []
    assert "Zoë" in repr(everything(house.till.file)["prices"])


def test_a_name_stands_once(house: House) -> None:
    house.till.post("/v1/people", {"name": "Zoë"})
    assert house.till.refused.post("/v1/people", {"name": " Zoë "}).said == (409, "already-exists", "/name")
    assert house.till.refused.call("DELETE", "/v1/people/W-9").status == 404


def test_the_books_are_read_by_the_accountant_and_people_with_them(house: House) -> None:
    house.till.post("/v1/people", {"name": "Zoë"})
    assert [p["name"] for p in house.as_("read").listed("/v1/people")] == ["Zoë"]
    assert house.as_("quote").refused.get("/v1/people").status == 403
