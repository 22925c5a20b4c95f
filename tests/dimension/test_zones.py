"""Position zones: normal, uniform, offset, inspected, with a bonus, measured."""

from __future__ import annotations

import math

import numpy as np
import pytest
from dimension_draws import SIGMAS, distance, draw, excess, generator, ks_limit
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, stats

from stackup.dimension import Bonus, Disc, Growth, Harmonic, Measured, Process, Size, Zone
from stackup.dimension.radial import NormalRadius, Polar, UniformRadius
from stackup.dimension.unbounded import RADIUS_INSIDE


def zone(diameter: float = 0.1, pockets: int = 5, **keys: object) -> Zone:
    own = {key: keys.pop(key) for key in ("bonus", "lot_share", "scope") if key in keys}
    return Zone("z", diameter, process=Process(**keys), pockets=pockets, **own)


@pytest.mark.parametrize("cp", [0.5, 1.0, 1.67])
def test_normal_zone_holds_0_9973_at_cp(cp: float) -> None:
    """P(|v| ≤ t/2cp) = 0.9973 (model.md, section 2)."""
    law = zone(cp=cp).law
    sigma = math.sqrt(law.own[0, 0])
    assert stats.rayleigh.cdf(0.05 / cp / sigma) == pytest.approx(0.9973, abs=1e-12)
    assert law.is_normal
    assert law.own == pytest.approx(sigma**2 * np.eye(2))


def test_parts_are_named_by_scope() -> None:
    assert zone().components == ("z.r", "z.t")
    assert zone(scope="cage").components == ("z.x", "z.y")
    assert zone().nominal == (0.0, 0.0)
    assert zone().half_width == zone().tolerance == 0.05


def test_cage_zone_is_one_draw() -> None:
    dimension = zone(scope="cage", offset=(0.01, -0.02))
    x, y = draw(dimension, 20_000)
    assert x.shape == y.shape == (1, 20_000)
    assert dimension.law.own == pytest.approx(np.zeros((2, 2)))
    assert excess(x[0], 0.01) <= SIGMAS
    assert excess((y[0] + 0.02) ** 2, dimension.law.shared[1, 1]) <= SIGMAS


def test_uniform_zone() -> None:
    """Closed form: E[x²] = R²/4, E[x⁴] = R⁴/8, E[x⁶] = 5R⁶/64, E[x⁸] = 7R⁸/128; F(r) = (r/R)²."""
    dimension = zone(shape="uniform", cp=1.25)
    radius = 0.04
    expected = (radius**2 / 4, 0, radius**4 / 8, 0, 5 * radius**6 / 64, 0, 7 * radius**8 / 128)
    assert dimension.law.moments[0] == pytest.approx(expected, rel=1e-10)
    r, t = draw(dimension, 5000)
    assert distance(np.hypot(r, t), lambda x: np.clip(x / radius, 0, 1) ** 2) <= ks_limit(r.size)
    assert distance(np.arctan2(t, r), stats.uniform(-math.pi, 2 * math.pi).cdf) <= ks_limit(r.size)


@pytest.mark.parametrize("cp", [0.3, 0.7, 1.0, 1.5])
def test_inspected_zone_without_offset(cp: float) -> None:
    """Closed form: the radius is a Rayleigh law cut at t/2."""
    dimension = zone(cp=cp, inspected=True)
    sigma = 0.05 / RADIUS_INSIDE / cp
    cut = 0.05 / sigma
    r, t = draw(dimension, 5000)
    length = np.hypot(r, t)
    assert length.max() <= 0.05 * (1 + 1e-12)
    inside = stats.rayleigh.cdf(cut)
    assert distance(length, lambda x: stats.rayleigh.cdf(np.minimum(x / sigma, cut)) / inside) <= ks_limit(
        r.size
    )
    # E[x²] = σ²(1 − (k²/2)·e^(−k²/2)/(1 − e^(−k²/2))), by parts
    variance = sigma**2 * (1 - cut**2 / 2 * math.exp(-(cut**2) / 2) / inside)
    assert dimension.law.moments[0][0] == pytest.approx(variance, rel=1e-9)
    assert dimension.law.mean == (0.0, 0.0)


OFFSETS = [(0.02, -0.03), (0.0, 0.05), (0.06, 0.03), (-0.001, 0.0)]


