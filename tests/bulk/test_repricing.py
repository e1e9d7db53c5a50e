"""`POST /v1/prices?dry_run=true`: what a price would do to the quotes that are open."""

from decimal import Decimal
from typing import Any

import pytest
from staged import House
from stages import asked, gold_only, scrap
from till import everything, pounds

OFFERED = Decimal("50.00")


@pytest.fixture
def quoted(house: House) -> House:
    """A quote that holds its price: 100 g of 500 ‰, all answered for and paid at spot, void at a tenth."""
    till = house.till
    till.prices(gold=str(OFFERED))
    terms = till.terms(gold_only(price_time="quote", void_if_moved="0.1"))
    till.quote({"terms": terms["number"], "items": [scrap()]})
    return house


def tried(house: House, **by_metal: str) -> list[dict[str, Any]]:
    body = {"prices": {metal: pounds(amount) for metal, amount in by_metal.items()}}
    answer = house.as_("price").post("/v1/prices?dry_run=true", body)
    assert (answer.status, answer["kept"]) == (200, False)
    return answer["open_quotes"]


def test_nothing_of_it_is_kept(quoted: House) -> None:
    before = everything(quoted.till.file)
    tried(quoted, gold="46.00")
    assert everything(quoted.till.file) == before


def test_a_price_that_fell_within_the_limit_loses_the_difference_on_what_was_bought(quoted: House) -> None:
    (row,) = tried(quoted, gold="46.00")
    # The client is paid 50 g at 50.00; the house has metal worth 50 g at 46.00.
    assert (row["quote"], row["binds_price"], row["refused"]) == ("Q-2026-0001", True, [])
    assert row["margin_as_quoted"] == {"amount": "0.00", "currency": "GBP"}
    assert row["margin"] == {"amount": "-200.00", "currency": "GBP"}
    assert row["loss"] == {"amount": "200.00", "currency": "GBP"}


def test_a_price_that_rose_within_the_limit_loses_nothing(quoted: House) -> None:
    (row,) = tried(quoted, gold="54.00")
    assert (row["margin"]["amount"], row["loss"]["amount"]) == ("200.00", "0.00")


@pytest.mark.parametrize("price", ["44.99", "55.01"])
def test_beyond_the_limit_the_quote_would_be_refused_and_so_loses_nothing(quoted: House, price: str) -> None:
    (row,) = tried(quoted, gold=price)
    assert len(row["refused"]) == 1
    assert price in row["refused"][0]
    assert row["loss"]["amount"] == "0.00"


@pytest.mark.parametrize("price", ["44.99", "45.00", "55.00", "55.01"])
def test_what_it_says_of_acceptance_is_what_acceptance_says(quoted: House, price: str) -> None:
    (row,) = tried(quoted, gold=price)
    quoted.till.prices(gold=price)
    quote = quoted.till.get(f"/v1/quotes/{row['quote']}")
    word = {"who": "Ann Other", "how": "in_person", "hash": quote["hash"]}
    path = f"/v1/quotes/{quote['number']}/acceptance"
    answer = quoted.till.ask("POST", path, word, If_Match=quote.etag)
    assert (answer.status_code == 409) is bool(row["refused"])


def test_a_quote_that_binds_no_price_is_paid_at_the_new_one_and_its_margin_moves_with_it(
    house: House,
) -> None:
    house.till.quote(asked())
    now = house.till.get("/v1/prices/current")["prices"]["gold"]["GBP"]["amount"]
    (row,) = tried(house, gold=str(Decimal(now) / 2))
    assert (row["binds_price"], row["refused"]) == (False, [])
    margins = [Decimal(row[name]["amount"]) for name in ("margin", "margin_as_quoted")]
    assert margins[0] < margins[1]


def test_a_quote_of_other_metals_or_one_that_is_no_longer_open_is_not_told_of(quoted: House) -> None:
    assert tried(quoted, palladium="30.00") == []
    quoted.till.withdraw(quoted.till.get("/v1/quotes/Q-2026-0001"))
    assert tried(quoted, gold="46.00") == []


def test_a_quote_that_expired_is_not_told_of(quoted: House) -> None:
    quoted.clock.move(days=400)
    assert tried(quoted, gold="46.00") == []


def test_prices_that_cannot_be_are_refused_as_ever(quoted: House) -> None:
    body = {"prices": {"gold": {"amount": "x", "currency": "GBP", "per": "g"}}}
    refusal = quoted.till.refused.call("POST", "/v1/prices?dry_run=true", body)
    assert refusal.said == (422, "invalid-body", "/prices/gold/amount")


def test_without_dry_run_prices_are_entered_as_ever(quoted: House) -> None:
    assert "entry" in quoted.till.prices(gold="46.00")["prices"]["gold"]
