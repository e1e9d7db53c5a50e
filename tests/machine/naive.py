"""What a shop holds and owes, by its papers alone: what came in, what went out, in plain sums.

Imports nothing of the product. A fact is a paper or an entry at the bench with what it moved; to
reverse it is to take it away. Metals are whole milligrams of fine metal, money whole minor units.
Places of the house are above zero for what is there, those of a client for what is owed to him.
"""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from fractions import Fraction
from typing import Any

from papers import Json, Moves, fine, mg, minor, of_final

METALS = ("gold", "silver")
PLACE_OF_MONEY = {"cash": "till", "transfer": "bank"}


@dataclass
class Terms:
    """One version of the terms, as far as states depend on it."""

    number: str
    family: str
    settle_on: Mapping[str, str]
    days_held: int = 0
    exchange: Fraction | None = None
    umpire: str = "middle"
    drillings: str = "returned"
    price_time: str = "settlement"
    void_if_moved: bool = False


@dataclass
class Quote:
    number: str
    client: str
    terms: Terms
    valid_until: datetime
    state: str = "issued"
    lot: str | None = None
    concessions: int = 0


@dataclass
class Lot:
    number: str
    client: str | None
    terms: Terms
    hold_until: datetime
    quote: str | None = None
    house: str | None = None
    accepted: bool = False
    consents: bool = False
    alone: bool = False
    frozen: bool = False
    returned: str | None = None
    batch: str | None = None
    melt_g: Fraction | None = None
    drillings_g: Fraction = Fraction(0)
    drillings_back: bool = False
    gross_g: Fraction = Fraction(0)
    entries: dict[str, str] = field(default_factory=dict)
    assays: dict[str, dict[str, Fraction]] = field(default_factory=dict)
    wishes: Json = field(default_factory=dict)
    # Numbers of the settlements that stand, oldest first.
    settled: list[str] = field(default_factory=list)
    advances: dict[str, int] = field(default_factory=dict)
    # What went back of a settled lot, oldest first: loose shot by metal, or nothing of it for drillings.
    shot_returns: dict[str, dict[str, int]] = field(default_factory=dict)
    # Rises with all that a draft of its settlement rests on.
    version: int = 0

    def agreed(self, metal: str) -> Fraction | None:
        """The fineness that governs (D3); none where house and client lie apart and wait."""
        house = self.assays["house"].get(metal, Fraction(0))
        client = self.assays.get("client", {}).get(metal)
        if client is None:
            return house
        if abs(house - client) <= (self.terms.exchange or 0):
            return (house + client) / 2
        umpire = self.assays.get("umpire", {}).get(metal)
        # The umpire's kept within the two, or the middle one of three: the same figure.
        return None if umpire is None else sorted((house, client, umpire))[1]

    def disputed(self, metal: str) -> bool:
        return "house" in self.assays and self.agreed(metal) is None

    def own(self, metal: str) -> int:
        if self.melt_g is None or "house" not in self.assays:
            return 0
        found = self.agreed(metal)
        ppt = self.assays["house"].get(metal, Fraction(0)) if found is None else found
        return fine(self.melt_g - self.drillings_g, ppt)


@dataclass
class Pot:
    """A batch, or a silver recovery: `batches` are then those whose baths are in it."""

    number: str
    lots: list[str] = field(default_factory=list)
    batches: list[str] = field(default_factory=list)
    recovery: str | None = None
    # Entry → metal and milligrams, and for an outturn the fineness that it was assayed at.
    loans: dict[str, dict[str, int]] = field(default_factory=dict)
    outs: dict[str, tuple[str, int, Fraction]] = field(default_factory=dict)
    held: dict[str, tuple[str, int]] = field(default_factory=dict)
    ended: set[str] = field(default_factory=set)
    # Metal → id of the account that closed it.
    closed: dict[str, str] = field(default_factory=dict)
    was_closed: bool = False
    pours: dict[str, Json] = field(default_factory=dict)


@dataclass
class Bar:
    serial: str
    metal: str
    fine_mg: int
    stated_mg: int
    entry: str
    reading: Fraction
    lot: str | None = None
    line: int = 0
    outturn: str | None = None
    client: str | None = None
    state: str = "poured"


@dataclass
class Settlement:
    number: str
    lot: str
    client: str
    metals: list[str]
    paper: Json
    # Payment → what it closed of the net, which in cash is not quite what passed (F4).
    payments: dict[str, int] = field(default_factory=dict)
    state: str = "posted"

    @property
    def open(self) -> int:
        return minor(self.paper["net"]) - sum(self.payments.values()) if self.state == "posted" else 0


