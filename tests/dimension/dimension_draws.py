"""Helpers of this room's tests: draw values of a dimension, and limits from the standard error."""

from __future__ import annotations

import math

import numpy as np
from scipy import stats

from stackup.dimension import Dimension


def generator(seed: int = 1) -> np.random.Generator:
    """The generator of the engines."""
    return np.random.Generator(np.random.PCG64DXSM(seed))


def draw(
    dimension: Dimension, cages: int = 4000, seed: int = 1, feature: Dimension | None = None
) -> tuple[np.ndarray, ...]:
    """Values (Z, cages) or (1, cages) of each component; with ``feature``, its values come last."""
    rng = generator(seed)
    departure = None
    if feature is not None:
        (departure,) = draw(feature, cages, seed + 1000)
    shape = (dimension.pockets if dimension.scope == "pocket" else 1, cages)
    out = tuple(np.full(shape, np.nan) for _ in dimension.components)
    scratch = (np.full(shape, np.nan), np.full(shape, np.nan))
    dimension.law.sample(rng, out, scratch, departure)
    return out if departure is None else (*out, departure)


def ks_limit(count: int, chance: float = 1e-9) -> float:
    """Greatest distance of an empirical from its true cdf but for ``chance``.

    Dvoretzky–Kiefer–Wolfowitz with Massart's constant: P(D > d) ≤ 2·exp(−2nd²).
    """
    return math.sqrt(math.log(2 / chance) / (2 * count))


def distance(values: np.ndarray, cdf) -> float:
    """Kolmogorov–Smirnov distance of ``values`` from ``cdf``."""
    return float(stats.kstest(values.ravel(), cdf).statistic)


def excess(samples: np.ndarray, expected: float) -> float:
    """How many standard errors the mean of independent ``samples`` (n,) is from ``expected``."""
    error = samples.std(ddof=1) / math.sqrt(len(samples))
    return abs(samples.mean() - expected) / max(error, 1e-300)


#: Deviations beyond this many standard errors fail (chance 6e-7 each, some thousand such tests).
SIGMAS = 5.0
