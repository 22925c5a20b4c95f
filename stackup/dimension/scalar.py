"""Laws of one number: sizes, one-sided values, sizes as built."""

from __future__ import annotations

from collections.abc import Callable
from functools import cached_property

import numpy as np

from stackup.dimension.law import Parts, first, placed
from stackup.dimension.numeric import NOTHING, STANDARD_NORMAL, Moments, Rule, gauss_hermite, scaled
from stackup.dimension.region import Array, Column
from stackup.dimension.shape import Shape
from stackup.dimension.shared import GRID, draw_scores, lot_parts
from stackup.dimension.tables import Scratch


class Constant(Shape):
    """The number 0, always: a tolerance of nothing."""

    is_normal = True
    low, high = 0.0, 0.0

    def _mean(self) -> float:
        return 0.0

    def _moments(self) -> Moments:
        return NOTHING

    def piece(self, low: float, high: float) -> Rule:
        """Return all of it at 0, if 0 is inside."""
        return np.zeros(1), np.array([1.0 if low <= 0.0 <= high else 0.0])

    def cut(self, low: float, high: float) -> Shape:  # noqa: ARG002 - what it cuts off is judged by its share
        """Return itself."""
        return self

    def quantile(self, u: Array) -> Array:
        """Return 0."""
        return np.zeros(np.shape(u))

    def cdf(self, x: Array) -> Array:
        """Return 0 below 0, else 1."""
        return np.where(np.asarray(x) < 0, 0.0, 1.0)

    def from_score(self, z: Array) -> Array:
        """Return 0."""
        return np.zeros(np.shape(z))

    def sample(self, rng: np.random.Generator, out: Array, scratch: Scratch) -> None:  # noqa: ARG002
        """Fill ``out`` with 0; draws nothing."""
        out.fill(0.0)

    def score(self, out: Array, scratch: Scratch) -> None:  # noqa: ARG002
        """Return 0."""
        out.fill(0.0)


class ScalarLaw:
    """place + scale·x, x of a ``shape``; ``place`` a number or a column (Z,), ``scale`` ≥ 0.

    ``share`` is the share of the score's variance that the pockets of a cage have in common.
    """

    needs: str | None = None

    def __init__(
        self,
        shape: Shape,
        place: Column,
        scale: float,
        scope: str,
        *,
        share: float = 0.0,
        anchor: Column | None = None,
    ) -> None:
        """Keep the parts; ``anchor`` None says that the process does not follow the tolerance."""
        self.shape, self.place, self.scale, self.scope, self.share = shape, place, scale, scope, share
        self.moves = anchor is not None
        self._anchor = anchor

    @property
    def mean(self) -> tuple[Column]:
        """The mean: a number or a column (Z,)."""
        return (self.place + self.scale * self.shape.mean,)

    @property
    def anchor(self) -> tuple[Column]:
        """Where a value stays when the tolerance shrinks to nothing."""
        return self.mean if self._anchor is None else (self._anchor,)

    @property
    def is_normal(self) -> bool:
        """True where value and parts are normal (a constant counts: variance 0)."""
        return self.shape.is_normal

    @cached_property
    def moments(self) -> tuple[Moments]:
        """Central moments of orders 2..8."""
        return (scaled(self.shape.moments, self.scale),)

    @cached_property
    def _parts(self) -> Parts:
        (moments,) = self.moments
        nothing, all_of_it = np.zeros((1, 1)), np.array([[moments[0]]])
        if self.scope == "cage" or self.share == 1.0:
            return Parts(nothing, all_of_it, (NOTHING,), (moments,))
        if self.share == 0.0:
            return Parts(all_of_it, nothing, (moments,), (NOTHING,))
        if self.is_normal:
            shared = moments[0] * self.share
            own = moments[0] - shared
            return Parts(np.array([[own]]), np.array([[shared]]), (_normal(own),), (_normal(shared),))
        return lot_parts(self.shape.from_score(gauss_hermite(GRID)[0]), self.share, moments[0])

    @property
    def own(self) -> Array:
        """Variance (1, 1) of the part drawn anew for each pocket."""
        return self._parts.own

    @property
    def shared(self) -> Array:
        """Covariance (1, 1) of two pockets' values."""
        return self._parts.shared

    @property
    def own_moments(self) -> tuple[Moments, ...]:
        """Central moments of the part drawn anew for each pocket."""
        return self._parts.own_moments

    @property
    def shared_moments(self) -> tuple[Moments, ...]:
        """Central moments of the part that all pockets share."""
        return self._parts.shared_moments

    def sample(
        self,
        rng: np.random.Generator,
        out: tuple[Array, ...],
        scratch: Scratch,
        departure: Array | None = None,  # noqa: ARG002
    ) -> None:
        """Fill out[0] (Z, n) or (1, n) with values."""
        (values,) = out
        if self.share:
            draw_scores(rng, values, scratch, self.share)
            self.shape.score(values, scratch)
        else:
            self.shape.sample(rng, values, scratch)
        placed(values, self.scale, self.place)

    def quantile(self, u: Array, pocket: int | None = None) -> Array:
        """Return the values with the fraction ``u`` below: of one pocket, or (None) of all together."""
        values = self.scale * self.shape.quantile(np.asarray(u, dtype=float))
        if pocket is not None or not isinstance(self.place, np.ndarray):
            return values + self._place(pocket)
        return inverted(self.cdf, u, values + self.place.min(), values + self.place.max())

    def cdf(self, x: Array, pocket: int | None = None) -> Array:
        """Return the fraction at or below ``x``: of one pocket, or (None) of all together."""
        x, scale = np.asarray(x, dtype=float), self.scale or 1.0
        if pocket is not None or not isinstance(self.place, np.ndarray):
            return self.shape.cdf((x - self._place(pocket)) / scale)
        rows = [self.shape.cdf((x - place) / scale) for place in self.place]
        return np.asarray(np.mean(rows, axis=0))

    def _place(self, pocket: int | None) -> float:
        return float(self.place[pocket or 0]) if isinstance(self.place, np.ndarray) else self.place

    def from_scores(self, *scores: Array) -> tuple[Array, ...]:
        """Return the values behind normal scores, at pocket 0's mean; unbounded tails stay exact."""
        return (first(self.place) + self.scale * self.shape.from_score(scores[0]),)


def _normal(variance: float) -> Moments:
    return scaled(STANDARD_NORMAL, float(np.sqrt(variance)))


def inverted(cdf: Callable[[Array], Array], u: Array, low: Array, high: Array) -> Array:
    """Return where ``cdf`` reaches ``u``, by bisection between ``low`` and ``high`` to the last bits."""
    u = np.asarray(u, dtype=float)
    for _ in range(60):
        middle = 0.5 * (low + high)
        below = cdf(middle) < u
        low, high = np.where(below, middle, low), np.where(below, high, middle)
    return np.asarray(0.5 * (low + high))
