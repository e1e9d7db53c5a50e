"""API7:2023 Server Side Request Forgery (OWASP API Security Top 10, 2023 edition).

The house posts to one kind of address that somebody entered: that of a hook. It is https, in the open
network, however it is spelled and whatever its name answers when it comes to sending; a redirect is an
answer and no way; nothing of what is there is read back to who entered it.
"""

import socket
from collections.abc import Iterator
from contextlib import contextmanager
from threading import Thread
from typing import Any

import pytest
from attacked import document
from staged import House

from api.addresses import Closed, post, why_closed
from api.app import create_app
from api.events import Deliverer
from api.settings import Settings

# Spellings that a look-up takes for an address of this machine or of its neighbours (inet_aton(3) knows octal,
# hexadecimal and fewer than four parts; RFC 4291, RFC 6052, RFC 3056, RFC 4380 and RFC 2765 carry IPv4 within
# IPv6; outside of 2000::/3 nothing was given out, says IANA's registry of the IPv6 address space).
CLOSED = (
    "127.0.0.1", "127.1", "127.0.1", "2130706433", "0x7f000001", "0x7f.0.0.1", "0177.0.0.1", "017700000001",
    "0x7F.1", "0", "0.0.0.0", "10.0.0.1", "0x0a000001", "012.0.0.1", "167772161", "172.16.0.1", "192.168.1.1",
    "169.254.169.254", "2852039166", "0xa9fea9fe", "0251.0376.0251.0376", "100.64.0.1", "198.18.0.1", "192.0.2.1",
    "224.0.0.1", "255.255.255.255", "127.0.0.1.", "localhost", "LOCALHOST", "localhost.", "a.localhost",
    "[::1]", "[::]", "[0:0:0:0:0:0:0:1]", "[::ffff:127.0.0.1]", "[::ffff:7f00:1]", "[::ffff:10.0.0.1]",
    "[::127.0.0.1]", "[64:ff9b::7f00:1]", "[2002:7f00:1::]", "[2001:0:7f00:1::]", "[fe80::1]", "[fe80::1%25eth0]",
    "[fc00::1]", "[fd12:3456::1]", "[ff02::1]", "[fec0::1]", "[2001:db8::1]",
    "[::ffff:0:127.0.0.1]", "[::ffff:0:a00:1]", "[1::1]", "[200::1]", "[5f00::1]", "[8000::7f00:1]",
)  # fmt: skip


@pytest.mark.parametrize("host", CLOSED)
def test_no_spelling_of_a_private_address_is_taken(standing: House, host: str) -> None:
    for url in (f"https://{host}/", f"https://{host}:8443/events?a=b"):
        refusal = standing.till.refused.post("/v1/hooks", {"url": url})
        assert (refusal.status, set(refusal.faults)) == (422, {"/url"}), url


@pytest.mark.parametrize("host", [h for h in CLOSED if not h.lower().rstrip(".").endswith("localhost")])
def test_neither_is_it_posted_to_though_it_stands_in_the_books(host: str) -> None:
    with pytest.raises((Closed, OSError)):
        post(f"https://{host}:9/", b"{}", {}, 2, private=False)


@pytest.mark.parametrize(
    "host", ["till.example", "93.184.215.14", "1.1.1.1", "[2606:4700::1111]", "xn--bcher-kva.example"]
)
def test_an_address_in_the_open_network_is_taken(host: str) -> None:
    assert why_closed(f"https://{host}/events") is None


@pytest.mark.parametrize(
    "url",
    [
        "http://till.example/", "file:///etc/passwd", "gopher://till.example/", "ftp://till.example/", "//till.example/",
        "https:///etc", "https://till.example@127.0.0.1/", "https://127.0.0.1#@till.example/", "javascript:alert(1)",
        "https://till.example\\@127.0.0.1/", "https://till.example:0/", "https://till.example:99999/", "https://[::1",
        "https://１２７.0.0.1/", "https://127。0。0。1/", "https://till.example/\r\nHost: localhost", " https://till.example/",
        "https://till.example/ x", "unix:///run/x.sock", "data:,x", "HTTPS://127.0.0.1/", "https://%31%32%37.0.0.1/",
    ],
)  # fmt: skip
def test_what_is_no_plain_https_address_is_not_taken(standing: House, url: str) -> None:
    assert set(standing.till.refused.post("/v1/hooks", {"url": url}).faults) == {"/url"}


