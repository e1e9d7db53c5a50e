"""API2:2023 Broken Authentication (OWASP API Security Top 10, 2023 edition).

Whoever asks shows an access key in the header Authorization, as a Bearer token, and nowhere else. The books
know its hash alone; a key that is revoked, expired, renewed or slightly wrong opens as little as none, and
nobody can tell which of these it was.
"""

import base64
import io
import logging
from collections.abc import Iterator
from datetime import timedelta
from hashlib import sha256
from typing import Any

import pytest
from sqlalchemy import event
from staged import House
from stages import asked
from till import everything

from api.logs import json_lines
from settle.books.access import recognise, revoke_key
from settle.books.columns import moment_text
from settle.books.work import THE_COMMAND, Actor


def made(house: House, **more: Any) -> str:
    return str(house.till.post("/v1/keys", {"name": "till", "scopes": ["quote"], **more})["secret"])


def get(house: House, path: str = "/v1/quotes", **headers: str | None) -> Any:
    return house.till.ask("GET", path, **{"Authorization": None, **headers})


@pytest.mark.parametrize("scheme", ["Bearer", "bearer", "BEARER"])
def test_the_scheme_is_read_in_any_case(standing: House, scheme: str) -> None:
    """RFC 9110, section 11.1: its name is case-insensitive."""
    assert get(standing, Authorization=f"{scheme} {standing.keys['quote']}").status_code == 200


def test_a_key_that_is_nearly_right_opens_nothing(standing: House) -> None:
    key = standing.keys["quote"]
    nearly = [
        key[:-1],
        key + "A",
        key.swapcase(),
        key[::-1],
        f"{key} {key}",
        f'"{key}"',
        f"{key},",
        key + "=",
        key[:10],
    ]
    for wrong in (*nearly, sha256(key.encode()).hexdigest(), "K-2", "quote", "null", "%00", "' OR '1'='1"):
        assert get(standing, Authorization=f"Bearer {wrong}").status_code == 401, wrong
    for scheme in ("Basic", "Token", "Digest", "", "Bearer:"):
        assert get(standing, Authorization=f"{scheme} {key}").status_code == 401, scheme
    two = f"Bearer {key}, Bearer {standing.keys['owner']}"
    assert get(standing, Authorization=two).status_code == 401


def test_a_key_is_taken_from_no_other_place(standing: House) -> None:
    key = standing.keys["owner"]
    for name in ("access_token", "key", "api_key", "token", "authorization"):
        assert get(standing, f"/v1/quotes?{name}={key}").status_code == 401, name
    basic = base64.b64encode(f"owner:{key}".encode()).decode()
    elsewhere = {
        "X_Api_Key": key, "Cookie": f"key={key}; Authorization=Bearer {key}", "Proxy_Authorization": f"Bearer {key}",
        "X_Authorization": f"Bearer {key}", "Settle_Person": key,
    }  # fmt: skip
    for name, value in {**elsewhere, "Authorization": f"Basic {basic}"}.items():
        assert get(standing, **{name: value}).status_code == 401, name
    form = f"access_token={key}".encode()
    answer = standing.till.ask(
        "POST", "/v1/quotes", form, "application/x-www-form-urlencoded", Authorization=None
    )
    assert answer.status_code == 401


def test_a_key_beside_its_right_place_is_refused_and_not_told_on(standing: House) -> None:
    """One that was put into an address as well stands in histories and logs of others: it is said so."""
    key = standing.keys["quote"]
    answer = standing.as_("quote").ask("GET", f"/v1/quotes?access_token={key}")
    assert (answer.status_code, answer.json["type"]) == (400, "/problems/bad-request")
    assert key not in answer.get_data(as_text=True)


def test_nobody_can_tell_a_key_that_was_from_one_that_never_was(house: House) -> None:
    until = moment_text(house.clock.now + timedelta(minutes=5))
    revoked, expired, renewed = made(house), made(house, expires_at=until), made(house)
    house.till.call("DELETE", "/v1/keys/K-8")
    house.till.post("/v1/keys/K-10/secret", None, house.till.get("/v1/keys/K-10").etag)
    house.clock.move(minutes=5)
    answers = [
        get(house, Authorization=f"Bearer {secret}") for secret in (revoked, expired, renewed, "never")
    ]
    assert {answer.status_code for answer in answers} == {401}
    assert len({answer.get_data() for answer in answers}) == 1
    assert len({tuple(name for name, _ in answer.headers) for answer in answers}) == 1


def test_a_key_opens_nothing_from_the_moment_that_it_expires(house: House) -> None:
    secret = made(house, expires_at=moment_text(house.clock.now + timedelta(seconds=1)))
    assert get(house, Authorization=f"Bearer {secret}").status_code == 200
    house.clock.move(seconds=1)
    assert get(house, Authorization=f"Bearer {secret}").status_code == 401


