"""Radii of isotropic position errors, and what a disc leaves of them.

A radius is known by its survival function S(r) = P(R > r) and by the square of the radius at which S
takes a value: both closed forms for the two laws that a zone can have.  Two normal scores (u, v) give
the direction, and S = exp(−(u² + v²)/2) the radius (model.md, section 2): F(|(u, v)|) = 1 − S.
"""

from __future__ import annotations

import math
from functools import cached_property
from itertools import pairwise
from typing import Protocol

import numpy as np

from stackup.dimension.numeric import Moments, Rule, double_exponential, weighted
from stackup.dimension.region import Array
from stackup.dimension.shape import Shape
from stackup.dimension.tables import Scratch

#: E[cos^k φ] for a uniform direction, orders 2..8.
_COSINES = (1 / 2, 0.0, 3 / 8, 0.0, 5 / 16, 0.0, 35 / 128)
_TINY = 1e-300


class Radius(Protocol):
    """The law of the distance from the centre of the process, in the zone's unit."""

    @property
    def farthest(self) -> float:
        """The greatest distance, inf where there is none."""

    def survival(self, radius: Array) -> Array:
        """Return the fraction farther out than ``radius`` ≥ 0 (a new array)."""

    def squares(self, survival: Array) -> None:
        """Turn survival fractions (0…1) into squared radii, in place."""

    def rule(self, limit: float) -> Rule:
        """Return nodes and weights of the radius, given that it is at most ``limit`` (weights sum to 1)."""


class NormalRadius:
    """Rayleigh law: both parts normal with the standard deviation ``sigma`` > 0."""

    farthest = math.inf

    def __init__(self, sigma: float) -> None:
        """Keep the standard deviation of one part."""
        self.sigma = sigma

    def survival(self, radius: Array) -> Array:
        """Return exp(−r²/2σ²)."""
        return np.exp(-0.5 * np.square(np.asarray(radius) / self.sigma))

    def squares(self, survival: Array) -> None:
        """Return −2σ² ln S in place."""
        np.log(survival, out=survival)
        survival *= -2 * self.sigma**2

    def rule(self, limit: float) -> Rule:
        """Return a rule in the survival fraction."""
        return _in_survival(self, limit)


class UniformRadius:
    """Uniform in the disc of ``radius`` > 0."""

    def __init__(self, radius: float) -> None:
        """Keep the radius of the disc."""
        self.radius = self.farthest = radius

    def survival(self, radius: Array) -> Array:
        """Return 1 − (r/R)² inside the disc."""
        return 1.0 - np.square(np.minimum(np.asarray(radius) / self.radius, 1.0))

    def squares(self, survival: Array) -> None:
        """Return R²(1 − S) in place."""
        np.subtract(1.0, survival, out=survival)
        survival *= self.radius**2

    def rule(self, limit: float) -> Rule:
        """Return a rule in the survival fraction."""
        return _in_survival(self, limit)


class MeasuredRadius:
    """A measured column of position diameters; ``shape`` is the law of the radius."""

    farthest = math.inf

    def __init__(self, shape: Shape) -> None:
        """Keep the law of the radius."""
        self.shape = shape

    def survival(self, radius: Array) -> Array:
        """Return the fraction of the column farther out."""
        return 1.0 - self.shape.cdf(np.asarray(radius))

    def squares(self, survival: Array) -> None:
        """Return the squared quantile of 1 − S in place."""
        np.subtract(1.0, survival, out=survival)
        self.shape.spread(survival, (np.empty_like(survival), np.empty_like(survival)))
        np.square(survival, out=survival)

    def rule(self, limit: float) -> Rule:
        """Return the column's own rule up to ``limit``."""
        nodes, weights = self.shape.piece(0.0, limit)
        return nodes, weights / weights.sum()


def _in_survival(radius: NormalRadius | UniformRadius, limit: float) -> Rule:
    left, right, weights = double_exponential()
    last = float(radius.survival(np.array([limit]))[0])
    survival = np.clip(last * left + right, _TINY, 1.0)
    radius.squares(survival)
    return np.sqrt(survival), weights / weights.sum()


def component_moments(nodes: Array, weights: Array) -> Moments:
    """Return central moments of one part of a vector of this radius and uniform direction."""
    return tuple(c * weighted(weights, nodes**k) for k, c in enumerate(_COSINES, start=2))


def vectors(
    radius: Radius, scores: tuple[Array, Array], scratch: Scratch, beyond: float | Array = 0.0
) -> None:
    """Turn two arrays of scores into vectors, in place: direction kept, radius by ``radius``.

    ``beyond``: the survival fraction at the limit inside which all vectors lie (0: no limit), a number or
    an array that fits them.
    """
    (x, y), (length, survival) = scores, scratch
    np.multiply(x, x, out=length)
    np.multiply(y, y, out=survival)
    length += survival
    length += _TINY
    np.multiply(length, -0.5, out=survival)
    np.exp(survival, out=survival)
    if isinstance(beyond, np.ndarray) or beyond > 0.0:
        survival *= 1.0 - beyond
        survival += beyond
    radius.squares(survival)
    survival /= length
    np.sqrt(survival, out=survival)
    x *= survival
    y *= survival


