"""The dealings of an invented shop from January to March 2026, each kept as it was answered.

Three clients, terms with a charge under every class of tax; Ann is settled in money, Ben leaves his metal
on account and owes his charges, Cara buys bars. Each month is locked at the beginning of the next.
"""

import sys
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1] / "flows"))

from desk import Desk, grams, money
from ledger_house import House
from stages import Clock, gold_only, scrap

Json = dict[str, Any]
ANN, BEN, CARA = "C-1", "C-2", "C-3"
YES = {"who": "the client", "how": "in_person"}
# Ben owes his charges, and gets what is his all the same.
PAYS: Json = {"override": {"reason": "he is known to us"}}
TAXES = {
    "standard": {"rate": "0.20", "class": "standard"},
    "reduced": {"rate": "0.05", "class": "reduced"},
    "zero": {"rate": "0", "class": "zero"},
    "exempt": {"rate": "0", "class": "exempt"},
    "reverse": {"rate": "0.20", "class": "reverse_charge"},
}
CHARGES = [
    {"name": "treatment", "base": "lot", "rate": "35.00", "tax": "standard"},
    {"name": "melting", "base": "melt_weight", "per": "g", "rate": "0.37", "tax": "standard"},
    {"name": "booklet", "base": "article", "rate": "1.35", "tax": "reduced"},
    {"name": "carriage", "base": "lot", "rate": "6.20", "tax": "zero"},
    {"name": "assurance", "base": "value", "rate": "0.013", "tax": "exempt"},
    {"name": "foreign assay", "base": "lot", "rate": "12.50", "tax": "reverse"},
]
GOLD = {
    "settle_on": "assay", "accountable": "0.98", "payout_rate": "0.97", "top_up_rate": "1.03",
    "top_up_tax": "standard",
}  # fmt: skip
SILVER = {"settle_on": "assay", "accountable": "0.95", "payout_rate": "0.90"}
COMMON = {
    "charges": CHARGES,
    "taxes": TAXES,
    "cash_step": "0.05",
    "advance_share": "0.5",
    "price_max_age": "P40D",
}
REFINES = gold_only(**COMMON, metals={"gold": GOLD, "silver": SILVER}, price_time="settlement", public=True)
BOUGHT_GOLD = {"settle_on": "counter", "accountable": "0.96", "payout_rate": "0.95"}
BUYS = gold_only(**COMMON, name="counter", metals={"gold": BOUGHT_GOLD})
MONTHS = ("2026-01", "2026-02", "2026-03")


@dataclass
class Kept:
    """One answer: what it is of, when, and what it says."""

    kind: str
    at: datetime
    said: Json


@dataclass
class Quarter:
    """The desk, its clock, every answer that tells of a dealing, what was seen as each month was locked."""

    house: House
    look: Callable[["Quarter", str], Any]
    kept: list[Kept] = field(default_factory=list)
    seen_at_lock: dict[str, Any] = field(default_factory=dict)
    # What is come back to in a later month.
    named: dict[str, Any] = field(default_factory=dict)

    @property
    def desk(self) -> Desk:
        return Desk(self.house.till.app, self.house.books, self.house.file, self.house.keys["owner"])

    @property
    def clock(self) -> Clock:
        return self.house.clock

    def on(self, month: int, day: int, hour: int = 10, minute: int = 0) -> None:
        """A moment in UTC; London is an hour ahead from 29 March on."""
        self.clock.now = datetime(2026, month, day, hour, minute, tzinfo=UTC)

    def keep(self, kind: str, said: Json) -> Json:
        self.kept.append(Kept(kind, self.clock.now, said))
        return said

    # dealings, kept as they are answered

    def buy(self, client: str, weight: str, paid_in: str) -> Json:
        body = {"client": client, "terms": "T-2", "items": [scrap(weight)], "paid_in": paid_in}
        return self.keep("purchase", self.desk.buy(body))

    def lot(self, client: str, weight: str, wishes: dict[str, str], silver: str = "90") -> str:
        of = {metal: {"remainder": wish} for metal, wish in wishes.items()}
        body = {"client": client, "terms": "T-1", "items": [scrap(weight)], "acceptance": YES}
        number = str(self.desk.receive(**body, instructions=of)["number"])
        self.desk.melt(number, weight)
        self.desk.assay(number, {"gold": "503.7", "silver": silver})
        return number

    def settle(self, lot: str, **more: Any) -> Json:
        return self.keep("settlement", self.desk.settle(self.desk.draft(lot, **more)["id"]))

    def pay(self, settlement: Json, amount: str, paid_in: str = "transfer") -> Json:
        """Cash is paid in coins of 0.05."""
        if paid_in == "cash":
            amount = f"{round(Decimal(amount) * 20) / Decimal(20):.2f}"
        return self.keep("payment", self.desk.pay(settlement["number"], amount, paid_in))

    def reverse(self, path: str) -> Json:
        """Reverse a settlement, purchase or bar sale; its credit note is kept."""
        note = self.desk.reverse(path)["reversal"]["credit_note"]
        return self.keep("credit note", self.desk.get(f"/v1/credit-notes/{note}"))

    def count_till(self, counted: str, reason: str | None) -> Json:
        body: Json = {"counted": money(counted)}
        if reason is not None:
            body |= {"book": True, "reason": reason}
        return self.keep("cash count", self.desk.post("/v1/cash-counts", body))

    def lock(self, month: str) -> None:
        self.desk.post(f"/v1/periods/{month}/lock")
        self.seen_at_lock[month] = self.look(self, month)


