"""What is told of the work, written with it in one transaction."""

import json
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import select
from staged import House, house_at
from stages import BARS, BATCH, CLIENT, LOT, QUOTE, SETTLEMENT, asked

from settle.books.events import KINDS
from settle.books.tables import deliveries, events

CATALOGUE = json.loads((Path(__file__).parents[2] / "shared" / "events.json").read_text("utf-8"))


def told(house: House) -> list[tuple[str, str, Any]]:
    with house.books.reading() as work:
        rows = work.connection.execute(select(events).order_by(events.c.n)).all()
    return [(row.kind, row.subject, row.data) for row in rows]


@pytest.fixture(scope="module")
def whole_road(tmp_path_factory: pytest.TempPathFactory) -> Any:
    """All that happens to a lot, its settlement paid, its bars handed over, and taken back."""
    with house_at("settled", tmp_path_factory.mktemp("road")) as house:
        till = house.till
        owed = till.get(f"/v1/settlements/{SETTLEMENT}")["open"]
        paid = {"amount": {**owed, "amount": owed["amount"].lstrip("-")}, "paid_in": "transfer"}
        payment = till.post(f"/v1/settlements/{SETTLEMENT}/payments", paid)
        reading = till.get(f"/v1/bars/{BARS[0]}")["reading"]["g"]
        taken = {"who": "Ann Other", "reading": {"amount": reading, "unit": "g"}, "scale": "counter"}
        till.post(f"/v1/bars/{BARS[0]}/handover", taken)
        mistake = {"reason": "a mistake"}
        till.post(f"/v1/bars/{BARS[0]}/handover/reversal", mistake)
        till.post(f"/v1/settlements/{SETTLEMENT}/payments/{payment['id']}/reversal", mistake)
        seen = till.ask("GET", f"/v1/settlements/{SETTLEMENT}").headers["ETag"]
        till.post(f"/v1/settlements/{SETTLEMENT}/reversal", mistake, seen)
        yield told(house)


def test_a_lots_way_is_told_from_prices_to_reversal(whole_road: Any) -> None:
    assert [(kind, subject) for kind, subject, _ in whole_road] == [
        ("price.entered", "gold"),
        ("price.entered", "silver"),
        ("quote.issued", QUOTE),
        ("quote.accepted", QUOTE),
        ("lot.received", LOT),
        ("batch.closed", BATCH),
        ("silver.credited", LOT),
        ("price.entered", "gold"),
        ("price.entered", "silver"),
        ("settlement.posted", SETTLEMENT),
        ("payment.recorded", SETTLEMENT),
        ("bar.handed_over", BARS[0]),
        ("settlement.reversed", SETTLEMENT),
    ]


def test_every_kind_is_told_on_that_way_and_is_in_the_catalogue(whole_road: Any) -> None:
    assert {kind for kind, _, _ in whole_road} == set(KINDS)
    assert [event["type"] for event in CATALOGUE["events"]] == list(KINDS)


def test_the_catalogue_names_every_member_of_what_is_told(whole_road: Any) -> None:
    named = {event["type"]: set(event["data"]) for event in CATALOGUE["events"]}
    for kind, _, data in whole_road:
        assert set(data) == named[kind], kind


def test_the_catalogues_examples_are_what_was_told(whole_road: Any) -> None:
    examples = {event["type"]: event["example"]["data"] for event in CATALOGUE["events"]}
    for kind, example in examples.items():
        assert example in [data for told_kind, _, data in whole_road if told_kind == kind], kind


def test_no_event_names_a_person(whole_road: Any) -> None:
    assert "Ann" not in json.dumps(whole_road)
    assert CLIENT in json.dumps(whole_road)


def test_what_is_refused_or_only_tried_is_not_told(house: House) -> None:
    before = told(house)
    house.till.refused.post("/v1/quotes", asked(client="C-99"))
    house.till.post("/v1/estimates", asked())
    assert told(house) == before


def test_a_repeated_request_is_told_of_once(house: House) -> None:
    before = len(told(house))
    for _ in range(2):
        house.till.ask("POST", "/v1/quotes", asked(client=CLIENT), Idempotency_Key="one")
    assert [kind for kind, _, _ in told(house)[before:]] == ["quote.issued"]


def test_each_hook_gets_the_kinds_that_it_asked_for(house: House) -> None:
    url = "https://till.example/events"
    every, some, none = (
        house.till.post("/v1/hooks", {"url": url, **kinds})["id"]
        for kinds in ({}, {"kinds": ["quote.issued"]}, {"kinds": ["bar.handed_over"]})
    )
    quote = house.till.quote(asked(client=CLIENT))
    house.till.accept(quote)
    with house.books.reading() as work:
        rows = work.connection.execute(select(deliveries.c.hook, events.c.kind).join(events)).all()
    assert sorted(rows) == sorted(
        [(every, "quote.issued"), (every, "quote.accepted"), (some, "quote.issued")]
    )
    assert none not in dict(rows)
