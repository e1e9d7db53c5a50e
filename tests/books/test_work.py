"""One transaction at a time."""

import sys
from datetime import UTC, datetime
from pathlib import Path
from threading import Thread

import pytest
import stores
from sqlalchemy import insert, select
from sqlalchemy.exc import DBAPIError

from settle.books.columns import canonical
from settle.books.listing import Page, page_of
from settle.books.tables import scales
from settle.books.work import THE_COMMAND, Books, Work, open_books
from settle.reckoning.problems import Refused


def add_scale(work: Work, name: str) -> None:
    row = {"id": work.name("SC"), "name": name, "data": {"d": "0.01"}, "made_at": work.now}
    work.connection.execute(insert(scales).values(row))


def names(books: Books) -> list[str]:
    with books.reading() as work:
        return [row.name for row in work.connection.execute(select(scales).order_by(scales.c.n))]


def test_work_that_ends_well_is_kept(books: Books) -> None:
    with books.writing(THE_COMMAND) as work:
        add_scale(work, "bench")
    assert names(books) == ["bench"]


def test_work_that_fails_is_taken_back_with_the_number_that_it_drew(books: Books) -> None:
    def failing() -> None:
        with books.writing(THE_COMMAND) as work:
            add_scale(work, "bench")
            work.number("S")
            raise RuntimeError

    with pytest.raises(RuntimeError):
        failing()
    with books.writing(THE_COMMAND) as work:
        assert work.number("S") == "S-2026-0001"
    assert names(books) == []


def test_reading_cannot_write_and_the_connection_can_write_again_afterwards(books: Books) -> None:
    with pytest.raises(DBAPIError, match=r"read-?only"), books.reading() as work:
        add_scale(work, "bench")
    with books.writing(THE_COMMAND) as work:
        add_scale(work, "till")
    assert names(books) == ["till"]


def test_reading_sees_one_state_from_the_first_question_to_the_last(books: Books) -> None:
    with books.reading() as work:
        before = len(work.connection.execute(select(scales)).all())
        with books.writing(THE_COMMAND) as other:
            add_scale(other, "bench")
        assert len(work.connection.execute(select(scales)).all()) == before
    assert names(books) == ["bench"]


def test_numbers_count_per_series_and_names_know_no_year(books: Books) -> None:
    with books.writing(THE_COMMAND) as work:
        drawn = [work.number("Q"), work.number("Q"), work.number("L"), work.name("PR"), work.name("PR")]
    assert drawn == ["Q-2026-0001", "Q-2026-0002", "L-2026-0001", "PR-1", "PR-2"]


def test_the_year_turns_in_the_houses_time_zone(books: Books, clock) -> None:
    clock.now = datetime(2026, 12, 31, 12, 0, tzinfo=UTC)  # already the new year in Auckland
    with books.writing(THE_COMMAND) as work:
        assert work.number("Q") == "Q-2027-0001"


def test_the_moment_of_a_transaction_is_one_and_is_read_back_as_it_was_written(books: Books, clock) -> None:
    clock.now = datetime(2026, 3, 2, 9, 30, 0, 123987, tzinfo=UTC)
    with books.writing(THE_COMMAND) as work:
        add_scale(work, "bench")
        written = work.now
        assert work.moment == "2026-03-02T09:30:00.123Z"
    with books.reading() as work:
        assert work.connection.execute(select(scales.c.made_at)).scalar_one() == written


def test_a_lock_that_is_not_to_be_had_is_a_refusal_of_kind_busy(url: str, books: Books) -> None:
    impatient = open_books(url)
    stores.impatient(impatient.engine)
    with books.writing(THE_COMMAND), pytest.raises(Refused) as refused, impatient.writing(THE_COMMAND):
        pass
    assert [f.kind for f in refused.value.faults] == ["busy"]
    impatient.close()


def test_writers_of_many_threads_draw_every_number_once(books: Books) -> None:
    drawn: list[str] = []

    def draw() -> None:
        for _ in range(10):
            with books.writing(THE_COMMAND) as work:
                drawn.append(work.number("S"))

    threads = [Thread(target=draw) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(drawn) == [f"S-2026-{n:04d}" for n in range(1, 61)]


@pytest.mark.sqlite
@pytest.mark.parametrize(
    ("pragma", "value"),
    [("journal_mode", "wal"), ("synchronous", 2), ("foreign_keys", 1), ("busy_timeout", 10000)],
)
def test_every_connection_keeps_the_houses_pragmas(books: Books, pragma: str, value: object) -> None:
    with books.writing(THE_COMMAND) as work:
        assert work.connection.exec_driver_sql(f"PRAGMA {pragma}").scalar_one() == value


def test_a_database_that_is_neither_sqlite_nor_postgresql_is_refused_by_name() -> None:
    with pytest.raises(ValueError, match=r"sqlite:/// or postgresql\+psycopg://"):
        open_books("mysql://localhost/books")


def test_without_its_driver_postgresql_is_refused_with_what_to_install(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setitem(sys.modules, "psycopg", None)
    with pytest.raises(ValueError, match=r"pip install 'settle\[postgres\]'"):
        open_books("postgresql+psycopg://localhost/books")


@pytest.mark.sqlite
def test_the_folder_of_the_database_is_made_where_there_is_none(tmp_path: Path) -> None:
    made = open_books(f"sqlite:///{tmp_path / 'new' / 'folder' / 'books.sqlite3'}")
    with made.reading():
        assert (tmp_path / "new" / "folder").is_dir()
    made.close()


def test_equal_data_is_equal_text_whatever_the_order() -> None:
    assert canonical({"b": 1, "a": ["é"]}) == canonical({"a": ["é"], "b": 1}) == '{"a":["é"],"b":1}'


def test_a_moment_without_a_zone_is_not_kept(books: Books) -> None:
    row = {"id": "SC-1", "name": "x", "data": {}, "made_at": datetime(2026, 3, 2)}
    with pytest.raises(Exception, match="time zone"), books.writing(THE_COMMAND) as work:
        work.connection.execute(insert(scales).values(row))


def test_a_column_takes_no_value_of_another_type(books: Books, tmp_path: Path) -> None:
    with stores.sql(tmp_path / "books.sqlite3") as sql, pytest.raises(DBAPIError):
        sql.exec_driver_sql("INSERT INTO numbers VALUES ('Q', 2026, 'many')")


def test_pages_follow_each_other_without_a_gap_and_end(books: Books) -> None:
    with books.writing(THE_COMMAND) as work:
        for n in range(5):
            add_scale(work, f"s{n}")
    seen, after = [], None
    with books.reading() as work:
        while True:
            listed = page_of(work, select(scales), scales, Page(2, after))
            seen += [row.name for row in listed.rows]
            after = listed.next_after
            if after is None:
                break
    assert seen == ["s4", "s3", "s2", "s1", "s0"]
