"""Which moulds to pour from a weight in hand: exact, not greedy (E5).

All weights become whole multiples of one common unit. For a number of bars, a plan is
what its bars lack of as many of the largest: the least lack that still lets them fit
leaves least. That search is small; it is pruned by what the lacks have in common.
"""

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from math import gcd, lcm

from settle.reckoning.exact import ZERO, Exact, plain
from settle.reckoning.problems import Fault, Faults, Refused

LEAST_LEFT, FEWEST_BARS = "least_left", "fewest_bars"
PLAN_WISHES = (LEAST_LEFT, FEWEST_BARS)
MOST_MOULDS = 6
MOST_BARS = 200
# Half a milligram: less can't be read off a scale (E2), and would make the search a long one.
LEAST_OVER_POUR_G = Exact(1, 2000)


@dataclass(frozen=True, slots=True)
class PourPlan:
    """How many bars of each mould, in the order the moulds were given; grams."""

    wish: str
    weight_g: Exact
    moulds_g: tuple[Exact, ...]
    over_pour_g: Exact
    counts: tuple[int, ...]

    @property
    def bars(self) -> int:
        return sum(self.counts)

    @property
    def nominal_g(self) -> Exact:
        """Σ nominal of the bars."""
        return sum((n * m for n, m in zip(self.counts, self.moulds_g, strict=True)), ZERO)

    @property
    def leaves_g(self) -> Exact:
        """weight − Σ nominal: what is in no bar."""
        return self.weight_g - self.nominal_g

    @property
    def leaves_at_least_g(self) -> Exact:
        """What would be left if every bar were poured to its limit; never below 0."""
        return self.leaves_g - self.bars * self.over_pour_g


def pour_plan(
    weight_g: Exact, moulds_g: Sequence[Exact], over_pour_g: Exact, wish: str, pointer: str = ""
) -> PourPlan:
    """The best plan of at most `MOST_BARS` bars for a weight in hand (E5).

    `least_left`: least left, then fewest bars. `fewest_bars`: of plans to which no further
    bar fits, fewest bars, then least left. Last tie: more of the larger bars.
    Raises `Refused` where the question has no answer within the bounds.
    """
    _refuse_what_is_no_question(weight_g, moulds_g, over_pour_g, wish, pointer)
    scale = lcm(*(f.denominator for f in (weight_g, over_pour_g, *moulds_g)))
    by_size = sorted(range(len(moulds_g)), key=lambda i: -moulds_g[i])
    sizes = [int(moulds_g[i] * scale) for i in by_size]
    question = _Question(int(weight_g * scale), int(over_pour_g * scale), sizes)
    found = question.least_left() if wish == LEAST_LEFT else question.fewest_bars()
    if found is None:
        wrong = f"more than {MOST_BARS} bars fit into {plain(weight_g)} g"
        right = "larger moulds, or the weight in parts"
        raise Refused(Fault("too-many-bars", f"{pointer}/moulds", wrong, right))
    counts = [0] * len(sizes)
    for i, n in zip(by_size, found, strict=True):
        counts[i] = n
    return PourPlan(wish, weight_g, tuple(moulds_g), over_pour_g, tuple(counts))


