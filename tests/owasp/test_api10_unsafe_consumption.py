"""API10:2023 Unsafe Consumption of APIs (OWASP API Security Top 10, 2023 edition).

The house consumes one thing: what a receiver answers to an event. Of that it reads the status and how long
to wait, within bounds of size and time, and keeps nothing else. A shop consumes the house: its client
follows no redirect, takes no page for an answer, and believes no event that isn't signed.
"""

import base64
import hashlib
import hmac
import json
import socket
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta
from threading import Event, Thread
from time import time
from typing import Any

import pytest
from staged import House
from till import everything

from api import client
from api.app import create_app
from api.client import Forged, Problem, verified
from api.events import Deliverer
from api.settings import Settings

SCRIPT = "<script>alert(1)</script>"
MIB = b"x" * 2**20


@contextmanager
def answering(answer: Callable[[socket.socket], object]) -> Iterator[int]:
    """A port of this machine where each request is answered as it is said."""
    with socket.create_server(("127.0.0.1", 0)) as server:

        def serve() -> None:
            while True:
                try:
                    connection, _ = server.accept()
                except OSError:
                    return
                Thread(target=one, args=(connection,), daemon=True).start()

        def one(connection: socket.socket) -> None:
            with connection:
                try:
                    connection.recv(65536)
                    answer(connection)
                except OSError:
                    return

        Thread(target=serve, daemon=True).start()
        yield server.getsockname()[1]
        # Else accepting would go on until somebody came.
        server.shutdown(socket.SHUT_RDWR)


def delivered(house: House, answer: Callable[[socket.socket], object], patience_s: float = 3.0) -> Any:
    """What is known of a delivery once a receiver answered it."""
    at_home = create_app(Settings("unused", hooks_private=True), house.clock, house.books)
    with answering(answer) as port:
        hook = house.with_app(at_home).till.post("/v1/hooks", {"url": f"http://127.0.0.1:{port}/"})["id"]
        house.till.prices(gold="61.30")
        assert (
            Deliverer(house.books, private=True, chance=lambda: 1.0, patience_s=patience_s).deliver_due() == 1
        )
    (delivery,) = house.till.listed(f"/v1/hooks/{hook}/deliveries")
    return delivery


def says(raw: bytes) -> Callable[[socket.socket], object]:
    return lambda connection: connection.sendall(raw)


def test_of_an_answer_its_status_alone_is_kept(opened: House) -> None:
    body = f"HTTP/1.1 200 {SCRIPT}\r\nX-Told: {SCRIPT}\r\nContent-Length: {len(SCRIPT)}\r\n\r\n{SCRIPT}"
    delivery = delivered(opened, says(body.encode()))
    assert (delivery["state"], delivery["last_answer"]) == ("delivered", "200")
    assert "alert" not in repr(everything(opened.till.file))


def test_a_body_without_end_is_not_read(opened: House) -> None:
    sent = 0
    ended = Event()

    def endless(connection: socket.socket) -> None:
        nonlocal sent
        connection.sendall(b"HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\n")
        try:
            while sent < 512:
                connection.sendall(b"100000\r\n" + MIB + b"\r\n")
                sent += 1
        finally:
            ended.set()

    assert delivered(opened, endless)["last_answer"] == "200"
    assert ended.wait(60)
    # What stood in buffers on the way, and no more.
    assert sent < 64


def test_a_packed_body_is_not_unpacked(opened: House) -> None:
    head = b"HTTP/1.1 200 OK\r\nContent-Encoding: gzip\r\nContent-Length: 9\r\n\r\nnot gzip!"
    assert delivered(opened, says(head))["last_answer"] == "200"


ODD = {
    "a first line without end": b"HTTP/1.1 200 " + MIB,
    "a header without end": b"HTTP/1.1 200 OK\r\nA: " + MIB + b"\r\n\r\n",
    "more headers than anybody sends": b"HTTP/1.1 200 OK\r\n" + b"A: b\r\n" * 10_000 + b"\r\n",
    "no HTTP": b"SSH-2.0-x\r\n" + MIB,
    "nothing": b"",
    "a status that is none": b"HTTP/1.1 2xx OK\r\n\r\n",
    "a status below all": b"HTTP/1.1 099 OK\r\n\r\n",
    "a status of four digits": b"HTTP/1.1 2000 OK\r\n\r\n",
    "two hundred below zero": b"HTTP/1.1 -200 OK\r\n\r\n",
}


@pytest.mark.parametrize("raw", ODD.values(), ids=ODD)
def test_an_answer_that_is_none_is_one_that_failed_and_is_tried_again(opened: House, raw: bytes) -> None:
    delivery = delivered(opened, says(raw))
    assert (delivery["state"], delivery["attempts"]) == ("pending", 1)
    assert len(delivery["last_answer"]) < 40


