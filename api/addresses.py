"""Posting to an address that somebody entered: only where the open network leads, and nowhere else.

The name is looked up once, every address that it has must be open, and the connection goes
to one of those: a name that answers otherwise the second time gains nothing.
"""

import ipaddress
import socket
from collections.abc import Mapping
from contextlib import suppress
from threading import Timer
from typing import Any
from urllib.parse import SplitResult, urlsplit

import requests
from requests.adapters import HTTPAdapter
from urllib3.connection import HTTPConnection, HTTPSConnection
from urllib3.connectionpool import HTTPConnectionPool, HTTPSConnectionPool

_CONNECT_S = 5.0
# All of IPv6 that was ever given out (IANA, IPv6 address space); of it, what carries an IPv4 address inside.
# Outside of it a translator of some site may still take one for an IPv4 address of its neighbours.
_GIVEN_OUT = ipaddress.ip_network("2000::/3")
_CARRY_ANOTHER = tuple(ipaddress.ip_network(net) for net in ("2001::/32", "2002::/16"))
_PORTS = {"http": 80, "https": 443}


class Closed(Exception):  # noqa: N818 - it says what the address is
    """The address is not one that the house posts to."""


class _Brief(HTTPAdapter):
    """Hangs up when patience ends: limits on single reads a letter now and then would hold off for days."""

    def __init__(self, patience_s: float, **of_pools: Any) -> None:
        self._patience_s, self._of_pools = patience_s, of_pools
        super().__init__(max_retries=0)

    def init_poolmanager(self, *args: Any, **kwargs: Any) -> None:
        super().init_poolmanager(*args, **self._of_pools, **kwargs)
        self.poolmanager.pool_classes_by_scheme = {
            "http": _pool(HTTPConnectionPool, HTTPConnection, self._patience_s),
            "https": _pool(HTTPSConnectionPool, HTTPSConnection, self._patience_s),
        }


def _pool(pool: Any, connection: Any, patience_s: float) -> Any:
    class Connection(connection):  # type: ignore[misc]
        def _new_conn(self) -> Any:
            made = super()._new_conn()
            # TLS takes the socket over; a second handle on the same connection can end it at any time.
            self._second = made.dup()
            self._end = Timer(patience_s, _hang_up, (self._second,))
            self._end.daemon = True
            self._end.start()
            return made

        def close(self) -> None:
            super().close()
            if hasattr(self, "_end"):
                self._end.cancel()
                self._second.close()

    return type("Pool", (pool,), {"ConnectionCls": Connection})


def _hang_up(connection: socket.socket) -> None:
    with suppress(OSError):
        connection.shutdown(socket.SHUT_RDWR)
    connection.close()


def post(
    url: str, body: bytes, headers: Mapping[str, str], patience_s: float, *, private: bool
) -> requests.Response:
    """Post once, follow no redirect, read no body; all of it within `patience_s`.

    Raises `Closed`, `requests.RequestException`, `OSError`.
    """
    parts = urlsplit(url)
    name, number = parts.hostname or "", _looked_up(parts, private=private)
    host = f"[{number}]" if ":" in number else number
    at = parts._replace(netloc=f"{host}:{_port(parts)}").geturl()
    with requests.Session() as session:
        # Neither a proxy nor a password file of this machine has a say in where it goes.
        session.trust_env = False
        # A certificate is asked for of the name, though a number is connected to.
        session.mount("https://", _Brief(patience_s, server_hostname=name))
        session.mount("http://", _Brief(patience_s))
        response = session.post(
            at,
            data=body,
            headers={**headers, "Host": parts.netloc},
            timeout=(min(_CONNECT_S, patience_s), patience_s),
            allow_redirects=False,
            stream=True,
        )
        response.close()
        return response


def why_closed(url: str) -> str | None:
    """Why an address is none to post to, as far as can be told without asking anybody."""
    parts = urlsplit(url)
    host = (parts.hostname or "").rstrip(".")
    if parts.scheme != "https":
        return "not https"
    if host == "localhost" or host.endswith(".localhost"):
        return "this machine itself"
    try:
        return None if _is_open(_plain(host)) else "a private address"
    except ValueError:
        return None


def _looked_up(parts: SplitResult, *, private: bool) -> str:
    """One of the numbers behind a name. Raises `Closed` if any of them is none to post to."""
    if not private and (why := why_closed(parts.geturl())):
        raise Closed(why)
    found = socket.getaddrinfo(parts.hostname, _port(parts), type=socket.SOCK_STREAM)
    numbers = [str(info[4][0]) for info in found]
    if not private and not all(_is_open(number) for number in numbers):
        raise Closed("a private address")
    return numbers[0]


def _plain(host: str) -> str:
    """A host as it is, but 127.1, 2130706433 and 0x7f.1 as the number that a look-up takes them for."""
    try:
        return socket.inet_ntoa(socket.inet_aton(host))
    except (OSError, ValueError):
        return host


def _is_open(number: str) -> bool:
    """Whether the open network leads there. Raises `ValueError` for what is no number."""
    address = ipaddress.ip_address(number.partition("%")[0])
    if not address.is_global or address.is_multicast:
        return False
    return address.version == 4 or (
        address in _GIVEN_OUT and not any(address in net for net in _CARRY_ANOTHER)
    )


def _port(parts: SplitResult) -> int:
    return parts.port or _PORTS[parts.scheme]
