"""Estimates: an answer that binds nobody and is not kept; also what quotes and purchases rest on."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from settle.books import prices, scales
from settle.books import terms as terms_of_business
from settle.books.work import Work
from settle.reckoning import document, notices, purchase
from settle.reckoning.item import Scale
from settle.reckoning.money import printed_money
from settle.reckoning.notices import Notice
from settle.reckoning.problems import Fault, Faults, Refused
from settle.reckoning.quote import Quoted, Request, read_request, reckon
from settle.reckoning.reading import Json, Reader
from settle.reckoning.terms import Terms
from settle.reckoning.working import Working


def answer(work: Work, body: Json, faults: Faults, *, public_only: bool, working: bool) -> dict[str, Any]:
    """Answer an estimate; `public_only`: under public terms at the prices in force, without working."""
    if public_only and "prices" in body:
        raise Refused(Fault("forbidden", "/prices", "only the prices in force", "leave it out"))
    r = Reader(body, faults)
    terms = terms_of_business.chosen_for(work, r, None, faults, public_only=public_only)
    # Which scales the house has is nothing for a page.
    request, weighed_on = read(work, body, terms, faults, {} if public_only else None)
    faults.refuse_if_any()
    rows = Working(kept=working and not public_only)
    quoted = reckon(request, rows)
    told = [*all_notices(quoted, weighed_on, work.now), *_old_prices(work, request)]
    offer = outright_offer(work, body, quoted, terms_of_business.to_buy_under(work, terms.currency))
    return document.estimate(quoted, told, rows) | {"outright_offer": offer}


def outright_offer(work: Work, asked: Json, quoted: Quoted, buying: str | None) -> dict[str, Any] | None:
    """What the house would pay outright, at the same prices, for what isn't worth refining (C4); none where
    it has no terms to buy such items under."""
    if quoted.worth_refining is not False or buying is None:
        return None
    terms, faults = terms_of_business.find(work, buying), Faults()
    of = {"items": asked["items"]}
    request = read_request(of, terms, quoted.request.prices, scales.known(work), faults)
    if not faults.found:
        purchase.check(request, faults)
    if faults.found:
        return None
    _, final = purchase.buy(request)
    net = printed_money(final.net_minor, terms.currency)
    return {"terms": buying, "net": net} if final.net_minor > 0 else None


def read(
    work: Work, body: Json, terms: Terms, faults: Faults, known: Mapping[str, Scale] | None = None
) -> tuple[Request, list[Scale | None]]:
    """The request, with prices in force where none are given, and the scale of each item: of those that
    are `known`, else of all that the house has."""
    known = scales.known(work) if known is None else known
    request = read_request(body, terms, prices.serving(work, terms), known, faults)
    return request, scales_of(body, known)


def scales_of(body: Json, known: Mapping[str, Scale]) -> list[Scale | None]:
    raw = body.get("items")
    items = raw if isinstance(raw, list) else []
    return [known.get(str(item.get("scale"))) if isinstance(item, Mapping) else None for item in items]


def all_notices(quoted: Quoted, weighed_on: Sequence[Scale | None], at: datetime) -> list[Notice]:
    """Notices of what is quoted, and of the scales it was weighed on as they stood at a moment."""
    return [
        *notices.of_quote(quoted),
        *notices.of_load(quoted.request.items, weighed_on),
        *notices.of_verification(weighed_on, at.date()),
    ]


def _old_prices(work: Work, request: Request) -> list[Notice]:
    in_force = prices.in_force(work, request.terms.currency)
    return [
        notices.old_price(metal, in_force[metal][1].isoformat(timespec="minutes"))
        for metal, price in request.prices.items()
        if price.entry and prices.is_old(work, request.terms, in_force[metal][1])
    ]
