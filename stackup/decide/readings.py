"""How a measured column is read: which numbers scatter, how far the limits are, what makes the index 1.

Sizes by 3σ to the nearer limit.  One-sided values by 3σ to their one limit.  Points of a zone by the radial law as in
the case file, index 1 where the radius holds 99.73 % of the lengths (3.4393σ on each axis), both axes together.
Position diameters likewise about the true position, which is then their known mean.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from stackup.decide.processes import Toleranced, half_width, zone_sigma
from stackup.dimension import OneSided, Zone
from stackup.dimension.process import Measured
from stackup.dimension.unbounded import RADIUS_INSIDE
from stackup.standards import capability, samples

Array = Any
Ends = tuple[float | None, float | None]

#: half-normal and Rayleigh values to this power are nearly normal (E. B. Wilson, M. M. Hilferty, PNAS 17 (1931) 684)
NEARLY_NORMAL = 2 / 3


@dataclass(frozen=True)
class Reading:
    """A column read as its kind asks, in the unit of the file.

    ``axes`` (n, k) scatter; ``likely`` (n, k) are the same, made nearly normal; ``mean`` (of points its distance from
    the true position, of position diameters that of the radii) and ``sd`` (per axis) as measured.  ``limits``;
    ``half``: what the spread alone is held against, None with one limit; ``room`` from the mean to the nearer limit;
    ``reach``: σ's that make the index 1. ``centred``: the mean is known, not measured.  ``lengths`` (n,): what is
    held against ``limits``.
    """

    axes: Array
    likely: Array
    lengths: Array
    mean: float
    sd: float
    limits: Ends
    half: float | None
    room: float
    reach: float
    centred: bool = False

    @property
    def parts(self) -> int:
        """Number of parts."""
        return len(self.axes)

    def freedom(self, parts: int) -> int:
        """Return the degrees of freedom of the spread with so many parts."""
        each = 2 if self.centred else self.axes.shape[1]
        return each * (parts if self.centred else parts - 1)


def reading_of(dimension: Toleranced, measured: Measured) -> Reading:
    """Return the column of a dimension, read as its kind asks."""
    values, half = measured.values, half_width(dimension)
    if isinstance(dimension, Zone):
        return _of_diameters(values / 2, half) if measured.diameter else _of_points(values, half)
    mean, sd, column = float(values.mean()), float(values.std(ddof=1)), values[:, None]
    if isinstance(dimension, OneSided):
        likely = column**NEARLY_NORMAL
        return Reading(column, likely, values, mean, sd, (None, half), None, half - mean, capability.REACH)
    low, high = dimension.nominal_size + dimension.lower, dimension.nominal_size + dimension.upper
    room = min(mean - low, high - mean)
    return Reading(column, column, values, mean, sd, (low, high), half, room, capability.REACH)


def _of_points(values: Array, radius: float) -> Reading:
    mean, sd = float(np.hypot(*values.mean(axis=0))), zone_sigma(values)
    lengths = np.hypot(values[:, 0], values[:, 1])
    return Reading(values, values, lengths, mean, sd, (None, radius), radius, radius - mean, RADIUS_INSIDE)


def _of_diameters(radii: Array, radius: float) -> Reading:
    likely, sd, mean = radii[:, None] ** NEARLY_NORMAL, zone_sigma(2 * radii), float(radii.mean())
    return Reading(radii[:, None], likely, radii, mean, sd, (None, radius), radius, radius, RADIUS_INSIDE, centred=True)


@dataclass(frozen=True)
class Spread:
    """The spread of a process: ``sd`` without the measurement, ``share`` σ²/s² of the variance, what s² knows.

    By Satterthwaite's rule σ² = s² − u² has share²·ν degrees of freedom; the mean of n parts, each measured with u, is
    known as that of share·n parts.
    """

    reading: Reading
    sd: float
    share: float
    freedom: float

    @property
    def by_spread(self) -> float | None:
        """Cp or Pp; None with one limit."""
        half = self.reading.half
        return None if half is None else half / (self.reading.reach * self.sd)

    @property
    def by_limit(self) -> float:
        """Cpk or Ppk."""
        return self.reading.room / (self.reading.reach * self.sd)

    def interval_by_spread(self) -> Ends:
        """Return the 95 % interval of Cp or Pp (chi-square)."""
        if self.by_spread is None:
            return None, None
        return capability.interval_of_spread(self.by_spread, self.freedom)

    def interval_by_limit(self) -> Ends:
        """Return the 95 % interval of Cpk or Ppk (Bissell); of a known mean that of the spread."""
        if self.reading.centred:
            return self.interval_by_spread()
        parts = self.share * self.reading.parts
        return capability.interval_of_k(self.by_limit, parts, self.freedom, reach=self.reading.reach)

    def proves(self, parts: int) -> float:
        """Return the index of the nearer limit that so many parts would prove at 95 %, if they showed this one."""
        freedom = self.share**2 * self.reading.freedom(parts)
        if self.reading.centred:
            return capability.proved_of_spread(self.by_limit, freedom)
        return capability.proved(self.by_limit, self.share * parts, freedom, reach=self.reading.reach)


def spread_of(reading: Reading, sd: float, freedom: int, uncertainty: float | None) -> Spread | None:
    """Return the spread ``sd`` of ``freedom`` without that of the measurement; None where nothing is left of it."""
    share = 1 - ((uncertainty or 0.0) / sd) ** 2 if sd > 0 and freedom > 0 else 0.0
    if share <= 0:
        return None
    return Spread(reading, sd * math.sqrt(share), share, share**2 * freedom)


def within_subgroups(reading: Reading, labels: Sequence[Any]) -> tuple[float, int]:
    """Return the spread within subgroups, all axes together, and its degrees of freedom."""
    if reading.centred:
        return reading.sd, reading.freedom(reading.parts)
    found = [samples.pooled(axis, labels) for axis in reading.axes.T]
    freedom = sum(each for _, each in found)
    squares = math.fsum(sd**2 * each for sd, each in found)
    return (math.sqrt(squares / freedom), freedom) if freedom else (0.0, 0)


def least_p(found: Sequence[float | None]) -> float | None:
    """Return the p value of several tests together (Bonferroni); None where none was possible."""
    known = [p for p in found if p is not None]
    return min(1.0, len(known) * min(known)) if known else None
