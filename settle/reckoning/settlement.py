"""A refined lot: the statement once, and why it differs from the quote (G)."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

from settle.reckoning.bars import Poured, Reading, Wishes, pour, read_instructions
from settle.reckoning.charges import Quantities
from settle.reckoning.exact import ZERO, Exact, shown
from settle.reckoning.fineness import WHOLE_PPT
from settle.reckoning.money import amount, minor_units
from settle.reckoning.parting import Need, need
from settle.reckoning.price import Prices, read_prices
from settle.reckoning.problems import NO_FAULTS
from settle.reckoning.quote import Quoted
from settle.reckoning.reading import Json, Kept, Reader
from settle.reckoning.recovered import assayed, expected_within
from settle.reckoning.statement import Basis, Statement, statement
from settle.reckoning.terms import Terms
from settle.reckoning.weight import milligrams
from settle.reckoning.working import SILENT, Working

STEPS = ("weight", "fineness", "recovery", "instructions", "price", "charges")


@dataclass(frozen=True, slots=True)
class Refined:
    """What became of a lot. `drillings_g` were taken for assay and not given back;
    `recovered_g` is R of each metal that is closed (whole milligrams through the books)."""

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
    in_cash: bool = False
    sold_before_mg: Mapping[str, int] = field(default_factory=dict)

    @property
    def parted_g(self) -> Exact:
        """Melt weight less drillings taken: what H1 and H3 reckon with."""
        return self.melt_g - self.drillings_g

    @property
    def fine_g(self) -> Mapping[str, Exact]:
        """The lot's own fine metal, exact (H3)."""
        return assayed(self.parted_g, self.assay_ppt)


@dataclass(frozen=True, slots=True)
class Step:
    """One step of the comparison (G2): V after it, the difference, one plain sentence."""

    name: str
    worth_minor: int
    difference_minor: int
    sentence: str


def read_refined(data: Json, terms: Terms) -> Refined:
    """What became of a lot, from the inputs that a settlement keeps. Raises `ValueError` where they can't
    be read, `Refused` for a bar that can't be stated so.

    `data` has `melt`, `drillings`, `gross` and `recovered` by metal as weights, `assay`
    by metal in parts per thousand, `articles`, `bars` as they were read, `instructions`,
    `prices` (with their entries), `advances` and `fees` as amounts, `cash`; of a further
    settlement also `sold_before` by metal.
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
        in_cash=r.flag("cash"),
        sold_before_mg={
            m: milligrams(r.object("sold_before").weight(m, positive=False))
            for m in data.get("sold_before") or ()
        },
    )


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
        refined.in_cash,
        refined.sold_before_mg,
    )
    return statement(basis, working.of_case("final"))


def compare(quoted: Quoted, refined: Refined, final: Statement) -> tuple[Step, ...]:
    """Why the settlement differs from the quote (G2).

    The statement is replayed, each time with one more of the quote's likely inputs
    replaced by the settlement's, over the metals that are settled. Each V is rounded
    by A3 and each step is the difference of two of them, so the steps add up.
    """
    before = statement(_quoted_basis(quoted, refined))
    steps = [Step("quote", before.worth_minor, 0, "What the quote called likely.")]
    for name, basis in _replayed(quoted, refined, final):
        after = statement(basis) if basis is not final.basis else final
        difference = after.worth_minor - before.worth_minor
        sentence = _sentence(name, quoted, refined, before, after)
        steps.append(Step(name, after.worth_minor, difference, sentence))
        before = after
    return tuple(steps)


def metal_found_minor(steps: Sequence[Step]) -> int:
    """Weight and fineness as one sum: a stone lighter than guessed moves both, against each other."""
    return sum(step.difference_minor for step in steps if step.name in ("weight", "fineness"))


def inside_band(quoted: Quoted, refined: Refined) -> Mapping[str, bool]:
    """Whether each R fell inside the quote's band (G3); a metal not quoted for never did."""
    return {
        metal: metal in quoted.bands
        and quoted.bands[metal].recovered_g["low"] <= r <= quoted.bands[metal].recovered_g["high"]
        for metal, r in refined.recovered_g.items()
    }


def _fine_quoted(quoted: Quoted, refined: Refined) -> dict[str, Exact]:
    """Likely fine weight of each settled metal, and of gold, which decides the parting silver."""
    wanted = {*refined.recovered_g, "gold"}
    return {m: quoted.contents[m].likely_g if m in quoted.contents else ZERO for m in wanted}


def _quoted_basis(quoted: Quoted, refined: Refined) -> Basis:
    gross, net, articles = quoted.request.quantities
    fine_g = _fine_quoted(quoted, refined)
    needed = need(quoted.request.terms, fine_g["gold"], net, SILENT)
    return Basis(
        quoted.request.terms,
        _expected(quoted.request.terms, refined, fine_g, needed),
        Quantities(gross, net, needed.weight_g, articles),
        # A metal that only the assay found had no price in the quote: the settlement's serves.
        {**refined.prices, **quoted.request.prices},
        quoted.request.wishes,
        in_cash=quoted.request.in_cash,
    )


def _expected(
    terms: Terms, refined: Refined, fine_g: Mapping[str, Exact], needed: Need
) -> Mapping[str, Exact]:
    return {m: expected_within(terms, m, fine_g[m], needed) for m in refined.recovered_g}


