"""Answers about lots."""

from marshmallow.fields import Boolean, Integer, List, String

from api.schemas.answers import (
    Amount,
    Answer,
    EntryAnswer,
    Figure,
    Grams,
    by_name,
    notices,
    paged,
    texts,
)
from api.schemas.answers_counter import ItemAnswer
from api.schemas.fields import Moment, Object, Word
from api.schemas.items import BarCount, WishesSchema
from settle.reckoning.coverage import ACCOUNT, ASSAY, ITEMS
from settle.reckoning.statement import WHOSE
from settle.reckoning.terms import DRILLINGS, KEPT


class SaidAnswer(Answer):
    """Who said yes, and how."""

    who = String()
    how = String()


class WordsAnswer(Answer):
    """What was said when a lot was taken in: gone once it was erased."""

    may_lack = ("acceptance", "declaration", "carrier")

    acceptance = Object(SaidAnswer)
    declaration = String()
    carrier = String()


class GapAnswer(Answer):
    """How far the parties' assays lie apart (‰), in metal, and in money if there was a price; beside it
    what an umpire costs."""

    difference = Figure()
    weight = Grams()
    worth = Amount(allow_none=True)
    price_entry = String(allow_none=True)
    umpire_fee = Amount()


class AssayStateAnswer(Answer):
    """What each party found of a metal, how the exchange stands, what is agreed."""

    by = by_name(Figure())
    state = String()
    agreed = Figure(allow_none=True)
    gap = Object(GapAnswer, allow_none=True)
    fees = by_name(Amount(), allow_none=True)


class CoveredLineAnswer(Answer):
    """Bars asked for, poured so far, and covered in each case, without a top-up."""

    nominal = Grams(allow_none=True)
    fineness = Figure()
    count = BarCount()
    top_up = Boolean()
    poured = Integer()
    covered = by_name(Integer())


class BarsCoveredAnswer(Answer):
    """What a lot covers of the bars asked for of a metal, and what is left after them. It rests on the
    `items`, the `assay` or, once the metal is closed, its `account`."""

    rests_on = Word((ITEMS, ASSAY, ACCOUNT))
    accountable = by_name(Grams())
    lines = List(Object(CoveredLineAnswer))
    left = by_name(Grams())


class DrillingsAnswer(Answer):
    """Drillings taken for assay: whose, what becomes of them, whether they are still to be handed back."""

    weight = Grams()
    whose = Word(WHOSE)
    become = Word((*DRILLINGS, KEPT))
    owed = Boolean()


class DifferenceAnswer(Answer):
    """An item that weighs otherwise than quoted."""

    item = String()
    text = String()


class LotAnswer(Answer):
    """A lot as it stands, with every entry about it, corrected ones too."""

    may_lack = ("notices", "entry", "consents_to_share", "refine_alone")

    number = String()
    client = String(allow_none=True)
    quote = String(allow_none=True)
    terms = String()
    state = String()
    received_at = Moment()
    hold_until = Moment(allow_none=True)
    accepted = Boolean()
    words = Object(WordsAnswer, allow_none=True)
    frozen = Boolean()
    batch = String(allow_none=True)
    settlement = String(allow_none=True)
    settled_metals = texts()
    items = List(Object(ItemAnswer))
    instructions = by_name(Object(WishesSchema))
    bars_covered = by_name(Object(BarsCoveredAnswer))
    drillings = Object(DrillingsAnswer, allow_none=True)
    assays = by_name(Object(AssayStateAnswer))
    differs_from_quote = List(Object(DifferenceAnswer))
    entries = List(Object(EntryAnswer))
    notices = notices()
    entry = String()
    consents_to_share = Boolean()
    refine_alone = Boolean()


class LotRowAnswer(Answer):
    """A lot in a list."""

    number = String()
    client = String(allow_none=True)
    quote = String(allow_none=True)
    terms = String()
    state = String()
    received_at = Moment()
    batch = String(allow_none=True)


LotsAnswer = paged(LotRowAnswer)
