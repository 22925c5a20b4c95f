"""Running sums of one number over all cages, in constant memory, merged in a fixed order.

Values come as blocks (rows, cages): Z rows for a gap of the pocket, one row for a number of the cage.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from stackup.engine.fractions import of_cages, of_pockets
from stackup.engine.result import Fraction, Histogram

Array = Any

BINS = 4096
#: half the range of the histogram, in standard deviations of the pilot
REACH = 10.0
SHOWN_BINS = 60
QUANTILES = (0.00135, 0.5, 0.99865)


@dataclass(frozen=True)
class Scale:
    """Where the sums are taken from: ``middle`` and ``unit`` of a pilot, so that powers do not cancel."""

    middle: float
    unit: float

    @classmethod
    def of(cls, pilot: Array) -> Scale:
        """Take the scale of a pilot's finite values."""
        finite = pilot[np.isfinite(pilot)]
        if finite.size == 0:
            return cls(0.0, 1.0)
        middle, unit = float(finite.mean()), float(finite.std())
        return cls(middle, unit if unit > 1e-12 * max(1.0, abs(middle)) else max(1.0, abs(middle)) * 1e-9)


@dataclass(frozen=True)
class Room:
    """Room for intermediate values of one block's shape, reused from block to block."""

    first: Array
    second: Array
    places: Array

    @classmethod
    def of(cls, shape: tuple[int, ...]) -> Room:
        """Return room for blocks of ``shape``."""
        return cls(np.empty(shape), np.empty(shape), np.empty(shape, dtype=np.int32))


def _product_sum(one: Array, other: Array) -> float:
    """Return Σ one·other, row by row: rows are too short for linear algebra to share them out among threads."""
    return float(np.add.reduce(np.vecdot(one, other)))


