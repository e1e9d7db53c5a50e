"""Answers at the counter: estimates, quotes, purchases, clients, lots, terms."""

from marshmallow.fields import Boolean, Integer, List, String

from api.schemas.answers import (
    Amount,
    Answer,
    Figure,
    Grams,
    PriceAnswer,
    ReversalAnswer,
    TaxLineAnswer,
    by_name,
    notices,
    paged,
    texts,
    working,
)
from api.schemas.fields import Moment, Object, Word
from api.schemas.items import PurchaseSchema
from api.schemas.terms import TermsSchema
from settle.reckoning.document import NOT_VALUED


class HoldAnswer(Answer):
    """What an item is reckoned to hold of a metal."""

    fineness = Figure()
    fine = Grams()


class ItemAnswer(Answer):
    """One line of a lot, weighed and reckoned."""

    description = String()
    stamped = String(allow_none=True)
    evidence = String()
    count = Integer()
    gross = Grams()
    net = Grams()
    filled_part = Figure()
    on_assay_only = Boolean()
    holds = by_name(Object(HoldAnswer))


class PlannedBarAnswer(Answer):
    """A bar of the account; once it is poured, what it states, and what above it goes with it."""

    may_lack = ("serial", "stated_weight", "stated_fineness", "stated_fine", "gift", "stated_below")

    line = Integer()
    nominal = Grams(allow_none=True)
    fineness = Figure()
    fine = Grams()
    serial = String()
    stated_weight = Grams()
    stated_fineness = Figure()
    stated_fine = Grams()
    gift = Grams()
    stated_below = Grams()


class MetalAccountAnswer(Answer):
    """The account of one metal: from what came out to bars, remainder, payout."""

    may_lack = ("fine_u",)

    fine = Grams()
    fine_u = Grams()
    recovered = Grams()
    drillings = Grams()
    accountable = Grams()
    kept = Grams()
    kept_worth = Amount(allow_none=True)
    bars = List(Object(PlannedBarAnswer))
    bars_total = Grams()
    remainder = Grams()
    sold = Grams()
    shot = Grams()
    metal_account = Grams()
    top_up = Grams()
    excess_gift = Grams()
    payout = Amount()
    top_up_cost = Amount()


class ChargePartAnswer(Answer):
    """The part of a charge that falls into one tier."""

    quantity = Figure()
    rate = Figure()


class ChargeLineAnswer(Answer):
    """One charge: on how much, at which rate. Of a further settlement `amount` is what it adds to what was
    charged before."""

    may_lack = ("parts", "of_lot", "charged_before")

    name = String()
    base = String()
    metal = String(allow_none=True)
    quantity = Figure()
    per = String(allow_none=True)
    rate = Figure()
    minimum_applied = Boolean()
    tier = Figure(allow_none=True)
    of_lot = Amount()
    charged_before = Amount()
    amount = Amount()
    tax = String(allow_none=True)
    parts = List(Object(ChargePartAnswer))


class BarsAlikeAnswer(Answer):
    """Bars of one metal, weight and fineness: how many, and the fine metal that they take together."""

    metal = String()
    nominal = Grams(allow_none=True)
    fineness = Figure()
    count = Integer()
    fine = Grams()


class ClientGetsAnswer(Answer):
    """What the client gets: bars, loose metal, metal on account, his drillings, and money; and what all of
    it is worth, metal at the full price."""

    bars = List(Object(BarsAlikeAnswer))
    shot = by_name(Grams())
    metal_account = by_name(Grams())
    drillings = by_name(Grams())
    money = Amount(allow_none=True)
    worth = Amount(allow_none=True)


class CaseAnswer(Answer):
    """One case of an account; its lines add up to its totals."""

    may_lack = ("all_in",)

    metals = by_name(Object(MetalAccountAnswer))
    charges = List(Object(ChargeLineAnswer))
    taxes = List(Object(TaxLineAnswer))
    payouts_total = Amount()
    top_ups_total = Amount()
    charges_total = Amount()
    tax_total = Amount()
    advances_total = Amount()
    fees_total = Amount()
    waived = Amount()
    net = Amount(allow_none=True)
    client_gets = Object(ClientGetsAnswer)
    all_in = Figure(allow_none=True)


class CasesAnswer(Answer):
    """Low, likely, high."""

    low = Object(CaseAnswer)
    likely = Object(CaseAnswer)
    high = Object(CaseAnswer)


class FinalAnswer(Answer):
    """The one case of a final account."""

    final = Object(CaseAnswer)


class RangeAnswer(Answer):
    """Least, likely, greatest over the three cases."""

    least = Amount()
    likely = Amount()
    greatest = Amount()


class NotValuedAnswer(Answer):
    """What is in no worth, and why: an item by its place in the list, or a metal."""

    item = Integer(allow_none=True)
    metal = String(allow_none=True)
    reason = Word(NOT_VALUED)


