"""The unbounded scalar shapes: normal, and the three that one-sided values take.

Sources of closed forms: Johnson, Kotz and Balakrishnan, *Continuous Univariate Distributions*, vol. 1
(from memory; every moment is checked against quadrature in the tests).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from stackup.dimension.normals import normals
from stackup.dimension.numeric import STANDARD_NORMAL, Moments, Rule, central_of_raw, legendre_pieces, special
from stackup.dimension.region import Array
from stackup.dimension.shape import Shape, Smooth
from stackup.dimension.tables import Scratch

#: P(x ≤ limit/cp) of a one-sided value, P(|v| ≤ t/2cp) of a zone (model.md, section 2).
INSIDE = 0.9973
#: Normal scores of 0.9973 and of (1 + 0.9973)/2, 40-digit inversion of the normal law.
SCORE_INSIDE, SCORE_HALF_INSIDE = 2.78215045378460715, 2.99997699270339313
#: Rayleigh radius of 0.9973 in sigmas: √(−2 ln 0.0027).
RADIUS_INSIDE = math.sqrt(-2 * math.log(1 - INSIDE))
#: Beyond so many sigmas a Gaussian density is nothing (3e-32).
_FAR = 12.0


@dataclass(frozen=True)
class Normal(Smooth):
    """The standard normal law; T/cp stands at 3 sigma."""

    is_normal: ClassVar[bool] = True
    low = -math.inf
    high = math.inf

    @property
    def reach(self) -> float:
        """Return 3 (3 sigma = T/cp)."""
        return 3.0

    def _mean(self) -> float:
        """Return 0."""
        return 0.0

    def _moments(self) -> Moments:
        """Return 1, 0, 3, 0, 15, 0, 105."""
        return STANDARD_NORMAL

    def quantile(self, u: Array) -> Array:
        """Return the normal score of ``u``."""
        return np.asarray(special().ndtri(u))

    def cdf(self, x: Array) -> Array:
        """Return Φ(x)."""
        return np.asarray(special().ndtr(x))

    def density(self, x: Array) -> Array:
        """Return φ(x)."""
        return np.asarray(np.exp(-0.5 * x * x) / math.sqrt(2 * math.pi))

    def from_score(self, z: Array) -> Array:
        """Return ``z`` itself."""
        return np.asarray(z, dtype=float)

    def piece(self, low: float, high: float) -> Rule:
        """Return a Gauss rule on the part of [low, high] within 12 sigma of its most probable value."""
        peak = min(max(0.0, low), high)
        nodes, lengths = legendre_pieces([max(low, peak - _FAR), min(high, peak + _FAR)], self.nodes)
        return nodes, lengths * self.density(nodes)

    def sample(self, rng: np.random.Generator, out: Array, scratch: Scratch) -> None:
        """Fill ``out`` with standard normal numbers."""
        normals(rng, out, scratch)

    def score(self, out: Array, scratch: Scratch) -> None:
        """Leave the scores as they are."""


@dataclass(frozen=True)
class HalfNormal(Shape):
    """The magnitude of a standard normal number; limit/cp stands at the 0.9973 quantile."""

    low = 0.0
    high = math.inf

    @property
    def reach(self) -> float:
        """Return the 0.9973 quantile."""
        return SCORE_HALF_INSIDE

    def _mean(self) -> float:
        """Return √(2/π)."""
        return math.sqrt(2 / math.pi)

    def _moments(self) -> Moments:
        """Return the central moments by E[x^k] = 2^(k/2) Γ((k + 1)/2)/√π."""
        return central_of_raw(lambda k: 2 ** (k / 2) * math.gamma((k + 1) / 2) / math.sqrt(math.pi))

    def quantile(self, u: Array) -> Array:
        """Return the normal score of (1 + u)/2."""
        return -np.asarray(special().ndtri(0.5 * (1.0 - np.asarray(u))))

    def cdf(self, x: Array) -> Array:
        """Return erf(x/√2)."""
        return np.asarray(special().erf(np.maximum(x, 0.0) / math.sqrt(2)))

    def from_score(self, z: Array) -> Array:
        """Return the value of score ``z``; the upper tail is exact."""
        half = 0.5 * special().ndtr(-np.asarray(z))
        return np.asarray(np.maximum(0.0, -special().ndtri(half)))

    def piece(self, low: float, high: float) -> Rule:
        """Return twice the normal law's rule above 0."""
        nodes, weights = Normal().piece(max(low, 0.0), max(high, 0.0))
        return nodes, 2 * weights

    def sample(self, rng: np.random.Generator, out: Array, scratch: Scratch) -> None:
        """Fill ``out`` with |z|."""
        normals(rng, out, scratch)
        np.abs(out, out=out)