class Polar:
    """What a disc of ``limit`` about (0, 0) leaves of an isotropic law about ``centre``.

    In polar coordinates about the centre of the process: along each direction the radius runs between two
    crossings of the circle, and a direction is as frequent as what lies between them.  The direction of
    two scores is carried to the direction with the same fraction of the distribution on its side.
    """

    def __init__(self, radius: Radius, centre: tuple[float, float], limit: float, steps: int = 4096) -> None:
        """Tabulate the distribution of directions."""
        self.radius, self.limit, self.centre = radius, limit, centre
        self.away = math.hypot(*centre)
        self.widest = self._widest()
        self.angles = self.widest * np.sin(0.5 * math.pi * np.linspace(0.0, 1.0, steps + 1))
        near, far = self._between(self.angles)
        density = near - far
        sums = np.concatenate([[0.0], np.cumsum(0.5 * np.diff(self.angles) * (density[1:] + density[:-1]))])
        self.fractions = sums / sums[-1] if sums[-1] > 0 else sums

    def _widest(self) -> float:
        """Return the greatest angle from inward at which a ray meets the disc within the process's reach."""
        if self.away <= self.limit:
            return math.pi
        tangent = math.sqrt(self.away**2 - self.limit**2)
        return math.asin(self.limit / self.away) if self.radius.farthest >= tangent else self._at_the_end()

    def _at_the_end(self) -> float:
        """Return the angle at which the end of the process lies on the circle."""
        end, away = self.radius.farthest, self.away
        return math.acos(min((away**2 + end**2 - self.limit**2) / (2 * away * end), 1.0))

    @property
    def _inward(self) -> tuple[float, float]:
        angle = math.atan2(-self.centre[1], -self.centre[0])
        return math.cos(angle), math.sin(angle)

    def _crossings(self, angle: Array) -> tuple[Array, Array]:
        """Return the distances at which rays at ``angle`` from inward enter and leave the disc."""
        middle = self.away * np.cos(angle)
        half = np.sqrt(np.maximum(self.limit**2 - np.square(self.away * np.sin(angle)), 0.0))
        return np.maximum(middle - half, 0.0), np.maximum(middle + half, 0.0)

    def _between(self, angle: Array) -> tuple[Array, Array]:
        """Return the survival fractions where rays at ``angle`` from inward enter and leave the disc."""
        near, far = self._crossings(angle)
        return self.radius.survival(near), self.radius.survival(far)

    def vectors(self, u: Array, v: Array) -> tuple[Array, Array]:
        """Return the vectors from the centre of the process behind two arrays of scores."""
        ex, ey = self._inward
        along, across = u * ex + v * ey, v * ex - u * ey
        fraction = np.abs(np.arctan2(across, along)) / math.pi
        angle = np.copysign(np.interp(fraction, self.fractions, self.angles), across)
        return self._turned(angle, np.exp(-0.5 * (u * u + v * v)))

    def _turned(self, angle: Array, share: Array) -> tuple[Array, Array]:
        ex, ey = self._inward
        ends = self._crossings(angle)
        near, far = (self.radius.survival(end) for end in ends)
        survival = np.clip(far + share * (near - far), _TINY, 1.0)
        self.radius.squares(survival)
        length = np.clip(np.sqrt(survival), *ends)
        x, y = length * np.cos(angle), length * np.sin(angle)
        return x * ex - y * ey, x * ey + y * ex

    def rule(self) -> tuple[Array, Array, Array]:
        """Return x, y (from the centre of the process) and weights of a quadrature rule, sum 1."""
        _, right, weights = double_exponential(0.1)
        half, shares = self._directions
        angle = np.concatenate([half, -half])
        x, y = self._turned(np.repeat(angle, len(right)), np.tile(right, len(angle)))
        total = np.outer(np.tile(shares, 2), weights).ravel()
        return x, y, total / total.sum()

    @cached_property
    def _directions(self) -> Rule:
        """Return a rule over the angles on one side, weights summing to the share kept.

        Its panels meet where the distance to the circle turns sharply: abreast of a mean on the circle, and
        where the process itself ends inside the disc.
        """
        stops = {math.pi / 2} if self.widest > math.pi / 2 else set()
        end, away = self.radius.farthest, self.away
        if math.isfinite(end) and abs(away - end) < self.limit < away + end:
            stops.add(min(self._at_the_end(), self.widest))
        left, _, weights = double_exponential(0.1)
        ends = list(pairwise([0.0, *sorted(stops), self.widest]))
        angle = np.concatenate([low + (high - low) * left for low, high in ends])
        near, far = self._between(angle)
        return angle, np.concatenate([(high - low) * weights for low, high in ends]) * (near - far) / math.pi

    @property
    def kept(self) -> float:
        """The share of the vectors that lies inside the disc."""
        return float(self._directions[1].sum())
