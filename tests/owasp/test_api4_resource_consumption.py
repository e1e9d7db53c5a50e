"""API4:2023 Unrestricted Resource Consumption (OWASP API Security Top 10, 2023 edition).

Whatever a client sends is bounded before anybody works on it: how large a body is, how deep, how many of
each thing it lists, how long its texts are; how much of a list one gets at a time; how often one asks.
A body is never unpacked, and no text makes a search run away.
"""

import gzip
import json
import socket
import sys
from collections.abc import Callable, Iterator
from http.client import HTTPResponse
from typing import Any

import pytest
from attacked import address, document, operations
from staged import House
from stages import LOT, asked, terms

from api.app import create_app
from api.http.access import keep_books
from api.http.body import DEEPEST, LONGEST_KEY, MOST_VALUES
from api.http.problems import MOST_TOLD
from api.settings import Limits, Settings
from tests.line.served import Served

JSON, LINES = "application/json", "application/jsonl"


def with_body(house: House) -> Iterator[tuple[str, str]]:
    """Each call that takes JSON: its method and an address."""
    for (method, path), operation in operations(house).items():
        if JSON in operation.get("requestBody", {}).get("content", {}):
            yield method, address(path)


def every_call_is_refused(house: House, body: bytes, status: int, kind: str, **headers: str) -> None:
    calls = [*with_body(house)]
    assert len(calls) > 45
    for method, path in calls:
        answer = house.till.ask(method, path, body, If_Match='"1"', **headers)
        assert (answer.status_code, answer.json["type"]) == (status, f"/problems/{kind}"), (method, path)


@pytest.fixture
def bounded(standing: House) -> Callable[..., House]:
    """The house behind an app with narrower bounds."""

    def made(**settings: Any) -> House:
        found = Settings(str(standing.books.engine.url), **settings)
        return standing.with_app(create_app(found, standing.clock, standing.books))

    return made


def test_no_call_takes_a_larger_body_than_the_setting(bounded: Callable[..., House]) -> None:
    every_call_is_refused(bounded(body_limit=1024), b'{"a": "' + b"x" * 1024 + b'"}', 413, "body-too-large")


def test_a_call_that_takes_no_body_takes_no_large_one_either(bounded: Callable[..., House]) -> None:
    house = bounded(body_limit=1024)
    for (method, path), operation in operations(house).items():
        if method in ("POST", "DELETE") and "requestBody" not in operation:
            answer = house.till.ask(method, address(path), b"x" * 1025, If_Match='"1"')
            assert answer.status_code == 413, (method, path)


def test_no_call_takes_a_body_nested_deeper_than_any_of_ours(standing: House) -> None:
    every_call_is_refused(standing, b"[" * (DEEPEST + 1) + b"]" * (DEEPEST + 1), 400, "nested-too-deep")
    every_call_is_refused(standing, b'{"a":' * 60_000 + b"1" + b"}" * 60_000, 400, "nested-too-deep")


def test_no_call_takes_more_values_than_any_body_of_ours_has(standing: House) -> None:
    """Each costs more than the two bytes that it takes."""
    many = b'{"a": [' + b"1," * MOST_VALUES + b"1]}"
    every_call_is_refused(standing, many, 413, "body-too-large")
    credit = {"lot": LOT, "entry": "x", "weight": {"amount": "1", "unit": "g"}}
    ours = standing.till.ask("POST", "/v1/silver-credits/comparison", {"credits": [credit] * 5000})
    assert ours.status_code == 200


def test_no_call_takes_a_longer_name_of_a_member(standing: House) -> None:
    """It would stand in the pointer of every fault below it: a megabyte in, gigabytes in memory."""
    long = json.dumps({"x" * (LONGEST_KEY + 1): ["\0"] * 1000}).encode()
    every_call_is_refused(standing, long, 422, "invalid-body")
    refusal = standing.till.refused.post("/v1/estimates", {"items": [{"x" * 100_000: {"y": ["\0"] * 1000}}]})
    assert refusal.faults == {"/items/0": "bad-text"}


