"""The parting plan of a batch: silver to add, what the bath will take and give, and the cautions (H1).

Arithmetic and caution, never a procedure. Quantities of chemicals are what the equations
take, with nothing for excess, loss or fumes. *Common practice.*
"""

from dataclasses import dataclass
from fractions import Fraction

from settle.reckoning.exact import ZERO, Exact, decimal, shown
from settle.reckoning.fineness import WHOLE_PPT
from settle.reckoning.notices import ACIDS, COMMON, HOT_METAL, Notice
from settle.reckoning.parting import Need, need
from settle.reckoning.problems import Fault, Refused
from settle.reckoning.terms import Terms
from settle.reckoning.working import SILENT, Working

IUPAC = "IUPAC standard atomic weights, 2013"

# Grams a mole. Gold, silver, copper: read; the others from memory, checked against a library.
ATOMIC_WEIGHTS = {
    symbol: decimal(weight)
    for symbol, weight in (
        ("Au", "196.97"),
        ("Ag", "107.87"),
        ("Cu", "63.546"),
        ("H", "1.008"),
        ("N", "14.007"),
        ("O", "15.999"),
        ("Na", "22.990"),
        ("S", "32.06"),
    )
}
NITRIC_ACID = {"H": 1, "N": 1, "O": 3}
METABISULFITE = {"Na": 2, "S": 2, "O": 5}


def molar(formula: dict[str, int]) -> Exact:
    """Grams a mole."""
    return sum((ATOMIC_WEIGHTS[symbol] * n for symbol, n in formula.items()), ZERO)


@dataclass(frozen=True, slots=True)
class Reaction:
    """Grams of a chemical to each gram of a metal, by an equation; `seen` as in the tables."""

    chemical: str
    metal: str
    per_g: Exact
    equation: str
    source: str
    seen: str


COPPER_DROPS_SILVER = Reaction(
    "copper",
    "silver",
    ATOMIC_WEIGHTS["Cu"] / (2 * ATOMIC_WEIGHTS["Ag"]),
    "2 Ag⁺ + Cu → 2 Ag + Cu²⁺",
    f"{COMMON}; {IUPAC}",
    "memory",
)
# Each SO₂ gives two electrons, two of them a metabisulfite; Au³⁺ takes three.
METABISULFITE_DROPS_GOLD = Reaction(
    "sodium metabisulfite",
    "gold",
    Fraction(3, 4) * molar(METABISULFITE) / ATOMIC_WEIGHTS["Au"],
    "4 Au³⁺ + 3 S₂O₅²⁻ + 9 H₂O → 4 Au + 6 SO₄²⁻ + 18 H⁺",
    f"{COMMON}; {IUPAC}",
    "memory",
)


_HENDERSON = "McPherson and Henderson, An Elementary Study of Chemistry"


def _acid(
    metal: str, symbol: str, moles: Exact, equation: str, seen: str = "memory", source: str = COMMON
) -> Reaction:
    per_g = moles * molar(NITRIC_ACID) / ATOMIC_WEIGHTS[symbol]
    return Reaction("nitric acid (100 %)", metal, per_g, equation, f"{source}; {IUPAC}", seen)


# Dilute acid, then strong: what a real bath takes lies between.
ACID_ON_SILVER = (
    _acid("silver", "Ag", Fraction(4, 3), "3 Ag + 4 HNO₃ → 3 AgNO₃ + NO + 2 H₂O"),
    _acid("silver", "Ag", Fraction(2), "Ag + 2 HNO₃ → AgNO₃ + NO₂ + H₂O"),
)
ACID_ON_COPPER = (
    _acid("copper", "Cu", Fraction(8, 3), "3 Cu + 8 HNO₃ → 3 Cu(NO₃)₂ + 2 NO + 4 H₂O", "read", _HENDERSON),
    _acid("copper", "Cu", Fraction(4), "Cu + 4 HNO₃ → Cu(NO₃)₂ + 2 NO₂ + 2 H₂O", "second-hand"),
)


