"""The README's examples for a shop, run as they stand there."""

import json
import os
import re
import shutil
import subprocess
import sys
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from staged import House
from standardwebhooks.webhooks import Webhook

ROOT = Path(__file__).parents[2]
SECTION = (ROOT / "README.md").read_text("utf-8").split("## For a shop")[1].split("\n## ")[0]
BLOCKS = re.findall(r"```(\w+)\n(.*?)```", SECTION, re.DOTALL)
PAGE = "https://www.shop.example"
PATIENCE_S = 60


def block(language: str, number: int = 0) -> str:
    return [text for name, text in BLOCKS if name == language][number]


@pytest.fixture
def run(address: str) -> Callable[..., str]:
    """Run a program as a shop would, with the house's address and a key in its environment."""

    def ran(command: list[str], key: str) -> str:
        surroundings = {**os.environ, "SETTLE": address, "KEY": key, "NO_PROXY": "*"}
        done = subprocess.run(
            command,
            cwd=ROOT,
            env=surroundings,
            capture_output=True,
            text=True,
            timeout=PATIENCE_S,
            check=False,
        )
        assert done.returncode == 0, done.stdout + done.stderr
        return done.stdout

    return ran


def needed(program: str) -> str:
    return shutil.which(program) or pytest.skip(f"no {program} on this machine")


def test_there_is_an_example_for_each() -> None:
    assert [name for name, _ in BLOCKS] == ["sh", "js", "python", "python"]


@pytest.fixture
def told_by_curl(house: House, run: Callable[..., str]) -> list[Any]:
    needed("curl")
    text = run(["bash", "-euo", "pipefail", "-c", block("sh")], house.keys["owner"])
    return [json.loads(line) for line in re.sub(r"\}\s*\{", "}\n{", text).splitlines()]


def test_curl_makes_a_browsers_key_and_enters_prices(told_by_curl: list[Any]) -> None:
    key, prices = told_by_curl
    assert (key["scopes"], key["origins"]) == (["estimate"], [PAGE])
    assert prices["prices"]["gold"]["amount"] == "61.20"


def test_a_page_shows_an_estimate_with_that_key(
    told_by_curl: list[Any], run: Callable[..., str], address: str
) -> None:
    # A browser names the page by itself; here the page is told by hand.
    as_browser = f"""
        const SETTLE = process.env.SETTLE, KEY = process.env.KEY, plainly = fetch;
        globalThis.fetch = (url, how) =>
          plainly(url, {{ ...how, headers: {{ ...how.headers, Origin: "{PAGE}" }} }});
    """
    key = told_by_curl[0]["secret"]
    page = as_browser + block("js")
    told = run([needed("node"), "--input-type=module", "--eval", page], key)
    assert re.fullmatch(r"-?[0-9.]+ to [0-9.]+ GBP, likely [0-9.]+\n", told)


def test_a_till_takes_a_lot_in_and_is_refused_a_second_one(house: House, run: Callable[..., str]) -> None:
    told = run([sys.executable, "-c", block("python")], house.keys["quote"]).splitlines()
    assert told[0] == "L-2026-0001 received"
    assert told[1] == "/problems/wrong-state"
    assert told[2].startswith("Q-2026-0001 accepted {")


def test_a_receiver_takes_what_is_signed_and_nothing_else(capsys: pytest.CaptureFixture[str]) -> None:
    names: dict[str, Any] = {}
    exec(block("python", 1), names)
    secret = "whsec_" + "MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"
    net = {"amount": "791.44", "currency": "GBP"}
    data = {"settlement": "S-2026-0001", "net": net}
    body = json.dumps({"type": "settlement.posted", "timestamp": "2026-03-02T09:30:00.000Z", "data": data})
    now = datetime.now(UTC)
    headers = {
        "webhook-id": "EV-1",
        "webhook-timestamp": str(int(now.timestamp())),
        "webhook-signature": Webhook(secret).sign("EV-1", now, body),
    }
    assert names["receive"](headers, body.encode(), secret) == 204
    assert "S-2026-0001" in capsys.readouterr().out
    assert names["receive"](headers, b"{}", secret) == 400
