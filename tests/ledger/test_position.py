"""The position as at any moment, priced at what was in force then."""

from decimal import Decimal
from typing import Any

import pytest
from ledger_house import House
from sqlalchemy import text
from stages import CLIENT, QUOTE, asked, gold_only, terms


def gold(found: Any) -> tuple[str, ...]:
    metal = found["metals"]["gold"]
    figures = (metal["held"]["total"], metal["in_process"], metal["owed"]["total"], metal["own"])
    return tuple(of["g"] for of in figures)


# as at → gold held, in process, owed to clients, the house's own
DAYS = [
    ("2026-03-04", ("0.000", "57.969", "57.969", "0.000")),
    ("2026-03-06", ("57.708", "0.261", "57.969", "0.000")),
    ("2026-03-07", ("57.708", "0.000", "57.708", "0.000")),
    ("2026-03-08", ("57.708", "0.000", "39.996", "17.712")),
]


@pytest.mark.parametrize(("day", "figures"), DAYS)
def test_gold_held_in_process_and_owed_as_at_a_day(house: House, day: str, figures: tuple[str, ...]) -> None:
    assert gold(house.till.get(f"/v1/position?as_at={day}")) == figures


@pytest.mark.parametrize("at", ["2026-03-09", "2030-01-01", "2026-03-08T09:30:01Z"])
def test_what_is_to_come_is_not_answered_with_what_is_there_today(house: House, at: str) -> None:
    refusal = house.till.refused.get(f"/v1/position?as_at={at}")
    assert refusal.said == (400, "bad-request", "")
    assert refusal.body["detail"].startswith("as_at: ")
    assert "is to come" in refusal.body["detail"]


@pytest.mark.parametrize("name", ["from", "to"])
def test_no_trial_balance_is_struck_of_a_day_to_come(house: House, name: str) -> None:
    refusal = house.till.refused.get(f"/v1/trial-balance?{name}=2026-03-09")
    assert refusal.said == (400, "bad-request", "")
    assert refusal.body["detail"].startswith(f"{name}: 2026-03-09 is to come")
    assert house.till.get(f"/v1/trial-balance?{name}=2026-03-08")["places"]


def test_as_at_today_is_as_at_now(house: House) -> None:
    now = house.till.get("/v1/position")
    assert house.till.get("/v1/position?as_at=2026-03-08") == now
    assert now["as_at"] == "2026-03-08T09:30:00.000Z"


def test_before_the_first_entry_there_is_nothing(house: House) -> None:
    found = house.till.get("/v1/position?as_at=2026-03-01")
    assert (found["metals"], found["money"], found["exposure"]) == ({}, {}, {})


def test_with_the_clock_set_back_the_position_is_still_that_of_the_last_entry(house: House) -> None:
    now = gold(house.till.get("/v1/position"))
    house.clock.move(days=-3)
    assert gold(house.till.get("/v1/position")) == now == ("57.708", "0.000", "39.996", "17.712")


def test_silver_lent_to_a_batch_is_the_houses_and_is_shown_as_lent(house: House) -> None:
    silver = house.till.get("/v1/position?as_at=2026-03-04T23:00:00Z")["metals"]["silver"]
    lent, stock = (
        int(silver["lent"]["g"].replace(".", "")),
        int(silver["held"]["stock"]["g"].replace(".", "")),
    )
    assert lent > 0
    assert lent + stock == 499_500


@pytest.mark.parametrize(
    ("day", "entry", "owed"), [("2026-03-07", "PR-1", None), ("2026-03-08", "PR-3", "2481.75")]
)
def test_it_is_priced_at_the_price_in_force_then(
    house: House, day: str, entry: str, owed: str | None
) -> None:
    priced = house.till.get(f"/v1/position?as_at={day}")["metals"]["gold"]["priced"]["GBP"]
    assert priced["price"]["entry"] == entry
    assert owed in (None, priced["owed"]["amount"])  # 39.996 g at 62.05 is 2481.7518


@pytest.mark.parametrize("day", [day for day, _ in DAYS[:4]])
def test_what_is_priced_adds_up_as_it_is_printed(house: House, day: str) -> None:
    for metal in house.till.get(f"/v1/position?as_at={day}")["metals"].values():
        for priced in metal["priced"].values():
            worth = {k: Decimal(v["amount"]) for k, v in priced.items() if k != "price"}
            parts = worth["held"] + worth["in_process"] + worth["lent"] - worth["owed"]
            assert worth["own"] == parts, metal


