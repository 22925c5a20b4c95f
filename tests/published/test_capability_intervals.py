"""Capability indices from samples: Montgomery, Bissell, Chou, Owen and Borrego, Kane; the quantile form of ISO 22514-2.

D. C. Montgomery, Introduction to Statistical Quality Control; A. F. Bissell, Applied Statistics 39 (1990) 331;
Y.-M. Chou, D. B. Owen, S. A. Borrego, J. Quality Technology 22 (1990) 223; V. E. Kane, J. Quality Technology 18
(1986) 41; NIST/SEMATECH e-Handbook of Statistical Methods, section 6.1.6.  Printed numbers are from memory (MEM) and
recomputed; where the printed number rounds an intermediate result, only the recomputed one is held.
"""

from __future__ import annotations

import math

import pytest
from scipy import stats

from stackup.decide.machines import scrap
from stackup.dimension import Process, Size
from stackup.standards.capability import (
    HIGH,
    LOW,
    MIDDLE,
    indices,
    interval_of_k,
    interval_of_spread,
    least_that_proves,
    parts_to_prove,
    proved,
    quantile_indices,
    range_factor,
    ratio_of_limits,
    sigma_of_ranges,
)

# 25 subgroups of five piston rings, limits 73.95 and 74.05: grand mean and mean range of Montgomery's table
# (values READ-2, only these two are used); indices and ends as an R package prints them (MEM), recomputed
GRAND_MEAN, MEAN_RANGE, PARTS = 74.001176, 0.02276, 125
RINGS = {
    "Cp": (1.703, (1.491, 1.915), 1.703229, (1.491365, 1.914768)),
    "Cpl": (1.743, (1.555, 1.932), 1.743289, (1.554717, 1.931860)),
    "Cpu": (1.663, (1.483, 1.844), 1.663169, (1.482664, 1.843673)),
    "Cpk": (1.663, (1.448, 1.878), 1.663169, (1.448084, 1.878253)),
}
# n; both factors of Cp at 95 %; that of the lower end, one-sided; of 1.33: Bissell's lower end and the exact one,
# one-sided; the index that proves 1 and 4/3 (OWN)
GRID = [
    (20, 0.68466344, 1.31494100, 0.72970842, 0.95453508, 0.94868453, 1.39893609, 1.84906767),
    (30, 0.74387317, 1.25563950, 0.78143030, 1.02580437, 1.02155725, 1.30285572, 1.72401919),
    (50, 0.80248233, 1.19712593, 0.83213894, 1.09580478, 1.09307025, 1.21954018, 1.61595911),
    (100, 0.86082577, 1.13894328, 0.88218239, 1.16514534, 1.16369205, 1.14606452, 1.52099835),
    (200, 0.90177430, 1.09810179, 0.91706599, 1.21369093, 1.21293541, 1.09923541, 1.46066108),
]
# n; Cp(high)/Cp(low) at both risks 10 % and 5 %: printed (MEM), recomputed.  The column C/Cp(low) does not reproduce
KANE = [
    (10, 1.88, 1.876917, 2.26, 2.255713),
    (20, 1.53, 1.528034, 1.73, 1.726120),
    (30, 1.41, 1.406178, 1.55, 1.550230),
    (50, 1.30, 1.298063, 1.40, 1.398265),
    (100, 1.20, 1.200614, 1.26, 1.264660),
]
# Cp; fraction outside of a centred normal process: recomputed, and rejects as NIST prints them (MEM)
REJECTS = [
    (1.0, 0.0026997961, 0.0027),
    (4 / 3, 63.342484e-6, 64e-6),
    (5 / 3, 0.573303e-6, 0.6e-6),
    (2.0, 1.973175e-9, 2e-9),
]


