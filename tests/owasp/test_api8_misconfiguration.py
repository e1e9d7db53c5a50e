"""API8:2023 Security Misconfiguration (OWASP API Security Top 10, 2023 edition).

As it is served where nobody sets anything: every answer, refusals too, says how a browser is to keep to it;
pages of other origins read nothing; an error of ours tells nothing of us; a method that no call has is
refused; no server names itself; numbers for whoever watches are shown by setting alone.
"""

import json
import re
import socket
from contextlib import suppress
from typing import Any

import pytest
import requests
from attacked import address, operations
from staged import House

from api.app import create_app
from api.settings import Settings, read_settings
from tests.line.served import Served

PATIENCE_S = 60
OF_THE_PROGRAM = re.compile(
    r"Traceback|File \"|\.py\b|sqlalchemy|sqlite|psycopg|werkzeug|waitress|flask|marshmallow|python/|SELECT ",
    re.IGNORECASE,
)


def every_answer(house: House) -> list[tuple[str, Any]]:
    """Answers and refusals of every call, with a key and without."""
    found = []
    for method, path in operations(house):
        for till, body in ((house.till, None), (house.as_("estimate"), {}), (house.till.with_key("x"), b"{")):
            if method == "GET" or till is not house.till:
                found.append(
                    (f"{method} {path}", till.ask(method, address(path), None if method == "GET" else body))
                )
    found.append(("GET nowhere", house.till.ask("GET", "/nowhere")))
    found.append(("PUT", house.till.ask("PUT", "/v1/quotes")))
    return found


def test_every_answer_says_how_a_browser_is_to_keep_to_it(standing: House) -> None:
    answers = every_answer(standing)
    assert len({answer.status_code for _, answer in answers}) >= 6
    for call, answer in answers:
        headers = answer.headers
        assert headers["X-Content-Type-Options"] == "nosniff", call
        assert headers["Referrer-Policy"] == "no-referrer", call
        policy = headers["Content-Security-Policy"]
        assert policy.startswith("default-src 'none'"), call
        assert "frame-ancestors 'none'" in policy, call
        assert "unsafe" not in policy, call
        if not call.startswith("GET /docs/"):
            assert headers["Cache-Control"] == "no-store", call
        assert "Access-Control-Allow-Origin" not in headers, call
        assert "Set-Cookie" not in headers, call


def test_no_answer_tells_what_the_program_is_made_of(standing: House) -> None:
    for call, answer in every_answer(standing):
        if not call.startswith(("GET /docs", "GET /openapi", "GET /problems")):
            told = answer.get_data(as_text=True) if answer.mimetype and "json" in answer.mimetype else ""
            assert OF_THE_PROGRAM.findall(told) == [], call
        assert "Server" not in answer.headers
        assert "X-Powered-By" not in answer.headers


@pytest.mark.parametrize("debug", [False, True])
def test_an_error_of_ours_tells_nothing_even_while_somebody_debugs(
    house: House, monkeypatch: pytest.MonkeyPatch, debug: bool
) -> None:
    def stumble(*_: Any, **__: Any) -> None:
        raise RuntimeError("the secret of Quillfeather")

    monkeypatch.setattr("settle.books.clients.add", stumble)
    app = create_app(Settings("unused"), house.clock, house.books)
    app.debug = debug
    answer = house.with_app(app).till.ask("POST", "/v1/clients", {"name": "Quillfeather"})
    assert (answer.status_code, answer.mimetype) == (500, "application/problem+json")
    assert answer.json == {"type": "/problems/internal-error", "title": answer.json["title"], "status": 500}
    assert not re.search("Quillfeather|RuntimeError|stumble", answer.get_data(as_text=True))


@pytest.mark.parametrize("method", ["TRACE", "TRACK", "CONNECT", "PUT", "PROPFIND", "DEBUG", "X"])
def test_a_method_that_no_call_has_is_refused_and_echoes_nothing(standing: House, method: str) -> None:
    for path in ("/livez", "/v1/quotes", "/v1/keys/K-1", "/openapi.json"):
        answer = standing.till.ask(method, path, X_Echo="an echo")
        assert (answer.status_code, answer.json["type"]) == (405, "/problems/method-not-allowed"), path
        assert answer.headers["Allow"]
        assert standing.till.secret not in answer.get_data(as_text=True)
        assert "an echo" not in answer.get_data(as_text=True)


