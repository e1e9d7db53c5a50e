"""The OpenAPI document put together: what views say of themselves, problems by name, executed examples."""

import json
from collections.abc import Iterator, Mapping, Sequence
from functools import cache
from typing import Any
from urllib.parse import parse_qsl, unquote, urlsplit

from api.http.catalogue import catalogue
from api.http.idempotency import IDEMPOTENCY_KEY, REPLAYED
from api.http.links import linked
from api.http.parts import kinds_of_body
from api.http.published import problem_name
from api.shipped import shipped
from settle.reckoning.problems import KINDS

JSON = "application/json"
_METHODS = ("get", "post", "patch", "put", "delete")
_OF_A_KEY = {"request-under-way", "idempotency-key-reused"}
_BY_CALL = (409, 422)
# What all calls have in common, for who reads the document or its pages and nothing else.
ABOUT = """\
Quotes, lots, settlements and accounts of one refining house, for its till and its website.

- **Access**: `Authorization: Bearer` and an access key. `x-scopes` of a call names the scopes of which one
  suffices. A key with `origins` is good from those pages alone; in a page it has the scope `estimate` and
  no other.
- **Figures**: what is measured or owed is a decimal string, never a JSON number: `{"amount": "31.42",
  "unit": "g"}`, `{"amount": "61.20", "currency": "GBP"}`. Answers weigh in grams: `{"g": "31.420"}`.
  Moments are in UTC.
- **Refusals**: `application/problem+json` (RFC 9457). `type` is stable, and an address here that explains
  it; `errors` has every fault of the body at once, by JSON Pointer. `x-problems` of a call lists its types.
  Nothing is kept.
- **Once**: with an `Idempotency-Key` the same request again gets the first answer, and
  `Idempotency-Replayed: true`; a secret is not shown again. Another body under the same key is 422.
- **As seen**: what can change has an `ETag`, of that one document and of what this key was shown of it. To
  change or post it, send it as `If-Match` (428 without, 412 if it changed).
- **Lists**: `items`, at most `limit`; a `Link` with `rel="next"` leads to the next page, to the end.
- **Limits**: `RateLimit-Policy` and `RateLimit` say what is allowed and left in a minute; 429 and 503 say
  in `Retry-After` when to come again.
"""
_HEADERS = {
    "ETag": "Of this document as it is shown to this key: `If-Match` of a call that changes or posts it",
    "Location": "Where the new thing stands",
    "Link": "The next page, where there is one",
}
_IF_NONE_MATCH = {
    "in": "header",
    "name": "If-None-Match",
    "description": "The ETag of what the reader has: 304 if it is still the one",
    "schema": {"type": "string"},
}
Json = dict[str, Any]


def completed(spec: Json) -> Json:
    """The document with what no view knows of itself."""
    for path, method, operation in operations(spec):
        call = f"{method.upper()} {path}"
        if example := examples().get(call):
            _show(operation, example)
            for said in (spec["paths"][path], operation):
                _show_parameters(path, said.get("parameters", ()), example)
        if any(p.get("name") == IDEMPOTENCY_KEY for p in operation.get("parameters", ())):
            _may_be_replayed(operation)
        if method == "get" and _has_version(operation):
            operation["responses"]["304"] = {
                "description": "The version that the reader has is still the one"
            }
            operation.setdefault("parameters", []).append(_IF_NONE_MATCH)
        for status in {*([404] if "{" in path else []), *_statuses(call, operation)}:
            operation["responses"].setdefault(str(status), _problem(status))
        operation["x-problems"] = list(_problems(call, operation, spec["components"]["schemas"]))
    calls = {f"{method.upper()} {path}": operation for path, method, operation in operations(spec)}
    linked(calls, examples())
    return spec


def operations(spec: Mapping[str, Any]) -> Iterator[tuple[str, str, Json]]:
    """Every operation of a document, with its path and method."""
    for path, item in spec["paths"].items():
        for method in _METHODS:
            if method in item:
                yield path, method, item[method]


