"""A till with the verbs of what follows a settlement, or goes without one."""

from typing import Any

from stages import BATCH, LOT, D
from till import BY_DIFFERENCE, Json, RefusedTill, Till, grams, pounds


def money(amount: str, currency: str = "GBP") -> Json:
    return {"amount": amount, "currency": currency}


class Verbs(Till):
    """What the desk asks of the API."""

    def pay(self, settlement: str, amount: str, paid_in: str = "transfer", **more: Any) -> Any:
        body = {"amount": money(amount), "paid_in": paid_in, **more}
        return self.post(f"/v1/settlements/{settlement}/payments", body)

    def unpay(self, settlement: str, payment: str, reason: str = "a slip") -> Any:
        return self.post(f"/v1/settlements/{settlement}/payments/{payment}/reversal", {"reason": reason})

    def advance(self, lot: str, amount: str, paid_in: str = "cash") -> Any:
        return self.post(f"/v1/lots/{lot}/advances", {"amount": money(amount), "paid_in": paid_in})

    def take_advance_back(self, lot: str, payment: str) -> Any:
        return self.post(f"/v1/lots/{lot}/advances/{payment}/reversal", {"reason": "given back"})

    def revise(self, quote: Json, **body: Any) -> Any:
        return self.post(f"/v1/quotes/{quote['number']}/revisions", body, quote.etag)

    def concede(self, quote: Json, **body: Any) -> Any:
        said = {"reason": "an old client", "who": "Olive Owner", **body}
        return self.post(f"/v1/quotes/{quote['number']}/concessions", said, quote.etag)

    def reverse(self, path: str, reason: str = "the assay was wrong", **more: Any) -> Any:
        return self.post(f"/v1/{path}/reversal", {"reason": reason, **more})

    def freeze(self, lot: str) -> Any:
        order = {"by": "the court", "reason": "stolen goods", "reference": "77/26"}
        return self.post(f"/v1/lots/{lot}/freeze", order)

    def release(self, lot: str) -> Any:
        return self.post(f"/v1/lots/{lot}/release", {"reason": "the order was lifted"})

    def give_back(self, lot: str, **more: Any) -> Any:
        return self.post(f"/v1/lots/{lot}/return", {"who": "Ann Other", **more})

    def hand_over(self, serial: str, reading: str, **more: Any) -> Any:
        body = {"who": "Ann Other", "reading": grams(reading), "scale": "counter", **more}
        return self.post(f"/v1/bars/{serial}/handover", body)

    def withdraw_bar(self, serial: str, **more: Any) -> Any:
        return self.post(f"/v1/bars/{serial}/withdrawal", {"reason": "a crack", **more})

    def buy_bar(self, weight: str = "31.1", **more: Any) -> Any:
        body = {
            "kind": "bought", "metal": "gold", "weight": grams(weight), "fineness": "999.9",
            "mark": "a maker 1234", "cost": money("1900.00"), "paid_in": "transfer",
        }  # fmt: skip
        return self.post("/v1/stock/bars", {**body, **more})

    def pour_bar(self, reading: str, **more: Any) -> Any:
        body = {
            "kind": "poured", "metal": "gold", "nominal": grams("10"), "fineness": "999.9",
            "reading": grams(reading), "scale": "counter",
            "assay": {"fineness": "999.97", "u": "0.02", **BY_DIFFERENCE},
        }  # fmt: skip
        return self.post("/v1/stock/bars", {**body, **more})

    def refine(self, **wishes: Json) -> None:
        """The road from the batch to a posted settlement, with the wishes changed."""
        self.instruct(LOT, **wishes)
        self.lend(BATCH, D["silver_lent"]["weight"]["amount"], scale="counter")
        self.take_out(BATCH, "gold", "57.71", "999.97", "0.02")
        self.take_out(BATCH, "silver", "125.43", "998")
        for bar in D["bars"]:
            self.pour(LOT, bar["reading"]["amount"])
        self.reconcile(BATCH)
        self.prices(**{m: p["amount"] for m, p in D["prices"].items()})
        self.settle(self.draft(LOT)["id"])

    def sell_bar(self, serial: str, **more: Any) -> Any:
        return self.post(f"/v1/bars/{serial}/sale", {"client": "C-1", "paid_in": "transfer", **more})

    def sell_metal(self, client: str, metal: str, **more: Any) -> Any:
        body = {"metal": metal, "paid_in": "transfer", **more}
        return self.post(f"/v1/clients/{client}/metal-sales", body)

    def take_bar(self, client: str, serial: str, **more: Any) -> Any:
        return self.post(f"/v1/clients/{client}/metal-bars", {"bar": serial, **more})


class RefusedDesk(Verbs, RefusedTill):
    """Every call must be refused, and nothing of it kept."""

    call = RefusedTill.call


class Desk(Verbs):
    """One access key at one app over the books in one file."""

    @property
    def refused(self) -> RefusedDesk:  # type: ignore[override]
        return RefusedDesk(self.app, self.books, self.file, self.secret)


__all__ = ["Desk", "grams", "money", "pounds"]
