"""Inflation factors and stacks of uniform parts: F. Scholz, Tolerance Stack Analysis Methods (1995).

Formulas and printed factors from memory (MEM), recomputed; the shapes themselves stand in test_shapes.py, here
they go through a case and the engines.  Rates of uniform stacks are the Irwin–Hall closed form in 40 digits (OWN).
"""

from __future__ import annotations

import math
from fractions import Fraction as Ratio

import pytest
from plain_stack import STANDARD_ERRORS, Stack, stack, standard_error_of_sd, within_error

# c = 3σ/T: process, printed (MEM), recomputed (closed form)
INFLATION = {
    "normal": ({}, 1.000, 1.0),
    "uniform": ({"shape": "uniform"}, 1.732, 1.732050808),
    "triangular": ({"shape": "triangular"}, 1.225, 1.224744871),
    "trapezoid": ({"shape": "trapezoid", "flat": 0.5}, 1.369, 1.369306394),
    "elliptical": ({"shape": "beta", "a": 1.5, "b": 1.5}, 1.5, 1.5),
    "beta 3": ({"shape": "beta", "a": 3, "b": 3}, 1.134, 1.133893419),
    "beta 0.6": ({"shape": "beta", "a": 0.6, "b": 0.6}, 2.023, 2.022599587),
    "parabola": ({"shape": "beta", "a": 2, "b": 2}, None, 1.341640787),
    "arcsine": ({"shape": "beta", "a": 0.5, "b": 0.5}, None, 2.121320344),
}
TOLERANCES = {"l1": 0.3, "l2": 0.2, "l3": 0.1}
SLOPES = {"l1": 2.0, "l2": -1.0, "l3": 0.5}


@pytest.mark.parametrize("process", INFLATION)
def test_rss_with_inflation_factors(process: str) -> None:
    """√Σ(c·a·T)² with one process for all, and by sampling."""
    keys, printed, factor = INFLATION[process]
    sizes = {n: {"nominal": 10.0, "tolerance": t, "process": keys} for n, t in TOLERANCES.items()}
    found = stack("2*l1 - l2 + l3/2", sizes)
    tolerance = math.hypot(*(SLOPES[n] * t for n, t in TOLERANCES.items()))
    rss, sampled = found.rss(), found.sampled(cages=60_000)
    assert 3 * rss.sd / tolerance == pytest.approx(factor, abs=5.01e-10)
    assert printed is None or 3 * rss.sd / tolerance == pytest.approx(printed, abs=5e-4)
    assert sampled.mean == pytest.approx(15.0, abs=STANDARD_ERRORS * rss.sd / math.sqrt(sampled.drawn))
    assert sampled.sd == pytest.approx(rss.sd, abs=STANDARD_ERRORS * standard_error_of_sd(sampled))
    assert found.worst_case().low == pytest.approx(15.0 - 0.85, abs=1e-12)  # Σ|a|T


def test_rss_with_unlike_factors() -> None:
    """√Σ(c·a·T)², every dimension with a shape of its own."""
    chosen = dict(zip(TOLERANCES, ("uniform", "triangular", "beta 3"), strict=True))
    sizes = {
        n: {"nominal": 0.0, "tolerance": TOLERANCES[n], "process": INFLATION[shape][0]} for n, shape in chosen.items()
    }
    expected = math.hypot(*(INFLATION[s][2] * SLOPES[n] * TOLERANCES[n] for n, s in chosen.items()))
    assert 3 * stack("2*l1 - l2 + l3/2", sizes).rss().sd == pytest.approx(expected, rel=1e-9)


# n; ppm outside ±√n·T, ±1.5√n·T, ±√(3n)·T of n equal uniform parts ±T (OWN, 40 digits)
UNIFORM = [
    (2, 85786.437627, 0.0, 0.0),
    (3, 84936.490539, 2705.327784, 0.0),
    (4, 83333.333333, 5208.333333, 429.564679),
    (5, 83333.333333, 6290.909005, 947.001004),  # 2y⁵/5!, y = (5 − √15)/2
    (10, 83279.195230, 7947.823719, 1871.395294),
    (20, 83267.378872, 8686.841846, 2293.540462),
]


