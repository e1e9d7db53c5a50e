"""Schemathesis finds nothing: every check, the whole document, books in which every call can succeed."""

from tests.fuzz.fuzzed import Found


def test_every_operation_is_done(short_run: tuple[Found, list[str]]) -> None:
    found, operations = short_run
    assert found.unreached(operations) == []


def test_no_answer_is_other_than_the_document_says(short_run: tuple[Found, list[str]]) -> None:
    found, _ = short_run
    assert not found.faults, "\n\n".join(f"{fault}\n{request}" for fault, request in found.faults.items())
    assert found.cases > 1000
