"""What the pockets of a cage share: lot shares through normal scores, and sorting classes."""

from __future__ import annotations

import math

import numpy as np
import pytest
from dimension_draws import SIGMAS, distance, draw, excess, generator, ks_limit
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import special, stats

from stackup.dimension import Classes, Measured, OneSided, Process, Size, Zone
from stackup.dimension.region import sorting_classes
from stackup.dimension.shared import mehler

SHAPES = [
    {},
    {"shape": "uniform"},
    {"shape": "triangular", "mode": 0.5},
    {"shape": "trapezoid", "flat": 0.5},
    {"shape": "beta", "a": 2.0, "b": 3.0},
    {"inspected": True, "cp": 0.8},
]


def size(share: float, pockets: int = 6, **keys: object) -> Size:
    return Size("a", 10.0, -0.1, 0.2, process=Process(**keys), lot_share=share, pockets=pockets)


@pytest.mark.parametrize("keys", SHAPES)
@pytest.mark.parametrize("share", [0.3, 1.0])
def test_scores_of_two_pockets_are_correlated_by_the_share(keys: dict, share: float) -> None:
    """Back through its own cdf, a value is a normal score; two pockets' scores have correlation s."""
    dimension = size(share, **keys)
    (values,) = draw(dimension, 20_000)
    scores = special.ndtri(np.clip(dimension.law.cdf(values), 1e-12, 1 - 1e-12))
    assert excess(scores[0] * scores[1], share) <= SIGMAS
    assert excess(scores[0] ** 2, 1.0) <= SIGMAS


@pytest.mark.parametrize("keys", SHAPES)
def test_the_share_leaves_the_marginal_as_it_is(keys: dict) -> None:
    dimension = size(0.6, **keys)
    (values,) = draw(dimension, 20_000)
    assert distance(values[2], size(0.0, **keys).law.cdf) <= ks_limit(20_000)


@pytest.mark.parametrize("share", [0.0, 0.25, 0.8, 1.0])
def test_covariance_of_two_uniform_pockets(share: float) -> None:
    """Closed form: uniform grades of normal scores with correlation s correlate by (6/π)·asin(s/2)."""
    law = size(share, shape="uniform").law
    variance = 0.15**2 / 3
    assert law.shared[0, 0] == pytest.approx(
        variance * 6 / math.pi * math.asin(share / 2), rel=1e-6, abs=1e-15
    )
    assert law.own[0, 0] + law.shared[0, 0] == pytest.approx(variance, rel=1e-12)


@pytest.mark.parametrize("share", [0.1, 0.5, 0.9])
def test_parts_of_a_lognormal_lot(share: float) -> None:
    """Closed form: E[x | c] = exp(σ√s·c + σ²(1 − s)/2) is lognormal; the rest has variance by difference."""
    sigma = 0.4
    dimension = OneSided("k", 1.0, process=Process(shape="lognormal", sigma=sigma), lot_share=share)
    law, scale = dimension.law, math.exp(-sigma * stats.norm.ppf(0.9973))
    covariance = scale**2 * math.exp(sigma**2) * math.expm1(share * sigma**2)
    assert law.shared[0, 0] == pytest.approx(covariance, rel=1e-9)
    common = stats.lognorm(sigma * math.sqrt(share), scale=scale * math.exp(sigma**2 * (1 - share) / 2))
    mean = common.mean()
    central = [common.expect(lambda x, k=k: (x - mean) ** k) for k in (2, 3, 4)]
    assert law.shared_moments[0][:3] == pytest.approx(central, rel=1e-6)
    # E[(x − E[x | c])³] = E[m(c)³]·(third central moment of exp(τz − τ²/2)), τ² = σ²(1 − s)
    tau = math.exp(sigma**2 * (1 - share))
    third = (tau - 1) ** 2 * (tau + 2) * common.moment(3)
    assert law.own_moments[0][1] == pytest.approx(third, rel=1e-6)


