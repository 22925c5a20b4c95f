"""What every scalar shape can do, and how it does it where it knows no better way.

A shape is a law on its own scale: the dimension places it (``place + scale·x``).  A new shape is one
class with ``quantile``, ``cdf`` and ``piece`` (a :class:`Smooth` one with ``density`` has it), and one line in
``shapes.SHAPES``; moments, tables, truncation, sorting and shared lots follow.
"""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from functools import cache, cached_property
from typing import ClassVar

import numpy as np

from stackup.dimension import tables
from stackup.dimension.numeric import Moments, Rule, legendre_pieces, moments_of_rule, special
from stackup.dimension.region import Array
from stackup.dimension.tables import Scratch, Table

#: Errors of tables in units of the shape's standard deviation.
TABLE_ERROR = 2e-8
#: Limits that differ by no more are the same limit.
ROUNDING = 1e-12
#: The least and greatest argument of a quantile function that is asked for an unbounded value.
LEAST_U, MOST_U = 2.0**-54, 1.0 - 2.0**-53


@cache
def _normal_cdf() -> Table:
    """Return Φ as a table; its error falls with the density, so that it is below 1e-7 in the score."""
    return tables.of_scores(lambda z: np.asarray(special().ndtr(z)), 1e-9)


def to_uniform(scores: Array, scratch: Scratch) -> None:
    """Turn normal scores into uniform numbers, in place."""
    _normal_cdf().apply(scores, scratch)


class Shape(ABC):
    """A scalar law on its own scale.

    ``keys``: parameters a process must give.  ``reach``: the value that stands at T/cp (sizes) or
    limit/cp (one-sided).  ``low``, ``high``: support.
    """

    keys: ClassVar[tuple[str, ...]] = ()
    #: Gauss nodes on each smooth piece.
    nodes: ClassVar[int] = 64
    is_normal: ClassVar[bool] = False
    low: float = -1.0
    high: float = 1.0

    @cached_property
    def mean(self) -> float:
        """The mean."""
        return self._mean()

    @cached_property
    def moments(self) -> Moments:
        """The central moments of orders 2..8."""
        return self._moments()

    @property
    def reach(self) -> float:
        """Return the value that stands at T/cp; 1 for bounded shapes."""
        return 1.0

    @abstractmethod
    def quantile(self, u: Array) -> Array:
        """Return the values with the fraction ``u`` (0…1) below."""

    @abstractmethod
    def cdf(self, x: Array) -> Array:
        """Return the fraction at or below ``x``."""

    def below(self, x: Array) -> Array:
        """Return the fraction below ``x``; other than ``cdf`` only where one value is that frequent."""
        return self.cdf(x)

    @abstractmethod
    def piece(self, low: float, high: float) -> Rule:
        """Return a quadrature rule of the law on [low, high]: nodes, and weights that sum to its share."""

    def from_score(self, z: Array) -> Array:
        """Return the values whose normal scores are ``z``; unbounded shapes keep the upper tail exact."""
        return self.quantile(np.clip(special().ndtr(z), LEAST_U, MOST_U))

    @cached_property
    def _rule_moments(self) -> tuple[float, Moments]:
        return moments_of_rule(*self.piece(-math.inf, math.inf))

    def _mean(self) -> float:
        return self._rule_moments[0]

    def _moments(self) -> Moments:
        return self._rule_moments[1]

    @property
    def sd(self) -> float:
        """Return the standard deviation."""
        return math.sqrt(self.moments[0])

    @property
    def error(self) -> float:
        """Return what a table of this shape may be wrong by."""
        return TABLE_ERROR * self.sd

    @cached_property
    def _quantiles(self) -> Table:
        return self._table()

    def _table(self) -> Table:
        return tables.tabulate(self.quantile, 0.0, 1.0, cells=1024, tolerance=self.error)

    @cached_property
    def _scores(self) -> Table:
        return tables.of_scores(self.from_score, self.error)

    def sample(self, rng: np.random.Generator, out: Array, scratch: Scratch) -> None:
        """Fill ``out`` with independent values."""
        rng.random(out=out)
        self.spread(out, scratch)

    def spread(self, out: Array, scratch: Scratch) -> None:
        """Turn the uniform numbers in ``out`` into values, in place."""
        self._quantiles.apply(out, scratch)

    def score(self, out: Array, scratch: Scratch) -> None:
        """Turn the normal scores in ``out`` into values, in place."""
        self._scores.apply(out, scratch)

    def cut(self, low: float, high: float) -> Shape:
        """Return the law of what lies in [low, high], its own parameters kept."""
        return self if _spans(low, high, self) else Truncated(self, low, high)

    def share(self, low: float, high: float) -> float:
        """Return the fraction of the values in [low, high]."""
        return float(self.piece(low, high)[1].sum())


