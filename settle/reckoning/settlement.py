"""A refined lot: what became of it, and its statement, once (G1)."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from settle.reckoning.bars import Poured, Reading, Wishes, pour, read_instructions
from settle.reckoning.charges import Quantities
from settle.reckoning.due import NOTHING, Posted
from settle.reckoning.exact import ZERO, Exact
from settle.reckoning.fineness import WHOLE_PPT
from settle.reckoning.money import minor_units
from settle.reckoning.parting import Need, need
from settle.reckoning.price import Prices, read_prices
from settle.reckoning.problems import NO_FAULTS
from settle.reckoning.quote import Quoted
from settle.reckoning.reading import Json, Kept, Reader
from settle.reckoning.recovered import assayed
from settle.reckoning.statement import (
    CLIENT,
    WHOSE,
    Basis,
    Drillings,
    Statement,
    drillings_of,
    statement,
)
from settle.reckoning.terms import KEPT, Terms
from settle.reckoning.weight import in_grams, milligrams
from settle.reckoning.working import SILENT, Working


@dataclass(frozen=True, slots=True)
class Refined:
    """What became of a lot. `drillings_g` were taken for assay and not melted in again; `recovered_g` is R
    of each metal that is closed (whole milligrams through the books)."""

    melt_g: Exact
    drillings_g: Exact
    assay_ppt: Mapping[str, Exact]
    recovered_g: Mapping[str, Exact]
    gross_g: Exact
    articles: int
    poured: Mapping[str, Sequence[Poured]]
    wishes: Mapping[str, Wishes]
    prices: Prices
    advances_minor: int = 0
    fees_minor: int = 0
    sold_before_mg: Mapping[str, int] = field(default_factory=dict)
    drillings_whose: str = CLIENT
    posted: Posted = NOTHING

    @property
    def parted_g(self) -> Exact:
        """Melt weight less drillings taken: what H1 and H3 reckon with."""
        return self.melt_g - self.drillings_g

    @property
    def fine_g(self) -> Mapping[str, Exact]:
        """The lot's own fine metal, exact (H3)."""
        return assayed(self.parted_g, self.assay_ppt)

    def drillings(self, terms: Terms, ppt: Mapping[str, Exact]) -> Drillings:
        """Fine metal in the drillings at some fineness, and what becomes of them (H6)."""
        return drillings_of(terms, self.drillings_g, self.drillings_whose, ppt)


def read_refined(data: Json, terms: Terms) -> Refined:
    """What became of a lot, from the inputs that a settlement keeps. Raises `ValueError` where they can't
    be read, `Refused` for a bar that can't be stated so.

    `data` has `melt`, `drillings` (and `drillings_whose`), `gross` and `recovered` by metal as weights,
    `assay` by metal in parts per thousand, `articles`, `bars` as they were read, `instructions`,
    `prices` (with their entries), `advances` and `fees` as amounts; of a further settlement also
    `sold_before` by metal, and what was `posted_before`.
    """
    r = Kept(data)
    wishes = read_instructions(data.get("instructions"), terms, NO_FAULTS, r.at("instructions"))
    assay, recovered = r.object("assay"), r.object("recovered")
    currency = terms.currency
    return Refined(
        melt_g=r.weight("melt"),
        drillings_g=r.weight("drillings", ZERO, positive=False),
        assay_ppt={m: assay.decimal(m, most=WHOLE_PPT) for m in assay.data},
        recovered_g={m: recovered.weight(m, positive=False) for m in recovered.data},
        gross_g=r.weight("gross"),
        articles=r.count("articles", most=None),
        poured=_read_bars(r, terms, wishes),
        wishes=wishes,
        prices=read_prices(data.get("prices"), terms, NO_FAULTS, r.at("prices")),
        advances_minor=minor_units(r.decimal("advances", ZERO), currency),
        fees_minor=minor_units(r.decimal("fees", ZERO), currency),
        sold_before_mg={
            m: milligrams(r.object("sold_before").weight(m, positive=False))
            for m in data.get("sold_before") or ()
        },
        drillings_whose=r.word("drillings_whose", WHOSE, CLIENT),
        posted=_read_posted(data.get("posted_before"), tuple(data.get("sold_before") or ())),
    )


def _read_posted(data: Json | None, metals: tuple[str, ...]) -> Posted:
    """What earlier documents posted, as a settlement keeps it: minor units."""
    return NOTHING if data is None else Posted(metals, **data)


def _read_bars(r: Reader, terms: Terms, wishes: Mapping[str, Wishes]) -> Mapping[str, Sequence[Poured]]:
    poured: dict[str, list[Poured]] = {}
    for inner in r.objects("bars"):
        metal, line = inner.text("metal"), inner.data.get("line")
        lines = wishes[metal].lines if metal in wishes else ()
        if not isinstance(line, int) or not 0 <= line < len(lines):
            inner.fault("line", "contradiction", "no such line was asked for", "a line of the instructions")
            continue
        bar = pour(terms, wishes[metal], line, read_reading(inner), inner.text("serial"), inner.pointer)
        poured.setdefault(metal, []).append(bar)
    return poured


def read_reading(r: Reader) -> Reading:
    """The reading of a bar: weight, division of the scale, assay of its metal and its u."""
    return Reading(
        r.weight("reading"),
        r.weight("division"),
        r.decimal("assay", most=WHOLE_PPT),
        r.decimal("assay_u", ZERO, most=WHOLE_PPT),
    )


def lot_need(terms: Terms, refined: Refined, working: Working = SILENT) -> Need:
    """The house silver that the lot needed, on its own melt weight and assay, exact (H1)."""
    return need(terms, refined.fine_g.get("gold", ZERO), refined.parted_g, working)


def settle(terms: Terms, refined: Refined, working: Working = SILENT) -> Statement:
    """The final account of a lot, for the metals that are closed (G1)."""
    needed = lot_need(terms, refined, working)
    quantities = Quantities(refined.gross_g, refined.melt_g, needed.weight_g, refined.articles)
    basis = Basis(
        terms,
        refined.recovered_g,
        quantities,
        refined.prices,
        refined.wishes,
        refined.poured,
        refined.advances_minor,
        refined.fees_minor,
        refined.sold_before_mg,
        refined.posted.taken_minor,
        refined.drillings(terms, refined.assay_ppt),
    )
    return statement(basis, working.of_case("final"))


def inside_band(quoted: Quoted, refined: Refined) -> Mapping[str, bool]:
    """Whether each R, the client's drillings added, fell inside the quote's band (G3); a metal not
    quoted for never did."""
    terms = quoted.request.terms
    drillings = refined.drillings(terms, refined.assay_ppt)
    found = {}
    for metal, r in refined.recovered_g.items():
        his = ZERO if drillings.become == KEPT else in_grams(drillings.fine_mg.get(metal, 0))
        band = quoted.bands.get(metal)
        found[metal] = band is not None and band.recovered_g["low"] <= r + his <= band.recovered_g["high"]
    return found
