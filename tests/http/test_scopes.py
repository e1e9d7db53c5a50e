"""Who may call what."""

from typing import Any

import pytest

from api.app import create_app
from api.http.access import refuse_unscoped_routes, scope, scopes_of_routes
from api.http.published import Blueprint, answers
from api.settings import Settings
from settle.books.access import revoke_key
from settle.books.work import THE_COMMAND


@pytest.mark.parametrize(
    "headers",
    [{}, {"Authorization": "Bearer"}, {"Authorization": "Bearer nonsense"}, {"Authorization": "Basic eDp5"},
     {"Authorization": "Bearer \xe9"}],
)  # fmt: skip
def test_without_a_valid_key_it_is_401_and_says_how_to_ask(client: Any, headers: dict[str, str]) -> None:
    answer = client.get("/v1/things/SC-1", headers=headers)
    assert (answer.status_code, answer.json["type"]) == (401, "/problems/unauthorized")
    assert answer.headers["WWW-Authenticate"].startswith("Bearer")


@pytest.mark.parametrize(
    ("method", "path", "scopes", "status"),
    [
        ("GET", "/v1/things", ["work"], 200),
        ("GET", "/v1/things", ["quote", "work"], 200),
        ("GET", "/v1/things", ["read"], 200),
        ("GET", "/v1/things", ["owner"], 200),
        ("GET", "/v1/things", ["estimate"], 403),
        ("GET", "/v1/things", ["quote", "price", "settle"], 403),
        ("POST", "/v1/things", ["read"], 403),
        ("POST", "/v1/things", ["owner"], 415),
        ("GET", "/v1/things/secrets", ["read"], 403),
        ("GET", "/v1/things/secrets", ["owner"], 200),
    ],
)
def test_a_scope_opens_what_it_covers(
    client: Any, key: Any, method: str, path: str, scopes: list[str], status: int
) -> None:
    assert client.open(path, method=method, headers=key(*scopes)).status_code == status


def test_a_revoked_key_is_401(client: Any, key: Any, books: Any) -> None:
    headers = key("work")
    with books.writing(THE_COMMAND) as work:
        revoke_key(work, "K-1")
    assert client.get("/v1/things", headers=headers).status_code == 401


def test_the_person_at_the_till_goes_with_the_work(post: Any, thing: Any) -> None:
    assert post(thing, Settle_Person="J%C3%B8rn").json["person"] == "Jørn"
    assert post({**thing, "name": "b"}).json["person"] is None
    assert post({**thing, "name": "c"}, Settle_Person="x" * 81).status_code == 400
    assert post({**thing, "name": "d"}, Settle_Person="%00").status_code == 400
    assert post({**thing, "name": "e"}, Settle_Person="J\u00f8rn").status_code == 400


def test_what_a_route_asks_for_can_be_read_and_is_published(app: Any) -> None:
    scopes = scopes_of_routes(app)
    assert scopes["POST /v1/things"] == ("owner", "work")
    assert scopes["GET /livez"] == ()
    paths = app.test_client().get("/openapi.json").json["paths"]
    assert paths["/v1/things"]["post"]["security"] == [{"accessKey": []}]
    assert paths["/v1/things"]["post"]["x-scopes"] == ["owner", "work"]
    assert paths["/v1/things"]["get"]["x-scopes"] == ["work", "read", "owner"]
    assert paths["/v1/things/secrets"]["get"]["x-scopes"] == ["owner"]
    assert paths["/livez"]["get"]["security"] == []


def test_a_route_that_says_neither_stops_the_app_from_starting(books: Any) -> None:
    blp = Blueprint("careless", __name__)

    @blp.route("/careless")
    @answers(200)
    def careless() -> Any:
        """Nobody said who may."""
        return {}

    with pytest.raises(RuntimeError, match="GET /careless"):
        create_app(Settings("unused"), books=books, blueprints=[blp])


def test_every_route_of_the_app_says_who_may_call_it(app: Any) -> None:
    refuse_unscoped_routes(app)
    assert None not in scopes_of_routes(app).values()


def test_a_scope_that_nobody_knows_cannot_be_declared() -> None:
    with pytest.raises(ValueError, match="king"):
        scope("king")
