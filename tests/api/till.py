"""A till: what a shop's program asks of the API, in readable verbs.

`till.melt(...)` must succeed and gives the answer. `till.refused.melt(...)` must be
refused, must leave every row of the books as it was, and gives the refusal.
"""

import itertools
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import stores
from flask import Flask
from sqlalchemy import Connection, inspect, text
from werkzeug.test import TestResponse

from api.http.access import keep_books
from settle.books.work import Books

_KEYS = itertools.count(1)

Json = dict[str, Any]

# How metal of 999.9 ‰ is proved: its impurities were measured by an outside laboratory.
BY_DIFFERENCE = {"method": "difference", "report": "LB 26/118"}
BY_FIRE = {"method": "fire_assay"}


def grams(amount: str, unit: str = "g") -> Json:
    return {"amount": amount, "unit": unit}


def pounds(amount: str, per: str = "g", currency: str = "GBP") -> Json:
    return {"amount": amount, "currency": currency, "per": per}


class Answer(Json):
    """A JSON answer that was not refused, with its ETag and where the new thing stands."""

    def __init__(self, response: TestResponse) -> None:
        super().__init__(response.json or {})
        self.status = response.status_code
        self.etag = response.headers.get("ETag")
        self.at = response.headers.get("Location")

    @property
    def notices(self) -> list[str]:
        return [n["code"] for n in self["notices"]]


@dataclass(frozen=True)
class Refusal:
    """A problem: its status and type, and each fault by its JSON Pointer."""

    status: int
    kind: str
    body: Json

    @property
    def faults(self) -> dict[str, str]:
        """JSON Pointer → kind of fault."""
        return {e["pointer"]: e["type"].removeprefix("/problems/") for e in self.body.get("errors", [])}

    @property
    def rights(self) -> dict[str, str]:
        """JSON Pointer → what would be right."""
        return {e["pointer"]: e["right"] for e in self.body.get("errors", [])}

    @property
    def said(self) -> tuple[int, str, str]:
        """Status, type, and the pointer of the one fault that it names ("" for none)."""
        return self.status, self.kind, ",".join(self.faults)


def everything(file: Path) -> dict[str, list[tuple[Any, ...]]]:
    """Every row of every table, but for when a key was last used, and the house's signing key,
    which the first certificate or record that anyone asks for makes."""
    with stores.sql(file) as connection:
        tables = sorted({*inspect(connection).get_table_names()} - {"certificate_keys"})
        return {table: _rows(connection, table) for table in tables}


def _rows(connection: Connection, table: str) -> list[tuple[Any, ...]]:
    rows = connection.execute(text(f"SELECT * FROM {table}")).mappings()
    return sorted((tuple(v for name, v in row.items() if name != "last_used_at") for row in rows), key=repr)


