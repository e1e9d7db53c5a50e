"""What follows a settlement or goes without one: payments, concessions, bars that change hands, reversals."""

from typing import Any

import marshmallow

from api.schemas.base import Money, Schema, Weight
from api.schemas.bench import OverrideSchema, ProofSchema
from api.schemas.fields import DecimalString, Metal, Object, Text, Values, Word
from api.schemas.items import EstimateSchema
from settle.books.holds import DRILLINGS, SHOT
from settle.books.reversals import HOW_WITHDRAWN
from settle.books.till import PAID_IN
from settle.reckoning.concession import REPLACED


class PaidSchema(Schema):
    """How money passes: from till or bank; who took or gave it, and a reference."""

    paid_in = Word(PAID_IN, required=True)
    who = Text()
    reference = Text()


class PaymentSchema(PaidSchema):
    """An amount; which way it goes follows from who owes it."""

    amount = Money(required=True)


class RevisionSchema(EstimateSchema):
    """What of a quote is asked otherwise now; the rest stays."""

    def on_bind_field(self, field_name: str, field_obj: marshmallow.fields.Field[Any]) -> None:
        # Everything may be left out: the old quote has it.
        field_obj.required = False


class ConcessionSchema(Schema):
    """One rate replaced for one quote: of a metal, or of a charge with its minimum."""

    replaces = Word(REPLACED, required=True)
    metal = Metal()
    charge = Text()
    rate = DecimalString(required=True)
    minimum = DecimalString()
    reason = Text(least=1, required=True)
    who = Text(least=1, required=True, metadata={"description": "Who granted it"})


class ReasonSchema(Schema):
    """Why."""

    reason = Text(least=1, required=True)


class ReconciliationReversalSchema(ReasonSchema):
    """Why, and the metals whose account is reversed; all if absent."""

    metals = Values(Metal(), least=1, most=4)


class WithdrawalSchema(ReasonSchema):
    """Why, and what became of the bar."""

    how = Word(HOW_WITHDRAWN)


class FreezeSchema(ReasonSchema):
    """Whose order, why, and its reference."""

    by = Text(least=1, required=True)
    reference = Text(least=1, required=True)


class TakenSchema(Schema):
    """Who took something with him."""

    who = Text(least=1, required=True)
    override = Object(OverrideSchema)


class ReturnSchema(TakenSchema):
    """Who took the lot back; or, of a settled one, its `shot` if nothing else is said, or its `drillings`."""

    what = Word((SHOT, DRILLINGS))


class HandoverSchema(TakenSchema):
    """Who took the bar, and what it weighed then."""

    reading = Weight(required=True)
    scale = Text(least=1)
    division = Weight()


class BarSaleSchema(PaidSchema):
    """To whom a bar is sold, and under which terms; the client's if absent."""

    client = Text(least=1, required=True)
    terms = Text(least=1)


class HouseBarSchema(Schema):
    """A bar for stock: `poured` from loose metal, with nominal, reading and assay; or `bought`,
    with the maker's mark and number, what it states, its cost and how that was paid."""

    kind = Word(("poured", "bought"), required=True)
    metal = Metal(required=True)
    terms = Text(least=1)
    fineness = DecimalString(required=True)
    nominal = Weight()
    reading = Weight()
    scale = Text(least=1)
    division = Weight()
    assay = Object(ProofSchema)
    mark = Text(most=80)
    weight = Weight()
    cost = Money()
    paid_in = Word(PAID_IN)


class MetalSaleSchema(PaidSchema):
    """Metal on account to sell; all of it if no weight is given."""

    metal = Metal(required=True)
    weight = Weight()
    terms = Text(least=1)
    override = Object(OverrideSchema)


class MetalBarSchema(Schema):
    """The bar from stock that is taken."""

    bar = Text(least=1, required=True)
    override = Object(OverrideSchema)