@pytest.mark.parametrize(
    ("told", "waits"),
    [
        ("30", timedelta(seconds=30)),
        ("99999999", timedelta(days=1)),
        ("9" * 400, timedelta(seconds=5)),
        ("-1", timedelta(seconds=5)),
        ("1e9", timedelta(seconds=5)),
        ("nan", timedelta(seconds=5)),
        ("٣٠", timedelta(seconds=5)),
        ("Fri, 31 Dec 9999 23:59:59 GMT", timedelta(seconds=5)),
    ],
)
def test_how_long_a_receiver_says_to_wait_is_believed_within_a_day(
    opened: House, told: str, waits: timedelta
) -> None:
    delivery = delivered(
        opened, says(f"HTTP/1.1 503 No\r\nRetry-After: {told}\r\nContent-Length: 0\r\n\r\n".encode())
    )
    assert datetime.fromisoformat(delivery["next_at"]) - opened.clock.now == waits


def test_a_receiver_that_never_comes_to_the_point_is_left_and_its_connection_with_it(opened: House) -> None:
    """A letter now and then would hold any limit on a single read off for days (`Continue` as well)."""
    hung_up = Event()

    def on_and_on(connection: socket.socket) -> None:
        try:
            while not hung_up.wait(0.05):
                connection.sendall(b"HTTP/1.1 100 Continue\r\n\r\n")
        except OSError:
            hung_up.set()
            raise

    delivery = delivered(opened, on_and_on, patience_s=0.5)
    assert (delivery["state"], delivery["last_answer"]) == ("pending", "no answer in time")
    assert hung_up.wait(30)


# a shop, of the house


def shop(port: int) -> client.House:
    asked = client.House(f"http://127.0.0.1:{port}", "a-key", tries=2, sleep=lambda _: None)
    asked.session.trust_env = False
    return asked


@pytest.mark.parametrize("status", [301, 302, 303, 307, 308])
def test_a_shops_client_goes_nowhere_else_with_its_key_and_takes_no_detour_for_done(status: int) -> None:
    got: list[bytes] = []
    with answering(lambda _: got.append(b"came")) as elsewhere:
        moved = (
            f"HTTP/1.1 {status} Moved\r\nLocation: http://127.0.0.1:{elsewhere}/\r\nContent-Length: 0\r\n\r\n"
        )
        with answering(says(moved.encode())) as port, pytest.raises(Problem) as refused:
            shop(port).post("/v1/quotes", {"items": []})
    assert refused.value.status == status
    assert got == []


@pytest.mark.parametrize(
    "body", ["<html>sign in to the café's network</html>", "", "[1]", "5", '"x"', "{", "null"]
)
def test_a_shops_client_takes_no_page_on_the_way_for_an_answer(body: str) -> None:
    raw = body.encode()
    page = b"HTTP/1.1 200 OK\r\nContent-Type: text/html\r\nContent-Length: %d\r\n\r\n" % len(raw) + raw
    with answering(says(page)) as port, pytest.raises(Problem) as refused:
        shop(port).post("/v1/quotes", {"items": []})
    assert (refused.value.status, refused.value.type) == (200, "about:blank")


@pytest.mark.parametrize(
    "link",
    [
        "http://elsewhere.example/v1/quotes",
        "//elsewhere.example/",
        "@elsewhere.example/",
        ".elsewhere.example/",
    ],
)
def test_a_shops_client_follows_no_link_to_another_house(link: str) -> None:
    page = f'HTTP/1.1 200 OK\r\nLink: <{link}>; rel="next"\r\nContent-Length: 13\r\n\r\n{{"items": []}}'
    with answering(says(page.encode())) as port, pytest.raises(Problem):
        [*shop(port).quotes()]


@pytest.mark.parametrize("body", [b"{", b"null", b"[]", b"5", b"{}", b'{"type": "x"}', b"\xff"])
def test_a_signed_event_that_is_none_is_refused_as_forged(body: bytes) -> None:
    """Whoever has the secret may still send what is no event; a receiver has one exception to look for."""
    key, at = b"a secret of this test, long enough", str(int(time()))
    mac = base64.b64encode(hmac.digest(key, f"EV-1.{at}.".encode() + body, hashlib.sha256)).decode()
    headers = {"webhook-id": "EV-1", "webhook-timestamp": at, "webhook-signature": f"v1,{mac}"}
    with pytest.raises(Forged):
        verified("whsec_" + base64.b64encode(key).decode(), headers, body)


def test_a_signature_is_looked_for_before_the_body_is_read() -> None:
    deep = b"[" * 200_000
    headers = {"webhook-id": "EV-1", "webhook-timestamp": str(int(time())), "webhook-signature": "v1,AAAA"}
    with pytest.raises(Forged):
        verified("whsec_AAAA", headers, deep)
    with pytest.raises(Forged):
        verified("whsec_AAAA", headers, json.dumps({"type": "settlement.posted"}).encode())
