"""An unmelted lot: its items, the band, and the statement three times (C4, G1)."""

from collections.abc import Mapping
from dataclasses import dataclass

from settle.reckoning import band as bands
from settle.reckoning.band import Band, Fine
from settle.reckoning.bars import Wishes, bound_fault, read_instructions
from settle.reckoning.charges import Quantities
from settle.reckoning.concession import concede
from settle.reckoning.exact import ZERO, Exact
from settle.reckoning.item import Item, Scale, read_items
from settle.reckoning.parting import Need, need
from settle.reckoning.price import Prices, read_prices
from settle.reckoning.problems import Faults
from settle.reckoning.reading import Json, Reader
from settle.reckoning.statement import Basis, Statement, statement
from settle.reckoning.tables import METALS
from settle.reckoning.terms import CASES, Terms
from settle.reckoning.working import SILENT, Working


@dataclass(frozen=True, slots=True)
class Request:
    """What was asked: items, the prices to use, the client's wishes."""

    terms: Terms
    items: tuple[Item, ...]
    prices: Prices
    wishes: Mapping[str, Wishes]

    @property
    def net_g(self) -> Exact:
        """Net of all items, also of those on assay only (H1)."""
        return sum((i.net_g for i in self.items), ZERO)

    @property
    def quantities(self) -> tuple[Exact, Exact, int]:
        """Gross grams as received, net grams, articles (F1)."""
        gross = sum((i.gross_g for i in self.items), ZERO)
        return gross, self.net_g, sum(i.count for i in self.items)

    @property
    def metals_held(self) -> tuple[str, ...]:
        """Metals that any item is reckoned to hold, in the order of the table."""
        held = {h.metal for i in self.items for h in i.holds}
        return tuple(m for m in METALS if m in held)


@dataclass(frozen=True, slots=True)
class Quoted:
    """The answer to a request: contents and bands by metal, the parting need, three statements."""

    request: Request
    contents: Mapping[str, Fine]
    bands: Mapping[str, Band]
    need: Need
    cases: Mapping[str, Statement]

    @property
    def net_range(self) -> tuple[int, int, int]:
        """Least, likely, greatest of the three nets, minor units (C4)."""
        nets = [self.cases[case].net_minor for case in CASES]
        return min(nets), self.cases["likely"].net_minor, max(nets)

    @property
    def worth_range(self) -> tuple[int, int, int]:
        """Least, likely, greatest of what the client gets in all, minor units (C4, V of G2)."""
        worths = [self.cases[case].worth_minor for case in CASES]
        return min(worths), self.cases["likely"].worth_minor, max(worths)

    @property
    def is_valued(self) -> bool:
        """Whether any item holds a metal that the terms account for; else there is no net to speak of."""
        return bool(self.bands)

    @property
    def unpriced(self) -> list[str]:
        """Metals that are held, accounted for and have no price: they are in no worth."""
        return [metal for metal in self.bands if metal not in self.request.prices]

    @property
    def has_worth(self) -> bool:
        """Whether there is a worth to speak of: of a metal that has a price."""
        return len(self.unpriced) < len(self.bands)

    @property
    def worth_refining(self) -> bool | None:
        """Whether the client gets more than nothing; none where that can't be said (C4)."""
        worth = self.worth_range[1]
        if worth > 0:
            return True
        return None if self.unpriced or not self.is_valued else False

    def bars_covered(self, metal: str) -> list[int]:
        """Bars that each line gets even in the low case: the least count of the three (C4)."""
        counts = [self.cases[case].metals[metal].placed.counts for case in CASES]
        return [min(of_line) for of_line in zip(*counts, strict=True)]


def read_request(
    data: Json,
    terms: Terms,
    in_force: Prices,
    scales: Mapping[str, Scale],
    faults: Faults,
    pointer: str = "",
    *,
    again: bool = False,
) -> Request:
    """A request from its JSON shape, or one that was kept, read `again`; prices left out are those in force.
    Faults are gathered.

    Concessions that were granted stand in it, and its terms are those with them (F5).
    """
    reader = Reader(data, faults, pointer)
    terms = concede(terms, data.get("concessions") or (), faults, reader.at("concessions"))
    prices = in_force
    if reader.has("prices"):
        prices = read_prices(data["prices"], terms, faults, reader.at("prices"))
    return Request(
        terms,
        read_items(data, terms, scales, faults, pointer, again=again),
        prices,
        read_instructions(data.get("instructions"), terms, faults, reader.at("instructions")),
    )


def _content(request: Request, metal: str, working: Working) -> Fine:
    rule = request.terms.metals.get(metal)
    # Bought over the counter, nothing is assayed any more: what is only indicative is not paid for (B5).
    outright = rule is not None and rule.settle_on == "counter"
    return bands.fine(metal, request.items, working, credited_only=outright)


def bands_of(request: Request, working: Working) -> tuple[Mapping[str, Fine], Need, Mapping[str, Band]]:
    """Contents of the items, the parting need, and the bands of the metals that the terms account for."""
    terms = request.terms
    contents = {m: _content(request, m, working) for m in request.metals_held}
    gold = contents["gold"].likely_g if "gold" in contents else ZERO
    needed = need(terms, gold, request.net_g, working)
    of_metal = {
        m: bands.band(terms, m, content, needed, working)
        for m, content in contents.items()
        if m in terms.metals
    }
    return contents, needed, of_metal


def reckon(request: Request, working: Working = SILENT) -> Quoted:
    """Run every rule, whole, three times (C4). Raises `Refused` where a price is missing, or where
    more bars are asked for than one account can hold (E1)."""
    contents, needed, of_metal = bands_of(request, working)
    gross, net, articles = request.quantities
    cases = {
        case: statement(
            Basis(
                request.terms,
                {m: band.recovered_g[case] for m, band in of_metal.items()},
                Quantities(gross, net, needed.weight_g, articles),
                request.prices,
                request.wishes,
            ),
            working.of_case(case),
        )
        for case in CASES
    }
    _refuse_too_many_bars(cases["high"])
    return Quoted(request, contents, of_metal, needed, cases)


def _refuse_too_many_bars(high: Statement) -> None:
    faults = Faults()
    for metal, account in high.metals.items():
        fault = bound_fault(account.placed.counts, f"/instructions/{metal}")
        faults.extend([fault] if fault else [])
    faults.refuse_if_any()
