"""What a column of measured parts says of its process: spread within subgroups, normality, outliers, quantiles.

Columns are arrays (n,) in one unit; nothing here knows of a case.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

Array = Any

#: significance of the tests
ALPHA = 0.05
#: Shapiro and Wilk's p values hold for so many parts
FEWEST, MOST_SHAPIRO = 3, 5000
#: fewer parts than this are searched for one outlier, more for one in ten, at most so many
FEW, MOST_OUTLIERS = 15, 10
#: from so many parts on the quantiles are those of the column; below so many they lie outside of it
MANY, BEYOND = 2000, 370
#: steps of rounding above this part of the spread: 9 % of 50 normal parts and 28 % of 200 fail the test at 5 %
COARSE = 0.25


def pooled(values: Array, labels: Sequence[Any]) -> tuple[float, int]:
    """Return the spread within subgroups and its degrees of freedom: √(Σ(nᵢ − 1)sᵢ²/Σ(nᵢ − 1)).

    (0, 0) where no subgroup has two parts.  R̄/d₂ would need subgroups of one size and uses less of what is there.
    """
    groups = grouped(values, labels)
    freedom = sum(len(group) - 1 for group in groups)
    if freedom == 0:
        return 0.0, 0
    squares = math.fsum(float(np.sum((group - group.mean()) ** 2)) for group in groups)
    return math.sqrt(squares / freedom), freedom


def grouped(values: Array, labels: Sequence[Any]) -> list[Array]:
    """Return the values of each subgroup, in the order in which the subgroups appear."""
    marks = np.array([str(label) for label in labels])
    return [values[marks == label] for label in dict.fromkeys(marks.tolist())]


def between(values: Array, labels: Sequence[Any]) -> float | None:
    """Return the probability of means as far apart as these if the subgroups were alike (F test of a one-way layout).

    None with fewer than two subgroups, or where nothing scatters within them.
    """
    from scipy.special import fdtrc

    groups = grouped(values, labels)
    within, freedom = pooled(values, labels)
    if len(groups) < 2 or freedom == 0 or within == 0:
        return None
    mean = float(np.mean(values))
    squares = math.fsum(len(group) * (float(group.mean()) - mean) ** 2 for group in groups)
    return float(fdtrc(len(groups) - 1, freedom, squares / (len(groups) - 1) / within**2))


def normality(values: Array) -> tuple[str, float] | None:
    """Return a test of normality and its p value; None for fewer than three values, or where all are the same.

    S. S. Shapiro, M. B. Wilk, Biometrika 52 (1965) 591; above 5000 parts, where its p values end, R. D'Agostino and
    E. S. Pearson, Biometrika 60 (1973) 613.
    """
    if len(values) < FEWEST or np.ptp(values) == 0:
        return None
    from scipy import stats

    if len(values) > MOST_SHAPIRO:
        return "D'Agostino-Pearson", float(stats.normaltest(values).pvalue)
    scaled = (values - np.mean(values)) / np.std(values)  # far from 0 the test would lose digits
    return "Shapiro-Wilk", float(stats.shapiro(scaled).pvalue)


def is_coarse(values: Array) -> bool:
    """Tell whether the values are rounded so coarsely that a test of normality misleads: steps above σ/4."""
    known = np.unique(values)
    if len(known) in (1, len(values)):
        return False
    return bool(np.min(np.diff(known)) > COARSE * np.std(values, ddof=1))


def outliers(values: Array, alpha: float = ALPHA) -> list[int]:
    """Return the places (from 0) of the outliers, the farthest first: generalised ESD of a normal column.

    B. Rosner, Technometrics 25 (1983) 165: Rᵢ, the greatest deviation in standard deviations of what is left,
    against λᵢ = (n − i)·t/√((n − i − 1 + t²)(n − i + 1)), t the quantile of Student's law at 1 − α/2(n − i + 1).
    Up to one part in ten is sought, below 15 parts one (Grubbs' test).
    """
    left = np.asarray(values, dtype=float).copy()
    places = np.arange(len(left))
    found: list[int] = []
    count = 0
    most = 1 if len(left) < FEW else min(MOST_OUTLIERS, len(left) // 10)
    for i, (place, deviation) in enumerate(_farthest(left, places, most), start=1):
        found.append(place)
        if deviation > critical_deviation(len(values), i, alpha):
            count = i
    return found[:count]


def _farthest(left: Array, places: Array, most: int) -> list[tuple[int, float]]:
    """Return place and deviation of what lies farthest out, again and again without it."""
    found = []
    for _ in range(most):
        sd = float(np.std(left, ddof=1)) if len(left) >= FEWEST else 0.0
        if sd == 0:
            break
        distance = np.abs(left - left.mean())
        worst = int(np.argmax(distance))
        found.append((int(places[worst]), float(distance[worst]) / sd))
        left, places = np.delete(left, worst), np.delete(places, worst)
    return found


def critical_deviation(parts: int, i: int, alpha: float = ALPHA) -> float:
    """Return λᵢ of Rosner's test for the ``i``-th outlier (from 1) of ``parts``."""
    from scipy.special import stdtrit

    left = parts - i
    t = float(stdtrit(left - 1, 1 - alpha / (2 * (left + 1))))
    return left * t / math.sqrt((left - 1 + t**2) * (left + 1))


def quantiles(values: Array, is_positive: bool = False) -> tuple[float, float, float] | None:
    """Return the quantiles at 0.135 %, 50 % and 99.865 % of the law that a column comes from.

    Up to 2000 parts by the power transformation that makes the column most nearly normal, transformed back: of G. E. P.
    Box and D. R. Cox (J. Royal Statistical Society B 26 (1964) 211) for values that are positive by their nature, of
    I.-K. Yeo and R. A. Johnson (Biometrika 87 (2000) 954) for the standardised others.  Below 370 parts neither end
    stands inside what was measured.  Above 2000 the column's own, at (i − 0.5)/n.  A symmetric law keeps its
    mean ± 3σ: too wide for a bounded one, too narrow for heavy tails.  None where nothing scatters.
    """
    if len(values) < FEWEST or np.ptp(values) == 0:
        return None
    if len(values) > MANY:
        fractions = (np.arange(len(values)) + 0.5) / len(values)
        low, middle, high = (float(np.interp(u, fractions, np.sort(values))) for u in (0.00135, 0.5, 0.99865))
        return low, middle, high
    low, middle, high = _transformed_back(values, is_positive)
    if is_positive:
        low = max(low, 0.0)
    if len(values) < BEYOND:
        low, high = min(low, float(np.min(values))), max(high, float(np.max(values)))
    return (low, middle, high) if low < middle < high and math.isfinite(high) else None


def _transformed_back(values: Array, is_positive: bool) -> tuple[float, float, float]:
    from scipy import stats
    from scipy.special import inv_boxcox

    if is_positive and np.min(values) > 0:
        unit = float(np.median(values))
        made, power = stats.boxcox(values / unit)
        ends = _three_sigma(made)
        if power:  # where the transform ends, so does the law
            edge = -1 / power
            ends = np.maximum(ends, edge) if power > 0 else np.minimum(ends, edge)
        with np.errstate(all="ignore"):
            low, middle, high = (float(x) for x in unit * inv_boxcox(ends, power))
        return low, middle, high
    mean, sd = float(np.mean(values)), float(np.std(values, ddof=1))
    made, power = stats.yeojohnson((values - mean) / sd)
    low, middle, high = (mean + sd * _back(y, float(power)) for y in _three_sigma(made))
    return low, middle, high


def _three_sigma(made: Array) -> Array:
    return float(np.mean(made)) + float(np.std(made, ddof=1)) * np.array([-3.0, 0.0, 3.0])


def _back(y: float, power: float) -> float:
    """Return what Yeo and Johnson's transformation takes to ``y``; without end where nothing is taken there."""
    if y < 0:
        return -_back(-y, 2 - power)
    if power == 0:
        return math.expm1(y)
    base = 1 + power * y
    return math.inf if base <= 0 else base ** (1 / power) - 1
