"""Bars: what the client wishes, what is planned, what was poured, what is stated (E1, E2, E4, A6)."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import accumulate

from settle.reckoning.exact import ZERO, Exact, down_to, plain
from settle.reckoning.fineness import WHOLE_PPT
from settle.reckoning.problems import Fault, Faults
from settle.reckoning.reading import Reader
from settle.reckoning.terms import Terms
from settle.reckoning.weight import in_grams, milligrams_down

COVER_CHARGES = "cover_charges"
REMAINDERS = ("pay_out", "shot", "metal_account", COVER_CHARGES)
MOST_BARS = 1000
MOST_LINES = 20
_TENTH_PPT = Exact(1, 10)


@dataclass(frozen=True, slots=True)
class Line:
    """A wish for bars: `count` is a number, or the words `most` or `whole` (E1)."""

    nominal_g: Exact | None
    fineness_ppt: Exact
    count: int | str
    top_up: bool = False

    @property
    def takes_mg(self) -> int:
        """Fine metal that one bar takes: nominal × promised fineness, down to the milligram (E1)."""
        return milligrams_down((self.nominal_g or ZERO) * self.fineness_ppt / WHOLE_PPT)

    def fitting(self, left_mg: int) -> tuple[int, int]:
        """How many bars of the line fit into what is left, and what each takes; no top-up."""
        if self.count == "whole":
            return (1, left_mg) if left_mg > 0 else (0, 0)
        fits = left_mg // self.takes_mg
        return (fits if self.count == "most" else min(int(self.count), fits)), self.takes_mg


@dataclass(frozen=True, slots=True)
class Wishes:
    """What a client wants of one metal."""

    lines: tuple[Line, ...] = ()
    remainder: str = "pay_out"


NO_WISHES = Wishes()
# Between the finenesses that bars usually have, 995 and 999.9 ‰, lies less (common practice, no source).
_MOST_PURER_PPT = Exact(10)


@dataclass(frozen=True, slots=True)
class Reading:
    """A weighing of a bar and the assay of its metal: grams, parts per thousand."""

    weight_g: Exact
    division_g: Exact
    assay_ppt: Exact
    assay_u_ppt: Exact


@dataclass(frozen=True, slots=True)
class Poured:
    """A poured bar: which line it fills, and what it states."""

    serial: str
    line: int
    stated_g: Exact
    stated_ppt: Exact

    @property
    def stated_mg(self) -> int:
        """Fine metal that the bar states, down to the milligram: never more than is there (A6)."""
        return milligrams_down(self.stated_g * self.stated_ppt / WHOLE_PPT)


@dataclass(frozen=True, slots=True)
class Bar:
    """A bar in a statement: planned, or poured with its serial.

    `gift_mg` is what it states above what it takes (the house's), `below_mg` what a
    whole bar takes and doesn't state.
    """

    line: int
    nominal_g: Exact | None
    fineness_ppt: Exact
    takes_mg: int
    poured: Poured | None = None
    gift_mg: int = 0
    below_mg: int = 0

    def is_too_much(self, terms: Terms) -> bool:
        """Whether the house gives away more in it than one over-pour and what is purer than promised (E4)."""
        purer_g = (self.nominal_g or ZERO) * _MOST_PURER_PPT / WHOLE_PPT
        return in_grams(self.gift_mg) > terms.over_pour_g + purer_g

    def is_too_little(self, terms: Terms) -> bool:
        """Whether a whole bar takes more that it doesn't state than one over-pour, the step of stated
        weights, and what is purer than it states: the client would lose it."""
        purer_g = in_grams(self.takes_mg) * _MOST_PURER_PPT / WHOLE_PPT
        return in_grams(self.below_mg) > terms.over_pour_g + terms.stating_step_g + purer_g


@dataclass(frozen=True, slots=True)
class Placed:
    """The bars of one metal, alike ones told once with their number; the excess over A, and who
    bears it (E4). `counts` are bars by line."""

    runs: tuple[tuple[Bar, int], ...]
    counts: tuple[int, ...]
    top_up_mg: int
    excess_gift_mg: int

    @property
    def bars(self) -> tuple[Bar, ...]:
        return tuple(bar for bar, number in self.runs for _ in range(number))

    @property
    def number(self) -> int:
        return sum(self.counts)

    @property
    def total_mg(self) -> int:
        """What all of them take."""
        return sum(bar.takes_mg * number for bar, number in self.runs)

    def excess_is_too_much(self, terms: Terms) -> bool:
        """Whether bars go beyond A by more than one over-pour (E4)."""
        return in_grams(self.excess_gift_mg) > terms.over_pour_g

    def given_too_much_mg(self, terms: Terms) -> int:
        """What the house would give away beyond E4's bounds, all bars of the metal together and each by
        itself: not without an owner's word."""
        by_bar = sum(bar.gift_mg for bar in self.bars if bar.is_too_much(terms))
        return by_bar + (self.excess_gift_mg if self.excess_is_too_much(terms) else 0)

    def below_too_much_mg(self, terms: Terms) -> int:
        """What whole bars take and don't state, beyond what weighing and stating leave: the client's loss."""
        return sum(bar.below_mg for bar in self.bars if bar.is_too_little(terms))


def read_instructions(data: object, terms: Terms, faults: Faults, pointer: str = "") -> Mapping[str, Wishes]:
    """The client's wishes by metal, every fault gathered; a metal not named is paid out."""
    reader = Reader({} if data is None else data, faults, pointer)
    wishes = {}
    for metal in reader.data:
        inner = reader.object(metal)
        if metal not in terms.metals:
            right = "one of " + ", ".join(terms.metals)
            reader.fault(metal, "unknown-metal", f'"{metal[:20]}" is not in the terms', right)
            continue
        wishes[metal] = _wishes(inner)
    covering = [m for m, w in wishes.items() if w.remainder == "cover_charges"]
    for metal in covering[1:]:
        wrong = f"{covering[0]} is to cover them already"
        reader.object(metal).fault("remainder", "two-metals-cover", wrong, "one metal at most")
    return wishes


def _wishes(r: Reader) -> Wishes:
    raw = r.data.get("bars", ())
    if isinstance(raw, Sequence) and len(raw) > MOST_LINES:
        r.fault("bars", "out-of-range", f"{len(raw)} lines", f"{MOST_LINES} at most")
        return NO_WISHES
    lines = tuple(_line(inner) for inner in r.objects("bars"))
    for i, line in enumerate(lines):
        if line.top_up and any(before.top_up for before in lines[:i]):
            r.faults.add("two-top-ups", r.at("bars", i, "top_up"), "a line above has it", "one line a metal")
        if line.count == "whole" and i < len(lines) - 1:
            r.faults.add("contradiction", r.at("bars", i, "count"), "lines follow it", "`whole` comes last")
    return Wishes(lines, r.word("remainder", REMAINDERS, "pay_out"))


def _line(r: Reader) -> Line:
    fineness = r.decimal("fineness", most=WHOLE_PPT, kind="fineness-above-1000", stand_in=WHOLE_PPT)
    count = _count(r)
    top_up = r.flag("top_up")
    if count == "whole":
        if r.has("nominal"):
            r.fault("nominal", "contradiction", "a whole bar has no nominal weight", "leave it out")
        if top_up:
            r.fault("top_up", "contradiction", "a whole bar can't be topped up", "leave it out")
        return Line(None, fineness, count)
    line = Line(r.weight("nominal"), fineness, count, top_up)
    if top_up and count == "most":
        r.fault("top_up", "contradiction", "`most` is no number of bars", "a number of bars")
    if line.takes_mg == 0:
        r.fault("nominal", "out-of-range", "it takes less than a milligram of fine metal", "a heavier bar")
        return Line(Exact(1), WHOLE_PPT, count, top_up)
    return line


def _count(r: Reader) -> int | str:
    if r.data.get("count") in ("most", "whole"):
        return str(r.data["count"])
    if isinstance(r.data.get("count"), str):
        r.fault("count", "not-one-of", "neither a number nor a known word", "a number, `most` or `whole`")
        return 1
    return r.count("count", most=MOST_BARS)


def plan(wishes: Wishes, accountable_mg: int) -> Placed:
    """Bars as they would be poured from `accountable_mg`, lines in the order asked (E1)."""
    left, top_up = accountable_mg, 0
    runs, counts = list[tuple[Bar, int]](), list[int]()
    for i, line in enumerate(wishes.lines):
        planned, takes = line.fitting(left)
        bought = _bought(line, planned + 1, takes, left)
        if bought and planned < int(line.count):
            planned, top_up = planned + 1, bought
        runs.append((Bar(i, line.nominal_g, line.fineness_ppt, takes), planned))
        counts.append(planned)
        left = max(0, left - planned * takes)
    return Placed(tuple(runs), tuple(counts), top_up, 0)


def _bought(line: Line, number: int, takes_mg: int, left_mg: int) -> int:
    """What the client buys so that `number` bars of a line are covered: of one more than fits at
    most, and only where something is left for it (E4)."""
    fits = left_mg // takes_mg if takes_mg else 0
    if not line.top_up or number <= fits or left_mg == fits * takes_mg:
        return 0
    return (fits + 1) * takes_mg - left_mg


def bound_fault(counts: Iterable[int], pointer: str) -> Fault | None:
    """More bars of a metal, by line, than a request may ask for, with the bound (E1)."""
    for i, planned in enumerate(accumulate(counts)):
        if planned > MOST_BARS:
            right = f"bars so heavy that at most {MOST_BARS} are poured of one metal"
            return Fault("too-many-bars", f"{pointer}/bars/{i}", f"{planned} bars", right)
    return None


def place(wishes: Wishes, poured: Sequence[Poured], accountable_mg: int) -> Placed:
    """Bars as they were poured (E1, E4): each takes nominal × promised fineness, a whole one the rest.

    The excess is told line by line: a top-up agreed on one line excuses no bar of another.
    """
    left, top_up, gift = accountable_mg, 0, 0
    runs, counts = list[tuple[Bar, int]](), list[int]()
    for i, line in enumerate(wishes.lines):
        there = [bar for bar in poured if bar.line == i]
        taken = 0
        for bar in there:
            takes = max(0, left - taken) if line.count == "whole" else line.takes_mg
            runs.append((_placed(line, bar, takes), 1))
            taken += takes
        bought = _bought(line, len(there), line.takes_mg, left)
        top_up += bought
        gift += max(0, taken - left - bought)
        counts.append(len(there))
        left = max(0, left - taken)
    return Placed(tuple(runs), tuple(counts), top_up, gift)


def _placed(line: Line, bar: Poured, takes_mg: int) -> Bar:
    above = bar.stated_mg - takes_mg
    return Bar(bar.line, line.nominal_g, line.fineness_ppt, takes_mg, bar, max(0, above), max(0, -above))


def stated_fineness(terms: Terms, assay_ppt: Exact, u_ppt: Exact) -> Exact:
    """The highest step of the house not above assayed less 2u; below the lowest, down to 0.1 ‰ (A6)."""
    sure = max(ZERO, assay_ppt - 2 * u_ppt)
    steps = [step for step in terms.fineness_steps_ppt if step <= sure]
    return steps[-1] if steps else down_to(sure, _TENTH_PPT)


def stated_weight(terms: Terms, reading: Reading) -> Exact:
    """The reading less half a division, rounded down to the stating step (A6)."""
    return max(ZERO, down_to(reading.weight_g - reading.division_g / 2, terms.stating_step_g))


def pour(terms: Terms, wishes: Wishes, line_no: int, reading: Reading, serial: str, at: str = "") -> Poured:
    """A poured bar as it may be stated, or `Refused` with what is wrong with it (A6, E2)."""
    line = wishes.lines[line_no]
    faults = Faults()
    fineness = stated_fineness(terms, reading.assay_ppt, reading.assay_u_ppt)
    if fineness < line.fineness_ppt:
        wrong = f"it can state {plain(fineness)} ‰, {plain(line.fineness_ppt)} ‰ was promised"
        faults.add("bar-below-promise", f"{at}/line", wrong, "an assay, less twice its u, that reaches it")
    if line.nominal_g is None:
        faults.refuse_if_any()
        return Poured(serial, line_no, stated_weight(terms, reading), fineness)
    least = line.nominal_g + reading.division_g / 2
    most = line.nominal_g + terms.over_pour_g
    between = f"a reading from {plain(least)} to {plain(most)} g"
    if reading.weight_g < least:
        faults.add("bar-under-nominal", f"{at}/reading", f"{plain(reading.weight_g)} g is too light", between)
    elif reading.weight_g > most:
        faults.add("bar-over-pour", f"{at}/reading", f"{plain(reading.weight_g)} g is too heavy", between)
    faults.refuse_if_any()
    return Poured(serial, line_no, line.nominal_g, fineness)


def mould_fault(nominal_g: Exact, over_pour_g: Exact, division_g: Exact, pointer: str) -> Fault | None:
    """A mould that no reading of the scale can satisfy: no multiple of d from nominal + d/2
    to nominal + over-pour (E2)."""
    first = -((-(nominal_g + division_g / 2)) // division_g) * division_g
    if first <= nominal_g + over_pour_g:
        return None
    wrong = f"the first reading that shows it full is {plain(first)} g"
    right = f"an over-pour of {plain(first - nominal_g)} g or more, or a finer scale"
    return Fault("mould-unreachable", pointer, wrong, right)
