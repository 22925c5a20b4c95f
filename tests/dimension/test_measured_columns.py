"""Measured columns and dimensions as built."""

from __future__ import annotations

import itertools
import math

import mpmath
import numpy as np
import pytest
from dimension_draws import SIGMAS, distance, draw, excess, generator, ks_limit
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy import stats

from stackup.dimension import Disc, Interval, Measured, MeasuredSize, MeasuredZone, OneSided, Process, Size
from stackup.dimension.measured import Resampled, Smoothed
from stackup.errors import ValueFault

COLUMN = generator(11).normal(17.39, 0.004, 60)


def smoothed_twin(values: np.ndarray, u: np.ndarray) -> np.ndarray:
    """The sentence of interface.md, value by value: the slow obvious twin."""
    x, n = sorted(values), len(values)
    mean, sd = float(np.mean(values)), float(np.std(values, ddof=1))
    out = []
    for p in u:
        place = p * n - 0.5
        if place < 0:
            out.append(min(x[0], stats.norm.ppf(p, mean, sd)))
        elif place >= n - 1:
            out.append(max(x[-1], stats.norm.ppf(p, mean, sd)))
        else:
            i = int(place)
            out.append(x[i] + (place - i) * (x[i + 1] - x[i]))
    return np.array(out)


def test_smoothed_quantiles() -> None:
    u = np.concatenate([generator().random(300), [1e-6, 0.49 / 60, 0.51 / 60, 1 - 0.49 / 60, 1 - 1e-6]])
    shape = Smoothed(COLUMN)
    assert shape.quantile(u) == pytest.approx(smoothed_twin(COLUMN, u), abs=1e-12)
    values = u.copy()
    shape.spread(values, (np.empty_like(u), np.empty_like(u)))
    assert values == pytest.approx(smoothed_twin(COLUMN, u), abs=1e-12)


def smoothed_moments_twin(values: np.ndarray) -> tuple[float, list[float]]:
    """Uniform pieces by their polynomials, normal ends by mpmath: mean and central moments of orders 2..8."""
    x, n = sorted(values.tolist()), len(values)
    m, s, half = float(np.mean(values)), float(np.std(values, ddof=1)), mpmath.mpf(1) / (2 * n)

    def end(value: float, sign: int, power: int, mean: float) -> mpmath.mpf:
        """∫ over the half cell below ``value`` (sign −1) or above it (sign 1)."""
        cell = mpmath.sqrt(2) * mpmath.erfinv(1 - 2 * half)  # score of the half cell, taken positive
        score = max(cell, sign * (mpmath.mpf(value) - m) / s)
        normal = mpmath.quad(
            lambda z: (m + sign * s * z - mean) ** power * mpmath.npdf(z), [score, score + 5, mpmath.inf]
        )
        return normal + (half - mpmath.ncdf(-score)) * (mpmath.mpf(value) - mean) ** power

    def total(power: int, mean: float) -> mpmath.mpf:
        pieces = [
            ((b - mean) ** (power + 1) - (a - mean) ** (power + 1)) / ((power + 1) * (b - a) * n)
            for a, b in pairs
        ]
        return mpmath.fsum(pieces) + end(x[0], -1, power, mean) + end(x[-1], 1, power, mean)

    with mpmath.workdps(30):
        pairs = [(mpmath.mpf(a), mpmath.mpf(b)) for a, b in itertools.pairwise(x)]
        mean = total(1, mpmath.mpf(0))
        return float(mean), [float(total(k, mean)) for k in range(2, 9)]


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_smoothed_moments(seed: int) -> None:
    values = generator(seed).gamma(
        2.0, 1.0, 12 + 20 * seed
    )  # skew: one end inside the normal law, one outside
    law = Size("a", 2.0, -5.0, 20.0, process=Process(measured=Measured(values))).law
    mean, moments = smoothed_moments_twin(values)
    assert law.mean[0] == pytest.approx(mean, rel=1e-12)
    assert law.moments[0] == pytest.approx(moments, rel=1e-10)


def test_smoothed_draws() -> None:
    dimension = Size("a", 17.4, -0.02, 0.0, process=Process(measured=Measured(COLUMN)), pockets=10)
    (values,) = draw(dimension, 5000)
    assert distance(values, dimension.law.cdf) <= ks_limit(values.size)
    assert not dimension.law.moves
    assert dimension.law.anchor == dimension.law.mean


