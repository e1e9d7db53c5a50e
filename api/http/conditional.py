"""ETag and If-Match: one changes what one saw."""

from functools import wraps
from typing import Any

from flask import Response, g, request

from api.http.problems import PROBLEM_JSON, problem_of
from api.http.published import View, documented, header
from settle.reckoning.problems import Fault, Refused


def etag(version: int | str) -> str:
    """The ETag of a version: a number, a hash, or several joined by a dot."""
    return f'"{version}"'


def tagged(version: int | str, **more: str) -> dict[str, str]:
    """Headers of an answer that has a version: `return answer, tagged(7, Location=…)`."""
    return {"ETag": etag(version), **more}


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


def must_match(version: int | str) -> None:
    """Raise `Refused` (changed-since-seen) unless If-Match names this version."""
    g.was_matched = True
    seen = request.if_match
    if seen.contains(str(version)):
        return
    wrong, right = "it has changed since you saw it", f"look again: it is {etag(version)} now"
    if seen.contains_weak(str(version)):
        # RFC 9110, 13.1.1: it never matches. We send none; what compresses answers on the way makes them.
        wrong = f"W/{etag(version)} is weak and matches nothing"
        right = f"{etag(version)}, as the house sent it"
    raise Refused(Fault("changed-since-seen", "", wrong, right))


def answer_not_modified(response: Response) -> Response:
    """304 where a reader already has this version; 412 where it is not the one that is asked for."""
    if request.method in ("GET", "HEAD") and response.status_code == 200 and "ETag" in response.headers:
        response.make_conditional(request)
    if response.status_code == 412 and response.mimetype != PROBLEM_JSON:
        right = f"look again: it is {response.headers['ETag']} now"
        return problem_of(Refused(Fault("changed-since-seen", "", "it is not the version named", right)))
    return response
