"""The README's day of a till, run as it stands there: its commands, then its Python as one file, and nothing else."""

import os
import re
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from pypdf import PdfReader

ROOT = Path(__file__).parents[2]
SECTION = (ROOT / "README.md").read_text("utf-8").split("## A till's day")[1].split("\n## ")[0]
BLOCKS = re.findall(r"```(\w+)\n(.*?)```", SECTION, re.DOTALL)
PATIENCE_S = 240

BARS, MONEY = r"3 × 10\.000 g gold of 999", r"-?\d+\.\d\d GBP, all worth \d+\.\d\d"
DAY = rf"""Q-20\d\d-0005: likely {BARS} and {MONEY}
worth \d+\.\d\d at least, \d+\.\d\d at most
gold: -?0\.\d+ g unaccounted for, as expected
silver: -?0\.\d+ g unaccounted for, as expected
S-20\d\d-0001: {BARS}, \d+\.\d{{3}} g silver on account and {MONEY}
P-20\d\d-0001: \d+\.\d[05] GBP in coins, for \d+\.\d\d
heard of (?P<heard>[a-z_., ]+)
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """An empty folder where `settle` is a command, as in the environment that the README makes."""
    command = tmp_path / "bin" / "settle"
    command.parent.mkdir()
    command.write_text(f'#!/bin/sh\nexec "{sys.executable}" -m api.cli "$@"\n')
    command.chmod(0o755)
    return tmp_path


@pytest.fixture
def surroundings(folder: Path) -> dict[str, str]:
    kept = {name: value for name, value in os.environ.items() if not name.startswith("SETTLE_")}
    path = f"{folder / 'bin'}{os.pathsep}{kept['PATH']}"
    return kept | {"PATH": path, "PYTHONPATH": str(ROOT), "NO_PROXY": "*", "PYTHONUTF8": "1"}


def _await(port: int) -> None:
    """Until it listens: on a busy machine that may take longer than the client goes on asking."""
    until = time.monotonic() + PATIENCE_S
    while time.monotonic() < until:
        try:
            return socket.create_connection(("127.0.0.1", port), 1).close()
        except OSError:
            time.sleep(0.1)
    raise AssertionError("no server came up")


@pytest.fixture
def address(folder: Path, surroundings: dict[str, str]) -> Iterator[str]:
    """The house that the day's commands open; the port alone is another, lest it be taken."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = str(free.getsockname()[1])
    commands = next(text for language, text in BLOCKS if language == "sh")
    assert commands.count("8080") == 1
    # The server is the last command: it ends with the shell that waits for it.
    script = "trap 'kill $!' TERM\n" + commands.replace("8080", port) + 'echo open; wait "$!"\n'
    with subprocess.Popen(
        ["timeout", str(PATIENCE_S), "bash", "-euo", "pipefail", "-c", script],
        cwd=folder,
        env=surroundings,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
    ) as shell:
        try:
            assert shell.stdout is not None
            assert shell.stdout.readline() == "open\n"
            _await(int(port))
            yield f"http://127.0.0.1:{port}"
        finally:
            shell.terminate()


def test_a_tills_day(folder: Path, surroundings: dict[str, str], address: str) -> None:
    (folder / "day.py").write_text(
        "".join(text for language, text in BLOCKS if language == "python"), "utf-8"
    )
    key = (folder / "owner.key").read_text().strip()
    done = subprocess.run(
        [sys.executable, "day.py"],
        cwd=folder,
        env=surroundings | {"SETTLE": address, "KEY": key},
        capture_output=True,
        text=True,
        timeout=PATIENCE_S,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    told = re.fullmatch(DAY, done.stdout)
    assert told, done.stdout
    assert {"quote.issued", "quote.accepted", "lot.received", "settlement.posted"} <= set(
        told["heard"].split(", ")
    )
    paper = "".join(page.extract_text() for page in PdfReader(folder / "settlement.pdf").pages)
    assert "S-20" in paper


def test_the_day_revises_its_quote_four_times() -> None:
    code = "".join(text for language, text in BLOCKS if language == "python")
    assert code.count("till.revise(") == 4
