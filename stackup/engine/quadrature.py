"""Mean, standard deviation and tails of a function of a few independent standard normal numbers.

Up to three numbers the plane or space is swept by rays (``rays.py``), so that tails are good to many digits.  More
numbers are integrated by lines along the direction of steepest slope, from a fixed low-discrepancy set of
starting points (additive recurrence with the generalised golden ratio, M. Roberts 2018, in one shared order).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from stackup.engine import rays

Array = Any
Function = Callable[[Array], Array]

#: places along a line
GRID = 25
#: lines start from so many ± pairs of points; moments take so many times more
POINTS, MORE = 1536, 8
#: the fewest points for moments
LEAST_MOMENTS = 6144
RADII = 64
AROUND, UP = 256, 32
#: the most extreme part (1 in so many) of the points tells where failures lie; how much farther lines start,
#: how far at most (variance), and what scatter counts as noise
EXTREME, FARTHER, WIDEST, NOISE = 128, 1.4, 6.0, 1.5
#: the fewest that are used where the effort is shared between many laws
LEAST_AROUND, LEAST_UP, LEAST_POINTS = 64, 12, 128


@dataclass(frozen=True)
class LawOf:
    """Mean, sd and a way to ask for the fraction outside limits."""

    mean: float
    sd: float
    outside: Callable[[float | None, float | None], float]


def law_of(function: Function, rank: int, effort: float = 1.0) -> LawOf:
    """Return the law of ``function`` of ``rank`` ≥ 1 standard normal numbers; it takes (rank, n), gives (n,).

    ``effort`` ≤ 1 thins out rays and lines where many such laws are averaged.
    """
    if rank <= 3:
        return _by_rays(function, rank, effort)
    return _by_lines(function, rank, effort)


def _directions(rank: int, effort: float) -> tuple[Array, Array]:
    """Return unit vectors (rank, n) and their weights."""
    around, up = max(LEAST_AROUND, round(AROUND * effort)), max(LEAST_UP, round(UP * effort))
    turn = 2 * np.pi * (np.arange(around) + 0.5) / around
    if rank == 2:
        return np.array([np.cos(turn), np.sin(turn)]), np.full(around, 1.0 / around)
    height, weight = np.polynomial.legendre.leggauss(up)
    flat = np.sqrt(1 - height**2)
    x = np.outer(flat, np.cos(turn)).ravel()
    y = np.outer(flat, np.sin(turn)).ravel()
    z = np.repeat(height, around)
    return np.array([x, y, z]), np.repeat(weight / 2, around) / around


def _radial(rank: int) -> tuple[Array, Array]:
    """Return radii on [0, FAR] of the rays and the weights of the chi law of ``rank`` degrees there."""
    x, w = np.polynomial.legendre.leggauss(RADII)
    r = 0.5 * rays.FAR * (x + 1)
    density = r ** (rank - 1) * np.exp(-0.5 * r * r)
    weights = w * density
    return r, weights / weights.sum()


def _by_rays(function: Function, rank: int, effort: float) -> LawOf:
    if rank == 1:
        mean, sd = rays.moments_on_line(function)
    else:
        directions, weights = _directions(rank, effort)
        radii, radial = _radial(rank)
        grid = function((directions[:, :, None] * radii).reshape(rank, -1)).reshape(-1, len(radii))
        mass = weights[:, None] * radial
        mean = float((mass * grid).sum())
        sd = float(np.sqrt(max((mass * (grid - mean) ** 2).sum(), 0.0)))

    def outside(low: float | None, high: float | None) -> float:
        sides = [(limit, sign) for limit, sign in ((low, -1.0), (high, 1.0)) if limit is not None]
        return min(sum(rays.outside(function, rank, limit, sign, effort) for limit, sign in sides), 1.0)

    return LawOf(mean, sd, outside)


def _points(rank: int, count: int) -> Array:
    """Return ``count`` points (rank, count) in the open unit cube, evenly spread."""
    golden = 2.0
    for _ in range(60):
        golden = (1 + golden) ** (1 / (rank + 1))
    steps = golden ** -np.arange(1, rank + 1)
    return np.mod(0.5 + np.outer(steps, np.arange(1, count + 1)), 1.0)


def _by_lines(function: Function, rank: int, effort: float) -> LawOf:
    from scipy.special import ndtri

    count = max(LEAST_POINTS, round(POINTS * effort))
    base = ndtri(np.clip(_points(rank, max(MORE * count, LEAST_MOMENTS)), 1e-12, 1 - 1e-12))
    # exactly mean 0, variance 1 and no correlation: a sum has its own sd; points come in ± pairs
    base = base - base.mean(axis=1, keepdims=True)
    base = np.linalg.solve(np.linalg.cholesky(base @ base.T / base.shape[1]), base)
    z = np.concatenate((base, -base), axis=1)
    sampled = function(z)
    mean, sd = float(sampled.mean()), float(sampled.std())
    along = _steepest(z, sampled - mean)
    starts = np.concatenate((base[:, :count], -base[:, :count]), axis=1)

    def outside(low: float | None, high: float | None) -> float:
        total = 0.0
        for limit, sign in ((low, -1.0), (high, 1.0)):
            if limit is not None:
                total += _beyond_by_lines(function, starts, along, _extremes(z, sign * sampled), (limit, sign))
        return min(total, 1.0)

    return LawOf(mean, sd, outside)


def _steepest(z: Array, off: Array) -> Array:
    slope = (z * off).mean(axis=1)
    norm = float(np.linalg.norm(slope))
    return slope / norm if norm > 0 else np.eye(len(z))[0]


def _extremes(z: Array, size: Array) -> Array:
    """Return the numbers (rank, n) of the points where ``size`` is greatest."""
    return z[:, np.argsort(-size)[: max(size.size // EXTREME, 20)]]


def _beyond_by_lines(function: Function, z: Array, along: Array, worst: Array, limit: tuple[float, float]) -> float:
    """Return the fraction beyond one limit: exact along lines, the lines spread to where failures lie.

    The numbers of the few most extreme points say in which directions failures are far from the middle; there
    the starting points of the lines are spread as far and weighed back (importance sampling with a covariance
    only: a length has no design point but a ring of them).
    """
    from scipy.special import ndtr

    basis = np.linalg.svd(along[None, :])[2][1:]
    across, far = basis @ z, basis @ worst
    spread, turn = np.linalg.eigh(far @ far.T / far.shape[1])
    wide = np.sqrt(np.clip(1 + FARTHER * (spread - 1), 1.0, WIDEST))
    wide = np.where(spread > NOISE, wide, 1.0)
    y = turn.T @ across
    weights = np.prod(wide) * np.exp(-0.5 * ((wide**2 - 1) @ (y * y)))
    starts = basis.T @ (turn @ (wide[:, None] * y))

    def at(index: Array, u: Array) -> Array:
        return sign * (function(starts[:, index] + along[:, None] * u) - value)

    def normal_beyond(u: Array) -> Array:
        return ndtr(-u)

    value, sign = limit
    places = np.linspace(-rays.FAR, rays.FAR, GRID)
    excess = np.stack([sign * (function(starts + along[:, None] * u) - value) for u in places], axis=1)
    return float(np.mean(weights * rays.mass_outside(excess, places, at, normal_beyond)))
