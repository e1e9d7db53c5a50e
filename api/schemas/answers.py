"""What answers are made of: closed objects, figures as strings, the shapes that many of them share."""

from typing import Any, ClassVar

from marshmallow.fields import Dict, Field, List, Raw, String

from api.schemas.base import Schema
from api.schemas.fields import DecimalString, Moment, Object
from settle.reckoning.weight import GRAMS_PER


class Answer(Schema):
    """An answer's object: closed, and every member is there but those that `may_lack` names."""

    may_lack: ClassVar[tuple[str, ...]] = ()

    def on_bind_field(self, field_name: str, field_obj: Field[Any]) -> None:
        field_obj.required = field_name not in self.may_lack


class Figure(DecimalString):
    """A decimal string that may lie below zero; exact ones have as many places as it takes (A7)."""

    about = "a decimal string of as many places as it takes, which may lie below zero"

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(signed=True, metadata={"pattern": r"^-?(0|[1-9][0-9]*)(\.[0-9]+)?$"}, **kwargs)


class GramsAnswer(Answer):
    """A metal weight: grams decide, the terms' unit stands beside them when that is another."""

    may_lack = tuple(unit for unit in GRAMS_PER if unit != "g")

    g = Figure()
    mg = Figure()
    kg = Figure()
    ozt = Figure()
    dwt = Figure()
    tola = Figure()
    grain = Figure()
    ct = Figure()
    oz_av = Figure()
    lb_av = Figure()


class MoneyAnswer(Answer):
    """An amount of money; what the client owes lies below zero."""

    amount = Figure()
    currency = String()


class PriceAnswer(Answer):
    """A price, and the entry that it comes from if it was not brought along."""

    may_lack = ("entry",)

    amount = Figure()
    currency = String()
    per = String()
    entry = String()


class Grams(Object):
    """A metal weight as answers have it."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(GramsAnswer, **kwargs)


class Amount(Object):
    """Money as answers have it."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(MoneyAnswer, **kwargs)


_HELD = [{"$ref": f"#/components/schemas/{name}"} for name in ("GramsAnswer", "MoneyAnswer")]


def held() -> Raw:
    """Grams or money, by the commodity."""
    return Raw(metadata={"anyOf": _HELD})


def any_figure() -> Raw:
    """Grams, money or a fineness, by what the figure is; null where there was none."""
    return Raw(allow_none=True, metadata={"anyOf": [*_HELD, {"type": ["string", "null"]}]})


def by_name(inner: Field[Any], **kwargs: Any) -> Dict:
    """An object whose members are named by what there is: metals, lots, currencies."""
    return Dict(keys=String(), values=inner, **kwargs)


def texts() -> List:
    return List(String())


class NoticeAnswer(Answer):
    """What the reader must be told, and whose rule it is."""

    code = String()
    text = String()
    source = String()


class RowAnswer(Answer):
    """One row of working: enough to redo a figure by hand. Exact values that don't end are fractions."""

    may_lack = ("case", "rounded")

    case = String()
    what = String()
    rule = String()
    formula = String()
    inputs = by_name(String())
    exact = String()
    rounded = String()


def notices() -> List:
    return List(Object(NoticeAnswer))


def working() -> List:
    return List(Object(RowAnswer))


class ReversalAnswer(Answer):
    """That something was reversed, why, by whom; with a credit note where there was tax."""

    id = String()
    credit_note = String(allow_none=True)
    reason = String()
    made_at = Moment()
    person = String(allow_none=True)


class EntryAnswer(Answer):
    """One entry: `data` is what was entered, in the shape of the call that entered it."""

    id = String()
    kind = String()
    data = Dict()
    corrects = String(allow_none=True)
    reason = String(allow_none=True)
    made_at = Moment()


class TaxLineAnswer(Answer):
    """Tax of one code: on how much, how much. Of a further settlement `amount` is the whole lot's less what
    was charged before."""

    may_lack = ("of_lot", "charged_before")

    code = String()
    class_ = String(data_key="class")
    rate = Figure()
    base = Amount()
    of_lot = Amount()
    charged_before = Amount()
    amount = Amount()


def paged(row: type[Answer], *, name: str = "") -> type[Answer]:
    """A page of a list."""
    items = {"items": List(Object(row)), "__doc__": f"A page of a list: {_told(row)}"}
    return type(name or row.__name__.removesuffix("Answer") + "PageAnswer", (Answer,), items)


def _told(row: type[Answer]) -> str:
    return (row.__doc__ or "").partition("\n")[0]
