"""Backup while writing goes on, restore once it is verified."""

from collections.abc import Callable
from pathlib import Path
from threading import Event, Thread
from typing import Any

import pytest
import stores
from click.testing import CliRunner, Result
from ledger_house import ZONE, House, a_house
from sqlalchemy import text
from stages import CLIENT, Clock

from api import cli_books
from settle.books import backup
from settle.books.check import all_faults
from settle.books.work import open_books

Command = Callable[..., Result]


@pytest.fixture
def command(house: House) -> Command:
    """Run a command of the books on the house, or on another of its name."""
    named = {command.name: command for command in cli_books.COMMANDS}

    def run(name: str, *arguments: object, file: Path = house.file) -> Result:
        env = {"SETTLE_DATABASE_URL": stores.url(file), "SETTLE_TIME_ZONE": ZONE}
        return CliRunner().invoke(named[name], [str(a) for a in arguments], env=env)

    return run


def faults_of(file: Path) -> list[str]:
    books = open_books(stores.url(file), time_zone=ZONE)
    with books.reading() as work:
        found = all_faults(work)
    books.close()
    return found


def newest(file: Path) -> int:
    with stores.sql(file) as raw:
        return int(raw.execute(text("SELECT max(n) FROM journal_entries")).scalar_one())


@pytest.mark.sqlite
def test_a_backup_taken_while_others_write_is_one_state_of_the_books(house: House, tmp_path: Path) -> None:
    enough, over = Event(), Event()
    written: list[int] = []

    def write() -> None:
        metal = {"metal": "gold", "weight": {"amount": "1", "unit": "g"}, "fineness": "999"}
        while not over.is_set():
            cost = {"amount": "40.00", "currency": "GBP"}
            answer = house.till.post("/v1/stock", {"kind": "bought", "metals": [metal], "cost": cost})
            written.append(int(answer["id"].removeprefix("E-")))
            if len(written) > 3:
                enough.set()

    writer = Thread(target=write)
    writer.start()
    taken = []
    try:
        assert enough.wait(20)
        for i in range(8):
            before = newest(house.file)
            file = tmp_path / f"backup-{i}.sqlite3"
            backup.take(house.file, file)
            taken.append((before, file, newest(house.file)))
    finally:
        over.set()
        writer.join()
    assert newest(house.file) > taken[0][2], "nothing was written meanwhile"
    for before, file, after in taken:
        assert before <= newest(file) <= after
        assert faults_of(file) == []
    assert sorted(tmp_path.glob("*backup-*")) == [file for _, file, _ in taken]  # and no file beside it


@pytest.mark.sqlite
def test_a_backup_restores_to_what_it_was(house: House, command: Command, tmp_path: Path) -> None:
    file = tmp_path / "backup.sqlite3"
    assert command("backup", file).exit_code == 0
    before = house.till.get("/v1/position")
    house.till.client("Somebody Later")
    restored = command("restore", file, "--yes")
    assert restored.exit_code == 0, restored.output
    # Whoever has the books open goes on with the restored ones.
    assert house.till.get("/v1/position") == before
    assert [client["id"] for client in house.till.get("/v1/clients")["items"]] == [CLIENT]
    assert house.till.client("Somebody New")["id"] == "C-2"
    assert house.faults() == []


@pytest.mark.sqlite
def test_a_backup_is_restored_where_there_are_no_books(
    house: House, command: Command, tmp_path: Path
) -> None:
    file, elsewhere = tmp_path / "backup.sqlite3", tmp_path / "new" / "books.sqlite3"
    command("backup", file)
    assert command("restore", file, file=elsewhere).exit_code == 0
    assert faults_of(elsewhere) == []
    assert newest(elsewhere) == newest(house.file)


@pytest.mark.sqlite
def test_books_in_use_are_replaced_with_a_yes_alone(house: House, command: Command, tmp_path: Path) -> None:
    file = tmp_path / "backup.sqlite3"
    command("backup", file)
    house.till.client("Somebody Later")
    refused = command("restore", file)
    assert refused.exit_code == 1
    assert "--yes" in refused.output
    assert len(house.till.get("/v1/clients")["items"]) == 2


def cut_short(file: Path) -> None:
    file.write_bytes(file.read_bytes()[:-8192])


def no_database(file: Path) -> None:
    file.write_text("these are no books\n" * 300)


def change(file: Path, statement: str) -> None:
    with stores.forging(file) as forge:
        forge(statement)


