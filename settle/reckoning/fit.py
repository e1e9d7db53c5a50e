"""What means and variances a history supports: weighted least squares, shrunk towards a belief.

A row of history is one equation in several unknowns: what was found, less what was read, is a
sum of means (each times its weight) and of deviations (each variance times its weight).

Means: generalised least squares (Aitken) for the variances as they stand. Variances: restricted
maximum likelihood (Patterson and Thompson 1971), by Fisher's scoring, kept above zero, a step that
makes the rows less likely halved until it doesn't. Belief: it
is `worth` imagined rows, each of one reading, that show just what is believed, and as many that
show how spreads divide; a history of n such rows weighs n ÷ (n + worth) beside it: the
credibility factor of Bühlmann (1967), the posterior of a conjugate normal prior. Names and years
from memory.

These are estimates, figures for terms, so they are taken in decimals of 34 digits: fractions
would grow without end from round to round. They are the same on every machine.
"""

from collections.abc import Hashable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Context, Decimal, localcontext
from math import prod
from operator import mul
from typing import TypeAlias

from settle.reckoning.exact import ZERO, Exact

Name: TypeAlias = Hashable

_DIGITS = 34
_MOST_ROUNDS, _MOST_HALVINGS = 100, 20
_CLOSE, _NOTHING = Decimal("1e-7"), Decimal("1e-6")
# A round that made the rows no likelier than this found nothing more: scatter and shared in step are flat.
_NO_LIKELIER = Decimal("1e-10")
# A variance that starts at nothing would stay there; and none moves further than this in a round.
_FIRST, _STRIDE = Decimal(1), 4
# Two variances that the rows can't tell apart keep their proportion: no step along that direction.
_RIDGE = Decimal("1e-9")
# A belief that one of two spreads is nothing must not keep it there for ever.
_LEAST_PART = Decimal("0.1")
# Without a belief a mean may be anything: three orders above what is asked for.
_VAGUE = Decimal(10**6)
_PLACES = 12


@dataclass(frozen=True, slots=True)
class Equation:
    """`left` = Σ mean × `means` + deviations of variance Σ spread × `spreads` + `known`."""

    left: Exact
    means: Mapping[Name, Exact]
    spreads: Mapping[Name, Exact]
    known: Exact = ZERO


@dataclass(frozen=True, slots=True)
class Belief:
    """What is believed before: each mean with the spreads of one row that would tell it, each
    spread (a variance), and how many rows of history that counts as."""

    means: Mapping[Name, Exact]
    told_with: Mapping[Name, Sequence[Name]]
    spreads: Mapping[Name, Exact]
    worth: int = 0


@dataclass(frozen=True, slots=True)
class Fitted:
    """Means, the variance of each as an estimate, the spreads; and z of every equation."""

    means: Mapping[Name, Exact]
    variances: Mapping[Name, Exact]
    spreads: Mapping[Name, Exact]
    z: Sequence[Exact]


@dataclass(slots=True)
class _Row:
    left: Decimal
    means: list[tuple[int, Decimal]]
    spreads: list[tuple[int, Decimal]]
    known: Decimal


_Matrix: TypeAlias = list[list[Decimal]]


def fit(equations: Sequence[Equation], belief: Belief) -> Fitted:
    """The means and spreads that the equations and the belief support together."""
    with localcontext(Context(prec=_DIGITS)):
        return _Fit(equations, belief).run()


def _decimal(value: Exact) -> Decimal:
    return Decimal(value.numerator) / Decimal(value.denominator)


def _exact(value: Decimal) -> Exact:
    return Exact(round(value, _PLACES))