def truth(offset: tuple[float, float], sigma: float, limit: float, power: tuple[int, int]) -> float:
    """∫∫ x^i y^j of the cut normal law over the disc, by scipy (independent)."""

    def f(y: float, x: float) -> float:
        return (
            x ** power[0]
            * y ** power[1]
            * math.exp(-((x - offset[0]) ** 2 + (y - offset[1]) ** 2) / 2 / sigma**2)
        )

    value, _ = integrate.dblquad(
        f,
        -limit,
        limit,
        lambda x: -math.sqrt(limit**2 - x * x),
        lambda x: math.sqrt(limit**2 - x * x),
        epsabs=1e-13,
    )
    return value


@pytest.mark.parametrize("offset", OFFSETS)
def test_inspected_zone_with_offset(offset: tuple[float, float]) -> None:
    """Mean and covariance against cubature over the disc; draws inside it."""
    dimension = zone(offset=offset, cp=0.7, inspected=True)
    sigma = 0.05 / RADIUS_INSIDE / 0.7
    total = truth(offset, sigma, 0.05, (0, 0))
    mean = [truth(offset, sigma, 0.05, p) / total for p in ((1, 0), (0, 1))]
    assert dimension.law.mean == pytest.approx(mean, abs=1e-9)
    xx, xy = (truth(offset, sigma, 0.05, p) / total for p in ((2, 0), (1, 1)))
    assert dimension.law.own[0] == pytest.approx(
        [xx - mean[0] ** 2, xy - mean[0] * mean[1]], rel=1e-6, abs=1e-11
    )
    r, t = draw(dimension, 10_000)
    assert np.hypot(r, t).max() <= 0.05 * (1 + 1e-12)
    assert excess(r.mean(axis=0), mean[0]) <= SIGMAS
    assert excess((r * t).mean(axis=0), xy) <= SIGMAS


@pytest.mark.parametrize("offset", OFFSETS)
def test_redrawing_and_scores_give_the_same_law(offset: tuple[float, float]) -> None:
    """Two ways to an inspected zone with an offset; compared by both parts and the radius (two-sample)."""
    dimension = zone(offset=offset, cp=0.7, inspected=True, pockets=1)
    r, t = (values[0] for values in draw(dimension, 20_000))
    x, y = dimension.law.from_scores(*generator(9).standard_normal((2, 20_000)))
    for one, other in ((r, x), (t, y), (np.hypot(r, t), np.hypot(x, y))):
        assert stats.ks_2samp(one, other).statistic <= 2 * ks_limit(20_000)


@given(
    away=st.floats(0, 3),
    angle=st.floats(0, 6.28),
    limit=st.floats(0.2, 4),
    uniform=st.booleans(),
    seed=st.integers(0, 99),
)
@settings(max_examples=60, deadline=None)
def test_polar_law_stays_in_the_disc(
    away: float, angle: float, limit: float, uniform: bool, seed: int
) -> None:
    """Whatever the offset, every vector lies in the disc, and the rule agrees with the draws."""
    radius = UniformRadius(1.5) if uniform else NormalRadius(1.0)
    centre = (away * math.cos(angle), away * math.sin(angle))
    polar = Polar(radius, centre, limit)
    if polar.kept < 1e-4:
        return
    x, y = polar.vectors(*generator(seed).standard_normal((2, 500)))
    assert np.hypot(x + centre[0], y + centre[1]).max() <= limit * (1 + 1e-7)
    xs, ys, weights = polar.rule()
    assert np.hypot(xs + centre[0], ys + centre[1]).max() <= limit * (1 + 1e-7)
    assert excess(x, float(weights @ xs)) <= 8  # 500 values are few for a skew law
    assert excess(y, float(weights @ ys)) <= 8


# Bonus -----------------------------------------------------------------------------------------------------

HOLE = Size("hole", 17.5, 0.0, 0.04, feature="hole", pockets=5)


def test_bonus_grows_the_disc_by_half_the_departure() -> None:
    """ISO 2692: the zone's diameter grows by the departure from the maximum material size, never shrinks."""
    grown = zone(bonus=Bonus("hole", "hole", 17.5)).region
    assert grown == Disc((0.0, 0.0), 0.05, Growth("hole", 0.5, 17.5))
    assert grown.growth is not None
    assert grown.growth.of(np.array([17.49, 17.5, 17.52])) == pytest.approx([0.0, 0.0, 0.01])
    shaft = Bonus("pin", "shaft", 17.4).growth
    assert shaft.of(np.array([17.41, 17.38])) == pytest.approx([0.0, 0.01])


