"""What the pockets of a cage share: a lot's common score, or a sorting class.

A lot (``lot_share`` = s) puts √s of the cage's score and √(1 − s) of the pocket's own into each normal
score, so the marginal keeps its shape.  The mean of a value given the cage's score is Mehler's smoothing
of the value, whose eigenfunctions are the Hermite polynomials: E[f(√s·c + √(1 − s)·z) | c] multiplies the
k-th coefficient of f by s^(k/2) (F. G. Mehler 1866; Cramér, *Mathematical Methods of Statistics*, 12.6).
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from math import comb

import numpy as np

from stackup.dimension.law import Parts
from stackup.dimension.normals import normals
from stackup.dimension.numeric import NOTHING, ORDERS, Moments, gauss_hermite
from stackup.dimension.region import Array
from stackup.dimension.tables import Scratch

#: Nodes of the Gauss–Hermite grid; parts of smooth laws are good to 1e-12, of laws with corners to 1e-4.
GRID = 64

Smoother = Callable[[Array], Array]


def draw_scores(rng: np.random.Generator, out: Array, scratch: Scratch, share: float) -> None:
    """Fill ``out`` (Z, n) with normal scores of which each column shares ``share`` of its variance."""
    if share < 1.0:
        normals(rng, out, scratch)
    if share == 0.0:
        return
    row = scratch[0][0]
    rng.standard_normal(out=row)
    if share == 1.0:
        out[:] = row
        return
    out *= np.sqrt(1.0 - share)
    row *= np.sqrt(share)
    out += row


@cache
def hermite_basis(count: int = GRID) -> Array:
    """Return the orthonormal Hermite polynomials (order, node) below order ``count`` at the grid's nodes."""
    nodes = gauss_hermite(count)[0]
    rows = [np.ones(count), nodes]
    for k in range(1, count - 1):
        rows.append((nodes * rows[k] - np.sqrt(k) * rows[k - 1]) / np.sqrt(k + 1))
    return np.array(rows)


def mehler(correlation: float, count: int = GRID) -> Array:
    """Return the matrix that turns f at the nodes into E[f(z′) | z], z and z′ correlated so."""
    basis = hermite_basis(count)
    damping = correlation ** np.arange(count)
    return np.asarray((basis.T * damping) @ (basis * gauss_hermite(count)[1]))


def lot_parts(values: Array, share: float, variance: float) -> Parts:
    """Return the parts of a scalar law with ``values`` at the grid's scores and the exact ``variance``."""
    matrix = mehler(np.sqrt(share))
    own, shared = _split(values, gauss_hermite(GRID)[1], lambda f: np.asarray(matrix @ f), variance)
    common = np.array([[min(shared[0], variance)]])
    return Parts(np.array([[variance]]) - common, common, (own,), (shared,))


def lot_parts_plane(x: Array, y: Array, share: float, covariance: Array) -> Parts:
    """Return the parts of a zone law with values ``x``, ``y`` on the grid of two scores (u, v)."""
    matrix, weights = mehler(np.sqrt(share)), gauss_hermite(GRID)[1]
    plane = np.outer(weights, weights)

    def smooth(f: Array) -> Array:
        return np.asarray(matrix @ f @ matrix.T)

    parts = [_split(f, plane, smooth, covariance[i, i]) for i, f in enumerate((x, y))]
    common = np.diag([min(shared[0], covariance[i, i]) for i, (_, shared) in enumerate(parts)])
    mx, my = smooth(x), smooth(y)
    common[0, 1] = common[1, 0] = _mean(plane, mx * my) - _mean(plane, mx) * _mean(plane, my)
    return Parts(covariance - common, common, tuple(own for own, _ in parts), tuple(s for _, s in parts))


def _mean(weights: Array, values: Array) -> float:
    return float(np.sum(weights * values) / np.sum(weights))


def _split(values: Array, weights: Array, smooth: Smoother, variance: float) -> tuple[Moments, Moments]:
    """Return (own, shared) moments: shared = E[x | cage], own = x − shared, to the exact ``variance``."""
    mean = _mean(weights, values)
    scale = np.sqrt(_mean(weights, (values - mean) ** 2))
    if variance == 0.0 or scale == 0.0:
        return NOTHING, NOTHING
    unit = (values - mean) / scale
    powers = [smooth(unit**p) for p in range(ORDERS.stop)]
    shared = [_mean(weights, powers[1] ** k) for k in ORDERS]
    own = [_mean(weights, _about(powers, k)) for k in ORDERS]
    sd = np.sqrt(variance)
    return (
        tuple(float(sd**k * m) for k, m in zip(ORDERS, own, strict=True)),
        tuple(float(sd**k * m) for k, m in zip(ORDERS, shared, strict=True)),
    )


def _about(powers: list[Array], order: int) -> Array:
    """Return E[(x − E[x | c])^order | c] from E[x^p | c]."""
    terms = [comb(order, p) * powers[p] * (-powers[1]) ** (order - p) for p in range(order + 1)]
    return np.asarray(sum(terms))
