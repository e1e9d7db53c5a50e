"""The client for shops, against a real house on a line that fails."""

import base64
import json
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from client_house import Line, answers, cuts_the_answer, drops_the_answer, never_arrives
from staged import House, house_at
from stages import CLIENT, asked
from standardwebhooks.webhooks import Webhook
from till import everything

from api import client
from api.client import Forged, Problem, Unanswered, verified
from api.http.access import keep_books

ROOT = Path(__file__).parents[2]


def test_it_imports_nothing_of_the_server() -> None:
    code = "import sys, api.client; print(*sorted(m.partition('.')[0] for m in sys.modules))"
    ran = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert {"requests"} <= set(ran.stdout.split())
    assert not {"settle", "flask", "sqlalchemy", "marshmallow", "click"} & set(ran.stdout.split())


def test_a_lots_way_from_quote_to_receipt(shop: client.House) -> None:
    quote = shop.quote(asked(client=CLIENT))
    assert (quote.status, quote.location) == (201, f"/v1/quotes/{quote['number']}")
    revised = shop.revise(quote, {"items": asked()["items"][:2]})
    accepted = shop.accept(revised, who="Ann Other", how="in_person")
    lot = shop.receive({"quote": accepted["number"]})
    assert (lot["state"], lot["quote"]) == ("received", accepted["number"])
    assert [q["state"] for q in shop.quotes()] == ["accepted", "revised"]
    assert [row["number"] for row in shop.lots(client=CLIENT)] == [lot["number"]]


def test_a_settlement_is_drafted_posted_and_paid(
    house: House, line: Line, shop: client.House, tmp_path: Path
) -> None:
    with house_at("reconciled", tmp_path) as further_on:
        keep_books(house.till.app, further_on.books)
        prices = {m: {"amount": "60", "currency": "GBP", "per": "g"} for m in ("gold", "silver")}
        shop.post("/v1/prices", {"prices": prices})
        posted = shop.post_settlement(shop.draft_settlement("L-2026-0001"))
        paid = shop.pay(posted["number"], {"amount": "10.00", "currency": "GBP"}, paid_in="transfer")
        assert paid["of"] == posted["number"]
        again = shop.pay(posted["number"], {"amount": "11.00", "currency": "GBP"}, paid_in="cash")
        assert [row["id"] for row in shop.each("/v1/payments", limit=1)] == [again["id"], paid["id"]]
        assert [row["number"] for row in shop.settlements(state="posted")] == [posted["number"]]
        assert shop.pdf(f"/v1/quotes/{posted['quote']}").startswith(b"%PDF")


def test_a_list_is_walked_page_by_page(shop: client.House, line: Line) -> None:
    for amount in range(1, 8):
        shop.post("/v1/prices", {"prices": {"gold": {"amount": f"{amount}", "currency": "GBP", "per": "g"}}})
    line.keys.clear()
    found = [price["amount"] for price in shop.each("/v1/prices", limit=3)]
    assert found[:7] == ["7", "6", "5", "4", "3", "2", "1"]
    assert len(line.keys) == 3


def test_a_refusal_is_an_exception_with_every_fault(shop: client.House) -> None:
    with pytest.raises(Problem) as refused:
        shop.quote({"items": [{"evidence": "hallmark", "gross": {"amount": 5, "unit": "oz"}}]})
    assert (refused.value.status, refused.value.type) == (422, "/problems/invalid-body")
    faults = {fault.pointer: fault.type for fault in refused.value.errors}
    assert faults["/items/0/gross/unit"] == "/problems/ambiguous-unit"
    assert all(fault.right for fault in refused.value.errors)


LINES: dict[str, list[Any]] = {
    "the answer is dropped": [drops_the_answer],
    "the request is dropped": [never_arrives],
    "the answer is cut in its first line": [cuts_the_answer(b"HTTP/1.1 20")],
    "the answer is cut in its headers": [cuts_the_answer(b"HTTP/1.1 201 CREATED\r\nServer: x\r\nContent-Ty")],
    "the answer is cut in its length": [cuts_the_answer(b"HTTP/1.1 201 CREATED\r\nContent-Length: ")],
    "the answer is cut in its coding": [cuts_the_answer(b"HTTP/1.1 201 CREATED\r\nTransfer-Encoding: chu")],
    "the answer is cut in its body": [
        cuts_the_answer(b"HTTP/1.1 201 CREATED\r\nContent-Length: 9\r\n\r\n{}")
    ],
    "both, and again": [never_arrives, drops_the_answer, drops_the_answer],
    "a gateway has no house": [answers("502 Bad Gateway"), answers("504 Gateway Timeout")],
    "the house is busy": [answers("503 Service Unavailable", Retry_After="7")],
}


