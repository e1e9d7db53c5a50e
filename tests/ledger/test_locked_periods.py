"""Locked months take no entry; corrections fall in the open one (J4)."""

from datetime import UTC, datetime

import pytest
from ledger_house import House
from stages import CLIENT, SETTLEMENT, asked

from settle.books import journal
from settle.reckoning.ledger import Entry, Leg
from settle.reckoning.problems import Refused

LOCK = "/v1/periods/2026-03/lock"


@pytest.mark.parametrize(
    ("now", "month", "status"),
    [
        (datetime(2026, 3, 31, 22, 59, tzinfo=UTC), "2026-03", 409),
        (datetime(2026, 3, 31, 23, 1, tzinfo=UTC), "2026-03", 201),  # 00:01 in London, summer time
        (datetime(2026, 4, 2, tzinfo=UTC), "2026-04", 409),
        (datetime(2026, 4, 2, tzinfo=UTC), "2027-01", 409),
        (datetime(2026, 4, 2, tzinfo=UTC), "2025-12", 201),
        (datetime(2026, 4, 2, tzinfo=UTC), "2026-3", 400),
        (datetime(2026, 4, 2, tzinfo=UTC), "2026-13", 400),
        (datetime(2026, 4, 2, tzinfo=UTC), "0000-01", 400),
        (datetime(2026, 4, 2, tzinfo=UTC), "1899-12", 400),
        (datetime(2026, 4, 2, tzinfo=UTC), "1900-01", 201),
    ],
)
def test_only_a_month_that_is_over_in_the_house_is_locked(
    house: House, now: datetime, month: str, status: int
) -> None:
    house.clock.now = now
    assert house.till.ask("POST", f"/v1/periods/{month}/lock").status_code == status


def test_a_month_is_locked_once_and_listed(house: House) -> None:
    house.clock.move(days=40)
    locked = house.till.post(LOCK)
    assert house.till.refused.post(LOCK).kind == "wrong-state"
    assert house.till.get("/v1/periods")["items"] == [dict(locked)]
    assert house.faults() == []


def an_entry() -> Entry:
    return Entry("X-1", "counted", (Leg("house:till", "GBP", 5), Leg("house:opening", "GBP", -5)))


def test_an_entry_whose_time_falls_into_a_locked_month_is_refused(house: House) -> None:
    then = house.clock.now
    house.clock.move(days=40)
    house.till.post(LOCK)
    house.clock.now = then  # set back
    with house.writing() as work, pytest.raises(Refused) as refused:
        journal.post(work, an_entry())
    assert refused.value.faults[0].kind == "period-locked"
    said = house.till.refused.post("/v1/stock", STOCK)
    assert said.said == (409, "period-locked", "")


STOCK = {
    "kind": "opening",
    "metals": [{"metal": "gold", "weight": {"amount": "1", "unit": "g"}, "fineness": "999"}],
}


def test_a_correction_falls_in_the_open_month(house: House) -> None:
    house.clock.move(days=40)
    before = house.till.get("/v1/position?as_at=2026-03-31")["metals"]
    house.till.post(LOCK)
    with house.writing() as work:
        journal.undo(work, journal.standing(work, SETTLEMENT)[0], "RV-0", "a slip")
    newest = house.till.get("/v1/journal?limit=1")["items"][0]
    assert (newest["made_at"][:7], newest["reverses"]) == ("2026-04", "J-10")
    assert house.till.get("/v1/position?as_at=2026-03-31")["metals"] == before


@pytest.mark.parametrize("scope", ["read", "settle", "quote"])
def test_locking_is_the_owners(house: House, scope: str) -> None:
    house.clock.move(days=40)
    assert house.as_(scope).ask("POST", LOCK).status_code == 403


def test_a_clock_set_back_dates_no_document_in_a_locked_month(house: House) -> None:
    then = house.clock.now
    house.clock.move(days=40)
    house.till.post(LOCK)
    other = {**STOCK, "metals": [{**STOCK["metals"][0], "metal": "platinum"}]}
    house.till.post("/v1/stock", other)  # an entry of the open month, which the next would stand behind
    house.clock.now = then
    other["metals"][0]["metal"] = "palladium"
    assert house.till.refused.post("/v1/stock", other).said == (409, "period-locked", "")


def test_what_moves_nothing_is_dated_in_no_locked_month_either(house: House) -> None:
    then, till = house.clock.now, house.till
    lots = [till.receive(client=CLIENT, items=asked()["items"])["number"] for _ in "12"]
    till.post(f"/v1/lots/{lots[0]}/return", {"who": "Ann Other"})
    house.clock.move(days=40)
    till.post(LOCK)
    house.clock.now = then
    undone = till.refused.post(f"/v1/lots/{lots[0]}/return/reversal", {"reason": "another lot went"})
    assert undone.said == (409, "period-locked", "")
    returned = till.refused.post(f"/v1/lots/{lots[1]}/return", {"who": "Ann Other"})
    assert returned.said == (409, "period-locked", "")
