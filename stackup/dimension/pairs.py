"""Laws of a measured zone: pairs of a file, resampled as they are or smoothed."""

from __future__ import annotations

from functools import cached_property

import numpy as np

from stackup.dimension.law import placed
from stackup.dimension.measured import Smoothed
from stackup.dimension.numeric import gauss_hermite, special
from stackup.dimension.region import Array, Column, Disc
from stackup.dimension.shared import GRID
from stackup.dimension.tables import Scratch
from stackup.dimension.zones import Spread, ZoneLaw, limit_of, redraw, spread_of_rule

#: Steps along each score in the quadrature of smoothed pairs that a disc cuts (good to about 1e-3).
_CUT_STEPS = 200


class PairZone(ZoneLaw):
    """Measured pairs, cut to ``disc`` where inspected; ``means`` is what pattern and drift add."""

    def __init__(self, values: Array, means: tuple[Column, Column], scope: str, disc: Disc | None) -> None:
        """Keep the rows (n, 2); a measured zone takes no lot share."""
        super().__init__(means, scope, moves=False)
        self.values, self.disc = values, disc
        self.needs = None if disc is None or disc.growth is None else disc.growth.feature

    def _grid(self) -> tuple[Array, Array, Array]:
        """Return x, y and weights (sum 1) of the law before inspection, without ``means``."""
        raise NotImplementedError

    def _draw(self, rng: np.random.Generator, out: tuple[Array, ...], scratch: Scratch) -> None:
        """Fill ``out`` with pairs before inspection, without ``means``."""
        raise NotImplementedError

    @property
    def kept(self) -> float:
        """The share of what the process makes that is used, over all pockets."""
        return float(np.mean(self._used[2]) * len(self._used[2])) if self.disc is not None else 1.0

    @cached_property
    def _used(self) -> tuple[Array, Array, Array]:
        """Return x, y and weights of what is left, from the means; weights sum to the share kept."""
        x, y, weights = self._grid()
        if self.disc is None:
            return x, y, weights
        mx, my = (np.atleast_1d(mean)[:, None] for mean in self.means)
        inside = (x + mx) ** 2 + (y + my) ** 2 <= self.disc.radius**2
        return x, y, weights * inside.mean(axis=0)

    def _spread(self) -> Spread:
        x, y, weights = self._used
        return spread_of_rule(x, y, weights / weights.sum())

    def sample(
        self, rng: np.random.Generator, out: tuple[Array, ...], scratch: Scratch, departure: Array | None = None
    ) -> None:
        """Fill the two parts; what inspection refuses is drawn again."""
        if self.disc is not None:
            redraw(rng, out, scratch, self.means, limit_of(self.disc, departure), self._draw)
            return
        self._draw(rng, out, scratch)
        for values, mean in zip(out, self.means, strict=True):
            placed(values, 1.0, mean)


class ResampledPairs(PairZone):
    """The rows of the file, each with probability 1/n."""

    def _grid(self) -> tuple[Array, Array, Array]:
        return self.values[:, 0], self.values[:, 1], np.full(len(self.values), 1 / len(self.values))

    def _draw(self, rng: np.random.Generator, out: tuple[Array, ...], scratch: Scratch) -> None:
        uniform, whole = scratch[0], scratch[1].view(np.int64)
        rng.random(out=uniform)
        uniform *= len(self.values)
        np.copyto(whole, uniform, casting="unsafe")
        for values, column in zip(out, self.values.T, strict=True):
            np.take(np.ascontiguousarray(column), whole, out=values, mode="clip")

    def _vectors(self, u: Array, v: Array) -> tuple[Array, Array]:  # noqa: ARG002 - a row has one score
        row = np.clip(np.floor(special().ndtr(u) * len(self.values)).astype(int), 0, len(self.values) - 1)
        return self.values[row, 0], self.values[row, 1]


class SmoothedPairs(PairZone):
    """Each column smoothed by itself, joined by the correlation of the rows' normal scores."""

    @cached_property
    def _columns(self) -> tuple[Smoothed, Smoothed]:
        return Smoothed(self.values[:, 0]), Smoothed(self.values[:, 1])

    @cached_property
    def correlation(self) -> float:
        """Correlation of the normal scores of the two columns; 0 where one never varies."""
        ranks = np.argsort(np.argsort(self.values, axis=0, kind="stable"), axis=0)
        scores = special().ndtri((ranks + 0.5) / len(self.values))
        if (np.ptp(self.values, axis=0) == 0).any():
            return 0.0
        return float(np.sum(scores[:, 0] * scores[:, 1]) / np.sum(scores[:, 0] ** 2))

    def _grid(self) -> tuple[Array, Array, Array]:
        if self.disc is None:
            scores, weights = gauss_hermite(GRID)
        else:
            scores = special().ndtri((np.arange(_CUT_STEPS) + 0.5) / _CUT_STEPS)
            weights = np.full(_CUT_STEPS, 1 / _CUT_STEPS)
        u, v = (grid.ravel() for grid in np.meshgrid(scores, scores, indexing="ij"))
        x, y = self._vectors(u, v)
        return x, y, np.outer(weights, weights).ravel()

    def _spread(self) -> Spread:
        """Return the exact moments of each column where nothing is cut; the covariance by quadrature."""
        mean, covariance, moments = super()._spread()
        if self.disc is not None:
            return mean, covariance, moments
        first, last = self._columns
        cross = covariance[0, 1]
        exact = np.array([[first.moments[0], cross], [cross, last.moments[0]]])
        return np.array([first.mean, last.mean]), exact, (first.moments, last.moments)

    def _draw(self, rng: np.random.Generator, out: tuple[Array, ...], scratch: Scratch) -> None:
        u, v = out
        rng.standard_normal(out=u)
        rng.standard_normal(out=v)
        v *= np.sqrt(1 - self.correlation**2)
        np.multiply(u, self.correlation, out=scratch[0])
        v += scratch[0]
        for values, column in zip(out, self._columns, strict=True):
            column.score(values, scratch)

    def _vectors(self, u: Array, v: Array) -> tuple[Array, Array]:
        first, last = self._columns
        return first.from_score(u), last.from_score(self.correlation * u + np.sqrt(1 - self.correlation**2) * v)