@contextmanager
def listening() -> Iterator[tuple[int, list[Any]]]:
    """A port of this machine, and who connected to it."""
    came: list[Any] = []
    with socket.create_server(("127.0.0.1", 0)) as server:
        server.settimeout(0.2)

        def take() -> None:
            while True:
                try:
                    connection, peer = server.accept()
                except TimeoutError:
                    continue
                except OSError:
                    return
                came.append(peer)
                connection.close()

        thread = Thread(target=take, daemon=True)
        thread.start()
        yield server.getsockname()[1], came
    thread.join()


def test_a_name_that_leads_home_by_the_time_of_sending_is_not_followed(
    opened: House, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Entered while it led elsewhere, or looked up twice with another answer (DNS rebinding)."""
    with listening() as (port, came):
        hook = opened.till.post("/v1/hooks", {"url": f"https://till.example:{port}/"})
        opened.till.prices(gold="61.30")
        answers = iter([["127.0.0.1"], ["93.184.215.14", "127.0.0.1"], ["127.0.0.1", "93.184.215.14"]])

        def looked_up(*_: Any, **__: Any) -> list[Any]:
            return [(socket.AF_INET, socket.SOCK_STREAM, 6, "", (number, port)) for number in next(answers)]

        with monkeypatch.context() as leading_home:
            leading_home.setattr(socket, "getaddrinfo", looked_up)
            for _ in range(3):
                Deliverer(opened.books, chance=lambda: 1.0).deliver_due()
                opened.clock.move(hours=1)
    assert came == []
    (delivery,) = opened.till.listed(f"/v1/hooks/{hook['id']}/deliveries")
    assert (delivery["attempts"], delivery["last_answer"]) == (3, "refused: a private address")


def test_a_name_is_looked_up_once_and_what_was_looked_up_is_connected_to(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The second look-up of the same attempt would lead home: there is none."""
    asked: list[str] = []

    def looked_up(host: str, *_: Any, **__: Any) -> list[Any]:
        asked.append(host)
        if len(asked) > 1:
            raise OSError("this test goes nowhere")
        return [(socket.AF_INET, socket.SOCK_STREAM, 6, "", ("93.184.215.14", 443))]

    monkeypatch.setattr(socket, "getaddrinfo", looked_up)
    with pytest.raises(OSError):
        post("https://till.example/", b"{}", {}, 2, private=False)
    assert asked == ["till.example", "93.184.215.14"]


def test_hooks_that_could_lie_at_home_are_closed_when_the_setting_is_taken_back(opened: House) -> None:
    with listening() as (port, came):
        at_home = create_app(Settings("unused", hooks_private=True), opened.clock, opened.books)
        opened.with_app(at_home).till.post("/v1/hooks", {"url": f"http://127.0.0.1:{port}/"})
        opened.with_app(at_home).till.post("/v1/hooks", {"url": f"https://2130706433:{port}/"})
        opened.till.prices(gold="61.30")
        Deliverer(opened.books).deliver_due()
        assert came == []
    told = [opened.till.listed(f"/v1/hooks/{hook}/deliveries")[0]["last_answer"] for hook in ("H-1", "H-2")]
    assert told == ["refused: not https", "refused: a private address"]


def test_entering_and_replaying_a_hook_asks_nobody(opened: House, monkeypatch: pytest.MonkeyPatch) -> None:
    """So that neither an answer nor how long it took tells what is behind an address."""

    def nobody(*_: Any, **__: Any) -> None:
        raise AssertionError("somebody was asked")

    monkeypatch.setattr(socket, "getaddrinfo", nobody)
    monkeypatch.setattr(socket, "create_connection", nobody)
    hook = opened.till.post("/v1/hooks", {"url": "https://till.example/"})
    opened.till.prices(gold="61.30")
    (delivery,) = opened.till.listed(f"/v1/hooks/{hook['id']}/deliveries")
    assert (
        opened.till.post(f"/v1/hooks/{hook['id']}/deliveries/{delivery['id']}/replay")["state"] == "pending"
    )


def test_no_other_body_has_an_address_in_it(standing: House) -> None:
    def addresses(schema: Any, name: str) -> set[str]:
        if not isinstance(schema, dict):
            return set()
        here = {name} if schema.get("format") in ("uri", "url", "iri", "uri-reference") else set()
        return here.union(*(addresses(value, f"{name}/{step}") for step, value in schema.items()))

    spec = document(standing)
    assert addresses(spec["components"]["schemas"]["Hook"], "") == {"/properties/url"}
    bodies = {n: s for n, s in spec["components"]["schemas"].items() if not n.endswith(("Answer", "Hook"))}
    assert {n for n, schema in bodies.items() if addresses(schema, "")} == set()
