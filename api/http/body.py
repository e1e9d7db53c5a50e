"""JSON bodies: read strictly, checked for shape, handed on raw with the faults found so far."""

# ruff: noqa: ARG002 - the signatures are webargs'

import json
import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import wraps
from itertools import islice
from typing import Any, NoReturn

import marshmallow
from flask import Request, g, request
from webargs.flaskparser import FlaskParser

from api.http.problems import MOST_TOLD, faults_of, merge
from api.http.published import View, documented
from api.schemas.base import shape_faults
from api.schemas.fields import is_text
from settle.reckoning.exact import DECIMAL_IN_WORDS
from settle.reckoning.problems import KINDS, Fault, Faults, Refused, at

DEEPEST = 20
# Beyond this a float somewhere on the way may have changed the figure unseen.
MOST_INTEGER = 2**53
_LONGEST_NUMBER = 20
# Our longest list is of 5000 credits, six values each. A small body of many faults must not cost
# minutes, nor a long name that stands before each of them fill the memory.
MOST_VALUES = 40_000
LONGEST_KEY = 200
_Way = tuple["_Way", str | int] | None


@dataclass(frozen=True, slots=True)
class Parsed:
    """A body as parsed, and what no field could say of it: texts and numbers that can't stand anywhere."""

    data: Any
    faults: tuple[Fault, ...]


def body(schema: type[marshmallow.Schema], *, required: bool = True) -> Callable[[View], View]:
    """Give the view `(data, faults)`: the body as it came, and a `Faults` with those of its shape.

    The reckoning's readers go on filling `faults`; the view asks
    `faults.refuse_if_any()` before it does anything. What the view finds beside
    what the schema found is merged, so that the client hears of all at once. A
    view that forgot to ask is refused all the same. `required=False` takes no
    body for an empty object.
    """

    def decorate(view: View) -> View:
        @wraps(view)
        def wrapper(*args: Any, **kwargs: Any) -> Any:
            parsed = parsed_body(required=required)
            shape = [*shape_faults(schema, parsed.data), *parsed.faults]
            if len(shape) > MOST_TOLD:
                # Nobody would be told of what the view finds beside them.
                raise Refused(*merge(shape, ()))
            faults = Faults()
            faults.extend(shape)
            data = parsed.data if isinstance(parsed.data, dict) else {}
            answer = _called(lambda: view(*args, data, faults, **kwargs), shape)
            if faults.found:
                raise _merged(shape, faults.found)
            return answer

        documented(wrapper, statuses=(400, 413, 415, 422))
        where = {"in": "json", "required": required, "schema": schema}
        wrapper._apidoc.setdefault("arguments", {}).setdefault("parameters", []).append(where)  # type: ignore[attr-defined]
        return wrapper

    return decorate


def parsed_body(*, required: bool = True) -> Parsed:
    """The request's JSON body, read once. Raises `Refused` (400, 415) and Werkzeug's 413."""
    if "parsed_body" not in g:
        raw = request.get_data()
        if not raw and not required:
            return Parsed({}, ())
        if request.mimetype != "application/json":
            wrong = f'"{request.mimetype[:60]}"' if request.mimetype else "no media type"
            right = " or ".join(["Content-Type: application/json", *g.get("also_taken", ())])
            raise Refused(Fault("unsupported-media-type", "", wrong, right))
        refuse_coded()
        g.parsed_body = parse(raw)
    parsed: Parsed = g.parsed_body
    return parsed


def takes_too(media: str) -> None:
    """This call reads bodies of another media type as well: a refusal of a third one names both."""
    g.also_taken = (media,)


def refuse_coded() -> None:
    """Refuse a body that says it is compressed: a small one may hold a huge one. Raises `Refused` (415)."""
    coding = request.headers.get("Content-Encoding", "")
    if coding.strip().lower() not in ("", "identity"):
        wrong = f"a body in {coding[:30]}"
        raise Refused(Fault("unsupported-media-type", "", wrong, "no Content-Encoding"))


def parse(raw: bytes) -> Parsed:
    """Strict JSON. Raises `Refused`: unparsable-body, duplicate-key, nested-too-deep, body-too-large,
    bad-text (a name of a member).
    """
    try:
        data = json.loads(
            raw.decode("utf-8"),
            object_pairs_hook=_object,
            parse_int=_integer,
            parse_float=_float,
        )
    except RecursionError:
        raise _too_deep() from None
    except ValueError as error:
        where = f" at character {error.pos}" if isinstance(error, json.JSONDecodeError) else ""
        raise Refused(Fault("unparsable-body", "", f"not JSON in UTF-8{where}", "one JSON value")) from None
    return Parsed(data, tuple(islice(_faults_within(data), MOST_TOLD)))


