"""Capability indices of a characteristic, and how well a sample of parts knows them.

Symbols of ISO 22514-2 and ISO 3534-2: Cp, Cpk with the spread within subgroups (a process that is shown to be
stable), Pp, Ppk with that of all parts.  The texts of the standards were not open when this was written; the marks of
each formula stand in ``docs/standards.md``.  Limits, means and spreads are in one and the same unit, whatever it is;
an index has none.  A limit that is not there is None, and so is what hangs on it.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

import numpy as np

LEVEL = 0.95
#: so many standard deviations make the index 1
REACH = 3.0
#: the fractions between which ISO 22514-2 measures a spread, and the middle
LOW, MIDDLE, HIGH = 0.00135, 0.5, 0.99865
#: the inverse of the noncentral t distribution is taken to be so near, relatively, and then polished
NEAR = 1e-6
#: so many parts nobody measures to prove an index
MOST_PARTS = 1_000_000
Ends = tuple[float | None, float | None]


@dataclass(frozen=True)
class Indices:
    """The index ``c`` of the spread alone (two limits only), and those of both sides (``lower``, ``upper``)."""

    c: float | None
    lower: float | None
    upper: float | None

    @property
    def k(self) -> float | None:
        """The index of the nearer limit: Cpk, Ppk."""
        sides = [side for side in (self.lower, self.upper) if side is not None]
        return min(sides, default=None)


def indices(low: float | None, high: float | None, mean: float, sd: float) -> Indices:
    """Return (U − L)/6σ, (μ − L)/3σ, (U − μ)/3σ (ISO 22514-2, normal form); ``sd`` > 0."""
    return Indices(
        None if low is None or high is None else (high - low) / (6 * sd),
        None if low is None else (mean - low) / (3 * sd),
        None if high is None else (high - mean) / (3 * sd),
    )


def quantile_indices(low: float | None, high: float | None, quantiles: tuple[float, float, float]) -> Indices:
    """Return the indices of any law from its quantiles at 0.135 %, 50 % and 99.865 % (ISO 22514-2, general form).

    (U − L)/(X₉₉.₈₆₅ − X₀.₁₃₅), (X₅₀ − L)/(X₅₀ − X₀.₁₃₅), (U − X₅₀)/(X₉₉.₈₆₅ − X₅₀); the quantiles must ascend.
    """
    below, middle, above = quantiles
    return Indices(
        None if low is None or high is None else (high - low) / (above - below),
        None if low is None else (middle - low) / (middle - below),
        None if high is None else (high - middle) / (above - middle),
    )


@cache
def range_factor(size: int) -> float:
    """Return d₂, the mean range of ``size`` ≥ 2 standard normal numbers: ∫ 1 − Φⁿ − (1 − Φ)ⁿ.

    The trapezoid rule is exact to rounding: the integrand and all its derivatives vanish at both ends.
    """
    from scipy.special import ndtr

    x = np.linspace(-10.0, 10.0, 801)
    below, above = ndtr(x), ndtr(-x)
    return float(np.sum(1.0 - below**size - above**size) * (x[1] - x[0]))


def sigma_of_ranges(mean_range: float, size: int) -> float:
    """Return R̄/d₂, the spread within subgroups of ``size`` from their mean range."""
    return mean_range / range_factor(size)


# How well a sample knows an index ---------------------------------------------------------------------------


def interval_of_spread(index: float, freedom: float, level: float = LEVEL) -> tuple[float, float]:
    """Return both ends for Cp or Pp: index·√(χ²/ν) at both tails (NIST/SEMATECH e-Handbook 6.1.6; Chou, Owen, Borrego).

    ``freedom`` ν > 0: the degrees of freedom of the spread, n − 1 for n parts taken together.
    """
    from scipy.special import chdtri

    tail = (1 - level) / 2
    low, high = float(chdtri(freedom, 1 - tail)), float(chdtri(freedom, tail))
    return index * math.sqrt(low / freedom), index * math.sqrt(high / freedom)


def interval_of_k(
    index: float, parts: float, freedom: float, level: float = LEVEL, reach: float = REACH
) -> tuple[float, float]:
    """Return both ends for Cpk or Ppk: index ± z·√(1/9n + index²/2ν) (A. F. Bissell, Applied Statistics 39 (1990) 331).

    ``parts`` n > 0 know the mean, ``freedom`` ν > 0 the spread; ``reach`` is how many σ make the index 1 (the 9 is
    its square).  One-sided at 95 %: the low end at ``level`` 0.90.
    """
    from scipy.special import ndtri

    sd = math.sqrt(1 / (reach**2 * parts) + index**2 / (2 * freedom))
    out = float(ndtri(0.5 + level / 2)) * sd
    return index - out, index + out


def proved(
    index: float, parts: float, freedom: float | None = None, level: float = LEVEL, reach: float = REACH
) -> float:
    """Return the index of one side that is proved at ``level``: the exact one-sided lower limit for a normal law.

    The C with F(3√n·Ĉ; ν, 3√n·C) = level, F the noncentral t distribution (Chou, Owen, Borrego, J. Quality
    Technology 22 (1990) 223).  ``freedom`` by default n − 1; ``reach`` stands for the 3.
    """
    from scipy.optimize import brentq
    from scipy.special import nctdtr, nctdtrinc

    root, known = reach * math.sqrt(parts), parts - 1 if freedom is None else freedom
    near = float(nctdtrinc(known, level, root * index))  # to 1e-8
    ends = (near - NEAR * (1 + abs(near)), near + NEAR * (1 + abs(near)))
    off = [float(nctdtr(known, end, root * index)) - level for end in ends]
    if off[0] > 0 > off[1]:
        near = float(brentq(lambda shift: float(nctdtr(known, shift, root * index)) - level, *ends, xtol=1e-13))
    return near / root


def proved_of_spread(index: float, freedom: float, level: float = LEVEL) -> float:
    """Return the index of a spread whose mean is known that is proved at ``level``: index·√(χ²/ν), the low tail."""
    from scipy.special import chdtri

    return index * math.sqrt(float(chdtri(freedom, level)) / freedom)


def least_that_proves(needed: float, parts: int, level: float = LEVEL) -> float:
    """Return the index that ``parts`` ≥ 2 must show to prove that the true one of that side is ``needed``."""
    from scipy.special import nctdtrit

    root = REACH * math.sqrt(parts)
    return float(nctdtrit(parts - 1, root * needed, level)) / root


def parts_to_prove(index: float, needed: float, proves: Callable[[int], float] | None = None) -> int | None:
    """Return how many parts prove ``needed`` if they show ``index``; None where no number up to MOST_PARTS does.

    ``proves(parts)``: the index that so many prove, growing with them; by default ``proved`` at 95 %.
    """
    shown = proves or (lambda parts: proved(index, parts))
    if not index > needed or shown(MOST_PARTS) < needed:
        return None
    few, enough = 1, MOST_PARTS
    while enough - few > 1:
        middle = (few + enough) // 2
        few, enough = (few, middle) if shown(middle) >= needed else (middle, enough)
    return enough


def ratio_of_limits(parts: int, risk: float) -> float:
    """Return Cp(high)/Cp(low) of a capability test with both risks ``risk``: √(χ²₁₋ₐ/χ²ₐ) (Kane, Montgomery).

    With ``parts`` a process of the lower index passes with probability ``risk``, one of the higher fails with it.
    """
    from scipy.special import chdtri

    return math.sqrt(float(chdtri(parts - 1, risk)) / float(chdtri(parts - 1, 1 - risk)))
