"""What the owner enters: scales, moulds, prices, stock, clients."""

from api.schemas.base import Money, Price, Schema, Weight
from api.schemas.fields import Day, DecimalString, Metal, Named, Objects, Text, Word
from settle.books.scales import CLASSES
from settle.books.till import PAID_IN


class ScaleSchema(Schema):
    """A scale: division d, verification division e, class, loads, verified until."""

    name = Text(least=1, most=80, required=True)
    division = Weight(required=True)
    verification_division = Weight()
    class_ = Word(CLASSES, data_key="class")
    min = Weight()
    max = Weight()
    verified_until = Day()


class MouldSchema(Schema):
    """A mould: the nominal weight of its bars, how far above it a pour may lie, on which scale."""

    name = Text(least=1, most=80, required=True)
    nominal = Weight(required=True)
    over_pour = Weight()
    scale = Text(least=1, required=True)


class PricesSchema(Schema):
    """Prices by metal, entered together."""

    prices = Named(Price(), required=True)


class StockMetalSchema(Schema):
    """Metal of the house's."""

    metal = Metal(required=True)
    weight = Weight(required=True)
    fineness = DecimalString(required=True)


class StockSchema(Schema):
    """Metal that was there at the opening, or was bought."""

    kind = Word(("opening", "bought"), required=True)
    metals = Objects(StockMetalSchema, least=1, most=50, required=True)
    cost = Money()
    paid_in = Word(PAID_IN)
    note = Text()


class ClientChangeSchema(Schema):
    """What of a client changes."""

    name = Text(least=1, most=200)
    address = Text(most=1000)
    email = Text(most=200)
    telephone = Text(most=60)
    note = Text(most=2000)
    default_terms = Text(least=1)


class ClientSchema(ClientChangeSchema):
    """A client: the name is all that is needed."""

    name = Text(least=1, most=200, required=True)