def test_normal_parts_are_normal() -> None:
    law = size(0.36).law
    assert law.is_normal
    variance = 0.05**2
    assert law.shared == pytest.approx(np.array([[0.36 * variance]]))
    assert law.own == pytest.approx(np.array([[0.64 * variance]]))
    assert law.shared_moments[0] == pytest.approx(
        [
            0.36 * variance,
            0,
            3 * (0.36 * variance) ** 2,
            0,
            15 * (0.36 * variance) ** 3,
            0,
            105 * (0.36 * variance) ** 4,
        ]
    )


@given(correlation=st.floats(0, 1), power=st.integers(0, 6))
@settings(max_examples=40, deadline=None)
def test_mehler_smoothing_of_powers(correlation: float, power: int) -> None:
    """E[(ρz + √(1 − ρ²)w)^p | z] by the binomial theorem, moments of w from the normal law."""
    z, _ = np.polynomial.hermite_e.hermegauss(64)
    middle = np.abs(z) < 5
    found = (mehler(correlation) @ z**power)[middle]
    rest = math.sqrt(1 - correlation**2)
    moments = [stats.norm.moment(k) if k else 1.0 for k in range(power + 1)]
    terms = [
        math.comb(power, k) * (correlation * z) ** (power - k) * rest**k * moments[k]
        for k in range(power + 1)
    ]
    assert found == pytest.approx(sum(terms)[middle], rel=1e-8, abs=1e-7)


def test_zone_shares_both_scores_in_the_pockets_axes() -> None:
    """A normal zone: radial parts of two pockets correlate by s, radial and tangential do not."""
    zone = Zone("z", 0.1, lot_share=0.4, pockets=4)
    r, t = draw(zone, 20_000)
    variance = zone.law.moments[0][0]
    assert excess(r[0] * r[1], 0.4 * variance) <= SIGMAS
    assert excess(t[0] * t[3], 0.4 * variance) <= SIGMAS
    assert excess(r[0] * t[1], 0.0) <= SIGMAS
    assert zone.law.shared == pytest.approx(0.4 * variance * np.eye(2))


def test_uniform_zone_from_two_scores() -> None:
    """Direction of (u, v), radius by F(|(u, v)|) = 1 − exp(−(u² + v²)/2): R√F for the uniform disc."""
    zone = Zone("z", 0.1, process=Process(shape="uniform", cp=1.25), lot_share=0.4)
    u, v = generator(3).standard_normal((2, 1000))
    x, y = zone.law.from_scores(u, v)
    radius = 0.05 / 1.25 * np.sqrt(stats.rayleigh.cdf(np.hypot(u, v)))
    assert np.hypot(x, y) == pytest.approx(radius, rel=1e-9)
    assert np.arctan2(y, x) == pytest.approx(np.arctan2(v, u), abs=1e-12)


@pytest.mark.parametrize("keys", [{"shape": "uniform"}, {"inspected": True, "cp": 0.7}])
def test_uniform_and_inspected_zones_share_scores(keys: dict) -> None:
    """Back through direction and radius, the scores of two pockets correlate by s."""
    zone = Zone("z", 0.1, process=Process(**keys), lot_share=0.5, pockets=2)
    r, t = draw(zone, 20_000)
    length = np.hypot(r, t)
    ranks = (np.argsort(np.argsort(length, axis=None)) + 0.5).reshape(length.shape) / length.size
    back = np.sqrt(-2 * np.log1p(-ranks)) * r / length
    assert excess(back[0] * back[1], 0.5) <= SIGMAS
    assert excess(r[0] * r[1], zone.law.shared[0, 0]) <= SIGMAS


# Sorting ---------------------------------------------------------------------------------------------------