def _spans(low: float, high: float, shape: Shape) -> bool:
    """Return True where [low, high] holds the support, but for rounding: the same law in other units."""
    is_low = low <= shape.low or math.isclose(low, shape.low, rel_tol=ROUNDING, abs_tol=ROUNDING)
    return is_low and (high >= shape.high or math.isclose(high, shape.high, rel_tol=ROUNDING, abs_tol=ROUNDING))


class Smooth(Shape):
    """A law with a density that is smooth but at its ``kinks``, the points inside the support."""

    @property
    def kinks(self) -> tuple[float, ...]:
        """Return the points inside the support where the density is not smooth."""
        return ()

    @abstractmethod
    def density(self, x: Array) -> Array:
        """Return the probability density at ``x`` inside the support."""

    def piece(self, low: float, high: float) -> Rule:
        """Return Gauss rules between the kinks."""
        low, high = max(low, self.low), min(high, self.high)
        if high <= low:
            return np.array([low]), np.zeros(1)
        inner = [k for k in self.kinks if low < k < high]
        nodes, lengths = legendre_pieces([low, *inner, high], self.nodes)
        return nodes, lengths * self.density(nodes)


class Truncated(Shape):
    """A shape of which only what lies in [low, high] is used (inspected parts).

    ``kept`` is the share that remains; it must be above 0.
    """

    def __init__(self, base: Shape, low: float, high: float) -> None:
        """Keep the untruncated shape and the part of [low, high] that it reaches."""
        self.base, self.low, self.high = base, max(low, base.low), min(high, base.high)
        self.kept = base.share(low, high)

    @property
    def reach(self) -> float:
        """Return the reach of the untruncated process, whose parameters are kept."""
        return self.base.reach

    @cached_property
    def _span(self) -> tuple[float, float]:
        low, high = self.base.below(np.array([self.low])), self.base.cdf(np.array([self.high]))
        return float(low[0]), float(high[0])

    def quantile(self, u: Array) -> Array:
        """Return the values with the fraction ``u`` of the used parts below."""
        low, high = self._span
        return np.clip(self.base.quantile(low + np.asarray(u) * (high - low)), self.low, self.high)

    def cdf(self, x: Array) -> Array:
        """Return the fraction of the used parts at or below ``x``."""
        low, high = self._span
        return np.clip((self.base.cdf(np.clip(x, self.low, self.high)) - low) / (high - low), 0.0, 1.0)

    def below(self, x: Array) -> Array:
        """Return the fraction of the used parts below ``x``."""
        low, high = self._span
        return np.clip((self.base.below(np.clip(x, self.low, self.high)) - low) / (high - low), 0.0, 1.0)

    def piece(self, low: float, high: float) -> Rule:
        """Return the untruncated shape's rule on the part of [low, high] that is used."""
        nodes, weights = self.base.piece(max(low, self.low), min(high, self.high))
        return nodes, weights / self.kept

    def cut(self, low: float, high: float) -> Shape:
        """Return the law of a part of what is used."""
        return Truncated(self.base, max(low, self.low), min(high, self.high))