# What a public page's key can send: each `{}` of a list, or member, is a fault or several.
FAULTY: dict[str, Callable[[int], Any]] = {
    "deductions": lambda n: {"items": [{"deductions": [{}] * n}]},
    "items": lambda n: {"items": [{"karat": "99", "gross": {"amount": "0", "unit": "g"}}] * (n // 4)},
    "deductions of items": lambda n: {"items": [{"deductions": [{"weight": 1}] * (n // 50)}] * 50},
    "parts": lambda n: {"items": [{"composition": {f"m{i}": "1" for i in range(n)}}]},
    "wishes": lambda n: {"instructions": {f"m{i}": {} for i in range(n)}},
    "names": lambda n: {f"item{i}": 1 for i in range(n)},
}


@pytest.mark.parametrize("faulty", FAULTY.values(), ids=FAULTY)
def test_the_work_on_faults_grows_as_their_number_and_not_as_its_square(
    standing: House, faulty: Callable[[int], Any]
) -> None:
    page = standing.as_("estimate")

    def calls(n: int) -> int:
        """How many functions were called, which is the same on every machine."""
        counted = 0

        def count(_frame: Any, event: str, _argument: Any) -> None:
            nonlocal counted
            counted += event == "call"

        body = json.dumps(faulty(n)).encode()
        sys.setprofile(count)
        try:
            answer = page.ask("POST", "/v1/estimates", body)
        finally:
            sys.setprofile(None)
        assert answer.status_code == 422
        assert len(answer.json["errors"]) <= MOST_TOLD
        return counted

    calls(400)
    assert calls(1600) < 6 * calls(400)


def test_of_more_faults_than_anybody_reads_the_first_are_told_and_how_many_there_are(standing: House) -> None:
    body = {**asked(), **{f"nobodys{i}": 1 for i in range(MOST_TOLD + 500)}}
    refusal = standing.till.refused.post("/v1/estimates", body)
    assert refusal.kind == "invalid-body"
    assert len(refusal.body["errors"]) == MOST_TOLD
    assert refusal.body["detail"] == f"{MOST_TOLD + 500} faults, the first {MOST_TOLD} listed under errors"


@pytest.mark.parametrize("coding", ["gzip", "deflate", "br", "gzip, gzip", "x-unheard-of"])
def test_no_body_is_unpacked(standing: House, coding: str) -> None:
    """A kilobyte may hold a gigabyte: it is refused by its name, whatever it is (RFC 9110, section 15.5.16)."""
    packed = gzip.compress(b'{"a": "' + b" " * 100_000 + b'"}')
    every_call_is_refused(standing, packed, 415, "unsupported-media-type", Content_Encoding=coding)


@pytest.mark.parametrize(
    ("path", "media"), [("/v1/estimates", LINES), (f"/v1/lots/{LOT}/photographs", "image/png")]
)
def test_neither_are_lines_and_pictures(standing: House, path: str, media: str) -> None:
    answer = standing.till.ask("POST", path, gzip.compress(b"{}"), media, Content_Encoding="gzip")
    assert (answer.status_code, answer.json["type"]) == (415, "/problems/unsupported-media-type")


def test_a_body_that_says_it_is_plain_is_taken(standing: House) -> None:
    answer = standing.till.ask("POST", "/v1/estimates", asked(), Content_Encoding="identity")
    assert answer.status_code == 200


def test_every_list_and_every_text_of_a_body_has_an_end(standing: House) -> None:
    spec = document(standing)
    waiting = [
        (call, content["schema"])
        for call, operation in operations(standing).items()
        for media, content in operation.get("requestBody", {}).get("content", {}).items()
        if media == JSON
    ]
    been, lists, texts = set(), 0, 0
    while waiting:
        where, schema = waiting.pop()
        name = schema.get("$ref", "").rpartition("/")[2]
        if name and name not in been:
            been.add(name)
            waiting.append((name, spec["components"]["schemas"][name]))
        of = schema.get("type", [])
        if "array" in of:
            lists += 1
            assert schema["maxItems"] <= 5000, where
        if "string" in of:
            texts += 1
            assert {"maxLength", "enum", "pattern", "format"} & set(schema), where
        every = schema.get("additionalProperties")
        inner = [*schema.get("properties", {}).items(), ("items", schema.get("items")), ("each", every)]
        inner += [(str(where), one) for kind in ("oneOf", "anyOf") for one in schema.get(kind, ())]
        waiting += [(f"{where}/{step}", one) for step, one in inner if isinstance(one, dict)]
    assert (lists > 20, texts > 40) == (True, True)


def test_a_list_is_given_a_page_at_a_time_and_no_page_is_endless(standing: House) -> None:
    paged = [
        address(path)
        for (method, path), operation in operations(standing).items()
        if method == "GET" and "limit" in {p.get("name") for p in operation.get("parameters", ())}
    ]
    assert len(paged) > 18
    for path in paged:
        for limit in ("0", "-1", "201", "1e2", "999999999999999999999", "", "x", "٥", "1.0", "+5", " 5"):
            assert standing.till.ask("GET", f"{path}?limit={limit}").status_code == 400, (path, limit)
        answer = standing.till.ask("GET", f"{path}?limit=1")
        assert answer.status_code in (200, 404), path
        assert len(next((v for v in answer.json.values() if isinstance(v, list)), [])) <= 1, path


# Repeated until they are long, and with an end that doesn't fit: where a search would go back and forth.
RUNAWAY = {
    "a weight": ("/v1/estimates", ("items", 0, "gross", "amount"), ("1", "0", "1.", ".1", "-", "1e")),
    "a fineness": ("/v1/estimates", ("items", 0, "fineness"), ("9", "0.", " ", "9,")),
    "a filled part": ("/v1/estimates", ("items", 0, "filled_part"), ("1/", "1", "1 / ")),
    "a stamp": ("/v1/estimates", ("items", 0, "stamped"), ("9 ", "375 ", "K")),
    "a unit": ("/v1/estimates", ("items", 0, "gross", "unit"), ("g", "oz ", "g*")),
    "a duration": ("/v1/terms", ("holding_period",), ("P1D", "1Y", "P", "T1H")),
    "a moment": ("/v1/keys", ("expires_at",), ("2026-", "2026-03-02T09:30:00.0", "0", "Z")),
    "an origin": ("/v1/keys", ("origins", 0), ("https://a", "a-", "a.", ":1")),
    "an address": ("/v1/hooks", ("url",), ("https://a", "@", "a.", "[")),
}
BODIES: dict[str, Any] = {
    "/v1/estimates": {"items": [{"evidence": "hallmark", "gross": {"amount": "1", "unit": "g"}}]},
    "/v1/terms": terms(),
    "/v1/keys": {"name": "x", "scopes": ["read"], "origins": [""]},
    "/v1/hooks": {},
}


@pytest.mark.parametrize(("path", "place", "parts"), RUNAWAY.values(), ids=RUNAWAY)
def test_no_text_makes_the_reading_run_away(
    standing: House, path: str, place: tuple[Any, ...], parts: tuple[str, ...]
) -> None:
    """A pattern that goes back and forth over it would not end within a lifetime."""
    for part in parts:
        for end in ("", "!"):
            body = json.loads(json.dumps(BODIES[path]))
            within = body
            for step in place[:-1]:
                within = within[step]
            within[place[-1]] = part * (40_000 // len(part)) + end
            refusal = standing.till.refused.post(path, body)
            assert (refusal.status, refusal.kind) == (422, "invalid-body")
            pointer = "".join(f"/{step}" for step in place)
            assert any(told.startswith(pointer) for told in refusal.faults), refusal.faults


def test_no_wish_makes_the_search_run_away(opened: House) -> None:
    """Ten million bars, and six moulds that fit in countless ways: answered or refused by name, and soon."""
    dust = {"bars": [{"nominal": {"amount": "0.01", "unit": "g"}, "fineness": "999.9", "count": "most"}]}
    heavy = {"evidence": "hallmark", "karat": "22", "gross": {"amount": "900", "unit": "kg"}}
    for scope in ("quote", "estimate"):
        answer = opened.as_(scope).ask(
            "POST", "/v1/estimates", {"items": [heavy], "instructions": {"gold": dust}}
        )
        assert answer.status_code == 422, answer.json
        assert {e["type"] for e in answer.json["errors"]} <= {
            "/problems/too-many-bars",
            "/problems/out-of-range",
        }
    moulds = [{"amount": f"1.0{n}", "unit": "g"} for n in (1, 2, 3, 5, 7, 9)]
    for weight in ("999.99", "100000", "900000"):
        body = {"weight": {"amount": weight, "unit": "g"}, "moulds": moulds}
        answer = opened.till.ask("POST", "/v1/pour-plans", body)
        assert answer.status_code in (200, 422), answer.json


def test_every_call_that_is_open_to_all_is_counted_by_address(bounded: Callable[..., House]) -> None:
    house = bounded(metrics=True, limits=Limits(per_address=1))
    uncounted = {"/livez", "/readyz", "/metrics"}
    open_to_all = [call for call, operation in operations(house).items() if operation["security"] == []]
    assert ("POST", "/v1/certificate-checks") in open_to_all
    keep_books(house.till.app, house.books)
    for n, (method, path) in enumerate(open_to_all):
        peer = {"REMOTE_ADDR": f"192.0.2.{n + 1}"}
        ask = house.till.app.test_client().open
        statuses = [
            ask(address(path), method=method, environ_base=peer, json={}).status_code for _ in range(2)
        ]
        assert (statuses[1] == 429) is (path not in uncounted), (path, statuses)


def problem(connection: socket.socket) -> tuple[int, str]:
    """Status and type of the problem that is the answer; anything else is none of ours."""
    answer = HTTPResponse(connection)
    answer.begin()
    assert answer.headers["Content-Type"] == "application/problem+json"
    said = json.loads(answer.read())
    assert said["title"]
    assert said["status"] == answer.status
    return said["status"], said["type"]


def test_a_server_does_not_receive_what_is_far_too_large(server: Served) -> None:
    head = b"POST /v1/estimates HTTP/1.1\r\nHost: x\r\nContent-Type: application/json\r\n"
    with socket.create_connection(("127.0.0.1", server.port), timeout=60) as said:
        said.sendall(head + b"Content-Length: 30000000000\r\n\r\n{")
        assert problem(said) == (413, "/problems/body-too-large")


@pytest.mark.parametrize(
    ("head", "status", "kind"),
    [
        (b"POST /v1/estimates HTTP/1.1\r\nContent-Length: x\r\n", 400, "/problems/bad-request"),
        (b"GET / HTTP/1.1\r\nX: " + b"x" * 300_000, 431, "about:blank"),
        (b"POST / HTTP/1.1\r\nTransfer-Encoding: gzip\r\n", 501, "about:blank"),
    ],
    ids=["length", "headers", "coding"],
)
def test_what_the_server_itself_refuses_is_a_problem_too(
    server: Served, head: bytes, status: int, kind: str
) -> None:
    with socket.create_connection(("127.0.0.1", server.port), timeout=60) as said:
        said.sendall(head + b"\r\n\r\n")
        assert problem(said) == (status, kind)


def test_a_server_ends_a_body_that_does_not_say_how_long_it_is(server: Served) -> None:
    """Sent in chunks, without an end: it is cut where the largest body that anyone may send is over."""
    head = b"POST /v1/estimates HTTP/1.1\r\nHost: x\r\nTransfer-Encoding: chunked\r\n\r\n"
    chunk, sent, most = b"10000\r\n" + b" " * 65536 + b"\r\n", 0, 2 * Settings("").photograph_limit
    with socket.create_connection(("127.0.0.1", server.port), timeout=60) as endless:
        endless.sendall(head)
        try:
            while sent <= 3 * most:
                endless.sendall(chunk)
                sent += len(chunk)
        except OSError:
            pass
    assert sent < 3 * most
