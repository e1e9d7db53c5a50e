"""What is posted through the line, and what must be true of the house afterwards."""

import json
import time
from collections import Counter, defaultdict
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from decimal import Decimal
from random import Random
from threading import Lock
from typing import Any

from api.client import House, Problem, Unanswered
from tests.line.proxy import Line, Told
from tests.line.served import Served

Json = dict[str, Any]
# Waits are those of the client, made shorter: a failing line is no busy house.
WAIT_SHARE = 0.02
MIXTURE = {"quotes": 30, "purchases": 25, "payments": 20, "clients": 15, "prices": 10}
# Answers that ask the client to wait and come again: nothing was kept of that attempt.
WAIT = (409, 429, 503)

ITEM = {"description": "scrap", "evidence": "sure", "fineness": "500"}
TERMS: Json = {
    "name": "on assay",
    "currency": "GBP",
    "division": {"amount": "0.01", "unit": "g"},
    "evidence": {"sure": {"method": "fire_assay"}},
    "metals": {"gold": {"settle_on": "assay", "accountable": "1", "payout_rate": "1"}},
}
BUYING = {"gold": {"settle_on": "counter", "accountable": "0.98", "payout_rate": "0.95"}}


def _grams(amount: str) -> Json:
    return {"amount": amount, "unit": "g"}


def _pounds(pence: int) -> Json:
    return {"amount": f"{Decimal(pence) / 100:.2f}", "currency": "GBP"}


@dataclass(frozen=True, slots=True)
class Post:
    """One thing that is to be done once."""

    kind: str
    path: str
    key: str
    body: Json
    pence: int = 0


@dataclass(frozen=True)
class Ready:
    """A shop in which everything can be posted, and what already stands in it."""

    client: str
    terms: str
    buying: str
    settlement: str
    owed: int
    standing: dict[str, set[str]]


def opened(house: House) -> Ready:
    """Terms, a price, a client, and a settlement that a great deal is owed on."""
    client = house.post("/v1/clients", {"name": "Ann Other"})["id"]
    house.post("/v1/prices", {"prices": {"gold": {"amount": "60", "currency": "GBP", "per": "g"}}})
    terms = house.post("/v1/terms", TERMS)["number"]
    buying = house.post("/v1/terms", {**TERMS, "name": "counter", "metals": BUYING})["number"]
    quote = house.quote({"client": client, "terms": terms, "items": [{**ITEM, "gross": _grams("20000")}]})
    lot = house.receive({"quote": house.accept(quote, who="Ann Other", how="in_person")["number"]})["number"]
    house.post(f"/v1/lots/{lot}/melt", {"weight": _grams("20000")})
    found = {"gold": {"fineness": "500", "u": "0.3"}}
    house.post(f"/v1/lots/{lot}/assays", {"party": "house", "method": "fire_assay", "finenesses": found})
    posted = house.post_settlement(house.draft_settlement(lot))
    owed = int(Decimal(posted["open"]["amount"]) * 100)
    standing = {kind: _names(house, kind, posted["number"]) for kind in MIXTURE}
    return Ready(client, terms, buying, posted["number"], owed, standing)


def drawn(posts: int, seed: int, ready: Ready) -> list[Post]:
    """What is to be posted, each with a key of its own."""
    by_chance = Random(seed)
    kinds = by_chance.choices([*MIXTURE], [*MIXTURE.values()], k=posts)
    return [_one(kind, f"{seed}-{n}", ready, by_chance) for n, kind in enumerate(kinds)]


def _one(kind: str, key: str, ready: Ready, by_chance: Random) -> Post:
    weight = _grams(f"{Decimal(by_chance.randint(100, 5000)) / 100:.2f}")
    items = {"client": ready.client, "items": [{**ITEM, "gross": weight}]}
    pence = by_chance.randint(1, 500)
    if kind == "payments":
        path = f"/v1/settlements/{ready.settlement}/payments"
        return Post(kind, path, key, {"amount": _pounds(pence), "paid_in": "transfer"}, pence)
    bodies: dict[str, Json] = {
        "quotes": {**items, "terms": ready.terms},
        "purchases": {**items, "terms": ready.buying, "paid_in": "cash"},
        "clients": {"name": f"Client {key}"},
        "prices": {"prices": {"gold": {"amount": f"60.{pence:03}", "currency": "GBP", "per": "g"}}},
    }
    return Post(kind, f"/v1/{kind}", key, bodies[kind])


