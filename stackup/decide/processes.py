"""The process behind a dimension: the index that it has, and the dimension it would make with another.

Sizes: cp = T/3σ, cpk = cp·(1 − d/T), T the half-width of the tolerance and d the distance of the mean from its
middle, the greatest round the ring.  Zones by the radial law: cp as in the case file (P(length ≤ radius/cp) = 99.73 %
about the mean), cpk = cp·(1 − d/radius), d the distance of the mean from the true position.  One-sided values have an
index of their one limit only: P(x ≤ limit/cpk) = 99.73 %.

A *factor* is a spread over the spread of the case; the mean keeps its place.  A measured column has the index of
its values (Ppk in the normal form, as measured); drawn together about its mean (a runout or a position
diameter: towards 0) by a factor it has another.  What is made here is what ``stackup.case.changed`` makes.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, Literal, Protocol

import numpy as np

from stackup.dimension import Dimension, MeasuredSize, MeasuredZone, OneSided, Size, Zone
from stackup.dimension.process import Measured, Process, Unstated
from stackup.dimension.unbounded import RADIUS_INSIDE

Source = Literal["stated", "data", "as built", "exact", "law"]
Toleranced = Size | Zone | OneSided
Array = Any

#: why there is no index
REASONS: Mapping[Source, str] = {
    "as built": "as built: each value is known, no process makes it",
    "exact": "no tolerance: nothing scatters",
    "law": "the law is an object: it states no capability",
}


class Spread(Protocol):
    """A process whose spread can be put at another index."""

    @property
    def index(self) -> float:
        """The index at factor 1."""

    @property
    def has_middle(self) -> bool:
        """Tell whether the mean can stand in the middle: not of one-sided values and position diameters."""

    def factor(self, index: float) -> float:
        """Return the factor at which the process has ``index`` > 0."""

    def index_at(self, factor: float) -> float:
        """Return the index at ``factor`` > 0."""

    def at(self, factor: float) -> Toleranced:
        """Return the dimension with its spread times ``factor``.  Raises ValueFault where there is none."""

    def centred(self) -> Toleranced | None:
        """Return the dimension with its mean in the middle, None where it is there, or has no middle."""


@dataclass(frozen=True)
class Capability:
    """The index a dimension has: ``cp`` None for one limit, both None where ``why`` says so."""

    source: Source
    cp: float | None
    cpk: float | None
    spread: Spread | None
    why: str = ""


def capability_of(dimension: Dimension) -> Capability:
    """Return the index of a dimension, and what makes it at another."""
    if isinstance(dimension, MeasuredSize | MeasuredZone):
        return Capability("as built", None, None, None, REASONS["as built"])
    if not isinstance(dimension, Size | Zone | OneSided):
        raise TypeError(f"a dimension of the type {type(dimension).__name__}")
    if dimension.process.measured is not None:
        return _of_data(dimension)
    if dimension.half_width == 0:
        return Capability("exact", None, None, None, REASONS["exact"])
    if not (dimension.process.shape is None or isinstance(dimension.process.shape, str)):
        return Capability("law", None, None, None, REASONS["law"])
    stated = Stated(dimension)
    cp = None if isinstance(dimension, OneSided) else float(dimension.process.cp)
    return Capability("stated", cp, stated.index, stated)


def half_width(dimension: Toleranced) -> float:
    """Return T as entered: of a size, the radius of a zone, a one-sided limit."""
    return dimension.tolerance / dimension.factor


def ring_offsets(dimension: Toleranced, mean: tuple[float, ...]) -> float:
    """Return the greatest distance, as entered, of the mean from the middle, pattern and drift added to ``mean``."""
    process, pockets = dimension.process, dimension.pockets
    if isinstance(dimension, Zone):
        along_r, along_t = process.columns(pockets)
        return float(np.max(np.hypot(mean[0] + along_r, mean[1] + along_t)))
    return float(np.max(np.abs(mean[0] + process.column(pockets))))


@dataclass(frozen=True)
class Stated:
    """A process by its keys in the case file."""

    dimension: Toleranced

    @property
    def has_middle(self) -> bool:
        """Tell that it is no one-sided value."""
        return not isinstance(self.dimension, OneSided)

    @property
    def offset(self) -> float:
        """How far the mean stands from the middle, as entered."""
        process = self.dimension.process
        if isinstance(self.dimension, OneSided):
            return 0.0
        half = half_width(self.dimension)
        mean = process.offset if isinstance(self.dimension, Zone) else (process.displacement(half),)
        return ring_offsets(self.dimension, mean)

    @property
    def index(self) -> float:
        """Cpk."""
        return float(self.dimension.process.cp) * (1 - self.offset / half_width(self.dimension))

    def factor(self, index: float) -> float:
        """Return Cpk/index: an offset that stays takes the same part of both."""
        return self.index / index

    def index_at(self, factor: float) -> float:
        """Return Cpk/factor."""
        return self.index / factor

    def at(self, factor: float) -> Toleranced:
        """Return the dimension with cp, and cpk where it is given, divided by ``factor``."""
        process = self.dimension.process
        cpk = None if process.cpk is None else process.cpk / factor
        if process.cpk is not None and isinstance(process.cp, Unstated):
            return replace(self.dimension, process=replace(process, cpk=cpk))
        return replace(self.dimension, process=replace(process, cp=float(process.cp) / factor, cpk=cpk))

    def keys(self, factor: float) -> dict[str, float]:
        """Return the keys of ``process`` in the case file that put the spread at ``factor``."""
        process = self.dimension.process
        keys = {} if process.cpk is None else {"cpk": process.cpk / factor}
        alone = process.cpk is not None and isinstance(process.cp, Unstated)
        return keys if alone else {"cp": float(process.cp) / factor, **keys}

    def centred(self) -> Toleranced | None:
        """Return the dimension without shift, offset and the side of cpk."""
        process = self.dimension.process
        if process.shift == 0 and process.offset == (0.0, 0.0) and process.toward is None:
            return None
        cpk = process.cpk if process.toward is None else None
        made = replace(process, shift=0.0, offset=(0.0, 0.0), cpk=cpk, toward=None)
        return replace(self.dimension, process=made)


@dataclass(frozen=True)
class FromData:
    """A measured column: its mean and spread in the normal form.

    ``room``: from the mean to the nearer limit; ``reach``: so far goes the spread of index 1; ``towards_zero``: the
    mean of a one-sided column (it shrinks with the spread), else 0.
    """

    dimension: Toleranced
    room: float
    reach: float
    towards_zero: float = 0.0

    @property
    def index(self) -> float:
        """Ppk of the column as measured."""
        return self.room / self.reach

    def factor(self, index: float) -> float:
        """Return the factor; of a one-sided column the mean shrinks too: f = U/(reach·index + mean)."""
        return (self.room + self.towards_zero) / (self.reach * index + self.towards_zero)

    def index_at(self, factor: float) -> float:
        """Return (U/f − mean)/reach, the mean 0 where it keeps its place."""
        return ((self.room + self.towards_zero) / factor - self.towards_zero) / self.reach

    def at(self, factor: float) -> Toleranced:
        """Return the dimension with the values drawn together."""
        measured = self._measured
        middle = measured.values.mean(axis=0) if self.has_middle else 0.0
        return self._with(middle + factor * (measured.values - middle))

    def centred(self) -> Toleranced | None:
        """Return the dimension with the mean of its values in the middle of the tolerance."""
        if not self.has_middle:
            return None
        mean = self._measured.values.mean(axis=0)
        middle = _middle(self.dimension) if isinstance(self.dimension, Size) else 0.0
        return None if np.all(mean == middle) else self._with(self._measured.values - mean + middle)

    @property
    def _measured(self) -> Measured:
        measured = self.dimension.process.measured
        assert measured is not None  # noqa: S101 - made from data only
        return measured

    @property
    def has_middle(self) -> bool:
        """Tell that it is no one-sided value and no position diameter."""
        return not (isinstance(self.dimension, OneSided) or self._measured.diameter)

    def _with(self, values: Array) -> Toleranced:
        process: Process = replace(self.dimension.process, measured=replace(self._measured, values=values))
        return replace(self.dimension, process=process)


def _middle(size: Size) -> float:
    return size.nominal_size + 0.5 * (size.lower + size.upper)


def _of_data(dimension: Toleranced) -> Capability:
    """Return the index of a measured column as measured."""
    measured = dimension.process.measured
    assert measured is not None  # noqa: S101 - the caller looked
    values, half = measured.values, half_width(dimension)
    if np.ptp(values, axis=0).max() == 0:
        return Capability("data", None, None, None, "the measured values are all the same")
    if isinstance(dimension, OneSided):
        mean, reach = float(values.mean()), 3 * float(values.std(ddof=1))
        spread = FromData(dimension, half - mean, reach, mean)
        if half == 0:
            return Capability("data", None, None, spread, "no tolerance: a column without limits has no index")
        return Capability("data", None, spread.index, spread)
    if isinstance(dimension, Zone):
        centre, reach = (0.0, 0.0), RADIUS_INSIDE * zone_sigma(values)
        if not measured.diameter:
            centre = (float(values[:, 0].mean()), float(values[:, 1].mean()))
    else:
        centre, reach = (float(values.mean()) - _middle(dimension),), 3 * float(values.std(ddof=1))  # type: ignore[assignment]
    spread = FromData(dimension, half - ring_offsets(dimension, centre), reach)
    if half == 0:
        return Capability("data", None, None, spread, "no tolerance: a column without limits has no index")
    return Capability("data", half / reach, spread.index, spread)


def zone_sigma(values: Array) -> float:
    """Return the spread per axis of measured points (n, 2) about their mean, or of position diameters (n,) about 0.

    Both axes taken together; of diameters D the most likely σ of a Rayleigh law: √(Σ(D/2)²/2n).
    """
    if values.ndim == 1:
        return math.sqrt(float(np.mean((values / 2) ** 2)) / 2)
    return math.sqrt(float(values.var(axis=0, ddof=1).mean()))
