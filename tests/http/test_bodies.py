"""What of a body is refused, and that all of it is said at once."""

import json
import time
from typing import Any

import pytest

from api.http.body import DEEPEST, parse
from api.http.problems import merge
from api.schemas.base import WeightSchema, shape_faults
from settle.reckoning.problems import Fault


def errors(response: Any) -> dict[str, str]:
    return {e["pointer"]: e["type"].removeprefix("/problems/") for e in response.json["errors"]}


def with_division(token: str) -> bytes:
    return b'{"name": "x", "division": {"amount": %s, "unit": "g"}}' % token.encode()


def test_a_good_body_is_kept(post: Any, thing: Any, count: Any) -> None:
    answer = post(thing)
    assert (answer.status_code, answer.json["id"], count()) == (201, "SC-1", 1)


@pytest.mark.parametrize(
    ("sent", "kind", "status"),
    [
        (b"", "unparsable-body", 400),
        (b"{", "unparsable-body", 400),
        (b"{} {}", "unparsable-body", 400),
        (b'{"a": 1,}', "unparsable-body", 400),
        (b'{"a": "\xff"}', "unparsable-body", 400),
        (b"\xef\xbb\xbf{}", "unparsable-body", 400),
        (b"'x'", "unparsable-body", 400),
        (b'{"a": 1, "a": 1}', "duplicate-key", 400),
        (b"[" * (DEEPEST + 1) + b"]" * (DEEPEST + 1), "nested-too-deep", 400),
        (b"[" * 9_000 + b"]" * 9_000, "nested-too-deep", 400),
        (b'{"a": "' + b"x" * 20_000 + b'"}', "body-too-large", 413),
    ],
)
def test_what_is_no_body_of_ours_is_refused_by_its_kind(
    post: Any, count: Any, sent: bytes, kind: str, status: int
) -> None:
    answer = post(sent)
    assert (answer.status_code, answer.json["type"]) == (status, f"/problems/{kind}")
    assert answer.content_type == "application/problem+json"
    assert count() == 0


def test_a_key_that_stands_twice_deep_inside_is_named_by_its_pointer(post: Any) -> None:
    answer = post(b'{"division": {"unit": "g", "a/b": 1, "a/b": 2}}')
    assert errors(answer) == {"/division/a~1b": "duplicate-key"}


def test_the_deepest_body_that_may_be_is_read(post: Any) -> None:
    assert post(b"[" * DEEPEST + b"]" * DEEPEST).status_code == 422


@pytest.mark.parametrize("media_type", ["text/plain", "application/x-www-form-urlencoded", None])
def test_another_media_type_is_415(client: Any, key: Any, media_type: str | None) -> None:
    answer = client.post("/v1/things", data=b"{}", content_type=media_type, headers=key("work"))
    assert (answer.status_code, answer.json["type"]) == (415, "/problems/unsupported-media-type")


@pytest.mark.parametrize(
    "token", ["0.01", "1", "1e400", "NaN", "-Infinity", "9" * 4000, "0." + "1" * 5000, "true"]
)
def test_a_json_number_where_a_decimal_string_belongs_is_named_by_its_pointer(post: Any, token: str) -> None:
    answer = post(with_division(token))
    assert (answer.status_code, errors(answer)) == (422, {"/division/amount": "not-a-decimal"})


@pytest.mark.parametrize("token", [str(2**53 + 1), "9" * 30, "-" + "9" * 4000, "9", "0"])
def test_a_count_beyond_its_bounds_is_out_of_range(post: Any, thing: Any, token: str) -> None:
    sent = json.dumps(thing)[:-1] + f', "legs": {token}' + "}"
    assert errors(post(sent.encode())) == {"/legs": "out-of-range"}


@pytest.mark.parametrize(
    ("field", "value"), [("legs", True), ("legs", "3"), ("legs", 3.0), ("digital", 1), ("name", 5)]
)
def test_a_value_of_another_type_is_not_taken_for_the_right_one(
    post: Any, thing: Any, field: str, value: object
) -> None:
    assert errors(post({**thing, field: value})) == {f"/{field}": "wrong-type"}


@pytest.mark.parametrize("text", [r"a\u0000b", r"\ud800", r"\udc00\ud800"])
def test_a_nul_or_a_lone_surrogate_is_bad_text_wherever_it_stands(post: Any, text: str) -> None:
    sent = '{"name": "?", "division": {"amount": "1", "unit": "?"}, "?": 1}'.replace("?", text)
    found = errors(post(sent.encode()))
    assert found.pop("/name") == "bad-text"
    assert found.pop("/division/unit") == "bad-text"
    assert set(found.values()) == {"bad-text"}
    assert len(found) == 1