@pytest.mark.parametrize("origin", ["https://elsewhere.example", "null", "https://www.shop.example"])
def test_a_page_that_no_key_names_reads_nothing(standing: House, origin: str) -> None:
    for method, path in operations(standing):
        asked = {"Access_Control_Request_Method": method, "Access_Control_Request_Headers": "authorization"}
        for answer in (
            standing.till.ask("OPTIONS", address(path), Authorization=None, Origin=origin, **asked),
            standing.till.ask("GET", address(path), Origin=origin) if method == "GET" else None,
        ):
            told = (
                []
                if answer is None
                else [name for name, _ in answer.headers if name.startswith("Access-Control")]
            )
            assert told == [], (method, path)


def test_a_page_that_a_key_names_reads_answers_to_that_key_alone_and_no_cookie_goes_along(
    house: House,
) -> None:
    page = "https://www.shop.example"
    made = house.till.post("/v1/keys", {"name": "page", "scopes": ["estimate"], "origins": [page]})
    theirs = house.till.with_key(made["secret"]).ask("POST", "/v1/estimates", {"items": []}, Origin=page)
    assert theirs.headers["Access-Control-Allow-Origin"] == page
    assert "Access-Control-Allow-Credentials" not in theirs.headers
    ours = house.till.ask("GET", "/v1/clients", Origin=page)
    assert "Access-Control-Allow-Origin" not in ours.headers


def test_a_host_that_the_client_made_up_is_in_no_answer(standing: House) -> None:
    for path in ("/v1/prices?limit=1", "/v1/quotes", "/docs", "/openapi.json", "/nowhere", "/v1//quotes"):
        answer = standing.till.ask("GET", path, Host="evil.example", X_Forwarded_Host="evil.example")
        assert "evil.example" not in answer.get_data(as_text=True), path
        links = [value for name, value in answer.headers if name in ("Link", "Content-Location")]
        assert "evil.example" not in " ".join(links), path
    created = standing.till.ask("POST", "/v1/estimates", {"items": []}, Host="evil.example")
    assert "evil.example" not in str(created.headers)


def test_numbers_are_shown_by_setting_alone(house: House) -> None:
    assert house.till.ask("GET", "/metrics", Authorization=None).status_code == 404
    shown = create_app(Settings("unused", metrics=True), house.clock, house.books)
    assert house.with_app(shown).till.ask("GET", "/metrics", Authorization=None).status_code == 200


def test_what_nobody_sets_is_the_careful_choice() -> None:
    found = read_settings({})
    assert found.limits is not None
    assert (found.metrics, found.hooks_private, found.deliver, found.trusted_proxy) == (
        False,
        False,
        False,
        "",
    )
    assert (found.body_limit, found.estimate_items) == (1024 * 1024, 50)


# as it is served


def told_by(server: Served, raw: bytes) -> bytes:
    """What a server answers to bytes as they are, to the end."""
    told: list[bytes] = []
    with (
        socket.create_connection(("127.0.0.1", server.port), timeout=PATIENCE_S) as connection,
        # It may hang up on what it doesn't want to hear the end of.
        suppress(ConnectionError),
    ):
        connection.sendall(raw)
        connection.shutdown(socket.SHUT_WR)
        told.extend(iter(lambda: connection.recv(65536), b""))
    return b"".join(told)


