"""An estimate from a file that brings its own terms: no server, no database, the same rules."""

from contextlib import nullcontext, suppress
from typing import Any

from api.http.body import parse
from api.schemas.base import shape_faults
from api.schemas.faults import merge
from api.schemas.fields import Object
from api.schemas.items import EstimateSchema
from api.schemas.terms import TermsSchema
from settle.reckoning import document, notices
from settle.reckoning.problems import Fault, Faults, Refused
from settle.reckoning.quote import Request, read_request, reckon
from settle.reckoning.terms import read_terms
from settle.reckoning.working import Working

_SLIPS = (LookupError, TypeError, ValueError, AttributeError)


class EstimateFileSchema(EstimateSchema):
    """As the body of an estimate, but with whole terms in place of their number."""

    terms = Object(TermsSchema, required=True)


def estimate_of(raw: bytes) -> dict[str, Any]:
    """The estimate that the API would answer. Raises `Refused` with every fault of the file."""
    request = _read(raw)
    rows = Working()
    quoted = reckon(request, rows)
    return document.estimate(quoted, notices.of_quote(quoted), rows)


def _read(raw: bytes) -> Request:
    parsed = parse(raw)
    shape = [*parsed.faults, *shape_faults(EstimateFileSchema, parsed.data)]
    meant = Faults()
    # In a file whose shape is known to be wrong the readers may stumble: the shape is what is told.
    with suppress(*_SLIPS) if shape else nullcontext():
        request = _read_meaning(parsed.data, meant)
        if request is not None and not shape and not meant.found:
            return request
    raise Refused(*merge(shape, meant.found))


def _read_meaning(data: dict[str, Any], faults: Faults) -> Request | None:
    of_terms = Faults()
    terms = read_terms(data["terms"], "", of_terms)
    if of_terms.found:
        # What the items mean depends on the terms: it is read once those are in order.
        faults.extend(Fault(f.kind, f"/terms{f.pointer}", f.wrong, f.right) for f in of_terms.found)
        return None
    return read_request(data, terms, {}, {}, faults)