def test_interval_of_cp() -> None:
    """Limits 38 and 62, s = 1.75, n = 20: 1.57 … 3.01 printed (from a rounded 2.29), 1.564945 … 3.005579."""
    found = indices(38.0, 62.0, 50.0, 1.75)
    assert found.c == pytest.approx(2.285714, abs=5e-7)
    low, high = interval_of_spread(found.c, 19)
    assert (low, high) == pytest.approx((1.564945, 3.005579), abs=5e-7)
    assert round(high, 2) == 3.01
    assert round(interval_of_spread(2.29, 19)[0], 2) == 1.57


def test_interval_of_cpk() -> None:
    """1.33 from 20 parts: 0.88 … 1.78, recomputed 0.882606 … 1.777394; Bissell and NIST write the same."""
    low, high = interval_of_k(1.33, 20, 19)
    assert (low, high) == pytest.approx((0.882606, 1.777394), abs=5e-7)
    assert (round(low, 2), round(high, 2)) == (0.88, 1.78)
    z = stats.norm.ppf(0.975)
    relative = z * math.sqrt(1 / (9 * 20 * 1.33**2) + 1 / (2 * 19))
    assert (low, high) == pytest.approx((1.33 * (1 - relative), 1.33 * (1 + relative)), rel=1e-12)


def test_spread_of_mean_range() -> None:
    """d₂(5) = 2.3259289473; σ = 0.0097853376 of the piston rings."""
    assert range_factor(5) == pytest.approx(2.3259289473, abs=5.01e-11)
    assert range_factor(2) == pytest.approx(2 / math.sqrt(math.pi), rel=1e-13)  # closed form
    assert sigma_of_ranges(MEAN_RANGE, 5) == pytest.approx(0.0097853376, abs=5.01e-11)


@pytest.mark.parametrize("name", RINGS)
def test_piston_rings(name: str) -> None:
    """The one-sided indices with z at 95 %, Cpk with that at 97.5 %."""
    printed, printed_ends, index, ends = RINGS[name]
    found = indices(73.95, 74.05, GRAND_MEAN, sigma_of_ranges(MEAN_RANGE, 5))
    value = {"Cp": found.c, "Cpl": found.lower, "Cpu": found.upper, "Cpk": found.k}[name]
    assert value == pytest.approx(index, abs=5.1e-7)
    got = (
        interval_of_spread(value, PARTS - 1)
        if name == "Cp"
        else interval_of_k(value, PARTS, PARTS - 1, 0.95 if name == "Cpk" else 0.90)
    )
    assert got == pytest.approx(ends, abs=5.1e-7)
    assert (round(value, 3), tuple(round(end, 3) for end in got)) == (printed, printed_ends)


@pytest.mark.parametrize(("n", "low", "high", "one_sided", "bissell", "exact", "for_1", "for_4_3"), GRID)
def test_grid_of_sample_sizes(
    n: int, low: float, high: float, one_sided: float, bissell: float, exact: float, for_1: float, for_4_3: float
) -> None:
    assert interval_of_spread(1.0, n - 1) == pytest.approx((low, high), abs=5.01e-9)
    assert interval_of_spread(1.0, n - 1, 0.90)[0] == pytest.approx(one_sided, abs=5.01e-9)
    reach = (1.33 - bissell) * stats.norm.ppf(0.95) / 1.644854  # the grid was computed with z = 1.644854
    assert interval_of_k(1.33, n, n - 1, 0.90)[0] == pytest.approx(1.33 - reach, abs=1e-8)
    assert proved(1.33, n) == pytest.approx(exact, abs=5.01e-9)
    assert least_that_proves(1.0, n) == pytest.approx(for_1, abs=5.01e-9)
    assert least_that_proves(1.33333, n) == pytest.approx(for_4_3, abs=5e-5)  # the grid's 4/3 has five decimals
    assert least_that_proves(4 / 3, n) == pytest.approx(for_4_3, abs=1e-5)


