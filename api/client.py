"""The API of a house in Python, for a shop's website or till. It needs `requests`, and nothing of the server.

    till = House("http://127.0.0.1:8080", key)
    quote = till.quote({"items": [...], "client": "C-1"})
    till.accept(quote, who="Ann Other", how="in_person")

What is measured or owed is a decimal string, as the API has it. A call that got no answer, or was
told to wait, is made again under the same Idempotency-Key: the house does its work once.
"""

import base64
import binascii
import hashlib
import hmac
import json
import random
import time
import uuid
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NoReturn
from urllib.parse import quote as percent_encoded

import requests

Json = Mapping[str, Any]

_WAIT_AND_ASK_AGAIN = frozenset({429, 502, 503, 504})
_UNDER_WAY = "/problems/request-under-way"
_FIRST_WAIT_S = 0.5
_LONGEST_WAIT_S = 30.0


class Answer(dict[str, Any]):
    """An answer's JSON, its status, its ETag (what you saw) and where a new thing stands.

    Raises `Problem` where what answered is no house: a page of something on the way.
    """

    def __init__(self, response: requests.Response) -> None:
        super().__init__(_object_of(response))
        self.status = response.status_code
        self.etag = response.headers.get("ETag", "")
        self.location = response.headers.get("Location", "")
        self.next_page = response.links.get("next", {}).get("url", "")
        if self.next_page and (self.next_page[0] != "/" or self.next_page[:2] == "//"):
            # A house links to paths of its own: the key goes nowhere else.
            raise _no_house(response)


def _object_of(response: requests.Response) -> Json:
    if response.status_code == 204:
        return {}
    try:
        told = response.json()
    except ValueError:
        raise _no_house(response) from None
    if not isinstance(told, dict):
        raise _no_house(response)
    return told


