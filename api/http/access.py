"""Who may call what: the Bearer key and the scopes that a view asks for."""

from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import wraps
from typing import Any
from urllib.parse import unquote

from flask import Flask, current_app, g, request

from api.http.limits import is_pages, take_of_key
from api.http.published import View, covering, documented, header, query_names
from api.schemas.fields import is_text
from settle.books.access import SCOPES, recognise, void_key
from settle.books.people import refuse_stranger
from settle.books.work import Actor, Books
from settle.reckoning.problems import Fault, Refused

PERSON = "Settle-Person"
_LONGEST_NAME = 80
_EXTENSION = "settle.books"


def keep_books(app: Flask, books: Books) -> None:
    """Give the app its books."""
    app.extensions[_EXTENSION] = books


def the_books() -> Books:
    """The books of the app that serves this request."""
    books: Books = current_app.extensions[_EXTENSION]
    return books


def the_actor() -> Actor:
    """Whose key this request came with."""
    actor: Actor = g.actor
    return actor


def scope(*scopes: str) -> Callable[[View], View]:
    """The view may be called with a key of one of these scopes, or `owner`; read with `read` as well.

    A `GET` of what asks for `owner` alone (keys, hooks) is not opened by `read`.
    """
    if not scopes or not set(scopes) <= set(SCOPES):
        raise ValueError(f"scopes are some of {SCOPES}, not {scopes}")

    def decorate(view: View) -> View:
        known = query_names(view)

        @wraps(view)
        def wrapper(*args: Any, **kwargs: Any) -> Any:
            g.actor = _allowed(scopes)
            _refuse_parameters_unread(known)
            return view(*args, **kwargs)

        person = header(PERSON, "Who stands at the till, percent-encoded", pattern="^[ -~]*$")
        documented(wrapper, statuses=(400, 401, 403, 429), parameters=[person], scopes=scopes)
        wrapper.scopes = scopes  # type: ignore[attr-defined]
        return wrapper

    return decorate


def open_to_all(view: View) -> View:
    """The view needs no key."""

    @wraps(view)
    def wrapper(*args: Any, **kwargs: Any) -> Any:
        return view(*args, **kwargs)

    documented(wrapper, statuses=(429,), scopes=())
    wrapper.scopes = ()  # type: ignore[attr-defined]
    return wrapper


def scopes_of_routes(app: Flask) -> dict[str, tuple[str, ...] | None]:
    """`"POST /v1/quotes"` → its scopes; empty where it is open to all, None where nobody said."""
    return {
        f"{method} {rule.rule}": getattr(view, "scopes", None)
        for rule in app.url_map.iter_rules()
        for method, view in _views(app, rule.endpoint, rule.methods or set())
    }


def refuse_unscoped_routes(app: Flask) -> None:
    """Raise `RuntimeError` if a route says neither whom it asks for nor that it is open to all."""
    unsaid = [route for route, scopes in scopes_of_routes(app).items() if scopes is None]
    if unsaid:
        raise RuntimeError("neither @scope nor @open_to_all: " + ", ".join(sorted(unsaid)))


def _views(app: Flask, endpoint: str, methods: set[str]) -> Iterator[tuple[str, Any]]:
    view = app.view_functions[endpoint]
    of_class = getattr(view, "view_class", None)
    for method in sorted(methods - {"OPTIONS", "HEAD"}):
        yield method, getattr(of_class, method.lower(), None) if of_class else view


def _allowed(scopes: tuple[str, ...]) -> Actor:
    given = request.authorization
    secret = given.token if given is not None and given.type == "bearer" else None
    actor = recognise(the_books(), secret) if secret else None
    if actor is None:
        raise Refused(replace(void_key(), wrong="no access key") if secret is None else void_key())
    _refuse_other_pages(actor)
    take_of_key(actor)
    enough = covering(scopes, request.method)
    if not actor.scopes.intersection(enough):
        raise Refused(
            Fault("forbidden", "", f"{actor.key_id} lacks the scope", "one of " + ", ".join(enough))
        )
    # Nobody stands at a till in a page: whoever asks from there must not find out who works here.
    return actor if is_pages(actor) else replace(actor, person=_person())


def _refuse_other_pages(actor: Actor) -> None:
    """A browser's key is good from the pages it names alone: it lies open in them."""
    g.origins = actor.origins
    if actor.origins and request.headers.get("Origin") not in actor.origins:
        right = "a page of " + ", ".join(sorted(actor.origins))
        raise Refused(Fault("forbidden", "", f"{actor.key_id} is a browser's key", right))


def _refuse_parameters_unread(known: frozenset[str]) -> None:
    """A filter that nobody reads would be answered with what it was to leave out; of two one isn't read."""
    unknown = sorted(request.args.keys() - known)
    if unknown:
        right = "one of " + ", ".join(sorted(known)) if known else "no parameter"
        raise Refused(Fault("bad-request", "", f'no parameter "{unknown[0][:30]}"', right))
    doubled = next((name for name, said in request.args.lists() if len(said) > 1), None)
    if doubled is not None:
        raise Refused(Fault("bad-request", "", f"{doubled} is given twice", "each parameter once"))


def _person() -> str | None:
    said = request.headers.get(PERSON, "")
    name = unquote(said).strip()
    # Bytes beyond ASCII would be read in another encoding than they were written in.
    if not (said.isascii() and said.isprintable()) or len(name) > _LONGEST_NAME or not is_text(name):
        right = f"up to {_LONGEST_NAME} characters, percent-encoded UTF-8"
        raise Refused(Fault("bad-request", "", f"{PERSON} is no name", right))
    if name:
        with the_books().reading() as work:
            refuse_stranger(work, name)
    return name or None
