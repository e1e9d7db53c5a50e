"""Answers about the books as a whole: journal, accounts, position, months, counts, register."""

from marshmallow.fields import Boolean, Integer, List, String

from api.schemas.answers import (
    Amount,
    Answer,
    Grams,
    PriceAnswer,
    ReversalAnswer,
    by_name,
    held,
    notices,
    paged,
    texts,
)
from api.schemas.answers_lots import WordsAnswer
from api.schemas.answers_papers import PhotographAnswer
from api.schemas.fields import Moment, Object


class PostingAnswer(Answer):
    """One line of an entry: milligrams of fine metal, or minor units of money."""

    account = String()
    commodity = String()
    amount = Integer()


class JournalEntryAnswer(Answer):
    """One entry of the journal; its lines add up to nothing, commodity by commodity."""

    id = String()
    document = String()
    text = String()
    reverses = String(allow_none=True)
    reason = String(allow_none=True)
    made_at = Moment()
    lines = List(Object(PostingAnswer))


class MovementLineAnswer(Answer):
    """One line of a client's account; `balance` is that of the whole place after it."""

    in_ = String(data_key="in")
    of = String(allow_none=True)
    commodity = String()
    amount = held()
    balance = held()


class MovementAnswer(Answer):
    """What moved a client's account."""

    entry = String()
    document = String()
    text = String()
    made_at = Moment()
    reverses = String(allow_none=True)
    lines = List(Object(MovementLineAnswer))


class AccountAnswer(Answer):
    """A client's account: opening, a page of movements, closing; what is the client's is positive."""

    client = String()
    from_ = String(data_key="from", allow_none=True)
    to = String(allow_none=True)
    opening = by_name(by_name(held()))
    movements = List(Object(MovementAnswer))
    closing = by_name(by_name(held()))


class PlaceAnswer(Answer):
    """What a place held of one commodity at the beginning, what moved, and what it held at the end."""

    place = String()
    commodity = String()
    opening = held()
    moved = held()
    closing = held()


class TrialBalanceAnswer(Answer):
    """Every place of the books over a period; each column adds up to nothing for each commodity."""

    from_ = String(data_key="from", allow_none=True)
    to = String(allow_none=True)
    places = List(Object(PlaceAnswer))


class EnteredPriceAnswer(PriceAnswer):
    """A price with its time."""

    entered_at = Moment()


class PricedAnswer(Answer):
    """Metal at the price in force."""

    price = Object(EnteredPriceAnswer)
    held = Amount()
    in_process = Amount()
    lent = Amount()
    owed = Amount()
    own = Amount()


class MetalPositionAnswer(Answer):
    """One metal: in the house, in process, lent, owed; `own` is what is left once all is given back."""

    held = by_name(Grams())
    in_process = Grams()
    lent = Grams()
    owed = by_name(Grams())
    own = Grams()
    priced = by_name(Object(PricedAnswer))


class ExposureAnswer(Answer):
    """What open quotes would sell at the price they hold, and what that is now."""

    quotes = Integer()
    likely_sold = Grams()
    payout_held = Amount()
    at_price_in_force = Amount(allow_none=True)


class PositionAnswer(Answer):
    """What the house holds, has in process, has lent and owes."""

    as_at = Moment()
    metals = by_name(Object(MetalPositionAnswer))
    money = by_name(by_name(Amount()))
    exposure = by_name(by_name(Object(ExposureAnswer)))


class LentAnswerEntry(Answer):
    """One loan of house silver."""

    id = String()
    weight = by_name(String())
    made_at = Moment()


class LoanAnswer(Answer):
    """House silver lent to a batch, returned, still out."""

    batch = String()
    lent = Grams()
    still_out = Grams()
    returned = Grams()
    lost = Grams()
    closed_by = String(allow_none=True)
    entries = List(Object(LentAnswerEntry))


class LoansAnswer(Answer):
    """A page of loans; silver still out and in stock as a whole."""

    items = List(Object(LoanAnswer))
    still_out = Grams()
    in_stock = Grams()


