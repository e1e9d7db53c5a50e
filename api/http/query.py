"""Query parameters, by a schema: documented, and refused (400) where they can't be read."""

from collections.abc import Callable, Mapping
from functools import wraps
from typing import Any

import marshmallow
from flask import request

from api.http.published import View, documented
from api.schemas.base import shape_faults
from settle.books import periods
from settle.books.narrowing import Wanted
from settle.books.periods import Span
from settle.reckoning.problems import Fault, Refused


def wanted(asked: Mapping[str, str]) -> Wanted:
    """What a list is asked for by what lists have in common. Raises `Refused` (bad-request)."""
    return Wanted(span(asked), asked.get("client"), asked.get("state"), asked.get("lot"))


def span(asked: Mapping[str, str]) -> Span:
    """From one day to another, both in it. Raises `Refused` (bad-request)."""
    return periods.span(asked.get("from"), asked.get("to"))


def query(schema: type[marshmallow.Schema]) -> Callable[[View], View]:
    """Give the view `asked=`, the parameters that the schema names, as the strings that came."""

    def decorate(view: View) -> View:
        names = {field.data_key or name for name, field in schema._declared_fields.items()}

        @wraps(view)
        def wrapper(*args: Any, **kwargs: Any) -> Any:
            # Other parameters belong to other conventions (paging, dry_run).
            asked = {name: text for name, text in request.args.to_dict().items() if name in names}
            faults = shape_faults(schema, asked)
            if faults:
                first = faults[0]
                raise Refused(Fault("bad-request", "", f"{first.pointer[1:]}: {first.wrong}", first.right))
            return view(*args, asked=asked, **kwargs)

        documented(wrapper, statuses=(400,), parameters=[{"in": "query", "schema": schema}])
        return wrapper

    return decorate