def lived(quarter: Quarter) -> Quarter:
    """The quarter and the first days after it."""
    _january(quarter)
    _february(quarter)
    _march(quarter)
    _april(quarter)
    return quarter


def _january(q: Quarter) -> None:
    desk = q.desk
    q.on(1, 5)
    desk.terms(REFINES)
    desk.terms(BUYS)
    desk.prices(gold="61.20", silver="0.83")
    desk.scale("counter", "0.01", min=grams("0.5"), max=grams("2000"))
    for name in ("Ann Other", "Ben Other", "Cara Other"):
        desk.client(name)
    desk.stock("silver", "800", "999")
    desk.stock("gold", "60", "999.9")
    q.count_till("2500.00", "the float")
    q.on(1, 6)
    q.named["first_purchase"] = q.buy(ANN, "10.40", "cash")
    q.on(1, 7)
    ann = q.lot(ANN, "41.30", {"gold": "pay_out", "silver": "metal_account"})
    q.keep("payment", desk.advance(ann, "150.00", "cash"))
    q.on(1, 12)
    settled = q.settle(ann)
    q.pay(settled, "400.00")
    q.on(1, 13)
    ben = q.lot(BEN, "57.15", {"gold": "metal_account", "silver": "metal_account"})
    q.named["bens"] = q.settle(ben)
    assert q.named["bens"]["net"]["amount"].startswith("-"), "his charges are more than he is paid"
    q.pay(q.named["bens"], "10.00", "cash")
    q.on(1, 20)
    q.buy(BEN, "3.33", "transfer")
    q.on(1, 27)
    # Settled on an assay that turns out wrong, and not paid.
    q.named["caras_lot"] = q.lot(CARA, "22.22", {"gold": "pay_out", "silver": "pay_out"})
    q.named["caras"] = q.settle(q.named["caras_lot"])
    q.on(1, 31, 17)
    q.named["anns"] = settled
    books = desk.get("/v1/position")["money"]["GBP"]["till"]["amount"]
    q.count_till(_more(books, "-1.35"), "a coin that rolled away")


def _more(amount: str, by: str) -> str:
    return str(Decimal(amount) + Decimal(by))