class StrictParser(FlaskParser):
    """Webargs' parser with our reading of JSON and our refusals, for whatever smorest parses itself."""

    def _raw_load_json(self, req: Request) -> Any:
        parsed = parsed_body()
        if parsed.faults:
            raise Refused(*parsed.faults)
        return parsed.data

    def handle_error(self, error: marshmallow.ValidationError, *args: Any, **kwargs: Any) -> NoReturn:
        messages: Any = error.messages
        raise Refused(*(f for inner in messages.values() for f in faults_of(inner)))


class _Doubled(dict[str, Any]):
    """An object in which a key stands twice: carried on until its pointer is known."""

    key = ""


def _object(pairs: Sequence[tuple[str, Any]]) -> dict[str, Any]:
    made = dict(pairs)
    if len(made) == len(pairs):
        return made
    doubled, seen = _Doubled(made), set[str]()
    doubled.key = next(k for k, _ in pairs if k in seen or seen.add(k))  # type: ignore[func-returns-value]
    return doubled


def _integer(token: str) -> int:
    # A million digits are never made into a number: past the bound all are refused alike.
    return int(token) if len(token) <= _LONGEST_NUMBER else int(token[:_LONGEST_NUMBER])


def _float(token: str) -> float:
    return float(token) if len(token) <= 3 * _LONGEST_NUMBER else math.inf


def _faults_within(data: Any) -> Iterator[Fault]:
    """What no field could say; no pointer is written out before there is a fault: it may be long."""
    waiting: list[tuple[Any, _Way, int]] = [(data, None, 1)]
    seen = 0
    while waiting:
        value, way, depth = waiting.pop()
        if isinstance(value, dict | list):
            if depth > DEEPEST:
                raise _too_deep()
            if (seen := seen + len(value)) > MOST_VALUES:
                raise Refused(
                    Fault("body-too-large", "", f"more than {MOST_VALUES} values", f"at most {MOST_VALUES}")
                )
            waiting.extend((inner, (way, step), depth + 1) for step, inner in _members(value))
            yield from _faulty_keys(value, way)
        elif fault := _fault_of(value):
            yield replace(fault, pointer=_pointer(way))


def _members(value: dict[str, Any] | list[Any]) -> Iterable[tuple[str | int, Any]]:
    return value.items() if isinstance(value, dict) else enumerate(value)


def _pointer(way: _Way) -> str:
    steps: list[str | int] = []
    while way is not None:
        way, step = way
        steps.append(step)
    return at("", *reversed(steps))


def _faulty_keys(value: dict[str, Any] | list[Any], way: _Way) -> Iterator[Fault]:
    if isinstance(value, _Doubled):
        where = _pointer((way, value.key[:LONGEST_KEY]))
        raise Refused(Fault("duplicate-key", where, f'"{value.key[:30]}" stands twice', "once"))
    if isinstance(value, dict):
        if any(len(key) > LONGEST_KEY for key in value):
            right = f"names of up to {LONGEST_KEY} characters"
            raise Refused(Fault("bad-text", _pointer(way), "a name that is too long", right))
        yield from (replace(_BAD_TEXT, pointer=_pointer((way, key))) for key in value if not is_text(key))


def _fault_of(value: Any) -> Fault | None:
    if isinstance(value, str):
        return None if is_text(value) else _BAD_TEXT
    if isinstance(value, float) and not math.isfinite(value):
        return Fault("not-a-decimal", "", "not a number that JSON knows", DECIMAL_IN_WORDS)
    if isinstance(value, int) and abs(value) > MOST_INTEGER:
        return Fault("out-of-range", "", "a number of that size", f"up to {MOST_INTEGER}")
    return None


_BAD_TEXT = Fault("bad-text", "", "a NUL or a lone surrogate", "characters that can be written down")


def _too_deep() -> Refused:
    return Refused(Fault("nested-too-deep", "", "nested too deep", f"at most {DEEPEST} levels"))


def _called(view: Callable[[], Any], shape: list[Fault]) -> Any:
    try:
        return view()
    except Refused as refused:
        if any(KINDS[f.kind].status != 422 for f in refused.faults):
            # Not there, or not in this state: that goes before what is wrong with the wish.
            raise
        raise _merged(shape, refused.faults) from refused
    except (LookupError, TypeError, ValueError, AttributeError) as slip:
        # The view read on in a body whose shape is known to be wrong: that is what the client must hear.
        if not shape:
            raise
        raise Refused(*merge(shape, ())) from slip


def _merged(shape: list[Fault], found: Sequence[Fault]) -> Refused:
    known = {id(fault) for fault in shape}
    return Refused(*merge(shape, [f for f in found if id(f) not in known]))
