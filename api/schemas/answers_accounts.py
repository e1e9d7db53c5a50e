"""Answers of the accounts: settlements, payments, sales, credit notes, the books as they are asked."""

from marshmallow.fields import Boolean, List, String

from api.schemas.answers import (
    Amount,
    Answer,
    Figure,
    Grams,
    PriceAnswer,
    ReversalAnswer,
    TaxLineAnswer,
    any_figure,
    by_name,
    notices,
    paged,
    texts,
    working,
)
from api.schemas.answers_counter import CaseAnswer, ConcessionAnswer, FinalAnswer
from api.schemas.fields import Moment, Object, Word
from settle.reckoning.terms import DRILLINGS, KEPT


class SettledWeightsAnswer(Answer):
    """The weights that a settlement rests on."""

    gross = Grams()
    melt = Grams()
    drillings = Grams()


class StepAnswer(Answer):
    """One step from quote to settlement."""

    step = String()
    worth = Amount()
    difference = Amount()
    sentence = String()


class StepsAnswer(Answer):
    """Why a settlement differs from its quote: steps that add up."""

    steps = List(Object(StepAnswer))
    metal_found = Amount()
    difference = Amount()


class ComparisonAnswer(StepsAnswer):
    """The comparison of one settlement; of each metal whether it lies inside the band."""

    id = String()
    quote = String()
    inside_band = by_name(Boolean())


class SettlementAnswer(Answer):
    """The final account of a lot: a draft, posted, or reversed. A further one is of what it adds to what was
    posted; `whole` is then the account of all of the lot, for the record."""

    may_lack = ("working",)

    id = String()
    number = String(allow_none=True)
    state = String()
    lot = String()
    client = String()
    quote = String(allow_none=True)
    still_to_come = texts()
    replaces = String(allow_none=True)
    concessions = List(Object(ConcessionAnswer))
    further_to = String(allow_none=True)
    terms = String()
    currency = String()
    prices = by_name(Object(PriceAnswer))
    weights = Object(SettledWeightsAnswer)
    drillings_become = Word((*DRILLINGS, KEPT), allow_none=True)
    assay = by_name(Figure())
    cases = Object(FinalAnswer)
    charges_total = Amount()
    tax_total = Amount()
    net = Amount()
    whole = Object(CaseAnswer, allow_none=True)
    owners_word = String(allow_none=True)
    inside_band = by_name(Boolean())
    comparison = Object(StepsAnswer, allow_none=True)
    notices = notices()
    working = working()
    paid = Amount(allow_none=True)
    cash_rounding = Amount(allow_none=True)
    open = Amount(allow_none=True)
    reversal = Object(ReversalAnswer, allow_none=True)
    hash = String()
    made_at = Moment()
    posted_at = Moment(allow_none=True)


class SettlementRowAnswer(Answer):
    """A settlement in a list."""

    id = String()
    number = String(allow_none=True)
    lot = String()
    state = String()
    net = Amount()
    made_at = Moment()
    posted_at = Moment(allow_none=True)


class ChangedFigureAnswer(Answer):
    """A figure of a settlement beside that of the one it replaces."""

    figure = String()
    old = any_figure()
    new = any_figure()
    difference = any_figure()


class ReplacedAnswer(Answer):
    """Figure by figure how a settlement differs from the one that it replaces."""

    id = String()
    number = String(allow_none=True)
    replaces = String()
    reversal = Object(ReversalAnswer)
    figures = List(Object(ChangedFigureAnswer))


class PaidWordsAnswer(Answer):
    """Who took or gave the money, and a reference: gone once they were erased."""

    may_lack = ("who", "reference")

    who = String()
    reference = String()


class PaymentAnswer(Answer):
    """Money that passed between the house and a client."""

    may_lack = ("open", "may_be_advanced", "notices")

    id = String()
    of = String()
    client = String()
    amount = Amount()
    cash_rounding = Amount()
    direction = String()
    paid_in = String()
    words = Object(PaidWordsAnswer, allow_none=True)
    state = String()
    reversal = Object(ReversalAnswer, allow_none=True)
    made_at = Moment()
    person = String(allow_none=True)
    open = Amount()
    may_be_advanced = Amount()
    notices = notices()