def _no_house(response: requests.Response) -> "Problem":
    return Problem(response.status_code, {"title": "this is no answer of a house"})


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault of a body: where it stands (JSON Pointer), what is wrong, what would be right."""

    type: str
    pointer: str
    wrong: str
    right: str


class Problem(Exception):  # noqa: N818 - as RFC 9457 names it
    """The house refused: `type` is stable, `errors` has every fault of the body, `said` is all of it."""

    def __init__(self, status: int, said: Json) -> None:
        self.status = status
        self.said = said
        self.type = str(said.get("type", "about:blank"))
        self.title = str(said.get("title", ""))
        self.detail = str(said.get("detail", ""))
        self.errors = tuple(
            Fault(**{k: str(e.get(k, "")) for k in _OF_A_FAULT}) for e in said.get("errors", ())
        )
        super().__init__(f"{status} {self.type}: {self.detail or self.title}")


_OF_A_FAULT = ("type", "pointer", "wrong", "right")


class Unanswered(Exception):  # noqa: N818 - nobody knows whether it failed
    """No answer came. The work may be done or not: the same call with `once=` this key finds out."""

    def __init__(self, idempotency_key: str) -> None:
        self.idempotency_key = idempotency_key
        super().__init__("no answer; whether the work was done is not known")


class Forged(Exception):  # noqa: N818 - it says what the event is
    """An event that the house did not sign, or not lately."""


class House:
    """One house, asked with one access key. `person` is who stands at the till."""

    def __init__(
        self,
        address: str,
        key: str,
        *,
        person: str = "",
        tries: int = 6,
        timeout_s: float = 30.0,
        session: requests.Session | None = None,
        sleep: Callable[[float], None] = time.sleep,
    ) -> None:
        self.address = address.rstrip("/")
        self.tries = tries
        self.timeout_s = timeout_s
        self.session = session or requests.Session()
        self.sleep = sleep
        self._headers = {"Authorization": f"Bearer {key}"}
        if person:
            self._headers["Settle-Person"] = percent_encoded(person)

    # any call

    def get(self, path: str, **query: str | int) -> Answer:
        """Look at something."""
        return self.ask("GET", path, query=query)

    def post(self, path: str, body: Json | None = None, *, seen: str = "", once: str = "") -> Answer:
        """Do something once. `seen` is the ETag of what it rests on, `once` an Idempotency-Key of yours."""
        return self.ask("POST", path, body, seen=seen, once=once)

    def each(self, path: str, **query: str | int) -> Iterator[Any]:
        """Every row of a list, page by page as they are needed."""
        page = self.get(path, **query)
        yield from page["items"]
        while page.next_page:
            page = self.get(page.next_page)
            yield from page["items"]

    def pdf(self, path: str) -> bytes:
        """A document on paper."""
        return self._answered("GET", path, {"Accept": "application/pdf"}, None, {}).content

    def ask(
        self,
        method: str,
        path: str,
        body: Json | None = None,
        *,
        seen: str = "",
        once: str = "",
        query: Mapping[str, str | int] | None = None,
    ) -> Answer:
        """Any call. Raises `Problem` where it is refused, `Unanswered` where nobody answers."""
        headers = {"If-Match": seen} if seen else {}
        if method != "GET":
            headers["Idempotency-Key"] = once or str(uuid.uuid4())
        return Answer(self._answered(method, path, headers, body, query or {}))

    # what shops ask most

    def estimate(self, body: Json) -> Answer:
        """What it might come to; binds nobody and is not kept."""
        return self.post("/v1/estimates", body)

    def quote(self, body: Json) -> Answer:
        """A kept, numbered estimate that holds for a while."""
        return self.post("/v1/quotes", body)

    def revise(self, quote: Answer, changes: Json) -> Answer:
        """The quote with some things otherwise, as a quote of its own."""
        return self.post(f"/v1/quotes/{quote['number']}/revisions", changes, seen=quote.etag)

    def accept(self, quote: Answer, *, who: str, how: str) -> Answer:
        """The client's positive word to what was shown."""
        word = {"who": who, "how": how, "hash": quote["hash"]}
        return self.post(f"/v1/quotes/{quote['number']}/acceptance", word, seen=quote.etag)

    def receive(self, body: Json) -> Answer:
        """Take a lot in."""
        return self.post("/v1/lots", body)

    def buy(self, body: Json) -> Answer:
        """Buy outright."""
        return self.post("/v1/purchases", body)

    def draft_settlement(self, lot: str, **more: Any) -> Answer:
        """The final account of a lot, to look at."""
        return self.post("/v1/settlements", {"lot": lot, **more})

    def post_settlement(self, draft: Answer) -> Answer:
        """Post a draft as it was seen."""
        return self.post(f"/v1/settlements/{draft['id']}/posting", seen=draft.etag)

    def pay(self, settlement: str, amount: Json, *, paid_in: str, **more: Any) -> Answer:
        """Pay some of a settlement, or be paid."""
        return self.post(
            f"/v1/settlements/{settlement}/payments", {"amount": amount, "paid_in": paid_in, **more}
        )

    def quotes(self, **query: str | int) -> Iterator[Any]:
        """The quotes, newest first."""
        return self.each("/v1/quotes", **query)

    def lots(self, **query: str | int) -> Iterator[Any]:
        """The lots, newest first."""
        return self.each("/v1/lots", **query)

    def settlements(self, **query: str | int) -> Iterator[Any]:
        """The settlements, newest first."""
        return self.each("/v1/settlements", **query)

    # asking, and asking again

    def _answered(
        self, method: str, path: str, headers: Mapping[str, str], body: Json | None, query: Mapping[str, Any]
    ) -> requests.Response:
        response: requests.Response | None = None
        for attempt in range(self.tries):
            if attempt:
                self.sleep(self._wait_s(attempt, response))
            response = self._sent(method, path, headers, body, query)
            if response is not None and not _says_wait(response):
                return response if response.status_code < 300 else _refuse(response)
        if response is not None:
            _refuse(response)
        raise Unanswered(headers.get("Idempotency-Key", ""))

    def _sent(
        self, method: str, path: str, headers: Mapping[str, str], body: Json | None, query: Mapping[str, Any]
    ) -> requests.Response | None:
        try:
            response = self.session.request(
                method,
                self.address + path,
                json=body,
                params=query,
                headers={**self._headers, **headers},
                timeout=self.timeout_s,
                # A post that is sent elsewhere would become a look at something, and be taken for done.
                allow_redirects=False,
            )
            return None if _is_cut(response) else response
        except (requests.ConnectionError, requests.Timeout, requests.exceptions.ChunkedEncodingError):
            return None

    def _wait_s(self, attempt: int, response: requests.Response | None) -> float:
        """Twice as long each time, half of it left to chance; never shorter than the house asks for."""
        longest = min(_FIRST_WAIT_S * 2 ** (attempt - 1), _LONGEST_WAIT_S)
        told = "" if response is None else response.headers.get("Retry-After", "")
        return float(max(longest * random.uniform(0.5, 1.0), int(told) if told.isdigit() else 0))