@pytest.mark.parametrize("faults", LINES.values(), ids=LINES)
def test_a_call_that_got_no_answer_is_made_again_under_its_key_and_worked_once(
    shop: client.House, line: Line, house: House, faults: list[Any], waits: list[float]
) -> None:
    line.faults = list(faults)
    made = shop.post("/v1/people", {"name": "Zoë"})
    assert made["id"] == "W-1"
    assert len(everything(house.till.file)["people"]) == 1
    assert len(line.keys) == len(faults) + 1
    assert len(set(line.keys)) == 1
    assert len(waits) == len(faults)


def test_it_waits_longer_each_time_and_as_long_as_the_house_asks(
    shop: client.House, line: Line, waits: list[float]
) -> None:
    line.faults = [answers("429 Too Many Requests", Retry_After="9"), *[answers("503 Busy")] * 3]
    shop.get("/v1/clients")
    assert waits[0] == 9
    assert [low <= wait <= 2 * low for low, wait in zip((0.5, 1.0, 2.0), waits[1:], strict=True)] == [
        True
    ] * 3


def test_where_nobody_answers_the_key_is_told_that_finds_out(shop: client.House, line: Line) -> None:
    line.faults = [drops_the_answer] * 6
    with pytest.raises(Unanswered) as nobody:
        shop.post("/v1/people", {"name": "Zoë"})
    found = shop.post("/v1/people", {"name": "Zoë"}, once=nobody.value.idempotency_key)
    assert found["name"] == "Zoë"


def test_a_house_that_stays_busy_is_a_problem(shop: client.House, line: Line) -> None:
    line.faults = [answers("503 Service Unavailable")] * 6
    with pytest.raises(Problem) as busy:
        shop.get("/v1/clients")
    assert (busy.value.status, busy.value.type) == (503, "about:blank")


def test_what_is_refused_is_not_asked_again(shop: client.House, line: Line) -> None:
    with pytest.raises(Problem):
        shop.get("/v1/quotes/Q-9")
    assert len(line.keys) == 1


# events

SECRET = "whsec_" + base64.b64encode(b"a secret of this test, long enough").decode()
BODY = json.dumps({"type": "quote.issued", "timestamp": "2026-03-02T09:30:00.000Z", "data": {"quote": "Q-1"}})
NOW = 1_772_443_800


def headers(secret: str = SECRET, body: str = BODY, at: int = NOW) -> dict[str, str]:
    """Signed by the public library."""
    signed = Webhook(secret).sign("EV-1", datetime.fromtimestamp(at, UTC), body)
    return {"Webhook-Id": "EV-1", "webhook-timestamp": str(at), "webhook-signature": signed}


def test_an_event_signed_by_the_public_library_is_read() -> None:
    event = verified(SECRET, headers(), BODY.encode(), now_s=NOW + 299)
    assert (event.id, event.type, event.data) == ("EV-1", "quote.issued", {"quote": "Q-1"})


def test_while_a_secret_is_renewed_either_will_do() -> None:
    other = "whsec_" + base64.b64encode(b"another secret, and as long as it").decode()
    both = headers() | {"webhook-signature": f"{headers(other)['webhook-signature']} v2,x v1,"}
    assert verified([SECRET, other], both, BODY.encode(), now_s=NOW)
    assert verified(other, both, BODY.encode(), now_s=NOW)
    with pytest.raises(Forged):
        verified(SECRET, both, BODY.encode(), now_s=NOW)


FORGED: dict[str, tuple[dict[str, str], str, int]] = {
    "another body": (headers(), BODY.replace("Q-1", "Q-2"), NOW),
    "another id": (headers() | {"Webhook-Id": "EV-2"}, BODY, NOW),
    "another time": (headers() | {"webhook-timestamp": str(NOW + 1)}, BODY, NOW),
    "too long ago": (headers(), BODY, NOW + 301),
    "not yet": (headers(), BODY, NOW - 301),
    "no signature": ({k: v for k, v in headers().items() if k != "webhook-signature"}, BODY, NOW),
    "a signature that is none": (headers() | {"webhook-signature": "v1,é"}, BODY, NOW),
    "no time": (headers() | {"webhook-timestamp": "soon"}, BODY, NOW),
}


@pytest.mark.parametrize(("named", "body", "now"), FORGED.values(), ids=FORGED)
def test_what_the_house_did_not_sign_lately_is_forged(named: dict[str, str], body: str, now: int) -> None:
    with pytest.raises(Forged):
        verified(SECRET, named, body.encode(), now_s=now)


def test_a_secret_that_is_none_is_said() -> None:
    with pytest.raises(ValueError, match="whsec_"):
        verified("whsec_not base64", headers(), BODY.encode(), now_s=NOW)
