"""Rays from the mean through the plane or space of up to three standard normal numbers.

Along a ray the crossings of a limit are found, kinks and shallow valleys between two places included, and what
lies beyond has the chi law; over the directions it is integrated by panels that are halved where they and their
halves disagree, so that an edge of the failing region costs rays only where it is.  A tail is good to many
digits (Rayleigh and Rice are special cases).
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

Array = Any
Function = Callable[[Array], Array]
#: ``at(rows, places)``: by how much rows are outside at places
At = Callable[[Array, Array], Array]

#: beyond so many standard deviations nothing is left to integrate
FAR = 9.0
#: where a ray is looked at: one place beside the mean, for a limit that the mean just meets
PLACES = np.concatenate(([0.0, 0.02], np.linspace(0.0, FAR, 25)[1:]))
#: steps towards a crossing and towards an extreme between places
REFINE, SEARCH = 10, 22
GOLDEN = 0.5 * (np.sqrt(5.0) - 1.0)
#: per rank: panels along each direction, Gauss nodes in each, relative error, most rays
SWEEPS = {2: ((12,), 8, 1e-9, 12_000), 3: ((4, 8), 6, 3e-6, 16_000)}
#: the fewest panels, and the nodes below so much effort, where it is shared between many laws
LEAST_PANELS, FEW, LEAST_NODES = {2: (4,), 3: (2, 4)}, 0.5, 4
#: panels of a single number on ±FAR
PANELS, LINE_NODES = 24, 10


def moments_on_line(function: Function) -> tuple[float, float]:
    """Return mean and sd of a function of one standard normal number, kinks found by halving panels."""
    middle = float(function(np.zeros((1, 1)))[0])

    def densities(points: Array) -> Array:
        x = FAR * (2 * points[0] - 1)
        off = function(x[None, :]) - middle
        weight = 2 * FAR * np.exp(-0.5 * x * x) / np.sqrt(2 * np.pi)
        return np.stack((weight * off, weight * off * off))

    first, second = _cubature(densities, (PANELS,), LINE_NODES, 1e-12, 8_000)
    return middle + float(first), float(np.sqrt(max(second - first**2, 0.0)))


def outside(function: Function, rank: int, limit: float, sign: float, effort: float = 1.0) -> float:
    """Return P(sign·(value − limit) > 0) of a function of ``rank`` 1…3 standard normal numbers.

    ``effort`` ≤ 1 thins out the rays.
    """
    if rank == 1:
        return float(_along(function, np.array([[1.0, -1.0]]), limit, sign).mean())
    panels, nodes, error, most = SWEEPS[rank]
    shared = effort ** (1 / (rank - 1))
    nodes = nodes if effort > FEW else LEAST_NODES
    panels = tuple(max(least, round(n * shared)) for n, least in zip(panels, LEAST_PANELS[rank], strict=True))

    def densities(points: Array) -> Array:
        rays, weights = _rays(points)
        return (weights * _along(function, rays, limit, sign))[None, :]

    return float(_cubature(densities, panels, nodes, error / effort, round(most * effort))[0])


def _rays(points: Array) -> tuple[Array, Array]:
    """Return unit vectors and weights of points of the unit interval (turn) or square (latitude, turn)."""
    turn = 2 * np.pi * points[-1]
    if len(points) == 1:
        return np.stack((np.cos(turn), np.sin(turn))), np.ones_like(turn)
    latitude = np.pi * (points[0] - 0.5)
    flat = np.cos(latitude)
    return np.stack((flat * np.cos(turn), flat * np.sin(turn), np.sin(latitude))), 0.5 * np.pi * flat


def _along(function: Function, rays: Array, limit: float, sign: float) -> Array:
    """Return, per ray, the mass of what is outside."""
    from scipy.special import gammaincc

    rank = len(rays)
    values = function((rays[:, :, None] * PLACES).reshape(rank, -1)).reshape(-1, PLACES.size)

    def at(rows: Array, radii: Array) -> Array:
        return sign * (function(rays[:, rows] * radii) - limit)

    def beyond(radii: Array) -> Array:
        return gammaincc(rank / 2, 0.5 * radii * radii)

    return mass_outside(sign * (values - limit), PLACES, at, beyond)


# along one line -------------------------------------------------------------------------------------------


def mass_outside(excess: Array, places: Array, at: At, beyond: Callable[[Array], Array]) -> Array:
    """Return, per row, the mass of where ``excess`` (rows, places) is above 0; ``beyond`` is the mass past a place.

    What is not a number is outside.
    """
    if np.isnan(excess).any():
        far = float(np.nanmax(np.abs(excess), initial=1.0))
        asked = at

        def at(rows: Array, places: Array) -> Array:
            return np.nan_to_num(asked(rows, places), nan=far)

        excess = np.nan_to_num(excess, nan=far)
    inside = excess > 0
    total = np.where(inside[:, 0], beyond(np.full(len(excess), places[0])), 0.0)
    rows, cells = np.nonzero(inside[:, 1:] != inside[:, :-1])
    whole = (rows, places[cells], places[cells + 1], excess[rows, cells], excess[rows, cells + 1])
    for row, a, b, fa, fb in (whole, *_cut_at_extremes(excess, places, at)):
        if row.size:
            root = crossing(row, a, b, fa, fb, at)
            np.add.at(total, row, np.where(fb > 0, 1.0, -1.0) * beyond(root))
    return total


def crossing(rows: Array, a: Array, b: Array, fa: Array, fb: Array, at: At) -> Array:
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


def _cut_at_extremes(excess: Array, places: Array, at: At) -> tuple[tuple[Array, ...], ...]:
    """Return the cells on both sides of extremes between places that cross the limit and come back.

    An extreme lies beside a place that is nearer to the limit than both its neighbours; it is looked for where
    the steps to the neighbours are as long as the way to the limit.
    """
    left, here, right = excess[:, :-2], excess[:, 1:-1], excess[:, 2:]
    near = np.abs(here) <= np.maximum(np.abs(left - here), np.abs(right - here))
    same = ((left > 0) == (here > 0)) & ((right > 0) == (here > 0))
    rows, cells = np.nonzero(near & same & (np.abs(here) <= np.abs(left)) & (np.abs(here) <= np.abs(right)))
    if not rows.size:
        return ()
    side = np.where(here[rows, cells] > 0, 1.0, -1.0)
    low, high = places[cells], places[cells + 2]
    place, value = _least(rows, low, high, lambda r, x: side * at(r, x))
    found = value < 0
    rows, low, high, place = rows[found], low[found], high[found], place[found]
    value = (side * value)[found]
    ends = left[rows, cells[found]], right[rows, cells[found]]
    return (rows, low, place, ends[0], value), (rows, place, high, value, ends[1])


def _least(rows: Array, low: Array, high: Array, at: At) -> tuple[Array, Array]:
    """Return place and value of the least of ``at`` between low and high, by golden section."""
    a, b = high - GOLDEN * (high - low), low + GOLDEN * (high - low)
    fa, fb = at(rows, a), at(rows, b)
    for _ in range(SEARCH):
        first = fa < fb
        low, high = np.where(first, low, a), np.where(first, b, high)
        a, b = np.where(first, high - GOLDEN * (high - low), b), np.where(first, a, low + GOLDEN * (high - low))
        asked = at(rows, np.where(first, a, b))
        fa, fb = np.where(first, asked, fb), np.where(first, fa, asked)
    return np.where(fa < fb, a, b), np.minimum(fa, fb)


# over the directions --------------------------------------------------------------------------------------


def _cubature(integrand: Function, panels: tuple[int, ...], nodes: int, error: float, most: int) -> Array:
    """Return ∫ integrand over the unit interval or square, ((dims, n) → (k, n)); panels are halved as needed.

    A panel is halved until it and its parts agree to ``error`` of the whole or ``most`` points are used up.
    """
    low, size = _first_panels(panels)
    used = low.shape[1] * nodes ** len(panels)
    coarse = _gauss(integrand, low, size, nodes)
    settled = np.zeros(len(coarse))
    while True:
        parts = _halves(low, size)
        fine = _gauss(integrand, *parts, nodes)
        used += fine.shape[1] * nodes ** len(panels)
        summed = fine.reshape(len(fine), -1, low.shape[1]).sum(axis=1)
        whole = settled + summed.sum(axis=1)
        allowed = error * np.abs(whole) / np.sqrt(summed.shape[1])
        rough = (np.abs(summed - coarse) > allowed[:, None]).any(axis=0)
        settled = settled + summed[:, ~rough].sum(axis=1)
        if not rough.any() or used >= most:
            return settled + summed[:, rough].sum(axis=1)
        again = np.tile(rough, 2 ** len(panels))
        low, size = parts[0][:, again], parts[1][:, again]
        coarse = fine[:, again]


def _first_panels(panels: tuple[int, ...]) -> tuple[Array, Array]:
    """Return lower corners and sizes (dims, n) of an even division."""
    corners = np.meshgrid(*(np.arange(n) / n for n in panels), indexing="ij")
    low = np.stack([c.ravel() for c in corners])
    return low, np.broadcast_to(1.0 / np.array(panels, dtype=float)[:, None], low.shape)


def _halves(low: Array, size: Array) -> tuple[Array, Array]:
    """Return the panels halved along every dimension, part after part."""
    half = 0.5 * size
    shifts = np.meshgrid(*((0.0, 1.0),) * len(low), indexing="ij")
    moved = [low + half * np.array([s.ravel()[k] for s in shifts])[:, None] for k in range(2 ** len(low))]
    return np.concatenate(moved, axis=1), np.tile(half, 2 ** len(low))


def _gauss(integrand: Function, low: Array, size: Array, nodes: int) -> Array:
    """Return the integrals (k, n) over n panels by a Gauss–Legendre rule along each dimension."""
    x, w = np.polynomial.legendre.leggauss(nodes)
    dims, count = low.shape
    places = np.stack([c.ravel() for c in np.meshgrid(*(0.5 * (x + 1),) * dims, indexing="ij")])
    weights = np.prod(np.stack([c.ravel() for c in np.meshgrid(*(0.5 * w,) * dims, indexing="ij")]), axis=0)
    points = (low[:, :, None] + size[:, :, None] * places[:, None, :]).reshape(dims, -1)
    values = integrand(points).reshape(-1, count, places.shape[1])
    return (values @ weights) * np.prod(size, axis=0)