def _refuse_what_is_no_question(
    weight_g: Exact, moulds_g: Sequence[Exact], over_pour_g: Exact, wish: str, pointer: str
) -> None:
    faults = Faults()
    if weight_g < 0:
        faults.add("weight-not-positive", f"{pointer}/weight", "below zero", "a weight in hand")
    if over_pour_g < LEAST_OVER_POUR_G:
        wrong = f"{plain(over_pour_g)} g: no scale of the shop shows such a bar full"
        right = f"half a division of the scale or more, and {plain(LEAST_OVER_POUR_G)} g at least"
        faults.add("mould-unreachable", f"{pointer}/over_pour", wrong, right)
    if not 1 <= len(moulds_g) <= MOST_MOULDS:
        wrong, right = f"{len(moulds_g)} moulds", f"from 1 to {MOST_MOULDS}"
        faults.add("out-of-range", f"{pointer}/moulds", wrong, right)
    for i, mould in enumerate(moulds_g):
        if mould <= 0:
            wrong, right = f"{plain(mould)} g", "a nominal weight above zero"
            faults.add("weight-not-positive", f"{pointer}/moulds/{i}", wrong, right)
        if mould in moulds_g[:i]:
            wrong = f"{plain(mould)} g stands there twice"
            faults.add("contradiction", f"{pointer}/moulds/{i}", wrong, "each mould once")
    if wish not in PLAN_WISHES:
        faults.add("not-one-of", f"{pointer}/wish", "no such wish", "one of " + ", ".join(PLAN_WISHES))
    faults.refuse_if_any()


