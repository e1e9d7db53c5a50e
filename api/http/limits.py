"""How often one may ask, by address and by key, and how much at a time; told in RateLimit headers.

Flask-Limiter looks once, before the view. Here the key's share depends on its scopes, which
are known only once it was recognised, so its engine (`limits`) is asked twice.
"""

from dataclasses import dataclass, field
from ipaddress import ip_address, ip_network
from math import ceil
from time import time

from flask import Flask, Response, current_app, g, request
from limits import RateLimitItemPerMinute
from limits.storage import MemoryStorage
from limits.strategies import MovingWindowRateLimiter

from settle.books.work import Actor
from settle.reckoning.problems import Fault, Faults, Refused
from settle.reckoning.reading import Json

LINES = "application/jsonl"
_EXTENSION = "settle.limits"
_WINDOW_S = 60
# What watches over the server is not to be sent away because others ask too often.
_UNCOUNTED = ("running.livez", "running.readyz", "metrics.metrics")


@dataclass(frozen=True, slots=True)
class Share:
    """What one request found of one limit: its name, the quota, what is left, when all of it is back."""

    name: str
    quota: int
    left: int
    reset_s: int


@dataclass(frozen=True, slots=True)
class Counter:
    """Counts requests in the memory of this process."""

    engine: MovingWindowRateLimiter = field(default_factory=lambda: MovingWindowRateLimiter(MemoryStorage()))

    def take(self, name: str, whose: str, quota: int, cost: int = 1) -> None:
        """Take from a share. Raises `Refused` (too-many-requests) where not as much is left."""
        item = RateLimitItemPerMinute(quota, namespace=name)
        is_allowed = self.engine.hit(item, whose, cost=cost)
        window = self.engine.get_window_stats(item, whose)
        reset_s = min(max(1, ceil(window.reset_time - time())), _WINDOW_S)
        g.setdefault("shares", []).append(Share(name, quota, window.remaining, reset_s))
        if not is_allowed:
            g.retry_after_s = reset_s
            wrong = f"more than {quota} a minute for this {name}"
            raise Refused(Fault("too-many-requests", "", wrong, f"wait {reset_s} s"))


def limit_requests(app: Flask) -> None:
    """Count by address before anything is looked at, and tell in every answer what is left."""
    app.extensions[_EXTENSION] = Counter()
    app.before_request(_take_of_address)
    app.after_request(_tell_shares)


def take_of_key(actor: Actor) -> None:
    """Count by key, once it is recognised; a page's key lies open, so it has less, and so has each visitor.

    Of such a key every line of a body in lines counts as a request.
    """
    limits = current_app.config["SETTLE"].limits
    if limits is None or actor.key_id is None:
        return
    counter = _counter()
    if not is_pages(actor):
        counter.take("key", actor.key_id, limits.per_key)
        return
    cost = _lines() if request.mimetype == LINES else 1
    counter.take("estimates-of-address", the_address(), limits.estimates_per_address, cost)
    counter.take("estimates-of-key", actor.key_id, limits.estimates_per_key, cost)


def is_pages(actor: Actor) -> bool:
    """Whether it is a page's key: with `estimate` alone it may lie open to anyone."""
    return actor.scopes == {"estimate"}


def limit_items(data: Json, faults: Faults) -> None:
    """Refuse more items than a website may ask about at once."""
    most = current_app.config["SETTLE"].estimate_items
    items = data.get("items")
    if isinstance(items, list) and len(items) > most:
        faults.add("out-of-range", "/items", f"{len(items)} items", f"at most {most} with this key")


def the_address() -> str:
    """Whose request it is: the peer, or whom the one trusted proxy names; of IPv6 the network of a home."""
    peer = request.remote_addr or ""
    proxy = current_app.config["SETTLE"].trusted_proxy
    # The last name is the proxy's own; those before it are whatever the client sent.
    named = request.access_route[-1] if proxy and peer == proxy else peer
    try:
        return str(ip_network(f"{named}/64", strict=False)) if ip_address(named).version == 6 else named
    except ValueError:
        return peer


def _take_of_address() -> None:
    limits = current_app.config["SETTLE"].limits
    if limits is not None and request.endpoint not in _UNCOUNTED:
        _counter().take("address", the_address(), limits.per_address)


def _tell_shares(response: Response) -> Response:
    shares: list[Share] = g.get("shares", [])
    if shares:
        policies = (f'"{share.name}";q={share.quota};w={_WINDOW_S}' for share in shares)
        response.headers["RateLimit-Policy"] = ", ".join(policies)
        left = (f'"{share.name}";r={share.left};t={share.reset_s}' for share in shares)
        response.headers["RateLimit"] = ", ".join(left)
    if "retry_after_s" in g:
        response.headers["Retry-After"] = str(g.retry_after_s)
    return response


def _lines() -> int:
    return request.get_data().count(b"\n") + 1


def _counter() -> Counter:
    counter: Counter = current_app.extensions[_EXTENSION]
    return counter
