"""Sixteen threads, of one process and of four servers, post the same and draw numbers on one set of books.

That a number of an invoice or credit note is drawn once and leaves no gap is what tax law asks of a
"sequential number" (Council Directive 2006/112/EC, article 226 (2), from memory).
"""

import itertools
from collections import Counter
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from threading import Barrier
from time import monotonic, sleep
from typing import Any

import pytest
from endurance_house import (
    AGAIN,
    PATIENCE_S,
    Ask,
    Reply,
    Shop,
    canonical,
    impatient,
    inside,
    over_http,
)
from endurance_writer import bought

from api.app import create_app
from api.settings import Settings

THREADS = 16
_KEYS = itertools.count(1)


@dataclass
class Crowd:
    """Sixteen callers that begin at the same time."""

    shop: Shop
    callers: list[Ask]
    # How often each answer came, those that said to ask again too.
    told: Counter[str] = field(default_factory=Counter)

    def at_once(self, do: Callable[[int, Ask], Any]) -> list[Any]:
        ready = Barrier(len(self.callers))

        def run(i: int) -> Any:
            ready.wait(PATIENCE_S)
            return do(i, self.callers[i])

        with ThreadPoolExecutor(len(self.callers)) as pool:
            return list(pool.map(run, range(len(self.callers))))

    def post(
        self, ask: Ask, path: str, body: Any = None, key: str | None = None, seen: str | None = None
    ) -> Reply:
        """Ask until something else is said than to ask again; that has to come soon."""
        key = key or f"crowd-{next(_KEYS)}"
        until = monotonic() + PATIENCE_S
        while monotonic() < until:
            reply = ask("POST", path, body, key, seen)
            self.told[f"{reply.status} {reply.kind}".strip()] += 1
            if reply.kind not in AGAIN:
                return reply
            if reply.status == 503:
                assert int(reply.headers["Retry-After"]) > 0
            sleep(0.05)
        raise AssertionError(f"still told to ask again: {dict(self.told)}")


@pytest.fixture(params=["one process", "four servers"])
def crowd(request: pytest.FixtureRequest, shop: Shop) -> Iterator[Crowd]:
    if request.param == "one process":
        callers = [inside(shop.app, shop.secret) for _ in range(THREADS)]
    else:
        servers = request.getfixturevalue("four_servers")
        callers = [over_http(servers[i % len(servers)], shop.secret) for i in range(THREADS)]
    found = Crowd(shop, callers)
    yield found
    print(f"{request.node.name}: {dict(sorted(found.told.items()))}")
    whole(shop)


def whole(shop: Shop) -> None:
    """No gap and no number twice, every entry balances, and everything computed anew agrees."""
    for series in "SPN":
        assert shop.there(series) == list(range(1, shop.drawn(series) + 1)), series
    balances = shop.till.balances()
    for commodity in ("gold", "GBP"):
        assert sum(amount for (_, of), amount in balances.items() if of == commodity) == 0
    assert shop.faults() == []


def outcomes(replies: list[Reply]) -> Counter[tuple[int, str]]:
    return Counter((reply.status, reply.kind) for reply in replies)


def posting(draft: str) -> str:
    return f"/v1/settlements/{draft}/posting"


# the same, under keys of their own: one does it, and all others are told that it is done


def test_a_draft_that_all_post_is_posted_once_and_the_others_are_told(crowd: Crowd) -> None:
    (draft,) = crowd.shop.drafts(1)
    before, seen = crowd.shop.drawn("S"), crowd.shop.seen(draft)
    replies = crowd.at_once(lambda _, ask: crowd.post(ask, posting(draft), seen=seen))
    # Whoever comes later has seen a version that is no more.
    assert outcomes(replies) == {(201, ""): 1, (412, "changed-since-seen"): THREADS - 1}
    assert crowd.shop.drawn("S") == before + 1
    (posted,) = (reply.body for reply in replies if reply.status == 201)
    assert len(crowd.shop.till.listed(f"/v1/journal?document={posted['number']}")) == 1


def test_a_settlement_that_all_pay_in_full_is_paid_once(crowd: Crowd) -> None:
    (draft,) = crowd.shop.drafts(1)
    settled = crowd.shop.till.settle(draft)
    body = {"amount": settled["net"], "paid_in": "transfer"}
    path = f"/v1/settlements/{settled['number']}/payments"
    replies = crowd.at_once(lambda _, ask: crowd.post(ask, path, body))
    assert outcomes(replies) == {(201, ""): 1, (409, "wrong-state"): THREADS - 1}
    shown = crowd.shop.till.get(f"/v1/settlements/{draft}")
    assert (shown["paid"], shown["open"]["amount"]) == (settled["net"], "0.00")


def test_a_purchase_that_all_reverse_is_reversed_once_with_one_credit_note(crowd: Crowd) -> None:
    number = crowd.shop.till.buy(bought())["number"]
    before = crowd.shop.drawn("N")
    path = f"/v1/purchases/{number}/reversal"
    replies = crowd.at_once(lambda _, ask: crowd.post(ask, path, {"reason": "it was stolen"}))
    assert outcomes(replies) == {(201, ""): 1, (409, "wrong-state"): THREADS - 1}
    assert crowd.shop.drawn("N") == before + 1


