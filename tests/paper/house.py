"""An invented shop with the road of settlement D behind it, and whatever else papers are made of."""

import itertools
import json
from collections.abc import Mapping
from copy import deepcopy
from dataclasses import dataclass, field
from datetime import UTC, datetime
from io import BytesIO
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from babel import Locale
from flask.testing import FlaskClient
from pypdf import PdfReader

from api.paper.numbers import Printer
from api.paper.render import Beside, render
from api.settings import Shop
from settle.books.work import Books

Json = dict[str, Any]

NOW = datetime(2026, 3, 2, 9, 30, tzinfo=UTC)
WORKED = Path(__file__).parents[1] / "published" / "worked"
A = json.loads((WORKED / "estimate-a-grams-gbp.json").read_text("utf-8"))
B = json.loads((WORKED / "estimate-b-pennyweight-usd.json").read_text("utf-8"))
D = json.loads((WORKED / "settlement-d.json").read_text("utf-8"))
CLIENT = "Ann Nobody-Special"

MARK = (
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 40 40"><path d="M20 2 L38 20 L20 38 L2 20 Z" '
    'fill="none" stroke="#000" stroke-width="2.5"/></svg>'
)
# How metal of 999.9 ‰ is proved: its impurities were measured by an outside laboratory.
BY_DIFFERENCE = {"method": "difference", "report": "LB 26/118"}
SHOP = Shop(
    name="Lantern Yard Refining",
    address=("4 Lantern Yard", "Nowhereford NW9 9ZZ"),
    tax_identity="GB 000 0000 00",
    mark=MARK,
)


@dataclass
class House:
    """The app's client with the owner's key, and what the road made."""

    client: FlaskClient
    books: Books
    key: str
    names: dict[str, str] = field(default_factory=dict)
    _count: "itertools.count[int]" = field(default_factory=itertools.count)

    def ask(self, method: str, path: str, body: Any = None, **headers: str) -> Any:
        said = {
            "Authorization": f"Bearer {self.key}",
            "Idempotency-Key": f"k{next(self._count)}",
            **{name.replace("_", "-"): value for name, value in headers.items()},
        }
        return self.client.open(path, method=method, json=body, headers=said)

    def post(self, path: str, body: Any = None, seen: str | None = None) -> Any:
        answer = self.ask("POST", path, body, **({"If_Match": seen} if seen else {}))
        assert answer.status_code < 300, (path, answer.json)
        return answer

    def get(self, path: str, **headers: str) -> Any:
        return self.ask("GET", path, **headers)

    def shown(self, path: str) -> Json:
        answer = self.get(path)
        assert answer.status_code == 200, (path, answer.json)
        found: Json = answer.json
        return found


def walk(house: House) -> House:
    """Quote, lot, batch, bars, reconciliation, settlement, and a purchase besides."""
    open_shop(house)
    quote = house.post("/v1/quotes", {**asked(), "client": "C-1"})
    number = quote.json["number"]
    word = {"who": CLIENT, "how": "in_person", "hash": quote.json["hash"]}
    house.post(f"/v1/quotes/{number}/acceptance", word, quote.headers["ETag"])
    lot = house.post("/v1/lots", {"quote": number}).json["number"]
    house.post(f"/v1/lots/{lot}/melt", {"weight": D["melt_weight"], "scale": "counter"})
    found = {m: {"fineness": f, "u": "0.3"} for m, f in D["assay"].items()}
    house.post(f"/v1/lots/{lot}/assays", {"party": "house", "method": "fire_assay", "finenesses": found})
    batch = house.post("/v1/batches", {"lots": [lot]}).json["number"]
    house.names.update(quote=number, lot=lot, batch=batch)
    refine(house, lot, batch)
    house.names["purchase"], undone = buy(house), buy(house)
    reversed_by = house.post(f"/v1/purchases/{undone}/reversal", {"reason": "The wrong client was typed."})
    assert reversed_by.status_code == 201
    house.names["credit_note"] = house.shown("/v1/credit-notes")["items"][0]["number"]
    house.names["bar_sale"] = sell_a_bar(house)
    return house


def open_shop(house: House) -> None:
    house.post("/v1/terms", {**A["terms"], "public": True})
    house.post("/v1/prices", {"prices": A["request"]["prices"]})
    division, least = {"amount": "0.01", "unit": "g"}, {"amount": "0.5", "unit": "g"}
    house.post("/v1/scales", {"name": "counter", "division": division, "min": least})
    silver = {"metal": "silver", "weight": {"amount": "500", "unit": "g"}, "fineness": "999"}
    house.post("/v1/stock", {"kind": "opening", "metals": [silver]})
    house.post("/v1/clients", {"name": CLIENT, "address": "1 Any Street\nAnytown"})


