"""Answers about papers: reports, lists of bars, certificates, records, photographs."""

from marshmallow.fields import Boolean, Dict, List, Raw, String

from api.schemas.answers import (
    Answer,
    Figure,
    Grams,
    by_name,
    notices,
    paged,
)
from api.schemas.answers_bench import BarAnswer
from api.schemas.base import Weight
from api.schemas.bench import FinenessSchema
from api.schemas.fields import Moment, Object


class AssayRowAnswer(Answer):
    """One assay of a report; `report` is that of an outside laboratory."""

    may_lack = ("report",)

    id = String()
    made_at = Moment()
    party = String()
    method = String()
    report = String()
    finenesses = by_name(Object(FinenessSchema))


class OutturnRowAnswer(Answer):
    """One outturn of a report."""

    entry = String()
    metal = String()
    weight = Grams()
    fineness = Figure()
    fine = Grams()


class CreditedAnswer(Answer):
    """What a lot held of a metal, and what it is credited."""

    own = Grams()
    credited = Grams()


class LotWeightsAnswer(Answer):
    """A lot's weights; melt and drillings once it is melted."""

    may_lack = ("melt", "drillings")

    gross = Grams()
    melt = Grams()
    drillings = Grams()


class ReportAnswer(Answer):
    """Assay and outturn of a lot."""

    lot = String()
    client = String(allow_none=True)
    batch = String(allow_none=True)
    terms = String()
    received_at = Moment()
    weights = Object(LotWeightsAnswer)
    assays = List(Object(AssayRowAnswer))
    agreed = by_name(Figure())
    outturns = List(Object(OutturnRowAnswer))
    credited = by_name(Object(CreditedAnswer))
    notices = notices()


class StatedAnswer(Answer):
    """What bars of a metal state together."""

    stated_weight = Grams()
    stated_fine = Grams()


class BarListAnswer(Answer):
    """The bars of a lot."""

    lot = String()
    client = String(allow_none=True)
    batch = String(allow_none=True)
    terms = String()
    items = List(Object(BarAnswer))
    totals = by_name(Object(StatedAnswer))


class StatementAnswer(Answer):
    """What a certificate says of a bar: the `maker`'s own statement, which rests on an assay; or, of a bar
    that was bought, what the maker of the `mark` states, repeated by the `issuer`."""

    may_lack = ("maker", "issuer", "mark", "report")

    batch = String(allow_none=True)
    date = String()
    fine = Weight()
    fineness = Figure()
    issuer = String()
    maker = String()
    mark = String()
    metal = String()
    method = String(allow_none=True)
    report = String()
    serial = String()
    u = Figure(allow_none=True)
    weight = Weight()


class CertificateAnswer(Answer):
    """A bar's certificate: what it says, signed."""

    serial = String()
    in_force = Boolean()
    says = Object(StatementAnswer)
    certificate = String()
    key = String()
    made_at = Moment()


class SigningKeyAnswer(Answer):
    """A key that certificates are signed with (RFC 7517)."""

    kty = String()
    crv = String()
    x = String()
    kid = String()
    alg = String()
    use = String()
    made_at = Moment()
    retired_at = Moment(allow_none=True)


class CertificateCheckAnswer(Answer):
    """Whether a certificate is ours, unaltered and in force."""

    ours = Boolean()
    unaltered = Boolean()
    in_force = Boolean()
    says = Object(StatementAnswer, allow_none=True)
    why = String(allow_none=True)
    key = Object(SigningKeyAnswer, allow_none=True)


class SigningKeysAnswer(Answer):
    """Every key that was ever signed with, the newest first."""

    keys = List(Object(SigningKeyAnswer))


class PhotographAnswer(Answer):
    """A photograph of what was brought."""

    id = String()
    media_type = String()
    hash = String()
    href = String()
    made_at = Moment()
    person = String(allow_none=True)


class RecordAnswer(Answer):
    """One self-contained file, to the byte: `settle recompute` reckons it again.

    `inputs` and `answer` are those of its kind: a quote, a settlement, the accounts of a batch or recovery.
    """

    record = String()
    inputs = Dict()
    about = Dict()
    answer = Dict()
    answer_hash = Raw(metadata={"type": ["string", "object"], "description": "Of accounts, one a metal"})
    signature = String(allow_none=True)
    hash = String()


PhotographsAnswer = paged(PhotographAnswer)