@cache
def examples() -> Mapping[str, Any]:
    """`"POST /v1/quotes"` → a request that was made, and its answer (`shared/examples.json`)."""
    read: Mapping[str, Any] = json.loads((shipped("shared") / "examples.json").read_text("utf-8"))
    return read


def _problem(status: int) -> Json:
    return {"$ref": f"#/components/responses/{problem_name(status)}"}


def _has_version(operation: Json) -> bool:
    """Whether what is answered has an ETag; every PDF has one."""
    answered = operation["responses"].get("200", {})
    return "ETag" in answered.get("headers", {}) or "application/pdf" in answered.get("content", {})


def _statuses(call: str, operation: Json) -> Iterator[int]:
    """The statuses of the problems that a call gives: by the catalogue, and of a version that isn't there."""
    if "304" in operation["responses"]:
        yield 412
    for name, told in catalogue().items():
        if call in told.get("calls", ()):
            yield KINDS[name].status


def _problems(call: str, operation: Json, schemas: Json) -> Iterator[str]:
    """The types that a call can give, in the order of the catalogue."""
    statuses = {int(status) for status in operation["responses"]}
    of_body = _of_body(operation, schemas)
    headers = {p["name"]: p.get("required", False) for p in operation.get("parameters", ()) if "name" in p}
    for name, kind in KINDS.items():
        if name in of_body:
            given = True
        elif name in _OF_A_KEY:
            given = "Idempotency-Key" in headers
        elif name == "wrong-state":
            given = call.startswith("POST") and "{" in call
        elif name == "idempotency-key-missing":
            given = headers.get("Idempotency-Key", False)
        else:
            given = kind.status in statuses and kind.status not in _BY_CALL
        if given or call in catalogue()[name].get("calls", ()):
            yield name


def _of_body(operation: Json, schemas: Json) -> set[str]:
    if "requestBody" not in operation:
        return set()
    said = operation["requestBody"]["content"].get(JSON, {}).get("schema", {})
    return kinds_of_body(said, schemas)


def _show(operation: Json, example: Mapping[str, Any]) -> None:
    """Put a request that was made, and its answer, beside their schemas."""
    if "body" in example and JSON in (content := operation.get("requestBody", {}).get("content", {})):
        content[JSON]["examples"] = {"executed": {"value": example["body"]}}
    response = operation["responses"][str(example["status"])]
    answered = response.get("content", {})
    if JSON in answered and "answer" in example:
        answered[JSON]["examples"] = {"executed": {"value": example["answer"]}}
    for name, value in example.get("headers", {}).items():
        said = {"description": _HEADERS[name], "schema": {"type": "string"}, "example": value}
        response.setdefault("headers", {})[name] = said


def _may_be_replayed(operation: Json) -> None:
    """Say of an answer that is kept under its Idempotency-Key how one sees that it was given before."""
    said = {
        "description": "`true` where this is the first answer to the same request, given again",
        "schema": {"type": "string", "enum": ["true"]},
    }
    for status, response in operation["responses"].items():
        if status.startswith("2"):
            response.setdefault("headers", {})[REPLAYED] = said


def _show_parameters(path: str, parameters: Sequence[Json], example: Mapping[str, Any]) -> None:
    """Put beside each parameter what the request that was made had there."""
    asked = urlsplit(example["path"])
    steps = zip(path.split("/"), asked.path.split("/"), strict=True)
    found = {
        "path": {name.strip("{}"): unquote(value) for name, value in steps if name.startswith("{")},
        "query": dict(parse_qsl(asked.query)),
        "header": {"If-Match": example["if_match"]} if "if_match" in example else {},
    }
    for parameter in parameters:
        value = found[parameter["in"]].get(parameter["name"])
        if value is not None:
            parameter.setdefault("example", value)