@dataclass
class Moments:
    """Power sums of value − middle, least, greatest, and the counts of a fine histogram.

    Mean and standard deviation, least and greatest come from all values; skewness, kurtosis, quantiles and
    histogram from the blocks that are looked at closely.
    """

    scale: Scale
    count: int = 0
    sums: Array = field(default_factory=lambda: np.zeros(2))
    close_count: int = 0
    close_sums: Array = field(default_factory=lambda: np.zeros(4))
    least: float = np.inf
    greatest: float = -np.inf
    not_finite: int = 0
    bins: Array = field(default_factory=lambda: np.zeros(BINS, dtype=np.int64))

    def add(self, values: Array, room: Room, closely: bool) -> tuple[float, float]:
        """Add a block; ``closely``: to skewness, kurtosis, quantiles and histogram too.

        Returns the least and the greatest value of the block (NaN where any is NaN).
        """
        low, high = float(values.min()), float(values.max())
        if not (np.isfinite(low) and np.isfinite(high)):
            self._add_finite(values, closely)
            return low, high
        off = room.first
        np.subtract(values, self.scale.middle, out=off)
        first, second = float(np.add.reduce(off, axis=None)), _product_sum(off, off)
        self.sums += (first, second)
        self.count += values.size
        self.least, self.greatest = min(self.least, low), max(self.greatest, high)
        if closely:
            self._look_closely(off, first, second, room)
        return low, high

    def _look_closely(self, off: Array, first: float, second: float, room: Room) -> None:
        squares = room.second
        np.multiply(off, off, out=squares)
        self.close_sums += (first, second, _product_sum(off, squares), _product_sum(squares, squares))
        self.close_count += off.size
        np.multiply(off, BINS / (2 * REACH * self.scale.unit), out=off)
        np.add(off, BINS / 2, out=off)
        np.clip(off, 0, BINS - 1, out=off)
        np.copyto(room.places, off, casting="unsafe")
        self.bins += np.bincount(room.places.ravel(), minlength=BINS)

    def _add_finite(self, values: Array, closely: bool) -> None:
        good = values[np.isfinite(values)].reshape(1, -1)
        self.not_finite += values.size - good.size
        if good.size:
            self.add(good, Room.of(good.shape), closely)

    def merge(self, other: Moments) -> None:
        """Add another run's sums (of the same scale)."""
        self.sums = self.sums + other.sums
        self.close_sums = self.close_sums + other.close_sums
        self.bins = self.bins + other.bins
        self.not_finite += other.not_finite
        self.count += other.count
        self.close_count += other.close_count
        self.least, self.greatest = min(self.least, other.least), max(self.greatest, other.greatest)

    def central(self) -> tuple[float, float, float | None, float | None]:
        """Return mean, sd, skewness and kurtosis (None where the values do not scatter)."""
        if self.count == 0:
            return np.nan, np.nan, None, None
        m1, m2 = self.sums / self.count
        mean, variance = self.scale.middle + m1, m2 - m1**2
        if self.greatest <= self.least or variance <= 1e-12 * m2:
            return (
                float(mean),
                0.0 if self.greatest <= self.least else float(np.sqrt(max(variance, 0.0))),
                None,
                None,
            )
        return float(mean), float(np.sqrt(variance)), *self._shape()

    def _shape(self) -> tuple[float | None, float | None]:
        if self.close_count == 0:
            return None, None
        m1, m2, m3, m4 = self.close_sums / self.close_count
        c2 = m2 - m1**2
        if c2 <= 1e-12 * m2:
            return None, None
        c3 = m3 - 3 * m1 * m2 + 2 * m1**3
        c4 = m4 - 4 * m1 * m3 + 6 * m1**2 * m2 - 3 * m1**4
        return float(c3 / c2**1.5), float(c4 / c2**2)

    def edges(self) -> Array:
        """Return the edges of the fine histogram, (BINS + 1,)."""
        return self.scale.middle + self.scale.unit * np.linspace(-REACH, REACH, BINS + 1)

    def quantile(self, probability: float) -> float:
        """Return a quantile, linear inside its bin; bins are 1/200 of a standard deviation wide."""
        total = int(self.bins.sum())
        if total == 0:
            return np.nan
        target = probability * total
        cumulative = np.concatenate(([0], np.cumsum(self.bins)))
        place = int(np.searchsorted(cumulative, target, side="right")) - 1
        place = min(max(place, 0), int(np.flatnonzero(self.bins)[-1]))
        edges = self.edges()
        left = self.least if place == 0 else max(edges[place], self.least)
        right = self.greatest if place == BINS - 1 else min(edges[place + 1], self.greatest)
        inside = (target - cumulative[place]) / max(int(self.bins[place]), 1)
        return float(left + (right - left) * min(max(inside, 0.0), 1.0))

    def histogram(self) -> Histogram:
        """Return at most SHOWN_BINS bins between the least and the greatest value."""
        filled = np.nonzero(self.bins)[0]
        if filled.size == 0 or not np.isfinite(self.scale.middle + REACH * self.scale.unit):
            return Histogram((0.0, 0.0), (0,))
        first, last = int(filled[0]), int(filled[-1]) + 1
        width = max(1, -(-(last - first) // SHOWN_BINS))
        cuts = np.arange(first, last + width, width)
        cuts[-1] = min(cuts[-1], BINS)
        if cuts[-1] == cuts[-2]:
            cuts = cuts[:-1]
        cumulative = np.concatenate(([0], np.cumsum(self.bins)))
        counts = np.diff(cumulative[cuts])
        edges = self.edges()[cuts]
        edges[0], edges[-1] = min(edges[0], self.least), max(edges[-1], self.greatest)
        return Histogram(tuple(float(e) for e in edges), tuple(int(c) for c in counts))


@dataclass
class Failures:
    """Counts per cage of what is out of spec: total, squares, the most in one cage, cages with any."""

    cages: int = 0
    total: int = 0
    squares: int = 0
    most: int = 0
    failed: int = 0

    def add(self, counts: Array) -> None:
        """Add the counts (cages,) of a block."""
        self.cages += counts.size
        if counts.any():
            self.total += int(counts.sum())
            self.squares += int((counts * counts).sum())
            self.most = max(self.most, int(counts.max()))
            self.failed += int(np.count_nonzero(counts))

    def merge(self, other: Failures) -> None:
        """Add another run's counts."""
        self.cages += other.cages
        self.total += other.total
        self.squares += other.squares
        self.most = max(self.most, other.most)
        self.failed += other.failed

    def of_pockets(self, pockets: int) -> Fraction:
        """Return the fraction of pockets."""
        return of_pockets(self.total, self.squares, self.most, self.cages, pockets)

    def of_cages(self, independent: int = 0) -> Fraction:
        """Return the fraction of cages; ``independent`` pockets give what independence would have said."""
        found = of_cages(self.failed, self.cages)
        if not independent:
            return found
        each = self.total / (self.cages * independent)
        said = float(-np.expm1(independent * np.log1p(-each))) if each < 1 else 1.0
        return Fraction(found.out_of_spec, found.low, found.high, "sampled", said)


def within(values: Array, low: float | None, high: float | None) -> Array:
    """Return where values are within the limits; what is not a number is not."""
    good = np.isfinite(values)
    if low is not None:
        good &= values >= low
    if high is not None:
        good &= values <= high
    return good


def may_fail(least: float, greatest: float, low: float | None, high: float | None) -> bool:
    """Tell whether any value between least and greatest (NaN: unknown) is out of spec."""
    if not (np.isfinite(least) and np.isfinite(greatest)):
        return True
    return (low is not None and least < low) or (high is not None and greatest > high)


def merged(parts: Sequence[Any]) -> Any:
    """Return the first of several tallies with all others merged in, in order."""
    first, *rest = parts
    for part in rest:
        first.merge(part)
    return first
