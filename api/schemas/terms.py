"""Terms of business, as they are posted."""

from api.schemas.base import Money, Schema, Weight
from api.schemas.fields import (
    Currency,
    DecimalString,
    Duration,
    Flag,
    Metal,
    Named,
    Object,
    Objects,
    Share,
    Text,
    Unit,
    Values,
    Word,
)
from settle.reckoning import tariff
from settle.reckoning import terms as words


class EvidenceSchema(Schema):
    """A kind of evidence and what it is worth, in parts per thousand; or `reckon: false`."""

    method = Word(words.METHODS, required=True)
    bias = DecimalString(signed=True)
    scatter = DecimalString()
    shared = DecimalString()
    reckon = Flag()


class AlloySilverSchema(Schema):
    """Silver to guess for a colour and fineness range, parts per thousand."""

    colour = Word(words.COLOURS, required=True)
    from_ = DecimalString(data_key="from", required=True)
    to = DecimalString(required=True)
    low = DecimalString(required=True)
    likely = DecimalString(required=True)
    high = DecimalString(required=True)


class MetalTermsSchema(Schema):
    """What the house answers for and pays, for one metal."""

    settle_on = Word(words.SETTLE_ON, required=True)
    recovery = Share()
    recovery_u = Share()
    accountable = Share(required=True)
    minimum_deduction = Weight()
    payable_from = Weight()
    payout_rate = Share(required=True)
    top_up_rate = DecimalString()
    top_up_tax = Text()
    balance = Share()
    splitting_limit = DecimalString()


class AssayMethodSchema(Schema):
    """What a method of assay may claim at best, parts per thousand."""

    least_u = DecimalString(required=True)


class HouseSilverSchema(Schema):
    """The silver that the house lends, parts per thousand."""

    fineness = DecimalString()
    gold = DecimalString()


class TierSchema(Schema):
    """From this quantity on, this rate."""

    from_ = DecimalString(data_key="from", required=True)
    rate = DecimalString(required=True)


class ChargeSchema(Schema):
    """A charge and its base."""

    name = Text(least=1, required=True)
    base = Word(tariff.BASES, required=True)
    per = Unit(price=True)
    metal = Metal()
    rate = DecimalString(required=True)
    minimum = DecimalString()
    tiers = Objects(TierSchema, most=20)
    tiering = Word(("whole", "marginal"))
    tax = Text()


class TaxSchema(Schema):
    """A tax code."""

    rate = Share(required=True)
    class_ = Word(tariff.TAX_CLASSES, data_key="class", required=True)


class LimitSchema(Schema):
    """An amount of money that is noticed when reached, and whose rule says so."""

    amount = Money(required=True)
    window = Duration()
    text = Text(required=True)
    source = Text(required=True)


class TermsSchema(Schema):
    """One version of the terms; it is numbered, dated and never edited."""

    name = Text(least=1, required=True)
    public = Flag()
    currency = Currency(required=True)
    weight_unit = Unit()
    karat_basis = Word(("exact", "standard"))
    division = Weight(required=True)
    evidence = Named(EvidenceSchema, required=True)
    estimate_silver = Flag()
    alloy_silver = Objects(AlloySilverSchema)
    metals = Named(MetalTermsSchema, required=True)
    silver_rule = Word(words.SILVER_RULES)
    parting_target = Share()
    house_silver = Object(HouseSilverSchema)
    assay_methods = Named(AssayMethodSchema)
    charges = Objects(ChargeSchema, most=50)
    taxes = Named(TaxSchema)
    cash_step = DecimalString()
    least_paid = DecimalString()
    drillings = Word(words.DRILLINGS)
    purchase_case = Word(words.CASES)
    price_time = Word(words.PRICE_TIMES)
    quote_valid_for = Duration()
    price_max_age = Duration()
    void_if_moved = Share()
    umpire_rule = Word(("final", "middle"))
    umpire_fee = DecimalString()
    advance_share = Share()
    stating_step = Weight()
    fineness_steps = Values(DecimalString(), most=20)
    over_pour = Weight()
    pour_loss = Share()
    holding_period = Duration()
    query_period = Duration()
    sample_period = Duration()
    limits = Named(LimitSchema)
    retention = Duration()
