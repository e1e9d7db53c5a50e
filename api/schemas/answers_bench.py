"""Answers at the bench: batches, silver recoveries, bars, accounts of metal, papers."""

from marshmallow.fields import Integer, List, String

from api.schemas.answers import (
    Amount,
    Answer,
    EntryAnswer,
    Figure,
    Grams,
    ReversalAnswer,
    by_name,
    notices,
    paged,
    texts,
    working,
)
from api.schemas.answers_lots import BarsCoveredAnswer
from api.schemas.base import Weight
from api.schemas.fields import Moment, Object


class HeldAnswer(Answer):
    """Metal known to stay behind, at its estimate."""

    may_lack = ("fineness", "u", "where", "note", "division", "scale", "corrects", "reason")

    id = String()
    metal = String()
    estimate = Weight()
    fineness = Figure()
    u = Weight()
    where = String()
    note = String()
    division = Weight()
    scale = String()
    corrects = String()
    reason = String()


class BatchAnswer(Answer):
    """A batch as it stands; of each metal whether it is open, came out, or is closed."""

    may_lack = ("entry",)

    number = String()
    lots = texts()
    terms = String()
    silver_recovery = String(allow_none=True)
    metals = by_name(String())
    parting_silver_needed = Grams()
    bars_covered = by_name(by_name(Object(BarsCoveredAnswer)))
    lent = by_name(Grams())
    held = List(Object(HeldAnswer))
    reconciliations = by_name(String())
    entries = List(Object(EntryAnswer))
    notices = notices()
    made_at = Moment()
    entry = String()


class BatchRowAnswer(Answer):
    """A batch in a list."""

    number = String()
    lots = texts()
    silver_recovery = String(allow_none=True)
    metals = by_name(String())
    made_at = Moment()


class RecoveryAnswer(Answer):
    """A silver recovery as it stands."""

    may_lack = ("entry",)

    number = String()
    batches = texts()
    state = String()
    lent = Grams()
    own = by_name(Grams())
    out = Grams()
    held = List(Object(HeldAnswer))
    reconciliation = String(allow_none=True)
    entries = List(Object(EntryAnswer))
    notices = notices()
    made_at = Moment()
    entry = String()


class RecoveryRowAnswer(Answer):
    """A silver recovery in a list."""

    number = String()
    batches = texts()
    state = String()
    made_at = Moment()


class BarAnswer(Answer):
    """A bar: what it states, for whom, from which batch."""

    may_lack = ("notices", "handover", "reversal", "mark", "cost", "paid_in")

    serial = String()
    metal = String()
    lot = String(allow_none=True)
    batch = String(allow_none=True)
    line = Integer()
    client = String(allow_none=True)
    belongs_to = String(allow_none=True)
    state = String()
    entry = String()
    reading = Grams()
    stated_weight = Grams()
    stated_fineness = Figure()
    stated_fine = Grams()
    cost = Amount()
    paid_in = String()
    made_at = Moment()
    notices = notices()
    handover = String()
    reversal = Object(ReversalAnswer, allow_none=True)
    mark = String(allow_none=True)


class DriftAlarmAnswer(Answer):
    """A residual that leans one way: since when, noticed at which batch, by how much (σ)."""

    way = String()
    began_at = String()
    alarm_at = String()
    sum = Figure()
    text = String()


class DriftAnswer(Answer):
    """The sums that watch over the residuals of a metal (H5), and what they found."""

    missing = Figure()
    over = Figure()
    drifts = List(Object(DriftAlarmAnswer))


class MetalReconciliationAnswer(Answer):
    """The account of one metal: in, out, held, expected loss, residual, who is credited.

    In is what the lots brought and what was lent; expected loss is in × (1 − `recovery`) and residual what
    is left of in less that, out and held: both with all their places. `balance` is the fraction of in
    within which a residual is tolerated, where the terms name one.

    Of a metal without an outturn only `metal` and `state` are there; `id`, `hash` and
    what else belongs to the posting are there once it is posted.
    """

    may_lack = (
        *("terms", "in_", "own", "lent", "out", "held", "recovery", "expected_loss", "residual"),
        *(
            "residual_u",
            "balance",
            "verdict",
            "verdict_in_words",
            "credited",
            "house_share",
            "notices",
            "working",
        ),
        *("id", "subject", "batches", "posted_at", "owners_word", "hash"),
    )

    metal = String()
    state = String()
    terms = String()
    in_ = Grams(data_key="in")
    own = by_name(Grams())
    lent = Grams()
    out = Grams()
    held = Grams()
    recovery = Figure()
    expected_loss = Grams()
    residual = Grams()
    residual_u = Grams()
    balance = Figure(allow_none=True)
    verdict = String()
    verdict_in_words = String()
    credited = by_name(Grams())
    house_share = Grams()
    notices = notices()
    working = working()
    id = String()
    subject = String()
    batches = texts()
    posted_at = Moment()
    owners_word = String(allow_none=True)
    hash = String()


class ReconciliationAnswer(Answer):
    """The account of a batch or silver recovery, metal by metal."""

    may_lack = ("drift",)

    subject = String()
    batches = texts()
    metals = by_name(Object(MetalReconciliationAnswer))
    drift = by_name(Object(DriftAnswer))


class HouseSilverAnswer(Answer):
    """What the house's silver is."""

    fineness = Figure()
    gold = Figure()


class GoldFractionAnswer(Answer):
    """The part of gold in the melt: likely, on the high figures, and where it should lie."""

    likely = Figure()
    high = Figure()
    target = Figure()


class EquationAnswer(Answer):
    """Where a quantity comes from."""

    equation = String()
    source = String()
    seen = String()


class ChemicalAnswer(Answer):
    """How much of a chemical a metal takes, from and to."""

    chemical = String()
    metal = String()
    metal_weight = Grams()
    from_ = Grams(data_key="from")
    to = Grams()
    sources = List(Object(EquationAnswer))


class PartingPlanAnswer(Answer):
    """House silver to add, and what the bath takes, with cautions."""

    batch = String()
    lots = texts()
    bars_covered = by_name(by_name(Object(BarsCoveredAnswer)))
    silver_to_add = Grams()
    silver_to_add_fine = Grams()
    house_silver = Object(HouseSilverAnswer)
    melt_with_silver = Grams()
    gold_fraction = Object(GoldFractionAnswer)
    silver_to_gold = Figure(allow_none=True)
    quantities = List(Object(ChemicalAnswer))
    notices = notices()
    working = working()


class PourAnswer(Answer):
    """What a pour took, made and lost."""

    entry = String()
    taken = Grams()
    bars = Grams()
    trimmings = Grams()
    loss = Grams()
    allowed = Grams()
    notices = notices()


class CutAnswer(Answer):
    """Bars of one nominal weight."""

    nominal = Grams()
    count = Integer()


class PourPlanAnswer(Answer):
    """The best plan of bars for a weight in hand."""

    wish = String()
    weight = Grams()
    bars = List(Object(CutAnswer))
    bars_total = Integer()
    leaves = Grams()
    leaves_at_least = Grams()
    bars_covered = by_name(Object(BarsCoveredAnswer), allow_none=True)
    notices = notices()


BatchesAnswer = paged(BatchRowAnswer)
RecoveriesAnswer = paged(RecoveryRowAnswer)
BarsAnswer = paged(BarAnswer)
