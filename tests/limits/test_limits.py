"""How often one may ask: by key, by address, and less for a page's key."""

import re
from collections.abc import Callable
from typing import Any

import pytest
from staged import House
from werkzeug.test import TestResponse

from api.http.access import keep_books
from api.settings import read_settings

Limited = Callable[..., House]
HERE, THERE, PROXY = "192.0.2.1", "192.0.2.2", "192.0.2.99"
CHAIN = {"items": [{"karat": "9", "evidence": "hallmark", "gross": {"amount": "10", "unit": "g"}}]}
WELL_FORMED = re.compile(r'"[a-z-]+";r=\d+;t=\d+(, "[a-z-]+";r=\d+;t=\d+)*')


def ask(
    house: House, scope: str | None, path: str = "/v1/lots", peer: str = HERE, **how: Any
) -> TestResponse:
    headers = {} if scope is None else {"Authorization": f"Bearer {house.keys[scope]}"}
    keep_books(house.till.app, house.books)
    how["headers"] = {**headers, **how.get("headers", {})}
    return house.till.app.test_client().open(path, environ_base={"REMOTE_ADDR": peer}, **how)


def estimate(house: House, peer: str = HERE, **how: Any) -> TestResponse:
    return ask(house, "estimate", "/v1/estimates", peer, method="POST", **{"json": CHAIN, **how})


def refused(answer: TestResponse) -> bool:
    if answer.status_code != 429:
        return False
    assert answer.content_type == "application/problem+json"
    assert answer.json["type"] == "/problems/too-many-requests"
    assert 1 <= int(answer.headers["Retry-After"]) <= 60
    return True


def test_a_key_that_asks_too_often_is_sent_away_and_others_are_not(limited: Limited) -> None:
    house = limited(per_key=3)
    assert [refused(ask(house, "quote")) for _ in range(5)] == [False] * 3 + [True] * 2
    assert ask(house, "work").status_code == 200


def test_a_key_counts_from_all_its_addresses_together(limited: Limited) -> None:
    house = limited(per_key=2)
    assert [refused(ask(house, "quote", peer=peer)) for peer in (HERE, THERE, PROXY)] == [False, False, True]


def test_an_address_that_asks_too_often_is_sent_away_whatever_its_keys(limited: Limited) -> None:
    house = limited(per_address=3)
    assert [refused(ask(house, scope)) for scope in ("quote", "work", "read", "owner")] == [False] * 3 + [
        True
    ]
    assert ask(house, "quote", peer=THERE).status_code == 200


def test_who_tries_keys_out_is_sent_away_before_they_are_looked_at(limited: Limited) -> None:
    house = limited(per_address=3)
    wrong = {"headers": {"Authorization": "Bearer guessed"}}
    assert [ask(house, None, **wrong).status_code for _ in range(5)] == [401] * 3 + [429] * 2


def test_the_headers_say_what_is_left_and_under_which_policy(limited: Limited) -> None:
    answer = ask(limited(per_key=7, per_address=9), "quote")
    assert answer.headers["RateLimit-Policy"] == '"address";q=9;w=60, "key";q=7;w=60'
    left = answer.headers["RateLimit"]
    assert WELL_FORMED.fullmatch(left)
    assert re.findall(r'("[a-z]+";r=\d+)', left) == ['"address";r=8', '"key";r=6']


def test_a_refusal_says_that_nothing_is_left(limited: Limited) -> None:
    house = limited(per_key=1)
    ask(house, "quote")
    assert '"key";r=0;' in ask(house, "quote").headers["RateLimit"]


def test_a_pages_key_has_less_than_others(limited: Limited) -> None:
    house = limited(estimates_per_key=2)
    assert [refused(estimate(house, peer)) for peer in (HERE, THERE, PROXY)] == [False, False, True]
    how = {"method": "POST", "json": CHAIN}
    assert [ask(house, "quote", "/v1/estimates", **how).status_code for _ in range(3)] == [200] * 3


def test_one_visitor_of_a_page_does_not_use_up_the_share_of_the_others(limited: Limited) -> None:
    house = limited(estimates_per_address=2)
    assert [refused(estimate(house, HERE)) for _ in range(4)] == [False, False, True, True]
    assert not refused(estimate(house, THERE))


