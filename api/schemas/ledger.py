"""What is counted against the books."""

from api.schemas.base import Money, Schema, Weight
from api.schemas.bench import Corrigible
from api.schemas.fields import DecimalString, Flag, Metal, Objects, Text, Values, Word
from settle.books.counts import METAL_PLACES
from settle.books.money_moves import PLACES


class CountedMetalSchema(Schema):
    """Loose metal, weighed and assayed; rows of one place and metal are added up."""

    metal = Metal(required=True)
    place = Word(tuple(METAL_PLACES))
    weight = Weight(required=True)
    fineness = DecimalString(required=True)
    scale = Text(least=1)


class CountSchema(Schema):
    """Whether a difference is booked, and why."""

    book = Flag()
    reason = Text(metadata={"description": "Demanded with `book`"})


class StockCountSchema(CountSchema):
    """Metal as weighed and assayed, and bars by their serials."""

    metals = Objects(CountedMetalSchema, most=50)
    bars = Values(Text(), most=1000)


class CashCountSchema(CountSchema):
    """What was counted in the till, in one currency."""

    counted = Money(required=True)


class MoneyMoveSchema(Corrigible):
    """Money that is moved and answers for no metal; a correction to nothing strikes an entry out."""

    from_ = Word(PLACES, required=True, data_key="from")
    to = Word(PLACES, required=True)
    tax = Text(least=1, metadata={"description": "The code of the tax that is paid, or paid back"})
    amount = Money(required=True)
    note = Text(least=1)
