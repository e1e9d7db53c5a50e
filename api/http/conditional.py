"""ETag and If-Match: one changes what one saw.

An ETag is a digest of what was shown: of that one document, since each names itself; of what this
key may see of it; and another as soon as any figure of it is.
"""

import json
from collections.abc import Mapping
from functools import wraps
from hashlib import sha256
from typing import Any

from flask import Response, g, request

from api.http.problems import PROBLEM_JSON, problem_of
from api.http.published import View, documented, header
from settle.reckoning.problems import Fault, Refused

Shown = Mapping[str, Any]


def etag(version: str) -> str:
    """The ETag of a version, which is a digest."""
    return f'"{version}"'


def version(shown: Shown, *beside: str, unseen: str = "") -> str:
    """The version of what is shown: a digest in hexadecimal.

    Notices are told with an answer and are no part of the thing, nor are the members that `beside`
    names: what tells of the call alone. `unseen` is what changes with the thing and is never shown.
    """
    thing = {name: value for name, value in shown.items() if name not in beside}
    text = json.dumps([_lasting(thing), unseen], sort_keys=True)
    return sha256(text.encode()).hexdigest()[:32]


def _lasting(told: Any) -> Any:
    if isinstance(told, Mapping):
        return {name: _lasting(value) for name, value in told.items() if name != "notices"}
    return [_lasting(value) for value in told] if isinstance(told, list) else told


def tagged(answer: Shown, *beside: str, unseen: str = "", **more: str) -> tuple[Shown, dict[str, str]]:
    """An answer with its ETag, and more headers: `return tagged(found, Location=…)`; else as `version`."""
    return answer, {"ETag": etag(version(answer, *beside, unseen=unseen)), **more}


def if_match(view: View) -> View:
    """Demand If-Match (428). The view loads what it is about to change and calls `must_match` (412)."""

    @wraps(view)
    def wrapper(*args: Any, **kwargs: Any) -> Any:
        # "*" would match what nobody saw.
        if not request.if_match or request.if_match.star_tag:
            wrong = "If-Match: * names no version" if request.if_match else "no If-Match"
            raise Refused(Fault("precondition-required", "", wrong, "If-Match with the ETag that you saw"))
        g.was_matched = False
        answer = view(*args, **kwargs)
        if not g.was_matched:
            raise RuntimeError(f"{view.__name__} changed something without must_match")
        return answer

    seen = header("If-Match", "The ETag of what you saw", required=True)
    documented(wrapper, statuses=(412, 428), parameters=[seen])
    return wrapper


def must_match(now: str, *before: str) -> None:
    """Raise `Refused` (changed-since-seen) unless If-Match names the version of what would be shown now.

    `before` are versions that are as good: what turned into this by itself.
    """
    g.was_matched = True
    seen = request.if_match
    if any(seen.contains(one) for one in (now, *before)):
        return
    wrong, right = "it has changed since you saw it", f"look again: it is {etag(now)} now"
    if seen.contains_weak(now):
        # RFC 9110, 13.1.1: it never matches. We send none; what compresses answers on the way makes them.
        wrong = f"W/{etag(now)} is weak and matches nothing"
        right = f"{etag(now)}, as the house sent it"
    raise Refused(Fault("changed-since-seen", "", wrong, right))


def answer_not_modified(response: Response) -> Response:
    """304 where a reader already has this version; 412 where it is not the one that is asked for."""
    if request.method in ("GET", "HEAD") and response.status_code == 200 and "ETag" in response.headers:
        response.make_conditional(request)
    if response.status_code == 412 and response.mimetype != PROBLEM_JSON:
        right = f"look again: it is {response.headers['ETag']} now"
        return problem_of(Refused(Fault("changed-since-seen", "", "it is not the version named", right)))
    return response
