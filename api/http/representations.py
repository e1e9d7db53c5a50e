"""One resource, two representations: JSON, or the same document on paper, by Accept.

The paper's language follows Accept-Language, its size `?paper=`; the shop's own
are taken where the reader doesn't say.
"""

from collections.abc import Callable, Mapping
from functools import wraps
from hashlib import sha256
from typing import Any
from zoneinfo import ZoneInfo

from babel import Locale
from flask import Response, current_app, request

from api.http.conditional import etag
from api.http.idempotency import the_work
from api.http.published import View, documented, header
from api.paper.drawing import Picture
from api.paper.numbers import Printer
from api.paper.render import Beside, render
from api.settings import LOCALES, PAPERS, Settings, Shop
from settle.books.papers import beside
from settle.reckoning.problems import Fault, Refused

JSON, PDF, SVG = "application/json", "application/pdf", "image/svg+xml"
Json = Mapping[str, Any]

# What a file is called by, the nearest first.
_NAMED_BY = ("number", "serial", "lot", "client")
_BINARY = {"type": "string", "format": "binary"}
_LANGUAGE = header("Accept-Language", "Of what is printed: English (GB or US) or German (DE, AT, CH)")
_PAPER = {
    "in": "query",
    "name": "paper",
    "description": "Of a PDF; the shop's own size if left out",
    "schema": {"type": "string", "enum": list(PAPERS)},
}


def on_paper(kind: str, *, code: str = "") -> Callable[[View], View]:
    """The view's document as JSON or, where the client accepts that first, as PDF; else 406.

    Stands nearest the view, under `@answers`. `kind` names the
    template, `code` the member that a QR code on it holds.
    """

    def decorate(view: View) -> View:
        @wraps(view)
        def wrapper(*args: Any, **kwargs: Any) -> Any:
            wanted, paper = _accepted(JSON, PDF), _paper()
            answer = view(*args, **kwargs)
            document, headers = answer if isinstance(answer, tuple) else (answer, {})
            if wanted == JSON:
                return document, {**headers, "Vary": "Accept"}
            return _printed(kind, document, paper, code)

        documented(wrapper, statuses=(400, 406), parameters=[_PAPER, _LANGUAGE])
        _also(wrapper, PDF, _BINARY)
        return wrapper

    return decorate


def as_picture(view: View) -> View:
    """The view's `Picture` as SVG, else 406. Stands nearest the view."""

    @wraps(view)
    def wrapper(*args: Any, **kwargs: Any) -> Response:
        _accepted(SVG)
        picture: Picture = view(*args, **kwargs)
        response = Response(picture.svg, mimetype=SVG)
        response.headers["Content-Language"] = the_printer().locale.language
        response.vary.update(("Accept", "Accept-Language"))
        return response

    documented(wrapper, statuses=(406,), parameters=[_LANGUAGE])
    _also(wrapper, SVG, _BINARY)
    return wrapper


def the_shop() -> Shop:
    """Who the shop says it is."""
    return _settings().shop


def the_issuer() -> dict[str, Any]:
    """Who issues an invoice or a credit note, as the shop says of itself."""
    shop = the_shop()
    return {"name": shop.name, "address": list(shop.address), "tax_identity": shop.tax_identity}


def the_printer() -> Printer:
    """How this request's reader writes figures and words."""
    own = _settings().shop.locale
    tags = {name.replace("_", "-"): name for name in (own, *LOCALES)}
    best = request.accept_languages.best_match(list(tags), own.replace("_", "-"))
    return Printer(Locale.parse(tags[best or own.replace("_", "-")]), ZoneInfo(_settings().time_zone))


def _settings() -> Settings:
    settings: Settings = current_app.config["SETTLE"]
    return settings


def is_for_paper() -> bool:
    """Whether this request's reader takes a PDF before JSON."""
    return _accepted(JSON, PDF) == PDF


def _accepted(*media: str) -> str:
    """Which of these media types the reader likes best; the first where all are the same to him."""
    if not request.accept_mimetypes:
        return media[0]
    best = request.accept_mimetypes.best_match(media)
    if best is None:
        raise Refused(Fault("not-acceptable", "", "not what is accepted", "Accept: " + " or ".join(media)))
    return best


def _paper() -> str:
    paper = request.args.get("paper", _settings().shop.paper)
    if paper not in PAPERS:
        raise Refused(Fault("bad-request", "", f"no paper {paper[:20]}", "one of " + ", ".join(PAPERS)))
    return paper


def _printed(kind: str, document: Json, paper: str, code: str) -> Response:
    printer = the_printer()
    client, facts = beside(the_work(), document)
    made = render(
        kind, document, the_shop(), printer, paper, Beside(client, facts, document[code] if code else "")
    )
    response = Response(made, mimetype=PDF)
    # Not the JSON's version: another language or another paper is another representation.
    response.headers["ETag"] = etag(sha256(made).hexdigest()[:32])
    response.headers["Content-Language"] = printer.locale.language
    response.vary.update(("Accept", "Accept-Language"))
    name = next((document[what] for what in _NAMED_BY if document.get(what)), kind)
    response.headers["Content-Disposition"] = f'inline; filename="{kind}-{name}.pdf"'
    return response


def _also(wrapper: View, media_type: str, schema: Json) -> None:
    """Tell the OpenAPI document of a representation of the answer."""
    responses = wrapper._apidoc["response"]["responses"]  # type: ignore[attr-defined]
    said = {"schema": dict(schema), "content_type": media_type, "description": "OK"}
    responses.setdefault(200, []).append(said)
