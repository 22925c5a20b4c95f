"""Laws of a position zone: a vector (r, t) or (x, y) about the mean of its process.

Four ways in which a vector comes out: normal; isotropic about its mean (uniform in the disc, position
diameters, both also inspected without offset); inspected with an offset; and measured pairs (``pairs``).
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cached_property

import numpy as np

from stackup.dimension.law import Parts, first, placed
from stackup.dimension.numeric import NOTHING, ORDERS, STANDARD_NORMAL, Moments, gauss_hermite, scaled
from stackup.dimension.radial import Polar, Radius, component_moments, vectors
from stackup.dimension.region import Array, Column, Disc
from stackup.dimension.shared import GRID, draw_scores, lot_parts_plane
from stackup.dimension.tables import Scratch

#: Mean (2,), covariance (2, 2) and central moments of both parts.
Spread = tuple[Array, Array, tuple[Moments, Moments]]
#: Below this share of usable vectors, drawing again costs more than the way through the scores.
LEAST_REDRAWN = 0.3
#: Bonus tables stand this fraction of the radius apart.
BONUS_STEP = 1 / 32


class ZoneLaw:
    """What all laws of a zone have.

    ``means``: a number or a column (Z,) for each part, the mean of the process (after inspection the mean
    of what is left is ``mean``).  ``share``: lot share.  ``limits``: radii and weights over which moments
    are averaged where a bonus makes the limit of an inspected zone differ from part to part.
    """

    is_normal = False
    needs: str | None = None

    def __init__(self, means: tuple[Column, Column], scope: str, share: float = 0.0, moves: bool = True) -> None:
        """Keep what does not depend on the way vectors come out."""
        self.means, self.scope, self.share, self.moves = means, scope, share, moves

    def _spread(self) -> Spread:
        """Return mean from the process's mean, covariance and moments of the whole vector."""
        raise NotImplementedError

    def _vectors(self, u: Array, v: Array) -> tuple[Array, Array]:
        """Return new vectors from the mean of pocket 0's process behind scores ``u``, ``v``."""
        raise NotImplementedError

    @cached_property
    def _whole(self) -> Spread:
        return self._spread()

    @property
    def mean(self) -> tuple[Column, Column]:
        """Means of the two parts."""
        moved = self._whole[0]
        return self.means[0] + float(moved[0]), self.means[1] + float(moved[1])

    @property
    def anchor(self) -> tuple[Column, Column]:
        """Where a vector stays when the tolerance shrinks to nothing: the mean of the process."""
        return self.means if self.moves else self.mean

    @property
    def moments(self) -> tuple[Moments, Moments]:
        """Central moments of the two parts."""
        return self._whole[2]

    @cached_property
    def _parts(self) -> Parts:
        _, covariance, moments = self._whole
        nothing, none = np.zeros((2, 2)), (NOTHING, NOTHING)
        if self.scope == "cage" or self.share == 1.0:
            return Parts(nothing, covariance, none, moments)
        if self.share == 0.0:
            return Parts(covariance, nothing, moments, none)
        scores = gauss_hermite(GRID)[0]
        u, v = np.meshgrid(scores, scores, indexing="ij")
        x, y = self._vectors(u, v)
        return lot_parts_plane(x, y, self.share, covariance)

    @property
    def own(self) -> Array:
        """Covariance (2, 2) of the part drawn anew for each pocket."""
        return self._parts.own

    @property
    def shared(self) -> Array:
        """Covariance (2, 2) of two pockets' vectors."""
        return self._parts.shared

    @property
    def own_moments(self) -> tuple[Moments, ...]:
        """Central moments of the part drawn anew for each pocket."""
        return self._parts.own_moments

    @property
    def shared_moments(self) -> tuple[Moments, ...]:
        """Central moments of the part that all pockets share."""
        return self._parts.shared_moments

    def from_scores(self, *scores: Array) -> tuple[Array, ...]:
        """Return the vectors behind two arrays of scores, at pocket 0's mean and without bonus."""
        x, y = self._vectors(*(np.array(score, dtype=float) for score in scores))
        return x + first(self.means[0]), y + first(self.means[1])

    def quantile(self, u: Array, pocket: int | None = None) -> Array:
        """A vector has no quantile: raises TypeError."""
        raise TypeError("a zone is a vector and has no quantile")

    def cdf(self, x: Array, pocket: int | None = None) -> Array:
        """A vector has no distribution function of one number: raises TypeError."""
        raise TypeError("a zone is a vector and has no cdf")


