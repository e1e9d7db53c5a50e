"""A simulated shop over the real use cases: days of clients, batches, late silver, slips and their mending.

What is entered is drawn from the truth; `settle.books` does the rest. Each evening the books are checked.
"""

import random
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any

from sqlalchemy import select

from settle.books import (
    bars,
    batches,
    chain,
    clients,
    lots,
    melts,
    payments,
    prices,
    quotes,
    reconciliations,
    recoveries,
    reversals,
    scales,
    settlements,
    stock,
    terms,
)
from settle.books.check import all_faults
from settle.books.work import THE_COMMAND, Work, open_books
from settle.reckoning.problems import Faults, Refused
from tests.simulation import truth
from tests.simulation.truth import Lot, Market, World, weight

START = datetime(2026, 1, 5, 9, tzinfo=UTC)
SLIP = 0.06
LATE = 0.4
TOO_LATE = 0.12
BAR_G = 5.0


@dataclass
class Clock:
    now: datetime = START

    def __call__(self) -> datetime:
        return self.now

    def pass_minutes(self, minutes: float) -> None:
        self.now += timedelta(minutes=minutes)

    def next_morning(self) -> None:
        self.now = self.now.replace(hour=9, minute=0, second=0, microsecond=0) + timedelta(days=1)


@dataclass
class Batch:
    """What is in a batch, and its silver that has not come back yet."""

    number: str
    lots: dict[str, Lot]
    lent_g: float = 0.0

    def true_g(self, metal: str) -> float:
        lent_g = self.lent_g if metal == "silver" else 0.0
        return lent_g + sum(lot.fine_g(metal) for lot in self.lots.values())


