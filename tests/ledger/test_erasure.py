"""Erasure: refused while something needs the person, and the books are whole without him."""

from datetime import timedelta
from typing import Any

import pytest
import stores
from ledger_house import House
from stages import BARS, CLIENT, LOT, QUOTE, SETTLEMENT, asked, terms

PATH = f"/v1/clients/{CLIENT}/erasure"
ANN = ("Ann Other", "1 Nowhere Lane", "ann@nowhere.example")


@pytest.fixture
def done(house: House) -> House:
    """All that was owed to Ann is hers: paid, bars handed over."""
    till = house.till
    amount = {"amount": "811.04", "currency": "GBP"}
    till.post(
        f"/v1/settlements/{SETTLEMENT}/payments", {"amount": amount, "paid_in": "transfer", "who": ANN[0]}
    )
    for bar in BARS:
        reading = till.get(f"/v1/bars/{bar}")["reading"]["g"]
        body = {"who": ANN[0], "reading": {"amount": reading, "unit": "g"}, "scale": "counter"}
        till.post(f"/v1/bars/{bar}/handover", body)
    return house


def said(house: House) -> str:
    refused = house.till.refused.post(PATH)
    assert (refused.status, refused.kind) == (409, "must-be-kept")
    return str(refused.body["detail"])


def test_an_open_balance_refuses_it_and_the_refusal_says_which_and_until_when(house: House) -> None:
    detail = said(house)
    assert f"client:{CLIENT}:bars, client:{CLIENT}:money" in detail
    assert "retention runs until 2031-03-08T09:30:00.000Z" in detail
    house.clock.move(days=3000)
    detail = said(house)
    assert "a balance is open" in detail
    assert "retention" not in detail


def test_retention_runs_from_the_last_dealing(done: House) -> None:
    assert "retention runs until 2031-03-08T09:30:00.000Z" in said(done)
    done.clock.move(days=365)
    done.till.terms(terms(retention="P10Y"))
    done.till.prices(gold="62.05", silver="0.75")
    done.till.quote(asked(client=CLIENT))
    assert "retention runs until 2037-03-08T09:30:00.000Z" in said(done)


def test_retention_runs_by_the_terms_of_a_bars_sale_too(done: House) -> None:
    till = done.till
    number = till.terms(terms(retention="P10Y"))["number"]
    said_of = {"weight": {"amount": "50", "unit": "g"}, "fineness": "999", "mark": "X 1", "terms": number}
    cost = {"cost": {"amount": "40.00", "currency": "GBP"}, "paid_in": "transfer"}
    bar = till.post("/v1/stock/bars", {"kind": "bought", "metal": "silver", **said_of, **cost})["serial"]
    till.post(f"/v1/bars/{bar}/sale", {"client": CLIENT, "terms": number, "paid_in": "cash"})
    assert "retention runs until 2036-03-08T09:30:00.000Z" in said(done)


def test_a_lot_in_the_house_refuses_it(done: House) -> None:
    lot = done.till.receive(client=CLIENT, items=asked()["items"])["number"]
    done.clock.move(days=3000)
    assert said(done).startswith(f"{lot} is neither settled nor returned")


def test_a_freeze_refuses_it(done: House) -> None:
    order = {"by": "an officer", "reference": "17/26", "reason": "on a list"}
    done.till.post(f"/v1/lots/{LOT}/freeze", order)
    done.clock.move(days=3000)
    assert done.till.refused.post(PATH).kind == "frozen"


def texts(house: House) -> bytes:
    return stores.texts(house.file)


@pytest.fixture
def erased(done: House) -> House:
    path = f"/v1/clients/{CLIENT}"
    done.till.call("PATCH", path, {"email": ANN[2]}, done.till.get(path).etag)
    assert all(word.encode() in texts(done) for word in ANN)
    done.clock.move(days=5 * 366)
    done.till.post(PATH)
    return done


