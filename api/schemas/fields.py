"""Fields that check the shape of one value and leave it as it came: strings stay strings.

Each says what is wrong and what would be right (`Wrong`), and shows its shape
in the OpenAPI document.
"""

import re
from collections.abc import Callable, Mapping, Sequence
from datetime import date, datetime
from typing import Any, ClassVar

from marshmallow import Schema, ValidationError, fields

from api.schemas.faults import Wrong, wrong
from settle.reckoning import exact
from settle.reckoning.exact import DECIMAL_IN_WORDS, SIGNED_DECIMAL_IN_WORDS, Exact, plain
from settle.reckoning.money import PLACES
from settle.reckoning.problems import Fault
from settle.reckoning.tables import METALS, PRICE_UNITS
from settle.reckoning.weight import GRAMS_PER, unit_fault

_DECIMAL = r"(0|[1-9][0-9]{0,11})(\.[0-9]{1,9})?"
_N = "([1-9][0-9]?|100)"
_MOMENT = r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}(\.[0-9]{1,6})?Z"
_DURATION = (
    r"P(?=[0-9T])([0-9]{1,4}Y)?([0-9]{1,4}M)?([0-9]{1,4}W)?([0-9]{1,5}D)?"
    r"(T(?=[0-9])([0-9]{1,6}H)?([0-9]{1,6}M)?([0-9]{1,6}S)?)?"
)
_NOT_TEXT = re.compile("[\0\ud800-\udfff]")
MOST_TEXT = 500


def is_text(value: str) -> bool:
    """Whether a string can be kept and shown: no NUL and no lone surrogate in it."""
    return _NOT_TEXT.search(value) is None


class Shape(fields.Field[Any]):
    """A field of ours: what would be right, in words, its shape in OpenAPI, what is told of it there."""

    right = "a value"
    about = ""
    shape: ClassVar[Mapping[str, Any]] = {}

    def __init__(self, **kwargs: Any) -> None:
        said = {"required": ("missing", "missing"), "null": ("wrong-type", "null")}
        messages: dict[str, Any] = {k: Wrong(kind, what, self.right) for k, (kind, what) in said.items()}
        metadata = {**self.shape, **kwargs.pop("metadata", {})}
        super().__init__(error_messages=messages, metadata=metadata, **kwargs)

    def is_wrong(self, what: str, kind: str = "wrong-type") -> ValidationError:
        return wrong(kind, what, self.right)


class Text(Shape, fields.String):
    """A text of some length, without NUL and lone surrogates."""

    right = "a text"

    def __init__(self, *, least: int = 0, most: int = MOST_TEXT, right: str = "", **kwargs: Any) -> None:
        self.least, self.most = least, most
        length = f"{least} to {most}" if least else f"up to {most}"
        self.right = right or f"a text of {length} characters"
        lengths = {"maxLength": most} | ({"minLength": least} if least else {})
        super().__init__(metadata={**lengths, **kwargs.pop("metadata", {})}, **kwargs)

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> Any:
        if not isinstance(value, str):
            raise self.is_wrong("not a text")
        if not is_text(value):
            raise wrong("bad-text", "a NUL or a lone surrogate", "characters that can be written down")
        if not self.least <= len(value) <= self.most:
            raise self.is_wrong(f"{len(value)} characters", "bad-text")
        return value


class Written(Shape, fields.String):
    """A string of a strict form."""

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> Any:
        if not isinstance(value, str):
            raise self.is_wrong(f"a JSON {_json_type(value)}", self.kind_of(value))
        self.check(value)
        return value

    def kind_of(self, value: Any) -> str:
        return "wrong-type"

    def check(self, value: str) -> None:
        raise NotImplementedError