@given(values=arrays(float, st.integers(2, 30), elements=st.floats(-5, 5)), u=st.floats(1e-6, 1 - 1e-6))
@settings(max_examples=100, deadline=None)
def test_smoothed_cdf_turns_quantiles_round(values: np.ndarray, u: float) -> None:
    """P(X ≤ q(u)) ≥ u and P(X < q(u)) ≤ u, also where values repeat; quantiles ascend."""
    shape = Smoothed(values)
    q = shape.quantile(np.array([u]))
    slack = 1e-9 + 1e-12 / max(shape.scatter, 1e-9)
    assert shape.cdf(q)[0] >= u - slack
    assert shape.below(q - 1e-9 * (1 + abs(q)))[0] <= u + slack
    assert (np.diff(shape.quantile(np.linspace(0, 1, 200))) >= 0).all()


def test_resampled() -> None:
    """Every row with probability 1/n: the moments are those of the column."""
    dimension = Size(
        "a", 17.4, -0.02, 0.0, process=Process(measured=Measured(COLUMN, "resampled")), pockets=5
    )
    law = dimension.law
    assert law.mean[0] == pytest.approx(COLUMN.mean(), abs=1e-14)
    for order, moment in enumerate(law.moments[0], start=2):
        assert moment == pytest.approx(stats.moment(COLUMN, order), rel=1e-9, abs=1e-30)
    (values,) = draw(dimension, 2000)
    assert set(values.ravel()) == set(COLUMN)
    counts = np.unique(values, return_counts=True)[1]
    assert stats.chisquare(counts).pvalue > 1e-8


def test_resampled_rows_can_be_shared_by_their_scores() -> None:
    law = Size("a", 17.4, -0.02, 0.0, process=Process(measured=Measured(COLUMN, "resampled")), lot_share=1.0)
    (values,) = draw(law, 1000)
    assert np.array_equal(values, np.broadcast_to(values[0], values.shape))
    assert Resampled(COLUMN).from_score(np.array([-9.0, 9.0])) == pytest.approx([COLUMN.min(), COLUMN.max()])


def test_a_class_that_no_row_falls_into() -> None:
    """Rows about two of four classes: half the cages have the one, half the other, none what lies between.

    Closed form: the values are 10 ± 0.008, as much the one as the other, all of it shared by the pockets of a cage.
    """
    rows = np.repeat([9.992, 10.008], 6)
    size = Size("a", 10.0, -0.01, 0.01, sorted_to=0.005, process=Process(measured=Measured(rows, "resampled")))
    assert size.law.shares == pytest.approx([0.5, 0.0, 0.0, 0.5])
    assert size.law.mean[0] == pytest.approx(10.0)
    assert size.law.shared[0, 0] == pytest.approx(0.008**2)
    assert size.law.own[0, 0] == pytest.approx(0.0, abs=1e-18)


@pytest.mark.parametrize("how", ["smoothed", "resampled"])
def test_inspected_columns_stay_inside(how: str) -> None:
    dimension = Size(
        "a", 17.39, -0.004, 0.003, process=Process(measured=Measured(COLUMN, how), inspected=True), pockets=9
    )
    (values,) = draw(dimension, 5000)
    assert values.min() >= 17.386
    assert values.max() <= 17.393
    assert excess(values.mean(axis=0), dimension.law.mean[0]) <= SIGMAS
    assert excess(((values - dimension.law.mean[0]) ** 2).mean(axis=0), dimension.law.moments[0][0]) <= SIGMAS


def test_one_sided_columns_never_fall_below_zero() -> None:
    """The normal law beyond the ends stops at 0."""
    column = np.abs(generator(2).normal(0, 0.01, 40))
    dimension = OneSided("k", 0.03, process=Process(measured=Measured(column)), pockets=40)
    (values,) = draw(dimension, 5000)
    assert values.min() == 0.0
    assert excess(values.mean(axis=0), dimension.law.mean[0]) <= SIGMAS


def test_a_column_keeps_what_capability_needs() -> None:
    """Subgroups, the uncertainty of the measurement and the source are data; they move no number here."""
    with_all = Measured(COLUMN, subgroup=["a"] * 60, uncertainty=0.001, source="pins.csv#d")
    one, other = (Size("a", 17.4, process=Process(measured=m)).law for m in (with_all, Measured(COLUMN)))
    assert one.moments == other.moments
    assert (with_all.uncertainty, with_all.source) == (0.001, "pins.csv#d")