def test_a_pair_of_surrogates_is_a_character(post: Any, thing: Any) -> None:
    assert post(json.dumps({**thing, "name": "\U0001f947"}).encode()).status_code == 201


def test_a_million_digits_cost_nothing() -> None:
    digits = b"1" * 1_000_000
    start = time.perf_counter()
    parsed = parse(b"[%s, 0.%s, -%s]" % (digits, digits, digits))
    assert time.perf_counter() - start < 0.5
    assert sorted(f.pointer for f in parsed.faults) == ["/0", "/1", "/2"]


def test_all_faults_of_shape_and_of_meaning_come_back_at_once(post: Any, count: Any) -> None:
    sent = {"name": "", "division": {"amount": "0", "unit": "oz"}, "legs": 1.5, "colour": "red"}
    assert errors(post(sent)) == {
        "/name": "bad-text",
        "/division/amount": "weight-not-positive",
        "/division/unit": "ambiguous-unit",
        "/legs": "wrong-type",
        "/colour": "unknown-field",
    }
    assert count() == 0


def test_a_single_fault_is_an_invalid_body_with_that_fault_inside(post: Any, thing: Any) -> None:
    answer = post({**thing, "legs": 9}).json
    assert (answer["type"], answer["status"]) == ("/problems/invalid-body", 422)
    assert answer["errors"] == [
        {
            "type": "/problems/out-of-range",
            "pointer": "/legs",
            "wrong": "9 is out of range",
            "right": "a whole number from 1 to 8",
        }
    ]


@pytest.mark.parametrize("sent", [b"[]", b'"x"', b"null", b"5"])
def test_a_body_that_is_no_object_is_one_fault_at_the_root(post: Any, sent: bytes) -> None:
    assert errors(post(sent)) == {"": "wrong-type"}


def test_below_a_value_of_the_wrong_type_nothing_is_missing(post: Any) -> None:
    assert errors(post({"name": "x", "division": "0.01 g"})) == {"/division": "wrong-type"}


def test_a_missing_field_is_said_once(post: Any) -> None:
    answer = post({"name": "x"}).json
    assert [(e["pointer"], e["type"]) for e in answer["errors"]] == [("/division", "/problems/missing")]


def test_a_view_that_forgot_to_ask_keeps_nothing_all_the_same(post: Any, thing: Any, count: Any) -> None:
    answer = post({**thing, "legs": 99}, "/v1/things/forgetful", Idempotency_Key="a")
    assert (errors(answer), count()) == ({"/legs": "out-of-range"}, 0)


def test_a_view_that_stumbles_over_a_bad_shape_answers_with_the_shape(post: Any) -> None:
    answer = post({"division": {"amount": "1", "unit": "g"}}, "/v1/things/forgetful", Idempotency_Key="a")
    assert (answer.status_code, errors(answer)) == (422, {"/name": "missing"})


def fault(kind: str, pointer: str, wrong: str = "") -> Fault:
    return Fault(kind, pointer, wrong, "")


@pytest.mark.parametrize(
    ("shape", "meaning", "shown"),
    [
        ("not-a-decimal", "weight-not-positive", "weight-not-positive"),
        ("wrong-type", "missing", "wrong-type"),
        ("missing", "no-fineness", "no-fineness"),
        ("bad-text", "unknown-unit", "bad-text"),
    ],
)
def test_of_two_faults_at_one_pointer_the_more_telling_is_shown(shape: str, meaning: str, shown: str) -> None:
    merged = merge([fault(shape, "/a")], [fault(meaning, "/a"), fault("missing", "/b")])
    assert [(f.pointer, f.kind) for f in merged] == [("/a", shown), ("/b", "missing")]


def test_of_equal_faults_the_reckonings_words_are_shown() -> None:
    merged = merge([fault("out-of-range", "/a", "shape")], [fault("out-of-range", "/a", "meaning")])
    assert [f.wrong for f in merged] == ["meaning"]


def test_a_name_that_is_near_a_known_one_is_told_which() -> None:
    near, far = shape_faults(WeightSchema, {"amount": "3", "unit": "g", "amont": "3", "carriage": "3"})
    assert {near.pointer: near.right, far.pointer: far.right} == {
        "/amont": '"amount", if that is meant',
        "/carriage": "leave it out, or mend its name",
    }
