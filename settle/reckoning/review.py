"""What the shop's own history says of its evidence and its recoveries, and the terms that it supports.

What can be told: a deviation that a shop always has is `bias` to it, and so is what its terms
called `shared` as long as it never changes; `shared` keeps what the articles of one lot have in
common, and how unsure the bias still is. Scatter and shared part company only in lots with
several articles of a kind. The method is that of `fit`.
"""

from collections.abc import Collection, Mapping, Sequence
from copy import deepcopy
from dataclasses import dataclass
from typing import Any

from settle.reckoning.exact import ONE, ZERO, Exact, half_even, plain, root, shown, within
from settle.reckoning.fineness import WHOLE_PPT
from settle.reckoning.fit import Belief, Equation, Fitted, Name, fit
from settle.reckoning.history import (
    SCATTER,
    SHARED,
    Account,
    AssayedLot,
    Key,
    articles,
    equation,
    marks,
    of_recovery,
)
from settle.reckoning.reading import Json
from settle.reckoning.terms import ALLOY_TABLE, Evidence, Terms

ENOUGH = 10  # lots or accounts below which nothing is proposed
WORTH = 10  # lots or accounts of history that the present terms count as
MOST_APART = 12  # marks judged apart, those of most lots: the work grows with the cube of them
FAR = 4  # standard uncertainties beyond which a lot is named
_PPT_PLACES, _PART_PLACES = 1, 4


@dataclass(frozen=True, slots=True)
class Worth:
    """What evidence is worth, parts per thousand (B3); `u_ppt` is of the bias as an estimate."""

    bias_ppt: Exact
    scatter_ppt: Exact
    shared_ppt: Exact
    u_ppt: Exact = ZERO


@dataclass(frozen=True, slots=True)
class Judged:
    """A kind of evidence, or a mark of a kind.

    How much history, in how many lots several articles, how often the band held the assay; what
    history alone finds and what is proposed (None where it is too short); `widening` is the mean
    square of what is left over in units of the terms' own variance: 1 where they are right.
    """

    kind: str
    mark: str
    lots: int
    articles: int
    lots_of_several: int
    held: int
    present: Worth
    found: Worth | None = None
    proposed: Worth | None = None
    widening: Exact | None = None


@dataclass(frozen=True, slots=True)
class Recovery:
    """A metal's recoveries and their scatter, as parts; as many accounts as there are."""

    metal: str
    accounts: int
    present: tuple[Exact, Exact]
    found: tuple[Exact, Exact] | None = None
    found_u: Exact = ZERO
    proposed: tuple[Exact, Exact] | None = None


@dataclass(frozen=True, slots=True)
class Review:
    """The whole review; `left_out` says why, of each lot and metal; `far_off` names lots with their z."""

    lots: int
    kinds: tuple[Judged, ...]
    marks: tuple[Judged, ...]
    recoveries: tuple[Recovery, ...]
    left_out: tuple[tuple[str, str, str], ...]
    far_off: tuple[tuple[str, str, Exact], ...]


@dataclass(frozen=True, slots=True)
class _Row:
    lot: AssayedLot
    metal: str
    equation: Equation

    @property
    def names(self) -> list[Key]:
        return [of for of, what in _spread_names(self.equation) if what == SHARED]


def _spread_names(of: Equation) -> list[tuple[Key, str]]:
    return [name for name in of.spreads if isinstance(name, tuple)]


def review(terms: Terms, lots: Sequence[AssayedLot], accounts: Sequence[Account]) -> Review:
    """What the history says against these terms."""
    rows, left_out = _rows(terms, lots)
    kinds = {(name, ""): _worth(terms, kind) for name, kind in terms.evidence.items() if kind.reckon}
    judged, fitted = _judged(kinds, rows)
    by_mark = _marks(terms, lots, {(j.kind, ""): j.proposed or j.present for j in judged})
    z = {} if fitted is None else {(r.lot.lot, r.metal): z for r, z in zip(rows, fitted.z, strict=True)}
    return Review(
        len(lots),
        tuple(judged),
        tuple(by_mark),
        tuple(_recovery(terms, metal, accounts) for metal in terms.metals),
        tuple(left_out),
        tuple((lot, metal, off) for (lot, metal), off in z.items() if abs(off) > FAR),
    )


