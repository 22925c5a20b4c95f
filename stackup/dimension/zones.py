"""Laws of a position zone: a vector (r, t) or (x, y) about the mean of its process.

Four ways in which a vector comes out: normal; isotropic about its mean (uniform in the disc, position
diameters, both also inspected without offset); inspected with an offset (``offset``); and measured pairs
(``pairs``).
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from stackup.dimension.law import Parts, first, placed
from stackup.dimension.numeric import (
    NOTHING,
    STANDARD_NORMAL,
    Moments,
    gauss_hermite,
    powers_of,
    scaled,
    weighted,
)
from stackup.dimension.radial import Radius, component_moments, vectors
from stackup.dimension.region import Array, Column, Disc
from stackup.dimension.shared import GRID, draw_scores, lot_parts_plane
from stackup.dimension.tables import Scratch

#: Mean (2,), covariance (2, 2) and central moments of both parts.
Spread = tuple[Array, Array, tuple[Moments, Moments]]
#: Radii and weights over which moments are averaged where a bonus moves the limit of inspection.
Limits = tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class About:
    """What all zones have: where the process stands, and what the pockets share.

    ``means``: a number or a column (Z,) for each part, the mean of the process before inspection.
    ``share``: lot share.  ``moves``: False where the process does not follow the tolerance.
    """

    means: tuple[Column, Column]
    scope: str
    share: float = 0.0
    moves: bool = True


def is_centred(means: tuple[Column, Column]) -> bool:
    """Return True where the process of every pocket stands at (0, 0)."""
    return not any(np.any(mean) for mean in means)


class ZoneLaw(ABC):
    """What all laws of a zone can do; a new one says how vectors come out and how they spread."""

    is_normal = False
    needs: str | None = None

    def __init__(self, about: About) -> None:
        """Keep what does not depend on the way vectors come out."""
        self.means, self.scope, self.share, self.moves = about.means, about.scope, about.share, about.moves

    @abstractmethod
    def _spread(self, pocket: int = 0) -> Spread:
        """Return mean from the process's mean, covariance and moments of a ``pocket``'s whole vector."""

    @abstractmethod
    def _vectors(self, u: Array, v: Array) -> tuple[Array, Array]:
        """Return new vectors from the mean of pocket 0's process behind scores ``u``, ``v``."""

    @abstractmethod
    def sample(
        self,
        rng: np.random.Generator,
        out: tuple[Array, ...],
        scratch: Scratch,
        departure: Array | None = None,
    ) -> None:
        """Fill the two parts (Z, n) or (1, n)."""

    @cached_property
    def _each(self) -> list[Spread]:
        """Return the spread of each pocket, or one that holds for all."""
        return [self._spread()]

    @cached_property
    def _whole(self) -> Spread:
        return average(self._each)

    @property
    def mean(self) -> tuple[Column, Column]:
        """Means of the two parts of what is left: a number, or a column (Z,)."""
        moved = np.array([spread[0] for spread in self._each])
        x, y = (moved[0] if len(moved) == 1 else moved).T
        return self.means[0] + x, self.means[1] + y

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

    def quantile(self, u: Array, pocket: int | None = None) -> Array:  # noqa: ARG002 - the interface
        """A vector has no quantile: raises TypeError."""
        raise TypeError("a zone is a vector and has no quantile")

    def cdf(self, x: Array, pocket: int | None = None) -> Array:  # noqa: ARG002 - the interface
        """A vector has no distribution function of one number: raises TypeError."""
        raise TypeError("a zone is a vector and has no cdf")


class NormalZone(ZoneLaw):
    """Both parts normal with ``sigma`` ≥ 0 (0: always at the mean)."""

    is_normal = True

    def __init__(self, sigma: float, about: About) -> None:
        """Keep sigma and what all zones have."""
        super().__init__(about)
        self.sigma = sigma

    def _spread(self, pocket: int = 0) -> Spread:  # noqa: ARG002 - the same for all
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
            draw_scores(rng, values, scratch, self.share)
            placed(values, self.sigma, mean)


class RadialZone(ZoneLaw):
    """Isotropic about its mean, the radius by its own law; inspection cuts it to a disc about the mean."""

    def __init__(self, radius: Radius, about: About, disc: Disc | None = None, limits: Limits = ()) -> None:
        """Keep the law of the radius, and the ``disc`` of inspection, if any."""
        super().__init__(about)
        self.radius, self.disc = radius, disc
        self.limits = limits or ((np.inf if disc is None else disc.radius, 1.0),)
        self.needs = None if disc is None or disc.growth is None else disc.growth.feature

    def _spread(self, pocket: int = 0) -> Spread:  # noqa: ARG002 - the same for all
        rows = [w * np.array(component_moments(*self.radius.rule(limit))) for limit, w in self.limits]
        moments = tuple(np.sum(rows, axis=0).tolist())
        return np.zeros(2), moments[0] * np.eye(2), (moments, moments)

    def _beyond(self, departure: Array | None) -> float | Array:
        if self.disc is None:
            return 0.0
        limit = limit_of(self.disc, departure)
        beyond = self.radius.survival(np.atleast_1d(limit))
        return beyond if isinstance(limit, np.ndarray) else float(beyond[0])

    def _vectors(self, u: Array, v: Array) -> tuple[Array, Array]:
        x, y = u.copy(), v.copy()
        vectors(self.radius, (x, y), (np.empty_like(x), np.empty_like(x)), self._beyond(None))
        return x, y

    def sample(
        self,
        rng: np.random.Generator,
        out: tuple[Array, ...],
        scratch: Scratch,
        departure: Array | None = None,
    ) -> None:
        """Fill the two parts: direction and radius from two scores."""
        for values in out:
            draw_scores(rng, values, scratch, self.share)
        vectors(self.radius, (out[0], out[1]), scratch, self._beyond(departure))
        for values, mean in zip(out, self.means, strict=True):
            placed(values, 1.0, mean)


def centres(means: tuple[Column, Column]) -> list[tuple[float, float]]:
    """Return the mean of each pocket's process, one where they are all the same."""
    rows = np.broadcast_arrays(*(np.atleast_1d(mean) for mean in means))
    return list(zip(*(row.tolist() for row in rows), strict=True))


def limit_of(disc: Disc, departure: Array | None) -> float | Array:
    """Return the radius of the disc: a number, or an array like ``departure`` where it has a bonus."""
    if disc.growth is None or departure is None:
        return disc.radius
    return np.asarray(disc.radius + disc.growth.of(departure))


def spread_of_rule(x: Array, y: Array, weights: Array) -> Spread:
    """Return mean, covariance and moments of the law with ``weights`` (sum 1) at (x, y)."""
    mean = np.array([weighted(weights, x), weighted(weights, y)])
    dx, dy = x - mean[0], y - mean[1]
    moments = powers_of(dx, weights), powers_of(dy, weights)
    cross = weighted(weights, dx * dy)
    return mean, np.array([[moments[0][0], cross], [cross, moments[1][0]]]), moments


def average(spreads: list[Spread]) -> Spread:
    """Return the average over pockets of means, covariances and moments (each about its own mean)."""
    mean, covariance = (np.mean(np.array([s[i] for s in spreads]), axis=0) for i in (0, 1))
    moments = np.mean(np.array([s[2] for s in spreads]), axis=0)
    return mean, covariance, (tuple(moments[0].tolist()), tuple(moments[1].tolist()))
