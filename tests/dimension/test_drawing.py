"""What a drawing says: nominal, region, labels; centre and capability of a process; patterns; zero."""

from __future__ import annotations

import math
import pickle
from dataclasses import replace

import numpy as np
import pytest
from dimension_draws import SIGMAS, distance, draw, excess, ks_limit
from hypothesis import given, settings
from hypothesis import strategies as st

from stackup.dimension import Harmonic, Interval, OneSided, Process, Size, Zone


def test_a_size() -> None:
    size = Size("pin_diameter", 17.4, -0.018, 0.0, part="pin", feature="shaft", pockets=40)
    assert size.components == ("pin_diameter",)
    assert size.nominal == (17.4,)
    assert size.nominal_size == 17.4
    assert size.region == Interval(pytest.approx(17.382), 17.4)
    assert size.half_width == size.tolerance == pytest.approx(0.009)
    assert size.law.mean[0] == pytest.approx(17.391)
    assert (size.kind, size.scope, size.part, size.unit, size.feature) == (
        "size",
        "pocket",
        "pin",
        "mm",
        "shaft",
    )


def test_a_one_sided_value() -> None:
    value = OneSided("k", 0.03, scope="cage")
    assert value.components == ("k",)
    assert value.nominal == (0.0,)
    assert value.region == Interval(0.0, 0.03)
    assert (value.half_width, value.tolerance) == (0.015, 0.03)  # about limit/2; what money buys is the limit
    assert value.law.anchor == (0.0,)
    assert value.law.own[0, 0] == 0.0
    assert value.law.shared[0, 0] == pytest.approx(value.law.moments[0][0])


def test_replacing_keeps_the_rest() -> None:
    """Engines and decisions change one thing of a dimension, also of one entered in degrees."""
    size = Size("a", 2.5, -0.1, 0.1, unit="deg", factor=math.pi / 180, process=Process(cp=1.33))
    other = replace(size, lower=-0.05, upper=0.05)
    assert other.nominal[0] == pytest.approx(math.radians(2.5))
    assert other.nominal_size == 2.5
    assert other.half_width == pytest.approx(math.radians(0.05))
    assert math.sqrt(other.law.own[0, 0]) == pytest.approx(math.radians(0.05) / 1.33 / 3)
    assert replace(size, nominal=3.0).nominal[0] == pytest.approx(math.radians(3))


def test_dimensions_travel_between_processes() -> None:
    """Workers get dimensions by pickle; laws are built where they are used."""
    size = Size("a", 17.4, -0.02, 0.0, sorted_to=0.004, process=Process(cp=1.33))
    _ = draw(size, 20)
    again = pickle.loads(pickle.dumps(size))  # noqa: S301 - our own bytes
    assert again == size
    assert np.array_equal(*(draw(s, 20)[0] for s in (size, again)))


# Centre and capability -------------------------------------------------------------------------------------


def test_shift_moves_the_mean() -> None:
    law = Size("a", 10.0, -0.1, 0.3, process=Process(shift=0.02)).law
    assert law.mean[0] == pytest.approx(10.12)
    assert law.anchor[0] == pytest.approx(10.12)


def test_cpk_alone_is_centred() -> None:
    """cp = cpk, and the true centre is unstated (said on the screen)."""
    process = Process(cpk=1.2)
    assert process.cp == 1.2
    assert process.centre_unstated
    law = Size("a", 10.0, -0.1, 0.1, process=process).law
    assert law.mean[0] == pytest.approx(10.0)
    assert math.sqrt(law.own[0, 0]) == pytest.approx(0.1 / 3.6)
    assert replace(process, cpk=None).cp == 1.0
    assert replace(Process(), cpk=0.8).cp == 0.8


@given(cp=st.floats(0.5, 3), fall=st.floats(0, 1), toward=st.sampled_from(["upper", "lower"]))
@settings(max_examples=50, deadline=None)
def test_cpk_beside_cp_is_the_distance_to_the_nearer_limit(cp: float, fall: float, toward: str) -> None:
    """cpk = (distance of the mean to the limit it stands towards)/3σ."""
    cpk = cp * (1 - fall)
    size = Size("a", 10.0, -0.1, 0.2, process=Process(cp=cp, cpk=cpk, toward=toward))
    limit = 10.2 if toward == "upper" else 9.9
    sigma = math.sqrt(size.law.own[0, 0])
    assert abs(limit - size.law.mean[0]) / (3 * sigma) == pytest.approx(cpk, abs=1e-9)
    assert not size.process.centre_unstated


