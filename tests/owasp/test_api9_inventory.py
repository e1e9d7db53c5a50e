"""API9:2023 Improper Inventory Management (OWASP API Security Top 10, 2023 edition).

There is one version, and one document that names every call of it; what the document doesn't name is not
there. The document that is served is the one that stands in the repository.
"""

import json
import re
from pathlib import Path
from typing import Any

import pytest
import requests
from attacked import document, operations
from staged import House

from api.app import create_app
from api.settings import Settings
from settle import __version__
from tests.line.served import Served

SHARED = Path(__file__).parents[2] / "shared" / "openapi.json"
RUNNING = {"/livez", "/readyz", "/metrics", "/openapi.json", "/docs", "/docs/{asset}", "/problems/{kind}"}
PATIENCE_S = 60


def routes(house: House) -> set[tuple[str, str]]:
    """What the app really answers."""
    return {
        (method, re.sub(r"<(?:[^:>]+:)?([^>]+)>", r"{\1}", rule.rule))
        for rule in house.till.app.url_map.iter_rules()
        for method in (rule.methods or set()) - {"HEAD", "OPTIONS"}
    }


def test_every_route_is_in_the_document_and_every_call_of_the_document_is_a_route(standing: House) -> None:
    assert routes(standing) - {("GET", "/openapi.json")} == set(operations(standing))


def test_with_every_setting_on_there_is_one_route_more(standing: House) -> None:
    everything_on = Settings("unused", metrics=True, hooks_private=True, deliver=True)
    house = standing.with_app(create_app(everything_on, standing.clock, standing.books))
    assert routes(house) - routes(standing) == {("GET", "/metrics")}
    assert set(operations(house)) - set(operations(standing)) == {("GET", "/metrics")}


def test_every_call_has_the_version_in_its_path_but_those_of_whoever_runs_it(standing: House) -> None:
    paths = {path for _, path in operations(standing)}
    assert {path for path in paths if not path.startswith("/v1/")} <= RUNNING


def test_nothing_is_deprecated_and_everything_says_what_it_does(standing: House) -> None:
    for call, operation in operations(standing).items():
        assert not operation.get("deprecated", False), call
        assert operation.get("summary") or operation.get("description"), call
        assert "security" in operation, call


def test_the_document_tells_its_version_and_is_the_one_that_stands_here(standing: House) -> None:
    told = document(standing)
    assert told["info"]["version"] == __version__
    assert told == json.loads(SHARED.read_text("utf-8"))


@pytest.mark.parametrize(
    "path",
    [
        "/", "/v0/quotes", "/v2/quotes", "/v1", "/v1/", "/api", "/api/v1/quotes", "/quotes", "/console", "/debug", "/admin",
        "/static/x", "/static/", "/test", "/health", "/status", "/env", "/config", "/actuator/env", "/graphql", "/v1/debug",
        "/swagger.json", "/openapi.yaml", "/redoc", "/docs/..%2f..%2fapi%2fsettings.py", "/docs/swagger-ui.css.map",
        "/.git/config", "/.env", "/robots.txt", "/favicon.ico", "/v1/export", "/v1/backup", "/v1/check", "/v1/deliver",
        "/metrics", "/docs/index.html", "/server-status", "/v1/idempotency", "/v1/numbers", "/v1/entries", "/v1/events",
    ],
)  # fmt: skip
def test_what_the_document_does_not_name_is_not_there(standing: House, path: str) -> None:
    assert standing.till.ask("GET", path).status_code == 404
    assert standing.till.ask("POST", path).status_code in (404, 405)


def test_the_server_serves_that_document(server: Served) -> None:
    told: Any = requests.get(f"{server.address}/openapi.json", timeout=PATIENCE_S).json()
    assert told == json.loads(SHARED.read_text("utf-8"))
