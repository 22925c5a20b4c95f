"""Moments of quadratic forms against enumeration and closed forms; the Cornish–Fisher tail."""

from __future__ import annotations

import itertools
import math
from statistics import NormalDist

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stackup.engine.quadratic import cornish_fisher_below, form_moments

Law = tuple[np.ndarray, np.ndarray]


def discrete(rng: np.random.Generator) -> Law:
    """A law on two to four points with mean 0."""
    count = int(rng.integers(2, 5))
    points, chances = rng.normal(size=count), rng.dirichlet(np.ones(count))
    return points - chances @ points, chances


def enumerated(a: np.ndarray, h: np.ndarray, laws: list[Law]) -> tuple[float, float, float, float]:
    """Mean and central moments of a·u + ½ uᵀhu over every combination of points."""
    values, weights = [], []
    for places in itertools.product(*(range(len(points)) for points, _ in laws)):
        u = np.array([points[i] for i, (points, _) in zip(places, laws, strict=True)])
        values.append(a @ u + 0.5 * u @ h @ u)
        weights.append(math.prod(chances[i] for i, (_, chances) in zip(places, laws, strict=True)))
    values, weights = np.array(values), np.array(weights)
    mean = weights @ values
    return mean, *(float(weights @ (values - mean) ** k) for k in (2, 3, 4))


@pytest.mark.parametrize("count", [1, 2, 3, 4, 5])
@given(st.integers(0, 2**32))
def test_against_full_enumeration(count: int, seed: int) -> None:
    """Moments of the form are those of every combination of discrete numbers, weighted."""
    rng = np.random.default_rng(seed)
    laws = [discrete(rng) for _ in range(count)]
    a, h = rng.normal(size=count), rng.normal(size=(count, count))
    h = h + h.T
    moments = np.array([[float(chances @ points**k) for k in range(9)] for points, chances in laws])
    found = form_moments(a, h, moments)
    expected = enumerated(a, h, laws)
    size = max(abs(expected[3]), 1e-9) ** 0.25
    for order, (one, other) in enumerate(
        zip((found.mean, found.variance, found.third, found.fourth), expected, strict=True), start=1
    ):
        assert abs(one - other) <= 1e-9 * (1 + size**order)


@given(st.integers(1, 7), st.integers(0, 2**32))
def test_gaussian_cumulants(count: int, seed: int) -> None:
    """For normal numbers the cumulants are κ_r = (r−1)!/2·tr(HS)^r + r!/2·aᵀS(HS)^(r−2)a."""
    rng = np.random.default_rng(seed)
    a, h, s = rng.normal(size=count), rng.normal(size=(count, count)), rng.uniform(0.1, 2, count)
    h, spread = h + h.T, np.diag(s)
    moments = np.array([[1, 0, v, 0, 3 * v**2, 0, 15 * v**3, 0, 105 * v**4] for v in s])
    found, hs = form_moments(a, h, moments), h @ spread
    power = np.linalg.matrix_power
    k2, k3, k4 = (
        math.factorial(r - 1) / 2 * np.trace(power(hs, r)) + math.factorial(r) / 2 * a @ spread @ power(hs, r - 2) @ a
        for r in (2, 3, 4)
    )
    assert math.isclose(found.mean, 0.5 * np.trace(hs), rel_tol=1e-10, abs_tol=1e-10)
    assert math.isclose(found.variance, k2, rel_tol=1e-10)
    assert math.isclose(found.third, k3, rel_tol=1e-8, abs_tol=1e-8 * k2**1.5)
    assert math.isclose(found.fourth, k4 + 3 * k2**2, rel_tol=1e-9)


def test_a_linear_form_keeps_its_moments() -> None:
    """Without curvature: variances and third moments add."""
    m = np.array([[1, 0, 2.0, 0.5, 9.0, 0, 0, 0, 0], [1, 0, 1.0, -0.2, 3.5, 0, 0, 0, 0]])
    a = np.array([2.0, -1.0])
    found = form_moments(a, np.zeros((2, 2)), m)
    assert (found.mean, found.variance) == (0.0, 9.0)
    assert math.isclose(found.third, 8 * 0.5 + 0.2)
    assert math.isclose(found.fourth, 16 * 9 + 3.5 + 6 * 8 * 1)


@given(st.floats(-0.6, 0.6), st.floats(2.8, 4.0), st.floats(-2.5, 2.5))
def test_cornish_fisher_is_inverted(skewness: float, kurtosis: float, z: float) -> None:
    """The fraction below the expanded quantile of z is Φ(z)."""
    excess = kurtosis - 3
    w = z + skewness * (z * z - 1) / 6 + excess * (z**3 - 3 * z) / 24 - skewness**2 * (2 * z**3 - 5 * z) / 36
    found = cornish_fisher_below(w, skewness, kurtosis)
    slope = 1 + skewness * z / 3 + excess * (3 * z * z - 3) / 24 - skewness**2 * (6 * z * z - 5) / 36
    if found is None:
        return  # beyond the range on which the expansion rises
    assert slope > -1e-3
    assert math.isclose(found, NormalDist().cdf(z), rel_tol=1e-6)


def test_a_normal_law_is_itself() -> None:
    """Without skewness and excess the expansion is Φ."""
    for z in (-6.0, -3.0, 0.0, 2.0, 5.0):
        found = cornish_fisher_below(z, 0.0, 3.0)
        assert found is not None
        assert math.isclose(found, NormalDist().cdf(z), rel_tol=1e-9)


def test_outside_the_monotone_range() -> None:
    """Where the expansion falls there is no fraction: far out, and everywhere where it falls at the middle."""
    assert cornish_fisher_below(-4.0, 1.5, 5.0) is None
    assert cornish_fisher_below(0.0, 0.0, 15.0) is None
    assert cornish_fisher_below(0.1, 0.5, 3.2) is not None
    limited = [cornish_fisher_below(x, 1.5, 5.0) for x in (-4.0, -3.0, 0.0)]
    assert limited[0] is None
    assert limited[2] is not None
