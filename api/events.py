"""From the outbox to the receivers: signed as Standard Webhooks says, tried for days, in order.

At least once: a receiver that answers nothing in time may get the same `webhook-id` again.
"""

import base64
import hashlib
import hmac
import logging
import random
from collections.abc import Callable, Sequence
from datetime import timedelta
from threading import Event, Thread
from time import monotonic
from typing import NamedTuple

import requests

from api.addresses import Closed, post
from settle.books import deliveries
from settle.books.deliveries import Due
from settle.books.work import NOBODY, Books
from settle.reckoning.problems import Refused

# All of one attempt: finding the address, connecting, sending, waiting for the first line.
PATIENCE_S = 15.0
AT_ONCE = 20
ATTEMPTS = 14
_FIRST_WAIT_S = 5.0
_GROWTH = 4.0
_LONGEST_WAIT_S = 24 * 3600.0
_LOOK_EVERY_S = 1.0
GONE = 410

log = logging.getLogger("settle.events")


class Answer(NamedTuple):
    """What a receiver said: in words; whether it took the event, wants no other; how long to wait."""

    words: str
    took_it: bool = False
    is_gone: bool = False
    wait_s: float = 0.0


class Deliverer:
    """Delivers what is due. `chance` gives a number from 0 to 1: how much of a wait is left to it."""

    def __init__(
        self,
        books: Books,
        *,
        private: bool = False,
        chance: Callable[[], float] = random.random,
        patience_s: float = PATIENCE_S,
    ) -> None:
        self.books = books
        self.private = private
        self.chance = chance
        self.patience_s = patience_s

    def deliver_due(self) -> int:
        """One attempt at each delivery that is due, until none is; how many attempts were made."""
        made = 0
        while claimed := self._claim():
            answers = self._asked(claimed)
            with self.books.writing(NOBODY) as work:
                for due, answer in zip(claimed, answers, strict=True):
                    if answer.took_it:
                        deliveries.delivered(work, due, answer.words)
                    else:
                        deliveries.failed(work, due, answer.words, self._wait(due, answer))
            made += len(claimed)
        return made

    def run(self, stop: Event) -> None:
        """Deliver until asked to stop."""
        while not stop.is_set():
            try:
                self.deliver_due()
            except Refused:
                # Busy books: what was claimed and not noted comes again when its lease is over.
                log.warning("the books are busy; events wait")
            except Exception:
                # Whatever it was must not end the deliveries of a server that goes on.
                log.exception("events wait")
            stop.wait(_LOOK_EVERY_S)

    def _claim(self) -> list[Due]:
        with self.books.reading() as work:
            if not deliveries.is_any_due(work):
                return []
        with self.books.writing(NOBODY) as work:
            return deliveries.claim(work, AT_ONCE)

    def _asked(self, claimed: Sequence[Due]) -> list[Answer]:
        """Every receiver's answer, asked at the same time: one that hangs holds up no other."""
        answers = [Answer("no answer in time")] * len(claimed)

        def ask(place: int) -> None:
            answers[place] = self._ask(claimed[place])

        # Daemons, and waited for no longer than patience lasts: a receiver that sends a letter
        # every few seconds would keep any time limit on a single read from ever being reached.
        threads = [Thread(target=ask, args=(place,), daemon=True) for place in range(len(claimed))]
        end = monotonic() + self.patience_s
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join(max(0.0, end - monotonic()))
        return list(answers)

    def _ask(self, due: Due) -> Answer:
        try:
            response = post(due.url, due.body, headers_of(due), self.patience_s, private=self.private)
        except Closed as closed:
            return Answer(f"refused: {closed}")
        except (requests.RequestException, OSError, ValueError) as error:
            return Answer(type(error).__name__)
        status = response.status_code
        return Answer(str(status), 200 <= status < 300, status == GONE, _retry_after_s(response))

    def _wait(self, due: Due, answer: Answer) -> timedelta | None:
        """How long until the next attempt: four times as long each time, some of it left to chance."""
        if answer.is_gone or due.attempt >= ATTEMPTS:
            return None
        longest = min(_FIRST_WAIT_S * _GROWTH ** (due.attempt - 1), _LONGEST_WAIT_S)
        return timedelta(seconds=max(longest * (0.5 + self.chance() / 2), answer.wait_s))


def headers_of(due: Due) -> dict[str, str]:
    """What Standard Webhooks sends beside the body: id, time of the attempt, a signature a secret."""
    seconds = int(due.at.timestamp())
    signed = f"{due.event}.{seconds}.".encode() + due.body
    return {
        "Content-Type": "application/json",
        "User-Agent": "settle",
        "webhook-id": due.event,
        "webhook-timestamp": str(seconds),
        "webhook-signature": " ".join(_signature(secret, signed) for secret in due.secrets),
    }


def _signature(secret: str, signed: bytes) -> str:
    key = base64.b64decode(secret.removeprefix("whsec_"))
    return "v1," + base64.b64encode(hmac.digest(key, signed, hashlib.sha256)).decode()


def _retry_after_s(response: requests.Response) -> float:
    text = response.headers.get("Retry-After", "")
    return min(float(text), _LONGEST_WAIT_S) if text.isascii() and text.isdigit() and len(text) < 9 else 0.0
