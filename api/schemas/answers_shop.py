"""Answers about the shop itself: scales, prices, stock, access, events, reference tables, running it."""

from marshmallow.fields import Boolean, Dict, Integer, List, Raw, String

from api.schemas.answers import (
    Amount,
    Answer,
    Figure,
    Grams,
    by_name,
    notices,
    paged,
    texts,
)
from api.schemas.answers_books import EnteredPriceAnswer
from api.schemas.fields import Moment, Object
from api.schemas.shop import MouldSchema, ScaleSchema, StockSchema


class ScaleAnswer(ScaleSchema):
    """A scale as it was entered."""

    id = String(required=True)


class MouldAnswer(MouldSchema):
    """A mould as it was entered."""

    id = String(required=True)


class PricesAnswer(Answer):
    """Prices by metal, each with its entry and time."""

    prices = by_name(Object(EnteredPriceAnswer))
    notices = notices()


class RepricedQuoteAnswer(Answer):
    """What prices do to an open quote; margins are the house's own, in the likely case."""

    quote = String()
    valid_until = Moment()
    binds_price = Boolean()
    refused = texts()
    margin_as_quoted = Amount(allow_none=True)
    margin = Amount(allow_none=True)
    loss = Amount()


class TriedPricesAnswer(Answer):
    """What prices that are not kept would do to open quotes."""

    kept = Boolean()
    open_quotes = List(Object(RepricedQuoteAnswer))


class CurrentPricesAnswer(Answer):
    """The last price of each metal and currency."""

    prices = by_name(by_name(Object(EnteredPriceAnswer)))


class EnteredMetalPriceAnswer(EnteredPriceAnswer):
    """A price in a list."""

    metal = String()


class StockRowAnswer(StockSchema):
    """Metal of the house's as it was entered."""

    id = String(required=True)
    made_at = Moment(required=True)
    person = String(required=True, allow_none=True)


class StockEntryAnswer(StockRowAnswer):
    """Metal of the house's as it was entered, and what is in stock now."""

    stock = by_name(Grams(), required=True)


class StockAnswer(Answer):
    """A page of the metal that was entered; fine metal in stock as a whole."""

    items = List(Object(StockRowAnswer))
    stock = by_name(Grams())


class KeyAnswer(Answer):
    """An access key, without its secret."""

    id = String()
    name = String()
    scopes = texts()
    origins = texts()
    made_at = Moment()
    expires_at = Moment(allow_none=True)
    last_used_at = Moment(allow_none=True)
    revoked_at = Moment(allow_none=True)


class NewKeyAnswer(KeyAnswer):
    """An access key with its secret, which a repeated answer doesn't repeat."""

    may_lack = ("secret",)

    secret = String()


class PersonAnswer(Answer):
    """A person at the till."""

    id = String()
    name = String()
    made_at = Moment()


class HookAnswer(Answer):
    """Where events go, of which kinds."""

    id = String()
    url = String()
    kinds = texts()
    made_at = Moment()
    old_secret_until = Moment(allow_none=True)
    revoked_at = Moment(allow_none=True)


class NewHookAnswer(HookAnswer):
    """A hook with its secret, which a repeated answer doesn't repeat."""

    may_lack = ("secret",)

    secret = String()


class DeliveryAnswer(Answer):
    """An event on its way to a hook: pending, delivered or dead."""

    id = String()
    event = String()
    kind = String()
    subject = String()
    state = String()
    attempts = Integer()
    next_at = Moment(allow_none=True)
    delivered_at = Moment(allow_none=True)
    last_answer = String(allow_none=True)


class UnitAnswer(Answer):
    """A unit of weight, exact."""

    name = String()
    words = String()
    definition = String()
    grams = Figure()
    source = String()
    seen = String()


class FinenessRowAnswer(Answer):
    """A standard fineness, ‰."""

    metal = String()
    fineness = Figure()
    source = String()
    seen = String()


class AlloyRowAnswer(Answer):
    """Silver in gold alloys by colour and fineness, ‰."""

    colour = String()
    from_ = Figure(data_key="from")
    to = Figure()
    low = Figure()
    likely = Figure()
    high = Figure()
    source = String()
    seen = String()


class StatusAnswer(Answer):
    """How it is."""

    status = String()


class ExampleAnswer(Answer):
    """A request that makes a problem: in which books, after what, and what is sent."""

    may_lack = ("setup", "before", "headers", "body", "text", "seen", "answer_headers")

    at = String()
    key = String(allow_none=True)
    method = String()
    path = String()
    setup = texts()
    before = List(Dict())
    headers = by_name(String(allow_none=True))
    body = Dict()
    text = Raw(metadata={"type": ["string", "object"], "description": "A body that is no JSON"})
    answer_headers = by_name(String(), metadata={"description": "What the refusal says in its headers"})
    seen = String()


class ProblemTypeAnswer(Answer):
    """What a problem's type means; `calls` that give it, where it is not any call of its sort."""

    type = String()
    status = Integer()
    title = String()
    about = String()
    calls = texts()
    example = Object(ExampleAnswer)


ScalesAnswer = paged(ScaleAnswer)  # type: ignore[arg-type]
MouldsAnswer = paged(MouldAnswer)  # type: ignore[arg-type]
PriceListAnswer = paged(EnteredMetalPriceAnswer)
KeysAnswer = paged(KeyAnswer)
PeopleAnswer = paged(PersonAnswer)
HooksAnswer = paged(HookAnswer)
DeliveriesAnswer = paged(DeliveryAnswer)
UnitsAnswer = paged(UnitAnswer)
FinenessesAnswer = paged(FinenessRowAnswer)
AlloysAnswer = paged(AlloyRowAnswer)