class DecimalString(Written):
    """A decimal (A7) as a string, never a JSON number; within bounds where they are given."""

    right = DECIMAL_IN_WORDS
    about = "a decimal string, never a JSON number"
    shape: ClassVar[Mapping[str, Any]] = {"pattern": f"^{_DECIMAL}$", "examples": ["31.42"]}
    read: Callable[[str], Exact] = staticmethod(exact.decimal)

    def __init__(
        self, *, signed: bool = False, least: str | None = None, most: str | None = None, **kwargs: Any
    ) -> None:
        if signed:
            self.read, self.right = exact.signed_decimal, SIGNED_DECIMAL_IN_WORDS
            kwargs["metadata"] = {"pattern": f"^-?{_DECIMAL}$", **kwargs.pop("metadata", {})}
        self.least = None if least is None else exact.signed_decimal(least)
        self.most = None if most is None else exact.signed_decimal(most)
        super().__init__(**kwargs)

    def kind_of(self, value: Any) -> str:
        return "not-a-decimal"

    def check(self, value: str) -> None:
        try:
            read = self.read(value)
        except ValueError:
            raise self.is_wrong(f'"{_short(value)}" is not one', "not-a-decimal") from None
        if (self.least is not None and read < self.least) or (self.most is not None and read > self.most):
            raise wrong("out-of-range", f"{value} is out of range", self._bounds())

    def _bounds(self) -> str:
        least = "" if self.least is None else f"from {plain(self.least)}"
        most = "" if self.most is None else f"up to {plain(self.most)}"
        return f"{least} {most}".strip()


class Share(DecimalString):
    """A fraction of a whole: a decimal string from 0 to 1."""

    about = "a part of a whole from 0 to 1, as a decimal string"
    shape: ClassVar[Mapping[str, Any]] = {
        "pattern": r"^(0(\.[0-9]{1,9})?|1(\.0{1,9})?)$",
        "examples": ["0.98"],
    }

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(least="0", most="1", **kwargs)


class PartString(DecimalString):
    """A filled part: a decimal or `n/d` (A7)."""

    right = 'a part such as "1/20", at most 100 each, or "0.05"; above 0 and up to 1'
    about = "a decimal string, or a fraction such as 1/20"
    shape: ClassVar[Mapping[str, Any]] = {"pattern": f"^({_N}/{_N}|{_DECIMAL})$", "examples": ["1/20"]}
    read = staticmethod(exact.part)


class Moment(Written):
    """RFC 3339 in UTC, such as 2026-03-01T09:30:00Z."""

    right = "RFC 3339 in UTC, such as 2026-03-01T09:30:00Z"
    about = "RFC 3339 in UTC"
    shape: ClassVar[Mapping[str, Any]] = {
        "format": "date-time",
        "pattern": f"^{_MOMENT}$",
        "examples": ["2026-03-01T09:30:00Z"],
    }

    def check(self, value: str) -> None:
        if not _matches(_MOMENT, value) or not _can(datetime.fromisoformat, value):
            raise self.is_wrong(f'"{_short(value)}" is not one')


