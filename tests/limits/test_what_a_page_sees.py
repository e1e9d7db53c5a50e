"""A key in a page lies open to everyone: no route gives it a client, a margin or a figure of the house."""

import json
import re
from typing import Any

import pytest
from staged import House
from stages import CLIENT, LOT, QUOTE, SETTLEMENT, STANDING, asked, terms

from api.http.access import scopes_of_routes
from api.schemas.answers_website import for_website

NAMES = STANDING | {"units": "units", "problems": "price-too-old", "periods": "2026-03"}
OF_A_CLIENT = ("Ann Other", "1 Nowhere Lane", CLIENT, QUOTE, LOT, SETTLEMENT)
OF_A_CLIENT_ANYWHERE = re.compile("|".join(rf"(?<![A-Z]){word}\b" for word in OF_A_CLIENT))
# Figures of the house that stand in no other place, so that they are found wherever they leak.
FIGURES = BIAS, SCATTER, ACCOUNTABLE = ("1.3579", "2.4681", "0.97531")


def address(rule: str) -> str:
    """A route's path with names that are in the books."""
    filled: list[str] = []
    for part in rule.split("/"):
        filled.append(NAMES.get(filled[-1], "1") if part.startswith("<") else part)
    return "/".join(filled)


def walked(house: House, scope: str, methods: tuple[str, ...]) -> dict[str, Any]:
    """The answer of every route with one of these methods, asked with a key of this scope."""
    till = house.as_(scope)
    answers = {}
    for route in scopes_of_routes(till.app):
        method, rule = route.split()
        if method in methods:
            body = {} if method in ("POST", "PATCH") else None
            answers[route] = till.ask(method, address(rule), body)
    return answers


@pytest.fixture
def telling(house: House) -> House:
    """The house under public terms whose figures are told apart from all others."""
    changed = terms()
    for kind in changed["evidence"].values():
        if kind["method"] != "none":
            kind |= {"bias": f"-{BIAS}", "scatter": SCATTER}
    changed["metals"]["gold"]["accountable"] = ACCOUNTABLE
    house.till.terms(changed)
    return house


def test_every_route_but_estimates_and_those_open_to_all_refuses_the_key(house: House) -> None:
    methods = ("GET", "POST", "PATCH", "PUT", "DELETE")
    allowed = {
        r for r, scopes in scopes_of_routes(house.till.app).items() if not scopes or "estimate" in scopes
    }
    answers = walked(house, "estimate", methods)
    assert {r for r, a in answers.items() if a.status_code != 403} <= allowed
    assert len(answers) > 100


def test_the_walk_meets_what_is_there(house: House) -> None:
    """Or else the walk above would be through an empty house."""
    answers = walked(house, "owner", ("GET",))
    text = "".join(a.get_data(as_text=True) for a in answers.values())
    assert len([a for a in answers.values() if a.status_code == 200]) > 40
    assert set(OF_A_CLIENT_ANYWHERE.findall(text)) == set(OF_A_CLIENT)


def test_no_answer_that_the_key_gets_names_a_client_or_what_is_his(telling: House) -> None:
    answers = walked(telling, "estimate", ("GET", "POST"))
    alike_in_every_house = {"GET /openapi.json", "GET /docs", "GET /docs/<asset>", "GET /problems/<kind>"}
    for route in answers.keys() - alike_in_every_house:
        assert OF_A_CLIENT_ANYWHERE.findall(answers[route].get_data(as_text=True)) == [], route


def members(document: Any) -> set[str]:
    if isinstance(document, dict):
        return set(document).union(*(members(value) for value in document.values()))
    return set().union(*(members(value) for value in document)) if isinstance(document, list) else set()


# What of each object of an estimate no page sees; a bar of an estimate is not poured yet, nothing was drilled
# and nothing charged before.
HOUSE_ONLY = {
    "EstimateAnswer": {"working"},
    "ItemAnswer": {"holds"},
    "CaseAnswer": {"all_in"},
    "MetalAccountAnswer": {"fine_u", "kept", "kept_worth", "drillings"},
    "ChargeLineAnswer": {"of_lot", "charged_before"},
    "TaxLineAnswer": {"of_lot", "charged_before"},
    "PlannedBarAnswer": {
        *("serial", "stated_weight", "stated_fineness", "stated_fine"),
        *("gift", "stated_below"),
    },
}


def test_whether_a_page_sees_a_member_is_decided_of_every_one(house: House) -> None:
    schemas = house.till.get("/openapi.json")["components"]["schemas"]
    left_out = {
        of: schemas[of]["properties"].keys() - schemas[name]["properties"].keys()
        for name in schemas
        if (of := name.removeprefix("Website")) != name
    }
    assert {of: members for of, members in left_out.items() if members} == HOUSE_ONLY
    assert len(left_out) > len(HOUSE_ONLY)


