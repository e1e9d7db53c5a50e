"""Delivered at least once, in order per document, for days; judged by the public library."""

import socket
import time
from datetime import UTC, datetime, timedelta
from threading import Event, Thread
from typing import Any

import pytest
import standardwebhooks.webhooks as judge
from receiver import Receiver, status
from staged import House
from stages import CLIENT, asked
from standardwebhooks.webhooks import Webhook, WebhookVerificationError
from till import everything

from api.events import ATTEMPTS, PATIENCE_S, Deliverer
from settle.books.deliveries import claim, delivered, failed, is_any_due
from settle.books.work import NOBODY

PRICES = {"prices": {"gold": {"amount": "61.30", "currency": "GBP", "per": "g"}}}


def hook(house: House, url: str, **more: Any) -> Any:
    return house.till.post("/v1/hooks", {"url": url, **more})


def sent(house: House, made: Any, state: str | None = None) -> list[Any]:
    where = f"/v1/hooks/{made['id']}/deliveries" + (f"?state={state}" if state else "")
    return list(reversed(house.till.listed(where)))


def in_our_days(house: House, monkeypatch: pytest.MonkeyPatch) -> None:
    """The public judge looks at the clock of this machine: let it see the house's."""

    class Now(judge.datetime):  # type: ignore[name-defined,misc]
        @classmethod
        def now(cls, tz: Any = None) -> Any:
            return house.clock.now.astimezone(tz or UTC)

    monkeypatch.setattr(judge, "datetime", Now)