class OutrightOfferAnswer(Answer):
    """What the house would pay outright for what isn't worth refining."""

    terms = String()
    net = Amount()


class BindsAnswer(Answer):
    """What a quote binds, and what it doesn't."""

    binds = texts()
    does_not_bind = texts()
    price_time = String()
    void_if_moved = Figure(allow_none=True)


class ReckonedAnswer(Answer):
    """What an estimate, a quote and a purchase have in common."""

    may_lack = ("working",)

    terms = String()
    currency = String()
    prices = by_name(Object(PriceAnswer))
    items = List(Object(ItemAnswer))
    not_valued = List(Object(NotValuedAnswer))
    not_accounted_for = by_name(Grams())
    notices = notices()
    working = working()


class EstimateAnswer(ReckonedAnswer):
    """Low, likely, high."""

    parting_silver_needed = Grams()
    cases = Object(CasesAnswer)
    net_range = Object(RangeAnswer, allow_none=True)
    worth_range = Object(RangeAnswer, allow_none=True)
    worth_refining = Boolean(allow_none=True)
    outright_offer = Object(OutrightOfferAnswer, allow_none=True)
    bars_covered = by_name(List(Integer()))
    binds = Object(BindsAnswer)


class ConcessionAnswer(Answer):
    """A rate replaced for one quote, beside that of the terms."""

    may_lack = ("metal", "charge", "minimum")

    replaces = String()
    metal = String()
    charge = String()
    rate = Figure()
    minimum = Figure()
    reason = String()
    instead_of = Figure()


class AcceptanceAnswer(Answer):
    """The client's positive word; `who` is gone once it was erased."""

    who = String(allow_none=True)
    how = String()
    hash = String()
    at = Moment()


class QuoteAnswer(EstimateAnswer):
    """A quote: the document as it was issued, whose hash is `hash`, and where it stands now."""

    may_lack = ("working", "concessions_cost")

    number = String()
    client = String(allow_none=True)
    made_at = Moment()
    valid_until = Moment()
    concessions = List(Object(ConcessionAnswer))
    state = String()
    hash = String()
    acceptance = Object(AcceptanceAnswer, allow_none=True)
    lot = String(allow_none=True)
    revises = String(allow_none=True)
    revised_by = String(allow_none=True)
    conceded_since = List(Object(ConcessionAnswer))
    concessions_cost = Amount()


class QuoteRowAnswer(Answer):
    """A quote in a list."""

    number = String()
    client = String(allow_none=True)
    terms = String()
    made_at = Moment()
    valid_until = Moment()
    currency = String()
    net_range = Object(RangeAnswer, allow_none=True)
    worth_range = Object(RangeAnswer, allow_none=True)
    state = String()


class AskedAnswer(PurchaseSchema):
    """What a purchase was asked, with the terms and the prices that served."""

    prices = by_name(Object(PriceAnswer))


class PurchaseAnswer(ReckonedAnswer):
    """An outright purchase."""

    number = String()
    client = String()
    made_at = Moment()
    paid_in = String()
    cases = Object(FinalAnswer)
    charges_total = Amount()
    tax_total = Amount()
    net = Amount()
    paid = Amount()
    cash_rounding = Amount()
    asked = Object(AskedAnswer)
    state = String()
    reversal = Object(ReversalAnswer, allow_none=True)
    hash = String()


class PurchaseRowAnswer(Answer):
    """A purchase in a list."""

    number = String()
    client = String()
    terms = String()
    made_at = Moment()
    currency = String()
    net = Amount()
    state = String()


class ClientAnswer(Answer):
    """A client; nothing but the id is left of one whose data was erased."""

    may_lack = ("name", "address", "email", "telephone", "note")

    id = String()
    name = String(allow_none=True)
    address = String()
    email = String()
    telephone = String()
    note = String()
    default_terms = String(allow_none=True)
    made_at = Moment()
    erased_at = Moment(allow_none=True)


class TermsAnswer(TermsSchema):
    """One version of the terms, as it was posted."""

    number = String(required=True)
    made_at = Moment(required=True)


class PostedTermsAnswer(TermsAnswer):
    """Terms that were just posted, and what is to be told of them."""

    notices = notices()


class ComparedQuoteAnswer(Answer):
    """What other terms would have made of a quote."""

    quote = String()
    likely_net = Amount(allow_none=True)
    under_new_terms = Amount(allow_none=True)
    refused = texts()


class TriedTermsAnswer(Answer):
    """What terms that are not kept yet would have changed on the last quotes."""

    kept = Boolean()
    last_quotes = List(Object(ComparedQuoteAnswer))
    notices = notices()


QuotesAnswer = paged(QuoteRowAnswer)
PurchasesAnswer = paged(PurchaseRowAnswer)
ClientsAnswer = paged(ClientAnswer)
TermsPageAnswer = paged(TermsAnswer, name="TermsPageAnswer")