# the same, under one key: all get one answer, and there is one document


def one_answer(replies: list[Reply]) -> Any:
    assert {reply.status for reply in replies} == {201}
    first, *others = (canonical(reply.body) for reply in replies)
    assert set(others) == {first}
    # All but the one that did it were told what it was told.
    assert sum("Idempotency-Replayed" in reply.headers for reply in replies) == THREADS - 1
    return replies[0].body


def test_under_one_key_a_draft_is_posted_once_and_all_get_the_answer(crowd: Crowd) -> None:
    (draft,) = crowd.shop.drafts(1)
    before, key = crowd.shop.drawn("S"), f"posting of {draft}"
    seen = crowd.shop.seen(draft)
    one_answer(crowd.at_once(lambda _, ask: crowd.post(ask, posting(draft), key=key, seen=seen)))
    assert crowd.shop.drawn("S") == before + 1


def test_under_one_key_a_purchase_is_made_once_and_all_get_the_answer(crowd: Crowd) -> None:
    before, key = crowd.shop.drawn("P"), f"purchase-{next(_KEYS)}"
    one_answer(crowd.at_once(lambda _, ask: crowd.post(ask, "/v1/purchases", bought(), key=key)))
    assert crowd.shop.drawn("P") == before + 1


def test_under_one_key_a_payment_is_made_once_and_all_get_the_answer(crowd: Crowd) -> None:
    (draft,) = crowd.shop.drafts(1)
    number = crowd.shop.till.settle(draft)["number"]
    body = {"amount": {"amount": "1.00", "currency": "GBP"}, "paid_in": "cash"}
    path, key = f"/v1/settlements/{number}/payments", f"payment of {number}"
    paid = one_answer(crowd.at_once(lambda _, ask: crowd.post(ask, path, body, key=key)))
    assert [p["id"] for p in crowd.shop.till.get(path)["items"]] == [paid["id"]]


def test_under_one_key_a_reversal_draws_one_credit_note(crowd: Crowd) -> None:
    number = crowd.shop.till.buy(bought())["number"]
    before, path = crowd.shop.drawn("N"), f"/v1/purchases/{number}/reversal"
    body, key = {"reason": "it was stolen"}, f"reversal of {number}"
    one_answer(crowd.at_once(lambda _, ask: crowd.post(ask, path, body, key=key)))
    assert crowd.shop.drawn("N") == before + 1


# each its own: all of it is done


def test_all_post_documents_of_their_own_and_numbers_stay_dense(crowd: Crowd) -> None:
    deal_all(crowd)


def test_whoever_is_told_that_the_books_are_busy_asks_again_and_all_is_done(shop: Shop) -> None:
    books = impatient(shop.url)
    app = create_app(Settings(shop.url), books=books)
    crowd = Crowd(shop, [inside(app, shop.secret) for _ in range(THREADS)])
    deal_all(crowd)
    books.close()
    print(f"impatient: {dict(sorted(crowd.told.items()))}")
    assert crowd.told["503 busy"] > 0
    whole(shop)


def deal_all(crowd: Crowd) -> None:
    """All settle, buy, reverse and pay what is their own, and are refused something, at the same time."""
    shop = crowd.shop
    drafts = shop.drafts(THREADS)
    seen = [shop.seen(draft) for draft in drafts]
    old = [shop.till.buy(bought())["number"] for _ in range(THREADS)]
    before = {series: shop.drawn(series) for series in "SPN"}
    till_before = shop.till.balance("house:till", "GBP")

    def deal(i: int, ask: Ask) -> dict[str, Any]:
        # Refused once its number is drawn: the number has to go back.
        refused = crowd.post(ask, "/v1/purchases", bought("0.01"))
        assert (refused.status, refused.kind) == (409, "wrong-state")
        settled = crowd.post(ask, posting(drafts[i]), seen=seen[i])
        purchase = crowd.post(ask, "/v1/purchases", bought())
        note = crowd.post(ask, f"/v1/purchases/{old[i]}/reversal", {"reason": "a slip"})
        paid = crowd.post(
            ask,
            f"/v1/settlements/{settled.body['number']}/payments",
            {"amount": settled.body["net"], "paid_in": "cash"},
        )
        assert [r.status for r in (settled, purchase, note, paid)] == [201] * 4
        return {"S": settled.body["number"], "P": purchase.body["number"], "paid": settled.body["net"]}

    done = crowd.at_once(deal)
    assert {series: shop.drawn(series) - before[series] for series in "SPN"} == dict.fromkeys("SPN", THREADS)
    for series in "SP":
        drawn = sorted(int(one[series].rpartition("-")[2]) for one in done)
        assert drawn == list(range(before[series] + 1, before[series] + THREADS + 1))
    # As many purchases were reversed as made: what left the till is what was paid on settlements.
    paid = sum(int(one["paid"]["amount"].replace(".", "")) for one in done)
    assert shop.till.balance("house:till", "GBP") == till_before - paid
