"""Corrected by adding, never by editing."""

import pytest

from settle.books import records
from settle.books.work import THE_COMMAND, Actor, Books
from settle.reckoning.problems import Refused


def refusal(books: Books, *args: object) -> list[tuple[str, str]]:
    with pytest.raises(Refused) as refused, books.writing(THE_COMMAND) as work:
        records.add(work, *args)  # type: ignore[arg-type]
    return [(f.kind, f.pointer) for f in refused.value.faults]


@pytest.fixture
def first(books: Books) -> records.Record:
    with books.writing(Actor(None, "x", frozenset(), "the apprentice")) as work:
        return records.add(work, "L-2026-0001", "melt", {"weight": "44.05"})


def test_an_entry_is_read_back_as_it_was_added(books: Books, first: records.Record) -> None:
    with books.reading() as work:
        assert records.in_force(work, "L-2026-0001", "melt") == [first]
        assert records.find(work, first.id) == first
    assert (first.person, first.data) == ("the apprentice", {"weight": "44.05"})


def test_a_correction_is_in_force_and_the_old_entry_stays_readable(
    books: Books, first: records.Record
) -> None:
    with books.writing(THE_COMMAND) as work:
        second = records.add(work, first.subject, "melt", {"weight": "44.50"}, first.id, "digits swapped")
        third = records.add(work, first.subject, "melt", {"weight": "44.51"}, second.id, "again")
    with books.reading() as work:
        assert records.in_force(work, first.subject, "melt") == [third]
        assert records.history(work, first.subject, "melt") == [first, second, third]


def test_other_kinds_and_subjects_are_left_alone(books: Books, first: records.Record) -> None:
    with books.writing(THE_COMMAND) as work:
        assay = records.add(work, first.subject, "assay", {})
        records.add(work, "L-2026-0002", "melt", {})
    with books.reading() as work:
        assert records.in_force(work, first.subject, "assay") == [assay]
        assert records.history(work, first.subject) == [first, assay]


def test_an_entry_is_corrected_once(books: Books, first: records.Record) -> None:
    with books.writing(THE_COMMAND) as work:
        records.add(work, first.subject, "melt", {}, first.id, "slip")
    assert refusal(books, first.subject, "melt", {}, first.id, "slip") == [("wrong-state", "/corrects")]


@pytest.mark.parametrize(("subject", "kind"), [("L-2026-0002", "melt"), ("L-2026-0001", "assay")])
def test_an_entry_of_another_subject_or_kind_is_not_corrected(
    books: Books, first: records.Record, subject: str, kind: str
) -> None:
    assert refusal(books, subject, kind, {}, first.id, "slip") == [("unknown-reference", "/corrects")]


def test_a_correction_needs_a_reason(books: Books, first: records.Record) -> None:
    assert refusal(books, first.subject, "melt", {}, first.id, " ") == [("missing", "/reason")]
