"""Who may call what: every route with every scope, and what a website's key gets to see."""

import re
from collections.abc import Iterator
from typing import Any

import pytest
from stages import Clock, asked, gold_only, scrap, terms
from till import Till, everything, grams, pounds

from api.app import BLUEPRINTS, create_app
from api.http.access import scopes_of_routes
from api.http.published import Blueprint, answers
from api.settings import Settings
from settle.books.access import SCOPES

# What the contract says of the calls of this road.
SAID = {
    "POST /v1/estimates": {"estimate", "quote"},
    "POST /v1/quotes": {"quote"},
    "GET /v1/quotes": {"quote"},
    "GET /v1/quotes/<number>": {"quote"},
    "POST /v1/quotes/<number>/acceptance": {"quote"},
    "POST /v1/quotes/<number>/withdrawal": {"quote"},
    "POST /v1/purchases": {"settle"},
    "GET /v1/purchases": {"settle"},
    "POST /v1/bars/<serial>/sale": {"settle"},
    "GET /v1/bar-sales": {"settle"},
    "GET /v1/bar-sales/<number>": {"settle"},
    "POST /v1/lots": {"quote"},
    "POST /v1/lots/<number>/instructions": {"quote"},
    "POST /v1/lots/<number>/melt": {"work"},
    "POST /v1/lots/<number>/assays": {"work"},
    "POST /v1/batches": {"work"},
    "GET /v1/batches": {"work"},
    "POST /v1/batches/<number>/silver-loans": {"work"},
    "POST /v1/batches/<number>/outturns": {"work"},
    "POST /v1/batches/<number>/reconciliation": {"settle"},
    "POST /v1/bars": {"work"},
    "GET /v1/bars": {"work"},
    "POST /v1/settlements": {"settle"},
    "GET /v1/settlements": {"settle"},
    "POST /v1/settlements/<name>/posting": {"settle"},
    "GET /v1/clients": {"quote"},
    "POST /v1/clients": {"quote"},
    "PATCH /v1/clients/<client>": {"quote"},
    "GET /v1/journal": {"read"},
    "GET /v1/payments": {"settle"},
    "GET /v1/stock": {"read"},
    "GET /v1/stock-counts": {"read"},
    "GET /v1/cash-counts": {"read"},
    "GET /v1/money-moves": {"read"},
    "POST /v1/stock": {"owner"},
    "POST /v1/prices": {"price"},
    "POST /v1/terms": {"owner"},
    "POST /v1/scales": {"owner"},
    "POST /v1/moulds": {"owner"},
    "GET /v1/terms": {"quote", "work"},
    "GET /v1/scales": {"quote", "work"},
    "GET /v1/moulds": {"quote", "work"},
    "GET /v1/reference/units": set(),
    "GET /v1/reference/finenesses": set(),
    "GET /v1/reference/alloys": set(),
    "GET /livez": set(),
    "GET /readyz": set(),
    "GET /openapi.json": set(),
    "GET /problems/<kind>": set(),
}


def asking_for(till: Till) -> Iterator[tuple[str, str, str, tuple[str, ...]]]:
    """Each route with its method, an address of it, and the scopes that it declares."""
    for route, declared in scopes_of_routes(till.app).items():
        assert declared is not None, route
        method, rule = route.split()
        yield route, method, re.sub("<[^>]+>", "X-1", rule), declared


def opens(scope: str, method: str, declared: tuple[str, ...]) -> bool:
    """`owner` may do all, `read` reads everything but what is the owner's alone."""
    may_read = scope == "read" and method == "GET" and set(declared) != {"owner"}
    return not declared or scope in declared or scope == "owner" or may_read


def test_the_calls_ask_for_the_scopes_that_the_contract_names(standing: Any) -> None:
    declared = scopes_of_routes(standing("empty").app)
    assert {route: set(declared[route] or ()) for route in SAID} == SAID


@pytest.mark.parametrize("scope", SCOPES)
def test_a_key_opens_what_its_scope_covers_and_nothing_else(
    standing: Any, keys: dict[str, str], scope: str
) -> None:
    till = standing("opened").with_key(keys[scope])
    before = everything(till.file)
    for route, method, path, declared in asking_for(till):
        answer = till.ask(method, path)
        if opens(scope, method, declared):
            assert answer.status_code not in (401, 403, 500), route
        else:
            assert (answer.status_code, answer.json["type"]) == (403, "/problems/forbidden"), route
            assert "owner" in answer.json["detail"], route
    assert everything(till.file) == before


