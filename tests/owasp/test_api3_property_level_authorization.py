"""API3:2023 Broken Object Property Level Authorization (OWASP API Security Top 10, 2023 edition).

What may be written is what the document names: whoever adds a number, a state, a version or a word that
nobody knows is refused, in every call and at every depth. What may be read is what one's scope needs: a
page's key gets no working, and neither what the lot holds nor what the house keeps of it.
"""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from attacked import called, document, operations, seen, walked
from staged import House
from stages import CLIENT, asked
from till import everything

HOUSE_ONLY = {"holds", "kept", "kept_worth", "all_in", "fine_u", "working"}
# What the house itself says of a document; a client that could say it would say what it likes.
THE_HOUSES_OWN = {
    "id": "X-1", "number": "Q-2026-9999", "state": "accepted", "version": 99, "made_at": "2020-01-01T00:00:00Z",
    "hash": "0" * 64, "key": "K-1", "key_id": "K-7", "posted_at": "2020-01-01T00:00:00Z", "secret": "x",
    "revoked_at": None, "erased_at": None, "net": {"amount": "1.00", "currency": "GBP"}, "is_owner": True,
    "__proto__": {"a": 1}, "nobodys": 1,
}  # fmt: skip


def objects(schema: Any, body: Any, pointer: str, spec: Any) -> Iterator[tuple[str, Any, set[str]]]:
    """Each object of a body whose members the document names, with its pointer and these names."""
    schema = _resolved(schema, body, spec)
    if isinstance(body, dict):
        named = schema.get("properties", {})
        if schema.get("additionalProperties") is False:
            yield pointer, body, set(named)
        every = schema.get("additionalProperties") or {}
        for name, value in body.items():
            yield from objects(named.get(name, every), value, f"{pointer}/{name}", spec)
    if isinstance(body, list):
        for n, value in enumerate(body):
            yield from objects(schema.get("items", {}), value, f"{pointer}/{n}", spec)


def _resolved(schema: Any, body: Any, spec: Any) -> Any:
    if not isinstance(schema, dict):
        return {}
    if "$ref" in schema:
        schema = spec["components"]["schemas"][schema["$ref"].rpartition("/")[2]]
    for kind in ("oneOf", "anyOf"):
        if kind in schema:
            found = [_resolved(one, body, spec) for one in schema[kind]]
            return next((one for one in found if "properties" in one), {}) if isinstance(body, dict) else {}
    return schema


def laden(schema: Any, body: Any, spec: Any) -> tuple[Any, set[str]]:
    """The body with members that nobody knows in each of its objects, and the pointers of these."""
    body, added = json.loads(json.dumps(body)), set()
    for pointer, found, named in [*objects(schema, body, "", spec)]:
        more = {name: value for name, value in THE_HOUSES_OWN.items() if name not in named}
        found.update(more)
        added |= {f"{pointer}/{name}" for name in more}
    return body, added


def test_members_that_nobody_knows_are_refused_by_every_call_and_at_every_depth(tmp_path: Path) -> None:
    met, deep = set(), 0
    for house, step, body in walked(tmp_path):
        if step["method"] not in ("POST", "PATCH") or not isinstance(body, dict):
            continue
        found, call = operations(house), called(house, step)
        schema = _schema(found[call])
        sent, added = laden(schema, body, document(house))
        before = everything(house.till.file)
        answer = house.till.ask(step["method"], step["path"], sent, If_Match=seen(house, step))
        assert (answer.status_code, answer.json["type"]) == (422, "/problems/invalid-body"), (
            call,
            answer.json,
        )
        told = {e["pointer"] for e in answer.json["errors"] if e["type"] == "/problems/unknown-field"}
        assert added - told == set(), call
        assert everything(house.till.file) == before, call
        met.add(call)
        deep += len({pointer.rpartition("/")[0] for pointer in added}) - 1
    assert met == {call for call, operation in found.items() if _schema(operation)}
    assert deep > 50


