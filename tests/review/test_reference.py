"""The review's estimates against a reference: restricted maximum likelihood by dense matrices in scipy.

The reference shares no formula with `fit`: the means come from `scipy.linalg.lstsq` on whitened rows, the
variances from `scipy.optimize.minimize` of the restricted likelihood, which knows no derivative.
"""

import random
from fractions import Fraction

import numpy as np
import pytest
from scipy import linalg, optimize

from settle.reckoning.fit import Belief, Equation, fit
from settle.reckoning.history import equation
from settle.reckoning.review import review
from tests.simulation import house, light
from tests.simulation.truth import Kind, Market, World

KINDS = (
    Kind("hallmark", -2.0, 4.0, 3.0),
    Kind("stamp only", -9.0, 8.0, 6.0),
    Kind("xrf", 1.0, 5.0, 4.0, by_instrument=True),
)
WORLD = World(KINDS)
F = Fraction
TERMS = light.read(house.terms(WORLD, [("hallmark", {"bias": 0.0, "scatter": 3.0, "shared": 2.0})]))


def lots_of_many_shops(n, seed):
    """What a kind has in common is drawn anew for each lot, so that scatter and shared can be told apart."""
    rng = random.Random(seed)
    market = Market(WORLD, rng)
    found = []
    for i in range(n):
        market.new_shop()
        assayed, _ = light.history(WORLD, TERMS, market, 1)
        found.append(assayed[0].__class__(f"L-{i}", assayed[0].seen, assayed[0].found, assayed[0].held))
    return found


def as_matrices(equations):
    names = [(k.name, "") for k in KINDS]
    spreads = [(name, what) for name in names for what in ("scatter", "shared")]
    y = np.array([float(e.left) for e in equations])
    x = np.array([[float(e.means.get(n, 0)) for n in names] for e in equations])
    z = np.array([[float(e.spreads.get(s, 0)) for s in spreads] for e in equations])
    known = np.array([float(e.known) for e in equations])
    return names, spreads, y, x, z, known


def whitened(y, x, variances):
    """Means, their covariance, and the sum of squares that is left over."""
    root = np.sqrt(variances)
    means, left, *_ = linalg.lstsq(x / root[:, None], y / root)
    return means, linalg.inv((x / variances[:, None]).T @ x), float(left)


def restricted_likelihood(y, x, z, known, theta):
    v = known + z @ theta
    _, covariance, left = whitened(y, x, v)
    return -0.5 * (np.log(v).sum() - np.linalg.slogdet(covariance)[1] + left)


def reference(y, x, z, known):
    """Means, their covariance, and the variances that scipy's simplex finds most likely."""
    start = np.full(z.shape[1], np.log(25.0))
    found = optimize.minimize(
        lambda log: -restricted_likelihood(y, x, z, known, np.exp(log)),
        start,
        method="Nelder-Mead",
        options={"xatol": 1e-7, "fatol": 1e-10, "maxiter": 50_000, "maxfev": 50_000, "adaptive": True},
    )
    assert found.success, found.message
    theta = np.exp(found.x)
    means, covariance, _ = whitened(y, x, known + z @ theta)
    return means, covariance, theta


@pytest.fixture(scope="module")
def many():
    return lots_of_many_shops(250, 21)


@pytest.fixture(scope="module")
def reckoned(many):
    return review(TERMS, many, [])


@pytest.fixture(scope="module")
def matrices(many):
    return as_matrices([equation(lot, "gold") for lot in many])


def test_biases_and_their_uncertainty_agree_with_the_reference(reckoned, matrices):
    names, _, y, x, z, known = matrices
    means, covariance, _ = reference(y, x, z, known)
    for judged in reckoned.kinds:
        if judged.found is not None:
            i = names.index((judged.kind, ""))
            assert float(judged.found.bias_ppt) == pytest.approx(means[i], abs=0.01)
            assert float(judged.found.u_ppt) == pytest.approx(covariance[i, i] ** 0.5, rel=0.005)
    assert sum(judged.found is not None for judged in reckoned.kinds) == len(KINDS)


