"""What is PostgreSQL's own: its lock, its guards, its tools, a server that goes away."""

import subprocess
from collections.abc import Iterator
from pathlib import Path
from threading import Event, Thread
from typing import Any

import postgresql
import pytest
from click.testing import CliRunner
from sqlalchemy import create_engine, insert, inspect, select, text
from sqlalchemy.engine import make_url
from sqlalchemy.exc import IntegrityError
from test_migrations import POSTED, ROWS

from api import cli
from api.app import create_app
from api.settings import Settings
from settle.books import chain, tables
from settle.books.check import all_faults
from settle.books.migrations import is_current, upgrade
from settle.books.work import THE_COMMAND, Books, open_books
from settle.reckoning.problems import Refused

SOON_S = 30


@pytest.fixture
def pg(postgresql_url: str) -> Iterator[Books]:
    opened = open_books(postgresql_url)
    yield opened
    opened.close()


@pytest.fixture
def posted(pg: Books) -> Books:
    with pg.writing(THE_COMMAND) as work:
        for table, row in ROWS.items():
            marks = ", ".join(f":{c}" for c in row)
            work.connection.execute(text(f"INSERT INTO {table} ({', '.join(row)}) VALUES ({marks})"), row)
    return pg


def add_person(books: Books, name: str) -> None:
    with books.writing(THE_COMMAND) as work:
        row = {"id": work.name("PE"), "name": name, "made_at": work.now}
        work.connection.execute(insert(tables.people).values(row))


def people(books: Books) -> list[str]:
    with books.reading() as work:
        return list(
            work.connection.execute(select(tables.people.c.name).order_by(tables.people.c.n)).scalars()
        )


def test_whoever_waited_for_the_lock_sees_what_the_one_before_left(pg: Books, postgresql_url: str) -> None:
    """Source: PostgreSQL's LOCK, Notes: to get a snapshot after the lock, take it before any query."""
    other, begins = open_books(postgresql_url), Event()
    seen: list[Any] = []

    def second() -> None:
        begins.set()
        with other.writing(THE_COMMAND) as work:
            seen.extend(work.connection.execute(select(tables.people.c.name)).scalars())
            seen.append(work.number("S"))

    thread = Thread(target=second)
    with pg.writing(THE_COMMAND) as work:
        thread.start()
        assert begins.wait(SOON_S)
        # Until it waits there, as the server sees it.
        waiting = text("SELECT count(*) FROM pg_locks WHERE NOT granted AND relation = 'numbers'::regclass")
        watch = create_engine(postgresql_url, isolation_level="AUTOCOMMIT")
        with watch.connect() as connection:
            while connection.execute(waiting).scalar_one() == 0:
                assert thread.is_alive()
        watch.dispose()
        row = {"id": "PE-1", "name": "Dee", "made_at": work.now}
        work.connection.execute(insert(tables.people).values(row))
        first = work.number("S")
    thread.join(SOON_S)
    other.close()
    assert (first[-4:], seen[0], seen[1][-4:]) == ("0001", "Dee", "0002")


def test_readers_wait_for_no_writer(pg: Books) -> None:
    add_person(pg, "Dee")
    with pg.writing(THE_COMMAND) as work:
        work.number("S")
        assert people(pg) == ["Dee"]


def test_what_was_taken_back_leaves_no_gap_in_the_chain(pg: Books) -> None:
    def scale(name: str, *, fails: bool) -> None:
        with pg.writing(THE_COMMAND) as work:
            row = {"id": work.name("SC"), "name": name, "data": {}, "made_at": work.now}
            work.connection.execute(insert(tables.scales).values(row))
            chain.seal(work, tables.scales, row["id"])
            if fails:
                raise RuntimeError

    scale("bench", fails=False)
    with pytest.raises(RuntimeError):
        scale("till", fails=True)
    scale("counter", fails=False)
    with pg.reading() as work:
        assert all_faults(work) == []
        assert list(work.connection.execute(select(tables.chain.c.n)).scalars()) == [1, 2]


@pytest.mark.parametrize("table", [*POSTED, "settlements", "quotes"])
def test_a_table_of_what_is_posted_is_not_emptied_in_one_go(posted: Books, table: str) -> None:
    with pytest.raises(IntegrityError, match=table), posted.writing(THE_COMMAND) as work:
        work.connection.exec_driver_sql(f"TRUNCATE {table} CASCADE")


def test_a_posted_row_is_not_written_over(posted: Books) -> None:
    over = "INSERT INTO records SELECT * FROM records ON CONFLICT (id) DO UPDATE SET data = '[]'"
    with pytest.raises(IntegrityError, match="only added to"), posted.writing(THE_COMMAND) as work:
        work.connection.exec_driver_sql(over)


def test_text_compares_by_its_bytes_whatever_language_the_database_was_made_for(pg: Books) -> None:
    query = """SELECT table_name || '.' || column_name FROM information_schema.columns
        WHERE table_schema = 'public' AND data_type = 'text' AND collation_name IS DISTINCT FROM 'C'"""
    with pg.reading() as work:
        assert work.connection.exec_driver_sql(query).scalars().all() == []
    for name in ("b", "A", "a", "B", "é", "Z"):
        add_person(pg, name)
    with pg.reading() as work:
        ordered = select(tables.people.c.name).order_by(tables.people.c.name)
        assert work.connection.execute(ordered).scalars().all() == ["A", "B", "Z", "a", "b", "é"]


def test_every_row_is_numbered_by_the_database(pg: Books) -> None:
    with pg.reading() as work:
        inspector = inspect(work.connection)
        numbered = {t for t in tables.metadata.tables if "n" in tables.metadata.tables[t].columns}
        assert numbered == {
            t
            for t in tables.metadata.tables
            if any(c["name"] == "n" and c.get("identity") for c in inspector.get_columns(t))
        }


