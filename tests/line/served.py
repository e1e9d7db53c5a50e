"""A house served by a process of its own, as `settle serve` does it, over the books at a URL."""

import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[2]
PATIENCE_S = 120
# Nobody is to be sent away for asking too often: that is what this house is for.
UNLIMITED = {
    f"SETTLE_LIMITS_{name}": "10000000"
    for name in ("PER_KEY", "PER_ADDRESS", "ESTIMATES_PER_KEY", "ESTIMATES_PER_ADDRESS")
}


@dataclass(frozen=True)
class Served:
    """Where it answers, and a key of its owner."""

    port: int
    key: str
    database: str

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def checked(self) -> str:
        """What `settle check` finds wrong: nothing, if all is well."""
        done = _settle(self.database, "check", expect_good=False)
        return "" if done.returncode == 0 else done.stdout + done.stderr


@contextmanager
def served(database: str, log: Path) -> Iterator[Served]:
    """The house while it runs; its log goes to a file. Books are made if there are none."""
    _settle(database, "migrate")
    key = _settle(database, "keys", "create", "--name", "line", "--scope", "owner").stdout.strip()
    with log.open("wb") as written:
        process = subprocess.Popen(
            [sys.executable, "-m", "api.cli", "serve", "--port", "0"],
            cwd=ROOT, env=_surroundings(database), stderr=written,
        )  # fmt: skip
    try:
        yield Served(_port(process, log), key, database)
    finally:
        process.terminate()
        process.wait(PATIENCE_S)


def _port(process: "subprocess.Popen[bytes]", log: Path) -> int:
    """The port that it says it listens on."""
    while process.poll() is None:
        first, ended, _ = log.read_text("utf-8").partition("\n")
        if ended:
            return int(first.split()[0].rpartition(":")[2])
        try:
            process.wait(0.1)
        except subprocess.TimeoutExpired:
            continue
    raise RuntimeError(log.read_text("utf-8"))


def _settle(database: str, *arguments: str, expect_good: bool = True) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "api.cli", *arguments],
        cwd=ROOT, env=_surroundings(database), capture_output=True, text=True, check=expect_good,
    )  # fmt: skip


def _surroundings(database: str) -> dict[str, str]:
    kept = {name: value for name, value in os.environ.items() if not name.startswith("SETTLE_")}
    found = {"PYTHONPATH": str(ROOT), "PYTHONUTF8": "1", "PYTHONUNBUFFERED": "1"}
    return kept | found | UNLIMITED | {"SETTLE_DATABASE_URL": database}