SPOILT: list[tuple[str, Callable[[Path], None], str]] = [
    ("cut short", cut_short, ""),
    ("no database", no_database, "no sound database"),
    ("of another schema", lambda f: change(f, "UPDATE alembic_version SET version_num = '0001'"), "schema"),
    ("a changed row", lambda f: change(f, "UPDATE prices SET metal = 'silver' WHERE id = 'PR-1'"), "PR-1"),
    ("a loose end", lambda f: change(f, "UPDATE lots SET terms = 'T-404'"), "damaged"),
]


@pytest.mark.sqlite
@pytest.mark.parametrize(("spoil", "said"), [s[1:] for s in SPOILT], ids=[s[0] for s in SPOILT])
def test_what_is_not_sound_is_not_restored(
    house: House, command: Command, tmp_path: Path, spoil: Callable[[Path], None], said: str
) -> None:
    file = tmp_path / "backup.sqlite3"
    command("backup", file)
    spoil(file)
    kept = house.till.get("/v1/journal")
    refused = command("restore", file, "--yes")
    assert refused.exit_code == 1
    assert said in refused.output
    assert house.till.get("/v1/journal") == kept
    assert [f.name for f in tmp_path.iterdir() if f.suffix == ".part"] == []


def damaged_beyond_its_header(file: Path) -> None:
    file.write_bytes(b"\0" * 100 + file.read_bytes()[100:])


@pytest.mark.sqlite
@pytest.mark.parametrize("spoil", [cut_short, no_database, damaged_beyond_its_header])
def test_damaged_books_are_set_aside_and_the_backup_put_in_their_place(
    house: House, command: Command, tmp_path: Path, spoil: Callable[[Path], None]
) -> None:
    file, entries = tmp_path / "backup.sqlite3", newest(house.file)
    command("backup", file)
    house.books.close()
    aside = []
    for n in (1, 2):
        spoil(house.file)
        spoilt = house.file.read_bytes()
        restored = command("restore", file, "--yes")
        assert restored.exit_code == 0, restored.output
        aside.append(house.file.with_name(f"{house.file.name}.damaged-{n}"))
        assert aside[-1].name in restored.output
        assert aside[-1].read_bytes() == spoilt
        assert (newest(house.file), faults_of(house.file)) == (entries, [])
        assert command("restore", file).exit_code == 1  # not without a yes
    assert sorted(house.file.parent.glob("*.damaged-?")) == aside


@pytest.mark.sqlite
def test_a_backup_over_the_books_themselves_is_refused(house: House, command: Command) -> None:
    refused = command("backup", house.file)
    assert (refused.exit_code, "the books themselves" in refused.output) == (1, True)


@pytest.mark.sqlite
def test_a_backup_to_nowhere_is_told_in_a_line(command: Command, tmp_path: Path) -> None:
    refused = command("backup", tmp_path / "no folder" / "b.sqlite3")
    assert refused.exit_code == 1
    assert refused.output.startswith("Error: ")


@pytest.mark.sqlite
def test_an_older_backup_is_replaced(house: House, command: Command, tmp_path: Path) -> None:
    file = tmp_path / "backup.sqlite3"
    command("backup", file)
    house.till.client("Somebody Later")
    assert command("backup", file).exit_code == 0
    again = a_house(file, Clock(), house.keys)
    assert len(again.till.get("/v1/clients")["items"]) == 2
    again.books.close()


def test_check_is_clean_and_says_so(command: Command) -> None:
    checked = command("check")
    assert (checked.exit_code, checked.stdout) == (0, "")
    assert "Everything agrees" in checked.stderr


def test_check_names_each_fault_and_ends_with_one(house: House, command: Command) -> None:
    change(house.file, "UPDATE prices SET metal = 'silver' WHERE id = 'PR-1'")
    checked = command("check")
    assert checked.exit_code == 1
    assert "PR-1: prices was changed after it was posted" in checked.stdout.splitlines()


def test_export_names_the_files_it_wrote(command: Command, tmp_path: Path) -> None:
    done = command("export", "--to", tmp_path / "march")
    assert done.exit_code == 0
    assert sorted(done.stdout.split()) == sorted(str(p) for p in (tmp_path / "march").iterdir())


@pytest.mark.parametrize("name", ["check", "export", "backup", "restore"])
def test_each_command_has_help_with_an_example(command: Command, name: str) -> None:
    assert f"Example:  settle {name}" in command(name, "--help").output


@pytest.mark.sqlite
def test_books_that_are_not_there_are_told_of(command: Command, tmp_path: Path) -> None:
    for arguments in (["check"], ["backup", tmp_path / "b"], ["export", "--to", tmp_path / "x"]):
        refused: Any = command(*arguments, file=tmp_path / "none.sqlite3")
        assert (refused.exit_code, "no books yet" in refused.output) == (1, True)
    assert not (tmp_path / "none.sqlite3").exists()
