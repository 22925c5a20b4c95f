"""Generalised ESD test for outliers: B. Rosner, Technometrics 25 (1983) 165, its example in the NIST e-Handbook.

NIST/SEMATECH e-Handbook of Statistical Methods, section 1.3.5.17.3 (data and table from memory, MEM; every printed
number is reproduced by an independent computation in the test).
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.stats import t as student

from stackup.standards.samples import critical_deviation, outliers

# the 54 values of Rosner's example (MEM)
VALUES = np.array([
    -0.25, 0.68, 0.94, 1.15, 1.20, 1.26, 1.26, 1.34, 1.38, 1.43, 1.49, 1.49, 1.55, 1.56, 1.58, 1.65, 1.69, 1.70,
    1.76, 1.77, 1.81, 1.91, 1.94, 1.96, 1.99, 2.06, 2.09, 2.10, 2.14, 2.15, 2.23, 2.24, 2.26, 2.35, 2.37, 2.40,
    2.47, 2.54, 2.62, 2.64, 2.90, 2.92, 2.92, 2.93, 3.21, 3.26, 3.30, 3.59, 3.68, 4.30, 4.64, 5.34, 5.42, 6.01,
])  # fmt: skip
# number of outliers; test statistic and critical value at 5 % as printed (MEM): digits are cut off, not rounded
TABLE = [
    (1, 3.118, 3.158), (2, 2.942, 3.151), (3, 3.179, 3.143), (4, 2.810, 3.136), (5, 2.815, 3.128),
    (6, 2.848, 3.120), (7, 2.279, 3.111), (8, 2.310, 3.103), (9, 2.101, 3.094), (10, 2.067, 3.085),
]  # fmt: skip


def cut_off(value: float) -> float:
    return math.floor(1000 * value) / 1000


@pytest.mark.parametrize(("i", "statistic", "critical"), TABLE)
def test_table_of_the_example(i: int, statistic: float, critical: float) -> None:
    assert cut_off(critical_deviation(54, i)) == critical
    left = VALUES.copy()
    for _ in range(i - 1):
        left = np.delete(left, np.argmax(np.abs(left - left.mean())))
    assert cut_off(float(np.max(np.abs(left - left.mean())) / left.std(ddof=1))) == statistic


def test_three_outliers() -> None:
    """The third exceeds its critical value, the first two do not: all three count (no masking)."""
    assert outliers(VALUES) == [53, 52, 51]


def test_grubbs() -> None:
    """The first critical value is that of Grubbs' two-sided test (closed form)."""
    n = 12
    q = student.ppf(1 - 0.05 / (2 * n), n - 2)
    assert critical_deviation(n, 1) == pytest.approx((n - 1) / np.sqrt(n) * np.sqrt(q**2 / (n - 2 + q**2)), rel=1e-12)