def _february(q: Quarter) -> None:
    desk = q.desk
    q.on(2, 2)
    q.lock("2026-01")
    desk.prices(gold="63.05", silver="0.86")
    q.on(2, 3)
    # Of January: one credit note for a purchase, one for a settlement.
    q.reverse(f"purchases/{q.named['first_purchase']['number']}")
    q.reverse(f"settlements/{q.named['caras']['number']}")
    entry = desk.entry(q.named["caras_lot"], "assay")
    desk.assay(q.named["caras_lot"], {"gold": "498.2", "silver": "92"}, corrects=entry, reason="a slip")
    again = q.settle(q.named["caras_lot"])
    q.pay(again, again["net"]["amount"])
    q.on(2, 4)
    rest = desk.get(f"/v1/settlements/{q.named['anns']['id']}")["open"]["amount"]
    q.pay(q.named["anns"], rest, "cash")
    q.on(2, 9)
    q.keep("metal sale", desk.sell_metal(BEN, "gold", weight=grams("7.5"), paid_in="cash", **PAYS))
    q.on(2, 12)
    q.keep("bar bought", desk.buy_bar("31.1", cost=money("1900.00"), paid_in="transfer"))
    q.keep("bar sale", desk.sell_bar("BAR-2026-0001", client=CARA))
    poured = desk.pour_bar("10.02")["serial"]
    q.keep("metal bar", desk.take_bar(BEN, poured, **PAYS))
    second = desk.pour_bar("10.03")["serial"]
    q.named["bar_sale"] = q.keep("bar sale", desk.sell_bar(second, client=ANN, paid_in="cash"))
    q.on(2, 16)
    silver = {"metal": "silver", "weight": grams("200"), "fineness": "925"}
    body = {"kind": "bought", "metals": [silver], "cost": money("141.07")}
    q.keep("stock bought", desk.post("/v1/stock", body))
    q.on(2, 24)
    late = q.lot(ANN, "18.80", {"gold": "pay_out", "silver": "pay_out"})
    q.named["februarys"] = q.settle(late)
    q.named["februarys_lot"] = late
    q.named["part"] = q.pay(q.named["februarys"], "120.00")
    # The gold of one lot now, its silver by a further settlement in March.
    q.named["in_two"] = q.lot(CARA, "26.35", {"gold": "pay_out", "silver": "pay_out"})
    q.settle(q.named["in_two"], metals=["gold"])
    q.on(2, 27)
    books = desk.get("/v1/position")["money"]["GBP"]["till"]["amount"]
    q.count_till(_more(books, "0.40"), "found behind the till")


def _march(q: Quarter) -> None:
    desk = q.desk
    q.on(3, 2)
    q.lock("2026-02")
    desk.prices(gold="64.40", silver="0.81")
    q.on(3, 3)
    # The part that was paid in February came back; its settlement is credited and made anew.
    settlement = q.named["februarys"]["number"]
    q.keep("payment back", desk.unpay(settlement, q.named["part"]["id"]))
    q.reverse(f"settlements/{settlement}")
    again = q.settle(q.named["februarys_lot"])
    q.pay(again, again["net"]["amount"], "cash")
    assert q.settle(q.named["in_two"])["further_to"] is not None
    q.on(3, 10)
    owed = desk.get(f"/v1/settlements/{q.named['bens']['id']}")["open"]["amount"].removeprefix("-")
    q.pay(q.named["bens"], owed)
    q.on(3, 11)
    lot = q.lot(BEN, "33.00", {"gold": "metal_account", "silver": "pay_out"}, silver="240")
    q.keep("payment", desk.advance(lot, "5.00", "cash"))
    q.settle(lot)
    q.on(3, 17)
    q.buy(CARA, "12.75", "transfer")
    q.keep("metal sale", desk.sell_metal(ANN, "silver", paid_in="transfer"))
    q.on(3, 24)
    slip = desk.sell_metal(BEN, "silver", weight=grams("1"), paid_in="transfer", **PAYS)
    wrong = q.keep("metal sale", slip)
    desk.reverse(f"clients/{BEN}/metal-sales/{wrong['id']}")
    q.keep("metal sale back", wrong)
    q.reverse(f"bars/{q.named['bar_sale']['bar']}/sale")
    # 23:30 in London on the last day of the quarter, and half an hour past its end.
    q.on(3, 31, 22, 30)
    books = desk.get("/v1/position")["money"]["GBP"]["till"]["amount"]
    q.count_till(_more(books, "-0.05"), None)
    q.count_till(_more(books, "-0.05"), "a miscounted roll")
    q.buy(ANN, "2.80", "cash")
    q.on(3, 31, 23, 30)
    q.buy(ANN, "9.99", "cash")


def _april(q: Quarter) -> None:
    q.on(4, 2)
    q.lock("2026-03")
    q.desk.prices(gold="60.00", silver="0.80")
    # What is put right after the quarter falls after it.
    q.reverse(f"purchases/{q.kept[-1].said['number']}")
    q.settle(q.lot(CARA, "15", {"gold": "metal_account", "silver": "metal_account"}))
