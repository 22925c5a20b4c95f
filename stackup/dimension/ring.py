"""Laws of one number that is sorted into classes, or inspected with a pattern round the ring."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from itertools import pairwise

import numpy as np

from stackup.dimension import tables
from stackup.dimension.law import Parts, placed
from stackup.dimension.numeric import NOTHING, ORDERS, Moments, moments_of_rule, scaled, weighted
from stackup.dimension.region import Array, Column
from stackup.dimension.scalar import ScalarLaw, inverted
from stackup.dimension.shape import Shape
from stackup.dimension.shared import draw_scores
from stackup.dimension.tables import Scratch, Table


class SortedLaw(ScalarLaw):
    """A size sorted into classes: a cage has one class, drawn by its share of the population.

    ``shape`` is what inspection leaves, ``edges`` the classes on the shape's own scale.  Shared part:
    the mean of the class; own part: what is left inside it, on average over the classes.
    """

    def __init__(
        self, shape: Shape, place: float, scale: float, edges: Sequence[float], anchor: Column | None = None
    ) -> None:
        """Keep the classes; those that nothing falls into are never drawn."""
        super().__init__(shape, place, scale, "pocket", anchor=anchor)
        self.edges = np.asarray(edges, dtype=float)

    @cached_property
    def shares(self) -> Array:
        """The population's share of each class (they sum to 1)."""
        pieces = [self.shape.share(low, high) for low, high in self._bounds]
        return np.array(pieces) / sum(pieces)

    @property
    def _bounds(self) -> list[tuple[float, float]]:
        """Return the ends of each class; a part on a limit between two classes belongs to the upper one."""
        ends = self.edges.tolist()
        inner = [(low, float(np.nextafter(high, low))) for low, high in pairwise(ends[:-1])]
        return [*inner, (ends[-2], ends[-1])]

    @cached_property
    def _parts(self) -> Parts:
        shares, moments = self.shares, self.moments[0]
        inside = [moments_of_rule(*self.shape.piece(*b)) if p > 0 else (0.0, NOTHING) for p, b in self._each]
        shared = scaled(moments_of_rule(np.array([mean for mean, _ in inside]), shares)[1], self.scale)
        own = scaled(
            tuple(weighted(shares, np.array([m[i] for _, m in inside])) for i in range(len(ORDERS))),
            self.scale,
        )
        common = min(shared[0], moments[0])
        return Parts(np.array([[moments[0] - common]]), np.array([[common]]), (own,), (shared,))

    @property
    def _each(self) -> list[tuple[float, tuple[float, float]]]:
        return list(zip(self.shares.tolist(), self._bounds, strict=True))

    @cached_property
    def _classes(self) -> Table:
        """Return a table of the value over class + fraction within the class."""
        count = len(self.shares)
        cells = max(32, 512 // count) * count
        return tables.tabulate(
            self._within, 0.0, float(count), cells=cells, tolerance=self.shape.error, depth=0
        )

    def _within(self, arguments: Array) -> Array:
        """Return the values at class + fraction; the last fraction of the last class is its upper end."""
        classes = np.clip(np.floor(arguments), 0, len(self.shares) - 1).astype(int)
        ends = np.concatenate([self.shape.below(self.edges[:-1]), self.shape.cdf(self.edges[-1:])])
        u = ends[classes] + (arguments - classes) * (ends[classes + 1] - ends[classes])
        return np.clip(self.shape.quantile(u), self.edges[classes], self.edges[classes + 1])

    def sample(
        self,
        rng: np.random.Generator,
        out: tuple[Array, ...],
        scratch: Scratch,
        departure: Array | None = None,  # noqa: ARG002
    ) -> None:
        """Fill out[0] (Z, n): one class for each cage, independent values inside it."""
        (values,) = out
        row = np.searchsorted(np.cumsum(self.shares)[:-1], rng.random(values.shape[1]), side="right")
        rng.random(out=values)
        values += row
        self._classes.apply(values, scratch)
        placed(values, self.scale, self.place)


class RingLaw:
    """One scalar law for each pocket: inspection leaves another part where the mean is another.

    Means are columns; variances and moments are averages over the pockets, the covariance of two pockets
    likewise.
    """

    is_normal = False
    needs: str | None = None

    def __init__(self, laws: Sequence[ScalarLaw]) -> None:
        """Keep one law for each pocket, all of scope pocket with one lot share."""
        self.laws, self.share, self.moves = tuple(laws), laws[0].share, laws[0].moves

    def _average(self, name: str) -> tuple[Moments]:
        return (tuple(np.mean([getattr(law, name)[0] for law in self.laws], axis=0).tolist()),)

    @property
    def mean(self) -> tuple[Column]:
        """Column of means."""
        return (np.array([law.mean[0] for law in self.laws]),)

    @property
    def anchor(self) -> tuple[Column]:
        """Where values stay when the tolerance shrinks to nothing."""
        return (np.array([law.anchor[0] for law in self.laws]),)

    @property
    def own(self) -> Array:
        """Variance (1, 1) of the own part, averaged over the pockets."""
        return np.asarray(np.mean([law.own for law in self.laws], axis=0))

    @property
    def shared(self) -> Array:
        """Covariance (1, 1) of two pockets, averaged."""
        return np.asarray(np.mean([law.shared for law in self.laws], axis=0))

    @property
    def moments(self) -> tuple[Moments]:
        """Central moments about the own pocket's mean, averaged."""
        return self._average("moments")

    @property
    def own_moments(self) -> tuple[Moments]:
        """Central moments of the own part, averaged."""
        return self._average("own_moments")

    @property
    def shared_moments(self) -> tuple[Moments]:
        """Central moments of the shared part, averaged."""
        return self._average("shared_moments")

    def sample(
        self,
        rng: np.random.Generator,
        out: tuple[Array, ...],
        scratch: Scratch,
        departure: Array | None = None,  # noqa: ARG002
    ) -> None:
        """Fill out[0] (Z, n), pocket by pocket."""
        (values,) = out
        if self.share:
            draw_scores(rng, values, scratch, self.share)
        for i, law in enumerate(self.laws):
            rows = (scratch[0][i], scratch[1][i])
            if self.share:
                law.shape.score(values[i], rows)
            else:
                law.shape.sample(rng, values[i], rows)
            placed(values[i], law.scale, law.place)

    def quantile(self, u: Array, pocket: int | None = None) -> Array:
        """Return the values with the fraction ``u`` below: of one pocket, or (None) of all together."""
        if pocket is not None:
            return self.laws[pocket].quantile(u)
        rows = [law.quantile(u) for law in self.laws]
        return inverted(self.cdf, u, np.min(rows, axis=0), np.max(rows, axis=0))

    def cdf(self, x: Array, pocket: int | None = None) -> Array:
        """Return the fraction at or below ``x``: of one pocket, or (None) of all together."""
        if pocket is not None:
            return self.laws[pocket].cdf(x)
        return np.asarray(np.mean([law.cdf(x) for law in self.laws], axis=0))

    def from_scores(self, *scores: Array) -> tuple[Array, ...]:
        """Return the values of pocket 0 behind normal scores."""
        return self.laws[0].from_scores(*scores)
