"""What a drawing grants: an interval, the classes of a sorted part, or the disc of a position zone.

A region knows nothing of how parts come out; that is the law.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stackup.errors import ValueFault

Array = NDArray[np.float64]
#: A number that all pockets share, or one for each pocket, shape (Z,).
Column = float | Array

#: More classes than this are a slip of the pen, not a way to sort.
MOST_CLASSES = 1000


@dataclass(frozen=True)
class Interval:
    """``low`` ≤ value ≤ ``high``, each a number or a column of Z, in the dimension's unit."""

    low: Column
    high: Column


@dataclass(frozen=True)
class Classes:
    """Sorting classes between ``edges`` (ascending, at least two): all pockets of a cage lie in one."""

    edges: tuple[float, ...]

    @property
    def low(self) -> float:
        """The least value of all classes."""
        return self.edges[0]

    @property
    def high(self) -> float:
        """The greatest value of all classes."""
        return self.edges[-1]


@dataclass(frozen=True)
class Growth:
    """Material bonus (ISO 2692): a disc grows by max(0, slope·(x − at)), x the value of ``feature``.

    ``slope`` is +1/2 for a hole and −1/2 for a shaft (radius against diameter), ``at`` its maximum
    material size.
    """

    feature: str
    slope: float
    at: float

    def of(self, value: Column) -> Column:
        """Return by how much the radius grows where the feature measures ``value``."""
        return np.maximum(0.0, self.slope * (value - self.at))


@dataclass(frozen=True)
class Disc:
    """Vectors within ``radius`` of ``centre`` (a column per part); ``growth`` is the bonus, if any."""

    centre: tuple[Column, Column]
    radius: float
    growth: Growth | None = None


Region = Interval | Classes | Disc


def sorting_classes(low: float, high: float, width: float) -> Classes:
    """Return classes of ``width`` from ``low`` upwards, the last cut off at ``high``.

    Raises ValueFault where ``width`` (> 0) makes more than MOST_CLASSES classes.
    """
    count = max(1, math.ceil((high - low) / width - 1e-9))
    if count > MOST_CLASSES:
        found = f"{width:g}, which makes {count} classes"
        raise ValueFault("sorted_to", found, f"at most {MOST_CLASSES} classes")
    return Classes((*(low + k * width for k in range(count)), high))
