"""The OpenAPI document: valid, whole, and the one that the repository shows to shops."""

import json
import re
from pathlib import Path
from typing import Any

import pytest
from openapi_spec_validator import OpenAPIV31SpecValidator

SHARED = Path(__file__).parents[2] / "shared" / "openapi.json"


@pytest.fixture(scope="module")
def document(standing: Any) -> Any:
    return standing("empty").ask("GET", "/openapi.json", Authorization=None).json


@pytest.fixture(scope="module")
def routes(standing: Any) -> set[tuple[str, str]]:
    """Each route as the document writes it, but the one that serves it."""
    rules = standing("empty").app.url_map.iter_rules()
    found = {
        (re.sub(r"<(?:[^:>]+:)?([^>]+)>", r"{\1}", rule.rule), method.lower())
        for rule in rules
        for method in (rule.methods or set()) - {"HEAD", "OPTIONS"}
    }
    return found - {("/openapi.json", "get")}


def operations(document: Any) -> dict[tuple[str, str], Any]:
    return {
        (path, method): operation
        for path, methods in document["paths"].items()
        for method, operation in methods.items()
        if method in ("get", "post", "patch", "put", "delete")
    }


def test_it_is_valid_openapi_31(document: Any) -> None:
    OpenAPIV31SpecValidator(document).validate()
    assert document["openapi"].startswith("3.1.")


def test_it_names_every_route_and_no_other(document: Any, routes: set[tuple[str, str]]) -> None:
    assert len(routes) > 40
    assert set(operations(document)) == routes


def test_every_operation_has_a_summary_of_its_own(document: Any) -> None:
    summaries = {of: operation.get("summary", "") for of, operation in operations(document).items()}
    assert [of for of, summary in summaries.items() if not summary.strip()] == []
    # One view may serve a batch and a silver recovery alike: what follows the number is the same.
    told = {(summary, path.split("}")[-1]) for (path, _), summary in summaries.items()}
    assert len(told) == len(set(summaries.values()))


def test_it_says_of_every_operation_who_may_call_it(document: Any) -> None:
    for of, operation in operations(document).items():
        assert operation["security"] in ([], [{"accessKey": []}]), of
        assert bool(operation["security"]) == bool(operation.get("x-scopes")), of


def test_what_is_demanded_of_a_call_is_documented_as_required(document: Any) -> None:
    demanded = {
        (path, p["name"])
        for (path, _), operation in operations(document).items()
        for p in operation.get("parameters", [])
        if p["in"] == "header" and p.get("required")
    }
    assert demanded >= {
        ("/v1/purchases", "Idempotency-Key"),
        ("/v1/batches/{number}/silver-loans", "Idempotency-Key"),
        ("/v1/batches/{number}/reconciliation", "Idempotency-Key"),
        ("/v1/batches/{number}/reconciliation", "If-Match"),
        ("/v1/settlements/{name}/posting", "Idempotency-Key"),
        ("/v1/settlements/{name}/posting", "If-Match"),
        ("/v1/quotes/{number}/acceptance", "If-Match"),
        ("/v1/quotes/{number}/withdrawal", "If-Match"),
        ("/v1/clients/{client}", "If-Match"),
    }


def test_every_refusal_is_documented_as_a_problem(document: Any) -> None:
    for of, operation in operations(document).items():
        for status, response in operation["responses"].items():
            if status.startswith(("4", "5")):
                name = response["$ref"].rsplit("/", 1)[1]
                assert list(document["components"]["responses"][name]["content"]) == [
                    "application/problem+json"
                ], of


def test_the_file_that_shops_are_given_is_the_one_that_is_served(document: Any) -> None:
    assert SHARED.is_file(), "shared/openapi.json is missing: settle openapi > shared/openapi.json"
    assert json.loads(SHARED.read_text("utf-8")) == document
