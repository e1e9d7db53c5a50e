"""Lists a page at a time: `limit`, an opaque `cursor`, and a link to the next page."""

import base64
import binascii
import json
from collections.abc import Sequence
from functools import wraps
from typing import Any
from urllib.parse import urlencode

from flask import request

from api.http.published import View, documented
from settle.books.listing import DEFAULT_LIMIT, MOST, Page
from settle.reckoning.problems import Fault, Refused

_PARAMETERS = [
    {
        "in": "query",
        "name": "limit",
        "description": "How many at most",
        "schema": {"type": "integer", "minimum": 1, "maximum": MOST, "default": DEFAULT_LIMIT},
    },
    {
        "in": "query",
        "name": "cursor",
        "description": "From the link to the next page; its form is ours to change",
        "schema": {"type": "string"},
    },
]


def paged(view: View) -> View:
    """Give the view `page=Page(limit, after)`. Raises `Refused` (bad-request)."""

    @wraps(view)
    def wrapper(*args: Any, **kwargs: Any) -> Any:
        return view(*args, page=Page(_limit(), _after()), **kwargs)

    documented(wrapper, statuses=(400,), parameters=_PARAMETERS)
    return wrapper


def page_answer(items: Sequence[Any], next_after: int | None) -> tuple[dict[str, Any], dict[str, str]]:
    """The answer `{"items": […]}` with the Link to the next page, where there is one."""
    if next_after is None:
        return {"items": list(items)}, {}
    query = {**request.args.to_dict(), "cursor": cursor(next_after)}
    return {"items": list(items)}, {"Link": f'<{request.path}?{urlencode(query)}>; rel="next"'}


def cursor(after: int) -> str:
    """An opaque cursor of the list that is asked for."""
    told = json.dumps({"after": after, "of": request.path})
    return base64.urlsafe_b64encode(told.encode()).decode().rstrip("=")


def _limit() -> int:
    text = request.args.get("limit", str(DEFAULT_LIMIT))
    if not (text.isascii() and text.isdigit() and len(text) <= 4 and 1 <= int(text) <= MOST):
        raise Refused(Fault("bad-request", "", f"limit is {text[:10]}", f"limit from 1 to {MOST}"))
    return int(text)


def _after() -> int | None:
    text = request.args.get("cursor")
    if text is None:
        return None
    try:
        padded = text.encode("ascii") + b"=" * (-len(text) % 4)
        told = json.loads(base64.b64decode(padded, b"-_", validate=True))
        after, of = told["after"], told["of"]
    except (ValueError, binascii.Error, LookupError, TypeError, RecursionError):
        after = of = None
    # The rows of another list have other numbers: it would begin anywhere.
    if type(after) is not int or abs(after) > 2**53 or of != request.path:
        right = "the cursor of a link to the next page of this list"
        raise Refused(Fault("bad-request", "", "not a cursor of this list", right))
    return after
