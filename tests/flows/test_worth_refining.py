"""C4 at the till: what isn't worth refining is said, with what the house would pay outright."""

from typing import Any

import pytest
from desk import Desk, grams, money
from stages import CLIENT, gold_only, scrap

HANDLING = {"name": "handling", "base": "lot", "rate": "200.00"}
LOT_OF_6_G = scrap("6")
COUNTER = {"gold": {"settle_on": "counter", "accountable": "0.98", "payout_rate": "0.9"}}


def to_buy(desk: Desk, name: str = "over the counter", **changes: Any) -> str:
    return str(desk.terms(gold_only(name=name, metals=COUNTER, public=True, **changes))["number"])


@pytest.fixture
def dear(shop: Desk) -> Desk:
    """Refining costs 200.00 a lot; gold is at 60.00."""
    shop.terms(gold_only(name="refining", charges=[HANDLING], public=True))
    shop.prices(gold="60.00")
    return shop


def estimate(desk: Desk, *items: Any, **more: Any) -> Any:
    return desk.estimate({"terms": "T-2", "items": list(items or [LOT_OF_6_G]), **more})


def test_what_the_house_would_pay_outright_is_what_it_pays(dear: Desk) -> None:
    number = to_buy(dear)
    told = estimate(dear)
    assert (told["worth_refining"], told["worth_range"]["likely"]) == (False, money("-20.00"))
    assert told.notices[0] == "charges-above-value"
    # The low case: 3 g less 2u, u 0.5 × 0.01 ÷ √12, are 2.997 g; 98 % of them, at 60.00 × 0.9.
    assert told["outright_offer"] == {"terms": number, "net": money("158.60")}
    bought = dear.buy({"client": CLIENT, "terms": number, "items": [LOT_OF_6_G], "paid_in": "transfer"})
    assert bought["net"] == money("158.60")


def test_what_is_worth_refining_has_no_offer(dear: Desk) -> None:
    to_buy(dear)
    told = estimate(dear, scrap("60"))
    assert (told["worth_refining"], told["outright_offer"]) == (True, None)


def test_terms_of_another_currency_or_that_were_withdrawn_or_none_make_no_offer(dear: Desk) -> None:
    assert estimate(dear)["outright_offer"] is None
    dear.post("/v1/prices", {"prices": {"gold": {"amount": "66.00", "currency": "EUR", "per": "g"}}})
    to_buy(dear, "in euro", currency="EUR")
    assert estimate(dear)["outright_offer"] is None
    first = to_buy(dear)
    assert estimate(dear)["outright_offer"]["terms"] == first
    dear.terms(gold_only(name="over the counter", metals=COUNTER, public=False))
    assert estimate(dear)["outright_offer"] is None


def test_the_newest_of_several_makes_it_and_a_quote_keeps_its_own(dear: Desk) -> None:
    to_buy(dear, "one")
    newest = to_buy(dear, "another")
    quote = dear.quote({"client": CLIENT, "terms": "T-2", "items": [LOT_OF_6_G]})
    assert quote["outright_offer"]["terms"] == newest
    to_buy(dear, "a third")
    assert dear.get(f"/v1/quotes/{quote['number']}")["outright_offer"]["terms"] == newest


def test_a_metal_that_the_terms_never_pay_for_waits_for_no_assay(dear: Desk) -> None:
    ring = {"evidence": "sure", "composition": {"platinum": "950"}, "gross": grams("8")}
    told = estimate(dear, ring)
    assert (told["net_range"], told["worth_range"], told["worth_refining"]) == (None, None, None)
    assert told["notices"][0]["text"].startswith("Under these terms nothing is paid for platinum.")
    assert told["not_valued"] == [{"item": None, "metal": "platinum", "reason": "not_accounted_for"}]
