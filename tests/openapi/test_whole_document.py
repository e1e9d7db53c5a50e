"""The document is whole: closed answers, executed examples, and the problems that each call can give."""

import json
import re
import sys
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from threading import Barrier
from typing import Any

import jsonschema_rs
import pytest
from executed import FILE, executed, written
from staged import House

from api.app import create_app
from api.http.document import operations
from api.settings import Settings
from settle.reckoning.problems import KINDS

EXAMPLES = json.loads(FILE.read_text("utf-8"))
# Objects whose members are the asker's own, or those of the kind that the answer names.
OPEN = {
    ("EntryAnswer", "data"),
    ("ExampleAnswer", "body"),
    ("ExampleAnswer", "before"),
    ("RecordAnswer", "inputs"),
    ("RecordAnswer", "about"),
    ("RecordAnswer", "answer"),
}
# No operation gives them: they are of calls that are none, of errors of ours, and of every call alike.
OF_NO_CALL = {"method-not-allowed", "internal-error"}


def calls(document: Any) -> Iterator[tuple[str, Any]]:
    for path, method, operation in operations(document):
        yield f"{method.upper()} {path}", operation


def content(operation: Any, status: Any) -> Any:
    return operation["responses"][str(status)].get("content", {})


def test_the_examples_are_what_the_walks_are_answered() -> None:
    assert written(executed()) == FILE.read_text("utf-8")


def test_every_operation_has_an_example_and_no_other_has(document: Any) -> None:
    assert {call for call, _ in calls(document)} == set(EXAMPLES)


def test_every_operation_shows_its_example(document: Any) -> None:
    for call, operation in calls(document):
        example = EXAMPLES[call]
        if "answer" in example:
            shown = content(operation, example["status"])["application/json"]["examples"]["executed"]["value"]
            assert shown == example["answer"], call
        if "body" in example:
            asked = operation["requestBody"]["content"]["application/json"]["examples"]["executed"]["value"]
            assert asked == example["body"], call


@pytest.mark.parametrize("call", EXAMPLES)
def test_an_example_is_as_its_schemas_say(document: Any, call: str) -> None:
    operation = dict(calls(document))[call]
    example = EXAMPLES[call]
    if "answer" in example:
        schema = content(operation, example["status"])["application/json"]["schema"]
        _validate(document, schema, example["answer"])
    if "body" in example:
        _validate(
            document, operation["requestBody"]["content"]["application/json"]["schema"], example["body"]
        )


def _validate(document: Any, schema: Any, value: Any) -> None:
    whole = {**schema, "components": document["components"]}
    jsonschema_rs.Draft202012Validator(whole).validate(value)


def test_every_answer_has_a_schema(document: Any) -> None:
    for call, operation in calls(document):
        for status, response in operation["responses"].items():
            if status in ("200", "201", "202"):
                assert response.get("content"), call
                assert all(said["schema"] for said in response["content"].values()), call


def test_every_object_of_an_answer_is_closed(document: Any) -> None:
    schemas = document["components"]["schemas"]
    answers = {name: schema for name, schema in schemas.items() if name.endswith("Answer")}
    assert len(answers) > 100
    assert [name for name, schema in answers.items() if schema.get("additionalProperties") is not False] == []
    # A map says what its values are; only what echoes an asker's own may hold anything.
    loose = {
        (name, member)
        for name, schema in answers.items()
        for member, said in schema.get("properties", {}).items()
        if _is_loose(said)
    }
    assert loose == OPEN


def _is_loose(said: Any) -> bool:
    if "items" in said:
        return _is_loose(said["items"])
    return said.get("type") == "object" and not said.get("additionalProperties")


def test_every_operation_names_the_problems_that_it_can_give(document: Any) -> None:
    named = {call: operation["x-problems"] for call, operation in calls(document)}
    assert {kind for kinds in named.values() for kind in kinds} == set(KINDS) - OF_NO_CALL
    assert "quote-expired" in named["POST /v1/quotes/{number}/acceptance"]
    assert "idempotency-key-missing" in named["POST /v1/purchases"]
    assert "idempotency-key-missing" not in named["POST /v1/quotes"]
    assert not set(named["GET /livez"]) - {"too-many-requests"}


def test_a_problem_that_an_operation_names_has_a_documented_status(document: Any) -> None:
    for call, operation in calls(document):
        for kind in operation["x-problems"]:
            assert str(KINDS[kind].status) in operation["responses"], (call, kind)


def test_the_catalogue_names_calls_that_there_are(document: Any) -> None:
    catalogue = json.loads((FILE.parent / "problems.json").read_text("utf-8"))
    told = {call for kind in catalogue.values() for call in kind.get("calls", ())}
    assert told <= {call for call, _ in calls(document)}


def test_it_says_what_all_calls_have_in_common(document: Any) -> None:
    about = document["info"]["description"]
    for word in ("Authorization: Bearer", "Idempotency-Key", "If-Match", "ETag", "Link", "Retry-After"):
        assert f"`{word}" in about
    operations = dict(calls(document))
    for named in re.findall(r"`(x-\w+)`", about):
        assert named in operations["POST /v1/quotes"]


def test_a_call_that_is_answered_once_says_how_a_repeat_is_known(document: Any) -> None:
    for call, operation in calls(document):
        takes_key = any(p["name"] == "Idempotency-Key" for p in operation.get("parameters", ()))
        for status, response in operation["responses"].items():
            if status.startswith("2"):
                assert ("Idempotency-Replayed" in response.get("headers", {})) == takes_key, call


def test_who_is_sent_away_for_a_while_is_told_in_the_document_where_the_while_stands(document: Any) -> None:
    for name, response in document["components"]["responses"].items():
        assert ("Retry-After" in response.get("headers", {})) == (name in ("Problem429", "Problem503")), name


def test_what_is_made_and_can_be_looked_at_says_where(document: Any) -> None:
    operations = dict(calls(document))
    looked_at = {
        call.rpartition("/{")[0] for call in operations if call.startswith("GET") and call.endswith("}")
    }
    makers = [call for call in operations if call.startswith("POST") and f"GET {call[5:]}" in looked_at]
    assert "POST /v1/terms" in makers
    assert len(makers) > 8
    for call in makers:
        assert "Location" in operations[call]["responses"]["201"].get("headers", {}), call


def test_all_who_read_it_first_at_once_read_the_same(house: House) -> None:
    app = create_app(Settings("sqlite://"), books=house.books)
    ready = Barrier(8)

    def read(_: int) -> tuple[int, bytes]:
        ready.wait(60)
        answer = app.test_client().get("/openapi.json")
        return answer.status_code, answer.get_data()

    interval = sys.getswitchinterval()
    sys.setswitchinterval(1e-5)  # else the first is often done before the second begins
    try:
        with ThreadPoolExecutor(8) as pool:
            answers = set(pool.map(read, range(8)))
    finally:
        sys.setswitchinterval(interval)
    ((status, body),) = answers
    assert status == 200
    assert {call for call, _ in calls(json.loads(body))} == set(EXAMPLES)
