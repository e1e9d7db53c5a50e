"""Advances: at most the terms' share of the least net (D4), and the settlement takes them off."""

from typing import Any

import pytest
from desk import Desk, money
from stages import CLIENT, LOT, SETTLEMENT, asked, gold_only, scrap, terms

MONEY = f"client:{CLIENT}:money"
YES = {"who": "Ann Other", "how": "in_person"}


def a_lot(desk: Desk, **changes: Any) -> None:
    """The quote of estimate A, accepted and taken in under terms of a share."""
    desk.terms(terms(name="advancing", advance_share="0.5", **changes))
    quote = desk.quote(asked(client=CLIENT, terms="T-2"))
    desk.accept(quote)
    desk.receive(quote=quote["number"])


def nothing_poured(desk: Desk) -> str:
    """The least net of the same lot with no bars and all metal sold."""
    request = asked(terms="T-2", instructions={})
    return str(desk.estimate(request)["net_range"]["least"]["amount"])


def test_at_most_the_share_of_the_least_net_with_nothing_poured_and_all_sold(shop: Desk) -> None:
    a_lot(shop)
    least = nothing_poured(shop)
    most = int(least.replace(".", "")) // 2
    text = f"{most // 100}.{most % 100:02}"
    more = f"{(most + 1) // 100}.{(most + 1) % 100:02}"
    assert shop.refused.advance(LOT, more).said == (409, "more-than-advance", "/amount")
    assert shop.advance(LOT, text)["may_be_advanced"] == money("0.00")
    assert shop.balance("house:till", "GBP") == -most
    assert shop.balance(MONEY, "GBP") == most
    assert shop.refused.advance(LOT, "0.01").rights == {"/amount": "0.00 GBP at most"}


def test_terms_without_a_share_advance_nothing(at: Any) -> None:
    assert at("received").refused.advance(LOT, "0.01").said == (409, "more-than-advance", "/amount")


def test_an_advance_wants_an_idempotency_key_and_the_scope_settle(at: Any, keys: dict[str, str]) -> None:
    desk = at("received")
    body = {"amount": money("1.00"), "paid_in": "cash"}
    path = f"/v1/lots/{LOT}/advances"
    assert desk.refused.sent("POST", path, body, Idempotency_Key=None).kind == "idempotency-key-missing"
    assert desk.with_key(keys["work"]).refused.advance(LOT, "1.00").status == 403


@pytest.fixture
def unquoted(shop: Desk) -> Desk:
    """100 g brought without a quote, under terms that settle on assay and advance half."""
    shop.terms(gold_only(advance_share="0.5"))
    wish = {
        "gold": {"bars": [{"nominal": {"amount": "20", "unit": "g"}, "fineness": "995", "count": "most"}]}
    }
    shop.receive(client=CLIENT, terms="T-2", items=[scrap()], acceptance=YES, instructions=wish)
    return shop


def test_without_a_quote_nothing_is_advanced_before_the_assay(unquoted: Desk) -> None:
    unquoted.melt(LOT, "99")
    assert unquoted.refused.advance(LOT, "1.00").said == (409, "wrong-state", "")


def test_without_a_quote_the_share_is_of_the_assayed_metal(unquoted: Desk) -> None:
    unquoted.melt(LOT, "99")
    unquoted.assay(LOT, {"gold": "505"})
    # 49.995 g × 61.20 = 3059.694; half of 3059.69 is 1529.845.
    assert unquoted.refused.advance(LOT, "1529.85").kind == "more-than-advance"
    assert unquoted.advance(LOT, "1529.84")["may_be_advanced"] == money("0.00")


def test_the_settlement_takes_the_advance_off_and_the_clients_money_nets_out(unquoted: Desk) -> None:
    unquoted.melt(LOT, "99")
    unquoted.assay(LOT, {"gold": "505"})
    first = unquoted.advance(LOT, "1000.00")
    unquoted.advance(LOT, "500.00", "transfer")
    posted = unquoted.settle(unquoted.draft(LOT)["id"])
    final = posted["cases"]["final"]
    assert (final["advances_total"], posted["net"]) == (money("1500.00"), money("1559.69"))
    assert unquoted.balance(MONEY, "GBP") == -155_969
    unquoted.pay(SETTLEMENT, "1559.69")
    assert unquoted.balance(MONEY, "GBP") == 0
    resting = unquoted.refused.take_advance_back(LOT, first["id"])
    assert resting.said == (409, "something-rests-on-it", "")
    assert unquoted.refused.advance(LOT, "1.00").said == (409, "wrong-state", "")


def test_an_advance_after_the_draft_is_not_settled_unseen(unquoted: Desk) -> None:
    unquoted.melt(LOT, "99")
    unquoted.assay(LOT, {"gold": "505"})
    draft = unquoted.draft(LOT)["id"]
    unquoted.advance(LOT, "10.00")
    refused = unquoted.refused.settle(draft)
    assert (refused.kind, "advances" in refused.body["detail"]) == ("changed-since-seen", True)