def test_an_override_is_the_owners_word_wherever_it_may_stand(tmp_path: Path) -> None:
    """Whoever else may make the call is refused for that member, and nothing is kept."""
    met = set()
    for house, step, body in walked(tmp_path):
        if step["method"] != "POST" or not isinstance(body, dict):
            continue
        found, call = operations(house), called(house, step)
        if "override" in _properties(found[call], house):
            for scope in set(found[call]["x-scopes"]) - {"owner"}:
                how: Any = {"If_Match": seen(house, step)}
                sent = {**body, "override": {"reason": "because"}}
                refusal = house.as_(scope).refused.sent("POST", step["path"], sent, **how)
                assert (refusal.status, "/override" in refusal.faults) == (403, True), (call, refusal.body)
            met.add(call)
    assert met == {call for call, operation in found.items() if "override" in _properties(operation, house)}
    assert len(met) >= 4


def _properties(operation: Any, house: House) -> Any:
    return _resolved(_schema(operation), {}, document(house)).get("properties", {})


def test_every_object_that_the_document_lets_in_is_closed(standing: House) -> None:
    spec = document(standing)
    waiting = [
        content["schema"]
        for operation in operations(standing).values()
        for media, content in operation.get("requestBody", {}).get("content", {}).items()
        if media == "application/json"
    ]
    been: set[str] = set()
    while waiting:
        schema = waiting.pop()
        if (name := schema.get("$ref", "")) and name not in been:
            been.add(name)
            waiting.append(spec["components"]["schemas"][name.rpartition("/")[2]])
        if schema.get("type") == "object" or "properties" in schema:
            assert schema.get("additionalProperties", True) is not True, schema
        every = schema.get("additionalProperties")
        inner = [*schema.get("properties", {}).values(), schema.get("items"), every]
        waiting += [
            one
            for one in (*inner, *schema.get("oneOf", ()), *schema.get("anyOf", ()))
            if isinstance(one, dict)
        ]
    assert len(been) > 40


@pytest.mark.parametrize("name", ["id", "made_at", "erased_at"])
def test_what_the_house_says_of_a_client_is_not_changed_by_a_patch(house: House, name: str) -> None:
    client = house.till.get(f"/v1/clients/{CLIENT}")
    refusal = house.till.refused.sent(
        "PATCH", f"/v1/clients/{CLIENT}", {name: client[name]}, If_Match=client.etag
    )
    assert refusal.faults == {f"/{name}": "unknown-field"}


def members(document: Any) -> set[str]:
    if isinstance(document, dict):
        return set(document).union(*map(members, document.values()))
    return set().union(*map(members, document)) if isinstance(document, list) else set()


@pytest.mark.parametrize(
    ("query", "headers"),
    [
        ("", {}),
        ("?working=true", {}),
        ("", {"Accept": "application/pdf"}),
        ("", {"Accept": "text/html, */*"}),
        ("", {"Settle_Person": "Dee", "X_Http_Method_Override": "GET"}),
    ],
)
def test_a_pages_key_sees_what_a_visitor_may_know_however_it_asks(
    opened: House, query: str, headers: dict[str, str]
) -> None:
    answer = opened.as_("estimate").ask("POST", f"/v1/estimates{query}", asked(), **headers)
    assert answer.status_code == 200
    found = members(answer.json)
    assert "net_range" in found
    assert found & HOUSE_ONLY == set()


def test_a_pages_key_sees_no_more_of_many_lots_at_once(opened: House) -> None:
    lines = "\n".join(json.dumps(one) for one in (asked(), {"items": []}, asked())).encode()
    answer = opened.as_("estimate").ask("POST", "/v1/estimates", lines, "application/jsonl")
    told = [json.loads(line) for line in answer.get_data().splitlines()]
    assert ["net_range" in one for one in told] == [True, False, True]
    assert members(told) & HOUSE_ONLY == set()


def test_no_list_of_keys_or_hooks_shows_more_than_its_document_says(house: House) -> None:
    house.till.post("/v1/hooks", {"url": "https://till.example/"})
    shown = {path: members(house.till.listed(path)) for path in ("/v1/keys", "/v1/hooks")}
    assert not {"hash", "secret", "old_secret", "n"} & set.union(*shown.values())
    schemas = document(house)["components"]["schemas"]
    for path, name in (("/v1/keys", "KeyAnswer"), ("/v1/hooks", "HookAnswer")):
        assert shown[path] == set(schemas[name]["properties"]), path


def _schema(operation: Any) -> Any:
    return operation.get("requestBody", {}).get("content", {}).get("application/json", {}).get("schema", {})
