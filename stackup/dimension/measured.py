"""Shapes that come from outside: a measured column, and any object that knows its quantiles.

Both are laws of the value itself, in the dimension's own unit.
"""

from __future__ import annotations

import math
from itertools import pairwise
from typing import Any

import numpy as np

from stackup.dimension.numeric import ORDERS, Moments, Rule, legendre_pieces, special
from stackup.dimension.region import Array
from stackup.dimension.shape import LEAST_U, MOST_U, Shape, to_uniform
from stackup.dimension.tables import Scratch, Table
from stackup.dimension.unbounded import Normal
from stackup.errors import ValueFault


def column(values: Array, how: str, floor: float = -math.inf) -> Shape:
    """Return the shape of one measured column (n,), "smoothed" or "resampled"; nothing below ``floor``."""
    return Resampled(values) if how == "resampled" else Smoothed(values, floor)


class Steps(Shape):
    """A shape whose quadrature and truncation go through its quantile function (it has no density)."""

    def piece(self, low: float, high: float) -> Rule:
        """Return Gauss rules in the fraction u, on the pieces between ``_breaks``."""
        first, last = self._span(low, high)
        if last <= first:
            return np.array([low]), np.zeros(1)
        breaks = self._breaks()
        inner = breaks[(breaks > first) & (breaks < last)]
        nodes, weights = legendre_pieces([first, *inner, last], self.nodes)
        return self.quantile(nodes), weights

    def _span(self, low: float, high: float) -> tuple[float, float]:
        """Return the fractions below ``low`` and up to ``high``."""
        below = self.below(np.array([max(low, self.low)]))
        return float(below[0]), float(self.cdf(np.array([min(high, self.high)]))[0])

    def below(self, x: Array) -> Array:
        """Return the fraction below ``x``."""
        return self.cdf(np.nextafter(x, -np.inf))

    def _breaks(self) -> Array:
        ends = np.array([1e-12, 1e-9, 1e-7, 1e-5, 1e-4, 1e-3, 1e-2, 0.05])
        return np.concatenate([ends, np.arange(0.1, 0.95, 0.1), 1 - ends[::-1]])


class Smoothed(Steps):
    """Piecewise linear quantile function through the sorted values at (i − 0.5)/n (interface.md).

    Beyond the ends it goes on with the normal law of the values' mean and standard deviation (n − 1),
    kept monotone: below the least value where the normal law is, else at the least value itself.
    """

    nodes = 5

    def __init__(self, values: Array, floor: float = -math.inf) -> None:
        """Sort the values; ``floor``: nothing is smaller (0 for lengths and one-sided values)."""
        self.values, self.floor = np.sort(np.asarray(values, dtype=float)), floor
        still = self.values[0] == self.values[-1]  # where rounding would leave a spread of its own
        self.centre = float(self.values[0] if still else np.mean(values))
        self.scatter = 0.0 if still else float(np.std(values, ddof=1))
        self.low, self.high = floor, math.inf

    def quantile(self, u: Array) -> Array:
        """Return the interpolated values, normal beyond the ends."""
        u = np.clip(np.asarray(u, dtype=float), LEAST_U, MOST_U)
        inside = np.interp(u, self._fractions, self.values)
        n, normal = len(self.values), self.centre + self.scatter * special().ndtri(u)
        low = np.where(u < 0.5 / n, np.minimum(inside, normal), inside)
        both = np.where(u > 1 - 0.5 / n, np.maximum(low, normal), low)
        return np.asarray(np.maximum(both, self.floor))

    def cdf(self, x: Array) -> Array:
        """Return the fraction at or below ``x``: the inverse of the quantile function."""
        x = np.asarray(x, dtype=float)
        normal, n = self._normal_cdf(x), len(self.values)
        inside = 0.5 / n + self._counted(x) / n
        ends = np.minimum(normal, 0.5 / n), np.maximum(normal, 1 - 0.5 / n)
        outside = np.where(x < self.values[0], *ends)
        result = np.where((x < self.values[0]) | (x >= self.values[-1]), outside, inside)
        return np.where(x < self.floor, 0.0, result)

    def _normal_cdf(self, x: Array) -> Array:
        if self.scatter == 0:
            return np.where(x < self.centre, 0.0, 1.0)
        return np.asarray(special().ndtr((x - self.centre) / self.scatter))

    def _counted(self, x: Array) -> Array:
        """Return the index, with its fraction, at which ``x`` stands between the sorted values."""
        right = np.clip(np.searchsorted(self.values, x, side="right"), 1, len(self.values) - 1)
        left = self.values[right - 1]
        step = self.values[right] - left
        with np.errstate(over="ignore"):  # steps of 1e-313
            share = np.clip((x - left) / np.where(step > 0, step, 1.0), 0.0, 1.0)
        return np.asarray(right - 1 + share)

    @property
    def _fractions(self) -> Array:
        return (np.arange(len(self.values)) + 0.5) / len(self.values)

    def piece(self, low: float, high: float) -> Rule:
        """Return a rule that is exact between the values, and a Gauss rule of the normal law beyond them."""
        first, last = self._span(low, high)
        half = 0.5 / len(self.values)
        turns = self._normal_cdf(np.array([self.floor, self.values[0], self.values[-1]]))
        stops = np.unique(np.clip([first, half, *turns, 1 - half, last], first, last))
        rules = [self._between(*ends, half) for ends in pairwise(stops.tolist())]
        rules.append((self.values[:1], np.zeros(1)))
        return np.concatenate([nodes for nodes, _ in rules]), np.concatenate([w for _, w in rules])

    def _between(self, start: float, stop: float, half: float) -> Rule:
        """Return a rule for the fractions from ``start`` to ``stop``, all in one kind of place."""
        middle = 0.5 * (start + stop)
        value = self.quantile(np.array([middle]))
        if half < middle < 1 - half:
            inner = self._fractions[(self._fractions > start) & (self._fractions < stop)]
            nodes, weights = legendre_pieces([start, *inner, stop], self.nodes)
            return self.quantile(nodes), weights
        if value[0] in (self.floor, self.values[0], self.values[-1]):
            return value, np.array([stop - start])
        scores, weights = Normal().piece(*(float(special().ndtri(u)) for u in (start, stop)))
        return self.centre + self.scatter * scores, weights

    def _table(self) -> Table:
        """Return the quantile function as it is: linear cells, the two half cells at the ends exact."""
        steps = np.concatenate([[np.nan], np.diff(self.values), [np.nan]])
        starts = np.concatenate([[self.values[0]], self.values])
        n = len(self.values)
        return Table((starts, steps), -0.5 / n, float(n), self.quantile)

    def score(self, out: Array, scratch: Scratch) -> None:
        """Turn normal scores into values, through their fractions."""
        to_uniform(out, scratch)
        self._quantiles.apply(out, scratch)


