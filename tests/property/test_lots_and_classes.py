"""What the pockets of one cage share: a sorting class, or a lot."""

from __future__ import annotations

import math

import numpy as np
from cages import ONE_SIDED_SHAPES, SIZE_SHAPES
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats
from scipy.special import ndtri

from stackup.dimension import Dimension, OneSided, Process, Size, Zone
from stackup.engine.monte_carlo import stream

POCKETS, CAGES, SIGMAS = 6, 6000, 5.0
#: P(D > d) ≤ 2·exp(−2nd²) (Dvoretzky, Kiefer, Wolfowitz; Massart's constant) at a chance of 1e-8
FARTHEST = math.sqrt(math.log(2e8) / (2 * CAGES))


def drawn(dimension: Dimension, seed: int) -> tuple[np.ndarray, ...]:
    """Values (Z, cages) of every component."""
    shape = (POCKETS, CAGES)
    out = tuple(np.empty(shape) for _ in dimension.components)
    dimension.law.sample(stream(seed, dimension.name, 0), out, (np.empty(shape), np.empty(shape)))
    return out


@given(st.sampled_from(SIZE_SHAPES), st.sampled_from([0.003, 0.004, 0.007, 0.05]), st.integers(0, 2**32))
def test_sorted_neighbours(shape: dict, width: float, seed: int) -> None:
    """With sorted_to neighbours never differ by more than the class width."""
    size = Size("d", 50.0, -0.02, 0.0, process=Process(**shape), sorted_to=width, pockets=POCKETS)
    (values,) = drawn(size, seed)
    assert float(np.ptp(values, axis=0).max()) <= width + 1e-9
    assert values.min() >= 49.98 - 1e-9
    assert values.max() <= 50.0 + 1e-9


@given(st.sampled_from(SIZE_SHAPES), st.sampled_from([0.003, 0.004, 0.007, 0.05]), st.integers(0, 2**32))
def test_sorting_keeps_the_population(shape: dict, width: float, seed: int) -> None:
    """With sorted_to the marginal law is that of the inspected population."""
    size = Size("d", 50.0, -0.02, 0.0, process=Process(**shape), sorted_to=width, pockets=POCKETS)
    whole = Size("d", 50.0, -0.02, 0.0, process=Process(**shape, inspected=True), pockets=POCKETS)
    (values,) = drawn(size, seed)
    for row in values:  # the pockets of one cage are not independent, those of one place are
        assert stats.kstest(row, whole.law.cdf).statistic <= FARTHEST
    assert math.isclose(size.law.mean[0], whole.law.mean[0], abs_tol=1e-9)
    assert math.isclose(size.law.moments[0][0], whole.law.moments[0][0], rel_tol=1e-6)


def correlation_is(scores: np.ndarray, share: float) -> None:
    """Fail where the correlation of two rows is not the share, within its standard error."""
    found = np.corrcoef(scores[0], scores[1])[0, 1]
    error = max((1 - share**2) / math.sqrt(CAGES), 1e-6)
    assert abs(found - share) <= SIGMAS * error


SHARES = st.sampled_from([0.0, 0.2, 0.5, 0.9, 1.0])


@given(st.sampled_from(SIZE_SHAPES), SHARES, st.booleans(), st.integers(0, 2**32))
def test_lot_share_of_sizes(shape: dict, share: float, inspected: bool, seed: int) -> None:
    """With lot_share s the correlation of two pockets' normal scores is s, of values where they are normal."""
    process = Process(**shape, inspected=inspected)
    size = Size("d", 50.0, -0.02, 0.0, process=process, lot_share=share, pockets=POCKETS)
    (values,) = drawn(size, seed)
    scores = ndtri(np.clip(size.law.cdf(values), 1e-12, 1 - 1e-12))
    correlation_is(scores, share)
    if size.law.is_normal:
        correlation_is(values, share)
        assert math.isclose(size.law.shared[0, 0], share * size.law.moments[0][0], rel_tol=1e-12, abs_tol=1e-18)
    for row in values:  # the marginal keeps its shape
        assert stats.kstest(row, size.law.cdf).statistic <= FARTHEST


@given(st.sampled_from(ONE_SIDED_SHAPES), SHARES, st.booleans(), st.integers(0, 2**32))
def test_lot_share_of_one_sided(shape: dict, share: float, inspected: bool, seed: int) -> None:
    """With lot_share s the correlation of two pockets' normal scores is s, one-sided values too."""
    process = Process(**shape, inspected=inspected)
    one = OneSided("k", 0.03, process=process, lot_share=share, pockets=POCKETS)
    (values,) = drawn(one, seed)
    correlation_is(ndtri(np.clip(one.law.cdf(values), 1e-12, 1 - 1e-12)), share)


@given(SHARES, st.integers(0, 2**32))
def test_lot_share_of_zones(share: float, seed: int) -> None:
    """With lot_share s both parts of a normal zone have the correlation s from pocket to pocket."""
    zone = Zone("a", 0.1, lot_share=share, pockets=POCKETS)
    for values in drawn(zone, seed):
        correlation_is(values, share)


@given(SHARES, st.sampled_from(["normal", "uniform"]), st.integers(0, 2**32))
def test_lot_share_of_inspected_zones(share: float, shape: str, seed: int) -> None:
    """The scores behind a zone that is not normal have the correlation s: direction kept, radius by its law."""
    zone = Zone("a", 0.1, lot_share=share, pockets=POCKETS, process=Process(shape=shape, inspected=True))
    x, y = drawn(zone, seed)
    radius = np.hypot(x, y)
    rank = stats.rankdata(radius).reshape(radius.shape) / (radius.size + 1)
    score = np.sqrt(-2 * np.log1p(-rank))
    for part in (x, y):
        correlation_is(score * part / radius, share)