def test_two_that_migrate_at_once_make_the_tables_once() -> None:
    try:
        server = postgresql.server()
    except postgresql.NoServer as why:
        pytest.skip(str(why))
    url = server.make("twice", "template0")
    told: list[object] = []

    def migrate() -> None:
        try:
            told.append(upgrade(url))
        except Exception as error:
            told.append(error)

    threads = [Thread(target=migrate) for _ in range(3)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(SOON_S)
    assert told == [None, None, None]
    server.drop("twice")


def test_a_database_of_another_encoding_is_refused_with_what_to_do(postgresql_url: str) -> None:
    server = postgresql.server()
    server.run("CREATE DATABASE old TEMPLATE template0 ENCODING 'LATIN1' LOCALE_PROVIDER libc LOCALE 'C'")
    with pytest.raises(ValueError, match="LATIN1: make one with createdb --encoding=UTF8"):
        upgrade(server.url("old"))
    server.drop("old")


def test_connections_that_the_server_let_go_of_are_made_anew(pg: Books) -> None:
    add_person(pg, "Dee")
    name = make_url(str(pg.engine.url)).database
    postgresql.server().run(
        f"SELECT pg_terminate_backend(pid, 5000) FROM pg_stat_activity WHERE datname = '{name}'"
    )
    add_person(pg, "Lou")
    assert people(pg) == ["Dee", "Lou"]


def test_a_server_that_goes_away_in_the_middle_is_busy_and_nothing_is_kept(pg: Books) -> None:
    name = make_url(str(pg.engine.url)).database

    def cut_off() -> None:
        with pg.writing(THE_COMMAND) as work:
            row = {"id": work.name("PE"), "name": "Dee", "made_at": work.now}
            work.connection.execute(insert(tables.people).values(row))
            postgresql.server().run(
                f"SELECT pg_terminate_backend(pid, 5000) FROM pg_stat_activity WHERE datname = '{name}'"
            )

    with pytest.raises(Refused) as refused:
        cut_off()
    assert [(f.kind, f.wrong) for f in refused.value.faults] == [("busy", "the database can't be reached")]
    assert people(pg) == []


@pytest.fixture
def nowhere(tmp_path: Path) -> str:
    """The URL of a server that is not there."""
    return f"postgresql+psycopg://settle:secret@/books?host={tmp_path}"


def test_a_database_that_is_not_there_is_503_with_retry_after(nowhere: str) -> None:
    client = create_app(Settings(nowhere)).test_client()
    for answer in (client.get("/readyz"), client.get("/v1/lots", headers={"Authorization": "Bearer x"})):
        assert (answer.status_code, answer.json["type"]) == (503, "/problems/busy")
        assert "Retry-After" in answer.headers
        assert "secret" not in answer.text
    assert client.get("/livez").status_code == 200


def run(url: str, *arguments: str) -> Any:
    return CliRunner().invoke(cli.main, arguments, env={"SETTLE_DATABASE_URL": url})


def test_the_command_says_why_it_is_not_there_and_no_password(nowhere: str) -> None:
    for arguments in (["check"], ["migrate"]):
        told = run(nowhere, *arguments)
        assert told.exit_code == 1
        assert told.output.count("\n") == 1
        assert "can't be reached" in told.output
        assert "No such file" in told.output
        assert "secret" not in told.output


def test_the_commands_work_on_it(postgresql_url: str) -> None:
    assert run(postgresql_url, "migrate").exit_code == 0
    made = run(postgresql_url, "keys", "create", "--name", "owner", "--scope", "owner")
    assert made.exit_code == 0, made.output
    checked = run(postgresql_url, "check")
    assert (checked.exit_code, checked.stdout) == (0, "")


def test_books_of_no_schema_are_told_of(postgresql_url: str) -> None:
    server = postgresql.server()
    url = server.make("bare", "template0")
    told = run(url, "check")
    assert (told.exit_code, "run `settle migrate`" in told.output) == (1, True)
    server.drop("bare")


def test_backup_names_the_tools_that_copy_it_and_they_do(
    posted: Books, postgresql_url: str, tmp_path: Path
) -> None:
    """The very commands that it names, run as they stand, give the same books."""
    file = tmp_path / "books.dump"
    file.touch()
    server = postgresql.server()
    target = server.make("again", "template0")
    for arguments in (["backup", str(file)], ["restore", str(file), "--yes"]):
        refused = run(postgresql_url, *arguments)
        assert refused.exit_code == 1
        dump, restore = (line.strip() for line in refused.output.splitlines() if line.startswith("    "))
    source, there = (u.replace("+psycopg", "") for u in (postgresql_url, target))
    for command in (dump, restore.replace(source, there)):
        assert there in command or source in command
        line = f"{server.programs}/{command.replace('FILE', str(file))}"
        done = subprocess.run(["bash", "-c", line], capture_output=True, text=True)
        assert done.returncode == 0, done.stderr
    again = open_books(target)
    assert is_current(again.engine)
    with posted.reading() as one, again.reading() as other:
        for table in tables.metadata.sorted_tables:
            rows = (sorted(map(repr, w.connection.execute(select(table)))) for w in (one, other))
            assert next(rows) == next(rows), table.name
    with pytest.raises(IntegrityError, match="only added to"), again.writing(THE_COMMAND) as work:
        work.connection.exec_driver_sql("DELETE FROM records")
    again.close()
    server.drop("again")


def test_backup_shows_no_password(nowhere: str) -> None:
    from settle.books.backup import file_of

    with pytest.raises(ValueError, match="pg_dump") as told:
        file_of(nowhere)
    assert "secret" not in str(told.value)
    assert "settle@" in str(told.value)