def test_classes_start_at_the_lower_limit_and_the_last_is_cut_off() -> None:
    found = Size("a", 50.0, -0.02, 0.0, sorted_to=0.006).region
    assert isinstance(found, Classes)
    assert found.edges == pytest.approx((49.98, 49.986, 49.992, 49.998, 50.0))
    assert (found.low, found.high) == (found.edges[0], found.edges[-1])


def test_a_width_that_divides_the_tolerance_makes_no_sliver() -> None:
    assert len(sorting_classes(-0.02, 0.0, 0.004).edges) == 6
    assert sorting_classes(0.0, 1.0, 2.0).edges == (0.0, 1.0)


SORTED = [
    {},
    {"cp": 0.6, "shift": 0.003},
    {"shape": "uniform"},
    {"shape": "beta", "a": 2.0, "b": 3.0},
    {"shape": "triangular", "mode": -0.5},
    {"measured": Measured(50 + generator(2).normal(-0.011, 0.004, 90))},
    {"measured": Measured(50 + generator(2).normal(-0.011, 0.004, 90), "resampled")},
]


@pytest.mark.parametrize("keys", SORTED)
@pytest.mark.parametrize("width", [0.004, 0.0061, 0.5])
def test_sorted_parts(keys: dict, width: float) -> None:
    """Neighbours never differ by more than the class; all together follow what inspection leaves."""
    roller = Size("d", 50.0, -0.02, 0.0, sorted_to=width, process=Process(**keys), pockets=5)
    inspected = Size("d", 50.0, -0.02, 0.0, process=Process(**{**keys, "inspected": True}))
    (values,) = draw(roller, 20_000)
    assert np.ptp(values, axis=0).max() <= min(width, 0.02) + 1e-13
    assert values.min() >= 49.98 - 1e-13
    assert values.max() <= 50.0 + 1e-13
    assert distance(values[0], inspected.law.cdf) <= ks_limit(20_000)
    classes = np.searchsorted(roller.region.edges[1:-1], values)
    straight = (
        "resampled" in str(keys) or (np.ptp(classes, axis=0) == 0).mean() > 0.999
    )  # rows may lie on a limit
    assert straight
    assert (
        excess((values[0] - roller.law.mean[0]) * (values[3] - roller.law.mean[0]), roller.law.shared[0, 0])
        <= SIGMAS
    )
    assert roller.law.mean[0] == pytest.approx(inspected.law.mean[0], abs=1e-10)
    assert roller.law.moments[0] == pytest.approx(inspected.law.moments[0], rel=1e-9, abs=1e-14)


def test_parts_of_a_sorted_uniform_law() -> None:
    """Closed form: own w²/12, shared w²(n² − 1)/12 for n classes of width w."""
    law = Size("d", 50.0, -0.02, 0.0, sorted_to=0.004, process=Process(shape="uniform")).law
    assert law.own[0, 0] == pytest.approx(0.004**2 / 12, rel=1e-10)
    assert law.shared[0, 0] == pytest.approx(0.004**2 * 24 / 12, rel=1e-10)
    assert law.own_moments[0][2] == pytest.approx(0.004**4 / 80, rel=1e-9)


@given(width=st.floats(0.0005, 0.03), cp=st.floats(0.4, 2))
@settings(max_examples=30, deadline=None)
def test_sorting_splits_the_variance_of_what_inspection_leaves(width: float, cp: float) -> None:
    """own + shared = variance of the inspected population; finer classes leave less inside."""
    sort = Size("d", 50.0, -0.02, 0.0, sorted_to=width, process=Process(cp=cp)).law
    whole = Size("d", 50.0, -0.02, 0.0, process=Process(cp=cp, inspected=True)).law
    assert sort.own[0, 0] + sort.shared[0, 0] == pytest.approx(whole.own[0, 0], rel=1e-9)
    assert sort.own[0, 0] <= width**2 / 4
    assert sort.own_moments[0][0] == pytest.approx(sort.own[0, 0], rel=1e-6)
    assert sort.shares.sum() == pytest.approx(1)
