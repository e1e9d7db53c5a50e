"""What the examples of the problem catalogue presuppose beyond requests: words, and what they do."""

from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from typing import Any

import stores
from flask import Flask
from limits import RateLimitItemPerMinute
from staged import House

from api.app import create_app
from api.http import idempotency
from api.settings import Limits, Settings
from settle.books.idempotency import Asked
from settle.books.work import open_books


def a_week(house: House, _: ExitStack) -> House:
    house.clock.move(days=7)
    return house


def a_month(house: House, _: ExitStack) -> House:
    house.clock.move(days=31)
    return house


def the_month_locked(house: House, _: ExitStack) -> House:
    house.till.post("/v1/periods/2026-03/lock")
    return house


def the_clock_back(house: House, _: ExitStack) -> House:
    house.clock.move(days=-31)
    return house


def under_way(house: House, until: ExitStack) -> House:
    twin = Asked("K-7", "POST", "/v1/people", "dee")
    idempotency._doing.add(twin)
    until.callback(idempotency._doing.discard, twin)
    return house


def another_writes(house: House, until: ExitStack) -> House:
    """Someone else holds the lock, and this process has no patience with it."""
    until.enter_context(house.books.engine.begin())
    hasty = open_books(str(house.books.engine.url), house.clock)
    stores.impatient(hasty.engine)
    until.callback(hasty.close)
    return House(_till_over(house, hasty), hasty, house.clock, house.keys)


def _till_over(house: House, books: Any) -> Any:
    return type(house.till)(house.till.app, books, house.till.file, house.till.secret)


def a_mistake(house: House, until: ExitStack) -> House:
    return _before_each_request(house, until, lambda: {}["a detail that nobody may see"])


def asked_too_often(house: House, until: ExitStack) -> House:
    """The owner's key has used up what the limits of a served house give it, a moment before."""
    limits = Limits()
    house = house.with_app(create_app(Settings("unused", limits=limits), house.clock, house.books))
    used_up = RateLimitItemPerMinute(limits.per_key, namespace="key")
    engine = house.till.app.extensions["settle.limits"].engine

    def use_up() -> None:
        engine.hit(used_up, "K-7", cost=limits.per_key)

    return _before_each_request(house, until, use_up)


def _before_each_request(house: House, until: ExitStack, happens: Callable[[], Any]) -> House:
    app: Flask = house.till.app
    # The app is shared by every test and may not be changed once it has served: its hook is put in by hand.
    hooks = app.before_request_funcs.setdefault(None, [])
    hooks.append(happens)
    until.callback(hooks.remove, happens)
    return house


SETUPS: dict[str, Callable[[House, ExitStack], House]] = {
    "a week passes": a_week,
    "a month passes": a_month,
    "the month before is locked": the_month_locked,
    "the clock is set back a month": the_clock_back,
    "the same request is under way": under_way,
    "another process is writing": another_writes,
    "the house makes a mistake": a_mistake,
    "more was asked than is allowed": asked_too_often,
}


@contextmanager
def set_up(house: House, words: list[str]) -> Iterator[House]:
    """The house once all of it has happened."""
    with ExitStack() as until:
        for word in words:
            house = SETUPS[word](house, until)
        yield house