def _rows(
    terms: Terms, lots: Sequence[AssayedLot], apart: Collection[Key] = ()
) -> tuple[list[_Row], list[tuple[str, str, str]]]:
    rows, left_out = [], []
    for lot in lots:
        for metal in terms.metals:
            made = equation(lot, metal, apart)
            if isinstance(made, Equation):
                row = _Row(lot, metal, made)
                if all(_is_known(terms, kind) for kind, _ in row.names):
                    rows.append(row)
                    continue
                unknown = ", ".join(kind for kind, _ in row.names if not _is_known(terms, kind))
                made = f"these terms say nothing of {unknown}"
            if made is not None:
                left_out.append((lot.lot, metal, made))
    return rows, left_out


def _is_known(terms: Terms, kind: str) -> bool:
    return kind in terms.evidence and terms.evidence[kind].reckon


def _worth(terms: Terms, kind: Evidence) -> Worth:
    if kind.name != ALLOY_TABLE:
        return Worth(kind.bias_ppt, kind.scatter_ppt, kind.shared_ppt)
    # What one lot tells of the table's bias is as unsure as its rows are wide (B5).
    squares = [(row.high_ppt - row.low_ppt) ** 2 / 12 for row in terms.alloy_silver]
    return Worth(kind.bias_ppt, root(sum(squares, ZERO) / max(len(squares), 1)), kind.shared_ppt)


def _marks(terms: Terms, lots: Sequence[AssayedLot], believed: Mapping[Key, Worth]) -> list[Judged]:
    """Each mark against its kind; marks of too few lots are counted, and judged with their kind."""
    names = sorted({name for lot in lots for name in marks(lot) if (name[0], "") in believed})
    rows, _ = _rows(terms, lots, names)
    nothing = [ONE] * len(rows)
    counted = [_judge(name, believed[name[0], ""], rows, None, None, nothing) for name in names]
    counted.sort(key=lambda of: -of.lots)
    apart = frozenset((of.kind, of.mark) for of in counted[:MOST_APART] if of.lots >= ENOUGH)
    rows, _ = _rows(terms, lots, apart)
    judged, _ = _judged(dict(believed) | {name: believed[name[0], ""] for name in apart}, rows)
    of_marks = {(j.kind, j.mark): j for j in judged if j.mark}
    return [of_marks.get((of.kind, of.mark), of) for of in counted]


def _belief(present: Mapping[Key, Worth], worth: int) -> Belief:
    means, told_with, spreads = dict[Name, Exact](), dict[Name, Sequence[Name]](), dict[Name, Exact]()
    for name, of in present.items():
        means[name], told_with[name] = of.bias_ppt, ((name, SCATTER), (name, SHARED))
        spreads[name, SCATTER], spreads[name, SHARED] = of.scatter_ppt**2, of.shared_ppt**2
    return Belief(means, told_with, spreads, worth)


def _judged(present: Mapping[Key, Worth], rows: Sequence[_Row]) -> tuple[list[Judged], Fitted | None]:
    used = {name for row in rows for name in row.names}
    there = {name: of for name, of in present.items() if name in used}
    if not there:
        return [_judge(name, of, [], None, None, []) for name, of in present.items()], None
    equations = [row.equation for row in rows]
    alone, together = (fit(equations, _belief(there, worth)) for worth in (0, WORTH))
    squares = _squares(_belief(there, 0).spreads, equations, together)
    return [_judge(name, of, rows, alone, together, squares) for name, of in present.items()], together


def _squares(stated: Mapping[Name, Exact], equations: Sequence[Equation], fitted: Fitted) -> list[Exact]:
    """z² of each equation around the fitted means, in the variance that the terms state."""
    squares = []
    for e in equations:
        off = e.left - sum((fitted.means[n] * x for n, x in e.means.items()), ZERO)
        variance = e.known + sum((stated[n] * z for n, z in e.spreads.items()), ZERO)
        squares.append(off**2 / variance if variance else ONE)
    return squares


