"""Quotes in time: accepted or withdrawn once, while they hold, for what was shown, at the price they bind."""

from typing import Any

import pytest
from stages import CLIENT, QUOTE, asked, gold_only, scrap
from till import Till

BY_QUOTE = gold_only(price_time="quote", void_if_moved="0.02", quote_valid_for="PT24H")


def the_quote(till: Till, number: str = QUOTE) -> Any:
    return till.get(f"/v1/quotes/{number}")


@pytest.mark.parametrize(
    ("first", "second", "kind"),
    [
        ("accept", "accept", "wrong-state"),
        ("accept", "withdraw", "wrong-state"),
        ("withdraw", "accept", "wrong-state"),
        ("withdraw", "withdraw", "wrong-state"),
    ],
)
def test_a_quote_is_accepted_or_withdrawn_once(at: Any, first: str, second: str, kind: str) -> None:
    till = at("quoted")
    getattr(till, first)(the_quote(till))
    refusal = getattr(till.refused, second)(the_quote(till))
    assert refusal.said == (409, kind, "")
    assert "issued" in refusal.body["detail"]


@pytest.mark.parametrize(
    ("minutes", "verb", "status"),
    [(24 * 60 - 1, "accept", 201), (24 * 60, "accept", 409), (24 * 60, "withdraw", 409)],
)
def test_a_quote_holds_until_valid_until_and_not_at_it(
    at: Any, clock: Any, minutes: int, verb: str, status: int
) -> None:
    till = at("quoted")
    clock.move(minutes=minutes)
    if status == 201:
        assert getattr(till, verb)(the_quote(till)).status == status
    else:
        assert getattr(till.refused, verb)(the_quote(till)).said == (409, "quote-expired", "")
        assert the_quote(till)["state"] == "expired"


@pytest.mark.parametrize("hash_", ["0" * 64, "", "hash"])
def test_the_positive_word_is_for_what_was_shown(at: Any, hash_: str) -> None:
    till = at("quoted")
    refusal = till.refused.accept(the_quote(till), hash=hash_)
    assert (refusal.status, refusal.faults) == (422, {"/hash": "contradiction"})
    # What would be right is said, not given: a positive word is for what one has before oneself.
    assert the_quote(till)["hash"] not in refusal.rights["/hash"]


@pytest.mark.parametrize(
    ("price", "is_held"),
    [
        ("61.20", True),
        ("62.424", True),  # 61.20 × 1.02 exactly
        ("62.425", False),
        ("59.976", True),  # 61.20 × 0.98 exactly
        ("59.975", False),
    ],
)
def test_a_bound_price_that_moved_more_than_the_terms_allow_voids_the_quote(
    shop: Till, price: str, is_held: bool
) -> None:
    shop.terms(BY_QUOTE)
    quote = shop.quote({"terms": "T-2", "client": CLIENT, "items": [scrap()]})
    shop.prices(gold=price)
    if is_held:
        assert shop.accept(quote)["state"] == "accepted"
    else:
        refusal = shop.refused.accept(quote)
        assert refusal.said == (409, "price-moved", "")
        assert "a new quote" in refusal.body["detail"]


def test_a_quote_that_binds_no_price_is_accepted_whatever_the_price_does(shop: Till) -> None:
    shop.terms(gold_only(price_time="settlement", void_if_moved="0.02"))
    quote = shop.quote({"terms": "T-2", "client": CLIENT, "items": [scrap()]})
    shop.prices(gold="99")
    assert shop.accept(quote)["state"] == "accepted"


@pytest.mark.parametrize(("seconds", "is_old"), [(3600, False), (3601, True)])
def test_a_price_older_than_the_terms_allow_serves_no_quote(
    shop: Till, clock: Any, seconds: int, is_old: bool
) -> None:
    clock.move(seconds=seconds)
    if is_old:
        refusal = shop.refused.quote(asked())
        assert (refusal.status, refusal.kind) == (409, "price-too-old")
        assert set(refusal.faults) == {"/prices/gold", "/prices/silver"}
        assert "price-old" in shop.estimate(asked()).notices
    else:
        assert shop.quote(asked()).status == 201
        assert "price-old" not in shop.estimate(asked()).notices
