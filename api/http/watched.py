"""Every request has an id and, once answered, is told to whoever watches: no path, no query, no body."""

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from time import monotonic
from uuid import uuid4

from flask import Flask, Response, g, request
from structlog.contextvars import bind_contextvars, clear_contextvars

REQUEST_ID = "X-Request-Id"
NO_ROUTE = "none"
_READABLE = re.compile(r"[A-Za-z0-9._-]{1,64}")
_METHODS = ("GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS")


@dataclass(frozen=True, slots=True)
class Answered:
    """One request as it may be told: its route as a template, the access key by its id."""

    request_id: str
    method: str
    route: str
    status: int
    duration_s: float
    key: str | None


Watcher = Callable[[Answered], None]


def watch_requests(app: Flask, *watchers: Watcher) -> None:
    """Tell the watchers of each request. First to begin and last to end, so that nothing escapes it."""

    def end(response: Response) -> Response:
        response.headers[REQUEST_ID] = g.request_id
        tell = partial(_tell, watchers, _as_far_as_known(response), g.began_at)
        if response.is_streamed:
            # Its answer is still being made.
            response.call_on_close(tell)
        else:
            tell()
        return response

    app.before_request(_begin)
    app.after_request(end)


def _begin() -> None:
    given = request.headers.get(REQUEST_ID, "")
    g.request_id = given if _READABLE.fullmatch(given) else uuid4().hex
    g.began_at = monotonic()
    clear_contextvars()
    bind_contextvars(request_id=g.request_id)


def _as_far_as_known(response: Response) -> Answered:
    # A method may be any word that the client made up.
    method = request.method if request.method in _METHODS else "other"
    route = request.url_rule.rule if request.url_rule else NO_ROUTE
    key = g.actor.key_id if "actor" in g else None
    return Answered(g.request_id, method, route, response.status_code, 0, key)


def _tell(watchers: Sequence[Watcher], answered: Answered, began_at: float) -> None:
    whole = replace(answered, duration_s=monotonic() - began_at)
    for watcher in watchers:
        watcher(whole)
