"""Refusals as `application/problem+json` (RFC 9457): what is wrong, where, and what would be right."""

import json
import logging
from collections.abc import Iterable, Mapping
from typing import Any

import marshmallow
from flask import Flask, Response
from werkzeug.exceptions import HTTPException

from api.schemas.faults import faults_of, merge
from settle.reckoning.problems import KINDS, Fault, Kind, Refused

__all__ = ["PROBLEM_JSON", "ProblemSchema", "faults_of", "handle_problems", "merge", "problem"]

PROBLEM_JSON = "application/problem+json"
RETRY_AFTER_S = "2"
# All at once, as far as anybody reads: an answer is not to be many times as large as the body.
MOST_TOLD = 1000

log = logging.getLogger("settle.api")

_OF_STATUS = {
    400: "bad-request",
    401: "unauthorized",
    403: "forbidden",
    404: "not-found",
    405: "method-not-allowed",
    406: "not-acceptable",
    413: "body-too-large",
    415: "unsupported-media-type",
    428: "precondition-required",
    429: "too-many-requests",
    500: "internal-error",
    503: "busy",
}
# Of the kinds that are answered with 422 this one alone is of the whole request, not of a field in it.
_OWN_TYPE = {"idempotency-key-reused"}


class OneFaultSchema(marshmallow.Schema):
    """One fault of a body."""

    type = marshmallow.fields.String(required=True, metadata={"examples": ["/problems/not-a-decimal"]})
    pointer = marshmallow.fields.String(required=True, metadata={"description": "JSON Pointer (RFC 6901)"})
    wrong = marshmallow.fields.String(required=True)
    right = marshmallow.fields.String(required=True)


class ProblemSchema(marshmallow.Schema):
    """A problem (RFC 9457). `type` is stable; `errors` names every fault of the body."""

    type = marshmallow.fields.String(required=True, metadata={"examples": ["/problems/invalid-body"]})
    title = marshmallow.fields.String(required=True)
    status = marshmallow.fields.Integer(required=True)
    detail = marshmallow.fields.String()
    errors = marshmallow.fields.List(marshmallow.fields.Nested(OneFaultSchema))


def problem(
    kind: Kind, detail: str = "", faults: Iterable[Fault] = (), headers: Mapping[str, str] | None = None
) -> Response:
    """The answer to a refused request."""
    body: dict[str, Any] = {"type": _type(kind.name), "title": kind.title, "status": kind.status}
    if detail:
        body["detail"] = _sayable(detail)
    if errors := [_shown(fault) for fault in faults]:
        body["errors"] = errors
    response = Response(json.dumps(body), kind.status, content_type=PROBLEM_JSON)
    response.headers.extend(dict(headers or {}))
    if kind.status == 503:
        response.headers["Retry-After"] = RETRY_AFTER_S
    if kind.status == 401:
        response.headers["WWW-Authenticate"] = 'Bearer realm="settle"'
    return response


def problem_of(refused: Refused) -> Response:
    """A refusal as a problem: its own kind where it is about the request's sense, else a bad body."""
    first = refused.faults[0]
    own = [f for f in refused.faults if KINDS[f.kind].status != 422 or f.kind in _OWN_TYPE]
    if len(own) == len(refused.faults):
        located = [f for f in refused.faults if f.pointer]
        return problem(KINDS[first.kind], _sentence(first), located)
    many, told = len(refused.faults), refused.faults[:MOST_TOLD]
    which = "" if many == len(told) else f"the first {MOST_TOLD} "
    detail = _sentence(first) if many == 1 else f"{many} faults, {which}listed under errors"
    return problem(KINDS["invalid-body"], detail, told)


def problem_of_http(error: HTTPException) -> Response | HTTPException:
    """What Flask and Werkzeug refuse, in the same form. A redirect stays one."""
    status = error.code or 500
    if status < 400:
        return error
    kept = {k: v for k, v in error.get_headers() if k.lower() not in ("content-type", "content-length")}
    if status in _OF_STATUS:
        kind = KINDS[_OF_STATUS[status]]
        return problem(kind, headers=kept)
    body = {"type": "about:blank", "title": error.name, "status": status}
    return Response(json.dumps(body), status, kept, content_type=PROBLEM_JSON)


def problem_of_shape(error: marshmallow.ValidationError) -> Response:
    """A schema's own error, where a view let one through."""
    return problem_of(Refused(*faults_of(error.messages)))


def problem_of_slip(error: Exception) -> Response:
    """An error of ours: written to the log, told to nobody."""
    log.exception("unexpected error", exc_info=error)
    return problem(KINDS["internal-error"])


def handle_problems(app: Flask) -> None:
    """Register one handler for each way of being refused."""
    app.register_error_handler(Refused, problem_of)
    app.register_error_handler(HTTPException, problem_of_http)
    app.register_error_handler(marshmallow.ValidationError, problem_of_shape)
    app.register_error_handler(Exception, problem_of_slip)


def _type(kind: str) -> str:
    return f"/problems/{kind}"


def _sentence(fault: Fault) -> str:
    return "; ".join(part for part in (fault.wrong, fault.right) if part)


def _shown(fault: Fault) -> dict[str, str]:
    return {
        "type": _type(fault.kind),
        "pointer": _sayable(fault.pointer),
        "wrong": _sayable(fault.wrong),
        "right": _sayable(fault.right),
    }


def _sayable(text: str) -> str:
    """What a client sent may be no text at all; what we say of it is."""
    return text.encode("utf-8", "replace").decode("utf-8").replace("\0", "?")
