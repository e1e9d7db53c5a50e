"""Pages of other origins (CORS): answered only where a browser's key names their origin."""

from flask import Response, g, request

from api.http.access import the_books
from settle.books.access import is_origin

_MAY_SEND = "Authorization, Content-Type, Idempotency-Key, If-Match, If-None-Match, Settle-Person"
_MAY_READ = "ETag, Idempotency-Replayed, Link, Location, RateLimit, RateLimit-Policy, Retry-After"
_REMEMBERED_S = "600"


def answer_other_pages(response: Response) -> Response:
    """Let the browser show an answer to a page that the request's key names; answer its preflight."""
    origin = request.headers.get("Origin")
    if origin is None:
        return response
    response.vary.add("Origin")
    if request.method == "OPTIONS" and "Access-Control-Request-Method" in request.headers:
        with the_books().reading() as work:
            is_known = is_origin(work, origin)
        if is_known:
            response.headers["Access-Control-Allow-Origin"] = origin
            response.headers["Access-Control-Allow-Methods"] = response.headers.get("Allow", "")
            response.headers["Access-Control-Allow-Headers"] = _MAY_SEND
            response.headers["Access-Control-Max-Age"] = _REMEMBERED_S
    elif origin in g.get("origins", ()):
        response.headers["Access-Control-Allow-Origin"] = origin
        response.headers["Access-Control-Expose-Headers"] = _MAY_READ
    return response