class _Fit:
    """One fit: the rows, and means and spreads as they stand after a round."""

    def __init__(self, equations: Sequence[Equation], belief: Belief) -> None:
        self.mean_names, self.spread_names = list(belief.means), list(belief.spreads)
        at_mean = {name: i for i, name in enumerate(self.mean_names)}
        at_spread = {name: i for i, name in enumerate(self.spread_names)}
        self.rows = [
            _Row(
                _decimal(e.left),
                [(at_mean[name], _decimal(x)) for name, x in e.means.items()],
                [(at_spread[name], _decimal(z)) for name, z in e.spreads.items()],
                _decimal(e.known),
            )
            for e in equations
        ]
        self.believed = [_decimal(m) for m in belief.means.values()]
        self.told_with = [[at_spread[s] for s in belief.told_with[m]] for m in self.mean_names]
        self.believed_spreads = [_decimal(s) for s in belief.spreads.values()]
        self.worth = Decimal(belief.worth)
        self.spreads = [s or _FIRST for s in self.believed_spreads]
        self.means = list(self.believed)
        self.covariance: _Matrix = []
        self.likelihood = Decimal(0)
        self._fit_means()

    def run(self) -> Fitted:
        for _ in range(_MOST_ROUNDS):
            before, likelihood = self.spreads, self.likelihood
            self._step_up()
            if not self.worth and self.likelihood - likelihood <= _NO_LIKELIER:
                break
            if all(abs(a - b) <= _CLOSE * b + _NOTHING for a, b in zip(self.spreads, before, strict=True)):
                break
        names = self.mean_names
        return Fitted(
            {n: _exact(m) for n, m in zip(names, self.means, strict=True)},
            {n: _exact(self.covariance[i][i]) for i, n in enumerate(names)},
            {n: _exact(s) for n, s in zip(self.spread_names, self.spreads, strict=True)},
            [_exact(self._off(row) / self._variance(row).sqrt()) for row in self.rows],
        )

    def _step_up(self) -> None:
        """One round. Where the rows alone speak, a whole step may lead past what is most likely, and
        the next one back: without end. (Beliefs hold the steps in; theirs is no likelihood.)"""
        before, likelihood, steps = self.spreads, self.likelihood, self._scored()
        for _ in range(_MOST_HALVINGS):
            self.spreads = [s + step for s, step in zip(before, steps, strict=True)]
            self._fit_means()
            if self.worth or self.likelihood >= likelihood:
                return
            steps = [step / 2 for step in steps]
        self.spreads = before
        self._fit_means()

    def _variance(self, row: _Row) -> Decimal:
        return max(sum((self.spreads[i] * z for i, z in row.spreads), row.known), Decimal("1e-18"))

    def _off(self, row: _Row) -> Decimal:
        return row.left - sum((self.means[i] * x for i, x in row.means), Decimal(0))

    def _fit_means(self) -> None:
        """Normal equations around what is believed, their inverse (the covariance), and the logarithm of
        the restricted likelihood of the rows, twice."""
        variances = [self._variance(row) for row in self.rows]
        size = len(self.means)
        information: _Matrix = [[Decimal(0)] * size for _ in range(size)]
        told = [Decimal(0)] * size
        self.means = list(self.believed)
        for row, v in zip(self.rows, variances, strict=True):
            off = self._off(row) / v
            for i, x in row.means:
                told[i] += x * off
                for j, other in row.means:
                    information[i][j] += x * other / v
        for i, told_with in enumerate(self.told_with):
            information[i][i] += self.worth / self._of_one_row(told_with) if self.worth else 1 / _VAGUE
        factors = _Factors(information)
        self.covariance = factors.inverse()
        for i, of_row in enumerate(self.covariance):
            self.means[i] += _dot(of_row, told)
        left = sum((self._off(row) ** 2 / v for row, v in zip(self.rows, variances, strict=True)), Decimal(0))
        self.likelihood = -left - prod([*variances, *factors.pivots], start=Decimal(1)).ln()

    def _scored(self) -> list[Decimal]:
        """The steps of one round of scoring: information of the spreads, and what is left over against it."""
        variances = [self._variance(row) for row in self.rows]
        size = len(self.spreads)
        information: _Matrix = [[Decimal(0)] * size for _ in range(size)]
        score = [Decimal(0)] * size
        for row, v in zip(self.rows, variances, strict=True):
            self._score(row.spreads, v, self._off(row) ** 2 + self._unsure(row), score, information)
        for told_with in self.told_with if self.worth else ():
            for spreads, square in self._imagined(told_with):
                one = [(i, Decimal(1)) for i in spreads]
                self._score(one, self._of_one_row(spreads), square, score, information, self.worth)
        for i in range(size):
            information[i][i] += _RIDGE * information[i][i] or Decimal(1)
        return self._steps(information, score)

    def _steps(self, information: _Matrix, score: Sequence[Decimal]) -> list[Decimal]:
        """The step of each spread. One that would fall or rise too far goes as far as it may, and the
        others step with that known: a variance may end at nothing, and the rest must not pay for it."""
        low = [max(s / _STRIDE, _NOTHING) - s for s in self.spreads]
        high = [s * (_STRIDE - 1) for s in self.spreads]
        bound: dict[int, Decimal] = {}
        while True:
            free = [i for i in range(len(score)) if i not in bound]
            right = [
                score[i] - sum((information[i][j] * d for j, d in bound.items()), Decimal(0)) for i in free
            ]
            solved = _Factors([[information[i][j] for j in free] for i in free]).solved(right)
            steps = dict(zip(free, solved, strict=True))
            beyond = {i: low[i] for i in free if steps[i] < low[i]}
            beyond = beyond or {i: high[i] for i in free if steps[i] > high[i]}
            if not beyond:
                return [d for _, d in sorted((bound | steps).items())]
            bound |= beyond

    @staticmethod
    def _score(
        spreads: Sequence[tuple[int, Decimal]],
        variance: Decimal,
        square: Decimal,
        score: list[Decimal],
        information: _Matrix,
        times: Decimal = Decimal(1),
    ) -> None:
        over = times * (square - variance) / variance**2
        weight = times / variance**2
        for i, z in spreads:
            score[i] += z * over
            for j, other in spreads:
                information[i][j] += z * other * weight

    def _imagined(self, told_with: Sequence[int]) -> Iterator[tuple[Sequence[int], Decimal]]:
        """What imagined rows show: the spreads of one reading together are as believed, and they stand
        to each other as believed, whatever they come to."""
        believed = sum((self.believed_spreads[i] for i in told_with), Decimal(0))
        yield told_with, believed
        if len(told_with) > 1 and believed:
            for i in told_with:
                part = max(_LEAST_PART, min(self.believed_spreads[i] / believed, 1 - _LEAST_PART))
                yield [i], part * self._of_one_row(told_with)

    def _of_one_row(self, told_with: Sequence[int]) -> Decimal:
        return sum((self.spreads[s] for s in told_with), Decimal(0)) or _NOTHING

    def _unsure(self, row: _Row) -> Decimal:
        """Variance of the fitted part of a row: what makes the likelihood the restricted one."""
        return sum(
            (x * other * self.covariance[i][j] for i, x in row.means for j, other in row.means), Decimal(0)
        )