class Resampled(Steps):
    """The rows of a column as they are, each with probability 1/n."""

    def __init__(self, values: Array) -> None:
        """Sort the values."""
        self.values = np.sort(np.asarray(values, dtype=float))
        self.low, self.high = float(self.values[0]), float(self.values[-1])

    def quantile(self, u: Array) -> Array:
        """Return the value at row ⌊u·n⌋ of the sorted column."""
        n = len(self.values)
        rows = np.floor(np.asarray(u) * n).astype(int)
        return np.asarray(self.values[np.clip(rows, 0, n - 1)])

    def cdf(self, x: Array) -> Array:
        """Return the fraction of rows at or below ``x``."""
        return np.searchsorted(self.values, x, side="right") / len(self.values)

    def piece(self, low: float, high: float) -> Rule:
        """Return the rows in [low, high], with weight 1/n."""
        rows = self._rows(low, high)
        return (
            (rows, np.full(len(rows), 1 / len(self.values))) if len(rows) else (np.array([low]), np.zeros(1))
        )

    def _rows(self, low: float, high: float) -> Array:
        return self.values[(self.values >= low) & (self.values <= high)]

    def cut(self, low: float, high: float) -> Shape:
        """Return the law of the rows in [low, high]."""
        rows = self._rows(low, high)
        return self if len(rows) in (0, len(self.values)) else Resampled(rows)

    def _table(self) -> Table:
        return Table((self.values,), 0.0, float(len(self.values)), self.quantile)

    def score(self, out: Array, scratch: Scratch) -> None:
        """Turn normal scores into rows, through their fractions."""
        to_uniform(out, scratch)
        self._quantiles.apply(out, scratch)


class Given(Steps):
    """Any object with ``mean``, ``moments`` (central, from order 2, as many as it knows) and ``quantile``.

    ``cdf`` is used where the object has one, else the quantile function is inverted by bisection.
    """

    def __init__(self, law: Any) -> None:
        """Judge the object: raises ValueFault for a mean or variance that is no number."""
        self.law = law
        ends = np.asarray(law.quantile(np.array([LEAST_U, 0.5, MOST_U])), dtype=float)
        known = [float(m) for m in np.atleast_1d(law.moments)][: len(ORDERS)]
        known_well = math.isfinite(float(law.mean)) and bool(known) and 0 <= known[0] < math.inf
        if not known_well or not (np.diff(ends) >= 0).all():
            raise ValueFault(
                "shape", repr(law), "a finite mean, a variance of 0 or more, an ascending quantile"
            )
        self.known = tuple(known) + (math.nan,) * (len(ORDERS) - len(known))
        self.low, self.high = float(ends[0]), float(ends[-1])

    def _mean(self) -> float:
        return float(self.law.mean)

    def _moments(self) -> Moments:
        return self.known

    def quantile(self, u: Array) -> Array:
        """Return the object's own quantiles."""
        return np.asarray(
            self.law.quantile(np.clip(np.asarray(u, dtype=float), LEAST_U, MOST_U)), dtype=float
        )

    def cdf(self, x: Array) -> Array:
        """Return the object's own cdf, or the inverse of its quantile function to 1e-16."""
        if hasattr(self.law, "cdf"):
            return np.asarray(self.law.cdf(x), dtype=float)
        x = np.asarray(x, dtype=float)
        low, high = np.zeros_like(x), np.ones_like(x)
        for _ in range(54):
            middle = 0.5 * (low + high)
            below = self.quantile(middle) <= x
            low, high = np.where(below, middle, low), np.where(below, high, middle)
        return 0.5 * (low + high)