@pytest.mark.parametrize(
    "keys", [{}, {"offset": (0.03, 0.0)}, {"offset": (0.07, 0.02)}, {"lot_share": 0.5, "offset": (0.03, 0.0)}]
)
def test_inspection_follows_the_feature(keys: dict) -> None:
    """Each vector lies inside the disc of its own hole, and some outside the disc without bonus."""
    dimension = zone(bonus=Bonus("hole", "hole", 17.5), inspected=True, cp=0.6, **keys)
    assert dimension.law.needs == "hole"
    r, t, size = draw(dimension, 4000, feature=HOLE)
    length = np.hypot(r, t)
    assert (length <= (0.05 + 0.5 * np.maximum(size - 17.5, 0)) * (1 + 1e-9)).all()
    assert (length > 0.05).any()


def test_process_does_not_grow_with_the_bonus() -> None:
    """σ stays that of t, and what is not inspected needs no feature."""
    with_bonus, without = zone(bonus=Bonus("hole", "hole", 17.5)).law, zone().law
    assert with_bonus.needs is None
    assert with_bonus.own == pytest.approx(without.own)


@pytest.mark.parametrize("offset", [(0.0, 0.0), (0.03, -0.01)])
def test_moments_over_the_feature(offset: tuple[float, float]) -> None:
    """Where the bonus names the feature's size, mean and variance are averages over it."""
    dimension = zone(bonus=Bonus("hole", "hole", 17.5, HOLE), inspected=True, cp=0.6, offset=offset)
    r, t, _ = draw(dimension, 20_000, feature=HOLE)
    for values, mean, moments in zip((r, t), dimension.law.mean, dimension.law.moments, strict=True):
        assert excess(values.mean(axis=0), mean) <= SIGMAS
        assert excess(((values - mean) ** 2).mean(axis=0), moments[0]) <= SIGMAS


# Measured --------------------------------------------------------------------------------------------------

PAIRS = generator(4).multivariate_normal([0.01, -0.004], [[4e-4, 2e-4], [2e-4, 3e-4]], 80)


def test_resampled_pairs_are_rows_of_the_file() -> None:
    dimension = zone(measured=Measured(PAIRS, "resampled"))
    r, t = draw(dimension, 2000)
    rows = {tuple(row) for row in PAIRS.tolist()}
    assert set(zip(r.ravel().tolist(), t.ravel().tolist(), strict=True)) == rows
    assert dimension.law.mean == pytest.approx(PAIRS.mean(axis=0), abs=1e-15)
    assert dimension.law.own == pytest.approx(np.cov(PAIRS.T, bias=True), rel=1e-12)
    assert not dimension.law.moves


def test_resampled_pairs_by_their_score() -> None:
    """A row has one score, the first: the n rows stand at the scores of (i + ½)/n, in the order of the file."""
    rows = generator(4).normal(0, 0.01, (7, 2))
    law = zone(measured=Measured(rows, "resampled"), pockets=3).law
    scores = stats.norm.ppf((np.arange(7) + 0.5) / 7)
    x, y = law.from_scores(np.array([-9.0, *scores, 9.0]), np.zeros(9))
    assert np.array_equal(np.stack([x, y], axis=1), rows[[0, *range(7), 6]])


def test_normal_zone_by_its_scores() -> None:
    """Closed form: both parts are sigma times their score about the offset; sigma is t/2cp over Rayleigh's 0.9973."""
    sigma = 0.05 / 1.25 / stats.rayleigh.ppf(0.9973)
    law = zone(cp=1.25, offset=(0.01, -0.02)).law
    x, y = law.from_scores(np.array([0.0, 1.0, -2.0]), np.array([0.0, 3.0, 0.5]))
    assert x == pytest.approx(0.01 + sigma * np.array([0.0, 1.0, -2.0]))
    assert y == pytest.approx(-0.02 + sigma * np.array([0.0, 3.0, 0.5]))


def test_smoothed_pairs_of_which_one_never_varies() -> None:
    """Closed form: what never varies is correlated with nothing, and stays what it is."""
    rows = np.stack([generator(4).normal(0, 0.01, 12), np.full(12, 0.5)], axis=1)
    law = zone(diameter=2.0, measured=Measured(rows)).law
    assert law.correlation == 0.0
    assert law.mean[1] == pytest.approx(0.5)
    assert law.own[1] == pytest.approx([0.0, 0.0], abs=1e-18)
    assert law.own[0, 0] == pytest.approx(law.moments[0][0])
    assert np.array_equal(draw(zone(diameter=2.0, measured=Measured(rows)), 9)[1], np.full((5, 9), 0.5))