def _dot(a: Sequence[Decimal], b: Sequence[Decimal]) -> Decimal:
    return sum(map(mul, a, b), Decimal(0))


class _Factors:
    """L D Lᵀ of a symmetric positive definite matrix: no pivot is looked for. `pivots` is D."""

    def __init__(self, matrix: _Matrix) -> None:
        self.lower: _Matrix = []
        self.pivots: list[Decimal] = []
        for i, row in enumerate(matrix):
            part: list[Decimal] = []
            for above, value in zip(self.lower, row, strict=False):
                part.append(value - _dot(part, above))
            line = [p / pivot for p, pivot in zip(part, self.pivots, strict=True)]
            self.pivots.append(row[i] - _dot(part, line))
            self.lower.append(line)
        self.columns = [[line[i] for line in self.lower[i + 1 :]] for i in range(len(matrix))]

    def solved(self, right: Sequence[Decimal]) -> list[Decimal]:
        """What the matrix makes `right` of."""
        forward: list[Decimal] = []
        for value, line in zip(right, self.lower, strict=True):
            forward.append(value - _dot(forward, line))
        back: list[Decimal] = []
        for value, pivot, column in reversed(list(zip(forward, self.pivots, self.columns, strict=True))):
            back.insert(0, value / pivot - _dot(back, column))
        return back

    def inverse(self) -> _Matrix:
        size = range(len(self.pivots))
        return [self.solved([Decimal(int(i == j)) for j in size]) for i in size]
