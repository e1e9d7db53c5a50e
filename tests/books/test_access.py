"""Access keys."""

from datetime import timedelta

import pytest
from sqlalchemy import select

from settle.books import access
from settle.books.tables import access_keys
from settle.books.work import THE_COMMAND, Books
from settle.reckoning.problems import Refused


def make(books: Books, *scopes: str) -> str:
    with books.writing(THE_COMMAND) as work:
        return access.make_key(work, "till", scopes)


def kinds(refused: pytest.ExceptionInfo[Refused]) -> list[str]:
    return [fault.kind for fault in refused.value.faults]


def test_a_key_is_found_by_its_secret_and_by_no_other(books: Books) -> None:
    secret = make(books, "quote", "work")
    actor = access.recognise(books, secret)
    assert actor is not None
    assert (actor.key_id, actor.key_name, actor.scopes) == ("K-1", "till", frozenset({"quote", "work"}))
    assert access.recognise(books, secret[:-1]) is None
    assert access.recognise(books, "") is None
    assert access.recognise(books, "\ud800") is None


def test_the_secret_is_nowhere_in_the_books(books: Books) -> None:
    secret = make(books, "owner")
    with books.reading() as work:
        row = work.connection.execute(select(access_keys)).one()
    assert len(secret) >= 43
    assert secret not in repr(row)
    assert len(row.hash) == 64


def test_the_last_use_is_noted_once_a_minute(books: Books, clock) -> None:
    secret = make(books, "quote")

    def used() -> str | None:
        access.recognise(books, secret)
        with books.reading() as work:
            shown: str | None = access.list_keys(work)[0]["last_used_at"]
            return shown

    first = used()
    clock.turn(timedelta(seconds=59))
    assert used() == first == "2026-03-02T09:30:00.000Z"
    clock.turn(timedelta(seconds=1))
    assert used() == "2026-03-02T09:31:00.000Z"


def test_a_revoked_key_opens_nothing_and_may_be_revoked_again(books: Books) -> None:
    make(books, "owner")
    secret = make(books, "quote")
    for _ in range(2):
        with books.writing(THE_COMMAND) as work:
            access.revoke_key(work, "K-2")
    assert access.recognise(books, secret) is None


def test_the_last_owner_key_stays(books: Books) -> None:
    make(books, "owner")
    with pytest.raises(Refused) as refused, books.writing(THE_COMMAND) as work:
        access.revoke_key(work, "K-1")
    assert kinds(refused) == ["last-owner"]
    make(books, "owner")
    with books.writing(THE_COMMAND) as work:
        access.revoke_key(work, "K-1")


def test_a_renewed_secret_replaces_the_old_one(books: Books) -> None:
    old = make(books, "owner")
    with books.writing(THE_COMMAND) as work:
        new = access.renew_secret(work, "K-1")
    assert access.recognise(books, old) is None
    assert access.recognise(books, new) is not None


def test_a_scope_that_nobody_knows_is_refused_by_its_place(books: Books) -> None:
    with pytest.raises(Refused) as refused:
        make(books, "quote", "king")
    assert [(f.kind, f.pointer) for f in refused.value.faults] == [("not-one-of", "/scopes/1")]
    with pytest.raises(Refused) as refused:
        make(books)
    assert kinds(refused) == ["missing"]


def test_a_key_that_is_not_there_is_not_revoked(books: Books) -> None:
    with pytest.raises(Refused) as refused, books.writing(THE_COMMAND) as work:
        access.revoke_key(work, "K-9")
    assert kinds(refused) == ["not-found"]