def test_nothing_of_the_person_is_left_in_the_file(erased: House) -> None:
    left = texts(erased)
    assert [word for word in ANN if word.encode() in left] == []


def test_the_books_are_whole_and_every_document_is_there(erased: House) -> None:
    assert erased.faults() == []
    till = erased.till
    client = till.get(f"/v1/clients/{CLIENT}")
    assert client["name"] is None
    assert client["erased_at"] == erased.clock.now.strftime("%Y-%m-%dT%H:%M:%S.000Z")
    assert till.get(f"/v1/quotes/{QUOTE}")["acceptance"]["who"] is None
    assert till.get(f"/v1/settlements/{SETTLEMENT}")["net"]["amount"] == "811.04"
    register = till.get("/v1/register")["items"]
    assert [(entry["document"], entry["client"]) for entry in register] == [
        (LOT, {"id": CLIENT, "name": None})
    ]
    assert till.get(f"/v1/clients/{CLIENT}/account")["closing"] == {}


def test_it_is_done_once_and_the_client_stays_nobody(erased: House) -> None:
    assert erased.till.refused.post(PATH).kind == "wrong-state"
    path = f"/v1/clients/{CLIENT}"
    changed = erased.till.ask("PATCH", path, {"name": "Ann"}, If_Match=erased.till.get(path).etag)
    assert changed.status_code == 409


def test_a_client_who_never_dealt_is_erased_at_once(house: House) -> None:
    client = house.till.client("Looking Round")["id"]
    assert house.till.post(f"/v1/clients/{client}/erasure")["name"] is None
    assert b"Looking Round" not in texts(house)


def test_who_accepted_a_quote_without_a_client_goes_with_the_client_of_its_lot(house: House) -> None:
    till = house.till
    till.terms(terms(retention="P0D"))
    till.prices(gold="62.05", silver="0.75")
    quote = till.quote(asked())
    till.accept(quote, who="Passing By")
    client = till.client("Passing By")["id"]
    lot = till.receive(quote=quote["number"], client=client)["number"]
    till.post(f"/v1/lots/{lot}/return", RETURN)
    house.clock.move(days=1)
    till.post(f"/v1/clients/{client}/erasure")
    assert till.get(f"/v1/quotes/{quote['number']}")["acceptance"]["who"] is None


RETURN: dict[str, Any] = {"who": "Passing By"}


def test_at_the_last_moment_of_retention_it_still_runs(done: House) -> None:
    done.clock.now = done.clock.now.replace(year=2031) - timedelta(milliseconds=1)
    assert "retention runs" in said(done)
    done.clock.move(milliseconds=1)
    assert done.till.post(PATH)["erased_at"]


@pytest.mark.parametrize("scope", ["read", "quote", "settle"])
def test_erasure_is_the_owners(house: House, scope: str) -> None:
    assert house.as_(scope).ask("POST", PATH).status_code == 403


def test_nobody_is_not_erased(house: House) -> None:
    assert house.till.refused.post("/v1/clients/C-404/erasure").status == 404


def test_nothing_new_is_begun_with_nobody(erased: House) -> None:
    till = erased.till
    till.prices(gold="62.05", silver="0.75")
    assert till.refused.quote(asked(client=CLIENT)).faults == {"/client": "unknown-reference"}
    received = till.refused.receive(client=CLIENT, items=asked()["items"])
    assert received.faults == {"/client": "unknown-reference"}


def test_what_was_begun_with_who_is_nobody_now_goes_no_further(house: House) -> None:
    till = house.till
    till.terms(terms(retention="PT1H", quote_valid_for="P30D"))
    till.prices(gold="62.05", silver="0.75")
    client = till.client("Looking Round")["id"]
    first, second = (till.quote(asked(client=client, terms="T-2")) for _ in "12")
    till.accept(first)
    house.clock.move(hours=2)
    till.post(f"/v1/clients/{client}/erasure")
    assert till.refused.receive(quote=first["number"]).said == (409, "wrong-state", "")
    assert till.refused.accept(second).said == (409, "wrong-state", "")
    revised = till.refused.post(f"/v1/quotes/{second['number']}/revisions", {}, second.etag)
    assert revised.said == (409, "wrong-state", "")