@dataclass(frozen=True)
class Rayleigh(Smooth):
    """The length of two standard normal numbers; limit/cp stands at √(−2 ln 0.0027)."""

    low = 0.0
    high = math.inf

    @property
    def reach(self) -> float:
        """Return the 0.9973 quantile."""
        return RADIUS_INSIDE

    def _mean(self) -> float:
        """Return √(π/2)."""
        return math.sqrt(math.pi / 2)

    def _moments(self) -> Moments:
        """Return the central moments by E[x^k] = 2^(k/2) Γ(1 + k/2)."""
        return central_of_raw(lambda k: 2 ** (k / 2) * math.gamma(1 + k / 2))

    def quantile(self, u: Array) -> Array:
        """Return √(−2 ln(1 − u))."""
        return np.sqrt(-2.0 * np.log1p(-np.asarray(u)))

    def cdf(self, x: Array) -> Array:
        """Return 1 − exp(−x²/2)."""
        return -np.expm1(-0.5 * np.maximum(x, 0.0) ** 2)

    def density(self, x: Array) -> Array:
        """Return x·exp(−x²/2)."""
        return x * np.exp(-0.5 * x * x)

    def from_score(self, z: Array) -> Array:
        """Return √(−2 ln Φ(−z)); the upper tail is exact."""
        return np.sqrt(-2.0 * np.asarray(special().log_ndtr(-np.asarray(z))))

    def piece(self, low: float, high: float) -> Rule:
        """Return a Gauss rule within 12 sigma of the lower end."""
        low = max(low, 0.0)
        return super().piece(low, min(high, low + _FAR))

    def sample(self, rng: np.random.Generator, out: Array, scratch: Scratch) -> None:  # noqa: ARG002
        """Fill ``out`` with √(2e), e exponential."""
        rng.standard_exponential(out=out)
        out *= 2.0
        np.sqrt(out, out=out)


@dataclass(frozen=True)
class LogNormal(Shape):
    """exp(σz), σ the standard deviation of the logarithm; limit/cp stands at the 0.9973 quantile."""

    sigma: float = 1.0
    keys: ClassVar[tuple[str, ...]] = ("sigma",)
    low = 0.0
    high = math.inf

    @property
    def reach(self) -> float:
        """Return the 0.9973 quantile."""
        return math.exp(self.sigma * SCORE_INSIDE)

    def _mean(self) -> float:
        """Return exp(σ²/2)."""
        return math.exp(0.5 * self.sigma**2)

    def _moments(self) -> Moments:
        """Return the central moments, by E[x^k] = exp(k²σ²/2) where that does not cancel (σ > 1/2).

        Orders too large for a number are nan.
        """
        if self.sigma <= 0.5:
            return super()._moments()
        powers = [0.5 * (k * self.sigma) ** 2 for k in range(9)]
        return central_of_raw(lambda k: math.exp(powers[k]) if powers[k] < 700 else math.nan)

    def quantile(self, u: Array) -> Array:
        """Return exp(σ·score of u)."""
        return np.asarray(np.exp(self.sigma * special().ndtri(u)))

    def cdf(self, x: Array) -> Array:
        """Return Φ(ln x/σ)."""
        with np.errstate(divide="ignore"):
            return np.asarray(special().ndtr(np.log(np.maximum(x, 0.0)) / self.sigma))

    def from_score(self, z: Array) -> Array:
        """Return exp(σz)."""
        return np.asarray(np.exp(self.sigma * np.asarray(z)))

    def piece(self, low: float, high: float) -> Rule:
        """Return a Gauss rule in the score."""
        if high <= 0.0:
            return np.zeros(1), np.zeros(1)
        bounds = [math.log(x) / self.sigma if x > 0 else -math.inf for x in (low, high)]
        nodes, weights = Normal().piece(bounds[0], bounds[1])
        return self.from_score(nodes), weights

    def sample(self, rng: np.random.Generator, out: Array, scratch: Scratch) -> None:
        """Fill ``out`` with exp(σz)."""
        normals(rng, out, scratch)
        self.score(out, scratch)

    def score(self, out: Array, scratch: Scratch) -> None:  # noqa: ARG002
        """Return exp(σz) in place."""
        out *= self.sigma
        np.exp(out, out=out)