@dataclass(frozen=True, slots=True)
class Charged:
    """What goes into the crucible before silver is added, all lots together, grams.

    Gold likely and high (C4); silver likely. What is neither counts as copper.
    """

    melt_g: Exact
    gold_likely_g: Exact
    gold_high_g: Exact
    silver_g: Exact = ZERO


@dataclass(frozen=True, slots=True)
class Quantity:
    """How much of a chemical a metal takes, from and to (the same where one equation serves), grams."""

    chemical: str
    metal: str
    metal_g: Exact
    from_g: Exact
    to_g: Exact
    by: tuple[Reaction, ...]


@dataclass(frozen=True, slots=True)
class Plan:
    """The parting plan of a batch, exact grams; fractions of the melt with the silver in it.

    `silver_to_gold` is fine silver to high gold by weight; none where there is no gold.
    """

    add: Need
    melt_g: Exact
    gold_fraction_likely: Exact
    gold_fraction_high: Exact
    silver_to_gold: Exact | None
    silver_g: Exact
    base_g: Exact
    quantities: tuple[Quantity, ...]
    notices: tuple[Notice, ...]


def plan(terms: Terms, charged: Charged, working: Working = SILENT) -> Plan:
    """Plan a batch on the high gold figures: too much silver is cheap, too little can't be parted (H1).

    Raises `Refused` where the metals are more than the melt, or gold is high below likely.
    """
    _refuse_impossible(charged)
    add = need(terms, charged.gold_high_g, charged.melt_g, working)
    melt = charged.melt_g + add.weight_g
    house_gold = add.weight_g * terms.house_gold_ppt / WHOLE_PPT
    likely, high = charged.gold_likely_g + house_gold, charged.gold_high_g + house_gold
    silver = charged.silver_g + add.fine_g
    base = max(ZERO, melt - likely - silver)
    ratio = silver / high if high else None
    quantities = _quantities(likely, high, silver, base)
    _note(quantities, melt, likely, high, silver, working)
    return Plan(
        add, melt, likely / melt, high / melt, ratio, silver, base, quantities, _notices(terms, high / melt)
    )


def _refuse_impossible(of: Charged) -> None:
    if of.melt_g <= 0:
        raise Refused(Fault("weight-not-positive", "/melt", "nothing is melted", "a weight above zero"))
    if of.gold_likely_g > of.gold_high_g:
        right = "a high figure not below the likely one"
        raise Refused(Fault("contradiction", "/gold", "the high figure is below the likely one", right))
    if of.gold_likely_g + of.silver_g > of.melt_g:
        wrong = f"{shown(of.gold_likely_g + of.silver_g, 3)} g of gold and silver"
        raise Refused(Fault("contradiction", "/melt", wrong, f"{shown(of.melt_g, 3)} g at most"))


def _quantities(likely: Exact, high: Exact, silver: Exact, base: Exact) -> tuple[Quantity, ...]:
    """Metabisulfite from the likely gold to the high; acid from dilute to strong."""
    copper = COPPER_DROPS_SILVER
    sulfite = METABISULFITE_DROPS_GOLD
    return (
        _range(ACID_ON_SILVER, silver),
        _range(ACID_ON_COPPER, base),
        Quantity(copper.chemical, "silver", silver, silver * copper.per_g, silver * copper.per_g, (copper,)),
        Quantity(sulfite.chemical, "gold", high, likely * sulfite.per_g, high * sulfite.per_g, (sulfite,)),
    )


def _range(of: tuple[Reaction, Reaction], metal_g: Exact) -> Quantity:
    dilute, strong = of
    return Quantity(
        dilute.chemical, dilute.metal, metal_g, metal_g * dilute.per_g, metal_g * strong.per_g, of
    )


