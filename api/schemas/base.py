"""What every schema is, and the few shapes that all of them are made of."""

from collections.abc import Iterator
from contextvars import ContextVar
from difflib import get_close_matches
from typing import Any

import marshmallow

from api.schemas.faults import Wrong, faults_of
from api.schemas.fields import Currency, DecimalString, Object, Unit
from settle.reckoning.problems import Fault

# Longer names, and more of them in one body, are no slips of the hand, and cost time to compare.
_LONGEST_SLIP = 40
_MOST_SLIPS = 20
_slips_left: ContextVar[Iterator[int]] = ContextVar("slips_left")


class Schema(marshmallow.Schema):
    """A closed object: what it doesn't name is a fault."""

    error_messages: dict[str, Any] = {  # noqa: RUF012 - as marshmallow declares it
        "type": Wrong("wrong-type", "not an object", "a JSON object"),
        "unknown": Wrong("unknown-field", "nobody knows this field", "leave it out, or mend its name"),
    }

    class Meta:
        """What marshmallow asks."""

        unknown = marshmallow.RAISE

    def handle_error(self, error: marshmallow.ValidationError, data: Any, **_: Any) -> None:
        """Say which field was meant, where a name that nobody knows is near one."""
        known = [field.data_key or name for name, field in self.fields.items()]
        found = error.messages if isinstance(error.messages, dict) else {}
        slips = [name for name in found if name not in known and len(str(name)) <= _LONGEST_SLIP]
        for name in slips:
            is_looked_at = next(_slips_left.get(iter(())), None) is not None
            if is_looked_at and (near := get_close_matches(str(name), known, n=1)):
                found[name] = [
                    Wrong("unknown-field", "nobody knows this field", f'"{near[0]}", if that is meant')
                ]


class WeightSchema(Schema):
    """`{"amount": "31.42", "unit": "g"}`."""

    amount = DecimalString(required=True)
    unit = Unit(required=True)


class MoneySchema(Schema):
    """`{"amount": "1034.20", "currency": "GBP"}`."""

    amount = DecimalString(required=True)
    currency = Currency(required=True)


class PriceSchema(Schema):
    """`{"amount": "61.20", "currency": "GBP", "per": "g"}`."""

    amount = DecimalString(required=True)
    currency = Currency(required=True)
    per = Unit(price=True, required=True)


class Weight(Object):
    """A weight `{amount, unit}` (A1)."""

    right = 'a weight such as {"amount": "31.42", "unit": "g"}'

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(WeightSchema, **kwargs)


class Money(Object):
    """Money `{amount, currency}` (A3)."""

    right = 'money such as {"amount": "1034.20", "currency": "GBP"}'

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(MoneySchema, **kwargs)


class Price(Object):
    """A price `{amount, currency, per}` (A4)."""

    right = 'a price such as {"amount": "61.20", "currency": "GBP", "per": "g"}'

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(PriceSchema, **kwargs)


def shape_faults(schema: type[marshmallow.Schema] | marshmallow.Schema, data: Any) -> list[Fault]:
    """What is wrong with the shape of `data`, every fault with its JSON Pointer."""
    instance = schema() if isinstance(schema, type) else schema
    _slips_left.set(iter(range(_MOST_SLIPS)))
    return faults_of(instance.validate(data))
