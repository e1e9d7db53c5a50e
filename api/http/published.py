"""What the OpenAPI document says beyond the schemas: problems, access, headers."""

from collections.abc import Callable, Mapping, Sequence
from copy import deepcopy
from functools import wraps
from http import HTTPStatus
from inspect import getdoc
from typing import Any

import flask_smorest  # type: ignore[import-untyped]
from apispec.ext.marshmallow import MarshmallowPlugin, OpenAPIConverter
from apispec.ext.marshmallow.common import resolve_schema_instance
from flask import Flask, Response, make_response
from werkzeug.exceptions import HTTPException

from api.http.problems import PROBLEM_JSON, ProblemSchema, problem_of_http
from api.schemas.members import described
from settle.reckoning.problems import KINDS

View = Callable[..., Any]
ACCESS_KEY = "accessKey"
_OF_A_KEY = "An access key, of `settle keys create` or `POST /v1/keys`; a call takes any of its `x-scopes`"
_SECONDS = {"type": "string", "pattern": "^[0-9]+$"}
_WAIT = {"Retry-After": {"description": "Seconds to wait", "schema": _SECONDS}}
# One description a status: of its first kind, but where that one is too narrow for the others.
_TITLES = {kind.status: kind.title for kind in reversed(KINDS.values())}
_TITLES |= {status: KINDS[name].title for status, name in ((400, "bad-request"), (409, "wrong-state"))}


def documented(
    view: View, *, statuses: Sequence[int] = (), parameters: Sequence[Mapping[str, Any]] = (), **more: Any
) -> None:
    """Add to what the OpenAPI document says of a view: problems it answers, parameters it reads."""
    doc = deepcopy(getattr(view, "_apidoc", {}))
    if parameters:
        doc.setdefault("arguments", {}).setdefault("parameters", []).extend(parameters)
    responses = doc.setdefault("response", {}).setdefault("responses", {})
    for status in statuses:
        responses.setdefault(status, [problem_name(status)])
    doc.update(more)
    view._apidoc = doc  # type: ignore[attr-defined]


def answers(
    status: int,
    schema: Any = None,
    description: str = "",
    headers: Mapping[str, str] | None = None,
    media: str = "",
) -> Callable[[View], View]:
    """What a view answers: JSON-shaped data, alone or with a map of headers, with `status`.

    Unlike smorest's `response` nothing is dumped through the schema: an answer
    is shown whole, as it was reckoned. A view may return a `Response` of its own, of
    another `media` type.
    """
    said: dict[str, Any] = {"description": description or HTTPStatus(status).phrase, "content_type": None}
    if schema is not None:
        said["schema"] = schema
    if media:
        said |= {"content_type": media, "schema": {"type": "string"}}
    if headers:
        text = {"schema": {"type": "string"}}
        said["headers"] = {name: {"description": what, **text} for name, what in headers.items()}

    def decorate(view: View) -> View:
        @wraps(view)
        def wrapper(*args: Any, **kwargs: Any) -> Response:
            answer = view(*args, **kwargs)
            if isinstance(answer, Response):
                return answer
            body, more = answer if isinstance(answer, tuple) else (answer, {})
            return make_response("" if body is None else body, status, more)

        documented(wrapper)
        wrapper._apidoc["response"]["responses"].setdefault(status, []).append(said)  # type: ignore[attr-defined]
        return wrapper

    return decorate


def query_names(view: View) -> frozenset[str]:
    """The query parameters that a view reads, as it says of itself."""
    said = getattr(view, "_apidoc", {}).get("arguments", {}).get("parameters", ())
    of_query = [parameter for parameter in said if parameter["in"] == "query"]
    fields = [p["schema"]._declared_fields for p in of_query if "name" not in p]
    named = {field.data_key or name for one in fields for name, field in one.items()}
    return frozenset(named | {p["name"] for p in of_query if "name" in p})


def takes_body(view: View) -> bool:
    """Whether a view reads a body, as it says of itself."""
    said = getattr(view, "_apidoc", {})
    parameters = said.get("arguments", {}).get("parameters", ())
    return "requestBody" in said.get("manual_doc", {}) or any(p["in"] == "json" for p in parameters)


def header(name: str, description: str, *, required: bool = False, **shape: Any) -> dict[str, Any]:
    """A request header, as `documented` takes it; `shape` says more of it than that it is a string."""
    what = {"in": "header", "name": name, "description": description, "required": required}
    return what | {"schema": {"type": "string", **shape}}


def problem_name(status: int) -> str:
    """The name under which the document describes the problems of a status."""
    return f"Problem{status}"


class Blueprint(flask_smorest.Blueprint):  # type: ignore[misc]
    """A blueprint that publishes who may call its views, and what they are called."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._prepare_doc_cbks.append(_access_doc)

    def route(self, rule: str, **options: Any) -> Callable[[View], View]:
        """As smorest's, and typed; the document names the operation as the endpoint is named."""
        decorate: Callable[[View], View] = super().route(rule, **options)

        def routed(view: View) -> View:
            documented(view, name=options.get("endpoint", view.__name__))
            return decorate(view)

        return routed


def _access_doc(doc: dict[str, Any], info: Mapping[str, Any], *, method: str, **_: Any) -> dict[str, Any]:
    doc = {"operationId": info["name"], **doc}
    scopes = info.get("scopes", ())
    if not scopes:
        return doc | {"security": []}
    return doc | {"security": [{ACCESS_KEY: []}], "x-scopes": list(covering(scopes, method.upper()))}


def covering(scopes: Sequence[str], method: str) -> tuple[str, ...]:
    """The scopes that suffice: `owner` always, `read` to read what is not the owner's alone."""
    reads = method in ("GET", "HEAD") and tuple(scopes) != ("owner",)
    return tuple(dict.fromkeys([*scopes, *(["read"] if reads else []), "owner"]))


class _Converter(OpenAPIConverter):
    """Of each object the document says what its class says, of each member what its name and its kind say."""

    def field2property(self, field: Any) -> Any:
        said = super().field2property(field)
        told = described(field)
        return {"description": told, **said} if told else said

    def schema2jsonschema(self, schema: Any) -> Any:
        said = getdoc(type(resolve_schema_instance(schema)))
        return {**super().schema2jsonschema(schema), **({"description": said} if said else {})}


class _Plugin(MarshmallowPlugin):
    Converter = _Converter


class Api(flask_smorest.Api):  # type: ignore[misc]
    """Smorest's, with our problems in place of its errors."""

    DEFAULT_ERROR_RESPONSE_NAME = None

    def __init__(self, app: Flask, **kwargs: Any) -> None:
        super().__init__(app, spec_kwargs={"marshmallow_plugin": _Plugin()}, **kwargs)
        scheme = {"type": "http", "scheme": "bearer", "description": _OF_A_KEY}
        self.spec.components.security_scheme(ACCESS_KEY, scheme)

    def handle_http_exception(self, error: HTTPException) -> Any:
        return problem_of_http(error)

    def _register_pagination_header(self) -> None:
        """Ours is a Link (see `paging`), so smorest's header is not published."""

    def _register_responses(self) -> None:
        # Described by us, not by http.HTTPStatus: its words differ between versions of Python.
        for status, title in _TITLES.items():
            content = {PROBLEM_JSON: {"schema": ProblemSchema}}
            response = {"description": title, "content": content}
            if status in (429, 503):
                response["headers"] = _WAIT
            self.spec.components.response(problem_name(status), response)
            if status != 428:
                self.spec.components.response(HTTPStatus(status).name, response, lazy=True)
