"""The only place where everything is put together."""

from collections.abc import Sequence

from flask import Flask, Response
from flask.json.provider import DefaultJSONProvider

from api.http import pages, running
from api.http.access import keep_books, refuse_unscoped_routes
from api.http.body import StrictParser
from api.http.conditional import answer_not_modified
from api.http.document import ABOUT
from api.http.limits import limit_requests
from api.http.metrics import Metrics
from api.http.origins import answer_other_pages
from api.http.problems import handle_problems
from api.http.published import Api, Blueprint
from api.http.watched import watch_requests
from api.logs import log_request
from api.resources import (
    access,
    accounts,
    bench,
    counter,
    custody,
    hooks,
    ledger,
    papers,
    payments,
    process,
    reference,
    reversals,
    review,
    shop,
)
from api.settings import Settings
from settle import __version__
from settle.books.work import Books, Clock, open_books, system_clock

BLUEPRINTS: tuple[Blueprint, ...] = (
    counter.blp,
    bench.blp,
    process.blp,
    accounts.blp,
    ledger.blp,
    payments.blp,
    custody.blp,
    reversals.blp,
    papers.blp,
    review.blp,
    shop.blp,
    reference.blp,
    access.blp,
    hooks.blp,
    pages.blp,
    running.blp,
)

_SECURITY = {
    "X-Content-Type-Options": "nosniff",
    "Cache-Control": "no-store",
    "Referrer-Policy": "no-referrer",
    "Content-Security-Policy": "default-src 'none'; frame-ancestors 'none'",
}


def create_app(
    settings: Settings,
    clock: Clock = system_clock,
    books: Books | None = None,
    blueprints: Sequence[Blueprint] = BLUEPRINTS,
) -> Flask:
    """The app of one house. Raises `RuntimeError` for a route that doesn't say who may call it."""
    app = Flask("settle", static_folder=None)
    # A path is right or it is not there: a redirect would name whatever host the client said.
    app.url_map.merge_slashes = False
    app.config.update(
        MAX_CONTENT_LENGTH=settings.body_limit,
        API_TITLE="settle",
        API_VERSION=__version__,
        OPENAPI_VERSION="3.1.0",
        API_SPEC_OPTIONS={"info": {"description": ABOUT}},
    )
    app.json = _json(app)
    app.config["SETTLE"] = settings
    keep_books(app, books or open_books(settings.database_url, clock, settings.time_zone))
    metrics = [Metrics()] if settings.metrics else []
    watch_requests(app, log_request, *(each.count for each in metrics))
    limit_requests(app)
    Blueprint.ARGUMENTS_PARSER = StrictParser()
    api = Api(app)
    for blueprint in (*blueprints, *(each.blueprint() for each in metrics)):
        api.register_blueprint(blueprint)
    running.publish(api)
    handle_problems(app)
    app.after_request(answer_not_modified)
    app.after_request(answer_other_pages)
    app.after_request(_secured)
    refuse_unscoped_routes(app)
    return app


def _json(app: Flask) -> DefaultJSONProvider:
    provider = DefaultJSONProvider(app)
    # Answers keep the order in which they were put together: it is the order of the working.
    provider.sort_keys = False
    return provider


def _secured(response: Response) -> Response:
    for name, value in _SECURITY.items():
        response.headers.setdefault(name, value)
    return response