@dataclass
class Model:
    """The shop by its papers."""

    facts: dict[str, Moves] = field(default_factory=dict)
    totals: Counter[tuple[str, str]] = field(default_factory=Counter)
    terms: dict[str, Terms] = field(default_factory=dict)
    clients: dict[str, bool] = field(default_factory=dict)
    quotes: dict[str, Quote] = field(default_factory=dict)
    lots: dict[str, Lot] = field(default_factory=dict)
    batches: dict[str, Pot] = field(default_factory=dict)
    recoveries: dict[str, Pot] = field(default_factory=dict)
    bars: dict[str, Bar] = field(default_factory=dict)
    # Draft → its lot, and what it rested on when it was made; gone once it is posted.
    drafts: dict[str, tuple[str, Any]] = field(default_factory=dict)
    # Drafts whose bars hold more, or state less, than the client is due (E4).
    not_as_due: set[str] = field(default_factory=set)
    settlements: dict[str, Settlement] = field(default_factory=dict)
    purchases: dict[str, Json] = field(default_factory=dict)
    # What a client sold of his account, took as a bar of it, and bars sold to clients: id → data.
    sales: dict[str, Json] = field(default_factory=dict)
    taken: dict[str, Json] = field(default_factory=dict)
    bar_sales: dict[str, Json] = field(default_factory=dict)
    priced_at: dict[str, datetime] = field(default_factory=dict)
    price_entries: int = 0
    locked: set[str] = field(default_factory=set)
    # Metals that the books were opened with: each once.
    opened: set[str] = field(default_factory=set)
    numbers: Counter[tuple[str, int]] = field(default_factory=Counter)

    def book(self, name: str, moves: Moves) -> None:
        assert name not in self.facts, f"{name} is there already"
        self.facts[name] = {of: amount for of, amount in moves.items() if amount}
        self.totals.update(self.facts[name])

    def unbook(self, name: str) -> None:
        self.totals.subtract(self.facts.pop(name))

    def held(self, place: str, commodity: str) -> int:
        return self.totals[place, commodity]

    def balances(self) -> dict[tuple[str, str], int]:
        return {of: amount for of, amount in self.totals.items() if amount}

    def free(self, metal: str) -> int:
        """What of the metal in stock is the house's own: not owed to a client, in bars or otherwise."""
        owed = process = 0
        for (place, of), amount in self.totals.items():
            if of == metal and place.split()[0] in ("in", "held"):
                process += amount
            elif of == metal and place.startswith("C-") and not place.endswith(" bars"):
                owed += amount
        return max(0, min(self.held("stock", metal), self.held("stock", metal) + process - owed))

    # where a lot's metal is closed -------------------------------------------------------------

    def pot_of(self, batch: str, metal: str) -> Pot:
        of = self.batches[batch]
        return self.recoveries[of.recovery] if metal == "silver" and of.recovery else of

    def pot(self, number: str) -> Pot:
        return self.batches.get(number) or self.recoveries[number]

    def subjects(self, pot: Pot) -> list[Pot]:
        """The pots whose entries make the account of a pot."""
        return [*(self.batches[b] for b in pot.batches), pot]

    def lots_of(self, pot: Pot) -> list[Lot]:
        return [self.lots[n] for of in self.subjects(pot) for n in of.lots]

    def is_closed(self, lot: Lot, metal: str) -> bool:
        """Whether R of the metal stands: reconciled, or agreed where the lot settles on its assay."""
        if lot.batch is not None and metal in self.pot_of(lot.batch, metal).closed:
            return True
        on_assay = lot.terms.settle_on[metal] == "assay"
        return on_assay and lot.own(metal) > 0 and not lot.disputed(metal)

    def settled_metals(self, lot: Lot) -> list[str]:
        return [m for number in lot.settled for m in self.settlements[number].metals]

    def to_settle(self, lot: Lot) -> list[str]:
        done = self.settled_metals(lot)
        waits = [m for m in METALS if lot.terms.settle_on[m] == "outturn" and lot.own(m)]
        if lot.batch is None and waits:
            return []
        return [m for m in METALS if self.is_closed(lot, m) and m not in done]

    def rests_on(self, lot: Lot) -> list[str]:
        """What is posted of a lot: as long as there is something, its entries stand."""
        if lot.batch is None:
            return list(lot.settled)
        closed = [self.pot_of(lot.batch, m).closed.get(m) for m in METALS]
        return [*lot.settled, *(name for name in closed if name)]

    def bars_of(self, lot: str, metal: str) -> list[Bar]:
        return [b for b in self.bars.values() if (b.lot, b.metal) == (lot, metal) and b.state != "withdrawn"]

    def owes(self, lot: Lot) -> bool:
        """Whether the client owes the net of a settlement of it."""
        return any(self.settlements[number].open < 0 for number in lot.settled)

    def held_back(self, client: str, word: Json) -> bool:
        """Whether what is on the client's account stays: a settled lot is frozen, or its net unpaid."""
        mine = [lot for lot in self.lots.values() if lot.client == client and lot.settled]
        return any(lot.frozen or (self.owes(lot) and not word) for lot in mine)

    def undoable(self, name: str) -> bool:
        """Whether an entry stands, and is of nobody whose data was erased."""
        owners = {place.split()[0] for place, _ in self.facts.get(name, {})}
        return name in self.facts and not any(self.clients.get(owner) for owner in owners)

    def shot_left(self, lot: Lot) -> dict[str, int]:
        if not lot.settled:
            return {}
        papers = [self.settlements[number].paper["cases"]["final"] for number in lot.settled]
        left = Counter({m: mg(account["shot"]) for final in papers for m, account in final["metals"].items()})
        for returned in lot.shot_returns.values():
            left.subtract(returned)
        return {metal: amount for metal, amount in left.items() if amount}

    # facts that need more than one line ---------------------------------------------------------

    def put_in(self, lot: Lot) -> None:
        """The lot's own metal into its batch, as assayed; out of what the house had for its own metal."""
        name = f"{lot.batch}/{lot.number}"
        if name in self.facts:
            self.unbook(name)
        moves: Counter[tuple[str, str]] = Counter()
        for metal in METALS:
            own = lot.own(metal)
            moves[f"in {lot.batch}", metal] += own
            if lot.client is not None:
                moves[f"{lot.client} lot {lot.number}", metal] += own
            else:
                place = "bought" if lot.house == "bought" else "stock"
                moves[place, metal] -= min(own, max(0, self.held(place, metal)))
        self.book(name, moves)

    def close(self, pot: Pot, metal: str, account: Json) -> None:
        """The pot is empty; each client is owed what the account credits; what is held is held."""
        moves: Counter[tuple[str, str]] = Counter()
        for of in self.subjects(pot):
            for place in (f"in {of.number}", f"lent {of.number}"):
                moves[place, metal] -= self.held(place, metal)
            moves[f"held {of.number}", metal] += sum(m for kind, m in of.held.values() if kind == metal)
        for lot in self.lots_of(pot):
            if lot.client is not None:
                credited = mg(account["credited"][lot.number])
                moves[f"{lot.client} lot {lot.number}", metal] += credited - lot.own(metal)
            lot.version += 1
        pot.closed[metal] = account["id"]
        pot.was_closed = True
        self.book(account["id"], moves)

    def settle(self, number: str, paper: Json) -> Settlement:
        """A posted settlement moves what its paper gives: a further one says what it adds, no more (H8)."""
        lot = self.lots[paper["lot"]]
        assert lot.client is not None
        final = paper["cases"]["final"]
        moves = dict(of_final(paper, lot.client, lot.number))
        if lot.batch is None:
            # The metal, as it lies, is the house's.
            for metal in final["metals"]:
                place = (f"{lot.client} lot {lot.number}", metal)
                moves["bought", metal] -= moves.pop(place)
        metals = list(final["metals"])
        assert not set(metals) & set(self.settled_metals(lot)), paper
        made = Settlement(number, lot.number, lot.client, metals, paper)
        self.settlements[number] = made
        self.book(number, moves)
        lot.settled.append(number)
        lot.version += 1
        self._adds_up(lot, paper)
        for bar in self.bars.values():
            if bar.lot == lot.number and bar.metal in metals and bar.state == "poured":
                bar.state, bar.client = "assigned", lot.client
        return made

    def _adds_up(self, lot: Lot, paper: Json) -> None:
        """What the papers of a lot charge and tax, all together, is what the whole lot costs (H8)."""
        papers = [self.settlements[number].paper for number in lot.settled]
        whole = paper["whole"] or paper["cases"]["final"]
        for name in ("payouts_total", "top_ups_total", "charges_total", "tax_total"):
            together = sum(minor(of["cases"]["final"][name]) for of in papers)
            assert together == minor(whole[name]), (name, together, paper)

    def unsettle(self, of: Settlement) -> None:
        self.unbook(of.number)
        of.state = "reversed"
        lot = self.lots[of.lot]
        lot.settled.remove(of.number)
        lot.version += 1
        for bar in self.bars.values():
            if bar.lot == lot.number and bar.metal in of.metals and bar.state == "assigned":
                bar.state, bar.client = "poured", None