def uniform_stack(n: int, limit: float) -> Stack:
    sizes = {f"l{i}": {"nominal": 0.0, "tolerance": 1.0, "process": {"shape": "uniform"}} for i in range(n)}
    return stack(" + ".join(sizes), sizes, min=-limit, max=limit)


def irwin_hall_outside(n: int, limit: float) -> float:
    """P(|Σ| > limit) of n uniform numbers on ±1, in exact ratios (closed form)."""
    x = (Ratio(limit) + n) / 2  # on 0…n
    if x >= n:
        return 0.0
    below = sum((-1) ** k * math.comb(n, k) * (x - k) ** n for k in range(math.floor(x) + 1))
    return float(2 * (1 - below / math.factorial(n)))


@pytest.mark.parametrize(("n", "once", "bender", "three_sigma"), UNIFORM)
def test_uniform_stacks(n: int, once: float, bender: float, three_sigma: float) -> None:
    for factor, ppm in ((1.0, once), (1.5, bender), (math.sqrt(3), three_sigma)):
        limit = factor * math.sqrt(n)
        assert 1e6 * irwin_hall_outside(n, limit) == pytest.approx(ppm, abs=5.01e-7)
        found = uniform_stack(n, limit)
        assert within_error(found.sampled(cages=100_000).pockets, 1e-6 * ppm)
        worst = found.worst_case()
        assert worst.certified
        assert (worst.low, worst.high) == pytest.approx((-n, n), abs=1e-12)


@pytest.mark.parametrize("n", [row[0] for row in UNIFORM])
def test_moments_of_uniform_stacks(n: int) -> None:
    """Closed form: sd √(n/3), kurtosis 3 − 1.2/n; second order has them exactly, as the chain is linear."""
    found = uniform_stack(n, math.sqrt(n)).rss().second_order
    assert found is not None
    assert found.sd == pytest.approx(math.sqrt(n / 3), rel=1e-12)
    assert found.skewness == pytest.approx(0, abs=1e-12)
    assert found.kurtosis == pytest.approx(3 - 1.2 / n, rel=1e-12)


@pytest.mark.parametrize("n", [4, 10, 20])
def test_inflated_normal_against_uniform(n: int) -> None:
    """1.5 times sigma of normals (T = 3 sigma) is (√3/2) of the true sigma: closed form by erfc."""
    sizes = {f"l{i}": {"nominal": 0.0, "tolerance": 1.0} for i in range(n)}
    limit = 1.5 * math.sqrt(n)
    found = stack(" + ".join(sizes), sizes, min=-limit, max=limit).rss(inflation=1.5).inflated
    assert found is not None
    assert found.sd == pytest.approx(0.5 * math.sqrt(n), rel=1e-12)
    assert found.out_of_spec == pytest.approx(math.erfc(3 / math.sqrt(2)), rel=1e-9)


@pytest.mark.parametrize("eta", [0.0, 0.3, 1.0])
def test_mean_shift_of_unlike_factors(eta: float) -> None:
    """Scholz section 3.1: added, Σηa|T| beside √Σ(c·a·T)²; statistical, the shift uniform over ±ηT (MEM)."""
    sizes = {n: {"nominal": 0.0, "tolerance": t, "process": {"shape": "uniform"}} for n, t in TOLERANCES.items()}
    found = stack("2*l1 - l2 + l3/2", sizes, max=0.9)
    squares = sum((SLOPES[n] * t) ** 2 for n, t in TOLERANCES.items())
    added = found.rss(mean_shift=eta).shifted
    statistical = found.rss(mean_shift=eta, mean_shift_rule="statistical").shifted
    assert added is not None
    assert statistical is not None
    assert added.mean == pytest.approx(eta * 0.85, abs=1e-12)  # towards the limit
    assert 3 * added.sd == pytest.approx(math.sqrt(3 * squares), rel=1e-12)
    assert 3 * statistical.sd == pytest.approx(math.sqrt((3 + 3 * eta**2) * squares), rel=1e-12)
