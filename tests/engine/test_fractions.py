"""Intervals whose sampling unit is the cage."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from stackup.engine.fractions import LEVEL, of_cages, of_pockets
from stackup.engine.result import Fraction


@pytest.mark.parametrize(
    ("failed", "cages"), [(0, 10), (1, 10), (3, 50), (10, 10), (9, 10), (120, 100_000), (0, 1), (1, 1)]
)
def test_cages_against_scipy(failed: int, cages: int) -> None:
    """The interval of a fraction of cages is that of Clopper and Pearson."""
    found = of_cages(failed, cages)
    expected = stats.binomtest(failed, cages).proportion_ci(LEVEL, "exact")
    assert math.isclose(found.low, expected.low, rel_tol=1e-9, abs_tol=1e-15)
    assert math.isclose(found.high, expected.high, rel_tol=1e-9)
    assert found.out_of_spec == failed / cages
    assert found.method == "sampled"


def counts(values: list[int]) -> tuple[int, int, int]:
    """Total, squares and most of counts per cage."""
    return sum(values), sum(v * v for v in values), max(values)


def test_single_pockets_are_poisson() -> None:
    """Where no cage has two pockets out the interval is nearly the exact one of a Poisson count."""
    cages, pockets, failed = 10_000, 40, 12
    total, squares, most = counts([1] * failed + [0] * (cages - failed))
    found = of_pockets(total, squares, most, cages, pockets)
    low, high = stats.chi2.ppf(0.025, 2 * failed) / 2, stats.chi2.ppf(0.975, 2 * failed + 2) / 2
    assert math.isclose(found.low * cages * pockets, low, rel_tol=0.01)
    assert math.isclose(found.high * cages * pockets, high, rel_tol=0.01)


def test_whole_cages_count_as_one() -> None:
    """Where all pockets of a cage fail together the interval is that of cages, not of pockets."""
    cages, pockets, failed = 10_000, 40, 12
    total, squares, most = counts([pockets] * failed + [0] * (cages - failed))
    found, whole = of_pockets(total, squares, most, cages, pockets), of_cages(failed, cages)
    assert math.isclose(found.out_of_spec, whole.out_of_spec)
    assert math.isclose(found.low, whole.low, rel_tol=0.02)
    assert math.isclose(found.high, whole.high, rel_tol=0.02)
    naive = stats.binomtest(failed * pockets, cages * pockets).proportion_ci(LEVEL, "exact")
    assert found.high - found.low > 4 * (naive.high - naive.low)


@pytest.mark.parametrize("cages", [1, 10, 1000, 10**6])
def test_no_failure(cages: int) -> None:
    """No failure seen gives an upper end from the number of cages, as if whole cages failed, never 0."""
    pockets = 40
    found = of_pockets(0, 0, 0, cages, pockets)
    assert (found.out_of_spec, found.low) == (0.0, 0.0)
    assert math.isclose(found.high, min(1.0, -math.log(0.025) / cages), rel_tol=1e-9)
    assert found.high >= of_cages(0, cages).high * 0.99 or cages < 10
    assert of_cages(0, cages).high > 0


@pytest.mark.parametrize("cages", [1, 10, 1000])
def test_all_failing(cages: int) -> None:
    """All pockets out gives the mirror image of none."""
    pockets = 40
    found = of_pockets(cages * pockets, cages * pockets**2, pockets, cages, pockets)
    none = of_pockets(0, 0, 0, cages, pockets)
    assert (found.out_of_spec, found.high) == (1.0, 1.0)
    assert math.isclose(found.low, 1 - none.high, abs_tol=1e-12)
    assert of_cages(cages, cages).high == 1.0


@given(st.integers(1, 60), st.integers(1, 12), st.integers(0, 2**32), st.floats(0, 1))
def test_an_interval_holds_its_fraction(cages: int, pockets: int, seed: int, chance: float) -> None:
    """0 ≤ low ≤ fraction ≤ high ≤ 1, whatever was counted."""
    found = np.random.default_rng(seed).binomial(pockets, chance, cages)
    fraction = of_pockets(int(found.sum()), int((found**2).sum()), int(found.max()), cages, pockets)
    assert 0.0 <= fraction.low <= fraction.out_of_spec <= fraction.high <= 1.0
    assert math.isclose(fraction.out_of_spec, found.sum() / (cages * pockets), abs_tol=1e-12)
    failed = int(np.count_nonzero(found))
    of = of_cages(failed, cages)
    assert 0.0 <= of.low <= of.out_of_spec <= of.high <= 1.0


@given(st.integers(1, 60), st.integers(1, 12), st.integers(0, 2**32), st.floats(0, 1))
def test_mirror(cages: int, pockets: int, seed: int, chance: float) -> None:
    """What is out and what is in have intervals that mirror each other (away from the middle)."""
    out = np.random.default_rng(seed).binomial(pockets, chance, cages)
    good = pockets - out
    one = of_pockets(int(out.sum()), int((out**2).sum()), int(out.max()), cages, pockets)
    other = of_pockets(int(good.sum()), int((good**2).sum()), int(good.max()), cages, pockets)
    if 2 * out.sum() != cages * pockets and out.max() in (0, pockets) and good.max() in (0, pockets):
        assert math.isclose(one.low, 1 - other.high, abs_tol=1e-9)
        assert math.isclose(one.high, 1 - other.low, abs_tol=1e-9)


def test_exact() -> None:
    """A fraction that is known has an interval of no width."""
    known = Fraction.exact(1e-9)
    assert (known.low, known.high, known.method) == (1e-9, 1e-9, "exact")
