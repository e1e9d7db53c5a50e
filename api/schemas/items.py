"""What a client brings and wishes: items, prices, instructions."""

from collections.abc import Mapping
from typing import Any, ClassVar

import marshmallow

from api.schemas.base import Price, Schema, Weight
from api.schemas.fields import (
    Count,
    DecimalString,
    Flag,
    Metal,
    Named,
    Object,
    Objects,
    PartString,
    Shape,
    Text,
    Word,
)
from settle.reckoning.bars import MOST_BARS, MOST_LINES, REMAINDERS
from settle.reckoning.item import MOST_ITEMS, UNITS
from settle.reckoning.terms import COLOURS

IN = "Of a composition, permille if absent; beside a figure that looks like a slip, permille says it is meant"


class DeductionSchema(Schema):
    """What is not alloy: weighed, or guessed with `plus_minus`."""

    reason = Text()
    weight = Weight(required=True)
    plus_minus = Weight()


class ItemSchema(Schema):
    """One line of a lot: `count` like articles weighed together.

    Exactly one of `karat`, `fineness`, `composition`, or none where the evidence is on assay only.
    """

    description = Text()
    metal = Metal()
    karat = DecimalString(metadata={"example": "18"})
    fineness = DecimalString(metadata={"example": "585"})
    composition = Named(DecimalString())
    in_ = Word(UNITS, data_key="in", metadata={"description": IN})
    stamped = Text()
    colour = Word(COLOURS)
    filled_part = PartString(metadata={"example": "1/20"})
    evidence = Text(required=True)
    count = Count()
    gross = Weight(required=True)
    scale = Text(least=1)
    division = Weight()
    deductions = Objects(DeductionSchema, most=50)


class BarCount(Shape, marshmallow.fields.Raw):
    """A number of bars, or the words `most` or `whole`."""

    right = "a number, `most` or `whole`"
    shape: ClassVar[Mapping[str, Any]] = {
        "oneOf": [
            {"type": "integer", "minimum": 1, "maximum": MOST_BARS},
            {"type": "string", "enum": ["most", "whole"]},
        ]
    }

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> Any:
        if value in ("most", "whole") and isinstance(value, str):
            return value
        if isinstance(value, bool) or not isinstance(value, int):
            raise self.is_wrong("neither a number nor a known word", "not-one-of")
        return value


class LineSchema(Schema):
    """Bars asked for: a nominal weight and a fineness, and how many."""

    nominal = Weight()
    fineness = DecimalString(required=True, metadata={"example": "999.9"})
    count = BarCount(required=True)
    top_up = Flag()


class WishesSchema(Schema):
    """What a client wants of one metal; `remainder` is `pay_out` if absent."""

    bars = Objects(LineSchema, most=MOST_LINES)
    remainder = Word(REMAINDERS)


class EstimateSchema(Schema):
    """A lot to reckon with: items, and what is left out is in force."""

    terms = Text(least=1, metadata={"example": "T-1"})
    items = Objects(ItemSchema, least=1, most=MOST_ITEMS, required=True)
    prices = Named(Price())
    instructions = Named(WishesSchema)


class QuoteSchema(EstimateSchema):
    """As an estimate, for a client where one is known."""

    client = Text(least=1, metadata={"example": "C-1"})


class AcceptanceSchema(Schema):
    """The client's positive word: who gave it, how."""

    who = Text(least=1, required=True)
    how = Word(("in_person", "telephone", "e_mail", "website", "letter"), required=True)


class QuoteAcceptanceSchema(AcceptanceSchema):
    """The client's positive word, with the hash of what was shown."""

    hash = Text(required=True, right="the `hash` of the quote as it was shown")


class PurchaseSchema(EstimateSchema):
    """An outright purchase: whose, and how it is paid."""

    client = Text(least=1, required=True)
    paid_in = Word(("cash", "transfer"), required=True)


class LotSchema(Schema):
    """A lot taken in: from an accepted quote, or with items and terms of its own."""

    quote = Text(least=1, metadata={"example": "Q-2026-0001"})
    client = Text(least=1, metadata={"example": "C-1"})
    terms = Text(least=1, metadata={"example": "T-1"})
    items = Objects(ItemSchema, least=1, most=MOST_ITEMS)
    instructions = Named(WishesSchema)
    received = Word(("in_person", "carrier"))
    carrier = Text()
    house = Word(("bought", "stock"), metadata={"description": "The metal is the house's own, from there"})
    consents_to_share = Flag()
    refine_alone = Flag()
    owner_allows_platinum = Flag(metadata={"description": "An owner's word (B6)"})
    declaration = Text(most=2000)
    acceptance = Object(AcceptanceSchema)


class InstructionsSchema(Schema):
    """Wishes by metal, the positive word that was missing, or whether the lot may share a batch."""

    instructions = Named(WishesSchema)
    acceptance = Object(AcceptanceSchema)
    consents_to_share = Flag()
    refine_alone = Flag()