@given(
    shrink=st.floats(0.2, 1),
    cp=st.floats(0.4, 2),
    keys=st.sampled_from([{}, {"shape": "beta", "a": 2.0, "b": 3.0}, {"inspected": True}, {"shift": 0.01}]),
)
@settings(max_examples=40, deadline=None)
def test_values_shrink_about_the_anchor(shrink: float, cp: float, keys: dict) -> None:
    """A tolerance times f, cp kept: every quantile goes from x to anchor + f·(x − anchor)."""
    u = np.linspace(0.01, 0.99, 9)
    for whole, small in (
        (
            Size("a", 10.0, -0.1, 0.1, process=Process(cp=cp, **keys)),
            lambda d: replace(d, lower=-0.1 * shrink, upper=0.1 * shrink),
        ),
        (OneSided("k", 0.1, process=Process(cp=cp)), lambda d: replace(d, limit=0.1 * shrink)),
    ):
        anchor = whole.law.anchor[0]
        expected = anchor + shrink * (whole.law.quantile(u) - anchor)
        assert small(whole).law.quantile(u) == pytest.approx(expected, abs=1e-12)
        assert whole.law.moves


def test_offset_of_a_shrinking_zone_stays() -> None:
    law = Zone("z", 0.1, process=Process(offset=(0.01, 0.02))).law
    assert law.anchor == law.mean == (0.01, 0.02)


# Inspected -------------------------------------------------------------------------------------------------

INSPECTED = [
    {"cp": 0.7},
    {"cp": 0.7, "cpk": 0.2, "toward": "upper"},
    {"shift": 0.35},
    {"shape": "uniform", "shift": 0.05},
    {"shape": "triangular", "mode": 0.7, "cp": 0.8},
    {"shape": "trapezoid", "flat": 0.3, "cp": 0.8},
    {"shape": "beta", "a": 0.7, "b": 2.0, "cp": 0.8},
]


@pytest.mark.parametrize("keys", INSPECTED)
@pytest.mark.parametrize("share", [0.0, 0.6])
def test_inspected_never_leaves_the_drawing(keys: dict, share: float) -> None:
    """And it is the untruncated law given that it lies inside."""
    made = Size("a", 10.0, -0.1, 0.2, process=Process(**keys), pockets=4)
    used = Size("a", 10.0, -0.1, 0.2, process=Process(inspected=True, **keys), pockets=4, lot_share=share)
    (values,) = draw(used, 10_000)
    assert values.min() >= 9.9 - 1e-12
    assert values.max() <= 10.2 + 1e-12
    start, stop = made.law.cdf(np.array([9.9, 10.2]))
    assert distance(
        values[0], lambda x: np.clip((made.law.cdf(x) - start) / (stop - start), 0, 1)
    ) <= ks_limit(10_000)
    (whole,) = draw(made, 40_000)
    inside = whole[(whole >= 9.9) & (whole <= 10.2)]
    assert excess(inside, used.law.mean[0]) <= SIGMAS
    assert excess((inside - used.law.mean[0]) ** 2, used.law.moments[0][0]) <= SIGMAS


def test_inspected_one_sided() -> None:
    dimension = OneSided("k", 0.03, process=Process(cp=0.6, inspected=True), pockets=4)
    (values,) = draw(dimension, 10_000)
    assert values.max() <= 0.03 + 1e-15
    assert excess(values.ravel(), dimension.law.mean[0]) <= SIGMAS


# Round the ring --------------------------------------------------------------------------------------------


def test_pattern_and_drift_of_a_size() -> None:
    """amplitude·cos(order·θ − phase) and drift·i/Z (interface.md)."""
    pattern = (Harmonic(3, amplitude=0.02, phase_deg=90), Harmonic(1, amplitude=-0.01))
    size = Size("a", 10.0, -0.1, 0.1, pockets=12, process=Process(pattern=pattern, drift=0.05))
    theta = 2 * np.pi * np.arange(12) / 12
    column = 0.02 * np.cos(3 * theta - np.pi / 2) - 0.01 * np.cos(theta) + 0.05 * np.arange(12) / 12
    assert size.law.mean[0] == pytest.approx(10 + column)
    assert size.law.anchor[0] == pytest.approx(10 + column)
    (values,) = draw(size, 20_000)
    assert max(excess(values[i], 10 + column[i]) for i in range(12)) <= SIGMAS
    assert size.law.own[0, 0] == pytest.approx((0.1 / 3) ** 2)


