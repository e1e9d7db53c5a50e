"""The evidence review: what the shop's history says of its marks, its instruments and its recoveries."""

from typing import Any

from api.http.access import scope
from api.http.idempotency import reads, the_work
from api.http.published import Blueprint, View, answers, documented
from api.http.query import query
from api.schemas.answers_review import ReviewAnswer
from api.schemas.base import Schema
from api.schemas.fields import Text
from settle.books import evidence

blp = Blueprint("review", __name__, url_prefix="/v1", description="Evidence review")


class ReviewQuery(Schema):
    """Against which terms; the public ones in force where none are named."""

    terms = Text()


def _needs_terms(view: View) -> View:
    """There may be no terms yet, or not those that are asked for."""
    documented(view, statuses=(404,))
    return view


@blp.route("/evidence-review")
@scope("read")
@query(ReviewQuery)
@reads
@_needs_terms
@answers(200, ReviewAnswer)
def show_review(asked: dict[str, Any]) -> Any:
    """What past lots and their assays say of evidence and recoveries, and the terms that they support."""
    return evidence.review(the_work(), asked.get("terms"))