def _judge(
    name: Key,
    present: Worth,
    rows: Sequence[_Row],
    alone: Fitted | None,
    together: Fitted | None,
    squares: Sequence[Exact],
) -> Judged:
    of_name = [(row, z2) for row, z2 in zip(rows, squares, strict=True) if name in row.names]
    lots = {row.lot.lot: row.lot for row, _ in of_name}
    counts = [articles(lot, {name}).get(name, 0) for lot in lots.values()]
    missed = {row.lot.lot for row, _ in of_name if not row.lot.held[row.metal]}
    judged = Judged(
        *name, len(lots), sum(counts), sum(n > 1 for n in counts), len(lots) - len(missed), present
    )
    if len(lots) < ENOUGH or alone is None or together is None:
        return judged
    return Judged(
        *(
            judged.kind,
            judged.mark,
            judged.lots,
            judged.articles,
            judged.lots_of_several,
            judged.held,
            present,
        ),
        found=_found(name, alone),
        proposed=_proposed(name, together, present),
        widening=sum((z2 for _, z2 in of_name), ZERO) / len(of_name),
    )


def _found(name: Key, of: Fitted) -> Worth:
    scatter, shared = (root(of.spreads[name, what]) for what in (SCATTER, SHARED))
    return Worth(of.means[name], scatter, shared, root(of.variances[name]))


def _proposed(name: Key, of: Fitted, present: Worth) -> Worth:
    """To the place that terms are read at, and within what they may say (a melt mistyped tenfold knows no
    bounds); `shared` bears how unsure the bias still is."""
    unsure = of.variances[name]
    scatter, shared = root(of.spreads[name, SCATTER]), root(of.spreads[name, SHARED] + unsure)
    return Worth(
        _to_place(within(of.means[name], -WHOLE_PPT, WHOLE_PPT), _PPT_PLACES),
        present.scatter_ppt if name[0] == ALLOY_TABLE else _to_place(min(scatter, WHOLE_PPT), _PPT_PLACES),
        _to_place(min(shared, WHOLE_PPT), _PPT_PLACES),
        root(unsure),
    )


def _to_place(value: Exact, places: int) -> Exact:
    return Exact(half_even(value, places), 10**places)


def _recovery(terms: Terms, metal: str, accounts: Sequence[Account]) -> Recovery:
    """Recoveries of a metal as deviations from the terms', ‰ of what went in."""
    rule = terms.metals[metal]
    present = (rule.recovery, rule.recovery_u)
    of_metal = [a for a in accounts if a.metal == metal and a.in_g]
    if len(of_metal) < ENOUGH:
        return Recovery(metal, len(of_metal), present)
    equations = [of_recovery(account, rule.recovery) for account in of_metal]
    spread = (rule.recovery_u * WHOLE_PPT) ** 2
    beliefs = (Belief({metal: ZERO}, {metal: (metal,)}, {metal: spread}, worth) for worth in (0, WORTH))
    alone, together = (fit(equations, belief) for belief in beliefs)
    expected = _part(rule.recovery, together, metal)
    scatter = root(together.spreads[metal] + together.variances[metal]) / WHOLE_PPT
    return Recovery(
        metal,
        len(of_metal),
        present,
        (_part(rule.recovery, alone, metal), root(alone.spreads[metal]) / WHOLE_PPT),
        root(alone.variances[metal]) / WHOLE_PPT,
        (
            _to_place(expected, _PART_PLACES),
            _to_place(min(scatter, ONE), _PART_PLACES),
        ),
    )


def _part(recovery: Exact, of: Fitted, metal: str) -> Exact:
    return within(recovery + of.means[metal] / WHOLE_PPT, ZERO, ONE)


def proposed_terms(data: Json, found: Review) -> dict[str, Any]:
    """The terms, as they were posted, with what the history supports in place of what they say."""
    proposed: dict[str, Any] = deepcopy(dict(data))
    for judged in found.kinds:
        if judged.proposed is not None:
            kind = proposed["evidence"][judged.kind]
            kind["bias"], kind["shared"] = plain(judged.proposed.bias_ppt), plain(judged.proposed.shared_ppt)
            if judged.kind != ALLOY_TABLE:
                kind["scatter"] = plain(judged.proposed.scatter_ppt)
    for of in found.recoveries:
        if of.proposed is not None:
            recovery, u = of.proposed
            proposed["metals"][of.metal] |= {"recovery": plain(recovery), "recovery_u": plain(u)}
    return proposed


