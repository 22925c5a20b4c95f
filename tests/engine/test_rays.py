"""Rays and panels: laws of up to three normal numbers against closed forms, kinks and valleys included."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.special import ndtr
from scipy.stats import foldnorm, rice

from stackup.engine import rays


@pytest.mark.parametrize("mean", [0.0, 0.3, 1.0, 2.0, 3.3])
def test_folded_normal(mean: float) -> None:
    """|x|: its moments to rounding, though the kink lies anywhere, and a valley narrower than any step."""

    def folded(z: np.ndarray) -> np.ndarray:
        return np.abs(z[0] + mean)

    law = foldnorm(mean)
    assert rays.moments_on_line(folded) == pytest.approx((law.mean(), law.std()), rel=1e-11)
    assert rays.outside(folded, 1, 2.5, 1.0) == pytest.approx(law.sf(2.5), rel=1e-12)
    for narrow in (0.1, 0.01, 1e-4):
        assert rays.outside(folded, 1, narrow, -1.0) == pytest.approx(law.cdf(narrow), rel=1e-8)


@pytest.mark.parametrize("radius", [1.0, 2.0, 3.0, 4.0])
@pytest.mark.parametrize("offset", [0.5, 1.0, 2.0, 4.0])
def test_circle_the_mean_may_lie_outside_of(offset: float, radius: float) -> None:
    """The mean inside, on and outside the circle: rays that graze it are found by halving panels."""

    def length(z: np.ndarray) -> np.ndarray:
        return np.hypot(z[0] + 0.6 * offset, z[1] - 0.8 * offset)

    assert rays.outside(length, 2, radius, 1.0) == pytest.approx(rice.sf(radius, offset), rel=1e-6)
    assert rays.outside(length, 2, radius, -1.0) == pytest.approx(rice.cdf(radius, offset), rel=1e-6)


@pytest.mark.parametrize("turn", [0.0, 0.3, math.pi / 4])
@pytest.mark.parametrize("half", [1.0, 3.0, 5.0])
def test_square_in_any_direction(half: float, turn: float) -> None:
    """P(max(|x|, |y|) > h) = 1 − (1 − 2Φ(−h))²."""

    def square(z: np.ndarray) -> np.ndarray:
        x, y = math.cos(turn) * z[0] + math.sin(turn) * z[1], math.cos(turn) * z[1] - math.sin(turn) * z[0]
        return np.maximum(np.abs(x), np.abs(y))

    p = 2 * float(ndtr(-half))
    assert rays.outside(square, 2, half, 1.0) == pytest.approx(2 * p - p * p, rel=1e-8)


@pytest.mark.parametrize("sd", [0.1, 1.0, 3.0])
@pytest.mark.parametrize("mean", [1.0, 2.0, 4.5])
def test_size_less_a_length_in_any_order(mean: float, sd: float) -> None:
    """Three numbers: whichever of them is the size, the fraction is the same."""
    root = math.hypot(1.0, sd)
    exact = float(ndtr(-mean / sd)) + math.exp(-((mean / root) ** 2) / 2) / root * float(ndtr(mean / (sd * root)))
    for size, x, y in ((0, 1, 2), (1, 2, 0), (2, 0, 1)):

        def gap(z: np.ndarray, size: int = size, x: int = x, y: int = y) -> np.ndarray:
            return mean + sd * z[size] - np.hypot(z[x], z[y])

        assert rays.outside(gap, 3, 0.0, -1.0) == pytest.approx(exact, rel=1e-6)


@pytest.mark.parametrize("half", [2.0, 4.0])
def test_cube(half: float) -> None:
    """P(max |x_i| > h) of three = 1 − (1 − 2Φ(−h))³."""
    p = 2 * float(ndtr(-half))
    found = rays.outside(lambda z: np.abs(z).max(axis=0), 3, half, 1.0)
    assert found == pytest.approx(1 - (1 - p) ** 3, rel=2e-6)


@pytest.mark.parametrize("effort", [1.0, 0.1, 1 / 48])
def test_less_effort_costs_digits_only(effort: float) -> None:
    """Where many unlike pockets are averaged, each has few rays."""
    exact = math.exp(-8.0)
    found = rays.outside(lambda z: np.hypot(z[0], 0.8 * z[1] + 0.6 * z[2]), 3, 4.0, 1.0, effort)
    assert found == pytest.approx(exact, rel=1e-6 if effort == 1 else 0.01)
