"""What a website's key is answered of an estimate: what is named here, and nothing else.

Such a key lies open in a page. A member that an estimate gains is not shown to it until it is named here.
"""

from collections.abc import Mapping
from typing import Any

import marshmallow
from marshmallow.fields import Dict, Field, List

from api.schemas.answers import Answer, NoticeAnswer, TaxLineAnswer, by_name
from api.schemas.answers_counter import (
    BarsAlikeAnswer,
    BindsAnswer,
    CaseAnswer,
    CasesAnswer,
    ChargeLineAnswer,
    ChargePartAnswer,
    ClientGetsAnswer,
    EstimateAnswer,
    ItemAnswer,
    MetalAccountAnswer,
    NotValuedAnswer,
    OutrightOfferAnswer,
    PlannedBarAnswer,
    RangeAnswer,
)
from api.schemas.fields import Object


def _seen(of: type[Answer], *members: str, **inner: Field[Any]) -> type[Answer]:
    """Of an answer these members alone; `inner` are those of which, in their turn, not all is seen."""
    meta = type("Meta", (Answer.Meta,), {"fields": members})
    told = f"{of.__doc__} As a key with `estimate` alone sees it."
    return type(f"Website{of.__name__}", (of,), {"__doc__": told, "Meta": meta, **inner})


_ITEM = _seen(
    ItemAnswer,
    *("description", "stamped", "evidence", "count", "gross", "net", "filled_part", "on_assay_only"),
)
_BAR = _seen(PlannedBarAnswer, "line", "nominal", "fineness", "fine")
_METAL = _seen(
    MetalAccountAnswer,
    *("fine", "recovered", "accountable", "bars", "bars_total", "remainder", "sold", "shot"),
    *("metal_account", "top_up", "excess_gift", "payout", "top_up_cost"),
    bars=List(Object(_BAR)),
)
_PART = _seen(ChargePartAnswer, "quantity", "rate")
_CHARGE = _seen(
    ChargeLineAnswer,
    *("name", "base", "metal", "quantity", "per", "rate", "minimum_applied", "tier", "amount", "tax"),
    "parts",
    parts=List(Object(_PART)),
)
_TAX = _seen(TaxLineAnswer, "code", "class_", "rate", "base", "amount")
_ALIKE = _seen(BarsAlikeAnswer, "metal", "nominal", "fineness", "count", "fine")
_GETS = _seen(
    ClientGetsAnswer,
    *("bars", "shot", "metal_account", "drillings", "money", "worth"),
    bars=List(Object(_ALIKE)),
)
_CASE = _seen(
    CaseAnswer,
    *("metals", "charges", "taxes", "payouts_total", "top_ups_total", "charges_total", "tax_total"),
    *("advances_total", "fees_total", "waived", "net", "client_gets"),
    client_gets=Object(_GETS),
    metals=by_name(Object(_METAL)),
    charges=List(Object(_CHARGE)),
    taxes=List(Object(_TAX)),
)
_CASES = _seen(
    CasesAnswer,
    *("low", "likely", "high"),
    **{name: Object(_CASE) for name in ("low", "likely", "high")},
)
_RANGE = _seen(RangeAnswer, "least", "likely", "greatest")
WebsiteEstimateAnswer = _seen(
    EstimateAnswer,
    *("terms", "currency", "prices", "items", "not_accounted_for", "parting_silver_needed", "cases"),
    *("net_range", "worth_range", "worth_refining", "outright_offer", "not_valued", "bars_covered", "binds"),
    "notices",
    items=List(Object(_ITEM)),
    cases=Object(_CASES),
    net_range=Object(_RANGE, allow_none=True),
    worth_range=Object(_RANGE, allow_none=True),
    outright_offer=Object(_seen(OutrightOfferAnswer, "terms", "net"), allow_none=True),
    not_valued=List(Object(_seen(NotValuedAnswer, "item", "metal", "reason"))),
    binds=Object(_seen(BindsAnswer, "binds", "does_not_bind", "price_time", "void_if_moved")),
    notices=List(Object(_seen(NoticeAnswer, "code", "text", "source"))),
)
_ESTIMATE = WebsiteEstimateAnswer()


def for_website(estimate: Mapping[str, Any]) -> dict[str, Any]:
    """Of an estimate what a website's key may see."""
    return _only(_ESTIMATE, estimate)


def _only(schema: marshmallow.Schema, told: Mapping[str, Any]) -> dict[str, Any]:
    known = {field.data_key or name: field for name, field in schema.fields.items()}
    return {name: _of(known[name], value) for name, value in told.items() if name in known}


def _of(field: Field[Any], value: Any) -> Any:
    if value is None:
        return None
    if isinstance(field, Object):
        return _only(field.schema, value)
    if isinstance(field, Dict) and field.value_field is not None:
        return {name: _of(field.value_field, inner) for name, inner in value.items()}
    return [_of(field.inner, inner) for inner in value] if isinstance(field, List) else value