@pytest.mark.parametrize("gone", ["revoked", "expired"])
def test_a_key_that_goes_while_its_request_waits_for_the_books_changes_nothing(
    house: House, monkeypatch: pytest.MonkeyPatch, gone: str
) -> None:
    """It was good when it was looked at; a stolen key must be of no use from the moment that it is revoked."""
    secret = made(house, expires_at=moment_text(house.clock.now + timedelta(minutes=5)))
    key = house.till.get("/v1/keys")["items"][0]["id"]
    get(house, Authorization=f"Bearer {secret}")
    writing = house.books.writing

    def waited(actor: Actor) -> Any:
        monkeypatch.undo()
        if gone == "revoked":
            with writing(THE_COMMAND) as work:
                revoke_key(work, key)
        else:
            house.clock.move(minutes=5)
        return writing(actor)

    monkeypatch.setattr(house.books, "writing", waited)
    answer = house.till.with_key(secret).ask("POST", "/v1/clients", {"name": "Ann Other"})
    assert (answer.status_code, answer.json["type"]) == (401, "/problems/unauthorized")
    assert answer.get_data() == get(house, Authorization="Bearer never").get_data()
    assert len(house.till.listed("/v1/clients")) == 1


@pytest.fixture
def statements(house: House) -> Iterator[list[tuple[str, Any]]]:
    """What is asked of the books, with its parameters."""
    told: list[tuple[str, Any]] = []

    def note(_c: Any, _k: Any, statement: str, parameters: Any, *_: Any) -> None:
        told.append((statement, parameters))

    event.listen(house.books.engine, "before_cursor_execute", note)
    yield told
    event.remove(house.books.engine, "before_cursor_execute", note)


def test_a_key_is_looked_up_by_its_hash_so_that_time_says_nothing_of_it(
    house: House, statements: Any
) -> None:
    """Letters of a secret are compared nowhere: neither here nor in the books, which don't have it."""
    key = house.keys["quote"]
    asked_of: dict[str, list[str]] = {}
    for secret in (key, key[:-1] + "_", "x"):
        house.till.ask("GET", "/v1/quotes", Authorization=f"Bearer {key}")
        statements.clear()
        recognise(house.books, secret)
        looked = [(s, p) for s, p in statements if "access_keys" in s]
        assert looked
        assert all(secret not in str(p) for _, p in looked)
        assert sha256(secret.encode()).hexdigest() in str(looked[0][1])
        asked_of[secret] = [s for s, _ in looked]
    assert asked_of[key[:-1] + "_"] == asked_of["x"] == asked_of[key]


def test_the_books_hold_no_key(house: House) -> None:
    secret = made(house)
    held = repr(everything(house.till.file))
    assert sha256(secret.encode()).hexdigest() in held
    assert [key for key in (secret, *house.keys.values()) if key in held] == []


def test_keys_are_long_drawn_by_chance_and_never_the_same(house: House) -> None:
    drawn = [made(house) for _ in range(50)]
    assert len(set(drawn)) == 50
    # 256 bits, six a letter.
    assert {len(base64.urlsafe_b64decode(secret + "=")) for secret in drawn} == {32}
    assert max(len({secret[n] for secret in drawn}) for n in range(42)) > 10


def test_a_key_is_in_no_log_however_it_was_sent(house: House) -> None:
    stream, ours = io.StringIO(), logging.getLogger("settle")
    handler, level = json_lines(stream), ours.level
    ours.addHandler(handler)
    ours.setLevel(logging.DEBUG)
    key = house.keys["owner"]
    try:
        get(house, f"/v1/quotes?access_token={key}")
        get(house, f"/v1/quotes/{key}", Authorization=f"Bearer {key}")
        get(house, Authorization=f"Basic {key}", Settle_Person=key, X_Request_Id=f"{key} {key}")
        secret = made(house, name=key[:40])
        house.till.ask("POST", "/v1/quotes", {**asked(), key: key})
    finally:
        ours.removeHandler(handler)
        ours.setLevel(level)
    assert stream.getvalue().count("\n") >= 5
    assert [one for one in (key, secret) if one in stream.getvalue()] == []


def test_a_key_gains_no_scope_and_no_time_after_it_was_made(house: House) -> None:
    """There is no way to change a key but to renew it, and that changes nothing of what it may do."""
    key = house.till.post("/v1/keys", {"name": "till", "scopes": ["quote"]})
    more = {"scopes": ["owner"], "expires_at": None}
    for method in ("PATCH", "PUT"):
        assert house.till.ask(method, key.at, more, If_Match=key.etag).status_code == 405
    # Renewing reads no body: one that comes along is not dropped unread.
    assert house.till.ask("POST", f"{key.at}/secret", more, If_Match=key.etag).status_code == 400
    renewed = house.till.ask("POST", f"{key.at}/secret", If_Match=key.etag)
    assert renewed.json["scopes"] == ["quote"]
    assert house.till.with_key(renewed.json["secret"]).refused.get("/v1/keys").status == 403
