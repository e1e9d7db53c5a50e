"""`settle serve` as a process: what it writes, whom it believes, and that it ends when asked."""

import json
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import requests

ROOT = Path(__file__).parents[2]
PATIENCE_S = 120


def surroundings(folder: Path) -> dict[str, str]:
    kept = {name: value for name, value in os.environ.items() if not name.startswith("SETTLE_")}
    (folder / "settle.toml").write_text(
        f"database_url = 'sqlite:///{(folder / 'books.sqlite3').as_posix()}'\n"
        "metrics = true\ntrusted_proxy = '127.0.0.1'\n[limits]\nper_address = 4\n",
        "utf-8",
    )
    found = {"PYTHONPATH": str(ROOT), "PYTHONUTF8": "1", "PYTHONUNBUFFERED": "1", "NO_PROXY": "*"}
    return kept | found | {"SETTLE_CONFIG": str(folder / "settle.toml")}


def settle(folder: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "api.cli", *arguments],
        cwd=folder, env=surroundings(folder), capture_output=True, text=True, check=True, timeout=PATIENCE_S,
    )  # fmt: skip


class Server:
    """A server that runs until it is ended, and the address that it said."""

    def __init__(self, folder: Path) -> None:
        self.process = subprocess.Popen(
            [sys.executable, "-m", "api.cli", "serve", "--port", "0"],
            cwd=folder, env=surroundings(folder), stderr=subprocess.PIPE, encoding="utf-8",
        )  # fmt: skip
        assert self.process.stderr is not None
        self.address = self.process.stderr.readline().split()[0]

    def get(self, path: str, **headers: str) -> requests.Response:
        named = {name.replace("_", "-"): value for name, value in headers.items()}
        return requests.get(self.address + path, headers=named, timeout=PATIENCE_S)

    def ended(self) -> tuple[int, list[dict[str, Any]]]:
        """Asked to end: how it did, and the lines that it had written."""
        self.process.terminate()
        _, written = self.process.communicate(timeout=PATIENCE_S)
        return self.process.returncode, [json.loads(line) for line in written.splitlines()]


@pytest.fixture
def served(tmp_path: Path) -> Iterator[tuple[Server, str]]:
    """A server over new books, and a key of scope `read`."""
    settle(tmp_path, "migrate")
    key = settle(tmp_path, "keys", "create", "--name", "till", "--scope", "read").stdout.strip()
    server = Server(tmp_path)
    yield server, key
    server.process.kill()
    server.process.communicate()


def test_a_served_house_writes_json_lines_believes_its_proxy_and_shows_metrics(
    served: tuple[Server, str],
) -> None:
    server, key = served
    asked = {"Authorization": f"Bearer {key}", "X_Request_Id": "r-1"}
    ours = [
        server.get("/v1/lots?client=Quillfeather", X_Forwarded_For="192.0.2.1", **asked) for _ in range(5)
    ]
    others = server.get("/v1/lots", X_Forwarded_For="192.0.2.2", Authorization="Bearer nobodys")
    assert [answer.status_code for answer in (*ours, others)] == [400] * 4 + [429, 401]
    metrics = server.get("/metrics").text
    assert 'settle_requests_total{method="GET",route="/v1/lots",status="429"} 1.0' in metrics
    status, lines = server.ended()
    assert status == 0
    told = [(line["route"], line["status"], line["key"]) for line in lines]
    assert told == [("/v1/lots", 400, "K-1")] * 4 + [
        ("/v1/lots", 429, None),
        ("/v1/lots", 401, None),
        ("/metrics", 200, None),
    ]
    assert {line["request_id"] for line in lines[:5]} == {"r-1"}
    text = json.dumps(lines)
    assert not any(word in text for word in (key, "Quillfeather", "192.0.2", "nobodys"))