class ComparedCreditAnswer(Answer):
    """One credit of the till against the books."""

    lot = String()
    entry = String(allow_none=True)
    verdict = String()
    till = Grams(allow_none=True)
    books = Grams(allow_none=True)
    difference = Grams()


class CreditComparisonAnswer(Answer):
    """The till's list of silver credits against the books."""

    from_ = String(data_key="from", allow_none=True)
    to = String(allow_none=True)
    lines = List(Object(ComparedCreditAnswer))
    counts = by_name(Integer())
    till_total = Grams()
    books_total = Grams()
    difference = Grams()
    explained_by = by_name(Grams())


class PeriodAnswer(Answer):
    """A month that is locked."""

    month = String()
    locked_at = Moment()
    person = String(allow_none=True)


class CountedAnswer(Answer):
    """What was counted against what the books say."""

    place = String()
    commodity = String()
    counted = held()
    books = held()
    difference = held()


class CashCountAnswer(Answer):
    """A count of the till."""

    id = String()
    made_at = Moment()
    compared = List(Object(CountedAnswer))
    booked = Boolean()
    reason = String(allow_none=True)
    entry = String(
        allow_none=True, metadata={"description": "Id of the journal's entry, such as J-11, if it is booked"}
    )
    person = String(allow_none=True)


class MoneyMoveAnswer(Answer):
    """Money that was moved, as entered."""

    id = String()
    from_ = String(data_key="from")
    to = String()
    tax = String(allow_none=True)
    amount = Amount()
    note = String(allow_none=True)
    corrects = String(allow_none=True)
    reason = String(allow_none=True)
    made_at = Moment()
    person = String(allow_none=True)


class CountedBarsAnswer(Answer):
    """Bars that nobody found, and bars that the books don't have in the house."""

    missing = texts()
    unexpected = texts()


class StockCountAnswer(CashCountAnswer):
    """A count of metal, and of bars by serial."""

    may_lack = ("bars", "notices")

    bars = Object(CountedBarsAnswer, allow_none=True)
    notices = notices()


class RegisteredItemAnswer(Answer):
    """What was brought, with its marks as stamped."""

    description = String()
    stamped = String(allow_none=True)
    evidence = String()
    count = Integer()
    gross = Grams()
    net = Grams()


class RegisteredPaymentAnswer(Answer):
    """How it was paid."""

    may_lack = ("id",)

    id = String()
    of = String()
    amount = Amount()
    direction = String()
    paid_in = String()
    made_at = Moment()


class SettledByAnswer(Answer):
    """A settlement by number."""

    number = String()
    state = String()


class RegisteredClientAnswer(Answer):
    """Who brought it; no more than the id once it was erased."""

    may_lack = ("address", "email", "telephone", "note")

    id = String()
    name = String(allow_none=True)
    address = String()
    email = String()
    telephone = String()
    note = String()


class RegisteredAnswer(Answer):
    """A lot or a purchase in the register; what belongs to the one is missing of the other."""

    may_lack = (
        *("words", "settlements", "melted_at", "frozen", "batch", "bars", "photographs"),
        "reversal",
    )

    document = String()
    kind = String()
    when = Moment()
    client = Object(RegisteredClientAnswer)
    taken_in_by = String(allow_none=True)
    words = Object(WordsAnswer, allow_none=True)
    items = List(Object(RegisteredItemAnswer))
    settlements = List(Object(SettledByAnswer))
    paid = List(Object(RegisteredPaymentAnswer))
    melted_at = Moment(allow_none=True)
    frozen = Boolean()
    batch = String(allow_none=True)
    bars = texts()
    photographs = List(Object(PhotographAnswer))
    reversal = Object(ReversalAnswer, allow_none=True)


PeriodsAnswer = paged(PeriodAnswer)
StockCountsAnswer = paged(StockCountAnswer)
CashCountsAnswer = paged(CashCountAnswer)
MoneyMovesAnswer = paged(MoneyMoveAnswer)
RegisterAnswer = paged(RegisteredAnswer)
JournalAnswer = paged(JournalEntryAnswer)
