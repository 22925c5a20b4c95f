"""Mean, standard deviation and tails of a function of a few independent standard normal numbers.

Up to three numbers the plane or space is swept by rays: along each ray the crossings of a limit are found and
the radius has the chi law, so that tails are good to many digits (Rayleigh and Rice are special cases).  More
numbers are integrated by lines along the direction of steepest slope, from a fixed low-discrepancy set of
starting points (additive recurrence with the generalised golden ratio, M. Roberts 2018, in one shared order).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np

Array = Any
Function = Callable[[Array], Array]

#: beyond so many standard deviations nothing is left to integrate
FAR = 9.0
GRID = 25
REFINE = 8
#: lines start from so many ± pairs of points; moments take so many times more
POINTS, MORE = 1024, 8
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
    if rank == 1:
        return np.array([[1.0, -1.0]]), np.array([0.5, 0.5])
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
    """Return radii on [0, FAR] and the weights of the chi law of ``rank`` degrees there."""
    x, w = np.polynomial.legendre.leggauss(RADII)
    r = 0.5 * FAR * (x + 1)
    density = r ** (rank - 1) * np.exp(-0.5 * r * r)
    weights = w * density
    return r, weights / weights.sum()


def _by_rays(function: Function, rank: int, effort: float) -> LawOf:
    rays, weights = _directions(rank, effort)
    radii, radial = _radial(rank)
    grid = function((rays[:, :, None] * radii).reshape(rank, -1)).reshape(-1, len(radii))
    mass = weights[:, None] * radial
    mean = float((mass * grid).sum())
    sd = float(np.sqrt(max((mass * (grid - mean) ** 2).sum(), 0.0)))
    places = np.linspace(0.0, FAR, GRID)

    @cache
    def values() -> Array:
        return function((rays[:, :, None] * places).reshape(rank, -1)).reshape(-1, GRID)

    def chi_beyond(r: Array) -> Array:
        from scipy.special import gammaincc

        return gammaincc(rank / 2, 0.5 * r * r)

    def along(index: Array, r: Array) -> Array:
        return function(rays[:, index] * r)

    def outside(low: float | None, high: float | None) -> float:
        return _both_sides(
            low, high, lambda limit, sign: _Side(limit, sign, along, chi_beyond), values, places, weights
        )

    return LawOf(mean, sd, outside)


@dataclass(frozen=True)
class _Side:
    """One limit: sign·(value − limit) > 0 is outside; the function along a row, and the mass beyond a place."""

    limit: float
    sign: float
    along: Callable[[Array, Array], Array]
    beyond: Callable[[Array], Array]

    def excess(self, values: Array) -> Array:
        """Return by how much values are outside."""
        return self.sign * (values - self.limit)

    def at(self, rows: Array, places: Array) -> Array:
        """Return by how much rows are outside at places."""
        return self.excess(self.along(rows, places))


def _both_sides(
    low: float | None,
    high: float | None,
    side: Callable[[float, float], _Side],
    values: Callable[[], Array],
    places: Array,
    weights: Array,
) -> float:
    """Return the fraction outside both limits, rows weighed by ``weights``."""
    total = 0.0
    for limit, sign in ((low, -1.0), (high, 1.0)):
        if limit is not None:
            total += float(weights @ _mass(side(limit, sign), values(), places))
    return min(total, 1.0)


def _mass(side: _Side, values: Array, places: Array) -> Array:
    """Return, per row, the mass of what is outside along the places, crossings refined."""
    excess = side.excess(values)
    inside = excess > 0
    total = np.where(inside[:, 0], side.beyond(np.full(len(excess), places[0])), 0.0)
    rows, cells = np.nonzero(inside[:, 1:] != inside[:, :-1])
    if rows.size:
        root = _refine(rows, places[cells], places[cells + 1], excess[rows, cells], excess[rows, cells + 1], side.at)
        step = np.where(inside[rows, cells + 1], 1.0, -1.0) * side.beyond(root)
        np.add.at(total, rows, step)
    return total


def _refine(rows: Array, a: Array, b: Array, fa: Array, fb: Array, at: Callable[[Array, Array], Array]) -> Array:
    """Return roots between a and b by the Illinois form of regula falsi (M. Dowell, P. Jarratt, BIT 11 (1971) 168)."""
    for _ in range(REFINE):
        c = b - fb * (b - a) / np.where(fb == fa, 1.0, fb - fa)
        fc = at(rows, c)
        crossed = fc * fb <= 0
        a, fa = np.where(crossed, b, a), np.where(crossed, fb, fa / 2)
        b, fb = c, fc
        if np.all(np.abs(b - a) < 1e-12) or np.all(fb == 0):
            break
    return b


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
    base = ndtri(np.clip(_points(rank, MORE * count), 1e-12, 1 - 1e-12))
    # each number has exactly mean 0 and variance 1, and points come in ± pairs
    base = (base - base.mean(axis=1, keepdims=True)) / base.std(axis=1, keepdims=True)
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
        return function(starts[:, index] + along[:, None] * u)

    def normal_beyond(u: Array) -> Array:
        return ndtr(-u)

    places = np.linspace(-FAR, FAR, GRID)
    values = np.stack([function(starts + along[:, None] * u) for u in places], axis=1)
    return float(np.mean(weights * _mass(_Side(*limit, at, normal_beyond), values, places)))
