"""The tables used, each row with its source."""

from dataclasses import asdict
from typing import Any

from api.http.access import open_to_all
from api.http.published import Blueprint, answers
from api.schemas.answers_shop import AlloysAnswer, FinenessesAnswer, UnitsAnswer
from settle.reckoning.exact import plain
from settle.reckoning.tables import ALLOY_SILVER, FINENESSES, UNITS
from settle.reckoning.weight import GRAMS_PER

blp = Blueprint("reference", __name__, url_prefix="/v1/reference", description="Tables with sources")


@blp.route("/units")
@open_to_all
@answers(200, UnitsAnswer)
def units() -> Any:
    """Units of weight, exact."""
    return {"items": [{**asdict(u), "grams": plain(GRAMS_PER[u.name])} for u in UNITS]}


@blp.route("/finenesses")
@open_to_all
@answers(200, FinenessesAnswer)
def finenesses() -> Any:
    """Standard finenesses, parts per thousand."""
    return {"items": [asdict(row) for row in FINENESSES]}


@blp.route("/alloys")
@open_to_all
@answers(200, AlloysAnswer)
def alloys() -> Any:
    """Silver in gold alloys by colour and fineness, parts per thousand; indicative."""
    rows = [asdict(row) for row in ALLOY_SILVER]
    return {"items": [{"from": r.pop("start"), "to": r.pop("end"), **r} for r in rows]}