class Day(Written):
    """A calendar day, such as 2026-03-01."""

    right = "a day such as 2026-03-01"
    about = "a calendar day"
    shape: ClassVar[Mapping[str, Any]] = {"format": "date", "examples": ["2026-03-01"]}

    def check(self, value: str) -> None:
        if not _matches(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", value) or not _can(date.fromisoformat, value):
            raise self.is_wrong(f'"{_short(value)}" is not one')


class Duration(Written):
    """An ISO 8601 duration of whole parts, such as PT24H or P14D."""

    right = "an ISO 8601 duration such as PT24H or P14D"
    about = "an ISO 8601 duration of whole parts"
    shape: ClassVar[Mapping[str, Any]] = {
        # No `format`: that of JSON Schema knows neither weeks beside days nor a year beside a day.
        "pattern": f"^{_DURATION}$",
        "examples": ["P14D"],
    }

    def check(self, value: str) -> None:
        if not _matches(_DURATION, value):
            raise self.is_wrong(f'"{_short(value)}" is not one')


class Unit(Written):
    """A unit of weight (A1); with `price`, one that a price may be per."""

    right = "one of " + " ".join(GRAMS_PER)
    about = "ozt, dwt and grain are troy, oz_av and lb_av avoirdupois, ct metric carat"

    def __init__(self, *, price: bool = False, **kwargs: Any) -> None:
        self.price = price
        units = PRICE_UNITS if price else GRAMS_PER
        self.right = "one of " + " ".join(units)
        super().__init__(metadata={"enum": list(units)}, **kwargs)

    def check(self, value: str) -> None:
        found: Fault | None = unit_fault(value, "", price=self.price)
        if found:
            raise wrong(found.kind, found.wrong, found.right)


class Currency(Written):
    """A currency of ISO 4217."""

    right = "a currency of ISO 4217, such as GBP"
    shape: ClassVar[Mapping[str, Any]] = {"pattern": "^[A-Z]{3}$", "examples": ["GBP"]}

    def check(self, value: str) -> None:
        if value not in PLACES:
            raise self.is_wrong(f'"{_short(value)}" is not in ISO 4217', "unknown-currency")


class Word(Written):
    """One of a few words."""

    def __init__(self, words: Sequence[str], **kwargs: Any) -> None:
        self.words = tuple(words)
        self.right = "one of " + ", ".join(self.words)
        # Null is a value like the others where it may stand (JSON Schema).
        enum = [*words, None] if kwargs.get("allow_none") else list(words)
        super().__init__(metadata={"enum": enum, **kwargs.pop("metadata", {})}, **kwargs)

    def check(self, value: str) -> None:
        if value not in self.words:
            raise self.is_wrong(f'"{_short(value)}" can\'t stand here', "not-one-of")


class Metal(Word):
    """A metal by its name."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(METALS, **kwargs)


class Count(Shape, fields.Integer):
    """A JSON integer within bounds; true and false are none."""

    right = "a whole number"

    def __init__(self, *, least: int = 1, most: int = 10_000, **kwargs: Any) -> None:
        self.least, self.most = least, most
        self.right = f"a whole number from {least} to {most}"
        super().__init__(metadata={"minimum": least, "maximum": most, **kwargs.pop("metadata", {})}, **kwargs)

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> Any:
        if isinstance(value, bool) or not isinstance(value, int):
            raise self.is_wrong("not a JSON integer")
        if not self.least <= value <= self.most:
            raise self.is_wrong(f"{value} is out of range", "out-of-range")
        return value


class Flag(Shape, fields.Boolean):
    """true or false, nothing that looks like them."""

    right = "true or false"

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> Any:
        if not isinstance(value, bool):
            raise self.is_wrong("neither true nor false")
        return value


class Object(Shape, fields.Nested):
    """One object of a schema."""

    right = "a JSON object"

    def __init__(self, schema: type[Schema] | Callable[[], Any], **kwargs: Any) -> None:
        super().__init__(nested=schema, **kwargs)


class Values(Shape, fields.List[Any]):
    """A list of values of a field, such as `Values(DecimalString())`."""

    def __init__(self, inner: fields.Field[Any], *, least: int = 0, most: int = 1000, **kwargs: Any) -> None:
        self.least, self.most = least, most
        self.right = f"a JSON list of {least} to {most}"
        bounds = {"maxItems": most} | ({"minItems": least} if least else {})
        metadata = {**bounds, **kwargs.pop("metadata", {})}
        super().__init__(cls_or_instance=inner, metadata=metadata, **kwargs)

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> Any:
        if not isinstance(value, list):
            raise self.is_wrong("not a list")
        if not self.least <= len(value) <= self.most:
            raise self.is_wrong(f"{len(value)} in the list", "out-of-range" if value else "missing")
        return super()._deserialize(value, attr, data, **kwargs)


class Objects(Values):
    """A list of objects of a schema."""

    def __init__(self, schema: type[Schema], **kwargs: Any) -> None:
        super().__init__(Object(schema), **kwargs)


class Named(Shape, fields.Dict):
    """An object whose member names are the client's own, each value of one schema or field."""

    right = "a JSON object"

    def __init__(self, inner: type[Schema] | fields.Field[Any], *, most: int = 200, **kwargs: Any) -> None:
        self.most = most
        values = inner if isinstance(inner, fields.Field) else Object(inner)
        super().__init__(keys=fields.String(), values=values, **kwargs)

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> Any:
        if not isinstance(value, dict):
            raise self.is_wrong("not an object")
        if len(value) > self.most:
            raise wrong("out-of-range", f"{len(value)} members", f"{self.most} at most")
        errors = {}
        for name, inner in value.items():
            try:
                self.value_field.deserialize(inner)  # type: ignore[union-attr]
            except ValidationError as error:
                # Unlike marshmallow's own map: the pointer of a member is its name, nothing between.
                errors[name] = error.messages
        if errors:
            raise ValidationError(errors)
        return value


def _matches(pattern: str, value: str) -> bool:
    return len(value) <= 60 and re.fullmatch(pattern, value, re.ASCII) is not None


def _can(read: Callable[[str], object], value: str) -> bool:
    try:
        read(value)
    except ValueError:
        return False
    return True


def _short(value: str) -> str:
    return value if len(value) <= 24 else value[:21] + "…"


def _json_type(value: object) -> str:
    names = {bool: "boolean", int: "number", float: "number", list: "list", dict: "object"}
    return names.get(type(value), "null")
