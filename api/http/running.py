"""What whoever runs it asks: is it alive, is it ready; and what a problem's type means."""

from functools import cache
from threading import Lock
from typing import Any

from api.http.access import open_to_all, the_books
from api.http.catalogue import answered
from api.http.document import completed
from api.http.published import Blueprint, answers
from api.schemas.answers_shop import ProblemTypeAnswer, StatusAnswer
from settle.books.migrations import is_current
from settle.reckoning.problems import Fault, Refused

blp = Blueprint("running", __name__, description="Running it")


@blp.route("/livez")
@open_to_all
@answers(200, StatusAnswer, description="It runs")
def livez() -> Any:
    """Whether the process runs."""
    return {"status": "alive"}


@blp.route("/readyz")
@open_to_all
@answers(200, StatusAnswer, description="It can work")
def readyz() -> Any:
    """Whether the books can be read and have the schema that this program knows."""
    if not is_current(the_books().engine):
        raise Refused(Fault("busy", "", "the books have another schema", "run settle migrate"))
    return {"status": "ready"}


@blp.route("/problems/<kind>")
@open_to_all
@answers(200, media="text/html")
@answers(200, ProblemTypeAnswer, description="A kind of refusal")
def problem_type(kind: str) -> Any:
    """What a problem's `type` means, and a request that makes it; a page where HTML is accepted."""
    return answered(kind)


def publish(api: Any) -> None:
    """Serve the OpenAPI document under /openapi.json."""
    one_at_a_time = Lock()

    @cache
    def document() -> Any:
        return completed(api.spec.to_dict())

    @open_to_all
    def openapi() -> Any:
        # It is put together in place: two first readers at once would each meet half of it.
        with one_at_a_time:
            return document()

    api._app.add_url_rule("/openapi.json", "openapi", openapi)
