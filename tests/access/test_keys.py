"""Access keys by API and by command."""

from datetime import timedelta
from typing import Any

import pytest
from click.testing import CliRunner
from staged import House
from stages import gold_only, scrap

from api import cli
from settle.books.columns import moment_text

SHOWN = {"id", "name", "scopes", "origins", "made_at", "expires_at", "last_used_at", "revoked_at"}


def make(house: House, *scopes: str, **more: Any) -> Any:
    return house.till.post("/v1/keys", {"name": "website", "scopes": list(scopes), **more})


def seen(house: House, made: Any) -> str:
    return str(house.till.get(made.at).etag)


def listed(house: House) -> dict[str, Any]:
    return {key["id"]: key for key in house.till.listed("/v1/keys")}


def test_a_key_is_shown_once_and_opens_what_its_scopes_cover(house: House) -> None:
    made = make(house, "quote", "work")
    assert made.at == f"/v1/keys/{made['id']}"
    assert set(made) == SHOWN | {"secret"}
    till = house.till.with_key(made["secret"])
    assert till.get("/v1/clients")["items"]
    assert till.refused.get("/v1/keys").status == 403
    assert set(house.till.get(made.at)) == SHOWN
    assert made["secret"] not in repr(listed(house))


def test_a_repeated_post_makes_no_second_key_and_repeats_no_secret(house: House) -> None:
    body = {"name": "till", "scopes": ["quote"]}
    first, again = (house.till.ask("POST", "/v1/keys", body, Idempotency_Key="one") for _ in range(2))
    assert again.json == {name: value for name, value in first.json.items() if name != "secret"}
    assert len(listed(house)) == 8


def test_scopes_that_nobody_knows_are_refused(house: House) -> None:
    refusal = house.till.refused.post("/v1/keys", {"name": "", "scopes": ["quote", "everything"]})
    assert refusal.faults == {"/name": "bad-text", "/scopes/1": "not-one-of"}
    assert house.till.refused.post("/v1/keys", {"name": "x", "scopes": []}).faults == {"/scopes": "missing"}


def test_a_key_opens_nothing_once_it_has_expired(house: House) -> None:
    expires = moment_text(house.clock.now + timedelta(hours=1))
    made = make(house, "quote", expires_at=expires)
    till = house.till.with_key(made["secret"])
    house.clock.move(minutes=59)
    assert till.get("/v1/clients")
    house.clock.move(minutes=1)
    assert till.refused.get("/v1/clients").said == (401, "unauthorized", "")


@pytest.mark.parametrize("moment", ["2026-03-02T09:30:00Z", "2020-01-01T00:00:00Z"])
def test_a_key_does_not_expire_before_it_is_made(house: House, moment: str) -> None:
    refusal = house.till.refused.post("/v1/keys", {"name": "x", "scopes": ["read"], "expires_at": moment})
    assert refusal.faults == {"/expires_at": "out-of-range"}


def test_the_last_use_is_shown(house: House) -> None:
    made = make(house, "quote")
    assert made["last_used_at"] is None
    house.till.with_key(made["secret"]).get("/v1/clients")
    assert listed(house)[made["id"]]["last_used_at"] == moment_text(house.clock.now)


def test_a_revoked_key_opens_nothing_and_stays_in_the_list(house: House) -> None:
    made = make(house, "quote")
    for _ in range(2):
        assert house.till.ask("DELETE", made.at).status_code == 204
    assert house.till.with_key(made["secret"]).refused.get("/v1/clients").status == 401
    assert listed(house)[made["id"]]["revoked_at"] == moment_text(house.clock.now)
    assert house.till.refused.post(f"{made.at}/secret", seen=seen(house, made)).kind == "wrong-state"


def test_a_renewed_secret_replaces_the_old_one_at_once(house: House) -> None:
    made = make(house, "quote")
    renewed = house.till.post(f"{made.at}/secret", seen=seen(house, made))
    assert renewed["secret"] != made["secret"]
    assert house.till.with_key(made["secret"]).refused.get("/v1/clients").status == 401
    assert house.till.with_key(renewed["secret"]).get("/v1/clients")


def test_two_who_renew_at_once_do_not_void_each_others_secret_unseen(house: House) -> None:
    made = make(house, "quote")
    assert house.till.refused.post(f"{made.at}/secret").said == (428, "precondition-required", "")
    house.till.with_key(made["secret"]).get("/v1/clients")
    renewed = house.till.post(f"{made.at}/secret", seen=made.etag)
    assert house.till.refused.post(f"{made.at}/secret", seen=made.etag).kind == "changed-since-seen"
    assert renewed.etag == seen(house, made) != made.etag
    assert house.till.with_key(renewed["secret"]).get("/v1/clients")


def owner_key(house: House) -> str:
    (key,) = [key["id"] for key in listed(house).values() if key["scopes"] == ["owner"]]
    return str(key)


def test_the_last_owner_key_stays(house: House) -> None:
    owner = owner_key(house)
    assert house.till.refused.call("DELETE", f"/v1/keys/{owner}").said == (409, "last-owner", "")
    expires = moment_text(house.clock.now + timedelta(days=1))
    guest = make(house, "owner", expires_at=expires)
    assert house.till.refused.call("DELETE", f"/v1/keys/{owner}").kind == "last-owner"
    heir = make(house, "owner")
    house.till.with_key(heir["secret"]).call("DELETE", f"/v1/keys/{owner}")
    house.till.with_key(heir["secret"]).call("DELETE", guest.at)
    assert house.till.with_key(heir["secret"]).refused.call("DELETE", heir.at).kind == "last-owner"