def test_a_receiver_can_verify_what_it_gets_with_the_public_library(
    house: House, deliverer: Deliverer, receiver: Receiver, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = hook(house, receiver.url)
    quote = house.till.quote(asked(client=CLIENT))
    assert deliverer.deliver_due() == 1
    in_our_days(house, monkeypatch)
    headers, body = receiver.got[0]
    assert Webhook(made["secret"]).verify(body, headers) == {
        "type": "quote.issued",
        "timestamp": "2026-03-02T09:30:00.000Z",
        "data": {
            "quote": quote["number"],
            "client": CLIENT,
            "valid_until": quote["valid_until"],
            "revises": None,
        },
    }
    assert headers["content-type"] == "application/json"
    with pytest.raises(WebhookVerificationError):
        Webhook(made["secret"]).verify(body.replace(b"quote.issued", b"quote.forged"), headers)
    (delivery,) = sent(house, made)
    assert (delivery["state"], delivery["last_answer"], delivery["attempts"]) == ("delivered", "204", 1)
    assert deliverer.deliver_due() == 0


def test_a_renewed_secret_signs_at_once_and_the_old_one_along_for_a_day(
    house: House, deliverer: Deliverer, receiver: Receiver, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = hook(house, receiver.url)
    house.clock.move(hours=1)
    with_seen = f"/v1/hooks/{made['id']}/secret", None, house.till.get(made.at).etag
    renewed = house.till.post(*with_seen)
    assert house.till.refused.post(*with_seen).kind == "changed-since-seen"
    assert renewed["old_secret_until"] == "2026-03-03T10:30:00.000Z"
    in_our_days(house, monkeypatch)

    def opens(secret: str) -> bool:
        house.till.post("/v1/prices", PRICES)
        deliverer.deliver_due()
        headers, body = receiver.got[-1]
        return is_signed_with(secret, body, headers)

    assert opens(renewed["secret"])
    assert opens(made["secret"])
    house.clock.move(days=1)
    assert opens(renewed["secret"])
    assert not opens(made["secret"])


def test_secrets_renewed_within_a_day_all_sign_along_until_the_last_is_done(
    house: House, deliverer: Deliverer, receiver: Receiver, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = hook(house, receiver.url)
    at, secrets = f"/v1/hooks/{made['id']}", [made["secret"]]

    def seen() -> tuple[str, None, str]:
        return f"{at}/secret", None, house.till.ask("GET", at).headers["ETag"]

    def that_open() -> list[str]:
        house.till.post("/v1/prices", PRICES)
        deliverer.deliver_due()
        headers, body = receiver.got[-1]
        return [secret for secret in secrets if is_signed_with(secret, body, headers)]

    in_our_days(house, monkeypatch)
    for _ in range(4):
        house.clock.move(hours=1)
        secrets.append(house.till.post(*seen())["secret"])
    assert that_open() == secrets
    refusal = house.till.refused.post(*seen())
    assert (refusal.status, refusal.kind) == (409, "wrong-state")
    house.clock.move(days=1)
    assert that_open() == secrets[-1:]
    secrets.append(house.till.post(*seen())["secret"])
    assert that_open() == secrets[-2:]


def is_signed_with(secret: str, body: bytes, headers: Any) -> bool:
    try:
        return bool(Webhook(secret).verify(body, headers))
    except WebhookVerificationError:
        return False


def test_what_fails_is_tried_again_ever_more_rarely_for_days_and_then_given_up(
    house: House, deliverer: Deliverer, receiver: Receiver
) -> None:
    receiver.answer = lambda handler: status(handler, 500)
    made = hook(house, receiver.url)
    house.till.post("/v1/prices", PRICES)
    start, waits = house.clock.now, []
    while deliverer.deliver_due():
        (delivery,) = sent(house, made)
        if delivery["state"] == "dead":
            break
        before, house.clock.now = house.clock.now, datetime.fromisoformat(delivery["next_at"])
        waits.append(house.clock.now - before)
    assert [wait.total_seconds() for wait in waits[:4]] == [5, 20, 80, 320]
    assert waits == sorted(waits)
    assert len(receiver.got) == ATTEMPTS == len(set(receiver.ids)) * ATTEMPTS
    assert timedelta(days=3) < house.clock.now - start < timedelta(days=8)
    assert sent(house, made, "dead") == [{**delivery, "next_at": None}]
    house.clock.move(days=30)
    assert deliverer.deliver_due() == 0


def test_some_of_each_wait_is_left_to_chance(house: House, receiver: Receiver) -> None:
    receiver.answer = lambda handler: status(handler, 503)
    made = hook(house, receiver.url)
    house.till.post("/v1/prices", PRICES)
    Deliverer(house.books, private=True, chance=lambda: 0.0).deliver_due()
    wait = datetime.fromisoformat(sent(house, made)[0]["next_at"]) - house.clock.now
    assert wait == timedelta(seconds=2.5)


def test_a_receiver_says_how_long_it_wants_to_be_left_alone(
    house: House, deliverer: Deliverer, receiver: Receiver
) -> None:
    receiver.answer = lambda handler: status(handler, 503, Retry_After="3600")
    made = hook(house, receiver.url)
    house.till.post("/v1/prices", PRICES)
    deliverer.deliver_due()
    assert datetime.fromisoformat(sent(house, made)[0]["next_at"]) - house.clock.now == timedelta(hours=1)


def test_a_receiver_that_is_gone_is_not_asked_again(
    house: House, deliverer: Deliverer, receiver: Receiver
) -> None:
    receiver.answer = lambda handler: status(handler, 410)
    made = hook(house, receiver.url)
    house.till.post("/v1/prices", PRICES)
    deliverer.deliver_due()
    assert [d["last_answer"] for d in sent(house, made, "dead")] == ["410"]


def test_the_events_of_a_document_wait_for_the_first_of_them_and_others_do_not(
    house: House, deliverer: Deliverer, receiver: Receiver
) -> None:
    def refuse_the_quote_once(handler: Any) -> None:
        mine = [h["webhook-id"] for h, _ in receiver.got].index(handler.headers["webhook-id"])
        is_first = receiver.kinds[mine] == "quote.issued" and receiver.kinds.count("quote.issued") == 1
        status(handler, 500 if is_first else 200)

    receiver.answer = refuse_the_quote_once
    hook(house, receiver.url)
    house.till.accept(house.till.quote(asked(client=CLIENT)))
    house.till.post("/v1/prices", PRICES)
    deliverer.deliver_due()
    # Sent at the same time, they arrive in any order.
    assert sorted(receiver.kinds) == ["price.entered", "quote.issued"]
    house.clock.move(seconds=5)
    deliverer.deliver_due()
    assert receiver.kinds[2:] == ["quote.issued", "quote.accepted"]
    assert receiver.ids[receiver.kinds.index("quote.issued")] == receiver.ids[2]


def test_what_was_given_up_holds_nothing_back(house: House, deliverer: Deliverer, receiver: Receiver) -> None:
    receiver.answer = lambda handler: status(handler, 410 if len(receiver.got) == 1 else 200)
    made = hook(house, receiver.url)
    house.till.accept(house.till.quote(asked(client=CLIENT)))
    deliverer.deliver_due()
    assert [d["state"] for d in sent(house, made)] == ["dead", "delivered"]


def test_a_receiver_that_hangs_is_left_in_time_and_holds_up_no_other(
    house: House, deliverer: Deliverer, receiver: Receiver
) -> None:
    go_on = Event()
    silent = socket.create_server(("127.0.0.1", 0))
    slow = hook(house, f"http://127.0.0.1:{silent.getsockname()[1]}/")

    def a_letter_now_and_then(handler: Any) -> None:
        while not go_on.wait(0.1):
            handler.wfile.write(b"HTTP/1.1 200 OK"[:1])

    quick = hook(house, receiver.url, kinds=["price.entered"])
    trickling = hook(house, receiver.url.replace("/events", "/trickle"))
    usual = receiver.answer
    receiver.answer = lambda h: a_letter_now_and_then(h) if h.path == "/trickle" else usual(h)
    start = time.monotonic()
    house.till.post("/v1/prices", PRICES)
    deliverer.deliver_due()
    assert time.monotonic() - start < 2 * deliverer.patience_s
    assert [d["state"] for d in sent(house, quick)] == ["delivered"]
    for made in (slow, trickling):
        assert [(d["state"], d["attempts"]) for d in sent(house, made)] == [("pending", 1)]
    go_on.set()
    silent.close()


def test_hooks_take_turns_so_that_one_that_hangs_on_thousands_holds_up_no_other(
    house: House, receiver: Receiver
) -> None:
    """An attempt may take as long as patience lasts, and only so many are made at once."""
    hooks = []
    for quotes in (5, 2):
        hooks.append(hook(house, receiver.url, kinds=["quote.issued"]))
        for _ in range(quotes):
            house.till.quote(asked(client=CLIENT))
        house.clock.move(seconds=1)
    with house.books.writing(NOBODY) as work:
        claimed = [{due.id for due in claim(work, 4)} for _ in range(2)]
    of_first, of_second = ([row["id"] for row in sent(house, made)] for made in hooks)
    assert claimed == [{*of_first[:2], *of_second}, set(of_first[2:6])]


def test_a_receiver_that_took_it_and_hung_gets_it_again_under_the_same_id(
    house: House, deliverer: Deliverer, receiver: Receiver
) -> None:
    def drop_the_first(handler: Any) -> None:
        if len(receiver.got) == 1:
            handler.connection.shutdown(socket.SHUT_RDWR)
        else:
            status(handler, 200)

    receiver.answer = drop_the_first
    hook(house, receiver.url)
    house.till.post("/v1/prices", PRICES)
    deliverer.deliver_due()
    house.clock.move(seconds=5)
    deliverer.deliver_due()
    assert len(receiver.ids) == 2
    assert len(set(receiver.ids)) == 1
    assert receiver.got[0][1] == receiver.got[1][1]


def test_a_deliverer_that_died_in_the_middle_loses_nothing(
    house: House, deliverer: Deliverer, receiver: Receiver
) -> None:
    hook(house, receiver.url)
    house.till.post("/v1/prices", PRICES)
    assert len(deliverer._claim()) == 1  # and dies
    assert deliverer.deliver_due() == 0
    house.clock.move(minutes=2)
    assert deliverer.deliver_due() == 1
    assert receiver.kinds == ["price.entered"]


def test_an_attempt_that_is_late_to_tell_takes_nothing_back(house: House, receiver: Receiver) -> None:
    """Its lease was over: another attempt was made since, and that one's word stands; so does a delivery."""
    made = hook(house, receiver.url)
    house.till.post("/v1/prices", PRICES)

    def one() -> Any:
        with house.books.writing(NOBODY) as work:
            (due,) = claim(work, 1)
        return due

    def late(due: Any, wait: timedelta | None) -> Any:
        with house.books.writing(NOBODY) as work:
            failed(work, due, "late", wait)
        (row,) = sent(house, made)
        return row["state"], row["attempts"], row["last_answer"]

    slow = one()
    # Whoever asks within its patience still has it.
    house.clock.move(seconds=2 * PATIENCE_S)
    with house.books.reading() as work:
        assert not is_any_due(work)
    house.clock.move(minutes=3)
    second = one()
    assert late(slow, None) == ("pending", 2, None)
    with house.books.writing(NOBODY) as work:
        delivered(work, second, "204")
    assert late(slow, timedelta(0)) == ("delivered", 2, "204")
    assert late(second, timedelta(0)) == ("delivered", 2, "204")
    house.clock.move(days=1)
    with house.books.reading() as work:
        assert not is_any_due(work)


def test_two_deliverers_send_each_event_once(house: House, receiver: Receiver) -> None:
    hook(house, receiver.url)
    for _ in range(12):
        house.till.quote(asked(client=CLIENT))
    both = [Thread(target=Deliverer(house.books, private=True).deliver_due) for _ in range(2)]
    for one in both:
        one.start()
    for one in both:
        one.join()
    assert len(receiver.ids) == len(set(receiver.ids)) == 12


def test_a_delivery_is_replayed_on_request(house: House, deliverer: Deliverer, receiver: Receiver) -> None:
    made = hook(house, receiver.url)
    house.till.post("/v1/prices", PRICES)
    deliverer.deliver_due()
    (delivery,) = sent(house, made)
    again = house.till.post(f"/v1/hooks/{made['id']}/deliveries/{delivery['id']}/replay")
    assert (again.status, again["state"], again["attempts"]) == (202, "pending", 0)
    deliverer.deliver_due()
    assert receiver.ids == [delivery["event"]] * 2
    refusal = house.till.refused.post(f"/v1/hooks/{made['id']}/deliveries/D-99/replay")
    assert refusal.status == 404


def test_nothing_goes_to_a_hook_that_was_revoked(
    house: House, deliverer: Deliverer, receiver: Receiver
) -> None:
    made = hook(house, receiver.url)
    house.till.post("/v1/prices", PRICES)
    assert house.till.ask("DELETE", made.at).status_code == 204
    house.till.post("/v1/prices", PRICES)
    assert deliverer.deliver_due() == 0
    assert receiver.got == []
    (delivery,) = sent(house, made)
    for path in ("secret", f"deliveries/{delivery['id']}/replay"):
        seen = house.till.get(made.at).etag
        assert house.till.refused.post(f"{made.at}/{path}", seen=seen).kind == "wrong-state"
    assert house.till.get(made.at)["revoked_at"]
    assert made["secret"] not in repr(everything(house.till.file))


def test_the_secret_is_shown_once_and_hooks_are_the_owners_alone(house: House) -> None:
    made = hook(house, "https://till.example/events")
    assert made["secret"].startswith("whsec_")
    assert "secret" not in house.till.get(made.at)
    assert [set(row) & {"secret"} for row in house.till.listed("/v1/hooks")] == [set()]
    for scope in ("read", "quote", "settle"):
        assert house.as_(scope).refused.get("/v1/hooks").status == 403


# by command, and beside the server