def test_nothing_that_was_done_with_who_is_nobody_now_is_undone(erased: House) -> None:
    """Else money or a bar would be owed again to who can't be found, and no name could ever be erased."""
    till = erased.till
    paid = till.get(f"/v1/settlements/{SETTLEMENT}/payments")["items"][0]["id"]
    slip = {"reason": "a slip"}
    payment = f"/v1/settlements/{SETTLEMENT}/payments/{paid}/reversal"
    for path in (payment, f"/v1/bars/{BARS[0]}/handover/reversal"):
        refused = till.refused.post(path, slip)
        assert (refused.said, "erased" in refused.body["detail"]) == ((409, "wrong-state", ""), True)
    yes = {"acceptance": {"who": ANN[0], "how": "in_person"}}
    assert till.refused.post(f"/v1/lots/{LOT}/instructions", yes).said == (409, "wrong-state", "")
    assert [word for word in ANN if word.encode() in texts(erased)] == []


def test_a_lot_returned_to_who_is_nobody_now_doesnt_come_back(house: House) -> None:
    till = house.till
    till.terms(terms(retention="P0D"))
    client = till.client("Passing By")["id"]
    lot = till.receive(client=client, items=asked()["items"])["number"]
    till.post(f"/v1/lots/{lot}/return", RETURN)
    house.clock.move(days=1)
    till.post(f"/v1/clients/{client}/erasure")
    refused = till.refused.post(f"/v1/lots/{lot}/return/reversal", {"reason": "another lot went"})
    assert refused.said == (409, "wrong-state", "")


def test_an_accepted_quote_of_who_is_nobody_now_takes_no_concession_and_exposes_nothing(house: House) -> None:
    till = house.till
    till.terms(terms(retention="PT1H", price_time="quote"))
    till.prices(gold="62.05", silver="0.75")
    client = till.client("Looking Round")["id"]
    quote = till.accept(till.quote(asked(client=client, terms="T-2")))
    house.clock.move(hours=2)
    assert set(till.get("/v1/position")["exposure"]) == {"gold"}
    then = house.clock.now.strftime("%Y-%m-%dT%H:%M:%SZ")
    house.clock.move(hours=1)
    till.post(f"/v1/clients/{client}/erasure")
    conceded = {"replaces": "payout_rate", "metal": "gold", "rate": "0.99", "reason": "x", "who": "Olive"}
    path = f"/v1/quotes/{quote['number']}"
    seen = till.get(path).etag
    assert till.refused.post(f"{path}/concessions", conceded, seen).said == (409, "wrong-state", "")
    assert till.get("/v1/position")["exposure"] == {}
    assert set(till.get(f"/v1/position?as_at={then}")["exposure"]) == {"gold"}


def test_a_purchase_of_whoever_was_erased_is_not_reversed(done: House) -> None:
    till = done.till
    bob = till.post("/v1/clients", {"name": "Bob Other"})["id"]
    counter = {"gold": {"settle_on": "counter", "accountable": "0.98", "payout_rate": "0.95"}}
    number = till.terms(terms(metals=counter, charges=[], name="over the counter"))["number"]
    ring = {"karat": "9", "evidence": "hallmark", "gross": {"amount": "12", "unit": "g"}}
    bought = till.post(
        "/v1/purchases", {"client": bob, "terms": number, "items": [ring], "paid_in": "transfer"}
    )
    done.clock.move(days=3000)
    till.post(f"/v1/clients/{bob}/erasure")
    refusal = till.refused.post(f"/v1/purchases/{bought['number']}/reversal", {"reason": "a slip"})
    assert refusal.body["detail"].startswith(f"the data of {bob} was erased")
