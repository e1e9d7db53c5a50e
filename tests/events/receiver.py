"""A real server on this machine that does what the test wants, and remembers what it got."""

import json
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from threading import Thread
from typing import Any


@dataclass
class Receiver:
    """A real server on this machine: what it got, and how it answers each."""

    url: str = ""
    got: list[tuple[dict[str, str], bytes]] = field(default_factory=list)
    answer: Callable[[BaseHTTPRequestHandler], None] = lambda handler: status(handler, 204)

    @property
    def ids(self) -> list[str]:
        return [headers["webhook-id"] for headers, _ in self.got]

    @property
    def kinds(self) -> list[str]:
        return [json.loads(body)["type"] for _, body in self.got]


def status(handler: BaseHTTPRequestHandler, code: int, **headers: str) -> None:
    handler.send_response(code)
    for name, value in headers.items():
        handler.send_header(name.replace("_", "-"), value)
    handler.send_header("Content-Length", "0")
    handler.end_headers()


@contextmanager
def receiving() -> Iterator[Receiver]:
    """The receiver while it runs."""
    told = Receiver()

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers["Content-Length"]))
            told.got.append(({name.lower(): value for name, value in self.headers.items()}, body))
            told.answer(self)

        def log_message(self, *_: Any) -> None:
            """Say nothing."""

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    server.daemon_threads = True
    told.url = f"http://127.0.0.1:{server.server_port}/events"
    Thread(target=server.serve_forever, daemon=True).start()
    yield told
    server.shutdown()
    server.server_close()