@dataclass
class Shop:
    """One simulated house. `anew` draws what kinds have in common anew for each lot: each its own shop."""

    url: str
    world: World
    terms_json: dict[str, Any]
    seed: int
    lots_a_day: float = 1.0
    anew: bool = False
    clock: Clock = field(default_factory=Clock)
    counts: Counter[str] = field(default_factory=Counter)
    # Every lot that came, and those that wait for a batch.
    brought: dict[str, Lot] = field(default_factory=dict)
    waiting: dict[str, Lot] = field(default_factory=dict)
    baths: list[Batch] = field(default_factory=list)
    gold_price: float = 61.2
    last_link: str | None = None

    def __post_init__(self) -> None:
        self.rng = random.Random(self.seed)
        self.market = Market(self.world, self.rng)
        self.books = open_books(self.url, self.clock)
        self.do(terms.add, self.terms_json)
        for name in ("counter", "bench"):
            self.do(scales.add_scale, {"name": name, "division": weight(f"{self.world.division}")})
        opening = {"metal": "silver", "weight": weight("60000"), "fineness": "999"}
        self.do(stock.enter, {"kind": "opening", "metals": [opening]})

    def do(self, use_case: Callable[..., Any], *arguments: Any) -> Any:
        """One use case in a transaction of its own; it takes a few minutes."""
        self.clock.pass_minutes(self.rng.uniform(0.5, 3.0))
        with self.books.writing(THE_COMMAND) as work:
            return use_case(work, *arguments, Faults())

    def read(self, ask: Callable[[Work], Any]) -> Any:
        with self.books.reading(THE_COMMAND) as work:
            return ask(work)

    def day(self, *, check: bool = True) -> list[str]:
        """One day; what `check` finds in its evening (books that stood still are not checked again)."""
        self.clock.next_morning()
        for _ in range(self._clients_today()):
            self.client()
        if self.waiting and (len(self.waiting) > 2 or self.rng.random() < 0.7):
            self.batch()
        if len(self.baths) > 3 or (self.baths and self.rng.random() < 0.05):
            self.late_silver()
        self.counts["days"] += 1
        return self.evening() if check else []

    def _clients_today(self) -> int:
        whole, part = divmod(self.lots_a_day, 1.0)
        return int(whole) + (self.rng.random() < part)

    def evening(self) -> list[str]:
        link = self.read(_last_link)
        if link == self.last_link:
            return []
        self.last_link = link
        self.counts["evenings checked"] += 1
        faults: list[str] = self.read(all_faults)
        return faults

    # a client ---------------------------------------------------------------------------------

    def client(self) -> None:
        """A client comes, is quoted, and mostly says yes; the lot is taken in, melted, assayed."""
        if self.anew:
            self.market.new_shop()
        lot = self.market.lot()
        self._prices()
        quote = self.do(quotes.issue, self._asked(lot))
        self.counts["quotes"] += 1
        if self.rng.random() < 0.05:
            self.do(lambda work, number, _: quotes.withdraw(work, number), quote["number"])
            self.counts["withdrawn"] += 1
            return
        word = {"who": "a client", "how": "in_person", "hash": quote["hash"]}
        self.do(quotes.accept, quote["number"], word)
        number = self.do(lots.receive, {"quote": quote["number"], "consents_to_share": True})["number"]
        found = truth.assay(self.world, self.rng, lot)
        melt = {"weight": weight(found.melt), "scale": "bench"}
        self._entered(melts.melt, number, melt, melt | {"weight": weight(self._slip(found.melt))})
        report = {"party": "house", "method": "fire_assay", "finenesses": self._report(found.ppt)}
        slipped = {"finenesses": self._report({m: self._slip(p) for m, p in found.ppt.items()})}
        self._entered(melts.assay, number, report, report | slipped)
        self.waiting[number] = self.brought[number] = lot
        self.counts["lots"] += 1

    def _prices(self) -> None:
        self.gold_price *= 1.0 + self.rng.gauss(0.0, 0.004)
        figures = {"gold": f"{self.gold_price:.2f}", "silver": f"{self.gold_price / 80:.3f}"}
        entered = {m: {"amount": p, "currency": "GBP", "per": "g"} for m, p in figures.items()}
        self.do(prices.enter, {"prices": entered})

    def _asked(self, lot: Lot) -> dict[str, Any]:
        who = self.do(clients.add, {"name": f"Client {self.counts['quotes']}"})["id"]
        gold: dict[str, Any] = {"remainder": "pay_out"}
        if lot.fine_g("gold") > 3 * BAR_G and self.rng.random() < 0.4:
            gold["bars"] = [{"nominal": weight(f"{BAR_G}"), "fineness": "999", "count": 1}]
        silver = {"remainder": self.rng.choice(("pay_out", "metal_account"))}
        items = [{**item, "scale": "counter"} for item in lot.entered]
        return {"client": who, "items": items, "instructions": {"gold": gold, "silver": silver}}

    def _report(self, ppt: Any) -> dict[str, Any]:
        return {metal: {"fineness": of, "u": f"{self.world.assay_u}"} for metal, of in ppt.items()}

    def _slip(self, text: str) -> str:
        """Two neighbouring digits the wrong way round, or one digit more than there is."""
        digits = [i for i, c in enumerate(text[:-1]) if c.isdigit() and text[i + 1].isdigit()]
        i = self.rng.choice(digits) if digits else 0
        swapped = text[:i] + text[i + 1] + text[i] + text[i + 2 :]
        return swapped if swapped != text and not swapped.startswith("0") else text.replace("9", "8") or text

    def _entered(self, use_case: Callable[..., Any], subject: str, body: Any, slipped: Any) -> Any:
        """Entered right, or first with a slip that is mended."""
        if self.rng.random() >= SLIP:
            return self.do(use_case, subject, body)
        try:
            wrong = self.do(use_case, subject, slipped)
        except Refused:
            self.counts["slips refused"] += 1
            return self.do(use_case, subject, body)
        self.counts["slips mended"] += 1
        return self.do(use_case, subject, {**body, "corrects": wrong["entry"], "reason": "a typing error"})

    # a batch ----------------------------------------------------------------------------------

    def batch(self) -> None:
        """The waiting lots are refined together; their silver comes now, or weeks later."""
        batch = Batch("", dict(self.waiting))
        self.waiting.clear()
        made = self.do(batches.make, {"lots": list(batch.lots)})
        batch.number = made["number"]
        self.counts["batches"] += 1
        needed = float(made["parting_silver_needed"]["g"])
        if needed > 0:
            batch.lent_g = self._lend(batch.number, needed * self.rng.uniform(1.0, 1.1))
        self._take_out(batches.take_out, batch.number, "gold", batch.true_g("gold"))
        if self.rng.random() < LATE:
            self._reconcile(batch.number)
            self.baths.append(batch)
        else:
            self._take_out(batches.take_out, batch.number, "silver", batch.true_g("silver"))
            self._reconcile(batch.number)
        if self.rng.random() < TOO_LATE and batch not in self.baths:
            self._found_wrong_too_late(batch)
        for lot in batch.lots:
            self._settle(lot)

    def _lend(self, batch: str, grams: float) -> float:
        text = truth.read(grams, self.world.division)
        loan = {"weight": weight(text), "scale": "bench"}
        self._entered(batches.lend, batch, loan, loan | {"weight": weight(self._slip(text))})
        return grams * 0.999

    def _take_out(self, use_case: Callable[..., Any], subject: str, metal: str, true_g: float) -> None:
        recovery = self.world.gold_recovery if metal == "gold" else self.world.silver_recovery
        ppt, u = (999.9, 0.05) if metal == "gold" else (998.0, 0.5)
        came = true_g * truth.recovered(self.rng, recovery)
        fineness = min(ppt + self.rng.gauss(0.0, u), 1000.0)
        text = truth.read(came / fineness * 1000.0, self.world.division)
        out = {"metal": metal, "weight": weight(text), "scale": "bench"}
        out["assay"] = {"method": "fire_assay", "fineness": f"{ppt}", "u": f"{u}"}
        self._entered(use_case, subject, out, out | {"weight": weight(self._slip(text))})

    def _reconcile(self, subject: str) -> None:
        seen = self.read(lambda work: reconciliations.preview(work, subject))
        queried = [m for m, of in seen["metals"].items() if of.get("verdict") == "query"]
        self.counts["queries"] += len(queried)
        word = {"override": {"reason": "looked at, and nothing found"}} if queried else {}
        self.do(reconciliations.post, subject, word)

    def _found_wrong_too_late(self, batch: Batch) -> None:
        """A slip that is found after the account was posted: reversed, mended, done again."""
        lot = next(iter(batch.lots))
        self.do(reversals.reconciliation, batch.number, {"reason": "the assay was mistyped"})
        shown = self.read(lambda work: lots.shown(work, lot))
        old = [e for e in shown["entries"] if e["kind"] == "assay"][-1]
        again = {**old["data"], "corrects": old["id"], "reason": "read again"}
        self.do(melts.assay, lot, again)
        self._reconcile(batch.number)
        self.counts["reversed and done again"] += 1

    def late_silver(self) -> None:
        """The baths of some batches are won back together; their lots have a further settlement."""
        of, self.baths = self.baths, []
        made = self.do(recoveries.make, {"batches": [b.number for b in of]})
        self._take_out(recoveries.take_out, made["number"], "silver", sum(b.true_g("silver") for b in of))
        self._reconcile(made["number"])
        self.counts["late silver"] += 1
        for batch in of:
            for lot in batch.lots:
                self._settle(lot)

    # a settlement -----------------------------------------------------------------------------

    def _settle(self, lot: str) -> None:
        self._pour(lot)
        draft = self.do(settlements.draft, {"lot": lot})
        posted = self.do(settlements.post, draft["id"], {})
        self.counts["settlements"] += 1
        if draft["further_to"] is None and "gold" in posted["inside_band"]:
            self.counts["gold quoted"] += 1
            self.counts["gold inside"] += posted["inside_band"]["gold"]
        due = posted["open"]["amount"]
        if float(due) and self.rng.random() < 0.9:
            amount = {"amount": due.removeprefix("-"), "currency": "GBP"}
            self.do(payments.pay, posted["number"], {"amount": amount, "paid_in": "transfer"})

    def _pour(self, lot: str) -> None:
        shown = self.read(lambda work: lots.shown(work, lot))
        poured = self.read(lambda work: bars.of_lot(work, lot))
        if shown["instructions"]["gold"].get("bars") and not poured:
            reading = truth.read(BAR_G + self.rng.uniform(0.01, 0.04), self.world.division)
            bar = {"lot": lot, "metal": "gold", "line": 0, "reading": weight(reading), "scale": "bench"}
            self.do(bars.enter, bar)
            self.counts["bars"] += 1


def _last_link(work: Work) -> str | None:
    of = chain.chain.c
    link: str | None = work.connection.execute(select(of.link).order_by(of.n.desc()).limit(1)).scalar()
    return link
