"""Links lead from what a call gives to the calls that take it."""

import re
from collections.abc import Iterator
from typing import Any

import pytest

from api.http.document import operations


def links(document: Any) -> Iterator[tuple[str, str, Any]]:
    """Each link: the call that has it, the path of that call, what the document says of it."""
    for path, method, operation in operations(document):
        for response in operation["responses"].values():
            for link in response.get("links", {}).values():
                yield f"{method.upper()} {path}", path, link


def targets(document: Any) -> dict[str, Any]:
    return {
        operation["operationId"]: [*document["paths"][path].get("parameters", ()), *operation["parameters"]]
        for path, _, operation in operations(document)
        if "parameters" in operation
    }


def given(document: Any, call: str, target: str) -> Any:
    found = [
        link["parameters"] for of, _, link in links(document) if (of, link["operationId"]) == (call, target)
    ]
    return found[0] if found else None


def test_each_operation_has_a_name_of_its_own(document: Any) -> None:
    names = [operation["operationId"] for _, _, operation in operations(document)]
    assert len(set(names)) == len(names)


def test_a_link_gives_all_that_its_target_must_have(document: Any) -> None:
    parameters = targets(document)
    found = list(links(document))
    assert len(found) > 100
    for call, path, link in found:
        taken = parameters[link["operationId"]]
        # Whoever follows a link that buys, pays or posts makes the Idempotency-Key, as ever.
        must = {p["name"] for p in taken if p.get("required")} - {"Idempotency-Key"}
        assert must <= set(link["parameters"]) <= {p["name"] for p in taken}, (call, link)
        from_path = re.findall(r"\$request\.path\.(\w+)", " ".join(link["parameters"].values()))
        assert all(f"{{{name}}}" in path for name in from_path), (call, link)


BY_NUMBER = {"number": "$response.body#/number"}
SEEN = {"If-Match": "$response.header.ETag"}


@pytest.mark.parametrize(
    ("call", "target", "parameters"),
    [
        ("POST /v1/quotes", "show_quote", BY_NUMBER),
        ("POST /v1/quotes", "accept_quote", {**BY_NUMBER, **SEEN}),
        ("GET /v1/quotes/{number}", "accept_quote", {"number": "$request.path.number", **SEEN}),
        ("POST /v1/clients", "list_quotes", {"client": "$response.body#/id"}),
        ("POST /v1/bars", "hand_over", {"serial": "$response.body#/serial"}),
        ("POST /v1/settlements", "post_settlement", {"name": "$response.body#/id", **SEEN}),
        # A draft has no number yet.
        ("POST /v1/settlements", "settlement_record", None),
        # Its ETag is of the account, not of the batch.
        ("POST /v1/batches", "post_reconciliation", None),
        (
            "POST /v1/settlements/{name}/payments",
            "reverse_payment",
            {"name": "$request.path.name", "payment": "$response.body#/id"},
        ),
        ("POST /v1/lots/{number}/melt", "show_lot", {"number": "$request.path.number"}),
        ("POST /v1/lots/{number}/melt", "freeze", None),
    ],
)
def test_what_a_call_gives_goes_to_the_calls_that_take_it(
    document: Any, call: str, target: str, parameters: Any
) -> None:
    assert given(document, call, target) == parameters