@pytest.mark.parametrize(("method", "path"), [("GET", ""), ("DELETE", ""), ("POST", "/secret")])
def test_a_key_that_is_not_there_is_not_found(house: House, method: str, path: str) -> None:
    assert house.till.refused.call(method, f"/v1/keys/K-99{path}", seen='"x"').status == 404


# by command


def run(house: House, *arguments: str) -> Any:
    return CliRunner().invoke(cli.main, arguments, env={"SETTLE_DATABASE_URL": str(house.books.engine.url)})


def test_a_key_is_revoked_by_command(house: House) -> None:
    ended = run(house, "keys", "revoke", "K-2")
    assert (ended.exit_code, ended.stdout) == (0, "")
    assert house.as_("quote").refused.get("/v1/clients").status == 401


@pytest.mark.parametrize(("key", "said"), [("K-99", "no key"), ("K-7", "last key with the scope owner")])
def test_what_can_not_be_revoked_is_told_in_a_line(house: House, key: str, said: str) -> None:
    ended = run(house, "keys", "revoke", key)
    assert ended.exit_code == 1
    assert said in ended.stderr


# in a browser

PAGE = "https://www.shop.example"


def asked_by(till: Any, origin: str | None, **headers: str) -> Any:
    return till.ask("POST", "/v1/estimates", {"items": [scrap()]}, Origin=origin, **headers)


@pytest.fixture
def website(house: House) -> Any:
    house.till.terms(gold_only(public=True))
    return house.till.with_key(make(house, "estimate", origins=[PAGE, "http://localhost:8000"])["secret"])


def test_a_browsers_key_is_good_from_the_pages_that_it_names(website: Any) -> None:
    answer = asked_by(website, PAGE)
    assert answer.status_code == 200
    assert answer.headers["Access-Control-Allow-Origin"] == PAGE
    assert "Origin" in answer.headers["Vary"]
    assert "Access-Control-Allow-Credentials" not in answer.headers


@pytest.mark.parametrize("origin", [None, "null", "https://elsewhere.example", f"{PAGE}.evil.example"])
def test_from_any_other_page_it_is_refused(website: Any, origin: str | None) -> None:
    answer = asked_by(website, origin)
    assert (answer.status_code, answer.json["type"]) == (403, "/problems/forbidden")
    assert "Access-Control-Allow-Origin" not in answer.headers


def test_a_page_can_read_why_it_was_refused(website: Any) -> None:
    answer = website.ask("POST", "/v1/estimates", {"items": []}, Origin=PAGE)
    assert answer.status_code == 422
    assert answer.headers["Access-Control-Allow-Origin"] == PAGE


def test_a_key_without_origins_opens_no_page(house: House) -> None:
    answer = house.till.ask("GET", "/v1/clients", Origin=PAGE)
    assert answer.status_code == 200
    assert "Access-Control-Allow-Origin" not in answer.headers


def preflight(till: Any, origin: str, path: str = "/v1/estimates") -> Any:
    asked = {"Access_Control_Request_Method": "POST", "Access_Control_Request_Headers": "authorization"}
    return till.ask("OPTIONS", path, Authorization=None, Origin=origin, **asked)


def test_a_preflight_is_answered_for_pages_of_a_key_alone(website: Any) -> None:
    answer = preflight(website, PAGE)
    assert answer.status_code == 200
    assert answer.headers["Access-Control-Allow-Origin"] == PAGE
    assert "POST" in answer.headers["Access-Control-Allow-Methods"]
    assert "Authorization" in answer.headers["Access-Control-Allow-Headers"]
    assert "Access-Control-Allow-Origin" not in preflight(website, "https://elsewhere.example").headers


def test_a_page_may_send_every_header_that_the_document_names(house: House, website: Any) -> None:
    document = house.till.ask("GET", "/openapi.json", Authorization=None).json
    operations = [op for path in document["paths"].values() for op in path.values() if isinstance(op, dict)]
    told = {p["name"] for op in operations for p in op.get("parameters", ()) if p["in"] == "header"}
    # The Fetch standard lets a page send this one unasked (CORS-safelisted request-header).
    needed = told - {"Accept-Language"}
    may = preflight(website, PAGE).headers["Access-Control-Allow-Headers"].split(", ")
    assert {"If-Match", "If-None-Match"} <= needed <= set(may)


def test_a_preflight_is_no_longer_answered_once_the_key_is_revoked(house: House, website: Any) -> None:
    house.till.call("DELETE", "/v1/keys/K-8")
    assert "Access-Control-Allow-Origin" not in preflight(website, PAGE).headers


@pytest.mark.parametrize(
    "origin", ["*", "null", "www.shop.example", f"{PAGE}/", "HTTPS://www.shop.example", "ftp://shop.example"]
)
def test_an_origin_is_given_as_a_browser_names_it(house: House, origin: str) -> None:
    body = {"name": "website", "scopes": ["estimate"], "origins": [origin]}
    assert house.till.refused.post("/v1/keys", body).faults == {"/origins/0": "wrong-type"}
