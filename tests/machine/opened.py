"""The shop that every run of the machine begins in: five families of terms, prices, stock, clients."""

import atexit
import shutil
import tempfile
from dataclasses import dataclass
from datetime import datetime
from fractions import Fraction
from functools import cache
from pathlib import Path
from typing import Any

from flask import Flask
from naive import Model, Terms
from papers import CURRENCY, Json
from stages import START, Clock
from till import Till, grams, pounds

from api.app import create_app
from api.settings import Settings, Shop
from settle.books.access import make_key
from settle.books.migrations import upgrade
from settle.books.work import THE_COMMAND, open_books

REFINE = {
    "currency": "GBP",
    "division": grams("0.01"),
    "evidence": {"sure": {"method": "fire_assay"}},
    "charges": [
        {
            "name": "treatment",
            "base": "gross_weight",
            "per": "g",
            "rate": "0.30",
            "minimum": "15",
            "tax": "standard",
        },
        {"name": "parting", "base": "silver_lent", "per": "g", "rate": "0.05", "tax": "reduced"},
        {"name": "bars", "base": "bar", "rate": "4.00", "tax": "none"},
    ],
    "taxes": {
        "standard": {"rate": "0.20", "class": "standard"},
        "reduced": {"rate": "0.05", "class": "reduced"},
        "none": {"rate": "0", "class": "zero"},
    },
    "quote_valid_for": "P2D",
    "price_max_age": "P60D",
    "advance_share": "0.5",
    "cash_step": "0.05",
    "retention": "P20D",
}
LIMIT = "3"


def _metal(settle_on: str, recovery: str, accountable: str, **more: str) -> Json:
    of = {"settle_on": settle_on, "recovery": recovery, "recovery_u": "0.002", "balance": "0.005"}
    return {**of, "accountable": accountable, "payout_rate": "0.97", **more}


def _on(gold: str, silver: str, **more: str) -> Json:
    """The metals, as gold and silver are settled on."""
    return {
        "gold": _metal(gold, "0.995", "0.99", top_up_rate="1.03", top_up_tax="standard", **more),
        "silver": _metal(silver, "0.98", "0.95"),
    }


# Family → terms; those that refine are settled on outturn, on assay, on one of each; one buys.
FAMILIES: dict[str, Json] = {
    "together": {
        "metals": _on("outturn", "outturn", splitting_limit=LIMIT),
        "silver_rule": "house_first",
        "price_time": "settlement",
        "umpire_fee": "60",
        "public": True,
    },
    "in parts": {
        "metals": _on("outturn", "outturn"),
        "silver_rule": "pro_rata",
        "price_time": "quote",
        "void_if_moved": "0.02",
        "holding_period": "P1D",
        "drillings": "credited",
        "house_silver": {"fineness": "999", "gold": "0.4"},
    },
    "on assay": {
        "metals": _on("assay", "assay", splitting_limit=LIMIT),
        "price_time": "receipt",
        "umpire_rule": "final",
    },
    "gold on assay": {
        "metals": _on("assay", "outturn"),
        "price_time": "acceptance",
        "least_paid": "9.00",
        "sample_period": "P1D",
    },
    "counter": {
        "metals": {
            m: {"settle_on": "counter", "accountable": "0.95", "payout_rate": "0.9"}
            for m in ("gold", "silver")
        },
        "charges": [],
        "public": True,
    },
}
CLIENTS = ("Ann Other", "Ben Other")
# Silver was there when the books were opened; gold was bought.
SILVER, GOLD, GOLD_COST = "4000", "300", 1_700_000


def terms_of(family: str, **changes: Any) -> Json:
    return {**REFINE, "name": family, **FAMILIES[family], **changes}


def read_terms(number: str, body: Json) -> Terms:
    """What the model must know of a version of the terms."""
    limit = body["metals"]["gold"].get("splitting_limit")
    return Terms(
        number,
        body["name"],
        {metal: of["settle_on"] for metal, of in body["metals"].items()},
        days_held=1 if "holding_period" in body else 0,
        exchange=None if limit is None else Fraction(limit),
        drillings=body.get("drillings", "returned"),
        price_time=body.get("price_time", "quote"),
        void_if_moved="void_if_moved" in body,
    )


@dataclass(frozen=True)
class Opening:
    """The app, the books as the shop was opened with them, and the owner's key."""

    app: Flask
    file: Path
    folder: Path
    key: str
    now: datetime


@cache
def opening() -> Opening:
    folder = Path(tempfile.mkdtemp(prefix="settle-machine-"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    file, clock = folder / "opened.sqlite3", Clock(START)
    url = f"sqlite:///{file}"
    upgrade(url)
    books = open_books(url, clock)
    with books.writing(THE_COMMAND) as work:
        key = make_key(work, "owner", ["owner"])
    app = create_app(Settings(url, shop=Shop(name="An invented refiner")), clock, books)
    till = Till(app, books, file, key)
    for family in FAMILIES:
        till.terms(terms_of(family))
    till.prices(gold="60.00", silver="0.80")
    till.scale("counter", "0.01", min=grams("0.5"))
    till.mould("ten", "10", "0.05", "counter")
    till.stock("silver", SILVER, "1000")
    gold = {"metal": "gold", "weight": grams(GOLD), "fineness": "1000"}
    cost = {"amount": f"{GOLD_COST // 100}.00", "currency": "GBP"}
    till.post("/v1/stock", {"kind": "bought", "metals": [gold], "cost": cost})
    for name in CLIENTS:
        till.client(name)
    books.close()
    return Opening(app, file, folder, key, clock.now)


def model() -> Model:
    """The same shop as the model knows it."""
    made = Model()
    for n, family in enumerate(FAMILIES, 1):
        made.terms[f"T-{n}"] = read_terms(f"T-{n}", terms_of(family))
    made.clients = {f"C-{n}": False for n in range(1, len(CLIENTS) + 1)}
    made.priced_at = dict.fromkeys(("gold", "silver"), START)
    made.book("opening", {("stock", "silver"): int(SILVER) * 1000})
    made.book("bought", {("stock", "gold"): int(GOLD) * 1000, ("till", CURRENCY): -GOLD_COST})
    made.opened = {"silver"}
    return made


__all__ = [
    "CLIENTS",
    "Clock",
    "Opening",
    "Till",
    "grams",
    "model",
    "opening",
    "pounds",
    "read_terms",
    "terms_of",
]