def test_scatter_and_shared_agree_with_the_reference(reckoned, matrices):
    _, spreads, y, x, z, known = matrices
    _, _, theta = reference(y, x, z, known)
    of = {(j.kind, ""): j.found for j in reckoned.kinds if j.found is not None}
    for (name, what), variance in zip(spreads, theta, strict=True):
        found = of[name].scatter_ppt if what == "scatter" else of[name].shared_ppt
        assert float(found) == pytest.approx(variance**0.5, rel=0.001, abs=0.01)


def test_no_other_variances_are_more_likely(reckoned, matrices):
    _, _, y, x, z, known = matrices
    of = {j.kind: j.found for j in reckoned.kinds if j.found is not None}
    roots = [r for k in KINDS for r in (of[k.name].scatter_ppt, of[k.name].shared_ppt)]
    theta = np.array([float(r) ** 2 + 1e-9 for r in roots])
    best = restricted_likelihood(y, x, z, known, theta)
    for i in np.flatnonzero(theta > 1e-3):
        for factor in (0.9, 1.1):
            other = theta.copy()
            other[i] *= factor
            assert restricted_likelihood(y, x, z, known, other) < best


def test_it_finds_what_is_true_within_its_own_uncertainty(reckoned):
    """A lot of several kinds speaks for all of them: hardly a lot here has one kind alone."""
    of = {j.kind: j.found for j in reckoned.kinds if j.found is not None}
    for kind in KINDS:
        assert abs(float(of[kind.name].bias_ppt) - kind.bias) < 3 * float(of[kind.name].u_ppt)


# Small cases that can be worked in the head --------------------------------------------------------


def alike(*left, worth=0, bias=0, spread=4):
    """One reading a row, all of one kind, scatter and shared not to be told apart."""
    rows = [Equation(F(v), {"k": F(1)}, {"s": F(1)}) for v in left]
    return fit(rows, Belief({"k": F(bias)}, {"k": ("s",)}, {"s": F(spread)}, worth))


def test_rows_that_are_alike_have_the_mean_and_the_variance_of_the_schoolbook():
    found = alike(1, 2, 4, 9)
    assert float(found.means["k"]) == pytest.approx(4, abs=1e-4)
    assert float(found.spreads["s"]) == pytest.approx((9 + 4 + 0 + 25) / 3, rel=1e-5)
    assert float(found.variances["k"]) == pytest.approx((9 + 4 + 0 + 25) / 3 / 4, rel=1e-4)


@pytest.mark.parametrize(("rows", "part"), [(10, 1 / 2), (30, 3 / 4), (90, 9 / 10)])
def test_a_history_of_n_rows_weighs_n_in_n_and_ten(rows, part):
    found = alike(*[-1, 1] * (rows // 2), worth=10, bias=8)
    assert float(found.means["k"]) == pytest.approx(8 * (1 - part), abs=1e-6)


def test_what_is_known_of_a_row_is_taken_off():
    rows = [Equation(F(v), {"k": F(1)}, {"s": F(1)}, F(5)) for v in (1, 2, 4, 9)]
    found = fit(rows, Belief({"k": F(0)}, {"k": ("s",)}, {"s": F(1)}))
    assert float(found.spreads["s"]) == pytest.approx(38 / 3 - 5, rel=1e-4)


def test_a_variance_that_the_rows_deny_goes_to_nothing():
    rows = [Equation(F(v), {"k": F(1)}, {"s": F(1)}, F(50)) for v in (1, 2, 4, 9)]
    assert float(fit(rows, Belief({"k": F(0)}, {"k": ("s",)}, {"s": F(1)})).spreads["s"]) < 1e-5


def test_two_variances_that_cant_be_told_apart_keep_their_proportion():
    rows = [Equation(F(v), {"k": F(1)}, {"s": F(1), "t": F(1)}) for v in (1, 2, 4, 9)]
    found = fit(rows, Belief({"k": F(0)}, {"k": ("s", "t")}, {"s": F(9), "t": F(3)}))
    assert float(found.spreads["s"] + found.spreads["t"]) == pytest.approx(38 / 3, rel=1e-4)
    assert float(found.spreads["s"] - found.spreads["t"]) == pytest.approx(6, rel=0.01)
