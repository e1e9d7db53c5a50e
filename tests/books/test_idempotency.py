"""Answers kept with the work that they report."""

from datetime import timedelta

import pytest

from settle.books import access
from settle.books.idempotency import Asked, Kept, keep_answer, kept_answer
from settle.books.work import THE_COMMAND, Books

ASKED = Asked("K-1", "POST", "/v1/quotes", "abc")
KEPT = Kept({"b": [1], "a": "x"}, 201, b'{"n":"Q-1"}', {"ETag": '"1"'})


@pytest.fixture(autouse=True)
def a_key(books: Books) -> None:
    with books.writing(THE_COMMAND) as work:
        access.make_key(work, "till", ["quote"])


def test_an_answer_is_found_under_all_four_and_under_no_less(books: Books) -> None:
    with books.writing(THE_COMMAND) as work:
        keep_answer(work, ASKED, KEPT)
    with books.reading() as work:
        assert kept_answer(work, ASKED) == KEPT
        for other in (
            Asked("K-2", "POST", "/v1/quotes", "abc"),
            Asked("K-1", "PATCH", "/v1/quotes", "abc"),
            Asked("K-1", "POST", "/v1/lots", "abc"),
            Asked("K-1", "POST", "/v1/quotes", "abd"),
        ):
            assert kept_answer(work, other) is None


def test_an_answer_goes_with_work_that_is_taken_back(books: Books) -> None:
    def failing() -> None:
        with books.writing(THE_COMMAND) as work:
            keep_answer(work, ASKED, KEPT)
            raise RuntimeError

    with pytest.raises(RuntimeError):
        failing()
    with books.reading() as work:
        assert kept_answer(work, ASKED) is None


def test_an_answer_is_kept_a_day_and_forgotten_later(books: Books, clock) -> None:
    def keep(key: str) -> None:
        with books.writing(THE_COMMAND) as work:
            keep_answer(work, Asked("K-1", "POST", "/", key), KEPT)

    def is_kept() -> bool:
        with books.reading() as work:
            return kept_answer(work, Asked("K-1", "POST", "/", "first")) is not None

    keep("first")
    clock.turn(timedelta(hours=25))
    keep("second")
    assert is_kept()
    clock.turn(timedelta(hours=25))
    keep("third")
    assert not is_kept()
