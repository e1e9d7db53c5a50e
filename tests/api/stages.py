"""The road of the published settlement D, from an empty shop to a posted settlement, a stage at a time.

Numbers are drawn in order, so everything on the road has the name that stands here.
"""

import json
from collections.abc import Callable
from copy import deepcopy
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from io import BytesIO
from pathlib import Path
from typing import Any

from PIL import Image
from till import Till, grams

WORKED = Path(__file__).parents[1] / "published" / "worked"
A = json.loads((WORKED / "estimate-a-grams-gbp.json").read_text())
D = json.loads((WORKED / "settlement-d.json").read_text())

START = datetime(2026, 3, 2, 9, 30, tzinfo=UTC)
CLIENT, TERMS, QUOTE = "C-1", "T-1", "Q-2026-0001"
LOT, BATCH, DRAFT, SETTLEMENT = "L-2026-0001", "B-2026-0001", "SD-1", "S-2026-0001"
BARS = ("BAR-2026-0001", "BAR-2026-0002")
# What stands in a settled house, by where it is listed.
STANDING = {
    "quotes": QUOTE,
    "lots": LOT,
    "batches": BATCH,
    "settlements": SETTLEMENT,
    "bars": BARS[0],
    "clients": CLIENT,
    "keys": "K-1",
    "terms": TERMS,
}
COUNTER = {"min": grams("0.5"), "max": grams("2000"), "class": "II"}


@dataclass
class Clock:
    """A clock that stands until the test moves it."""

    now: datetime = START

    def __call__(self) -> datetime:
        return self.now

    def move(self, **by: float) -> None:
        self.now += timedelta(**by)


def terms(**changes: Any) -> dict[str, Any]:
    """The terms of the published estimate A, public, settled at the price of the day; some changed."""
    return {**deepcopy(A["terms"]), "public": True, "price_time": "settlement", **changes}


def asked(**changes: Any) -> dict[str, Any]:
    """What estimate A asks, at the prices in force; some of it changed."""
    request = deepcopy(A["request"])
    del request["prices"]
    return {**request, **changes}


def gold_only(**changes: Any) -> dict[str, Any]:
    """Terms that settle gold alone, on assay: nothing is charged, all is answered for and paid at spot."""
    gold = {"settle_on": "assay", "accountable": "1", "payout_rate": "1"}
    plain = {
        "name": "gold only",
        "currency": "GBP",
        "division": grams("0.01"),
        "evidence": {"sure": {"method": "fire_assay"}},
        "metals": {"gold": gold},
    }
    return {**plain, **changes}


def scrap(weight: str = "100", **changes: Any) -> dict[str, Any]:
    """An item of 500 ‰ gold for the terms that settle gold alone."""
    return {"description": "scrap", "evidence": "sure", "fineness": "500", "gross": grams(weight), **changes}


def a_price(of: dict[str, Any]) -> dict[str, str]:
    return {metal: price["amount"] for metal, price in of.items()}


def _open(till: Till) -> None:
    till.terms(terms())
    till.prices(**a_price(A["request"]["prices"]))
    till.scale("counter", "0.01", **COUNTER)
    till.mould("twenty", "20", "0.05", "counter")
    till.stock("silver", "500", "999")
    till.client("Ann Other", address="1 Nowhere Lane")


def _take_out(till: Till) -> None:
    gold, silver = D["gold_out"], D["silver_out"]
    till.take_out(BATCH, "gold", gold["weight"]["amount"], gold["fineness"], gold["u"])
    till.take_out(BATCH, "silver", silver["weight"]["amount"], silver["fineness"])


def _pour(till: Till) -> None:
    till.instruct(LOT, silver=D["instructions"]["silver"])
    for bar in D["bars"]:
        till.pour(LOT, bar["reading"]["amount"])


def _draft(till: Till) -> None:
    till.prices(**a_price(D["prices"]))
    till.draft(LOT)


# Each stage: its name, what is done to reach it, and the days until the next.
ROAD: tuple[tuple[str, Callable[[Till], object], int], ...] = (
    ("opened", _open, 0),
    ("quoted", lambda t: t.quote(asked(client=CLIENT)), 0),
    ("accepted", lambda t: t.accept(t.get(f"/v1/quotes/{QUOTE}")), 0),
    ("received", lambda t: t.receive(quote=QUOTE), 1),
    ("melted", lambda t: t.melt(LOT, D["melt_weight"]["amount"], scale="counter"), 0),
    ("assayed", lambda t: t.assay(LOT, D["assay"]), 1),
    ("in batch", lambda t: t.batch(LOT), 0),
    ("lent", lambda t: t.lend(BATCH, D["silver_lent"]["weight"]["amount"], scale="counter"), 2),
    ("out", _take_out, 0),
    ("poured", _pour, 1),
    ("reconciled", lambda t: t.reconcile(BATCH), 1),
    ("drafted", _draft, 0),
    ("settled", lambda t: t.settle(DRAFT), 0),
)


def go_on(till: Till, clock: Clock) -> None:
    """From a posted settlement on: a row in every table of what is sealed."""
    till.terms(gold_only(name="counter", metals=AT_THE_COUNTER))
    till.prices(gold="62.05")
    ring = {"description": "ring", "evidence": "sure", "fineness": "750", "gross": grams("10")}
    till.buy({"client": CLIENT, "terms": "T-2", "items": [ring], "paid_in": "transfer"})
    amount = {"amount": "811.04", "currency": "GBP"}
    till.post(f"/v1/settlements/{SETTLEMENT}/payments", {"amount": amount, "paid_in": "transfer"})
    till.post("/v1/purchases/P-2026-0001/reversal", {"reason": "a slip"})
    picture = BytesIO()
    Image.new("RGB", (8, 8)).save(picture, "png")
    taken = till.ask("POST", f"/v1/lots/{LOT}/photographs", picture.getvalue(), "image/png")
    assert taken.status_code == 201
    clock.move(days=40)
    till.post("/v1/periods/2026-03/lock")


AT_THE_COUNTER = {"gold": {"settle_on": "counter", "accountable": "1", "payout_rate": "1"}}