def test_what_an_address_was_refused_is_not_taken_from_the_key(limited: Limited) -> None:
    house = limited(estimates_per_address=1, estimates_per_key=3)
    for _ in range(5):
        estimate(house, HERE)
    assert not refused(estimate(house, THERE))


def test_of_a_pages_key_every_line_counts(limited: Limited) -> None:
    house = limited(estimates_per_address=4)
    how = {"json": None, "data": b"{}\n{}\n{}\n{}", "content_type": "application/jsonl"}
    assert estimate(house, **how).status_code == 200
    assert refused(estimate(house))


def test_a_neighbour_in_the_same_ipv6_network_is_the_same_visitor(limited: Limited) -> None:
    house = limited(estimates_per_address=1)
    peers = ("2001:db8:0:1::1", "2001:db8:0:1:ffff::2", "2001:db8:0:2::1")
    assert [refused(estimate(house, peer)) for peer in peers] == [False, True, False]


def named(*addresses: str) -> dict[str, Any]:
    return {"headers": {"X-Forwarded-For": ", ".join(addresses)}}


def test_nobody_is_believed_who_says_for_whom_he_asks(limited: Limited) -> None:
    house = limited(estimates_per_address=1)
    assert [refused(estimate(house, HERE, **named(who))) for who in ("192.0.2.7", "192.0.2.8")] == [
        False,
        True,
    ]


def test_the_one_trusted_proxy_is_believed_and_nobody_else(limited: Limited) -> None:
    house = limited({"trusted_proxy": PROXY}, estimates_per_address=1)
    assert [refused(estimate(house, PROXY, **named(who))) for who in (HERE, THERE, HERE)] == [
        False,
        False,
        True,
    ]
    assert [refused(estimate(house, "192.0.2.50", **named(who))) for who in ("a", "b")] == [False, True]


def test_what_the_client_said_before_the_proxy_is_not_believed(limited: Limited) -> None:
    house = limited({"trusted_proxy": PROXY}, estimates_per_address=1)
    told = [named("198.51.100.1", HERE), named("198.51.100.2", HERE), named("nonsense")]
    assert [refused(estimate(house, PROXY, **how)) for how in told] == [False, True, False]


def test_who_watches_over_the_server_is_never_sent_away(limited: Limited) -> None:
    house = limited({"metrics": True}, per_address=1)
    for path in ("/livez", "/readyz", "/metrics"):
        assert [ask(house, None, path).status_code for _ in range(3)] == [200] * 3


def test_a_page_may_read_why_it_was_sent_away(limited: Limited) -> None:
    house = limited(estimates_per_key=1)
    page = "https://www.shop.example"
    made = house.till.post("/v1/keys", {"name": "page", "scopes": ["estimate"], "origins": [page]})
    headers = {"Authorization": f"Bearer {made['secret']}", "Origin": page}
    for _ in range(2):
        answer = ask(house, None, "/v1/estimates", method="POST", json=CHAIN, headers=headers)
    assert refused(answer)
    assert answer.headers["Access-Control-Allow-Origin"] == page
    assert {"RateLimit", "Retry-After"} <= set(answer.headers["Access-Control-Expose-Headers"].split(", "))


def test_a_served_house_is_limited_unless_it_is_said_how() -> None:
    assert read_settings({}).limits is not None


def test_an_app_without_limits_counts_nothing(house: House) -> None:
    answer = house.till.ask("GET", "/v1/lots")
    assert not {"RateLimit", "RateLimit-Policy"} & set(answer.headers.keys())


@pytest.mark.parametrize(("scope", "status"), [("estimate", 422), ("quote", 200)])
def test_a_pages_key_may_ask_about_fewer_items_at_once(limited: Limited, scope: str, status: int) -> None:
    house = limited({"estimate_items": 3})
    how = {"method": "POST", "path": "/v1/estimates"}
    assert ask(house, scope, json={"items": CHAIN["items"] * 3}, **how).status_code == 200
    answer = ask(house, scope, json={"items": CHAIN["items"] * 4}, **how)
    assert answer.status_code == status
    if status == 422:
        (error,) = answer.json["errors"]
        assert (error["type"], error["pointer"]) == ("/problems/out-of-range", "/items")


def test_a_body_larger_than_the_setting_is_refused(limited: Limited) -> None:
    house = limited({"body_limit": 2000})
    answer = estimate(house, json={**CHAIN, "terms": "T" * 2000})
    assert (answer.status_code, answer.json["type"]) == (413, "/problems/body-too-large")
