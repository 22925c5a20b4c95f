"""Running sums: moments, quantiles, histogram, and what is not a number."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from stackup.engine.tally import QUANTILES, Failures, Moments, Room, Scale, may_fail, merged, within

SHAPE = (8, 500)


def tallied(blocks: list[np.ndarray], scale: Scale | None = None) -> Moments:
    """All blocks, looked at closely."""
    found = Moments(scale or Scale.of(blocks[0]))
    for block in blocks:
        found.add(block, Room.of(block.shape), True)
    return found


DRAWS = {
    "normal": lambda rng: rng.normal(17.4, 0.004, SHAPE),
    "skewed": lambda rng: rng.gamma(2.0, 0.01, SHAPE),
    "far from zero": lambda rng: 1e6 + rng.normal(0, 1e-3, SHAPE),
    "stresses": lambda rng: np.maximum(rng.normal(-20, 10, SHAPE), 0),
    "uniform": lambda rng: rng.random(SHAPE),
}


@pytest.mark.parametrize("name", DRAWS)
def test_moments_against_scipy(name: str) -> None:
    """Mean, sd, skewness and kurtosis of all blocks together are those of the whole sample."""
    rng = np.random.default_rng(5)
    blocks = [DRAWS[name](rng) for _ in range(4)]
    everything = np.concatenate(blocks, axis=None)
    found = tallied(blocks)
    mean, sd, skewness, kurtosis = found.central()
    assert math.isclose(mean, everything.mean(), rel_tol=1e-12)
    assert math.isclose(sd, everything.std(), rel_tol=1e-7)
    assert skewness is not None
    assert kurtosis is not None
    centred = everything - everything.mean()
    assert math.isclose(skewness, stats.skew(centred), rel_tol=1e-6, abs_tol=1e-9)
    assert math.isclose(kurtosis, stats.kurtosis(centred, fisher=False), rel_tol=1e-6)
    assert (found.least, found.greatest) == (everything.min(), everything.max())
    assert found.count == everything.size


@pytest.mark.parametrize("name", ["normal", "skewed", "uniform"])
def test_quantiles_against_numpy(name: str) -> None:
    """A quantile is within a bin, 1/200 of a standard deviation, of numpy's."""
    rng = np.random.default_rng(6)
    blocks = [DRAWS[name](rng) for _ in range(8)]
    everything, found = np.concatenate(blocks, axis=None), tallied(blocks)
    for p in (*QUANTILES, 0.1, 0.9):
        assert abs(found.quantile(p) - np.quantile(everything, p)) <= found.scale.unit / 100
    assert found.quantile(0.0) == everything.min()
    assert found.quantile(1.0) == everything.max()


def test_histogram() -> None:
    """The histogram counts every value, in bins between the least and the greatest, as numpy does."""
    rng = np.random.default_rng(7)
    blocks = [DRAWS["normal"](rng) for _ in range(4)]
    everything, shown = np.concatenate(blocks, axis=None), tallied(blocks).histogram()
    assert sum(shown.counts) == everything.size
    assert len(shown.edges) == len(shown.counts) + 1
    assert len(shown.counts) <= 61
    assert all(a < b for a, b in zip(shown.edges, shown.edges[1:], strict=False))
    assert shown.edges[0] <= everything.min()
    assert shown.edges[-1] >= everything.max()
    expected = np.histogram(everything, shown.edges)[0]
    assert np.abs(expected - shown.counts).sum() <= 4  # a value on the edge of a bin, but for rounding


def test_outliers_stay_in_the_counts() -> None:
    """Values beyond the range of the pilot are counted in the outermost bins."""
    rng = np.random.default_rng(8)
    blocks = [rng.normal(size=SHAPE), 50 * rng.normal(size=SHAPE)]
    found = tallied(blocks)
    assert sum(found.histogram().counts) == 2 * blocks[0].size
    assert found.histogram().edges[0] == found.least
    assert found.histogram().edges[-1] == found.greatest
    assert found.quantile(1.0) == found.greatest


