"""Plain JSON data to values, every fault at once.

A `Reader` stands on one JSON object. Each method reads one field; what can't be
read leaves a fault and gives a harmless stand-in, so that reading goes on and
the client hears of everything. Nothing may be reckoned before
`Faults.refuse_if_any` has been asked.
"""

from collections.abc import Iterator, Mapping
from datetime import datetime, timedelta
from typing import Any, TypeAlias

import isodate

from settle.reckoning.exact import (
    DECIMAL_IN_WORDS,
    ONE,
    SIGNED_DECIMAL_IN_WORDS,
    ZERO,
    Exact,
    decimal,
    exactly,
    part,
    plain,
    signed_decimal,
)
from settle.reckoning.money import PLACES, Price
from settle.reckoning.problems import NO_FAULTS, Faults, at
from settle.reckoning.weight import GRAMS_PER, grams, unit_fault

Json = Mapping[str, Any]
# A thousand tonnes: more is a slip of the finger, and the books count milligrams in 64 bits.
MOST_GRAMS = 10**9
_AGES_AGO = datetime(2000, 1, 1)
_LONGEST = isodate.Duration(years=100)
Duration: TypeAlias = isodate.Duration | timedelta


class Reader:
    """One JSON object, where it stands, and the faults found so far."""

    most_grams: int | None = MOST_GRAMS
    # How the text of a figure is read.
    _decimal, _signed, _part = staticmethod(decimal), staticmethod(signed_decimal), staticmethod(part)

    def __init__(self, data: Any, faults: Faults, pointer: str = "", *, absent: bool = False) -> None:
        self.faults = faults
        self.absent = absent
        self.pointer = pointer
        self.data: Json = data if isinstance(data, Mapping) else {}
        if not isinstance(data, Mapping):
            self.fault("", "wrong-type", "not an object", "a JSON object")

    def at(self, *steps: str | int) -> str:
        """The JSON Pointer of something below this object."""
        return at(self.pointer, *(s for s in steps if s != ""))

    def fault(self, field: str | int, kind: str, wrong: str, right: str) -> None:
        """Leave a fault at a field of this object."""
        self.faults.add(kind, self.at(field), wrong, right)

    def has(self, field: str) -> bool:
        return self.data.get(field) is not None

    def missing(self, field: str, right: str) -> None:
        """Leave a fault at a field that is not there; of an object that is not there, once is enough."""
        if self.absent:
            return
        self.fault(field, "missing", "missing", right)

    def text(self, field: str, default: str | None = None) -> str:
        """A text; missing without a default is a fault."""
        value = self.data.get(field)
        value = default if value is None else value
        if value is None:
            self.missing(field, "a text")
        elif not isinstance(value, str):
            self.fault(field, "wrong-type", "not a text", "a JSON string")
        else:
            return value
        return ""

    def word(self, field: str, words: tuple[str, ...], default: str | None = None) -> str:
        """One of a few words."""
        if not self.has(field) and default is None:
            self.missing(field, "one of " + ", ".join(words))
            return words[0]
        value = self.text(field, default)
        if value and value not in words:
            self.fault(field, "not-one-of", f'"{value[:30]}" can\'t stand here', "one of " + ", ".join(words))
        return value if value in words else words[0]

    def flag(self, field: str, *, default: bool = False) -> bool:
        value = self.data.get(field, default)
        if not isinstance(value, bool):
            self.fault(field, "wrong-type", "neither true nor false", "true or false")
            return default
        return value

    def count(self, field: str, default: int | None = None, most: int | None = 10_000) -> int:
        """A count: a JSON integer of at least one, and of `most` unless that is None (A7)."""
        value = self.data.get(field, default)
        if value is None:
            self.missing(field, "a whole number, such as 2")
        elif isinstance(value, bool) or not isinstance(value, int):
            self.fault(field, "wrong-type", "not a JSON integer", "a whole number, such as 2")
        elif value < 1 or (most is not None and value > most):
            bounds = "1 or more" if most is None else f"from 1 to {most}"
            self.fault(field, "out-of-range", f"{value} is out of range", bounds)
        else:
            return value
        return 1

    def decimal(
        self,
        field: str,
        default: Exact | None = None,
        *,
        least: Exact = ZERO,
        most: Exact | None = None,
        signed: bool = False,
        kind: str = "out-of-range",
        stand_in: Exact = ONE,
    ) -> Exact:
        """A decimal string (A7) within bounds; missing without a default is a fault."""
        in_words = SIGNED_DECIMAL_IN_WORDS if signed else DECIMAL_IN_WORDS
        if not self.has(field):
            if default is None:
                self.missing(field, in_words)
                return stand_in
            return default
        value = self._strict(field, self._signed if signed else self._decimal, in_words)
        if value is None:
            return stand_in
        if (not signed and value < least) or (most is not None and value > most):
            bounds = f"from {plain(least)}" if most is None else f"from {plain(least)} to {plain(most)}"
            self.fault(field, kind, f"{plain(value)} is out of range", bounds)
            return stand_in
        return value

    def share(self, field: str, default: Exact | None = None) -> Exact:
        """A fraction of a whole, from 0 to 1."""
        return self.decimal(field, default, most=ONE)

    def part(self, field: str) -> Exact:
        """A filled part: a decimal or `n/d`, above 0 and up to 1; 1 if absent (B4)."""
        if not self.has(field):
            return ONE
        right = 'a part such as "1/20", at most 100 each, or "0.05"; above 0 and up to 1'
        value = self._strict(field, self._part, right)
        if value is not None and not 0 < value <= 1:
            self.fault(field, "out-of-range", f"{plain(value)} is out of range", right)
        return ONE if value is None or not 0 < value <= 1 else value

    def _strict(self, field: str, read: Any, right: str) -> Exact | None:
        raw = self.data[field]
        if not isinstance(raw, str):
            self.fault(field, "not-a-decimal", f"a JSON {_json_type(raw)}", right)
            return None
        try:
            value: Exact = read(raw)
        except ValueError:
            short = raw if len(raw) <= 24 else raw[:21] + "…"
            self.fault(field, "not-a-decimal", f'"{short}" is not one', right)
            return None
        return value

    def weight(
        self, field: str, default: Exact | None = None, *, positive: bool = True, stand_in: Exact = ONE
    ) -> Exact:
        """Grams of a weight `{amount, unit}` (A1)."""
        if not self.has(field):
            if default is None:
                self.missing(field, 'a weight such as {"amount": "31.42", "unit": "g"}')
                return stand_in
            return default
        inner = self.object(field)
        amount = self._amount(inner, positive=positive)
        unit = inner.text("unit")
        # A unit that is missing or no text is a fault already; an empty one would be passed over.
        if unit or inner.data.get("unit") == "":
            fault = unit_fault(unit, inner.at("unit"))
            self.faults.extend([fault] if fault else [])
        if self.faults.stands_at(self.at(field)) or unit not in GRAMS_PER:
            return stand_in
        weight_g = grams(amount, unit)
        if self.most_grams is not None and weight_g > self.most_grams:
            self.fault(field, "out-of-range", "heavier than any scale", f"at most {self.most_grams} g")
            return stand_in
        return weight_g

    @staticmethod
    def _amount(inner: "Reader", *, positive: bool) -> Exact:
        raw = inner.data.get("amount")
        if isinstance(raw, str) and raw.startswith("-") and _is_signed_decimal(raw):
            inner.fault("amount", "weight-not-positive", f"{raw} is below zero", "a weight above zero")
            return ONE
        amount = inner.decimal("amount")
        if positive and amount == 0:
            inner.fault("amount", "weight-not-positive", "zero", "a weight above zero")
        return amount

    def price(self, field: str, currency: str, entry: str | None = None) -> Price:
        """A price `{amount, currency, per}` in the terms' currency (A4)."""
        inner = self.object(field)
        value = inner.decimal("amount")
        given, per = inner.text("currency"), inner.text("per")
        if given and given not in PLACES:
            inner.fault(
                "currency", "unknown-currency", f'"{given[:10]}" is not in ISO 4217', currency or "GBP"
            )
        elif given and currency and given != currency:
            inner.fault("currency", "other-currency", f"{given}, but the terms are in {currency}", currency)
        fault = unit_fault(per, inner.at("per"), price=True) if per else None
        self.faults.extend([fault] if fault else [])
        return Price(value, given, per if per in GRAMS_PER else "g", entry)

    def duration(self, field: str, default: str) -> Duration:
        """An ISO 8601 duration, such as PT24H or P14D."""
        text = self.text(field, default)
        if not text:
            return timedelta(0)
        if text.startswith("-"):
            self.fault(field, "out-of-range", "below zero", "a duration such as PT24H or P14D")
            return timedelta(0)
        try:
            duration: Duration = isodate.parse_duration(text, as_timedelta_if_possible=True)
            if _AGES_AGO + duration > _AGES_AGO + _LONGEST:
                self.fault(field, "out-of-range", "longer than a century", "at most P100Y")
                return timedelta(0)
        except (ValueError, TypeError, OverflowError):
            self.fault(field, "wrong-type", "not a duration", "an ISO 8601 duration such as PT24H or P14D")
            return timedelta(0)
        return duration

    def object(self, field: str) -> "Reader":
        """The object at a field; a missing one is a fault."""
        if not self.has(field):
            self.missing(field, "a JSON object")
            return Reader({}, self.faults, self.at(field), absent=True)
        return self._below(self.data.get(field), field)

    def _below(self, data: Any, *steps: str | int) -> "Reader":
        return Reader(data, self.faults, self.at(*steps))

    def objects(self, field: str) -> Iterator["Reader"]:
        """Each object of a list; an absent list is empty."""
        value = self.data.get(field, ())
        if not isinstance(value, list | tuple):
            self.fault(field, "wrong-type", "not a list", "a JSON list")
            return
        for i, inner in enumerate(value):
            yield self._below(inner, field, i)

    def named(self, field: str) -> Iterator[tuple[str, "Reader"]]:
        """Each named object of a map; an absent map is empty."""
        value = self.data.get(field)
        if value is None:
            return
        inner = self._below(value, field)
        for name in inner.data:
            yield name, inner.object(name)


class Kept(Reader):
    """One JSON object that settle itself wrote: its figures are exact, and the limits of requests don't
    hold for them (A7). The first fault is a `ValueError`."""

    most_grams = None
    _decimal = _signed = _part = staticmethod(exactly)

    def __init__(self, data: Any, pointer: str = "") -> None:
        super().__init__(data, NO_FAULTS, pointer)

    def _below(self, data: Any, *steps: str | int) -> Reader:
        return Kept(data, self.at(*steps))


def _is_signed_decimal(text: str) -> bool:
    try:
        signed_decimal(text)
    except ValueError:
        return False
    return True


def _json_type(value: object) -> str:
    names = {"bool": "boolean", "int": "number", "float": "number", "list": "list", "dict": "object"}
    return names.get(type(value).__name__, "null")
