"""What each field takes, leaves as it is, and refuses."""

from typing import Any

import marshmallow
import pytest

from api.schemas import fields
from api.schemas.base import Money, Price, Schema, Weight, shape_faults

WEIGHT = {"amount": "31.42", "unit": "g"}


def one(field: Any) -> type[Schema]:
    return Schema.from_dict({"f": field})  # type: ignore[return-value]


def kinds(field: Any, value: object) -> list[str]:
    return [f"{f.pointer} {f.kind}" for f in shape_faults(one(field), {"f": value})]


class InnerSchema(Schema):
    """An object with fields whose names a map would use."""

    key = fields.Count()
    value = fields.Count()


GOOD = [
    (fields.DecimalString(), ["0", "31.42", "0.000000001", "999999999999.999999999"]),
    (fields.DecimalString(signed=True), ["-0.5", "0.5"]),
    (fields.Share(), ["0", "1", "1.0", "0.98"]),
    (fields.PartString(), ["1/20", "0.05"]),
    (fields.Text(), ["", "x" * 500, "é"]),
    (fields.Moment(), ["2026-03-01T09:30:00Z", "2026-03-01T09:30:00.123Z"]),
    (fields.Day(), ["2028-02-29"]),
    (fields.Duration(), ["PT24H", "P14D", "P5Y", "P0D", "P1Y2M3DT4H5M6S", "P2W"]),
    (fields.Unit(), ["g", "ozt", "oz_av"]),
    (fields.Currency(), ["GBP", "JPY"]),
    (fields.Word(["a", "b"]), ["a"]),
    (fields.Metal(), ["gold"]),
    (fields.Count(), [1, 10_000]),
    (fields.Flag(), [True, False]),
    (fields.Named(fields.Share()), [{}, {"gold": "0.5"}]),
    (fields.Values(fields.Text()), [[], ["a"]]),
    (Weight(), [WEIGHT]),
    (Money(), [{"amount": "1", "currency": "GBP"}]),
    (Price(), [{"amount": "61.20", "currency": "GBP", "per": "g"}]),
]
BAD = [
    (fields.DecimalString(), "/f not-a-decimal",
     [1, 1.5, "", " 5 ", "1_0", "01", ".5", "5.", "+1", "-1", "1e3", "1,5", "１", "5\n", "1" * 13,
      "0.1234567890", None]),
    (fields.DecimalString(signed=True), "/f not-a-decimal", ["--1", "- 1"]),
    (fields.Share(), "/f out-of-range", ["1.000000001", "98"]),
    (fields.PartString(), "/f not-a-decimal", ["1/0", "0/1", "1/2/3", "1 /20", 0.05]),
    (fields.Text(most=3), "/f bad-text", ["abcd", "a\0", "\ud800"]),
    (fields.Text(), "/f wrong-type", [1, None, [], True]),
    (fields.Moment(), "/f wrong-type",
     ["2026-03-01", "2026-03-01T09:30:00", "2026-03-01T09:30:00+01:00", "2026-02-30T09:30:00Z", "x", 5,
      "2026-03-01 09:30:00Z", "2026-03-01T25:30:00Z"]),
    (fields.Day(), "/f wrong-type", ["2026-02-29", "20260228", "2026-2-1"]),
    (fields.Duration(), "/f wrong-type", ["", "P", "PT", "24H", "-P1D", "P1.5D", "P1DT", "p1d", 24]),
    (fields.Unit(), "/f unknown-unit", ["stone", "G", ""]),
    (fields.Unit(), "/f ambiguous-unit", ["oz"]),
    (fields.Currency(), "/f unknown-currency", ["XYZ", "gbp"]),
    (fields.Word(["a", "b"]), "/f not-one-of", ["c", ""]),
    (fields.Count(), "/f wrong-type", [True, False, 1.0, "1", None]),
    (fields.Count(), "/f out-of-range", [0, -1, 10_001]),
    (fields.Flag(), "/f wrong-type", [0, 1, "true", "yes", None]),
    (fields.Object(InnerSchema), "/f wrong-type", [[], "x", None]),
    (fields.Object(InnerSchema), "/f/other unknown-field", [{"other": 1}]),
    (fields.Objects(InnerSchema), "/f/1/value out-of-range", [[{}, {"value": 0}]]),
    (fields.Objects(InnerSchema), "/f wrong-type", [{}, "x"]),
    (fields.Objects(InnerSchema, least=1), "/f missing", [[]]),
    (fields.Objects(InnerSchema, most=1), "/f out-of-range", [[{}, {}]]),
    (fields.Values(fields.DecimalString()), "/f/1 not-a-decimal", [["1", 2]]),
    (fields.Named(InnerSchema), "/f/a~1b/key out-of-range", [{"a/b": {"key": 0}}]),
    (fields.Named(fields.Share()), "/f/gold out-of-range", [{"gold": "2"}]),
    (fields.Named(InnerSchema), "/f wrong-type", [[], "x"]),
    (Weight(), "/f/unit ambiguous-unit", [{"amount": "1", "unit": "oz"}]),
    (Weight(), "/f/amount missing", [{"unit": "g"}]),
    (Price(), "/f/per unknown-unit", [{"amount": "1", "currency": "GBP", "per": "stone"}]),
]  # fmt: skip


@pytest.mark.parametrize(("field", "value"), [(field, value) for field, values in GOOD for value in values])
def test_a_good_value_is_taken_and_left_as_it_came(field: Any, value: object) -> None:
    assert one(field)().load({"f": value}) == {"f": value}
    assert type(one(field)().load({"f": value})["f"]) is type(value)


@pytest.mark.parametrize(
    ("field", "kind", "value"), [(f, kind, v) for f, kind, values in BAD for v in values]
)
def test_a_bad_value_is_refused_by_its_kind_and_place(field: Any, kind: str, value: object) -> None:
    wanted = "/f wrong-type" if value is None else kind
    assert kinds(field, value) == [wanted]


@pytest.mark.parametrize("field", [field for field, _ in GOOD], ids=lambda f: type(f).__name__)
def test_a_missing_field_says_what_would_be_right(field: Any) -> None:
    field.required = True
    missing = shape_faults(one(field), {})
    assert [(f.kind, f.pointer) for f in missing] == [("missing", "/f")]
    assert len(missing[0].right) > 4


def test_a_marshmallow_field_of_anybody_still_gives_a_fault() -> None:
    faults = shape_faults(one(marshmallow.fields.Email()), {"f": "x"})
    assert [(f.kind, f.pointer) for f in faults] == [("wrong-type", "/f")]


@pytest.mark.parametrize(
    ("field", "value", "right"),
    [
        (fields.DecimalString(), "-1,5", "no sign"),
        (fields.DecimalString(signed=True), "-1,5", "a minus may lead"),
        (fields.Text(most=3), "abcd", "a text of up to 3 characters"),
        (fields.Text(least=1, most=3), "", "a text of 1 to 3 characters"),
    ],
)
def test_what_is_called_right_would_be_taken(field: Any, value: str, right: str) -> None:
    (fault,) = shape_faults(one(field), {"f": value})
    assert right in fault.right
