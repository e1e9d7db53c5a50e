"""API6:2023 Unrestricted Access to Sensitive Business Flows (OWASP API Security Top 10, 2023 edition).

What can be done too often here: a page's estimates, until the house's margins are mapped; quotes that hold
a price, as free options on it; one word, one lot, one bar, one sum taken twice. Estimates have a share an
address and a key; a quote ends; and whatever was done once can't be done again by asking in another way.
"""

from datetime import datetime, timedelta
from typing import Any

import pytest
from staged import House, house_at
from stages import BARS, CLIENT, QUOTE, SETTLEMENT, asked

from api.app import create_app
from api.http.access import keep_books
from api.settings import Limits, Settings

WORD = {"who": "Ann Other", "how": "in_person"}


@pytest.fixture
def limited(opened: House) -> House:
    """The house as it is served, with the limits that it has where nobody sets any."""
    found = Settings(str(opened.books.engine.url), limits=Limits())
    return opened.with_app(create_app(found, opened.clock, opened.books))


def estimates(house: House, scope: str, peer: str, times: int) -> list[int]:
    keep_books(house.till.app, house.books)
    headers = {"Authorization": f"Bearer {house.keys[scope]}"}
    ask = house.till.app.test_client().post
    where: dict[str, Any] = {"headers": headers, "environ_base": {"REMOTE_ADDR": peer}}
    return [ask("/v1/estimates", json={"items": []}, **where).status_code for _ in range(times)]


def test_by_default_a_visitor_of_a_page_has_thirty_estimates_a_minute(limited: House) -> None:
    """Wrong ones count as well: who looks for a border by trying is stopped as soon as who reads prices."""
    assert estimates(limited, "estimate", "192.0.2.1", 32) == [422] * 30 + [429] * 2
    assert estimates(limited, "estimate", "192.0.2.2", 1) == [422]
    assert estimates(limited, "quote", "192.0.2.1", 1) == [422]


def test_by_default_all_visitors_of_a_page_have_three_hundred_together(limited: House) -> None:
    told = [status for n in range(11) for status in estimates(limited, "estimate", f"192.0.2.{n}", 28)]
    assert told == [422] * 300 + [429] * 8


@pytest.mark.parametrize("query", ["", "?dry_run=true"])
def test_a_page_holds_no_price(limited: House, query: str) -> None:
    """A quote is a free option on the price until it ends: a page's visitors get estimates, which bind nobody."""
    for path in ("/v1/quotes", "/v1/purchases", "/v1/clients", "/v1/lots"):
        assert limited.as_("estimate").ask("POST", path + query, asked(client=CLIENT)).status_code == 403
    assert "valid_until" not in limited.as_("estimate").estimate(asked())


def accept(house: House, quote: Any, seen: str | None = None, **word: str) -> Any:
    return house.till.refused.post(
        f"/v1/quotes/{quote['number']}/acceptance",
        {**WORD, "hash": quote["hash"], **word},
        seen or quote.etag,
    )


@pytest.fixture
def quote(opened: House) -> Any:
    opened.till.quote(asked(client=CLIENT))
    return opened.till.get(f"/v1/quotes/{QUOTE}")


def test_a_word_is_given_once(opened: House, quote: Any) -> None:
    opened.till.accept(quote)
    again = opened.till.get(f"/v1/quotes/{QUOTE}")
    assert accept(opened, quote).kind == "changed-since-seen"
    assert accept(opened, again).said[:2] == (409, "wrong-state")
    assert opened.till.refused.withdraw(again).status == 409


def test_a_word_is_given_to_what_was_shown(opened: House, quote: Any) -> None:
    other = opened.till.quote({**asked(client=CLIENT), "items": asked()["items"][:1]})
    assert accept(opened, quote, hash=other["hash"]).status in (409, 412, 422)
    assert accept(opened, quote, hash="0" * 64).status in (409, 412, 422)
    assert accept(opened, quote, seen='"99"').kind == "changed-since-seen"
    assert accept(opened, quote, seen="*").kind == "precondition-required"


def test_a_word_is_given_in_time(opened: House, quote: Any) -> None:
    opened.clock.now = datetime.fromisoformat(quote["valid_until"]) - timedelta(milliseconds=1)
    assert opened.till.get(f"/v1/quotes/{QUOTE}")["state"] == "issued"
    opened.clock.move(milliseconds=1)
    assert accept(opened, quote).said[:2] == (409, "quote-expired")


def test_what_was_withdrawn_or_revised_is_not_accepted(opened: House, quote: Any) -> None:
    revised = opened.till.post(f"/v1/quotes/{QUOTE}/revisions", {"items": asked()["items"][:1]}, quote.etag)
    assert accept(opened, opened.till.get(f"/v1/quotes/{QUOTE}")).kind == "wrong-state"
    opened.till.withdraw(revised)
    assert accept(opened, opened.till.get(f"/v1/quotes/{revised['number']}")).kind == "wrong-state"


def test_a_quote_brings_in_one_lot(opened: House, quote: Any) -> None:
    assert opened.till.refused.receive(quote=QUOTE).status == 409
    opened.till.accept(quote)
    opened.till.receive(quote=QUOTE)
    assert opened.till.refused.receive(quote=QUOTE).said[:2] == (409, "wrong-state")


def test_a_concession_is_not_the_tills(opened: House, quote: Any) -> None:
    said = {"replaces": "payout_rate", "metal": "gold", "rate": "1", "reason": "asked", "who": "Dee"}
    path = f"/v1/quotes/{QUOTE}/concessions"
    assert opened.as_("quote").refused.post(path, said, quote.etag).status == 403


def test_a_settlement_is_posted_once_and_paid_once(house: House) -> None:
    draft = house.till.get(f"/v1/settlements/{SETTLEMENT}")
    refusal = house.till.refused.post(f"/v1/settlements/{SETTLEMENT}/posting", None, draft.etag)
    assert refusal.said[:2] == (409, "wrong-state")
    paid = {"amount": draft["open"], "paid_in": "transfer"}
    house.till.post(f"/v1/settlements/{SETTLEMENT}/payments", paid)
    assert house.till.refused.post(f"/v1/settlements/{SETTLEMENT}/payments", paid).status == 409


def test_a_bar_is_handed_over_once(house: House) -> None:
    reading = {"amount": house.till.get(f"/v1/bars/{BARS[0]}")["reading"]["g"], "unit": "g"}
    taken = {"who": "Ann Other", "reading": reading, "scale": "counter"}
    house.till.post(f"/v1/bars/{BARS[0]}/handover", taken)
    assert house.till.refused.post(f"/v1/bars/{BARS[0]}/handover", taken).said[:2] == (409, "wrong-state")


@pytest.mark.parametrize(
    ("stage", "method", "path"),
    [
        ("drafted", "POST", "/v1/settlements/SD-1/posting"),
        ("settled", "POST", f"/v1/settlements/{SETTLEMENT}/payments"),
        ("received", "POST", "/v1/lots/L-2026-0001/advances"),
        ("opened", "POST", "/v1/purchases"),
        ("in batch", "POST", "/v1/batches/B-2026-0001/silver-loans"),
    ],
)
def test_money_and_metal_move_only_under_an_idempotency_key(
    tmp_path: Any, stage: str, method: str, path: str
) -> None:
    """So that a network that repeats, or a finger that presses twice, moves nothing twice."""
    with house_at(stage, tmp_path) as house:
        refusal = house.till.refused.sent(method, path, {}, Idempotency_Key=None, If_Match='"1"')
        assert (refusal.status, refusal.kind) == (400, "idempotency-key-missing")
