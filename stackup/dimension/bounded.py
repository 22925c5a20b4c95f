"""The bounded scalar shapes, on [−1, 1] or [0, 1].

Sources of closed forms: Johnson, Kotz and Balakrishnan, *Continuous Univariate Distributions*, vol. 2
(from memory; every moment is checked against quadrature in the tests).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import ClassVar

import numpy as np

from stackup.dimension.numeric import Moments, Rule, double_exponential, special
from stackup.dimension.region import Array
from stackup.dimension.shape import Shape, Smooth, to_uniform
from stackup.dimension.tables import Scratch


@dataclass(frozen=True)
class Uniform(Smooth):
    """Uniform on [−1, 1]."""

    nodes: ClassVar[int] = 8

    def _mean(self) -> float:
        """Return 0."""
        return 0.0

    def _moments(self) -> Moments:
        """Return 1/(k + 1) for even orders."""
        return 1 / 3, 0.0, 1 / 5, 0.0, 1 / 7, 0.0, 1 / 9

    def quantile(self, u: Array) -> Array:
        """Return 2u − 1."""
        return 2.0 * np.asarray(u) - 1.0

    def cdf(self, x: Array) -> Array:
        """Return (x + 1)/2 on the support."""
        return np.clip(0.5 * (np.asarray(x) + 1.0), 0.0, 1.0)

    def density(self, x: Array) -> Array:
        """Return 1/2."""
        return np.full_like(x, 0.5)

    def spread(self, out: Array, scratch: Scratch) -> None:  # noqa: ARG002
        """Return 2u − 1 in place."""
        out *= 2.0
        out -= 1.0

    def score(self, out: Array, scratch: Scratch) -> None:
        """Return 2Φ(z) − 1 in place."""
        to_uniform(out, scratch)
        self.spread(out, scratch)


@dataclass(frozen=True)
class UniformFromZero(Smooth):
    """Uniform on [0, 1]: a one-sided value on 0…limit/cp."""

    nodes: ClassVar[int] = 8
    low = 0.0

    def _mean(self) -> float:
        """Return 1/2."""
        return 0.5

    def _moments(self) -> Moments:
        """Return (1/2)^k/(k + 1) for even orders."""
        return 1 / 12, 0.0, 1 / 80, 0.0, 1 / 448, 0.0, 1 / 2304

    def quantile(self, u: Array) -> Array:
        """Return u."""
        return np.array(u, dtype=float)

    def cdf(self, x: Array) -> Array:
        """Return x on the support."""
        return np.clip(x, 0.0, 1.0)

    def density(self, x: Array) -> Array:
        """Return 1."""
        return np.ones_like(x)

    def spread(self, out: Array, scratch: Scratch) -> None:
        """Leave the uniform numbers as they are."""

    def score(self, out: Array, scratch: Scratch) -> None:
        """Return Φ(z) in place."""
        to_uniform(out, scratch)


@dataclass(frozen=True)
class Triangular(Smooth):
    """Triangle on [−1, 1] with its peak at ``mode`` (−1…1), in half-widths from the centre."""

    mode: float = 0.0
    keys: ClassVar[tuple[str, ...]] = ("mode",)
    nodes: ClassVar[int] = 8

    @property
    def kinks(self) -> tuple[float, ...]:
        """Return the peak."""
        return (self.mode,)

    @property
    def _ramps(self) -> tuple[float, float]:
        return max(1.0 + self.mode, 1e-300), max(1.0 - self.mode, 1e-300)

    def quantile(self, u: Array) -> Array:
        """Return −1 + √(2(1 + m)u) below the peak, 1 − √(2(1 − m)(1 − u)) above it."""
        u = np.asarray(u, dtype=float)
        rise, fall = self._ramps
        return np.where(u < rise / 2, np.sqrt(2 * rise * u) - 1, 1 - np.sqrt(2 * fall * (1 - u)))

    def cdf(self, x: Array) -> Array:
        """Return (1 + x)²/2(1 + m) below the peak, 1 − (1 − x)²/2(1 − m) above it."""
        x = np.clip(x, -1.0, 1.0)
        rise, fall = self._ramps
        below, above = np.minimum(x, self.mode), np.maximum(x, self.mode)
        return np.where(x < self.mode, (1 + below) ** 2 / (2 * rise), 1 - (1 - above) ** 2 / (2 * fall))

    def density(self, x: Array) -> Array:
        """Return the height of the triangle, 1 at its peak."""
        rise, fall = self._ramps
        return np.where(x < self.mode, (1 + x) / rise, (1 - x) / fall)

    def sample(self, rng: np.random.Generator, out: Array, scratch: Scratch) -> None:
        """Fill ``out``: u₁ + u₂ − 1 where symmetric, else m + √u₁·(2u₂ − 1 − m).

        A uniform law shrunk towards m by √u₁ has a density that falls linearly from m to both ends:
        ∫ₓ 2x/y² dy = 2(1 − x).
        """
        other = scratch[0]
        rng.random(out=out)
        rng.random(out=other)
        if self.mode == 0.0:
            out += other
            out -= 1.0
            return
        np.sqrt(out, out=out)
        other *= 2.0
        other -= 1.0 + self.mode
        out *= other
        out += self.mode


@dataclass(frozen=True)
class Trapezoid(Smooth):
    """Symmetric trapezoid on [−1, 1] whose density is flat on [−flat, flat], flat in 0…1.

    It is the sum of two uniform laws of half-widths (1 ± flat)/2; its variance is (1 + flat²)/6.
    """

    flat: float = 0.0
    keys: ClassVar[tuple[str, ...]] = ("flat",)
    nodes: ClassVar[int] = 8

    @property
    def kinks(self) -> tuple[float, ...]:
        """Return the two ends of the flat part."""
        return (-self.flat, self.flat) if 0.0 < self.flat < 1.0 else (0.0,)

    def quantile(self, u: Array) -> Array:
        """Return the value by the lower half of the law, mirrored."""
        u = np.asarray(u, dtype=float)
        k, v = self.flat, np.minimum(u, 1 - u)
        ramp = 0.5 * (1 - k) / (1 + k)
        lower = np.where(v < ramp, np.sqrt(2 * (1 - k * k) * v) - 1, (1 + k) * (v - 0.5))
        return np.where(u < 0.5, lower, -lower)

    def cdf(self, x: Array) -> Array:
        """Return the fraction by the lower half of the law, mirrored."""
        x = np.clip(x, -1.0, 1.0)
        k, y = self.flat, -np.abs(x)
        ramp = (np.minimum(y, -k) + 1) ** 2 / max(2 * (1 - k * k), 1e-300)
        lower = np.where(y < -k, ramp, 0.5 + y / (1 + k))
        return np.where(x < 0, lower, 1 - lower)

    def density(self, x: Array) -> Array:
        """Return 1/(1 + flat) on the flat part, falling linearly to 0 at ±1."""
        k = self.flat
        return np.minimum(1.0, (1 - np.abs(x)) / max(1 - k, 1e-300)) / (1 + k)

    def sample(self, rng: np.random.Generator, out: Array, scratch: Scratch) -> None:
        """Fill ``out`` with (1 + k)u₁ + (1 − k)u₂ − 1."""
        other = scratch[0]
        rng.random(out=out)
        rng.random(out=other)
        out *= 1.0 + self.flat
        other *= 1.0 - self.flat
        out += other
        out -= 1.0


@dataclass(frozen=True)
class Beta(Shape):
    """Beta law with exponents a − 1 and b − 1 (a, b > 0), stretched to [−1, 1]."""

    a: float = 1.0
    b: float = 1.0
    keys: ClassVar[tuple[str, ...]] = ("a", "b")

    def _mean(self) -> float:
        """Return (a − b)/(a + b)."""
        return (self.a - self.b) / (self.a + self.b)

    def _moments(self) -> Moments:
        """Return μ_{k+1} = k(pq·μ_{k−1} + (q − p)·μ_k)/(a + b + k), p, q the mean's distances to the ends.

        From Pearson's equation (y + p)(q − y)f′ = (…)f, multiplied by y^k and integrated by parts.
        """
        total = self.a + self.b
        p, q = 2 * self.a / total, 2 * self.b / total
        values = [1.0, 0.0]
        for k in range(1, 8):
            values.append(k * (p * q * values[k - 1] + (q - p) * values[k]) / (total + k))
        return tuple(values[2:])

    def quantile(self, u: Array) -> Array:
        """Return the inverse of the incomplete beta function, stretched."""
        return 2.0 * np.asarray(special().betaincinv(self.a, self.b, u)) - 1.0

    def cdf(self, x: Array) -> Array:
        """Return the incomplete beta function."""
        return np.asarray(special().betainc(self.a, self.b, np.clip(0.5 * (np.asarray(x) + 1), 0, 1)))

    def piece(self, low: float, high: float) -> Rule:
        """Return a rule in the angle θ, x = −cos 2θ, with two panels that meet at the mean.

        Both distances to the ends stay exact, and a narrow law has its nodes close together at its mean.
        """
        stops = sorted({min(max(x, -1.0), 1.0) for x in (low, high)})
        if len(stops) == 1:
            return np.array(stops), np.zeros(1)
        inner = [self.mean] if stops[0] < self.mean < stops[1] else []
        angles = [math.asin(math.sqrt(0.5 * (1 + x))) for x in (stops[0], *inner, stops[1])]
        panels = [self._panel(*ends) for ends in pairwise(angles)]
        return np.concatenate([nodes for nodes, _ in panels]), np.concatenate([w for _, w in panels])

    def _panel(self, start: float, stop: float) -> Rule:
        left, right, weights = double_exponential(0.03)
        width = stop - start
        sine, cosine = np.sin(start + width * left), np.sin((math.pi / 2 - stop) + width * right)
        scale = math.lgamma(self.a + self.b) - math.lgamma(self.a) - math.lgamma(self.b)
        with np.errstate(divide="ignore"):
            log = scale + (2 * self.a - 1) * np.log(sine) + (2 * self.b - 1) * np.log(cosine)
        return 2 * sine * sine - 1, 2 * width * weights * np.exp(log)