@pytest.mark.parametrize("given", [None, "Bearer ", "Bearer unknown", "Basic eDp5", "Bearer a b"])
def test_without_a_known_key_only_what_is_open_to_all_answers(standing: Any, given: str | None) -> None:
    till = standing("opened")
    before = everything(till.file)
    for route, method, path, declared in asking_for(till):
        answer = till.ask(method, path, Authorization=given)
        if declared:
            assert (answer.status_code, answer.json["type"]) == (401, "/problems/unauthorized"), route
            assert answer.headers["WWW-Authenticate"].startswith("Bearer"), route
        else:
            assert answer.status_code not in (401, 403), route
    assert everything(till.file) == before


def test_an_app_with_a_route_that_says_nothing_does_not_start(at: Any) -> None:
    careless = Blueprint("careless", __name__, url_prefix="/v1/careless")

    @careless.route("")
    @answers(200)
    def view() -> Any:
        """Nobody said who may."""
        return {}

    till = at("empty")
    with pytest.raises(RuntimeError, match="GET /v1/careless"):
        create_app(Settings("unused"), Clock(), till.books, (*BLUEPRINTS, careless))


def test_the_person_at_the_till_and_the_key_go_with_what_was_done(at: Any, keys: dict[str, str]) -> None:
    till = at("received").with_key(keys["work"])
    path, body = "/v1/lots/L-2026-0001/melt", {"weight": grams("118.40")}
    assert till.ask("POST", path, body, Settle_Person="Dee").status_code == 201
    rows = everything(till.file)["records"]
    (melt,) = [row for row in rows if "melt" in row]
    assert "Dee" in melt
    assert "K-4" in melt  # the fourth key that was made is the one of scope work


# a website's key

HOUSE_ONLY = {"working", "holds", "kept", "all_in"}


def members(document: Any) -> set[str]:
    """The name of every member of a document, at any depth."""
    if isinstance(document, dict):
        return set(document) | {name for inner in document.values() for name in members(inner)}
    if isinstance(document, list):
        return {name for inner in document for name in members(inner)}
    return set()


@pytest.fixture
def website(shop: Till, keys: dict[str, str]) -> Till:
    return shop.with_key(keys["estimate"])


@pytest.mark.parametrize("query", ["", "?working=true", "?working=false"])
def test_a_website_sees_neither_working_nor_what_is_the_houses(website: Till, query: str) -> None:
    answer = website.post(f"/v1/estimates{query}", asked())
    assert members(answer) & HOUSE_ONLY == set()
    assert answer["net_range"]["likely"]["amount"] == "791.44"


def test_who_may_quote_sees_what_a_website_does_not(shop: Till, keys: dict[str, str]) -> None:
    clerk = shop.with_key(keys["quote"])
    assert members(clerk.estimate(asked())) >= HOUSE_ONLY
    assert "working" not in clerk.post("/v1/estimates?working=false", asked())


def test_a_website_is_told_the_same_money_as_the_shop(shop: Till, website: Till) -> None:
    for part in ("net_range", "bars_covered", "binds", "notices", "terms", "prices"):
        assert website.estimate(asked())[part] == shop.estimate(asked())[part]


def test_a_website_uses_the_public_terms_in_force_alone(shop: Till, website: Till) -> None:
    shop.terms(gold_only(name="trade"))
    shop.terms(terms(name="newer"))
    assert website.estimate(asked())["terms"] == "T-3"
    assert website.estimate(asked(terms="T-3"))["terms"] == "T-3"
    for other in ("T-1", "T-2", "T-9"):  # public once, never public, not there
        refusal = website.refused.estimate(asked(terms=other))
        assert refusal.said == (403, "forbidden", "/terms"), other
        assert "T-3" in refusal.rights["/terms"]


def test_a_website_uses_the_prices_in_force_alone(website: Till) -> None:
    prices = {"gold": pounds("90"), "silver": pounds("1")}
    assert website.refused.estimate(asked(prices=prices)).said == (403, "forbidden", "/prices")


def test_without_public_terms_a_website_has_nothing_to_estimate_under(at: Any, keys: dict[str, str]) -> None:
    till = at("empty")
    till.terms(gold_only())
    refusal = till.with_key(keys["estimate"]).refused.estimate({"items": [scrap()]})
    assert refusal.said == (409, "terms-missing", "/terms")


def test_an_estimate_keeps_nothing_and_gives_no_number(website: Till) -> None:
    before = everything(website.file)
    answer = website.estimate(asked())
    assert everything(website.file) == before
    assert {"number", "hash", "valid_until"} & set(answer) == set()
