"""What happens at the bench: melts, assays, loans, outturns, bars; and how each is corrected."""

from collections.abc import Mapping
from typing import Any, ClassVar

import marshmallow

from api.schemas.base import Schema, Weight
from api.schemas.fields import (
    MOST_TEXT,
    Count,
    DecimalString,
    Flag,
    Metal,
    Named,
    Object,
    Objects,
    Shape,
    Text,
    Values,
    Word,
)
from settle.books.bench import PARTIES
from settle.reckoning.bars import MOST_BARS
from settle.reckoning.terms import ASSAY_METHODS


class OverrideSchema(Schema):
    """An owner's word, with its reason."""

    reason = Text(least=1, required=True)


class Corrigible(Schema):
    """An entry that may correct an older one, with a reason."""

    corrects = Text(least=1, metadata={"description": "The id of the entry that this one corrects"})
    reason = Text(metadata={"description": "Why the old entry was wrong"})


class Weighing(Corrigible):
    """A weighing on a scale of the shop, or with a division of its own."""

    scale = Text(least=1)
    division = Weight()


class DrillingsSchema(Schema):
    """Drillings for assay: how much, whose, and whether they went back to the melt."""

    weight = Weight(required=True)
    whose = Word(("client", "house"))
    returned = Flag()


class MeltSchema(Weighing):
    """The weight of the lot once melted, which governs from then on."""

    weight = Weight(required=True)
    drillings = Object(DrillingsSchema)


class FinenessSchema(Schema):
    """A measured fineness, with its standard uncertainty or an expanded one and its k."""

    fineness = DecimalString(required=True)
    u = DecimalString()
    expanded_u = DecimalString()
    k = DecimalString()


class MethodSchema(Schema):
    """How an assay was made; `difference` names the report of the laboratory that measured the impurities."""

    method = Word(ASSAY_METHODS, required=True)
    report = Text(least=1, most=80)


class AssaySchema(MethodSchema, Corrigible):
    """An assay of the melted lot, each metal in parts per thousand."""

    party = Word(PARTIES, required=True)
    finenesses = Named(FinenessSchema, required=True)


class BatchSchema(Schema):
    """The lots to refine together, or the one alone; platinum metals among others by an owner's word."""

    lots = Values(Text(), least=1, most=50, required=True)
    override = Object(OverrideSchema)


class HeldSchema(Corrigible):
    """Fine metal known to stay behind, at an estimate with its standard uncertainty."""

    metal = Metal(required=True)
    estimate = Weight(required=True)
    u = Weight()
    where = Text(least=1, required=True)


class WriteOffSchema(Schema):
    """An owner's word that held metal will not come back."""

    reason = Text(least=1, required=True)


class RecoverySchema(Schema):
    """The batches whose baths are recovered together."""

    batches = Values(Text(), least=1, most=50, required=True)


class LoanSchema(Weighing):
    """House silver melted in; its fineness is the terms' unless it says its own."""

    weight = Weight(required=True)
    fineness = DecimalString()
    gold = DecimalString()
    u = DecimalString()


class ProofSchema(MethodSchema, FinenessSchema):
    """An assay that a stated fineness rests on: what metal was found to be, and by which method."""


class OutturnSchema(Weighing):
    """Metal that came out, weighed and assayed."""

    metal = Metal(required=True)
    weight = Weight(required=True)
    assay = Object(ProofSchema, required=True)
    held = Text(least=1, metadata={"description": "The id of held metal that came back with it"})
    override = Object(OverrideSchema)


class SilverOutturnSchema(Weighing):
    """Silver won back from a bath, weighed and assayed."""

    metal = Word(("silver",))
    weight = Weight(required=True)
    assay = Object(ProofSchema, required=True)
    held = Text(least=1, metadata={"description": "The id of held silver that came back with it"})
    override = Object(OverrideSchema)


class PouredSchema(Schema):
    """Metal weighed before or after a pour, with the assay of what it is."""

    weight = Weight(required=True)
    assay = Object(FinenessSchema, required=True)
    scale = Text(least=1)
    division = Weight()


class BarSchema(Weighing):
    """A poured bar: the lot and the line of its instructions that it fills, and its reading."""

    lot = Text(least=1, required=True)
    metal = Metal(required=True)
    line = Count(least=0, most=19)
    outturn = Text(
        least=1, metadata={"description": "The entry of the outturn that it is of; the last if absent"}
    )
    reading = Weight(required=True)
    override = Object(OverrideSchema)


class PourSchema(Corrigible):
    """What a pour took: metal, bars by serial, trimmings; what is missing is the pour loss."""

    metal = Metal(required=True)
    taken = Object(PouredSchema, required=True)
    bars = Values(Text(), most=MOST_BARS, required=True)
    trimmings = Object(PouredSchema)
    override = Object(OverrideSchema)


class MouldChoice(Shape, marshmallow.fields.Raw):
    """A mould by its name, or a nominal weight."""

    right = "the name of a mould, or a weight"
    shape: ClassVar[Mapping[str, Any]] = {
        "oneOf": [{"type": "string", "maxLength": MOST_TEXT}, {"$ref": "#/components/schemas/Weight"}]
    }

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> Any:
        return (Text() if isinstance(value, str) else Weight()).deserialize(value, attr, data, **kwargs)


class PourPlanSchema(Schema):
    """A weight in hand, the moulds, and what is wished: least left over, or fewest bars."""

    weight = Weight(required=True)
    moulds = Values(MouldChoice(), least=1, most=6, required=True)
    over_pour = Weight()
    wish = Word(("least_left", "fewest_bars"))
    lot = Text(least=1, metadata={"description": "Says, beside the plan, what bars this lot covers"})


class CreditSchema(Schema):
    """A silver credit as the till has it."""

    lot = Text(least=1, required=True)
    entry = Text(metadata={"description": "What the till calls it"})
    weight = Weight(required=True)


class CreditsSchema(Schema):
    """The till's list of silver credits."""

    credits = Objects(CreditSchema, most=5000, required=True)


class ReconciliationSchema(Schema):
    """The metals to close; all with an outturn if absent."""

    metals = Values(Metal(), least=1, most=4)
    override = Object(OverrideSchema)


class SettlementSchema(Schema):
    """The lot to settle; all its metals that are closed and not settled yet, unless some are named."""

    lot = Text(least=1, required=True)
    metals = Values(Metal(), least=1, most=4)


class PostingSchema(Schema):
    """An owner's word, where bars hold more than the lot covers."""

    override = Object(OverrideSchema)
