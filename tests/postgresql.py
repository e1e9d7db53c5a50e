"""A PostgreSQL server of the tests' own: in a folder that goes with it, reached by a socket in that folder.

It speaks to nobody else, runs as a user who may do nothing, ends with the run, and by itself after an hour.
"""

import atexit
import os
import pwd
import re
import shutil
import signal
import subprocess
import sys
import tempfile
from functools import cache
from pathlib import Path
from time import monotonic, sleep
from typing import Any
from urllib.parse import quote

import psycopg

from settle.books.migrations import upgrade

NEEDED = ("initdb", "postgres", "psql", "pg_dump", "pg_restore")
OWNER, TEMPLATE = "settle", "newest"
LONGEST_S = 3600
PATIENCE_S = 60
MEMORY, ENOUGH_BYTES = Path("/dev/shm"), 2 << 30
# Nothing here must outlive the machine: no waiting for the disk.
FAST = {
    "fsync": "off",
    "full_page_writes": "off",
    "synchronous_commit": "off",
    "autovacuum": "off",
    "wal_level": "minimal",
    "max_wal_senders": "0",
    "max_wal_size": "8GB",
    "checkpoint_timeout": "1d",
    "max_connections": "200",
    "listen_addresses": "",
}


class NoServer(Exception):  # noqa: N818 - a reason rather than an error
    """Why there is none."""


@cache
def programs() -> Path:
    """The folder of PostgreSQL's programs, of the newest version that is there."""
    folders = sorted(Path("/usr/lib/postgresql").glob("*/bin"), key=_version, reverse=True)
    on_path = shutil.which("initdb")
    folders += [Path(on_path).parent] if on_path else []
    if shutil.which("timeout") is None:
        raise NoServer("`timeout` is not installed, so a server could not be bounded in time")
    for folder in folders:
        if all((folder / program).exists() for program in NEEDED):
            return folder
    raise NoServer("PostgreSQL is not installed")


def _version(folder: Path) -> int:
    return int(folder.parent.name) if folder.parent.name.isdigit() else 0


class Server:
    """A running server; `NoServer` where there can be none."""

    def __init__(self) -> None:
        self.programs = programs()
        self.folder = Path(tempfile.mkdtemp(prefix="settle-pg-", dir=_quick_place()))
        atexit.register(shutil.rmtree, self.folder, ignore_errors=True)
        # Asked to end in the middle, a run still takes its server and its folder along.
        signal.signal(signal.SIGTERM, lambda *_: sys.exit(1))
        self._who = _user_for(self.folder)
        told = subprocess.run([self.programs / "initdb", "--version"], capture_output=True, text=True).stdout
        self._is_new = int(re.findall(r"\d+", told)[0]) >= 15
        self._make()
        settings = [part for name, value in FAST.items() for part in ("-c", f"{name}={value}")]
        server = [self.programs / "postgres", "-D", self.folder / "data", "-k", self.folder, *settings]
        self._log = (self.folder / "log").open("wb")
        bounded = ["timeout", f"--signal={signal.SIGINT.name}", str(LONGEST_S), *server]
        self._process = subprocess.Popen(
            bounded, stdout=self._log, stderr=subprocess.STDOUT, cwd=self.folder, **self._who
        )
        atexit.register(self.stop)
        self._await()
        self.run(f'CREATE DATABASE "{TEMPLATE}"')
        upgrade(self.url(TEMPLATE))

    def _make(self) -> None:
        # Sorted as a language sorts, where the server can: what rests on the order of bytes must say so.
        locale = ["--locale=C", *(["--locale-provider=icu", "--icu-locale=en-US"] if self._is_new else [])]
        made = [self.programs / "initdb", "-D", self.folder / "data", "-U", OWNER, "-A", "trust"]
        subprocess.run(
            [*made, "--no-sync", "--encoding=UTF8", *locale],
            check=True, capture_output=True, cwd=self.folder, timeout=PATIENCE_S, **self._who,
        )  # fmt: skip

    def _await(self) -> None:
        end = monotonic() + PATIENCE_S
        while True:
            try:
                return self.run("SELECT 1")
            except psycopg.OperationalError:
                if self._process.poll() is not None or monotonic() > end:
                    log = (self.folder / "log").read_text("utf-8", "replace")
                    raise NoServer(f"PostgreSQL did not start: {log[-2000:]}") from None
                sleep(0.05)

    def stop(self) -> None:
        """End it, whoever is still connected."""
        if self._process.poll() is None:
            self._process.send_signal(signal.SIGQUIT)
            self._process.wait(PATIENCE_S)
        self._log.close()

    def url(self, name: str) -> str:
        return f"postgresql+psycopg://{OWNER}@/{name}?host={quote(str(self.folder), safe='')}"

    def run(self, *statements: str) -> None:
        """Statements of whoever keeps the server."""
        with psycopg.connect(host=str(self.folder), user=OWNER, dbname="postgres", autocommit=True) as at:
            for statement in statements:
                at.execute(statement)

    def make(self, name: str, of: str = TEMPLATE) -> str:
        """A database that is a copy of another, though that may be open; its URL."""
        gone = f"SELECT pg_terminate_backend(pid, 5000) FROM pg_stat_activity WHERE datname = '{of}'"
        how = "STRATEGY FILE_COPY" if self._is_new else ""
        self.run(gone, f'CREATE DATABASE "{name}" TEMPLATE "{of}" {how}')
        return self.url(name)

    def drop(self, *names: str) -> None:
        self.run(*(f'DROP DATABASE IF EXISTS "{name}" WITH (FORCE)' for name in names))


def _quick_place() -> Path | None:
    """Memory where there is enough of it: most of a test's time is copying a database's 300 files."""
    is_there = MEMORY.is_dir() and os.access(MEMORY, os.W_OK)
    return MEMORY if is_there and shutil.disk_usage(MEMORY).free > ENOUGH_BYTES else None


def _user_for(folder: Path) -> dict[str, Any]:
    """The server refuses to run as root: another user then, to whom the folder is given."""
    if os.geteuid() != 0:
        return {}
    user = next(u for u in pwd.getpwall() if u.pw_name in ("postgres", "nobody"))
    os.chown(folder, user.pw_uid, user.pw_gid)
    return {"user": user.pw_uid, "group": user.pw_gid, "extra_groups": []}


@cache
def server() -> Server:
    """The one server of this run. Raises `NoServer`."""
    return Server()