def _replayed(quoted: Quoted, refined: Refined, final: Statement) -> Iterator[tuple[str, Basis]]:
    """The basis after each step, in the order of G2."""
    basis = _quoted_basis(quoted, refined)
    terms, net = quoted.request.terms, quoted.request.net_g
    by_weight = {m: f / net * refined.parted_g for m, f in _fine_quoted(quoted, refined).items()}
    by_assay = {m: refined.fine_g.get(m, ZERO) for m in by_weight}
    for name, fine_g in (("weight", by_weight), ("fineness", by_assay)):
        needed = need(terms, fine_g["gold"], refined.parted_g, SILENT)
        quantities = replace(basis.quantities, melt_g=refined.melt_g, silver_lent_g=needed.weight_g)
        recovered = _expected(terms, refined, fine_g, needed)
        basis = replace(basis, recovered_g=recovered, quantities=quantities)
        yield name, basis
    basis = replace(basis, recovered_g=refined.recovered_g)
    yield "recovery", basis
    basis = replace(
        basis,
        wishes=refined.wishes,
        poured=refined.poured,
        terms=final.basis.terms,
        sold_before_mg=refined.sold_before_mg,
    )
    yield "instructions", basis
    basis = replace(basis, prices=refined.prices)
    yield "price", basis
    yield "charges", final.basis


def _sentence(name: str, quoted: Quoted, refined: Refined, before: Statement, after: Statement) -> str:
    plain_words = {
        "weight": _of_weight,
        "fineness": _of_fineness,
        "recovery": _of_recovery,
        "instructions": _of_instructions,
        "price": _of_price,
        "charges": _of_charges,
    }[name](quoted, refined, before, after)
    edges = _edges(before, after)
    return f"{plain_words} {edges}" if edges else plain_words


def _of_weight(quoted: Quoted, refined: Refined, before: Statement, after: Statement) -> str:
    net, melt = quoted.request.net_g, refined.melt_g
    if net == melt and not refined.drillings_g:
        return "The lot melted to the weight that was reckoned with."
    way = "lighter" if melt < net else "heavier"
    text = f"The lot melted to {shown(melt, 3)} g, {shown(abs(melt - net), 3)} g {way} than the net weight"
    taken = f"; {shown(refined.drillings_g, 3)} g of drillings were taken" if refined.drillings_g else ""
    return f"{text} of its items{taken}."


def _of_fineness(quoted: Quoted, refined: Refined, before: Statement, after: Statement) -> str:
    net = quoted.request.net_g
    told = []
    for metal in after.metals:
        content = quoted.contents.get(metal)
        reckoned = (content.likely_g if content else ZERO) / net * WHOLE_PPT
        found = refined.assay_ppt.get(metal, ZERO)
        told.append(f"{shown(found, 1)} ‰ {metal}, where {shown(reckoned, 1)} ‰ was reckoned")
    return "The assay found " + "; ".join(told) + "."


def _of_recovery(quoted: Quoted, refined: Refined, before: Statement, after: Statement) -> str:
    told = []
    for metal, account in after.metals.items():
        more = milligrams(account.recovered_g - before.metals[metal].recovered_g)
        if more:
            way = "more" if more > 0 else "less"
            told.append(f"{shown(Exact(abs(more), 1000), 3)} g {way} {metal}")
    if not told:
        return "As much came back as was expected."
    return "Of what the assay found, " + " and ".join(told) + " came back than expected."


def _of_instructions(quoted: Quoted, refined: Refined, before: Statement, after: Statement) -> str:
    told = []
    if quoted.request.wishes != refined.wishes:
        told.append("the client's wishes changed since the quote")
    if before.basis.terms != after.basis.terms:
        told.append("a concession was made since the quote")
    for metal, account in after.metals.items():
        poured, planned = len(account.placed.bars), len(before.metals[metal].placed.bars)
        if poured != planned:
            told.append(f"{poured} {metal} bars were poured, where {planned} would fit")
    if not told:
        return "Bars and remainder are as the quote had them."
    return "; ".join(told).capitalize() + "."


def _of_price(quoted: Quoted, refined: Refined, before: Statement, after: Statement) -> str:
    told = []
    for metal in after.metals:
        old, new = before.basis.prices.get(metal), after.basis.prices.get(metal)
        if old is not None and new is not None and old.per_g != new.per_g:
            told.append(
                f"{metal} at {shown(new.amount, 4)} {new.currency} per {new.per}, "
                f"quoted at {shown(old.amount, 4)} per {old.per}"
            )
    return ("Settled with " + "; ".join(told) + ".") if told else "The prices of the quote served."


def _of_charges(quoted: Quoted, refined: Refined, before: Statement, after: Statement) -> str:
    if before.worth_minor == after.worth_minor:
        return "Charges are as the same quantities would have cost."
    told = []
    if refined.fees_minor:
        told.append(f"fees of {amount(refined.fees_minor, after.basis.terms.currency)}")
    if after.cash_rounding_minor:
        told.append("cash rounding")
    if before.charges_minor != after.charges_minor or not told:
        told.append("charges on the quantities as recorded")
    return ("Made up of " + ", ".join(told)) + "."


def _edges(before: Statement, after: Statement) -> str:
    """The edges that a step crossed (G3): a bar, a tier, a minimum, `payable_from`."""
    crossed = []
    for metal, account in after.metals.items():
        old = before.metals[metal]
        if old.placed.counts != account.placed.counts and after.basis.poured is None:
            crossed.append(f"another number of {metal} bars fits")
        if bool(old.accountable_mg) != bool(account.accountable_mg):
            crossed.append(f"{metal} crossed the weight from which it is paid for")
    lines = {line.charge.name: line for line in before.charges}
    for line in after.charges:
        old_line = lines.get(line.charge.name)
        if old_line and old_line.tier != line.tier:
            crossed.append(f"{line.charge.name} reached another tier")
        if old_line and old_line.minimum_applied != line.minimum_applied:
            crossed.append(f"the minimum of {line.charge.name} came into play or ceased to")
    return ("It crossed an edge: " + "; ".join(crossed) + ".") if crossed else ""