MALFORMED = {
    "no request": b"\x16\x03\x01\x02\x00\x01\r\n\r\n",
    "a header without a name": b"GET /livez HTTP/1.1\r\nHost: x\r\n: x\r\n\r\n",
    "two lengths": b"POST /v1/estimates HTTP/1.1\r\nHost: x\r\nContent-Length: 1\r\nContent-Length: 2\r\n\r\n{}",
    "a length and chunks": b"POST /v1/estimates HTTP/1.1\r\nHost: x\r\nContent-Length: 3\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\n",
    "a coding of the way that is none": b"POST /v1/estimates HTTP/1.1\r\nHost: x\r\nTransfer-Encoding: x\r\n\r\n{}",
    "a negative length": b"POST /v1/estimates HTTP/1.1\r\nHost: x\r\nContent-Length: -1\r\n\r\n{}",
    "headers without end": b"GET /livez HTTP/1.1\r\nHost: x\r\n" + b"A: " + b"x" * 400_000 + b"\r\n\r\n",
    "a trace": b"TRACE /livez HTTP/1.1\r\nHost: x\r\nAuthorization: Bearer an-echo\r\n\r\n",
    "a proxy's request": b"GET http://elsewhere.example/ HTTP/1.1\r\nHost: x\r\n\r\n",
    "a body that ends early": b"POST /v1/estimates HTTP/1.1\r\nHost: x\r\nContent-Length: 99\r\n\r\n{",
}


@pytest.mark.parametrize("raw", MALFORMED.values(), ids=MALFORMED)
def test_what_is_no_request_is_refused_without_a_word_of_the_server(server: Served, raw: bytes) -> None:
    told = told_by(server, raw)
    assert not told or 400 <= int(told.split()[1]) <= 501
    assert OF_THE_PROGRAM.findall(told.decode("latin-1")) == []
    assert b"an-echo" not in told
    assert b"\nserver:" not in told.lower()
    # And it goes on.
    assert requests.get(f"{server.address}/livez", timeout=PATIENCE_S).status_code == 200


def test_a_request_hidden_in_the_body_of_another_is_not_answered(server: Served) -> None:
    """Request smuggling: one length for a proxy, another for the server (RFC 9112, section 6.3)."""
    hidden = b"GET /v1/reference/units HTTP/1.1\r\nHost: x\r\n\r\n"
    head = b"POST /v1/certificate-checks HTTP/1.1\r\nHost: x\r\nContent-Type: application/json\r\n"
    for lengths in (
        b"Content-Length: %d\r\nTransfer-Encoding: chunked\r\n" % (5 + len(hidden)),
        b"Transfer-Encoding: chunked\r\nTransfer-Encoding: identity\r\n",
        b"Transfer-Encoding: xchunked\r\n",
        b"Transfer-Encoding : chunked\r\n",
    ):
        told = told_by(server, head + lengths + b"\r\n0\r\n\r\n" + hidden)
        if told.count(b"HTTP/1.1 ") > 1:
            # It was read as RFC 9112 says, as two requests; a proxy in front must do so too.
            assert b"chunked" in lengths
            assert told.split(b"\r\n")[0].split()[1] in (b"400", b"422")


def test_a_served_house_names_no_server_and_says_how_a_browser_is_to_keep_to_it(server: Served) -> None:
    for path in ("/livez", "/v1/quotes", "/nowhere", "/metrics", "/docs"):
        answer = requests.get(server.address + path, timeout=PATIENCE_S)
        assert "Server" not in answer.headers, path
        assert answer.headers["X-Content-Type-Options"] == "nosniff", path
    assert requests.get(f"{server.address}/metrics", timeout=PATIENCE_S).status_code == 404


def test_the_pages_run_no_script_but_the_servers_own(standing: House) -> None:
    page = standing.till.ask("GET", "/docs", Authorization=None)
    policy = dict(part.strip().split(" ", 1) for part in page.headers["Content-Security-Policy"].split(";"))
    assert policy["script-src"] == policy["style-src"] == "'self'"
    assert policy["connect-src"] == "'self'"
    text = page.get_data(as_text=True)
    assert not re.search(r"<script(?![^>]*\bsrc=)|\bon\w+=|https?://", text)


def test_a_refusal_repeats_what_was_sent_as_text_and_never_as_a_page(standing: House) -> None:
    script = "<script>alert(1)</script>"
    for path in (
        f"/v1/quotes/{script}",
        f"/problems/{script}",
        f"/docs/{script}",
        f"/v1/quotes?limit={script}",
    ):
        answer = standing.till.ask("GET", path, Accept="text/html")
        assert answer.mimetype == "application/problem+json", path
    answer = standing.till.ask("POST", "/v1/estimates", {"items": [{script: 1}]})
    assert answer.mimetype == "application/problem+json"
    assert json.loads(answer.get_data())["errors"]