def test_what_is_not_finite_is_counted_out() -> None:
    """Values that are not finite enter no moment; they are reported, and out of spec."""
    rng = np.random.default_rng(9)
    values = rng.normal(size=SHAPE)
    values[0, :3] = np.nan
    values[1, 0], values[2, 0] = np.inf, -np.inf
    found = Moments(Scale.of(values))
    assert all(math.isnan(v) or math.isinf(v) for v in found.add(values, Room.of(SHAPE), True))
    assert found.not_finite == 5
    assert found.count == values.size - 5
    good = values[np.isfinite(values)]
    assert math.isclose(found.central()[0], good.mean(), rel_tol=1e-10)
    assert math.isclose(found.central()[1], good.std(), rel_tol=1e-10)
    assert not within(values, -100.0, 100.0)[0, :3].any()
    assert int((~within(values, None, None)).sum()) == 5
    assert may_fail(math.nan, math.nan, None, None)


def test_nothing_finite() -> None:
    """A gap that is never finite has no moments, and all of it is reported."""
    values = np.full(SHAPE, np.nan)
    found = Moments(Scale.of(values))
    found.add(values, Room.of(SHAPE), True)
    assert found.not_finite == values.size
    mean, sd, skewness, kurtosis = found.central()
    assert math.isnan(mean)
    assert math.isnan(sd)
    assert (skewness, kurtosis) == (None, None)
    assert math.isnan(found.quantile(0.5))
    assert found.histogram().counts == (0,)


def test_no_scatter() -> None:
    """A number that is always the same has sd 0 and no skewness."""
    values = np.full(SHAPE, 0.3)
    found = tallied([values])
    mean, sd, skewness, kurtosis = found.central()
    assert math.isclose(mean, 0.3)
    assert (sd, skewness, kurtosis) == (0.0, None, None)
    assert all(math.isclose(found.quantile(q), 0.3) for q in QUANTILES)


@given(st.integers(0, 2**32), st.integers(2, 5))
def test_merging_is_adding(seed: int, count: int) -> None:
    """Tallies merged in order are the tally of all blocks in that order."""
    rng = np.random.default_rng(seed)
    blocks = [rng.normal(size=(3, 50)) for _ in range(count)]
    scale = Scale.of(blocks[0])
    whole, parts = tallied(blocks, scale), merged([tallied([block], scale) for block in blocks])
    assert np.allclose(whole.sums, parts.sums, rtol=1e-12, atol=1e-12)
    assert np.array_equal(whole.bins, parts.bins)
    assert (whole.count, whole.least, whole.greatest) == (parts.count, parts.least, parts.greatest)


@given(st.lists(st.integers(0, 6), min_size=1, max_size=40))
def test_failures(found: list[int]) -> None:
    """Counts per cage: total, squares, the most in one cage, cages with any; blocks merge."""
    one, other = Failures(), Failures()
    one.add(np.array(found))
    other.add(np.array(found[::-1]))
    one.merge(other)
    assert (one.cages, one.total, one.failed) == (
        2 * len(found),
        2 * sum(found),
        2 * sum(f > 0 for f in found),
    )
    assert (one.squares, one.most) == (2 * sum(f * f for f in found), max(found))
    each = sum(found) / (6 * len(found))
    said = one.of_cages(6).if_independent
    assert said is not None
    assert math.isclose(said, 1 - (1 - each) ** 6, abs_tol=1e-12)
    assert one.of_cages().if_independent is None


@pytest.mark.parametrize(
    ("low", "high", "fails"),
    [(None, None, False), (1.0, None, True), (0.0, 2.0, False), (None, 1.5, True), (0.5, 2.0, False)],
)
def test_may_fail(low: float | None, high: float | None, fails: bool) -> None:
    """A block whose least and greatest value are within limits holds no failure; limits themselves are within."""
    assert may_fail(0.5, 2.0, low, high) is fails


def test_limits_are_within() -> None:
    """A value on its limit is within; limits left out do not bind."""
    values = np.array([[0.0, 1.0, 2.0]])
    assert within(values, 0.0, 2.0).all()
    assert within(values, 0.5, None).tolist() == [[False, True, True]]
    assert within(values, None, 1.0).tolist() == [[True, True, False]]