# As built --------------------------------------------------------------------------------------------------


def test_exact_values_have_no_scatter() -> None:
    size = MeasuredSize("a", np.array([17.39, 17.40, 17.38]), part="pin", feature="shaft")
    assert size.components == ("a",)
    assert (size.kind, size.scope, size.part, size.pockets) == ("size", "pocket", "pin", 3)
    assert np.array_equal(size.nominal[0], size.values)
    assert isinstance(size.region, Interval)
    assert np.array_equal(size.region.low, size.values)
    assert np.array_equal(size.region.high, size.values)
    assert (size.half_width, size.law.own[0, 0], size.law.shared[0, 0]) == (0.0, 0.0, 0.0)
    assert not size.law.moves
    (values,) = draw(size, 10)
    assert np.array_equal(values, np.repeat(size.values[:, None], 10, axis=1))


def test_uncertain_values_are_normal() -> None:
    """Standard uncertainty u: a normal law of that sd, the worst case within ±3u (interface.md)."""
    size = MeasuredSize("a", np.array([17.39, 17.40]), uncertainty=0.001)
    assert size.region.low == pytest.approx([17.387, 17.397])
    assert size.half_width == pytest.approx(0.003)
    assert size.law.is_normal
    (values,) = draw(size, 20_000)
    assert excess(values[1], 17.40) <= SIGMAS
    assert excess((values[0] - 17.39) ** 2, 1e-6) <= SIGMAS


def test_zone_as_built() -> None:
    zone = MeasuredZone("z", np.array([[0.01, 0.02], [0.0, -0.01]]), uncertainty=0.002)
    assert zone.components == ("z.r", "z.t")
    assert isinstance(zone.region, Disc)
    assert zone.region.radius == pytest.approx(0.006)
    assert np.array_equal(zone.region.centre[1], [0.02, -0.01])
    assert np.array_equal(zone.nominal[0], [0.01, 0.0])
    r, t = draw(zone, 20_000)
    assert excess(r[0], 0.01) <= SIGMAS
    assert excess((t[1] + 0.01) ** 2, 4e-6) <= SIGMAS
    assert not zone.law.moves
    exact = MeasuredZone("z", zone.values)
    assert np.array_equal(draw(exact, 3)[1], np.repeat(zone.values[:, 1:], 3, axis=1))


def test_angles_as_built_reach_formulas_in_radians() -> None:
    size = MeasuredSize("a", np.array([1.0, 2.0]), uncertainty=0.1, unit="deg", factor=math.pi / 180)
    assert size.nominal[0] == pytest.approx(np.radians([1.0, 2.0]))
    assert size.half_width == pytest.approx(math.radians(0.3))
    assert math.sqrt(size.law.own[0, 0]) == pytest.approx(math.radians(0.1))


@pytest.mark.parametrize(
    ("keys", "name"),
    [
        ({"values": [1.0, math.nan]}, "values"),
        ({"values": [[1.0, 2.0]]}, "values"),
        ({"values": []}, "values"),
        ({"values": [1.0], "scope": "cage"}, "values"),
        ({"values": [1.0], "uncertainty": -1e-3}, "uncertainty"),
        ({"values": [1.0], "feature": "pit"}, "feature"),
    ],
)
def test_faults_of_values(keys: dict, name: str) -> None:
    with pytest.raises(ValueFault) as caught:
        MeasuredSize("a", **keys)
    assert caught.value.name == name


def test_pairs_must_be_pairs() -> None:
    with pytest.raises(ValueFault):
        MeasuredZone("z", np.array([0.1, 0.2, 0.3]))


@pytest.mark.parametrize("how", ["smoothed", "resampled"])
def test_a_column_that_never_varies(how: str) -> None:
    """No spread, not even of rounding, and draws equal to the value."""
    dimension = Size(
        "a", 0.0, -1.0, 1.0, process=Process(measured=Measured(np.full(9, 0.03), how)), pockets=3
    )
    assert dimension.law.moments[0][0] == pytest.approx(0.0, abs=1e-30)
    (values,) = draw(dimension, 50)
    assert np.array_equal(values, np.full_like(values, 0.03))
    shared = Size("a", 0.0, -1.0, 1.0, process=Process(measured=Measured(np.full(9, 0.5), how)), lot_share=0.5).law
    for nothing in (shared.own, shared.shared, shared.own_moments, shared.shared_moments):
        assert np.max(np.abs(nothing)) < 1e-30
