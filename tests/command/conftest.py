"""The command as a person runs it, from a folder with nothing in it; where it serves, as a process."""

import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from api import cli

ROOT = Path(__file__).parents[2]
COMMAND = [sys.executable, "-m", "api.cli"]
PATIENCE_S = 240


def surroundings(**more: str) -> dict[str, str]:
    kept = {name: value for name, value in os.environ.items() if not name.startswith("SETTLE_")}
    return kept | {"PYTHONPATH": str(ROOT), "PYTHONUTF8": "1", "PYTHONUNBUFFERED": "1"} | more


@pytest.fixture
def database(tmp_path: Path) -> str:
    return f"sqlite:///{tmp_path / 'books.sqlite3'}"


@dataclass(frozen=True)
class Ended:
    """How the command ended, and what it printed where."""

    returncode: int
    stdout: str
    stderr: str


@pytest.fixture
def settle(tmp_path: Path, database: str, monkeypatch: pytest.MonkeyPatch) -> Callable[..., Ended]:
    """Run the command to its end in this process; an exception that it lets through fails the test."""
    monkeypatch.chdir(tmp_path)
    # How this process ends is pytest's to say.
    monkeypatch.setattr(cli, "_end_when_asked", lambda: None)

    def run(*arguments: str, given: str = "", **more: str) -> Ended:
        environment = {"SETTLE_DATABASE_URL": database, **more}
        ended = CliRunner().invoke(cli.main, arguments, input=given, env=environment, prog_name="settle")
        if ended.exception is not None and not isinstance(ended.exception, SystemExit):
            raise ended.exception
        return Ended(ended.exit_code, ended.stdout, ended.stderr)

    return run


@pytest.fixture
def started(tmp_path: Path, database: str) -> Any:
    """Start the command and leave it running; it is ended at the end, whatever happened."""

    @contextmanager
    def start(*arguments: str) -> Iterator[Any]:
        process = subprocess.Popen(
            [*COMMAND, *arguments],
            cwd=tmp_path,
            env=surroundings(SETTLE_DATABASE_URL=database),
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            encoding="utf-8",
        )
        try:
            yield process
        finally:
            # Asked, not killed: it takes its own folder away.
            process.terminate()
            process.communicate(timeout=PATIENCE_S)

    return start