def test_what_is_owed_is_all_that_others_than_clients_hold_less(house: House) -> None:
    with house.books.reading() as work:
        rows = work.connection.execute(
            text(
                "SELECT commodity, sum(amount) FROM journal_lines WHERE account NOT LIKE 'client:%' GROUP BY 1"
            )
        )
        others = dict(rows.all())
    found = house.till.get("/v1/position")
    for metal, of in found["metals"].items():
        assert int(of["owed"]["total"]["g"].replace(".", "")) == others[metal]
    owed = found["money"]["GBP"]["owed_to_clients"]["amount"]
    assert int(owed.replace(".", "")) == others["GBP"]


@pytest.fixture
def quoted(house: House) -> Any:
    """A quote that holds its price, as issued."""
    house.till.terms(terms(price_time="quote", quote_valid_for="PT24H"))
    house.till.prices(gold="62.05", silver="0.75")
    return house.till.quote(asked(client=CLIENT))


def exposed(house: House, at: str = "") -> dict[str, Any]:
    return house.till.get(f"/v1/position{at and '?as_at='}{at}")["exposure"]


def test_an_open_quote_whose_price_is_held_exposes_the_metal_that_it_would_sell(
    house: House, quoted: Any
) -> None:
    likely = quoted["cases"]["likely"]["metals"]["gold"]
    gold = exposed(house)["gold"]["GBP"]
    assert (gold["quotes"], gold["likely_sold"], gold["payout_held"]) == (1, likely["sold"], likely["payout"])
    house.clock.move(hours=1)
    house.till.prices(gold="70.00")
    moved = exposed(house)["gold"]["GBP"]
    assert moved["payout_held"] == likely["payout"]
    assert Decimal(moved["at_price_in_force"]["amount"]) > Decimal(gold["at_price_in_force"]["amount"])


def test_a_quote_exposes_until_it_expires_unless_it_was_accepted(house: House, quoted: Any) -> None:
    made = house.clock.now
    house.clock.move(hours=25)
    assert exposed(house) == {}
    assert set(exposed(house, made.strftime("%Y-%m-%dT%H:%M:%SZ"))) == {"gold"}
    house.clock.now = made
    house.till.accept(quoted)
    house.clock.move(days=30)
    assert set(exposed(house)) == {"gold"}


def test_a_withdrawn_quote_exposes_up_to_then(house: House, quoted: Any) -> None:
    house.clock.move(hours=2)
    house.till.withdraw(quoted)
    assert exposed(house) == {}
    before = house.clock.now.replace(hour=house.clock.now.hour - 1)
    assert exposed(house, before.strftime("%Y-%m-%dT%H:%M:%SZ")) != {}


def test_a_quote_that_does_not_hold_its_price_exposes_nothing(house: House) -> None:
    assert house.till.get(f"/v1/quotes/{QUOTE}")["binds"]["price_time"] == "settlement"
    assert exposed(house, "2026-03-02") == {}


def test_a_quote_whose_lot_went_back_exposes_again_once_that_was_a_slip(house: House, quoted: Any) -> None:
    house.till.accept(quoted)
    lot = house.till.receive(quote=quoted["number"])["number"]
    house.till.post(f"/v1/lots/{lot}/return", {"who": "Ann Other"})
    assert exposed(house) == {}
    gone = house.clock.now.strftime("%Y-%m-%dT%H:%M:%SZ")
    house.clock.move(hours=1)
    house.till.post(f"/v1/lots/{lot}/return/reversal", {"reason": "another lot went"})
    assert set(exposed(house)) == {"gold"}
    assert exposed(house, gone) == {}


def test_a_trial_balance_of_all_time_begins_with_nothing(house: House) -> None:
    lines = house.till.get("/v1/trial-balance")["places"]
    assert {"house:stock", f"client:{CLIENT}:money", "tax:standard"} <= {line["place"] for line in lines}
    for line in lines:
        assert {Decimal(of) for k, of in line["opening"].items() if k != "currency"} == {Decimal(0)}
        assert line["moved"] == line["closing"]


def test_a_quote_of_trillions_is_exposed_like_any_other(house: House) -> None:
    """What settle itself wrote is read exactly, whatever the limits of requests (A7)."""
    till = house.till
    till.terms(gold_only(currency="IRR", name="rials"))
    price = {"amount": "150000000", "currency": "IRR", "per": "g"}
    till.post("/v1/prices", {"prices": {"gold": price}})
    bar = {"fineness": "500", "evidence": "sure", "gross": {"amount": "20000", "unit": "g"}}
    wish = {"gold": {"remainder": "pay_out"}}
    till.quote({"client": CLIENT, "terms": "T-2", "items": [bar], "instructions": wish})
    held = till.get("/v1/position")["exposure"]["gold"]["IRR"]["payout_held"]
    assert len(held["amount"].partition(".")[0]) > 12