def asked(**changes: Any) -> Json:
    request = {k: v for k, v in deepcopy(A["request"]).items() if k != "prices"}
    return {**request, **changes}


def refine(house: House, lot: str, batch: str) -> None:
    loan = {"weight": D["silver_lent"]["weight"], "scale": "counter"}
    house.post(f"/v1/batches/{batch}/silver-loans", loan)
    by_fire = {"fineness": "998", "method": "fire_assay"}
    for metal, assay in (("gold", {"fineness": "999.97", "u": "0.02", **BY_DIFFERENCE}), ("silver", by_fire)):
        out = {"metal": metal, "weight": D[f"{metal}_out"]["weight"], "assay": assay}
        house.post(f"/v1/batches/{batch}/outturns", out)
    house.post(f"/v1/lots/{lot}/instructions", {"instructions": {"silver": {"remainder": "pay_out"}}})
    for bar in D["bars"]:
        poured = house.post("/v1/bars", {"lot": lot, "metal": "gold", "line": 0, "reading": bar["reading"]})
        house.names["bar"] = poured.json["serial"]
    account = house.get(f"/v1/batches/{batch}/reconciliation")
    house.post(f"/v1/batches/{batch}/reconciliation", {}, account.headers["ETag"])
    draft = house.post("/v1/settlements", {"lot": lot})
    posted = house.post(f"/v1/settlements/{draft.json['id']}/posting", None, draft.headers["ETag"])
    house.names["settlement"] = posted.json["number"]


def buy(house: House) -> str:
    gold = {"settle_on": "counter", "accountable": "0.98", "payout_rate": "0.95"}
    kept = ("currency", "division", "evidence", "taxes")
    terms = {**{k: A["terms"][k] for k in kept}, "name": "counter", "metals": {"gold": gold}}
    number = house.post("/v1/terms", terms).json["number"]
    items = [i for i in A["request"]["items"] if i["evidence"] == "hallmark"]
    bought = {"client": "C-1", "terms": number, "items": items, "paid_in": "cash"}
    made: str = house.post("/v1/purchases", bought).json["number"]
    return made


def sell_a_bar(house: House) -> str:
    """A bar of silver, on which there is tax, for cash."""
    said = {"weight": {"amount": "100", "unit": "g"}, "fineness": "999", "mark": "a maker 1234"}
    cost = {"cost": {"amount": "70.00", "currency": "GBP"}, "paid_in": "transfer"}
    bar = house.post("/v1/stock/bars", {"kind": "bought", "metal": "silver", "terms": "T-1", **said, **cost})
    body = {"client": "C-1", "terms": "T-1", "paid_in": "cash"}
    house.names["bought_bar"] = bar.json["serial"]
    made: str = house.post(f"/v1/bars/{bar.json['serial']}/sale", body).json["number"]
    return made


def printer(locale: str = "en_GB") -> Printer:
    return Printer(Locale.parse(locale), ZoneInfo("Europe/London"))


def pdf(
    kind: str, document: Mapping[str, Any], locale: str = "en_GB", paper: str = "a4", **beside: Any
) -> bytes:
    """The document on paper, as the API prints it."""
    stands = {"client": {"name": CLIENT, "address": "1 Any Street\nAnytown"}, **beside}
    if kind == "certificate":
        stands = {"code": document["certificate"]}
    elif kind == "receipt":
        stands["code"] = document["number"]
    return render(kind, document, SHOP, printer(locale), paper, Beside(**stands))


def pages(made: bytes) -> list[str]:
    """The text of each page, with single spaces."""
    return [" ".join((page.extract_text() or "").split()) for page in PdfReader(BytesIO(made)).pages]


def stands_at(made: bytes, words: str) -> float:
    """How far down the first page some words stand: 0 is its upper edge, 1 the line at its foot."""
    lines = PdfReader(BytesIO(made)).pages[0].extract_text(extraction_mode="layout").splitlines()
    [first, *_] = [i for i, line in enumerate(lines) if words in " ".join(line.split())]
    return first / len(lines)


def long(quote: Json, items: int) -> Json:
    """A quote with many items, some of them with long names."""
    story = " that came from somebody's aunt, who had it of a sailor, or so it was always told"
    told = deepcopy(quote)
    first = told["items"]
    told["items"] = [
        {**first[i % len(first)], "description": f"piece {i + 1}" + (story if i % 7 == 3 else "")}
        for i in range(items)
    ]
    return told
