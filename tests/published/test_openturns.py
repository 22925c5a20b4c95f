"""Propagation against openturns, an open library for uncertainty in simulation.

No number is printed anywhere: random formulas over random laws go through both programs (independent), the Taylor
expansion to rounding, sampling and quantiles within the standard errors of both runs.
"""

from __future__ import annotations

import math
import random
import warnings
from typing import Any

import pytest
from plain_stack import STANDARD_ERRORS, Stack, stack, standard_error_of_sd

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # its extension types have no __module__
    ot = pytest.importorskip("openturns")

SAMPLES = 200_000
#: radius of a Rayleigh law in sigma: 0.9973 inside
INSIDE = math.sqrt(-2 * math.log(1 - 0.9973))


def law(rng: random.Random, nominal: float, half: float) -> tuple[dict[str, Any], Any]:
    """Return one random dimension, and the same law in the other library."""
    low, high = nominal - half, nominal + half
    size: dict[str, Any] = {"nominal": nominal, "tolerance": half}
    a, b = round(rng.uniform(0.7, 4.0), 2), round(rng.uniform(0.7, 4.0), 2)
    mode, flat, cp = round(rng.uniform(-0.8, 0.8), 2), round(rng.uniform(0.1, 0.9), 2), rng.choice((1.0, 1.33))
    choices = (
        lambda: ({"cp": cp}, ot.Normal(nominal, half / 3 / cp)),
        lambda: ({"shape": "uniform"}, ot.Uniform(low, high)),
        lambda: ({"shape": "triangular", "mode": mode}, ot.Triangular(low, nominal + mode * half, high)),
        lambda: (
            {"shape": "trapezoid", "flat": flat},
            ot.Trapezoidal(low, nominal - flat * half, nominal + flat * half, high),
        ),
        lambda: ({"shape": "beta", "a": a, "b": b}, ot.Beta(a, b, low, high)),
        lambda: (
            {"cp": 2 / 3, "inspected": True},
            ot.TruncatedDistribution(ot.Normal(nominal, half / 2), low, high),
        ),
    )
    process, other = rng.choice(choices)()
    return size | {"process": process}, other


def formula(rng: random.Random, names: list[str], depth: int = 3) -> str:
    """Return a random smooth formula in words that both programs read; inputs lie about 2."""
    if depth == 0 or (depth < 3 and rng.random() < 0.25):
        return rng.choice(names)
    one, other = (formula(rng, names, depth - 1) for _ in range(2))
    return rng.choice(
        (
            f"({one} + {other})",
            f"({one} - 0.3*{other})",
            f"({one} * {other})",
            f"({one} / (4 + ({other})*({other})))",
            f"sqrt(1 + ({one})*({one}))",
            f"sin(0.4*{one})",
            f"exp(0.1*{one} - 0.2*{other})",
            f"atan(0.5*{one})",
            f"log(5 + ({one})*({other})*({one})*({other}))",
        )
    )


def both(seed: int) -> tuple[Stack, Any, Any]:
    """Return the stack, and the other library's random vector of inputs and of the gap."""
    rng = random.Random(seed)  # noqa: S311 a seeded draw, nothing secret
    names = ["x1", "x2", "x3", "x4"]
    text = " + ".join(formula(rng, names) for _ in range(2))
    used = [name for name in names if name in text]
    laws = {name: law(rng, round(rng.uniform(1, 3), 2), round(rng.uniform(0.05, 0.3), 3)) for name in used}
    inputs = ot.RandomVector(ot.JointDistribution([other for _, other in laws.values()]))
    gap = ot.CompositeRandomVector(ot.SymbolicFunction(used, [text]), inputs)
    return stack(text, {name: size for name, (size, _) in laws.items()}), gap, text


SEEDS = range(12)


@pytest.mark.parametrize("seed", SEEDS)
def test_taylor_expansion(seed: int) -> None:
    """Mean and variance of first order, mean of second order: the same expansion, derivatives by other means."""
    found, gap, text = both(seed)
    taylor = ot.TaylorExpansionMoments(gap)
    rss = found.rss()
    assert rss.mean == pytest.approx(taylor.getMeanFirstOrder()[0], rel=1e-9), text
    assert rss.sd**2 == pytest.approx(taylor.getCovariance()[0, 0], rel=1e-6), text
    assert rss.second_order is not None
    moved = rss.second_order.mean - rss.mean
    assert moved == pytest.approx(taylor.getMeanSecondOrder()[0] - rss.mean, rel=1e-4, abs=1e-9), text


@pytest.mark.parametrize("seed", SEEDS)
def test_sampling(seed: int) -> None:
    """Mean, sd and the two ends of 99.73 % by sampling in both."""
    found, gap, text = both(seed)
    ot.RandomGenerator.SetSeed(seed)
    other = gap.getSample(SAMPLES)
    mine = found.sampled(cages=SAMPLES)
    room = STANDARD_ERRORS * math.sqrt(2)
    sd = other.computeStandardDeviation()[0]
    assert abs(mine.mean - other.computeMean()[0]) <= room * mine.sd / math.sqrt(SAMPLES), text
    assert abs(mine.sd - sd) <= room * standard_error_of_sd(mine), text
    assert mine.skewness == pytest.approx(other.computeSkewness()[0], abs=0.05), text
    for probability, value in mine.quantiles.items():
        p = float(probability)
        # where the other sample has the value: its share below is binomial, the quantile takes every fourth block
        below = other.computeEmpiricalCDF([value])
        error = math.sqrt(p * (1 - p) / SAMPLES * (1 + 4))
        assert abs(below - p) <= STANDARD_ERRORS * error + 2e-3 * min(p, 1 - p), (probability, text)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_one_sided_laws(seed: int) -> None:
    """A Rayleigh runout and a lognormal one beside sizes, by both."""
    rng = random.Random(seed)  # noqa: S311 a seeded draw, nothing secret
    limit, sigma = round(rng.uniform(0.1, 0.5), 2), 0.4
    # lognormal: 0.9973 at the limit, 2.7821504538 its normal score
    middle = math.log(limit) - 2.78215045378 * sigma
    text = "x1 - 0.5*run*x1 + exp(-form)"
    inputs = ot.JointDistribution([ot.Normal(2.0, 0.1 / 3), ot.Rayleigh(limit / INSIDE), ot.LogNormal(middle, sigma)])
    gap = ot.CompositeRandomVector(ot.SymbolicFunction(["x1", "run", "form"], [text]), ot.RandomVector(inputs))
    taylor = ot.TaylorExpansionMoments(gap)
    dimensions = {
        "x1": {"nominal": 2.0, "tolerance": 0.1},
        "run": {"limit": limit},
        "form": {"limit": limit, "process": {"shape": "lognormal", "sigma": sigma}},
    }
    found = stack(text, dimensions)
    rss = found.rss()
    assert rss.mean == pytest.approx(taylor.getMeanFirstOrder()[0], rel=1e-9)
    assert rss.sd**2 == pytest.approx(taylor.getCovariance()[0, 0], rel=1e-6)
    ot.RandomGenerator.SetSeed(seed)
    other, mine = gap.getSample(SAMPLES), found.sampled(cages=SAMPLES)
    room = STANDARD_ERRORS * math.sqrt(2)
    assert abs(mine.mean - other.computeMean()[0]) <= room * mine.sd / math.sqrt(SAMPLES)
    assert abs(mine.sd - other.computeStandardDeviation()[0]) <= room * standard_error_of_sd(mine)