def _note(
    quantities: tuple[Quantity, ...], melt: Exact, likely: Exact, high: Exact, silver: Exact, to: Working
) -> None:
    for name, gold in (("likely", likely), ("high", high)):
        what, formula = f"gold fraction of the bath, {name}", "gold ÷ (melt weight + house silver)"
        to.note(what, "H1", formula, gold / melt, gold=gold, melt_with_house_silver=melt)
    if high:
        formula = "fine silver ÷ high gold"
        to.note("silver to gold by weight", "H1", formula, silver / high, silver=silver, gold=high)
    for q in quantities:
        for of, amount in zip((q.by[0], q.by[-1]), (q.from_g, q.to_g), strict=True):
            what = f"{q.chemical} for the {q.metal}, g"
            to.note(what, "H1", of.equation, amount, metal=amount / of.per_g, grams_a_gram=of.per_g)


SULFUR_DIOXIDE = Notice(
    "sulfur-dioxide",
    "Metabisulfite in an acid bath gives off sulfur dioxide, which takes the breath and can set off asthma; "
    "it is heavier than air. Add it under extraction only, in small parts, never to a closed vessel.",
    COMMON + "; the safety data sheet of sodium metabisulfite",
)
AQUA_REGIA = Notice(
    "aqua-regia",
    "Aqua regia gives off chlorine and nitrosyl chloride for as long as it stands, and bursts a closed "
    "bottle. It is never stored, and never brought near solvents or other organic matter.",
    COMMON + "; the safety data sheets of the acids",
)
SILVER_CHLORIDE = Notice(
    "silver-chloride",
    "Chloride in the parting bath (tap water, hydrochloric acid) drops silver as its chloride, 75.3 % "
    "silver by weight: it is no metal yet, coats gold that is still to be dissolved, and darkens in light.",
    "Beringer, A Text-book of Assaying, for the figure; " + COMMON,
)
SPENT_BATH = Notice(
    "spent-bath",
    "What copper leaves behind is an acid solution of copper nitrate that harms water and feeds fire: it is "
    "hazardous waste, not for the drain.",
    COMMON,
)
NOT_PARTED = Notice(
    "too-rich-to-part",
    "Gold is above the fraction that these terms part at, and nothing is to be added: acid may not get "
    "through.",
    COMMON,
)


@dataclass(frozen=True, slots=True)
class Exposure:
    """A published limit of what may be in the air at work, parts per million by volume."""

    substance: str
    eight_hours_ppm: str | None
    short_term_ppm: str | None
    source: str
    seen: str


_EU_2017 = "Commission Directive (EU) 2017/164 (indicative values)"
_EU_2006 = "Commission Directive 2006/15/EC (indicative values)"
_EU_2000 = "Commission Directive 2000/39/EC (indicative values)"

EXPOSURE_LIMITS = (
    Exposure("sulfur dioxide", "0.5", "1", _EU_2017, "read"),
    Exposure("nitrogen dioxide", "0.5", "1", _EU_2017, "memory"),
    Exposure("nitrogen monoxide", "2", None, _EU_2017, "memory"),
    Exposure("nitric acid", None, "1", _EU_2006, "memory"),
    Exposure("chlorine", None, "0.5", _EU_2006, "memory"),
    Exposure("hydrogen chloride", "5", "10", _EU_2000, "memory"),
)


def _in_words(of: Exposure) -> str:
    times = [
        f"{ppm} ppm over {time}"
        for ppm, time in ((of.eight_hours_ppm, "8 hours"), (of.short_term_ppm, "15 minutes"))
        if ppm is not None
    ]
    unseen = ", from memory" if of.seen == "memory" else ""
    return f"{of.substance} {' and '.join(times)} ({of.source}{unseen})"


EXPOSURE = Notice(
    "exposure-limits",
    "Published limits of what may be in the air at work: "
    + "; ".join(_in_words(of) for of in EXPOSURE_LIMITS)
    + ". The limits of the place of work are those that hold there.",
    "; ".join(dict.fromkeys(of.source for of in EXPOSURE_LIMITS)),
)


def _notices(terms: Terms, gold_fraction: Exact) -> tuple[Notice, ...]:
    told = (ACIDS, EXPOSURE, SILVER_CHLORIDE, AQUA_REGIA, SULFUR_DIOXIDE, SPENT_BATH, HOT_METAL)
    return (NOT_PARTED, *told) if gold_fraction > terms.parting_target else told