@dataclass
class Run:
    """What the clients heard: a document for each key, and how often they had to ask."""

    heard: dict[str, Json] = field(default_factory=dict)
    asked_again: int = 0
    unanswered: int = 0
    _lock: Lock = field(default_factory=Lock)

    def post_all(
        self, address: str, key: str, posts: list[Post], threads: int, done: Callable[[], object]
    ) -> None:
        """Post everything from several threads, each with a client of its own."""
        shares = [posts[n::threads] for n in range(threads)]

        def work(share: list[Post]) -> None:
            house = House(address, key, sleep=self._wait)
            house.session.trust_env = False
            for post in share:
                answer = self._until_answered(house, post)
                with self._lock:
                    self.heard[post.key] = answer
                done()

        with ThreadPoolExecutor(threads) as pool:
            for ended in [pool.submit(work, share) for share in shares]:
                ended.result()

    def _until_answered(self, house: House, post: Post) -> Json:
        while True:
            try:
                return house.post(post.path, post.body, once=post.key)
            except (Unanswered, Problem) as nobody:
                # What stays under way or busy for all its tries is as good as no answer.
                if isinstance(nobody, Problem) and nobody.status not in WAIT:
                    raise
                with self._lock:
                    self.unanswered += 1

    def _wait(self, seconds: float) -> None:
        with self._lock:
            self.asked_again += 1
        time.sleep(seconds * WAIT_SHARE)


def found_wrong(house: Served, line: Line, posts: list[Post], run: Run, ready: Ready) -> list[str]:
    """All that is not as it must be: one document a key, equal answers, dense numbers, sound books."""
    asked = House(house.address, house.key)
    asked.session.trust_env = False
    return [
        *line.broken,
        *_unequal(line, posts, run),
        *_not_one_a_key(asked, posts, run, ready),
        *_gaps(asked),
        *_paid_otherwise(asked, posts, ready),
        *([f"settle check: {said}"] if (said := house.checked()) else []),
    ]


def _unequal(line: Line, posts: list[Post], run: Run) -> list[str]:
    """Keys whose answers differ among themselves, from what was heard, or that never came first."""
    found = []
    for post in posts:
        whole: list[Told] = [told for told in line.told[post.key] if told.status not in WAIT]
        if len(set(whole)) != 1 or whole[0].status != 201:
            found.append(f"{post.kind} {post.key}: {[(t.status, t.body[:80]) for t in whole]}")
        elif json.loads(whole[0].body) != run.heard.get(post.key):
            found.append(f"{post.kind} {post.key}: heard {run.heard.get(post.key)}")
        elif (firsts := sum(not told.replayed for told in whole)) != 1:
            found.append(f"{post.kind} {post.key}: {firsts} answers say that they are the first")
    return found


def _not_one_a_key(house: House, posts: list[Post], run: Run, ready: Ready) -> list[str]:
    """Documents that stand without a key of theirs, and keys whose document doesn't stand."""
    told: dict[str, Counter[str]] = defaultdict(Counter)
    for post in posts:
        told[post.kind][_name(post.kind, run.heard[post.key])] += 1
    found = [f"{kind} {n}: {c} keys" for kind, names in told.items() for n, c in names.items() if c != 1]
    for kind, standing in ready.standing.items():
        differing = (_names(house, kind, ready.settlement) - standing) ^ set(told[kind])
        found += [f"{kind}: {name} is told or kept alone" for name in sorted(differing)]
    return found


def _names(house: House, kind: str, settlement: str) -> set[str]:
    if kind == "payments":
        rows = house.each(f"/v1/settlements/{settlement}/payments")
    else:
        rows = house.each(f"/v1/{kind}", limit=200)
    listed = [_name(kind, row) for row in rows]
    assert len(listed) == len(set(listed)), f"{kind} are listed twice"
    return set(listed)


def _name(kind: str, document: Json) -> str:
    if kind == "prices" and "prices" in document:
        return str(document["prices"]["gold"]["entry"])
    return str(document.get({"clients": "id", "payments": "id", "prices": "entry"}.get(kind, "number")))


def _gaps(house: House) -> list[str]:
    """Numbers of purchases that are missing between the first and the last of a year."""
    by_year: dict[str, list[int]] = defaultdict(list)
    for row in house.each("/v1/purchases", limit=200):
        _, year, number = row["number"].split("-")
        by_year[year].append(int(number))
    missing = {y: set(range(1, max(numbers) + 1)) - set(numbers) for y, numbers in by_year.items()}
    return [f"P-{year}: {sorted(gap)} missing" for year, gap in missing.items() if gap]


def _paid_otherwise(house: House, posts: list[Post], ready: Ready) -> list[str]:
    owed = ready.owed - sum(post.pence for post in posts)
    left = house.get(f"/v1/settlements/{ready.settlement}")["open"]
    return [] if left == _pounds(owed) else [f"{left} is open of the settlement, not {_pounds(owed)}"]


def standing(house: Served, ready: Ready) -> dict[str, int]:
    """How many documents of each kind were added to those that stood."""
    asked = House(house.address, house.key)
    asked.session.trust_env = False
    return {kind: len(_names(asked, kind, ready.settlement) - ready.standing[kind]) for kind in MIXTURE}