class NormalZone(ZoneLaw):
    """Both parts normal with ``sigma`` ≥ 0 (0: always at the mean)."""

    is_normal = True

    def __init__(self, sigma: float, means: tuple[Column, Column], scope: str, share: float = 0.0) -> None:
        """Keep sigma and what all zones have."""
        super().__init__(means, scope, share)
        self.sigma = sigma

    def _spread(self) -> Spread:
        moments = scaled(STANDARD_NORMAL, self.sigma)
        return np.zeros(2), self.sigma**2 * np.eye(2), (moments, moments)

    @cached_property
    def _parts(self) -> Parts:
        common = 1.0 if self.scope == "cage" else self.share
        own, shared = (scaled(STANDARD_NORMAL, self.sigma * np.sqrt(s)) for s in (1 - common, common))
        unit = self.sigma**2 * np.eye(2)
        return Parts((1 - common) * unit, common * unit, (own, own), (shared, shared))

    def _vectors(self, u: Array, v: Array) -> tuple[Array, Array]:
        return self.sigma * u, self.sigma * v

    def sample(
        self,
        rng: np.random.Generator,
        out: tuple[Array, ...],
        scratch: Scratch,
        departure: Array | None = None,  # noqa: ARG002
    ) -> None:
        """Fill the two parts."""
        for values, mean in zip(out, self.means, strict=True):
            draw_scores(rng, values, scratch[0][0], self.share)
            placed(values, self.sigma, mean)


class RadialZone(ZoneLaw):
    """Isotropic about its mean, the radius by its own law and, where inspected, inside a disc about the mean."""

    def __init__(
        self,
        radius: Radius,
        means: tuple[Column, Column],
        scope: str,
        share: float = 0.0,
        moves: bool = True,
        disc: Disc | None = None,
        limits: tuple[tuple[float, float], ...] = (),
    ) -> None:
        """``disc``: inspection (its centre is the mean); ``limits``: radii and weights for the moments."""
        super().__init__(means, scope, share, moves)
        self.radius, self.disc = radius, disc
        self.limits = limits or ((np.inf if disc is None else disc.radius, 1.0),)
        self.needs = None if disc is None or disc.growth is None else disc.growth.feature

    def _spread(self) -> Spread:
        rows = [w * np.array(component_moments(*self.radius.rule(limit))) for limit, w in self.limits]
        moments = tuple(np.sum(rows, axis=0).tolist())
        return np.zeros(2), moments[0] * np.eye(2), (moments, moments)

    def _beyond(self, departure: Array | None) -> float | Array:
        if self.disc is None:
            return 0.0
        limit = limit_of(self.disc, departure)
        return self.radius.survival(limit) if isinstance(limit, np.ndarray) else first(self.radius.survival(np.array([limit])))

    def _vectors(self, u: Array, v: Array) -> tuple[Array, Array]:
        x, y = u.copy(), v.copy()
        vectors(self.radius, x, y, (np.empty_like(x), np.empty_like(x)), self._beyond(None))
        return x, y

    def sample(
        self, rng: np.random.Generator, out: tuple[Array, ...], scratch: Scratch, departure: Array | None = None
    ) -> None:
        """Fill the two parts: direction and radius from two scores."""
        for values in out:
            draw_scores(rng, values, scratch[0][0], self.share)
        vectors(self.radius, *out, scratch, self._beyond(departure))
        for values, mean in zip(out, self.means, strict=True):
            placed(values, 1.0, mean)