def _is_cut(response: requests.Response) -> bool:
    """Whether the line broke within the headers: what is left looks like an answer without a body."""
    if response.content or response.status_code == 204:
        return False
    # The cut may lie within the very header that says how long the body is.
    told = response.headers.get("Content-Length"), response.headers.get("Transfer-Encoding")
    return told[0] != "0" and told[1] != "chunked"


def _says_wait(response: requests.Response) -> bool:
    if response.status_code == 409:
        return bool(_said(response).get("type") == _UNDER_WAY)
    return response.status_code in _WAIT_AND_ASK_AGAIN


def _refuse(response: requests.Response) -> NoReturn:
    raise Problem(response.status_code, _said(response))


def _said(response: requests.Response) -> Json:
    """The problem as sent; whatever stands between here and the house may answer in another form."""
    try:
        said = response.json()
    except ValueError:
        return {"title": response.reason}
    return said if isinstance(said, dict) else {}


# events


@dataclass(frozen=True, slots=True)
class Event:
    """What the house tells. The same `id` may come again: it is the same event."""

    id: str
    type: str
    timestamp: str
    data: Json


def verified(
    secrets: str | Sequence[str],
    headers: Mapping[str, str],
    body: bytes,
    *,
    now_s: float | None = None,
    tolerance_s: float = 300.0,
) -> Event:
    """The event in a request's body, as it came, once its signature (Standard Webhooks) holds.

    Raises `Forged`. While a secret is renewed, both may be given.
    """
    named = {name.lower(): value for name, value in headers.items()}
    name, seconds = named.get("webhook-id", ""), named.get("webhook-timestamp", "")
    if not (seconds.isascii() and seconds.isdigit() and len(seconds) < 12):
        raise Forged("no time of sending")
    if abs((time.time() if now_s is None else now_s) - int(seconds)) > tolerance_s:
        raise Forged("sent too long ago, or not yet")
    signed = f"{name}.{seconds}.".encode() + body
    given = [
        part.removeprefix("v1,") for part in named.get("webhook-signature", "").split() if part[:3] == "v1,"
    ]
    known = [secrets] if isinstance(secrets, str) else secrets
    if not any(hmac.compare_digest(_signature(s, signed), one.encode()) for s in known for one in given):
        raise Forged("not signed with this secret")
    try:
        told = json.loads(body)
        return Event(name, str(told["type"]), str(told["timestamp"]), told["data"])
    except (ValueError, LookupError, TypeError) as error:
        raise Forged("signed, and no event") from error


def _signature(secret: str, signed: bytes) -> bytes:
    try:
        key = base64.b64decode(secret.removeprefix("whsec_"), validate=True)
    except binascii.Error as error:
        raise ValueError("a secret begins with whsec_ and goes on in base64") from error
    return base64.b64encode(hmac.digest(key, signed, hashlib.sha256))
