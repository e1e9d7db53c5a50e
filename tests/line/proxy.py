"""A line that fails: a loopback proxy that drops, delays, repeats and cuts what goes through it.

What happens to a request is drawn from the seed, its Idempotency-Key and how often that key came, so
that a run can be had again however its threads fall. Every answer that the house gave is kept, those too
that nobody heard.
"""

import socket
import time
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from random import Random
from socketserver import StreamRequestHandler, ThreadingTCPServer
from threading import Lock, Thread

PATIENCE_S = 120
LONGEST_DELAY_S = 0.1
FATES = {
    "goes through": 48,
    "request dropped": 10,
    "request late, given up before": 6,
    "request delayed": 8,
    "request sent twice at once": 10,
    "answer dropped": 10,
    "answer cut": 8,
}
_KEPT_HEADERS = ("content-type", "etag", "location")


@dataclass(frozen=True, slots=True)
class Told:
    """One answer of the house: what of it must be the same each time, and whether it was a repeated one."""

    status: int
    headers: tuple[tuple[str, str], ...]
    body: bytes
    replayed: bool = field(compare=False)

    @classmethod
    def read(cls, raw: bytes) -> "Told":
        """Raises `ValueError` for what is no whole answer."""
        head, _, body = raw.partition(b"\r\n\r\n")
        first, *lines = head.decode("latin-1").split("\r\n")
        named = {name.lower(): value.strip() for name, _, value in (line.partition(":") for line in lines)}
        if int(named["content-length"]) != len(body):
            raise ValueError("the house itself cut its answer")
        kept = tuple((name, named[name]) for name in _KEPT_HEADERS if name in named)
        return cls(int(first.split()[1]), kept, body, "idempotency-replayed" in named)


@dataclass
class Line:
    """What stands between clients and the house at a port of this machine."""

    house: int
    seed: int
    fates: Counter[str] = field(default_factory=Counter)
    told: dict[str, list[Told]] = field(default_factory=lambda: defaultdict(list))
    broken: list[str] = field(default_factory=list)
    _came: Counter[str] = field(default_factory=Counter)
    _late: list[Thread] = field(default_factory=list)
    _lock: Lock = field(default_factory=Lock)

    def carry(self, request: bytes, answer: Callable[[bytes], object]) -> None:
        """One request on its way; `answer` gets what the client hears, if it hears anything."""
        key = _key_of(request)
        fate, by_chance = self._drawn(key)
        if fate == "request dropped":
            return
        if fate == "request late, given up before":
            self._send_late(request, key, by_chance.uniform(0, LONGEST_DELAY_S))
            return
        if fate == "request delayed":
            time.sleep(by_chance.uniform(0, LONGEST_DELAY_S))
        twin = Thread(target=self._asked, args=(request, key))
        if fate == "request sent twice at once":
            twin.start()
        raw = self._asked(request, key)
        if twin.ident is not None:
            twin.join()
        if fate == "answer cut":
            raw = raw[: by_chance.randrange(len(raw))]
        if fate != "answer dropped":
            answer(raw)

    def wait_for_the_late(self) -> None:
        """Every request that went on its way has arrived."""
        for thread in self._late:
            thread.join(PATIENCE_S)

    def _drawn(self, key: str) -> tuple[str, Random]:
        with self._lock:
            self._came[key] += 1
            by_chance = Random(f"{self.seed} {key} {self._came[key]}")
            (fate,) = by_chance.choices([*FATES], [*FATES.values()])
            self.fates[fate] += 1
        return fate, by_chance

    def _send_late(self, request: bytes, key: str, delay_s: float) -> None:
        def send() -> None:
            time.sleep(delay_s)
            self._asked(request, key)

        thread = Thread(target=send)
        with self._lock:
            self._late.append(thread)
        thread.start()

    def _asked(self, request: bytes, key: str) -> bytes:
        """What the house answers, whole."""
        raw = b""
        try:
            with socket.create_connection(("127.0.0.1", self.house), timeout=PATIENCE_S) as house:
                house.sendall(request)
                raw = b"".join(iter(lambda: house.recv(65536), b""))
            told = Told.read(raw)
        except (OSError, ValueError, LookupError) as error:
            with self._lock:
                self.broken.append(f"{key}: the house did not answer whole: {error!r}")
        else:
            with self._lock:
                self.told[key].append(told)
        return raw


def _key_of(request: bytes) -> str:
    head = request.partition(b"\r\n\r\n")[0].decode("latin-1")
    return next(
        line.partition(":")[2].strip() for line in head.split("\r\n") if line.lower().startswith("idem")
    )


@contextmanager
def failing(house: int, seed: int) -> Iterator[tuple[Line, str]]:
    """The line while it stands, and the address at which it takes requests."""
    line = Line(house, seed)

    class Handler(StreamRequestHandler):
        def handle(self) -> None:
            request = self._request()
            if request:
                line.carry(request, self.wfile.write)

        def _request(self) -> bytes:
            """The next request, to be answered over a connection of its own."""
            lines = [*iter(self.rfile.readline, b"\r\n")]
            if not lines or not lines[-1]:
                return b""
            named = {n.lower(): v.strip() for n, _, v in (one.partition(b":") for one in lines[1:])}
            body = self.rfile.read(int(named.get(b"content-length", b"0")))
            kept = [one for one in lines if not one.lower().startswith(b"connection:")]
            return b"".join(kept) + b"Connection: close\r\n\r\n" + body

    class Server(ThreadingTCPServer):
        daemon_threads = True
        request_queue_size = 64

    with Server(("127.0.0.1", 0), Handler) as server:
        thread = Thread(target=server.serve_forever, daemon=True)
        thread.start()
        yield line, f"http://127.0.0.1:{server.server_address[1]}"
        line.wait_for_the_late()
        server.shutdown()
        thread.join()