class Till:
    """One access key at an app over the books of one name."""

    def __init__(self, app: Flask, books: Books, file: Path, secret: str) -> None:
        self.app, self.books, self.file, self.secret = app, books, file, secret

    @property
    def refused(self) -> "RefusedTill":
        return RefusedTill(self.app, self.books, self.file, self.secret)

    def with_key(self, secret: str) -> "Till":
        return type(self)(self.app, self.books, self.file, secret)

    def ask(
        self, method: str, path: str, body: Any = None, media: str = "application/json", **headers: str | None
    ) -> TestResponse:
        """One request as it comes: `If_Match="…"` is a header, None leaves one out; bytes go as they are."""
        said = {"Authorization": f"Bearer {self.secret}"}
        if method != "GET":
            said["Idempotency-Key"] = f"k{next(_KEYS)}"
        named = {name.replace("_", "-"): value for name, value in headers.items()}
        sent = {name: value for name, value in {**said, **named}.items() if value is not None}
        how: Json = {"json": body} if body is not None else {}
        if isinstance(body, bytes):
            how = {"data": body, "content_type": media}
        keep_books(self.app, self.books)
        return self.app.test_client().open(path, method=method, headers=sent, **how)

    def call(self, method: str, path: str, body: Any = None, seen: str | None = None) -> Any:
        response = self.ask(method, path, body, If_Match=seen)
        assert response.status_code < 400, (method, path, response.json)
        return Answer(response)

    def get(self, path: str) -> Any:
        return self.call("GET", path)

    def post(self, path: str, body: Any = None, seen: str | None = None) -> Any:
        return self.call("POST", path, body, seen)

    # what the owner enters

    def terms(self, body: Json) -> Any:
        return self.post("/v1/terms", body)

    def prices(self, **by_metal: str) -> Any:
        return self.post("/v1/prices", {"prices": {m: pounds(amount) for m, amount in by_metal.items()}})

    def scale(self, name: str, d: str, **more: Any) -> Any:
        return self.post("/v1/scales", {"name": name, "division": grams(d), **more})

    def mould(self, name: str, nominal: str, over_pour: str, scale: str) -> Any:
        weights = {"nominal": grams(nominal), "over_pour": grams(over_pour)}
        return self.post("/v1/moulds", {"name": name, "scale": scale, **weights})

    def stock(self, metal: str, weight: str, fineness: str) -> Any:
        row = {"metal": metal, "weight": grams(weight), "fineness": fineness}
        return self.post("/v1/stock", {"kind": "opening", "metals": [row]})

    # at the counter

    def client(self, name: str, **more: str) -> Any:
        return self.post("/v1/clients", {"name": name, **more})

    def estimate(self, body: Any) -> Any:
        return self.post("/v1/estimates", body)

    def quote(self, body: Any) -> Any:
        return self.post("/v1/quotes", body)

    def accept(self, quote: Json, seen: str | None = None, **more: str) -> Any:
        word = {"who": "Ann Other", "how": "in_person", "hash": quote["hash"], **more}
        tag = seen or quote.etag
        return self.post(f"/v1/quotes/{quote['number']}/acceptance", word, tag)

    def withdraw(self, quote: Json) -> Any:
        return self.post(f"/v1/quotes/{quote['number']}/withdrawal", None, quote.etag)

    def buy(self, body: Any) -> Any:
        return self.post("/v1/purchases", body)

    def receive(self, **body: Any) -> Any:
        return self.post("/v1/lots", body)

    def instruct(self, lot: str, **wishes: Json) -> Any:
        return self.post(f"/v1/lots/{lot}/instructions", {"instructions": wishes})

    # at the bench

    def melt(self, lot: str, weight: str, **more: Any) -> Any:
        return self.post(f"/v1/lots/{lot}/melt", {"weight": grams(weight), **more})

    def assay(self, lot: str, ppt: Mapping[str, str], **more: Any) -> Any:
        found = {metal: {"fineness": f, "u": "0.3"} for metal, f in ppt.items()}
        said = {"party": "house", "method": "fire_assay", "finenesses": found}
        return self.post(f"/v1/lots/{lot}/assays", {**said, **more})

    def batch(self, *lots: str) -> Any:
        return self.post("/v1/batches", {"lots": list(lots)})

    def lend(self, batch: str, weight: str, **more: Any) -> Any:
        return self.post(f"/v1/batches/{batch}/silver-loans", {"weight": grams(weight), **more})

    def take_out(self, batch: str, metal: str, weight: str, fineness: str, u: str = "0", **more: Any) -> Any:
        assay = {"fineness": fineness, "u": u, **BY_DIFFERENCE}
        out = {"metal": metal, "weight": grams(weight), "assay": assay}
        return self.post(f"/v1/batches/{batch}/outturns", {**out, **more})

    def pour(self, lot: str, reading: str, **more: Any) -> Any:
        return self.post("/v1/bars", {"lot": lot, "metal": "gold", "reading": grams(reading), **more})

    # the accounts

    def reconcile(self, batch: str, seen: str | None = None, **body: Any) -> Any:
        path = f"/v1/batches/{batch}/reconciliation"
        tag = seen or self.ask("GET", path).headers["ETag"]
        return self.post(path, body, tag)

    def draft(self, lot: str, **more: Any) -> Any:
        return self.post("/v1/settlements", {"lot": lot, **more})

    def settle(self, draft: str, seen: str | None = None) -> Any:
        tag = seen or self.ask("GET", f"/v1/settlements/{draft}").headers["ETag"]
        return self.post(f"/v1/settlements/{draft}/posting", None, tag)

    # looking

    def entry(self, of: str, kind: str) -> str:
        """The id of the last entry of a kind about a lot or a batch."""
        where = "lots" if of.startswith("L-") else "batches"
        entries = self.ask("GET", f"/v1/{where}/{of}").json["entries"]
        return [e["id"] for e in entries if e["kind"] == kind][-1]

    def pages(self, path: str) -> Iterator[list[Json]]:
        """Each page of a list, by its links, to the end; a link that leads back is a fault."""
        at: str | None = path
        been: set[str] = set()
        while at is not None:
            assert at not in been, f"{at} leads back to itself"
            been.add(at)
            response = self.ask("GET", at)
            assert response.status_code == 200, (at, response.json)
            yield response.json["items"]
            link = response.headers.get("Link")
            assert link is None or link.endswith('; rel="next"'), link
            at = None if link is None else link.split(">")[0].removeprefix("<")

    def listed(self, path: str) -> list[Json]:
        return [row for page in self.pages(path) for row in page]

    def balances(self) -> dict[tuple[str, str], int]:
        """Every account that isn't at zero, by account and commodity; each entry balances by itself."""
        totals: Counter[tuple[str, str]] = Counter()
        for entry in self.listed("/v1/journal"):
            loose: Counter[str] = Counter()
            for line in entry["lines"]:
                totals[line["account"], line["commodity"]] += line["amount"]
                loose[line["commodity"]] += line["amount"]
            assert entry["lines"], entry
            assert not any(loose.values()), entry
        return {of: amount for of, amount in totals.items() if amount}

    def balance(self, accounts: str, commodity: str) -> int:
        """The balance of an account, or of several together: `house:stock + house:bars`."""
        balances = self.balances()
        return sum(balances.get((account, commodity), 0) for account in accounts.split(" + "))


class RefusedTill(Till):
    """As a till, but every call must be refused, and nothing of it kept."""

    def call(self, method: str, path: str, body: Any = None, seen: str | None = None) -> Any:
        return self.sent(method, path, body, If_Match=seen)

    def sent(self, method: str, path: str, body: Any = None, **how: Any) -> Refusal:
        before = everything(self.file)
        response = self.ask(method, path, body, **how)
        assert response.status_code >= 400, (method, path, response.json)
        assert response.content_type == "application/problem+json"
        assert everything(self.file) == before, "something of a refused request was kept"
        said = response.json
        assert said["status"] == response.status_code
        return Refusal(response.status_code, said["type"].removeprefix("/problems/"), said)