def test_an_advance_given_back_may_be_advanced_again(shop: Desk) -> None:
    a_lot(shop)
    paid = shop.advance(LOT, "100.00")
    before = shop.get(f"/v1/lots/{LOT}/advances")["items"]
    shop.take_advance_back(LOT, paid["id"])
    assert [p["state"] for p in shop.get(f"/v1/lots/{LOT}/advances")["items"]] == ["reversed"]
    assert (len(before), shop.balance(f"house:till + {MONEY}", "GBP")) == (1, 0)
    shop.advance(LOT, "100.00")


def test_a_lot_that_nobody_said_yes_to_is_not_advanced_on(shop: Desk) -> None:
    shop.terms(gold_only(advance_share="0.5"))
    shop.receive(client=CLIENT, terms="T-2", items=[scrap()])
    assert shop.refused.advance(LOT, "1.00").said == (409, "not-accepted", "")


def test_what_was_assayed_since_counts_where_it_is_less_than_what_was_quoted(shop: Desk) -> None:
    a_lot(shop)
    shop.melt(LOT, "118.40")
    shop.assay(LOT, {"gold": "200", "silver": "100"})
    # 23.680 g of gold and 11.840 g of silver; the quote spoke of some 58 g of gold.
    told = shop.refused.advance(LOT, "700.00")
    assert told.said == (409, "more-than-advance", "/amount")
    shop.advance(LOT, "100.00")


@pytest.fixture
def exchanging(shop: Desk) -> Desk:
    """99 g melted of a lot that the house assays at 505 ‰, under terms that exchange assays."""
    gold = {"settle_on": "assay", "accountable": "1", "payout_rate": "1", "splitting_limit": "2"}
    umpire = {"umpire_rule": "final", "umpire_fee": "30.00"}
    shop.terms(gold_only(advance_share="0.5", metals={"gold": gold}, **umpire))
    shop.receive(client=CLIENT, terms="T-2", items=[scrap()], acceptance=YES)
    shop.melt(LOT, "99")
    shop.assay(LOT, {"gold": "505"})
    return shop


@pytest.mark.parametrize(
    ("client", "umpire", "most"),
    [
        (None, None, "1529.84"),
        # The mean, 504: 49.896 g × 61.20 = 3053.64.
        ("503", None, "1526.82"),
        # Apart, and no umpire will find less than the lesser of the two: 49.5 g and 49.995 g.
        ("500", None, "1514.70"),
        ("510", None, "1529.84"),
        # 503: 49.797 g, 3047.58; the client, who was farther from it, bears the fee.
        ("500", "503", "1508.79"),
        # 502: 49.698 g, 3041.52; the fee is the house's.
        ("500", "502", "1520.76"),
    ],
)
def test_an_advance_goes_by_the_assay_that_governs_and_by_the_lesser_while_two_lie_apart(
    exchanging: Desk, client: str | None, umpire: str | None, most: str
) -> None:
    for party, found in (("client", client), ("umpire", umpire)):
        if found is not None:
            exchanging.assay(LOT, {"gold": found}, party=party)
    more = f"{int(most.replace('.', '')) + 1}"
    assert exchanging.refused.advance(LOT, f"{more[:-2]}.{more[-2:]}").kind == "more-than-advance"
    assert exchanging.advance(LOT, most)["may_be_advanced"] == money("0.00")


def test_a_better_assay_than_was_quoted_advances_no_more_than_the_quote(shop: Desk) -> None:
    a_lot(shop)
    most = shop.advance(LOT, "0.01")["may_be_advanced"]
    shop.melt(LOT, "118.40")
    shop.assay(LOT, {"gold": "900", "silver": "50"})
    assert shop.advance(LOT, most["amount"])["may_be_advanced"] == money("0.00")


def test_a_quote_that_could_value_nothing_limits_no_advance(shop: Desk) -> None:
    shop.terms(gold_only(advance_share="0.5", evidence={"unread": {"method": "none", "reckon": False}}))
    shop.prices(gold="60.00")
    sweeps = {"description": "sweeps", "evidence": "unread", "gross": {"amount": "20", "unit": "g"}}
    quote = shop.quote({"client": CLIENT, "terms": "T-2", "items": [sweeps]})
    assert quote["net_range"] is None
    shop.accept(quote)
    shop.receive(quote=quote["number"])
    assert shop.refused.advance(LOT, "1.00").said == (409, "wrong-state", "")
    shop.melt(LOT, "20")
    shop.assay(LOT, {"gold": "500"})
    assert shop.advance(LOT, "300.00")["may_be_advanced"] == money("0.00"), "half of 10 g at 60.00"
