"""A desk with the verbs of refining together, in a shop whose terms many lots share."""

from collections.abc import Mapping, Sequence
from copy import deepcopy
from dataclasses import dataclass
from typing import Any

from desk import Desk, Verbs, money
from till import BY_FIRE, Json, RefusedTill, grams

YES = {"who": "the client", "how": "in_person"}
ALL = {"gold": {"remainder": "pay_out"}, "silver": {"remainder": "metal_account"}}
STANDARD = {"rate": "0.20", "class": "standard"}

# Sure evidence, two metals, one charge a lot and one by value, tax, cash in steps.
TERMS: Json = {
    "name": "together",
    "public": True,
    "currency": "GBP",
    "division": grams("0.01"),
    "evidence": {"sure": {"method": "fire_assay"}},
    "metals": {
        "gold": {
            "settle_on": "outturn",
            "recovery": "0.995",
            "recovery_u": "0.002",
            "accountable": "0.99",
            "payout_rate": "0.98",
            "balance": "0.005",
        },
        "silver": {
            "settle_on": "outturn",
            "recovery": "0.98",
            "recovery_u": "0.01",
            "accountable": "0.95",
            "payout_rate": "0.90",
            "balance": "0.02",
        },
    },
    "silver_rule": "house_first",
    "charges": [
        {"name": "treatment", "base": "lot", "rate": "20.00", "tax": "standard"},
        {"name": "assurance", "base": "value", "rate": "0.02", "tax": "standard"},
    ],
    "taxes": {"standard": STANDARD},
    "cash_step": "0.05",
    "price_time": "settlement",
    "price_max_age": "P60D",
}


def terms(gold: Json | None = None, silver: Json | None = None, **changes: Any) -> Json:
    """The terms, some of them changed; not those that serve where none are named."""
    made = deepcopy(TERMS) | {"public": False, "name": "apart"} | changes
    for metal, of in (("gold", gold), ("silver", silver)):
        made["metals"][metal] |= of or {}
    return made


def mg(of: Mapping[str, str]) -> int:
    """Whole milligrams of a weight in an answer."""
    whole, _, parts = of["g"].partition(".")
    return int(f"{whole}{parts:0<3}")


class WorksVerbs(Verbs):
    """What the works ask of the API."""

    def lot(self, melt: str, gold: str, silver: str, consents: bool = True, **more: Any) -> str:
        """A lot taken in, melted and assayed: a client's with a yes, or the house's own."""
        said: Json = {"items": [self.item(melt)], "consents_to_share": consents, **more}
        if "house" not in more:
            said = {"client": "C-1", "acceptance": YES, "instructions": ALL, **said}
        name = self.receive(**said)["number"]
        self.melt(name, melt)
        self.assay(name, {"gold": gold, "silver": silver})
        return str(name)

    @staticmethod
    def item(gross: str, **more: Any) -> Json:
        return {"evidence": "sure", "fineness": "500", "gross": grams(gross), **more}

    def silver_out(self, recovery: str, weight: str, fineness: str = "1000", **more: Any) -> Any:
        body = {"weight": grams(weight), "assay": {"fineness": fineness, **BY_FIRE}, **more}
        return self.post(f"/v1/silver-recoveries/{recovery}/outturns", body)

    def hold(self, subject: str, metal: str, estimate: str, **more: Any) -> Any:
        body = {"metal": metal, "estimate": grams(estimate), "where": "the filters", **more}
        return self.post(f"/v1/{_place(subject)}/held", body)

    def write_off(self, subject: str, held: str, reason: str = "burnt, and nothing in it") -> Any:
        return self.post(f"/v1/{_place(subject)}/held/{held}/write-off", {"reason": reason})

    def come_back(self, subject: str, held: str, metal: str, weight: str, **more: Any) -> Any:
        body = {
            "metal": metal,
            "weight": grams(weight),
            "assay": {"fineness": "1000", **BY_FIRE},
            "held": held,
        }
        return self.post(f"/v1/{_place(subject)}/outturns", {**body, **more})

    def bath(self, *batches: str) -> Any:
        return self.post("/v1/silver-recoveries", {"batches": list(batches)})

    def account(self, subject: str) -> Any:
        return self.get(f"/v1/{_place(subject)}/reconciliation")

    def close(self, subject: str, seen: str | None = None, **body: Any) -> Any:
        """Post the account of a batch or recovery, as it was seen."""
        path = f"/v1/{_place(subject)}/reconciliation"
        tag = seen or self.ask("GET", path).headers["ETag"]
        return self.post(path, body, tag)

    def settled(self, lot: str, **more: Any) -> Any:
        return self.settle(self.draft(lot, **more)["id"])

    def credits(self, rows: Sequence[Json]) -> Any:
        return self.post("/v1/silver-credits/comparison", {"credits": list(rows)})


def _place(subject: str) -> str:
    return f"{'silver-recoveries' if subject.startswith('R-') else 'batches'}/{subject}"


class RefusedWorks(WorksVerbs, RefusedTill):
    """Every call must be refused, and nothing of it kept."""

    call = RefusedTill.call


class Works(WorksVerbs, Desk):
    """The owner's key at one app over the books in one file."""

    @property
    def refused(self) -> RefusedWorks:  # type: ignore[override]
        return RefusedWorks(self.app, self.books, self.file, self.secret)


@dataclass(frozen=True)
class Batch:
    """A batch with its lots, as driven."""

    number: str
    lots: tuple[str, ...]


def batch(works: Works, lots: Sequence[tuple[str, str, str]], loan: str, gold_out: str) -> Batch:
    """A batch of lots (melt, gold, silver), the house silver lent to it, its gold weighed out."""
    names = tuple(works.lot(*of) for of in lots)
    number = works.batch(*names)["number"]
    works.lend(number, loan, fineness="1000")
    works.take_out(number, "gold", gold_out, "1000")
    return Batch(number, names)


def accounted(works: Works, account: Json) -> None:
    """H7 from the document, and the pot is empty in the journal."""
    shares = sum(mg(of) for of in account["credited"].values()) + mg(account["house_share"])
    assert shares == mg(account["out"]) + mg(account["held"])
    for of in account["batches"]:
        for place in ("process", "lent"):
            assert works.balance(f"house:{place}:{of}", account["metal"]) == 0


__all__ = ["ALL", "YES", "Batch", "Works", "accounted", "batch", "grams", "mg", "money", "terms"]