class OffsetZone(ZoneLaw):
    """Isotropic about a mean that is not the centre of the disc to which inspection cuts it."""

    def __init__(
        self,
        radius: Radius,
        means: tuple[Column, Column],
        scope: str,
        share: float,
        moves: bool,
        disc: Disc,
        limits: tuple[tuple[float, float], ...] = (),
    ) -> None:
        """Keep the parts; ``means`` may be columns."""
        super().__init__(means, scope, share, moves)
        self.radius, self.disc, self.limits = radius, disc, limits or ((disc.radius, 1.0),)
        self.needs = None if disc.growth is None else disc.growth.feature
        self._tables: dict[tuple[int, float], Polar] = {}

    @cached_property
    def centres(self) -> list[tuple[float, float]]:
        """Return the mean of each pocket's process (one where they are all the same)."""
        rows = np.broadcast_arrays(*(np.atleast_1d(mean) for mean in self.means))
        return list(zip(*(row.tolist() for row in rows), strict=True))

    def polar(self, pocket: int, limit: float) -> Polar:
        """Return the table of one pocket's directions for a disc of radius ``limit``."""
        key = (pocket % len(self.centres), limit)
        if key not in self._tables:
            self._tables[key] = Polar(self.radius, self.centres[key[0]], limit)
        return self._tables[key]

    @cached_property
    def kept(self) -> float:
        """The least share, over the pockets, of what the process makes inside the disc."""
        return min(self.polar(i, self.disc.radius).kept for i in range(len(self.centres)))

    @cached_property
    def _each(self) -> list[Spread]:
        """Return the spread of each pocket, averaged over the limits."""
        return [self._spread_of(i) for i in range(len(self.centres))]

    def _spread_of(self, pocket: int) -> Spread:
        spreads = [(w, spread_of_rule(*self.polar(pocket, limit).rule())) for limit, w in self.limits]
        return average([s for _, s in spreads], np.array([w for w, _ in spreads]))

    def _spread(self) -> Spread:
        return average(self._each, np.full(len(self._each), 1 / len(self._each)))

    @property
    def mean(self) -> tuple[Column, Column]:
        """Means of what is left, a number or a column for each part."""
        moved = np.array([spread[0] for spread in self._each])
        if len(moved) == 1:
            moved = moved[0]
        return self.means[0] + moved[..., 0], self.means[1] + moved[..., 1]

    def _vectors(self, u: Array, v: Array) -> tuple[Array, Array]:
        return self.polar(0, self.disc.radius).vectors(u, v)

    def sample(
        self, rng: np.random.Generator, out: tuple[Array, ...], scratch: Scratch, departure: Array | None = None
    ) -> None:
        """Fill the two parts: draw again what lies outside, or go through the scores."""
        limit = limit_of(self.disc, departure)
        if self.share or self.kept < LEAST_REDRAWN:
            self._by_scores(rng, out, scratch, limit)
        else:
            redraw(rng, out, scratch, self.means, limit, self._draw)

    def _draw(self, rng: np.random.Generator, out: tuple[Array, ...], scratch: Scratch) -> None:
        for values in out:
            rng.standard_normal(out=values)
        vectors(self.radius, *out, scratch)

    def _by_scores(
        self, rng: np.random.Generator, out: tuple[Array, ...], scratch: Scratch, limit: float | Array
    ) -> None:
        for values in out:
            draw_scores(rng, values, scratch[0][0], self.share)
        for i, (x, y) in enumerate(zip(*out, strict=True)):
            row = limit if not isinstance(limit, np.ndarray) else limit[i % len(limit)]
            x[:], y[:] = self._row(i, x, y, row)
        for values, mean in zip(out, self.means, strict=True):
            placed(values, 1.0, mean)

    def _row(self, pocket: int, u: Array, v: Array, limit: float | Array) -> tuple[Array, Array]:
        """Return one pocket's vectors; between two tables of a growing disc, the mean of both vectors.

        That mean lies inside the disc between, because lengths are convex.
        """
        if not isinstance(limit, np.ndarray):
            return self.polar(pocket, limit).vectors(u, v)
        step = BONUS_STEP * self.disc.radius
        place = (limit - self.disc.radius) / step
        x, y = np.empty_like(u), np.empty_like(v)
        for level in np.unique(np.floor(place)):
            some = np.floor(place) == level
            ends = [self.polar(pocket, self.disc.radius + (level + k) * step).vectors(u[some], v[some]) for k in (0, 1)]
            share = place[some] - level
            x[some], y[some] = (near + share * (far - near) for near, far in zip(*ends, strict=True))
        return x, y


def limit_of(disc: Disc, departure: Array | None) -> float | Array:
    """Return the radius of the disc: a number, or an array like ``departure`` where it has a bonus."""
    if disc.growth is None or departure is None:
        return disc.radius
    return np.asarray(disc.radius + disc.growth.of(departure))


def redraw(
    rng: np.random.Generator,
    out: tuple[Array, ...],
    scratch: Scratch,
    means: tuple[Column, Column],
    limit: float | Array,
    draw: Callable[[np.random.Generator, tuple[Array, ...], Scratch], None],
) -> None:
    """Fill ``out`` (Z, n) by ``draw`` about ``means``, drawing again what is longer than ``limit``."""
    draw(rng, out, scratch)
    for values, mean in zip(out, means, strict=True):
        placed(values, 1.0, mean)
    np.multiply(out[0], out[0], out=scratch[0])
    np.multiply(out[1], out[1], out=scratch[1])
    scratch[0] += scratch[1]
    columns = out[0].shape[1]
    bad = np.flatnonzero(scratch[0] > np.square(limit))
    while bad.size:
        new = (np.empty(bad.size), np.empty(bad.size))
        draw(rng, new, (np.empty(bad.size), np.empty(bad.size)))
        for values, fresh, mean in zip(out, new, means, strict=True):
            fresh += mean[bad // columns] if isinstance(mean, np.ndarray) else mean
            values.reshape(-1)[bad] = fresh
        allowed = np.broadcast_to(limit, out[0].shape)[np.unravel_index(bad, out[0].shape)]
        bad = bad[new[0] ** 2 + new[1] ** 2 > np.square(allowed)]


def spread_of_rule(x: Array, y: Array, weights: Array) -> Spread:
    """Return mean, covariance and moments of the law with ``weights`` (sum 1) at (x, y)."""
    mean = np.array([weights @ x, weights @ y])
    dx, dy = x - mean[0], y - mean[1]
    moments = tuple(tuple(float(weights @ d**k) for k in ORDERS) for d in (dx, dy))
    cross = float(weights @ (dx * dy))
    return mean, np.array([[moments[0][0], cross], [cross, moments[1][0]]]), (moments[0], moments[1])


def average(spreads: list[Spread], weights: Array) -> Spread:
    """Return the average of means, covariances and moments (each about its own mean)."""
    mean, covariance = (np.tensordot(weights, np.array([s[i] for s in spreads]), 1) for i in (0, 1))
    moments = np.tensordot(weights, np.array([s[2] for s in spreads]), 1)
    return mean, covariance, (tuple(moments[0].tolist()), tuple(moments[1].tolist()))
