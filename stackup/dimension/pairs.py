"""Laws of a measured zone: pairs of a file, resampled as they are or smoothed."""

from __future__ import annotations

from abc import abstractmethod
from functools import cached_property

import numpy as np

from stackup.dimension.law import placed
from stackup.dimension.measured import Smoothed
from stackup.dimension.numeric import gauss_hermite, special, weighted
from stackup.dimension.offset import redraw
from stackup.dimension.region import Array, Disc
from stackup.dimension.shared import GRID
from stackup.dimension.tables import Scratch
from stackup.dimension.unbounded import Normal
from stackup.dimension.zones import About, Limits, Spread, ZoneLaw, centres, limit_of, spread_of_rule

#: Reach and steps along each score in the quadrature of smoothed pairs that a disc cuts (good to 1e-3).
_CUT_REACH, _CUT_STEPS = 6.0, 400
_NORMAL = Normal()


class PairZone(ZoneLaw):
    """Measured pairs, cut to ``disc`` where inspected; ``means`` is what pattern and drift add."""

    def __init__(self, values: Array, about: About, disc: Disc | None, limits: Limits = ()) -> None:
        """Keep the rows (n, 2); a measured zone takes no lot share."""
        super().__init__(about)
        self.values, self.disc, self.centres = values, disc, centres(self.means)
        self.limits = limits or ((np.inf if disc is None else disc.radius, 1.0),)
        self.needs = None if disc is None or disc.growth is None else disc.growth.feature

    @abstractmethod
    def _grid(self) -> tuple[Array, Array, Array]:
        """Return x, y and weights (sum 1) of the law before inspection, without ``means``."""

    @abstractmethod
    def _draw(self, rng: np.random.Generator, out: tuple[Array, ...], scratch: Scratch) -> None:
        """Fill ``out`` with pairs before inspection, without ``means``."""

    @cached_property
    def kept(self) -> float:
        """The least share, over the pockets, of what the process makes inside the disc."""
        weights = self._all[2]
        limit = np.inf if self.disc is None else self.disc.radius
        return min(weighted(weights, self._inside(i, limit)) for i in range(len(self.centres)))

    @cached_property
    def _all(self) -> tuple[Array, Array, Array]:
        return self._grid()

    def _inside(self, pocket: int, limit: float) -> Array:
        x, y, _ = self._all
        mx, my = self.centres[pocket]
        return np.asarray((x + mx) ** 2 + (y + my) ** 2 <= limit**2)

    @cached_property
    def _each(self) -> list[Spread]:
        pockets = 1 if self.disc is None else len(self.centres)
        return [self._spread(i) for i in range(pockets)]

    def _spread(self, pocket: int = 0) -> Spread:
        """Return the spread of one pocket, over all limits that a bonus brings."""
        x, y, weights = self._all
        used = [(w, weights * self._inside(pocket, limit)) for limit, w in self.limits]
        return spread_of_rule(x, y, np.sum([w * some / some.sum() for w, some in used], axis=0))

    def sample(
        self,
        rng: np.random.Generator,
        out: tuple[Array, ...],
        scratch: Scratch,
        departure: Array | None = None,
    ) -> None:
        """Fill the two parts; what inspection refuses is drawn again."""
        if self.disc is not None:
            redraw(rng, out, scratch, (self.means, limit_of(self.disc, departure)), self._draw)
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
        row = np.floor(special().ndtr(u) * len(self.values)).astype(int)
        row = np.clip(row, 0, len(self.values) - 1)
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
            scores = np.linspace(-_CUT_REACH, _CUT_REACH, _CUT_STEPS)
            weights = np.exp(-0.5 * scores**2)
            weights /= weights.sum()
        u, v = (grid.ravel() for grid in np.meshgrid(scores, scores, indexing="ij"))
        x, y = self._vectors(u, v)
        return x, y, np.outer(weights, weights).ravel()

    def _spread(self, pocket: int = 0) -> Spread:
        """Return the exact moments of each column where nothing is cut; the covariance by quadrature."""
        mean, covariance, moments = super()._spread(pocket)
        if self.disc is not None:
            return mean, covariance, moments
        first, last = self._columns
        cross = covariance[0, 1]
        exact = np.array([[first.moments[0], cross], [cross, last.moments[0]]])
        return np.array([first.mean, last.mean]), exact, (first.moments, last.moments)

    def _draw(self, rng: np.random.Generator, out: tuple[Array, ...], scratch: Scratch) -> None:
        x, y = out
        rng.random(out=x)
        y[:] = x
        _NORMAL.spread(y, scratch)
        y *= self.correlation
        noise = scratch[0]
        rng.standard_normal(out=noise)
        noise *= np.sqrt(1 - self.correlation**2)
        y += noise
        self._columns[0].spread(x, scratch)
        self._columns[1].score(y, scratch)

    def _vectors(self, u: Array, v: Array) -> tuple[Array, Array]:
        first, last = self._columns
        joined = self.correlation * u + np.sqrt(1 - self.correlation**2) * v
        return first.from_score(u), last.from_score(joined)