# These are named by what there is: metals.
BY_METAL = {"prices", "metals", "holds", "bars_covered", "not_accounted_for"}
BY_METAL_OF_ALL = {"shot", "metal_account", "drillings"}


def with_more(document: Any, name: str = "", of: str = "") -> Any:
    """The document with a member more in each of its objects."""
    if isinstance(document, list):
        return [with_more(value) for value in document]
    if not isinstance(document, dict):
        return document
    by_metal = name in BY_METAL or (of == "client_gets" and name in BY_METAL_OF_ALL)
    more = {} if by_metal else {"house_margin": "0.97531"}
    return {key: with_more(value, key, name) for key, value in document.items()} | more


def test_a_member_that_an_estimate_gains_is_shown_to_no_page(telling: House) -> None:
    whole = telling.as_("quote").estimate(asked())
    page = telling.as_("estimate").estimate(asked())
    more = with_more(dict(whole))
    assert json.dumps(more).count("house_margin") > 100
    assert for_website(more) == page


def test_an_estimate_for_a_page_has_neither_margins_nor_bias_nor_working(telling: House) -> None:
    whole = telling.as_("quote").estimate(asked())
    page = telling.as_("estimate").estimate(asked())
    houses = {"holds", "kept", "kept_worth", "all_in", "fine_u", "working"}
    assert houses <= members(whole)
    assert houses & members(page) == set()
    assert [f for f in FIGURES if f in json.dumps(page)] == []
    assert page["net_range"] == whole["net_range"]


@pytest.mark.parametrize("said", ["true", "TRUE"])
def test_no_way_of_asking_brings_the_working(telling: House, said: str) -> None:
    answer = telling.as_("estimate").ask("POST", f"/v1/estimates?working={said}", asked())
    assert "working" not in answer.json


def test_the_terms_themselves_have_those_figures_and_are_not_for_the_page(telling: House) -> None:
    shown = telling.as_("quote").ask("GET", "/v1/terms/T-2").get_data(as_text=True)
    assert [f for f in FIGURES if f in shown] == [*FIGURES]
    assert telling.as_("estimate").ask("GET", "/v1/terms/T-2").status_code == 403


def test_prices_other_than_those_in_force_are_refused(telling: House) -> None:
    body = asked(prices={"gold": {"amount": "1.00", "currency": "GBP", "per": "g"}})
    answer = telling.as_("estimate").ask("POST", "/v1/estimates", body)
    assert (answer.status_code, answer.json["type"]) == (403, "/problems/forbidden")


def test_terms_that_are_not_the_public_ones_in_force_are_refused_without_a_word_of_them(
    telling: House,
) -> None:
    inner = telling.till.terms({**terms(), "public": False, "name": "for the trade"})
    for number in ("T-1", inner["number"], "T-404"):
        answer = telling.as_("estimate").ask("POST", "/v1/estimates", asked(terms=number))
        assert (answer.status_code, answer.json["type"]) == (403, "/problems/forbidden")
        assert "trade" not in answer.get_data(as_text=True)


FAULTY: list[dict[str, Any]] = [
    {"evidence": "nobody's"},
    {"gross": {"amount": "0", "unit": "g"}},
    {"scale": "SC-1"},
    {"metal": "palladium"},
    {"karat": "99"},
]


@pytest.mark.parametrize("fault", FAULTY, ids=lambda fault: next(iter(fault)))
def test_no_refusal_tells_a_figure_of_the_house(telling: House, fault: dict[str, Any]) -> None:
    item = {"karat": "9", "evidence": "hallmark", "gross": {"amount": "10", "unit": "g"}, **fault}
    answer = telling.as_("estimate").ask("POST", "/v1/estimates", {"items": [item]})
    text = answer.get_data(as_text=True)
    assert [f for f in FIGURES if f in text] == []
    assert OF_A_CLIENT_ANYWHERE.findall(text) == []


@pytest.mark.parametrize("name", ["Quillfeather", "Nobody", "", "x" * 81, "%00"])
def test_the_key_does_not_learn_who_works_at_the_till(telling: House, name: str) -> None:
    telling.till.post("/v1/people", {"name": "Quillfeather"})
    answer = telling.as_("estimate").ask("POST", "/v1/estimates", asked(), Settle_Person=name)
    assert answer.status_code == 200
    assert "Quillfeather" not in answer.get_data(as_text=True)


def test_no_refusal_names_the_scales_of_the_house(telling: House) -> None:
    item = {"karat": "9", "evidence": "hallmark", "gross": {"amount": "10", "unit": "g"}, "scale": "nobody's"}
    answer = telling.as_("estimate").ask("POST", "/v1/estimates", {"items": [item]})
    names = [scale["name"] for scale in telling.till.listed("/v1/scales")]
    assert names
    assert [name for name in names if name in answer.get_data(as_text=True)] == []
