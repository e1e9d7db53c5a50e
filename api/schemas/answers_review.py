"""Answers of the evidence review: what the shop's own history says of its terms."""

from marshmallow.fields import Integer, List, String

from api.schemas.answers import (
    Answer,
    Figure,
    by_name,
    texts,
)
from api.schemas.answers_bench import DriftAnswer
from api.schemas.answers_counter import ComparedQuoteAnswer
from api.schemas.fields import Object
from api.schemas.terms import TermsSchema


class WorthAnswer(Answer):
    """Bias, scatter and shared part of an evidence, ‰; with its uncertainty where it was found."""

    may_lack = ("u",)

    bias = Figure()
    scatter = Figure()
    shared = Figure()
    u = Figure()


class JudgedAnswer(Answer):
    """What history says of a kind of evidence, or of one mark of it: in `lots` so many `articles`, in
    `lots_of_several` more than one; in `held` the assay lay inside the band. A mark's `present` is what
    its kind is reckoned at with the proposal; terms know kinds, so a mark's own `proposed` is not in it."""

    may_lack = ("method", "mark")

    kind = String()
    method = String()
    mark = String()
    lots = Integer()
    articles = Integer()
    lots_of_several = Integer()
    held = Integer()
    present = Object(WorthAnswer)
    found = Object(WorthAnswer, allow_none=True)
    proposed = Object(WorthAnswer, allow_none=True)
    says = texts()


class RecoveryPartsAnswer(Answer):
    """A recovery and its uncertainty."""

    may_lack = ("u",)

    recovery = Figure()
    recovery_u = Figure()
    u = Figure()


class JudgedRecoveryAnswer(Answer):
    """What history says of a metal's recovery."""

    metal = String()
    accounts = Integer()
    present = Object(RecoveryPartsAnswer)
    found = Object(RecoveryPartsAnswer, allow_none=True)
    proposed = Object(RecoveryPartsAnswer, allow_none=True)
    drift = Object(DriftAnswer)
    says = texts()


class LeftOutAnswer(Answer):
    """A metal of a lot that the review doesn't count, and why."""

    lot = String()
    metal = String()
    why = String()


class FarOffAnswer(Answer):
    """A metal of a lot that lies far off (σ)."""

    lot = String()
    metal = String()
    z = Figure()


class InsideBandAnswer(Answer):
    """How many settled lots lay inside their band."""

    lots = Integer()
    inside = Integer()


class ReviewAnswer(Answer):
    """What past lots and their assays say of the terms. `proposed_terms` can be posted as they stand; null
    where nothing is proposed. `last_quotes` are of terms of the same name. `says` warns of a proposal that
    would count the same lots again."""

    terms = String()
    name = String()
    lots = Integer()
    most_lots = Integer()
    method = String()
    says = texts()
    evidence = List(Object(JudgedAnswer))
    marks = List(Object(JudgedAnswer))
    recoveries = List(Object(JudgedRecoveryAnswer))
    recovered_inside_band = by_name(Object(InsideBandAnswer))
    left_out = List(Object(LeftOutAnswer))
    far_off = List(Object(FarOffAnswer))
    proposed_terms = Object(TermsSchema, allow_none=True)
    last_quotes = List(Object(ComparedQuoteAnswer))
