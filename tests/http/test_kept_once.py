"""Idempotency: the same request is worked once."""

from threading import Event, Thread
from typing import Any

import pytest
from sqlalchemy import select

from api.http.idempotency import first_difference
from settle.books.tables import idempotency


def test_the_same_key_and_body_get_the_first_answer_again(post: Any, thing: Any, count: Any) -> None:
    first = post(thing, Idempotency_Key="a")
    again = post(dict(reversed(thing.items())), Idempotency_Key="a")
    assert (again.status_code, again.json["id"], count()) == (201, first.json["id"], 1)
    assert [again.headers[h] for h in ("ETag", "Location", "Content-Type")] == [
        first.headers[h] for h in ("ETag", "Location", "Content-Type")
    ]
    assert "Idempotency-Replayed" not in first.headers
    assert again.headers["Idempotency-Replayed"] == "true"


def test_a_repeated_answer_never_repeats_a_secret_and_the_books_never_held_it(
    post: Any, thing: Any, books: Any
) -> None:
    assert post(thing, Idempotency_Key="a").json["secret"] == "s3cret"
    assert "secret" not in post(thing, Idempotency_Key="a").json
    with books.reading() as work:
        assert "s3cret" not in repr(work.connection.execute(select(idempotency)).all())


def test_another_body_under_the_same_key_is_422_and_names_the_field(
    post: Any, thing: Any, count: Any
) -> None:
    post(thing, Idempotency_Key="a")
    answer = post({**thing, "division": {"amount": "0.1", "unit": "g"}}, Idempotency_Key="a")
    assert (answer.status_code, answer.json["type"]) == (422, "/problems/idempotency-key-reused")
    assert [e["pointer"] for e in answer.json["errors"]] == ["/division/amount"]
    assert count() == 1


def test_a_refusal_is_not_kept_and_takes_the_work_back(post: Any, thing: Any, count: Any) -> None:
    for _ in range(2):
        answer = post({**thing, "name": "trouble"}, Idempotency_Key="a")
        assert (answer.status_code, count()) == (409, 0)
    assert post(thing, Idempotency_Key="a").status_code == 201


def test_an_error_of_ours_takes_the_work_back_too(post: Any, thing: Any, count: Any) -> None:
    assert (post({**thing, "name": "slip"}, Idempotency_Key="a").status_code, count()) == (500, 0)


def test_each_access_key_and_path_has_idempotency_keys_of_its_own(
    client: Any, post: Any, key: Any, thing: Any, count: Any
) -> None:
    post(thing, Idempotency_Key="a")
    client.post("/v1/things", json={**thing, "name": "b"}, headers={**key("work"), "Idempotency-Key": "a"})
    post({**thing, "name": "c"}, "/v1/things/forgetful", Idempotency_Key="a")
    assert count() == 3


def test_without_a_key_it_is_worked_each_time_and_refused_where_demanded(
    post: Any, thing: Any, count: Any
) -> None:
    for name in ("a", "b"):
        post({**thing, "name": name})
    answer = post({**thing, "name": "c"}, "/v1/things/forgetful")
    assert (answer.status_code, answer.json["type"]) == (400, "/problems/idempotency-key-missing")
    assert count() == 2


@pytest.mark.parametrize("given", ["", "x" * 256, "\xe9", "a\tb"])
def test_a_key_that_cannot_be_kept_is_refused(post: Any, thing: Any, given: str) -> None:
    assert post(thing, Idempotency_Key=given).status_code == 400


@pytest.mark.parametrize("said", ["1", "True", "", "true&dry_run=false"])
def test_a_dry_run_in_other_words_keeps_nothing_either(post: Any, thing: Any, count: Any, said: str) -> None:
    answer = post(thing, f"/v1/things?dry_run={said}")
    assert (answer.status_code, answer.json["type"]) == (400, "/problems/bad-request")
    assert count() == 0


def test_a_call_without_a_dry_run_says_so_and_keeps_nothing(post: Any, thing: Any, count: Any) -> None:
    answer = post(thing, "/v1/things/forgetful?dry_run=true", Idempotency_Key="a")
    assert (answer.status_code, answer.json["type"]) == (400, "/problems/bad-request")
    assert count() == 0


def test_a_dry_run_answers_and_keeps_neither_work_nor_answer(post: Any, thing: Any, count: Any) -> None:
    assert post(thing, "/v1/things?dry_run=true", Idempotency_Key="a").status_code == 200
    assert count() == 0
    assert "Idempotency-Replayed" not in post(thing, Idempotency_Key="a").headers
    assert count() == 1


def test_a_twin_that_is_under_way_is_409(app: Any, key: Any, thing: Any, books: Any, count: Any) -> None:
    headers, waiting, go_on = {**key("work"), "Idempotency-Key": "a"}, Event(), Event()
    statuses: list[int] = []

    def slow_clock() -> Any:
        waiting.set()
        go_on.wait(10)
        books.clock = steady
        return steady()

    # The first request authenticates with the steady clock of a key already noted, then waits in its work.
    steady = books.clock
    app.test_client().get("/v1/things", headers=headers)

    def first() -> None:
        statuses.append(app.test_client().post("/v1/things", json=thing, headers=headers).status_code)

    calls = iter([steady, slow_clock])
    books.clock = lambda: next(calls)()
    thread = Thread(target=first)
    thread.start()
    assert waiting.wait(10)
    books.clock = steady
    twin = app.test_client().post("/v1/things", json=thing, headers=headers)
    go_on.set()
    thread.join()
    assert (statuses, twin.status_code, twin.json["type"]) == ([201], 409, "/problems/request-under-way")
    assert count() == 1


@pytest.mark.parametrize(
    ("one", "other", "pointer"),
    [
        ({"a": 1, "b": 2}, {"b": 2, "a": 1}, None),
        ({"a": 1}, {"a": 1, "b": None}, "/b"),
        ({"a": [1, 2]}, {"a": [1]}, "/a/1"),
        ({"a": 1}, {"a": True}, "/a"),
        ({"a": "1"}, {"a": "1.0"}, "/a"),
        ([{"x": "y"}], [{"x": "z"}], "/0/x"),
        ({"a": {}}, {"a": []}, "/a"),
    ],
)
def test_the_first_field_that_differs_is_found(one: Any, other: Any, pointer: str | None) -> None:
    assert first_difference(one, other) == pointer