class _Question:
    """The weight, the over-pour and the sizes, largest first, in whole units."""

    def __init__(self, weight: int, over: int, sizes: list[int]) -> None:
        self.weight, self.over, self.sizes = weight, over, sizes
        self.common = gcd(*sizes)
        # With fewer bars than this one more of the largest fits, and leaves less.
        self.least_bars = weight // (sizes[0] + over)
        most = min(MOST_BARS, weight // (sizes[-1] + over))
        self.lacks = _Lacks([sizes[0] - size for size in sizes[1:]], most)

    def least_left(self) -> tuple[int, ...] | None:
        best: tuple[int, ...] | None = None
        left = self.weight + 1
        for bars in range(self.least_bars, MOST_BARS + 1):
            room = self.weight - bars * self.over
            # Further bars only take more over-pour: what these can leave at least, they can too.
            if room < 0 or self.weight - room // self.common * self.common >= left:
                break
            whole = bars * self.sizes[0]
            counts = self.lacks.least(bars, whole - room, left - self.weight + whole - 1)
            if counts is not None:
                best, left = counts, self.weight - self._nominal(counts)
        return best if best is not None and not self._another_fits(best) else None

    def fewest_bars(self) -> tuple[int, ...] | None:
        for bars in range(self.least_bars, MOST_BARS + 1):
            room = self.weight - bars * self.over
            whole = bars * self.sizes[0]
            # So much may be lacking that the smallest bar just doesn't fit any more.
            most = whole - room + self.sizes[-1] + self.over - 1
            counts = self.lacks.least(bars, whole - room, most)
            if counts is not None:
                return counts
        return None

    def _nominal(self, counts: tuple[int, ...]) -> int:
        return sum(n * size for n, size in zip(counts, self.sizes, strict=True))

    def _another_fits(self, counts: tuple[int, ...]) -> bool:
        poured = self._nominal(counts) + sum(counts) * self.over
        return poured + self.sizes[-1] + self.over <= self.weight


# Lack, bars, and the count of each of the last two sizes (or of the one).
_Pair = tuple[int, int, tuple[int, ...]]


class _Lacks:
    """What a bar of each size but the largest lacks of the largest, ascending.

    The last two sizes tried are looked up: `pairs` holds what so many of each lack together,
    least lack first.
    """

    def __init__(self, lacks: list[int], most_bars: int) -> None:
        self.lacks = lacks
        self.order = _commensurable_last(lacks)
        rest = [self.order[i:] for i in range(len(lacks))]
        self.common = [gcd(*(lacks[i] for i in r)) for r in rest]
        self.greatest = [max(lacks[i] for i in r) for r in rest]
        self.most_bars = most_bars
        self.pairs: list[_Pair] = []
        self.top = -1

    def reach(self, top: int) -> None:
        """See to it that `pairs` holds every lack of the last two sizes up to `top`."""
        if top <= self.top:
            return
        self.top = top = 2 * top
        most, last = self.most_bars, [self.lacks[i] for i in self.order[-2:]]
        if len(last) < 2:
            self.pairs = [(n * lack, n, (n,)) for lack in last for n in range(most + 1)]
            return
        one, other = last
        self.pairs = sorted(
            (n * one + m * other, n + m, (n, m))
            for n in range(min(most, top // one) + 1)
            for m in range(min(most - n, (top - n * one) // other) + 1)
        )

    def least(self, bars: int, need: int, most: int) -> tuple[int, ...] | None:
        """Counts of all sizes, `bars` in all, that lack least from `need` to `most`, if any do."""
        if need <= 0:
            return (bars, *(0 for _ in self.lacks)) if most >= 0 else None
        if not self.lacks or need > most:
            return None
        # Whatever the bars allow, one of the last two sizes steps over `need` by less than itself.
        self.reach(need + self.greatest[0])
        search = _Search(self, most)
        search.down(0, bars, need)
        if search.best is None:
            return None
        others = [-n for n in search.best[2]]
        return (bars - sum(others), *others)


class _Search:
    """Branch and bound over the counts of one number of bars; `best` is lack, bars used, −counts.

    Fewer bars that are not of the largest, then more of the next: more of the larger bars.
    """

    def __init__(self, of: _Lacks, most: int) -> None:
        self.of, self.most = of, most
        self.counts = [0] * len(of.lacks)
        self.lack = self.used = 0
        self.best: tuple[int, int, list[int]] | None = None
        self.seen: dict[tuple[int, int], list[int]] = {}

    def down(self, depth: int, bars: int, rest: int) -> None:
        """Try every count of the sizes from `depth` on that may still be better; `rest` is needed."""
        if rest <= 0:
            self._keep()
        elif self._hopeless(depth, bars, rest):
            return
        elif depth >= len(self.counts) - 2:
            self._look_up(bars, rest)
        else:
            i = self.of.order[depth]
            lack = self.of.lacks[i]
            for n in range(min(bars, -(-rest // lack)), -1, -1):
                self._add(i, n)
                self.down(depth + 1, bars - n, rest - n * lack)
                self._add(i, -n)

    def _add(self, i: int, n: int) -> None:
        self.counts[i] += n
        self.used += n
        self.lack += n * self.of.lacks[i]

    def _hopeless(self, depth: int, bars: int, rest: int) -> bool:
        greatest, common = self.of.greatest[depth], self.of.common[depth]
        if rest > bars * greatest:
            return True
        least = self.lack - -rest // common * common
        if least > self.most or self.best is None:
            return least > self.most
        return (least, self.used - -rest // greatest) > self.best[:2]

    def _look_up(self, bars: int, rest: int) -> None:
        """The last two sizes: the least that they can lack together from `rest` on."""
        before = self.seen.get((self.lack, self.used))
        if before is not None and before >= self.counts:
            return
        self.seen[self.lack, self.used] = self.counts.copy()
        pairs, last = self.of.pairs, self.of.order[-2:]
        for k in range(bisect_left(pairs, (rest,)), len(pairs)):
            lack, used, counts = pairs[k]
            if self.lack + lack > self.most:
                return
            if used <= bars:
                for i, n in zip(last, counts, strict=True):
                    self._add(i, n)
                self._keep()
                for i, n in zip(last, counts, strict=True):
                    self._add(i, -n)
                return

    def _keep(self) -> None:
        key = (self.lack, self.used, [-n for n in self.counts])
        if self.lack <= self.most and (self.best is None or key < self.best):
            self.best, self.most = key, self.lack


def _commensurable_last(lacks: list[int]) -> list[int]:
    """An order in which what is still to be tried has much in common, so that little of it need be."""
    order: list[int] = []
    left = list(range(len(lacks)))
    common = 0
    while left:
        following = max(left, key=lambda i: (gcd(common, lacks[i]), -lacks[i]))
        common = gcd(common, lacks[following])
        order.insert(0, following)
        left.remove(following)
    return order