def in_words(judged: Judged) -> list[str]:
    """What is to be said of a kind or a mark: whether its terms hold, and what can't be told."""
    of = judged.found
    if judged.mark and of is None and judged.lots >= ENOUGH:
        apart = f"the {MOST_APART} marks of most lots are judged apart"
        return [f"{_lots(judged.lots)} with it: judged with its kind, {apart}."]
    if of is None or judged.widening is None:
        return [f"{_lots(judged.lots)} with it: too few to say (from {ENOUGH} on)."]
    told = [*_of_bias(judged, of), *_of_scatter(judged)]
    if of.u_ppt**2 > max(ONE, *(w.scatter_ppt**2 + w.shared_ppt**2 for w in (of, judged.present))):
        # Less than one article by itself would tell.
        told.append("How far it lies off can't be told: it came in step with others, or weighed too little.")
    if judged.mark:
        # Terms know kinds: nothing is proposed for a mark, so nothing is to be told of how.
        return told or ["As its kind."]
    if judged.kind != ALLOY_TABLE and judged.lots_of_several < ENOUGH:
        told.append(
            f"Only {_lots(judged.lots_of_several)} held several articles of it: "
            "how much of the scatter they share can't be told."
        )
    return [*(told or ["The history agrees with the terms."]), *_of_proposal(judged, of)]


def _lots(n: int) -> str:
    return "1 lot" if n == 1 else f"{n} lots"


def _of_bias(judged: Judged, of: Worth) -> list[str]:
    present = judged.present
    off = of.bias_ppt - present.bias_ppt
    if abs(off) <= 2 * of.u_ppt:
        return []
    # Twice what is shown as u: a reader who doubles it finds this.
    twice = shown(2 * _to_place(of.u_ppt, _PPT_PLACES), _PPT_PLACES)
    found = f"The truth lay {_signed(of.bias_ppt)} ± {twice} ‰ from what was read"
    said = f"{'its kind is reckoned at' if judged.mark else 'the terms say'} {_signed(present.bias_ppt)} ‰"
    # Within twice `shared` the terms had said that a shop may find itself there.
    beyond = off**2 > 4 * (present.shared_ppt**2 + of.u_ppt**2)
    allow = "its figures allow for" if judged.mark else "they allow for"
    return [f"{found}; {said}: {'more than' if beyond else 'within what'} {allow}."]


def _of_scatter(judged: Judged) -> list[str]:
    widening = judged.widening or ONE
    # The mean of n squares of z has the variance 2 ÷ n.
    margin = 2 * root(Exact(2, judged.lots))
    if abs(widening - 1) <= margin:
        return []
    way = "wider" if widening > 1 else "narrower"
    said = "its kind" if judged.mark else "the terms say"
    return [f"Lots with it scatter {shown(root(widening), 2)} times as wide as {said}: {way}."]


def _of_proposal(judged: Judged, of: Worth) -> list[str]:
    """Why a proposed bias is not where one would look for it."""
    if judged.proposed is None:
        return []
    ends = [judged.present.bias_ppt, _to_place(of.bias_ppt, _PPT_PLACES)]
    if min(ends) <= judged.proposed.bias_ppt <= max(ends):
        return []
    return [
        "The bias proposed is not between the two: under the scatter proposed, of it and of what came in "
        "the same lots, lots count otherwise than in the history alone."
    ]


def _signed(value: Exact) -> str:
    text = shown(value, 1)
    return text.replace("-", "−") if value < 0 or text == "0" else f"+{text}"


def recovery_in_words(of: Recovery) -> list[str]:
    """What is to be said of a recovery; a lower one wants a look before it becomes a figure of the terms."""
    if of.found is None:
        accounts = "1 account" if of.accounts == 1 else f"{of.accounts} accounts"
        return [f"{accounts}: too few to say (from {ENOUGH} on)."]
    expected, _ = of.present
    if abs(of.found[0] - expected) <= 2 * of.found_u:
        return ["The history agrees with the terms."]
    twice = shown(2 * _to_place(of.found_u, _PART_PLACES), _PART_PLACES)
    found = f"{shown(of.found[0], _PART_PLACES)} ± {twice} came back; the terms say {plain(expected)}."
    if of.found[0] > expected:
        return [found]
    return [
        found,
        "A scale, an assay or a hand that always takes its part looks the same as a lower recovery: "
        "look there before you accept it.",
    ]
