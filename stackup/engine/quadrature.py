"""Mean, standard deviation and tails of a function of independent standard normal numbers.

The numbers are first turned so that as few as possible are left: those in which the function bends, and one along
which it is straight.  Up to three are swept by rays (``rays.py``), two and a straight one by rays in a plane with
the normal law across; both are good to many digits.  More are summed over a fixed set of evenly spread, weighted
points (``points.py``), and their tails by importance sampling from a fitted mixture (``importance.py``).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from stackup.engine import rays
from stackup.engine.importance import Failing, beyond
from stackup.engine.mixture import effective
from stackup.engine.points import in_blocks, normals, slopes, weighted

Array = Any
Function = Callable[[Array], Array]

#: radii of a ray, directions around and up, and the fewest where the effort is shared between many laws
RADII, AROUND, UP = 64, 256, 32
LEAST_AROUND, LEAST_UP = 64, 12
#: the normal law across a plane is smooth enough from this part of the steepest slope on
SMOOTH = 0.3
#: ± pairs of points for moments, the fewest where the effort is shared, and wide ones for where tails begin
PAIRS, LEAST_PAIRS, WIDE_PAIRS = 16384, 4096, 2048
#: where fewer points than this part of all carry the variance, wide ones are better
CARRIED = 0.03
#: points at which gradients are looked at, from where to how far out (in parts of the law's own); block of the sequence
LOOKS, NEAREST, FARTHEST, LOOK_BLOCK = 128, 0.5, 3.0, 0
#: points at which is checked what they say, and how far out; block of the sequence
CHECKS, CHECKED, CHECK_BLOCK = 1024, 2.5, 1
#: parts of the usual slope: the change of slope that counts as none, and the deviation there
STRAIGHT, SAME = 3e-5, 6e-4
#: what is added to variances, in parts of their sum, so that no direction is without
RIDGE = 1e-9


@dataclass(frozen=True)
class LawOf:
    """Mean, sd and a way to ask for the fraction outside limits."""

    mean: float
    sd: float
    outside: Callable[[float | None, float | None], float]


def law_of(function: Function, rank: int, effort: float = 1.0) -> LawOf:
    """Return the law of ``function`` of ``rank`` ≥ 1 standard normal numbers; it takes (rank, n), gives (n,).

    ``effort`` ≤ 1 takes fewer rays and points where many such laws are averaged.  What is not a number is outside.
    """
    if rank <= 3:
        return _by_rays(function, rank, effort)
    basis, straight, steepest = _directions_that_count(function, rank)
    fewer = basis.shape[1]

    def turned(y: Array) -> Array:
        return function(basis @ y)

    def bent(y: Array) -> Array:
        return function(basis[:, :-1] @ y)

    if fewer == 3 and straight >= SMOOTH * steepest:
        return _by_plane(bent, straight, effort)
    if fewer <= 3:
        return _by_rays(turned, fewer, effort)
    return _by_points(bent, fewer - 1, straight, effort) if straight > 0 else _by_points(turned, fewer, 0.0, effort)


def _law(mean: float, sd: float, beyond_one: Callable[[float, float], float]) -> LawOf:
    """Return the law whose fraction beyond a limit, above (+1) or below (−1) it, is known."""

    def outside(low: float | None, high: float | None) -> float:
        sides = [(limit, sign) for limit, sign in ((low, -1.0), (high, 1.0)) if limit is not None]
        with np.errstate(all="ignore"):
            return min(sum(beyond_one(limit, sign) for limit, sign in sides), 1.0)

    return LawOf(mean, sd, outside)


# up to three numbers --------------------------------------------------------------------------------------


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


def _on_rays(function: Function, rank: int, effort: float) -> tuple[Array, Array]:
    """Return the values on rays through the plane or space, and the mass that each stands for."""
    directions, weights = _directions(rank, effort)
    radii, radial = _radial(rank)
    grid = in_blocks(function, (directions[:, :, None] * radii).reshape(rank, -1))
    return grid, np.outer(weights, radial).ravel()


def _moments(values: Array, mass: Array) -> tuple[float, float]:
    mean = float((mass * values).sum())
    return mean, float(np.sqrt(max((mass * (values - mean) ** 2).sum(), 0.0)))


def _by_rays(function: Function, rank: int, effort: float) -> LawOf:
    mean, sd = rays.moments_on_line(function) if rank == 1 else _moments(*_on_rays(function, rank, effort))
    return _law(mean, sd, lambda limit, sign: rays.outside(function, rank, limit, sign, effort))


def _by_plane(function: Function, straight: float, effort: float) -> LawOf:
    """Return the law of a function of two numbers and ``straight`` times a third."""
    from scipy.special import ndtr

    values, mass = _on_rays(function, 2, effort)
    mean, sd = _moments(values, mass)

    def beyond_one(limit: float, sign: float) -> float:
        return float((mass * ndtr(sign * (values - limit) / straight)).sum())

    return _law(mean, float(np.hypot(sd, straight)), beyond_one)


# more numbers ---------------------------------------------------------------------------------------------


def _by_points(function: Function, rank: int, straight: float, effort: float) -> LawOf:
    """Return the law of a function of ``rank`` numbers and ``straight`` times one more."""
    pairs = max(LEAST_PAIRS, round(PAIRS * effort))
    points, weights = weighted(rank, pairs)
    values = in_blocks(function, points)
    mean, sd = _moments(values, weights)
    if effective(weights * (values - mean) ** 2) < CARRIED * values.size:
        points, weights = weighted(rank, pairs, wide=True)
        mean, sd = _moments(in_blocks(function, points), weights)
    points, weights = weighted(rank, WIDE_PAIRS, wide=True)
    values = in_blocks(function, points)

    def beyond_one(limit: float, sign: float) -> float:
        def by_how_much(value: Array) -> Array:
            return np.where(np.isnan(value), np.inf, sign * (value - limit))

        def excess(z: Array) -> Array:
            return by_how_much(function(z))

        return beyond(Failing(excess, straight), (points, weights, by_how_much(values)), effort)

    return _law(mean, float(np.hypot(sd, straight)), beyond_one)


def _directions_that_count(function: Function, rank: int) -> tuple[Array, float, float]:
    """Return orthonormal directions (rank, k) on which alone the function depends, the most telling first.

    Where it is straight along one of them that one is the last, and the slope along it is returned beside it, else 0;
    then the steepest slope found.  All is seen from gradients up to far out, and checked farther out.
    """
    look = normals(rank, LOOK_BLOCK, LOOKS) * np.linspace(NEAREST, FARTHEST, LOOKS)
    _, gradients = slopes(function, look)
    steep = np.sqrt((gradients * gradients).sum(axis=0))
    if not np.isfinite(steep).all() or not steep.any():
        return np.eye(rank), 0.0, np.inf
    usual = float(np.median(steep[steep > 0]))
    mean = gradients.mean(axis=1)
    off = gradients - mean[:, None]
    bent = _spanned(off @ off.T / LOOKS, (STRAIGHT * usual) ** 2)
    bent = bent @ _ordered(bent.T @ (gradients @ gradients.T) @ bent)
    rest = mean - bent @ (bent.T @ mean)
    slope = float(np.linalg.norm(rest))
    if slope <= STRAIGHT * usual:
        slope, rest = 0.0, np.zeros(rank)
    if _bends_only_along(function, bent, rest, SAME * usual):
        return (np.column_stack((bent, rest / slope)) if slope > 0 else bent), slope, float(steep.max())
    return _ordered(gradients @ gradients.T), 0.0, float(steep.max())


def _bends_only_along(function: Function, bent: Array, rest: Array, room: float) -> bool:
    """Tell whether only directions ``bent`` (n, k) bend a function, beside a straight part with the slope ``rest``."""
    far = CHECKED * normals(len(bent), CHECK_BLOCK, CHECKS)
    straight = in_blocks(function, bent @ (bent.T @ far)) + rest @ far
    return bool(np.abs(in_blocks(function, far) - straight).max() <= room)


def _ordered(square: Array) -> Array:
    """Return orthonormal directions (n, n), those of most variance in a covariance (n, n) first."""
    trace = float(np.trace(square))
    return _spanned(square + (RIDGE * trace or 1.0) * np.eye(len(square)), 0.0)


def _spanned(square: Array, least: float) -> Array:
    """Return orthonormal directions (n, k) that span a covariance (n, n) but for variances up to ``least``.

    The axis with the largest remaining variance comes next (Gram and Schmidt with pivots): where variances are
    equal the directions stay axes, which eigenvectors would not.
    """
    rest, found = square.copy(), np.zeros((len(square), 0))
    scale = max(float(np.trace(square)), 1e-300)
    for _ in range(len(square)):
        # equal variances differ in their last digits, which must not decide
        axis = int(np.argmax(np.round(np.diag(rest) / scale, 9)))
        if rest[axis, axis] <= least:
            break
        direction = rest[:, axis] - found @ (found.T @ rest[:, axis])
        direction = direction / np.linalg.norm(direction)
        found = np.column_stack((found, direction))
        across = np.eye(len(square)) - np.outer(direction, direction)
        rest = across @ rest @ across
    return found
