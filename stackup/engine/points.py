"""Fixed points of independent standard normal numbers: evenly spread, and the same in every run.

They are those of a lattice of N. M. Korobov (1960), shifted and taken through the normal quantile.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache, lru_cache
from typing import Any

import numpy as np

Array = Any
Function = Callable[[Array], Array]

#: so many points at a time, so that arrays stay in the processor's cache
BLOCK = 4096
#: the lattice: 2 to this power points i·(1, a, a², …)/n.  The multiplier a was searched for: the least P₂ (squared
#: error, weights 1/j² of number j) in 3 to 24 dimensions together, of all points and of every fourth and eighth
BITS, MULTIPLIER = 14, 7401
#: of wide points: the part whose radius is spread evenly, and up to how far beyond the middle radius
WIDE, BEYOND = 0.5, 7.0
#: rounds towards exact moments; places of a table of radii
ROUNDS, PLACES = 2, 1001
#: step of a difference quotient, in standard deviations
STEP = 1e-5


def normals(rows: int, block: int, count: int = BLOCK) -> Array:
    """Return the first ``count`` points of a block as standard normal numbers (rows, count).

    Each time all points of the lattice are used, up to ``rows`` times, the rows move on by one place: as even as
    before, and no two points the same.
    """
    again, place = divmod(block, 2**BITS // BLOCK)
    return np.stack([_row((row - again) % rows, place)[:count] for row in range(rows)])


@lru_cache(maxsize=256)
def _row(row: int, block: int) -> Array:
    from scipy.special import ndtri

    # unlike shifts, or the lattice would hold the opposite of each point
    cube = pow(MULTIPLIER, row, 2**BITS) * _places(block) % 2**BITS / 2**BITS + np.sqrt(_prime(row))
    return ndtri(np.clip(cube - np.floor(cube), 1e-12, 1 - 1e-12))


@lru_cache(maxsize=8)
def _places(block: int) -> Array:
    """Return the places of a block in the lattice, in the order of their digits from the last: evenly spread."""
    places = np.arange(block * BLOCK, (block + 1) * BLOCK)
    return sum((places >> bit & 1) << (BITS - 1 - bit) for bit in range(BITS))


@cache
def _prime(place: int) -> int:
    """Return the prime number at a place, from 0."""
    number = 2 if place == 0 else _prime(place - 1) + 1
    while any(number % _prime(before) == 0 for before in range(place)):
        number += 1
    return number


@lru_cache(maxsize=16)
def weighted(rank: int, pairs: int, wide: bool = False) -> tuple[Array, Array]:
    """Return ± pairs of points (rank, 2·pairs) and their weights, with the moments of independent normal numbers.

    Means, variances and correlations are exact, and the first four moments of the radius to 1e-4 or better.  The
    radii of ``wide`` points reach far beyond those of the law, so that what happens there is seen (moments to 1 %).
    """
    blocks = [normals(rank, b, min(BLOCK, pairs - b * BLOCK)) for b in range(-(-pairs // BLOCK))]
    points = np.concatenate(blocks, axis=1)
    points, weights = _widened(points) if wide else (points, np.ones(pairs))
    for _ in range(ROUNDS):
        weights = weights / weights.sum() if wide else _with_moments(radii(points), weights / weights.sum(), rank)
        points = np.linalg.inv(np.linalg.cholesky((points * weights) @ points.T)) @ points
    points, weights = np.concatenate((points, -points), axis=1), 0.5 * np.concatenate((weights, weights))
    points.flags.writeable = weights.flags.writeable = False
    return points, weights


def _with_moments(radius: Array, weights: Array, rank: int) -> Array:
    """Return weights changed as little as gives radii the moments 0 … 4 of the chi law of ``rank`` degrees."""
    from scipy.special import gammaln

    orders, square = np.arange(5), radius * radius
    exact = np.exp(0.5 * orders * np.log(2) + gammaln((rank + orders) / 2) - gammaln(rank / 2))
    powers = np.stack((np.ones_like(radius), radius, square, square * radius, square * square)) / exact[:, None]
    return weights * (1 + np.linalg.solve((powers * weights) @ powers.T, 1 - summed(powers, weights)) @ powers)


def _widened(points: Array) -> tuple[Array, Array]:
    """Return normal points with a part of their radii spread evenly, and the weights that put it right."""
    from scipy.special import gammainc, gammaln

    rank, radius = len(points), radii(points)
    even = np.empty_like(radius)
    even[np.argsort(radius, kind="stable")] = (np.arange(radius.size) + 0.5) / radius.size
    grid = np.linspace(0.0, np.sqrt(rank) + BEYOND, PLACES)
    wide = np.interp(even, (1 - WIDE) * gammainc(rank / 2, 0.5 * grid**2) + WIDE * grid / grid[-1], grid)
    log = (rank - 1) * np.log(wide) - 0.5 * wide**2 - gammaln(rank / 2) - (rank / 2 - 1) * np.log(2)
    density = np.exp(log)
    return points * (wide / radius), density / ((1 - WIDE) * density + WIDE / grid[-1])


def radii(points: Array) -> Array:
    """Return the lengths (n,) of points (rank, n)."""
    return np.sqrt(np.einsum("ij,ij->j", points, points))


def summed(values: Array, weights: Array) -> Array:
    """Return the sums (rows,) of weighted values (rows, n), to the same bits whatever number of threads BLAS has."""
    return np.einsum("ij,j->i", values, weights)


def in_blocks(function: Function, points: Array) -> Array:
    """Return the values (n,) at points (rank, n), a block at a time."""
    starts = range(0, points.shape[1], BLOCK)
    return np.concatenate([function(points[:, start : start + BLOCK]) for start in starts])


def slopes(function: Function, points: Array) -> tuple[Array, Array]:
    """Return values (n,) and gradients (rank, n) at points (rank, n), by differences."""
    rank, count = points.shape
    values = in_blocks(function, points)
    moved = (points[:, None, :] + STEP * np.eye(rank)[:, :, None]).reshape(rank, -1)
    return values, (in_blocks(function, moved).reshape(rank, count) - values) / STEP