class ListedPaymentAnswer(PaymentAnswer):
    """A payment in the list of all: of which kind the document is that it was for, and where that stands.

    A purchase is its own payment, under its number.
    """

    kind = String()
    href = String()


class SoldAnswer(Answer):
    """Metal sold outside of a settlement."""

    may_lack = ("working",)

    id = String()
    client = String()
    terms = String()
    metal = String()
    fine = Grams()
    price = Object(PriceAnswer)
    rate = Figure()
    value = Amount()
    taxes = List(Object(TaxLineAnswer))
    tax_total = Amount()
    net = Amount()
    working = working()


class IssuerAnswer(Answer):
    """Who issues a paper."""

    name = String()
    address = texts()
    tax_identity = String()


class BarSaleAnswer(SoldAnswer):
    """A bar sold from stock: its invoice, and its payment. One that was kept before sales had numbers has
    neither number nor issuer nor hash."""

    number = String(allow_none=True)
    issuer = Object(IssuerAnswer, allow_none=True)
    tax_point = Moment()
    bar = String()
    mark = String(allow_none=True)
    stated_weight = Grams()
    stated_fineness = Figure()
    stated_fine = Grams()
    currency = String()
    paid_in = String()
    payment = Object(PaymentAnswer)
    state = String()
    reversal = Object(ReversalAnswer, allow_none=True)
    hash = String(allow_none=True)


class BarSaleRowAnswer(Answer):
    """A bar's sale in a list."""

    id = String()
    number = String(allow_none=True)
    bar = String()
    client = String()
    terms = String()
    tax_point = Moment()
    currency = String()
    net = Amount()
    state = String()


class MetalSaleAnswer(SoldAnswer):
    """Metal on account that a client sold to the house."""

    may_lack = ("working", "payment")

    state = String()
    reversal = Object(ReversalAnswer, allow_none=True)
    payment = Object(PaymentAnswer)


class MetalBarAnswer(Answer):
    """Metal on account taken as a bar."""

    id = String()
    client = String()
    bar = String()
    metal = String()
    takes = Grams()
    state = String()
    reversal = Object(ReversalAnswer, allow_none=True)


class IdentityAnswer(Answer):
    """Who a client is, as far as that is still kept."""

    id = String(allow_none=True)
    name = String(allow_none=True)
    address = String(allow_none=True)


class CreditsAnswer(Answer):
    """The document that is taken back, and its tax point."""

    number = String()
    tax_point = Moment()


class CreditLineAnswer(Answer):
    """One line of a credit note with its tax."""

    line = String()
    amount = Amount()
    tax = String(allow_none=True)
    class_ = String(data_key="class", allow_none=True)


class CreditNoteRowAnswer(Answer):
    """A credit note in a list."""

    number = String()
    credits = Object(CreditsAnswer)
    client = String()
    currency = String()
    charges_total = Amount()
    tax_total = Amount()
    net = Amount()
    tax_point = Moment()
    reason = String()


class CreditNoteAnswer(CreditNoteRowAnswer):
    """A credit note."""

    issuer = Object(IssuerAnswer)
    client = Object(IdentityAnswer)
    terms = String()
    lines = List(Object(CreditLineAnswer))
    taxes = List(Object(TaxLineAnswer))
    person = String(allow_none=True)


SettlementsAnswer = paged(SettlementRowAnswer)
PaymentsAnswer = paged(PaymentAnswer)
BarSalesAnswer = paged(BarSaleRowAnswer)
AllPaymentsAnswer = paged(ListedPaymentAnswer)
MetalSalesAnswer = paged(MetalSaleAnswer)
MetalBarsAnswer = paged(MetalBarAnswer)
CreditNotesAnswer = paged(CreditNoteRowAnswer)