@pytest.mark.parametrize("inspected", [False, True])
def test_quantiles_of_all_pockets_and_of_one(inspected: bool) -> None:
    """Without a pocket: of all pockets together."""
    process = Process(pattern=(Harmonic(1, amplitude=0.05),), inspected=inspected)
    size = Size("a", 10.0, -0.1, 0.1, pockets=4, process=process)
    (values,) = draw(size, 10_000)
    assert distance(values, size.law.cdf) <= ks_limit(values.size)
    assert distance(values[2], lambda x: size.law.cdf(x, pocket=2)) <= ks_limit(10_000)
    u = np.array([0.001, 0.3, 0.999])
    assert size.law.cdf(size.law.quantile(u)) == pytest.approx(u, abs=1e-12)
    assert size.law.cdf(size.law.quantile(u, pocket=1), pocket=1) == pytest.approx(u, abs=1e-12)


def test_inspected_pattern_is_cut_in_every_pocket() -> None:
    """Each pocket has a law of its own; the lot's share goes through its scores."""
    process = Process(pattern=(Harmonic(1, amplitude=0.06),), inspected=True)
    size = Size("a", 10.0, -0.1, 0.1, pockets=4, process=process, lot_share=0.5)
    assert size.law.anchor[0] == pytest.approx([10.06, 10.0, 9.94, 10.0])  # amplitude · cos θ, not inspected away
    (values,) = draw(size, 20_000)
    assert np.abs(values - 10).max() <= 0.1 + 1e-12
    assert max(excess(values[i], size.law.mean[0][i]) for i in range(4)) <= SIGMAS
    assert size.law.own[0, 0] + size.law.shared[0, 0] == pytest.approx(size.law.moments[0][0])
    alone = size.law.from_scores(np.zeros(1))[0]
    assert alone == pytest.approx(size.law.quantile(np.array([0.5]), pocket=0))


# Zero ------------------------------------------------------------------------------------------------------

ZERO = [
    Size("a", 10.0),
    Size("a", 10.0, 0.1, 0.1, process=Process(cp=1.33, inspected=True)),
    Size("a", 10.0, sorted_to=0.1),
    Size("a", 10.0, lot_share=0.5, process=Process(shape="beta", a=2.0, b=3.0)),
    Size("a", 10.0, pockets=4, process=Process(pattern=(Harmonic(1, amplitude=0.05),))),
    Zone("z", 0.0),
    Zone("z", 0.0, lot_share=0.3, process=Process(shape="uniform", offset=(0.01, 0.0))),
    Zone("z", 0.0, process=Process(inspected=True)),
    OneSided("k", 0.0),
    OneSided("k", 0.0, process=Process(shape="lognormal", sigma=0.5, inspected=True), lot_share=0.4),
]


@pytest.mark.parametrize("dimension", ZERO, ids=str)
@pytest.mark.filterwarnings("error")
def test_no_tolerance_is_an_exact_constant(dimension: Size | Zone | OneSided) -> None:
    """Variance 0, every draw the mean, no NaN anywhere."""
    law = dimension.law
    assert not law.own.any()
    assert not law.shared.any()
    assert not np.any(law.moments)
    assert law.is_normal
    for values, mean in zip(draw(dimension, 5), law.mean, strict=True):
        assert np.array_equal(values, np.broadcast_to(np.reshape(mean, (-1, 1)), values.shape))
    behind = law.from_scores(*(np.array([-3.0, 0.0, 3.0]) for _ in dimension.components))
    for values, mean in zip(behind, law.mean, strict=True):
        assert values == pytest.approx(np.full(3, np.ravel(mean)[0]))
    if dimension.kind != "zone":
        assert law.quantile(np.array([0.0, 0.5, 1.0]), pocket=0) == pytest.approx(np.ravel(law.mean[0])[0])
        assert law.cdf(np.array([9.0, 12.0]), pocket=0) == pytest.approx(
            [0.0 if dimension.kind == "size" else 1.0, 1.0]
        )