def test_smoothed_pairs_keep_their_correlation() -> None:
    dimension = zone(measured=Measured(PAIRS))
    r, t = draw(dimension, 10_000)
    assert np.corrcoef(PAIRS.T)[0, 1] == pytest.approx(
        dimension.law.own[0, 1] / np.sqrt(np.prod(np.diag(dimension.law.own))), abs=0.05
    )
    assert (
        excess(
            ((r - dimension.law.mean[0]) * (t - dimension.law.mean[1])).mean(axis=0), dimension.law.own[0, 1]
        )
        <= SIGMAS
    )


def test_diameters_have_a_uniform_direction() -> None:
    diameters = 2 * np.hypot(*PAIRS.T)
    dimension = zone(measured=Measured(diameters, "resampled", diameter=True))
    r, t = draw(dimension, 4000)
    assert np.unique(np.round(2 * np.hypot(r, t), 10)) == pytest.approx(np.sort(diameters), abs=1e-9)
    assert distance(np.arctan2(t, r), stats.uniform(-math.pi, 2 * math.pi).cdf) <= ks_limit(r.size)
    assert dimension.law.moments[0][0] == pytest.approx(np.mean(diameters**2) / 8, rel=1e-12)


@pytest.mark.parametrize("how", ["smoothed", "resampled"])
@pytest.mark.parametrize("columns", ["pairs", "diameters"])
def test_inspected_measured_zones_stay_inside(how: str, columns: str) -> None:
    values = PAIRS if columns == "pairs" else 2 * np.hypot(*PAIRS.T)
    dimension = zone(0.06, measured=Measured(values, how, diameter=columns == "diameters"), inspected=True)
    r, t = draw(dimension, 10_000)
    assert np.hypot(r, t).max() <= 0.03 * (1 + 1e-12)
    bias = 2e-3 * math.sqrt(dimension.law.moments[0][0])  # quadrature of smoothed pairs
    assert abs(r.mean() - dimension.law.mean[0]) <= bias + SIGMAS * r.std() / math.sqrt(r.size)


# Round the ring --------------------------------------------------------------------------------------------


def test_pattern_of_a_zone() -> None:
    """r·cos(order·θ − phase), t·sin(order·θ − phase), drift·i/Z (interface.md)."""
    pattern = (Harmonic(2, r=0.01, t=0.02, phase_deg=30), Harmonic(0, r=0.003))
    dimension = zone(pockets=8, pattern=pattern, drift=(0.004, -0.008), offset=(0.001, 0.002))
    theta = 2 * np.pi * np.arange(8) / 8
    r = 0.01 * np.cos(2 * theta - math.radians(30)) + 0.003 + 0.004 * np.arange(8) / 8 + 0.001
    t = 0.02 * np.sin(2 * theta - math.radians(30)) - 0.008 * np.arange(8) / 8 + 0.002
    assert dimension.law.mean[0] == pytest.approx(r)
    assert dimension.law.mean[1] == pytest.approx(t)
    assert dimension.law.anchor[0] == pytest.approx(r)
    assert dimension.law.own == pytest.approx(zone().law.own)
    drawn, _ = draw(dimension, 20_000)
    assert max(excess(drawn[i], r[i]) for i in range(8)) <= SIGMAS


def test_drift_as_an_array() -> None:
    """Numbers may come as an array as well as in a tuple."""
    one, other = (zone(pockets=4, drift=drift).law for drift in ((0.004, -0.008), np.array([0.004, -0.008])))
    assert np.array_equal(one.mean, other.mean)
    assert one.mean[0][3] == pytest.approx(0.003)


@pytest.mark.parametrize("keys", [{}, {"shape": "uniform"}, {"lot_share": 0.5}])
def test_inspected_pattern_is_cut_in_every_pocket(keys: dict) -> None:
    dimension = zone(pockets=6, pattern=(Harmonic(1, r=0.03, t=0.03),), inspected=True, cp=0.8, **keys)
    r, t = draw(dimension, 10_000)
    assert np.hypot(r, t).max() <= 0.05 * (1 + 1e-12)
    assert np.shape(dimension.law.mean[0]) == (6,)
    for i in range(6):
        assert excess(r[i], dimension.law.mean[0][i]) <= SIGMAS
        assert excess(t[i], dimension.law.mean[1][i]) <= SIGMAS


def test_a_vector_has_no_quantile() -> None:
    with pytest.raises(TypeError):
        zone().law.quantile(np.array([0.5]))
    with pytest.raises(TypeError):
        zone().law.cdf(np.array([0.5]))
