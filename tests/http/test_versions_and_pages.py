"""ETag and If-Match; limit, cursor and Link."""

import json
from base64 import urlsafe_b64encode
from typing import Any

import pytest


@pytest.fixture
def seen(client: Any, key: Any, patch: Any) -> Any:
    """The ETag of the thing as it stands."""
    assert patch
    headers = key("quote")
    return lambda: client.get("/v1/things/SC-1", headers=headers).headers["ETag"]


@pytest.fixture
def patch(client: Any, post: Any, key: Any, thing: Any) -> Any:
    post(thing)
    work = key("work")

    def patched(name: str, **headers: Any) -> Any:
        named = {n.replace("_", "-"): v for n, v in headers.items()}
        return client.patch("/v1/things/SC-1", json={**thing, "name": name}, headers={**work, **named})

    return patched


def test_what_was_seen_is_changed_and_has_another_etag(client: Any, key: Any, patch: Any, seen: Any) -> None:
    before = seen()
    answer = patch("new", If_Match=before)
    assert (answer.status_code, answer.headers["ETag"]) == (200, seen())
    assert seen() != before
    assert client.get("/v1/things/SC-1", headers=key("quote")).json["name"] == "new"


@pytest.mark.parametrize(
    ("headers", "status", "kind"),
    [
        ({}, 428, "precondition-required"),
        ({"If_Match": "*"}, 428, "precondition-required"),
        ({"If_Match": '"2"'}, 412, "changed-since-seen"),
        ({"If_Match": "W/{}"}, 412, "changed-since-seen"),
        ({"If_Match": '"2", {}'}, 200, None),
    ],
)
def test_if_match_is_demanded_and_compared(
    patch: Any, seen: Any, headers: Any, status: int, kind: str | None
) -> None:
    answer = patch("new", **{name: value.format(seen()) for name, value in headers.items()})
    assert answer.status_code == status
    assert kind is None or answer.json["type"] == f"/problems/{kind}"


def test_of_two_who_saw_the_same_the_second_is_refused(client: Any, key: Any, patch: Any, seen: Any) -> None:
    before = seen()
    assert patch("first", If_Match=before).status_code == 200
    assert patch("second", If_Match=before).status_code == 412
    assert client.get("/v1/things/SC-1", headers=key("quote")).json["name"] == "first"


@pytest.mark.usefixtures("patch")
def test_a_view_that_did_not_look_at_the_version_changes_nothing(client: Any, key: Any) -> None:
    headers = {**key("work"), "If-Match": '"1"'}
    assert client.post("/v1/things/SC-1/unseen", headers=headers).status_code == 500
    assert client.get("/v1/things/SC-1", headers=key("quote")).json["name"] == "bench"


def test_a_reader_who_has_the_version_gets_304(client: Any, key: Any, patch: Any, seen: Any) -> None:
    headers = {**key("quote"), "If-None-Match": seen()}
    answer = client.get("/v1/things/SC-1", headers=headers)
    assert (answer.status_code, answer.data) == (304, b"")
    patch("new", If_Match=seen())
    assert client.get("/v1/things/SC-1", headers=headers).status_code == 200


def test_following_the_links_gives_every_thing_once_and_ends(
    client: Any, post: Any, key: Any, thing: Any
) -> None:
    for n in range(5):
        post({**thing, "name": f"s{n}"})
    headers, path, seen = key("work"), "/v1/things?limit=2", []
    while path:
        answer = client.get(path, headers=headers)
        seen.append([item["id"] for item in answer.json["items"]])
        link = answer.headers.get("Link")
        assert link is None or link.endswith('; rel="next"')
        path = link and link[1 : link.index(">")]
    assert seen == [["SC-5", "SC-4"], ["SC-3", "SC-2"], ["SC-1"]]


THINGS = "/v1/things"


def a_cursor(told: Any) -> str:
    return urlsafe_b64encode(json.dumps(told).encode()).decode().rstrip("=")


@pytest.mark.parametrize("told", [{"after": 1, "of": THINGS}, {"of": THINGS, "after": 0}])
def test_a_cursor_is_of_one_list(client: Any, key: Any, told: Any) -> None:
    assert client.get(f"/v1/things?cursor={a_cursor(told)}", headers=key("work")).status_code == 200


@pytest.mark.parametrize(
    "query",
    [
        "limit=0",
        "limit=201",
        "limit=-1",
        "limit=x",
        "limit=",
        "limit=1e1",
        "limit=%EF%BC%91",
        "limit=00001",
        "cursor=x",
        "cursor=",
        "cursor=e30",
        "cursor=%C3%A9",
        f"cursor={a_cursor([])}",
        f"cursor={a_cursor({'after': 'x', 'of': THINGS})}",
        f"cursor={a_cursor({'after': True, 'of': THINGS})}",
        f"cursor={a_cursor({'after': 10**28, 'of': THINGS})}",
        f"cursor={a_cursor({'after': 1})}",
        f"cursor={a_cursor({'after': 1, 'of': '/v1/others'})}",
        "limit=1&limit=2",
        "limit=1&limit=1",
    ],
)
def test_a_limit_or_cursor_that_is_none_is_400(client: Any, key: Any, query: str) -> None:
    answer = client.get(f"/v1/things?{query}", headers=key("work"))
    assert (answer.status_code, answer.json["type"]) == (400, "/problems/bad-request")


def test_the_most_of_a_page_is_two_hundred_and_without_a_word_fifty(
    client: Any, post: Any, key: Any, thing: Any
) -> None:
    for n in range(51):
        post({**thing, "name": f"s{n}"})
    headers = key("work")
    assert len(client.get("/v1/things", headers=headers).json["items"]) == 50
    assert len(client.get("/v1/things?limit=200", headers=headers).json["items"]) == 51


def test_a_filter_narrows_a_list_and_is_kept_in_the_link(
    client: Any, post: Any, key: Any, thing: Any
) -> None:
    for name in ("a", "b"):
        post({**thing, "name": name})
    headers = key("work")
    today = client.get("/v1/things?since=2026-03-02&limit=1", headers=headers)
    assert (len(today.json["items"]), "since=2026-03-02" in today.headers["Link"]) == (1, True)
    assert client.get("/v1/things?since=2026-03-03", headers=headers).json["items"] == []


def test_a_filter_that_cannot_be_read_is_400_and_named(client: Any, key: Any) -> None:
    answer = client.get("/v1/things?since=yesterday", headers=key("work"))
    assert (answer.status_code, answer.json["detail"].startswith("since: ")) == (400, True)


def test_a_reader_who_asks_for_another_version_is_told_so(client: Any, key: Any, seen: Any) -> None:
    answer = client.get("/v1/things/SC-1", headers={**key("quote"), "If-Match": '"2"'})
    assert (answer.status_code, answer.mimetype) == (412, "application/problem+json")
    assert answer.json["type"] == "/problems/changed-since-seen"
    assert seen() in answer.json["detail"]
    assert "name" not in answer.json
    assert client.get("/v1/things/SC-1", headers={**key("quote"), "If-Match": seen()}).status_code == 200
