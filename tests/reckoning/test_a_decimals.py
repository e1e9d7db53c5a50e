"""A7: what a decimal in a request is; and what settle wrote itself, to which those limits don't apply."""

import pytest

from settle.reckoning.exact import decimal, exactly, part, plain, signed_decimal
from settle.reckoning.reading import Kept

from .shop import F

GOOD = [
    ("0", "0"),
    ("0.000000001", "1/1000000000"),
    ("31.42", "3142/100"),
    ("10.0", "10"),
    ("999999999999.999999999", "999999999999999999999/1000000000"),
]
BAD = [
    "",
    "NaN",
    "Infinity",
    "1e5",
    "1_0",
    " 5",
    "5 ",
    "5\n",
    "+5",
    "05",
    "00",
    ".5",
    "5.",
    "1,5",
    "0x1",
    "\u0663",  # an Arabic-Indic digit three
    "\uff15",  # a full-width digit five
    "1\uff15",
    "1.2.3",
    "0.0000000001",  # ten places
    "1000000000000",  # thirteen digits
    "9" * 1_000_000,
]


@pytest.mark.rule("A7")
@pytest.mark.parametrize(("text", "value"), GOOD)
def test_a_strict_decimal_string_is_read_exactly(text, value):
    assert decimal(text) == F(value)


@pytest.mark.rule("A7")
@pytest.mark.parametrize("text", [*BAD, "-5", "1/2"], ids=lambda t: repr(t[:14]))
def test_anything_else_is_no_decimal(text):
    with pytest.raises(ValueError):
        decimal(text)


@pytest.mark.rule("A7")
@pytest.mark.parametrize(("text", "value"), [("-8", "-8"), ("-0.5", "-1/2"), ("3", "3")])
def test_a_bias_may_carry_a_minus(text, value):
    assert signed_decimal(text) == F(value)


@pytest.mark.rule("A7")
@pytest.mark.parametrize("text", [*BAD, "--5", "- 5", "-"], ids=lambda t: repr(t[:14]))
def test_a_bias_may_carry_nothing_but_a_minus(text):
    with pytest.raises(ValueError):
        signed_decimal(text)


@pytest.mark.rule("A7")
@pytest.mark.parametrize(
    ("text", "value"), [("1/20", "1/20"), ("0.05", "1/20"), ("1", "1"), ("7/8", "7/8"), ("99/100", "99/100")]
)
def test_a_filled_part_may_be_a_fraction(text, value):
    assert part(text) == F(value)


@pytest.mark.rule("A7")
@pytest.mark.parametrize(
    "text",
    [*BAD, "1/0", "0/5", "01/5", "1/ 5", "-1/5", "1/2/3", "1.5/2", "1/101", "101/200"],
    ids=lambda t: repr(t[:14]),
)
def test_a_filled_part_is_nothing_else(text):
    with pytest.raises(ValueError):
        part(text)


# 30.11 dwt; a third of an expanded u; more digits than a request may have.
AS_WRITTEN = ["46.8262843224", "1/3", "-0.0000000000001", "-7/30", "1234567890123.5", "0"]


@pytest.mark.rule("A7")
@pytest.mark.parametrize("text", AS_WRITTEN)
def test_what_settle_wrote_itself_is_read_exactly_however_many_places_it_has(text):
    assert exactly(text) == F(text)
    assert plain(exactly(text)) == text


@pytest.mark.rule("A7")
@pytest.mark.parametrize(
    "text",
    ["", ".5", "1.", "1e3", " 1", "1/0", "1/2/3", "1.5/2", "+1", "٣", "9" * 1001],
    ids=lambda t: repr(t[:9]),
)
def test_what_settle_never_writes_is_no_figure(text):
    with pytest.raises(ValueError):
        exactly(text)


@pytest.mark.rule("A7")
@pytest.mark.parametrize("amount", ["46.8262843224", "20/3", "1000000000000.0000000001"])
def test_the_limits_of_requests_dont_hold_for_what_is_kept(amount):
    weight = {"amount": amount, "unit": "g"}
    kept = Kept({"melt": weight, "bars": [{"reading": weight}], "metals": {"gold": {"u": amount}}})
    assert kept.weight("melt") == F(amount)
    assert [inner.weight("reading") for inner in kept.objects("bars")] == [F(amount)]
    assert [inner.decimal("u") for _, inner in kept.named("metals")] == [F(amount)]


@pytest.mark.rule("A7")
@pytest.mark.parametrize(
    ("kept", "says"),
    [
        ({"melt": {"amount": "4,5", "unit": "g"}}, "/melt/amount"),
        ({"melt": {"amount": "4.5", "unit": "oz"}}, "/melt/unit"),
        ({}, "/melt"),
        ([], "it"),
    ],
)
def test_nothing_stands_in_for_what_is_kept_and_cant_be_read(kept, says):
    with pytest.raises(ValueError, match=f"^{says}: "):
        Kept(kept).weight("melt")
