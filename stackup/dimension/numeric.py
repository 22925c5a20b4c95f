"""Shared numerical tools: quadrature rules made once, moments, and scipy's functions when first needed."""

from __future__ import annotations

import importlib
from collections.abc import Callable, Sequence
from functools import cache
from math import comb
from typing import Any

import numpy as np

from stackup.dimension.region import Array

#: Orders of the central moments that every law gives.
ORDERS = range(2, 9)
#: Central moments of orders 2..8; nan where one is not known.
Moments = tuple[float, ...]
Rule = tuple[Array, Array]

NOTHING: Moments = (0.0,) * len(ORDERS)
STANDARD_NORMAL: Moments = (1.0, 0.0, 3.0, 0.0, 15.0, 0.0, 105.0)


@cache
def special() -> Any:
    """Return ``scipy.special``, loaded when the first number needs it (0.2 s, which `check` may not need)."""
    return importlib.import_module("scipy.special")


@cache
def gauss_legendre(count: int) -> Rule:
    """Return nodes and weights on [−1, 1], exact for polynomials of degree 2·count − 1."""
    return np.polynomial.legendre.leggauss(count)


@cache
def gauss_hermite(count: int) -> Rule:
    """Return nodes and weights of the standard normal law (weights sum to 1)."""
    nodes, weights = np.polynomial.hermite_e.hermegauss(count)
    return nodes, weights / np.sqrt(2 * np.pi)


@cache
def double_exponential(step: float = 0.06) -> tuple[Array, Array, Array]:
    """Return (distance from the left end, from the right end, weight) on a unit interval.

    The substitution ½(1 + tanh(½π sinh t)) (Takahasi and Mori 1974); algebraic singularities at the ends
    do no harm, because both distances are exact.
    """
    t = np.arange(-4.5, 4.5 + step / 2, step)
    half = 0.5 * np.pi * np.sinh(t)
    left, right = 1 / (1 + np.exp(-2 * half)), 1 / (1 + np.exp(2 * half))
    return left, right, step * np.pi * np.cosh(t) * left * right


def legendre_pieces(edges: Sequence[float], count: int) -> Rule:
    """Return a Gauss rule of ``count`` nodes between each two ascending ``edges`` (weights: lengths)."""
    nodes, weights = gauss_legendre(count)
    low, high = np.asarray(edges[:-1])[:, None], np.asarray(edges[1:])[:, None]
    half = 0.5 * (high - low)
    return (0.5 * (low + high) + half * nodes).ravel(), (half * weights).ravel()


def weighted(weights: Array, values: Array) -> float:
    """Return Σ weights·values, summed the same way whatever threads the linear algebra library uses."""
    return float(np.einsum("i,i", weights, values))


def moments_of_rule(nodes: Array, weights: Array) -> tuple[float, Moments]:
    """Return mean and central moments of the law that has ``weights`` (any sum) at ``nodes``."""
    weights = weights / weights.sum()
    mean = weighted(weights, nodes)
    return mean, powers_of(nodes - mean, weights)


def powers_of(deviations: Array, weights: Array) -> Moments:
    """Return Σ weights·deviations^k for k = 2..8."""
    power, sums = deviations.copy(), []
    for _ in ORDERS:
        power *= deviations
        sums.append(weighted(weights, power))
    return tuple(sums)


def central_of_raw(raw: Callable[[int], float]) -> Moments:
    """Return central moments from moments about zero, E[x^k] = raw(k), raw(0) = 1.

    Cancels where the spread is small beside the mean: for laws whose spread is of the size of the mean.
    """
    values = [raw(k) for k in range(ORDERS.stop)]
    return tuple(sum(comb(k, i) * values[i] * (-values[1]) ** (k - i) for i in range(k + 1)) for k in ORDERS)


def scaled(moments: Moments, factor: float) -> Moments:
    """Return the central moments of factor·x."""
    return tuple(m * factor**k for k, m in zip(ORDERS, moments, strict=True))
