"""Links of the OpenAPI document: which call takes what another gives, read off paths and executed examples.

1. What creates a thing gives its name to the calls on that thing, and to the lists that can be asked for it.
2. What is done to a thing leads back to looking at it.
3. What shows a thing gives its ETag to the calls that demand If-Match.
"""

import re
from collections.abc import Iterator, Mapping
from typing import Any

Json = dict[str, Any]
_ETAG = "$response.header.ETag"
_PARAMETER = re.compile(r"{(\w+)}")


def linked(calls: Mapping[str, Json], examples: Mapping[str, Any]) -> None:
    """Put links into the answers of `"POST /v1/quotes"` → operation."""
    for call, operation in calls.items():
        if example := examples.get(call):
            links = dict(_links(call, example, calls))
            if links:
                operation["responses"][str(example["status"])]["links"] = links


def _links(call: str, example: Json, calls: Mapping[str, Json]) -> Iterator[tuple[str, Json]]:
    for target, operation in calls.items():
        if target != call and (given := _given(call, target, example, calls)):
            yield operation["operationId"], {"operationId": operation["operationId"], "parameters": given}


def _given(call: str, target: str, example: Json, calls: Mapping[str, Json]) -> dict[str, str]:
    """The parameters of the target that the call gives; none where the two have nothing in common."""
    (method, path), (other_method, other) = call.split(" "), target.split(" ")
    if method == "POST" and other.startswith(f"{path}/{{"):
        given, thing = _of_made(path, other, example), _shown_by(other)
    elif method == "POST" and other_method == "GET":
        given, thing = _looked_at(path, other, example, calls[target]), ""
    elif method == "GET" and f"{other}/".startswith(f"{path}/"):
        given, thing = _of_request(path) if _demands(calls[target]) else {}, path
    else:
        return {}
    if not (given and _demands(calls[target])):
        return given
    # The ETag of the thing, unless what is done has one of its own to be seen first.
    is_seen = thing == (other if f"GET {other}" in calls else _shown_by(other))
    return {**given, "If-Match": _ETAG} if is_seen and "ETag" in example.get("headers", {}) else {}


def _looked_at(path: str, other: str, example: Json, operation: Json) -> dict[str, str]:
    """The thing that something was done to; or a list that can be asked for what was made."""
    if other == _shown_by(path):
        return _of_request(path)
    asked = _asked_for(path, operation)
    return {asked: named} if asked and (named := _named_in(asked, example)) else {}


def _of_made(path: str, other: str, example: Json) -> dict[str, str]:
    """The one parameter that the made thing fills, with those that its own path has."""
    known = _of_request(path)
    new = [name for name in _PARAMETER.findall(other) if name not in known]
    if len(new) != 1 or not (named := _named_in(new[0], example)):
        return {}
    return {**known, new[0]: named}


def _of_request(path: str) -> dict[str, str]:
    return {name: f"$request.path.{name}" for name in _PARAMETER.findall(path)}


def _named_in(parameter: str, example: Json) -> str:
    """Where the answer says what the parameter takes: called as that, or as what it is to the made thing."""
    answer = example.get("answer", {})
    # A `name` in an answer is a client's or a scale's, not what a path knows it by.
    own = {"name": ("id", "entry"), "number": ("number",)}
    members = own.get(parameter, (parameter, "id", "number"))
    return next((f"$response.body#/{name}" for name in members if isinstance(answer.get(name), str)), "")


def _asked_for(path: str, operation: Json) -> str:
    """The query parameter that is called as what a collection holds: `client` for `/v1/clients`."""
    held = path.removeprefix("/v1/")
    asked = [p["name"] for p in operation.get("parameters", ()) if p["in"] == "query"]
    return next((name for name in asked if held in (name, f"{name}s")), "")


def _shown_by(path: str) -> str:
    """Where the thing stands that a call does something to."""
    return path[: path.rfind("}") + 1]


def _demands(operation: Json) -> bool:
    return any(p["name"] == "If-Match" for p in operation.get("parameters", ()))
