"""A shop's page on one port and the house on another."""

import json
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from http.server import SimpleHTTPRequestHandler
from pathlib import Path
from threading import Thread
from typing import Any

from staged import House
from werkzeug.serving import WSGIRequestHandler

PAGES = Path(__file__).parents[2] / "fixtures" / "website"
LOOPBACK = "127.0.0.1"


class Files(SimpleHTTPRequestHandler):
    """The shop's files, with settings of the test's."""

    def __init__(self, settings: str, *args: Any) -> None:
        self.settings = settings
        super().__init__(*args, directory=str(PAGES))

    def do_GET(self) -> None:
        if self.path != "/settings.js":
            return super().do_GET()
        self.send_response(200)
        self.send_header("Content-Type", "text/javascript")
        self.end_headers()
        self.wfile.write(self.settings.encode())
        return None

    def log_message(self, *_: Any) -> None:
        """Say nothing."""


class Quiet(WSGIRequestHandler):
    def log(self, *_: Any) -> None:
        """Say nothing."""


@dataclass(frozen=True)
class Shop:
    """The house behind a page, and where the page is."""

    house: House
    page: str


@contextmanager
def running(server: Any) -> Iterator[str]:
    thread = Thread(target=server.serve_forever, daemon=True)
    thread.start()
    try:
        yield f"http://{LOOPBACK}:{server.server_port}"
    finally:
        server.shutdown()
        server.server_close()
        thread.join()


def settings_of(address: str, key: str) -> str:
    """The shop's own settings, with these in place of what is to be filled in."""
    text = (PAGES / "settings.js").read_text("utf-8")
    assert '"https://api.shop.example"' in text
    assert '"PUT-THE-KEY-HERE"' in text
    return text.replace('"https://api.shop.example"', json.dumps(address)).replace(
        '"PUT-THE-KEY-HERE"', json.dumps(key)
    )