@pytest.mark.parametrize("n", [5, 30, 200, 5000])
@pytest.mark.parametrize("index", [0.4, 1.33, 2.5])
def test_noncentral_t(n: int, index: float) -> None:
    """F(3√n·Ĉ; n − 1, 3√n·C) = 95 %, against scipy.stats (independent)."""
    root = 3 * math.sqrt(n)
    assert stats.nct.cdf(root * index, n - 1, root * proved(index, n)) == pytest.approx(0.95, abs=1e-9)
    assert stats.nct.cdf(root * least_that_proves(index, n), n - 1, root * index) == pytest.approx(0.95, abs=1e-9)


@pytest.mark.parametrize(("n", "for_1"), [(row[0], row[6]) for row in GRID])
def test_parts_that_prove(n: int, for_1: float) -> None:
    """The index that n parts must show to prove 1 is proved by n parts, not by n − 1."""
    assert parts_to_prove(for_1 + 1e-6, 1.0) == n
    assert parts_to_prove(for_1 - 1e-6, 1.0) == n + 1
    assert parts_to_prove(1.0, 1.0) is None


@pytest.mark.parametrize(("n", "printed_10", "at_10", "printed_5", "at_5"), KANE)
def test_ratio_of_a_capability_test(n: int, printed_10: float, at_10: float, printed_5: float, at_5: float) -> None:
    assert ratio_of_limits(n, 0.10) == pytest.approx(at_10, abs=5.1e-7)
    assert ratio_of_limits(n, 0.05) == pytest.approx(at_5, abs=5.1e-7)
    assert (round(at_10, 2), round(at_5, 2)) == (printed_10, printed_5)


def test_worked_example() -> None:
    """USL 20, LSL 8, mean 16, s = 2 (MEM): Cp 1, Cpk 0.6667, Cpu 0.6667, Cpl 1.3333."""
    found = indices(8.0, 20.0, 16.0, 2.0)
    assert (found.c, found.k, found.upper, found.lower) == pytest.approx((1.0, 2 / 3, 2 / 3, 4 / 3))
    assert indices(None, 20.0, 16.0, 2.0).c is None
    assert indices(None, 20.0, 16.0, 2.0).k == pytest.approx(2 / 3)


def test_quantile_form_of_a_normal_law() -> None:
    """ISO 22514-2 (MEM): the 6σ form but for 0.1349898 % rounded to 0.135 %: a span of 5.999953985σ (OWN), 8e-6."""
    low, middle, high = (float(stats.norm.ppf(u)) for u in (LOW, MIDDLE, HIGH))
    assert high - low == pytest.approx(5.999953985, abs=5.01e-10)
    by_quantiles, by_sigma = quantile_indices(-4.0, 5.0, (low, middle, high)), indices(-4.0, 5.0, 0.0, 1.0)
    for one in ("c", "lower", "upper", "k"):
        assert getattr(by_quantiles, one) / getattr(by_sigma, one) - 1 == pytest.approx(8e-6, abs=5e-7)


def test_quantile_form_of_a_skewed_law() -> None:
    """Exponential with mean 1, limit 8 (closed form): (8 − ln 2)/(ln(1/0.00135) − ln 2); only the upper index."""
    ends = tuple(-math.log1p(-u) for u in (LOW, MIDDLE, HIGH))
    found = quantile_indices(None, 8.0, (ends[0], ends[1], ends[2]))
    assert (found.c, found.lower) == (None, None)
    assert found.k == pytest.approx((8 - math.log(2)) / (math.log(1 / 0.00135) - math.log(2)), rel=1e-12)


@pytest.mark.parametrize(("cp", "outside", "printed"), REJECTS)
def test_scrap_of_single_parts(cp: float, outside: float, printed: float) -> None:
    """The fraction of single parts of one process outside its tolerance."""
    found = scrap(Size("size", 10.0, -0.1, 0.1, process=Process(cp=cp)))
    assert found == pytest.approx(outside, rel=5e-7, abs=2e-16)
    assert found == pytest.approx(printed, rel=0.05)
