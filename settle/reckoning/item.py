"""Items: what one line of a lot weighs, and what it is reckoned to hold (B)."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import cached_property

from settle.reckoning.exact import ONE, ZERO, Exact, plain, within
from settle.reckoning.fineness import (
    HALF_A_KARAT,
    LOOKS_LIKE_PERCENT,
    PURE_KARAT,
    WHOLE_PPT,
    marks_in,
    of_karat,
)
from settle.reckoning.problems import Faults
from settle.reckoning.reading import Json, Reader
from settle.reckoning.tables import METALS
from settle.reckoning.terms import ALLOY_TABLE, COLOURS, Evidence, Terms

MOST_ITEMS = 500
TWELVE = 12
FINENESS_FIELDS = ("karat", "fineness", "composition")
# What `in` may say of a composition; of a fineness the first alone.
UNITS = ("permille", "percent")


@dataclass(frozen=True, slots=True)
class Scale:
    """A scale of the shop: division d, loads in grams (C1); the last day of its verification."""

    name: str
    division_g: Exact
    min_g: Exact = ZERO
    max_g: Exact | None = None
    verified_until: date | None = None


@dataclass(frozen=True, slots=True)
class Deduction:
    """What is not alloy: weighed, or guessed with its ± (B1)."""

    reason: str
    weight_g: Exact
    plus_minus_g: Exact | None


@dataclass(frozen=True, slots=True)
class Holding:
    """What an item is reckoned to hold of one metal, parts per thousand of its alloy (B3, B5).

    `scatter2` is a variance; `kind` names the evidence whose `shared` part it has in common
    with other items; `indicative` silver comes from the alloy table and is never credited.
    """

    metal: str
    likely_ppt: Exact
    scatter2: Exact
    shared_ppt: Exact
    kind: str
    indicative: bool = False


@dataclass(frozen=True)
class Item:
    """One line of a lot: `count` like articles weighed together."""

    description: str
    stamped: str | None
    evidence: Evidence
    count: int
    gross_g: Exact
    division_g: Exact
    deductions: tuple[Deduction, ...]
    filled_part: Exact
    holds: tuple[Holding, ...]

    @cached_property
    def net_g(self) -> Exact:
        """net = gross − Σ deductions (B1)."""
        return self.gross_g - sum((d.weight_g for d in self.deductions), ZERO)

    @cached_property
    def net_variance(self) -> Exact:
        """Variance of the net weight, g² (C1): d²/12 a weighing, a²/3 a guess ± a."""
        d2 = self.division_g**2 / TWELVE
        guesses = (d2 if d.plus_minus_g is None else d.plus_minus_g**2 / 3 for d in self.deductions)
        return d2 + sum(guesses, ZERO)

    @cached_property
    def alloy_g(self) -> Exact:
        """The part of the net weight that is the marked alloy (B4)."""
        return self.net_g * self.filled_part

    def fine_g(self, holding: Holding) -> Exact:
        """Likely fine weight of one metal: net × filled part × likely fineness ÷ 1000 (B4)."""
        return self.alloy_g * holding.likely_ppt / WHOLE_PPT


def read_items(
    data: Json,
    terms: Terms,
    scales: Mapping[str, Scale],
    faults: Faults,
    pointer: str = "",
    *,
    again: bool = False,
) -> tuple[Item, ...]:
    """The items of a request, every fault gathered. What looks like a slip is asked about when it comes, and
    not when what was kept is read `again`."""
    reader = Reader(data, faults, pointer)
    raw = data.get("items") if isinstance(data, Mapping) else None
    if not raw:
        reader.fault("items", "missing", "no item", "at least one item")
    elif isinstance(raw, Sequence) and len(raw) > MOST_ITEMS:
        reader.fault("items", "out-of-range", f"{len(raw)} items", f"{MOST_ITEMS} at most")
        return ()
    items = []
    for inner in reader.objects("items"):
        items.append(_item(inner, terms, scales))
        if not again:
            _ask_back(inner, items[-1], terms)
    return tuple(items)


def _item(r: Reader, terms: Terms, scales: Mapping[str, Scale]) -> Item:
    gross_g = r.weight("gross")
    deductions = tuple(_deduction(inner) for inner in r.objects("deductions"))
    _below_gross(r, gross_g, deductions)
    evidence = _evidence(r, terms)
    stamped = r.text("stamped") if r.has("stamped") else None
    return Item(
        description=r.text("description", ""),
        stamped=stamped,
        evidence=evidence,
        count=r.count("count", 1),
        gross_g=gross_g,
        division_g=_division(r, terms, scales),
        deductions=deductions,
        filled_part=r.part("filled_part"),
        holds=_holds(r, terms, evidence),
    )


def _deduction(r: Reader) -> Deduction:
    guess = r.weight("plus_minus", positive=False) if r.has("plus_minus") else None
    return Deduction(r.text("reason", ""), r.weight("weight", stand_in=ZERO), guess)


def _below_gross(r: Reader, gross_g: Exact, deductions: tuple[Deduction, ...]) -> None:
    total = sum((d.weight_g for d in deductions), ZERO)
    readable = not r.faults.stands_at(r.at("gross"))
    if readable and total >= gross_g:
        wrong = f"{plain(total)} g taken off {plain(gross_g)} g"
        r.fault("deductions", "deductions-reach-gross", wrong, "deductions below the gross weight")


def _division(r: Reader, terms: Terms, scales: Mapping[str, Scale]) -> Exact:
    if r.has("scale"):
        name = r.text("scale")
        if name not in scales:
            right = "one of " + ", ".join(scales) if scales else "a scale that was entered first"
            r.fault("scale", "unknown-scale", f'no scale "{name[:30]}"', right)
            return terms.division_g
        return scales[name].division_g
    return r.weight("division", terms.division_g)


def _evidence(r: Reader, terms: Terms) -> Evidence:
    name = r.text("evidence")
    if name in terms.evidence:
        return terms.evidence[name]
    if name:
        known = ", ".join(terms.evidence) or "none is defined"
        r.fault("evidence", "unknown-evidence", f'the terms know no "{name[:30]}"', f"one of: {known}")
    return Evidence(name, "none", reckon=False)


def _holds(r: Reader, terms: Terms, evidence: Evidence) -> tuple[Holding, ...]:
    given = [f for f in FINENESS_FIELDS if r.has(f)]
    metal = r.word("metal", METALS, "gold")
    if len(given) > 1:
        for extra in given[1:]:
            r.fault(extra, "two-finenesses", f"{given[0]} is given already", "exactly one of them")
        for field in given:
            _known(r, field, metal, terms)
        return ()
    colour = r.word("colour", COLOURS) if r.has("colour") else None
    if r.has("in") and given not in (["fineness"], ["composition"]):
        r.fault("in", "contradiction", "there is neither a fineness nor a composition", "leave it out")
    known = _known(r, given[0], metal, terms) if given else {}
    if not evidence.reckon:
        return ()
    if not given:
        if evidence.name in terms.evidence:
            right = "karat, fineness or composition, or evidence that is not reckoned"
            r.fault("", "no-fineness", f'evidence "{evidence.name}" needs a fineness', right)
        return ()
    holds = [_likely(m, ppt, evidence, biased=m == metal) for m, ppt in known.items()]
    if given != ["composition"] and metal == "gold" and colour and terms.estimate_silver:
        holds += _table_silver(known["gold"], colour, terms)
    return _scaled(holds)


def _known(r: Reader, field: str, metal: str, terms: Terms) -> dict[str, Exact]:
    if field == "karat":
        karat = r.decimal("karat", most=PURE_KARAT, kind="karat-above-24")
        return {metal: of_karat(karat, terms.karat_basis)}
    if field == "fineness":
        if r.word("in", UNITS, UNITS[0]) == "percent":
            right = '"permille", or leave it out'
            r.fault("in", "contradiction", "a fineness is in parts per thousand", right)
        return {metal: r.decimal("fineness", most=WHOLE_PPT, kind="fineness-above-1000")}
    return _composition(r, metal)


def _ask_back(r: Reader, item: Item, terms: Terms) -> None:
    """Ask whether what is said of an item's fineness is a slip (B2); `in` says that it is meant.

    A fineness, or a composition together, up to 101 ‰ looks like percent, or a fraction of one. What is
    stamped beside a fineness or karat says otherwise where every mark known in it lies farther from the
    figure than the evidence allows. Filled goods may hold so little, and a stamp is of a part of them.
    """
    given = [f for f in FINENESS_FIELDS if r.has(f)]
    if len(given) != 1 or r.has("in") or r.faults.stands_at(r.at(given[0])):
        return
    field, metal = given[0], r.word("metal", METALS, "gold")
    known = _known(r, field, metal, terms)
    total = sum(known.values(), ZERO)
    if field == "composition":
        if total <= LOOKS_LIKE_PERCENT:
            right = 'say "in": "percent", or "in": "permille" where so little is meant'
            r.fault(field, "looks-like-percent", f"adds up to {plain(total)} ‰: is it percent?", right)
    elif item.filled_part == 1 and field == "fineness" and total <= LOOKS_LIKE_PERCENT:
        right = 'parts per thousand, such as "585", or "in": "permille" where so little is meant'
        r.fault(field, "looks-like-percent", f"{plain(total)} ‰: is it percent, or a fraction?", right)
    elif item.filled_part == 1 and _is_contradicted(item, metal, known[metal]):
        right = 'what was read; a "fineness" that a test found says "in": "permille"'
        r.fault(field, "contradiction", f'{r.data[field]}, and "{str(item.stamped)[:30]}" is stamped', right)


def _is_contradicted(item: Item, metal: str, known_ppt: Exact) -> bool:
    """Whether marks are known in what is stamped, and each is too far from a figure for its evidence."""
    said = marks_in(item.stamped or "", metal) if item.evidence.reckon else []
    return bool(said) and not any(_allows(item.evidence, abs(ppt - known_ppt)) for ppt in said)


def _allows(kind: Evidence, apart_ppt: Exact) -> bool:
    """Whether a figure may lie so far from the mark: |bias| + 2 √(scatter² + shared²), as far as the band
    reaches (C4); and half a karat always, by which a stamp could lawfully lie (15 U.S.C. 295 of old, from
    memory) and within which all tables of karats agree."""
    beyond = max(ZERO, apart_ppt - abs(kind.bias_ppt))
    variance = kind.scatter_ppt**2 + kind.shared_ppt**2
    return apart_ppt <= HALF_A_KARAT or beyond**2 <= 4 * variance


def _composition(r: Reader, metal: str) -> dict[str, Exact]:
    inner = r.object("composition")
    percent = r.word("in", UNITS, UNITS[0]) == "percent"
    per_unit = 10 if percent else 1
    known = {}
    for name in inner.data:
        if name not in METALS:
            inner.fault(name, "unknown-metal", f'no metal "{name[:20]}"', "one of " + ", ".join(METALS))
            continue
        most = WHOLE_PPT / per_unit
        known[name] = inner.decimal(name, most=most, kind="fineness-above-1000") * per_unit
    total = sum(known.values(), ZERO)
    readable = not r.faults.stands_at(r.at("composition"))
    if readable and not known:
        r.fault("composition", "missing", "empty", 'such as {"gold": "584", "silver": "118"}')
    elif readable and total > WHOLE_PPT:
        r.fault("composition", "fineness-above-1000", f"{plain(total)} ‰ together", "1000 ‰ at most")
    if readable and r.has("metal") and known and metal not in known:
        r.fault("metal", "contradiction", f"{metal} is not in the composition", "one of " + ", ".join(known))
    return {m: known[m] for m in METALS if m in known}


def _likely(metal: str, known_ppt: Exact, evidence: Evidence, *, biased: bool) -> Holding:
    likely = within(known_ppt + evidence.bias_ppt, ZERO, WHOLE_PPT) if biased else known_ppt
    return Holding(metal, likely, evidence.scatter_ppt**2, evidence.shared_ppt, evidence.name)


def _table_silver(known_gold_ppt: Exact, colour: str, terms: Terms) -> list[Holding]:
    kind = terms.evidence.get(ALLOY_TABLE, Evidence(ALLOY_TABLE, "table"))
    for row in terms.alloy_silver:
        if row.colour == colour and row.start_ppt <= known_gold_ppt < row.end_ppt:
            likely = within(row.likely_ppt + kind.bias_ppt, ZERO, WHOLE_PPT)
            # A figure known to lie between two ends only: rectangular (JCGM 100, 4.3.7).
            scatter2 = (row.high_ppt - row.low_ppt) ** 2 / TWELVE
            return [Holding("silver", likely, scatter2, kind.shared_ppt, ALLOY_TABLE, indicative=True)]
    return []


def _scaled(holds: list[Holding]) -> tuple[Holding, ...]:
    total = sum((h.likely_ppt for h in holds), ZERO)
    factor = WHOLE_PPT / total if total > WHOLE_PPT else ONE
    return tuple(
        Holding(h.metal, h.likely_ppt * factor, h.scatter2, h.shared_ppt, h.kind, h.indicative) for h in holds
    )
