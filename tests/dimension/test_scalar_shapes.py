"""Scalar shapes: moments against high precision, quantiles against scipy.stats, draws against their law."""

from __future__ import annotations

import math

import mpmath
import numpy as np
import pytest
from dimension_draws import SIGMAS, distance, draw, excess, generator, ks_limit
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import special, stats

from stackup.dimension import OneSided, Process, Size
from stackup.dimension.bounded import Beta, Trapezoid, Triangular, Uniform, UniformFromZero
from stackup.dimension.measured import Given
from stackup.dimension.numeric import ORDERS
from stackup.dimension.shape import Shape
from stackup.dimension.shapes import SHAPES
from stackup.dimension.unbounded import RADIUS_INSIDE, HalfNormal, LogNormal, Normal, Rayleigh
from stackup.errors import ValueFault

# shape → the same law by scipy.stats (independent)
TWINS: dict[str, tuple[Shape, object]] = {
    "normal": (Normal(), stats.norm()),
    "uniform": (Uniform(), stats.uniform(-1, 2)),
    "uniform from 0": (UniformFromZero(), stats.uniform()),
    "triangular": (Triangular(), stats.triang(0.5, -1, 2)),
    "triangular 0.4": (Triangular(0.4), stats.triang(0.7, -1, 2)),
    "triangular 1": (Triangular(1.0), stats.triang(1.0, -1, 2)),
    "triangular -1": (Triangular(-1.0), stats.triang(0.0, -1, 2)),
    "trapezoid 0": (Trapezoid(0.0), stats.triang(0.5, -1, 2)),
    "trapezoid 0.3": (Trapezoid(0.3), stats.trapezoid(0.35, 0.65, -1, 2)),
    "trapezoid 1": (Trapezoid(1.0), stats.uniform(-1, 2)),
    "beta 2 3.5": (Beta(2.0, 3.5), stats.beta(2, 3.5, -1, 2)),
    "beta 0.6": (Beta(0.6, 0.6), stats.beta(0.6, 0.6, -1, 2)),
    "beta 40 60": (Beta(40.0, 60.0), stats.beta(40, 60, -1, 2)),
    "half-normal": (HalfNormal(), stats.halfnorm()),
    "rayleigh": (Rayleigh(), stats.rayleigh()),
    "lognormal 0.05": (LogNormal(0.05), stats.lognorm(0.05)),
    "lognormal 0.4": (LogNormal(0.4), stats.lognorm(0.4)),
    "lognormal 1": (LogNormal(1.0), stats.lognorm(1)),
    "normal cut": (Normal().cut(-2, 1), stats.truncnorm(-2, 1)),
    "normal cut in the tail": (Normal().cut(3, 5), stats.truncnorm(3, 5)),
    "uniform cut": (Uniform().cut(-0.5, 7), stats.uniform(-0.5, 1.5)),
}
NAMES = sorted(TWINS)
#: What is cut is compared with scipy.stats and with its own quadrature.
EXACT = [name for name in NAMES if "cut" not in name]


def _beta(a: str, b: str):
    a, b = mpmath.mpf(a), mpmath.mpf(b)
    return lambda x: (
        (1 + x) ** (a - 1) * (1 - x) ** (b - 1) / mpmath.mpf(2) ** (a + b - 1) / mpmath.beta(a, b)
    )


def _triangle(mode: str):
    m = mpmath.mpf(mode)
    return lambda x: (1 + x) / (1 + m) if x < m else (1 - x) / (1 - m)


def _trapezoid(flat: str):
    k = mpmath.mpf(flat)
    return lambda x: 1 / (1 + k) if abs(x) <= k else (1 - abs(x)) / (1 - k) / (1 + k)


def _gauss(x):
    return mpmath.exp(-x * x / 2) / mpmath.sqrt(2 * mpmath.pi)


#: Densities written down once more, and the points between which they are smooth.
DENSITIES = {
    "beta 0.6": (_beta("0.6", "0.6"), [-1, 0, 1]),
    "beta 2 3.5": (_beta("2", "3.5"), [-1, 0, 1]),
    "beta 40 60": (_beta("40", "60"), [-1, -0.2, 1]),
    "triangular": (_triangle("0"), [-1, 0, 1]),
    "triangular 0.4": (_triangle("0.4"), [-1, mpmath.mpf("0.4"), 1]),
    "triangular 1": (_triangle("1"), [-1, 1]),
    "triangular -1": (_triangle("-1"), [-1, 1]),
    "trapezoid 0": (_trapezoid("0"), [-1, 0, 1]),
    "trapezoid 0.3": (_trapezoid("0.3"), [-1, mpmath.mpf("-0.3"), mpmath.mpf("0.3"), 1]),
    "trapezoid 1": (lambda _: 0.5, [-1, 1]),
    "uniform": (lambda _: 0.5, [-1, 1]),
    "uniform from 0": (lambda _: 1.0, [0, 1]),
    "normal": (_gauss, [-mpmath.inf, 0, mpmath.inf]),
    "half-normal": (lambda x: 2 * _gauss(x), [0, 2, mpmath.inf]),
    "rayleigh": (lambda x: x * mpmath.exp(-x * x / 2), [0, 2, mpmath.inf]),
}


def central_moments(name: str) -> tuple[float, list[float]]:
    """Mean and central moments by mpmath quadrature at 30 digits (lognormal: closed form)."""
    mp = mpmath
    with mp.workdps(30):
        if name.startswith("lognormal"):
            s = mp.mpf(str(TWINS[name][0].sigma))
            raw = [mp.exp(s * s * k * k / 2) for k in range(9)]
        else:
            f, ends = DENSITIES[name]
            raw = [mp.quad(lambda x, k=k: x**k * f(x), ends) for k in range(9)]
        mean = raw[1]
        central = [sum(mp.binomial(k, i) * raw[i] * (-mean) ** (k - i) for i in range(k + 1)) for k in ORDERS]
        return float(mean), [float(c) for c in central]


@pytest.mark.parametrize("name", EXACT)
def test_moments_against_quadrature_at_30_digits(name: str) -> None:
    shape = TWINS[name][0]
    mean, moments = central_moments(name)
    scale = [shape.sd**k for k in ORDERS]
    tolerance = 1e-11 if name == "beta 0.6" else 2e-12  # the twin's quadrature has singular ends there
    assert shape.mean == pytest.approx(mean, abs=2e-13 * shape.sd)
    for order, found, expected, unit in zip(ORDERS, shape.moments, moments, scale, strict=True):
        assert found == pytest.approx(expected, rel=tolerance, abs=tolerance * unit), order


@pytest.mark.parametrize("name", NAMES)
def test_its_own_rule_gives_the_same_moments(name: str) -> None:
    """Closed forms against the default quadrature of the density."""
    shape = TWINS[name][0]
    mean, moments = shape._rule_moments
    if name == "lognormal 1":  # the eighth moment lies beyond 12 sigma
        moments = moments[:3]
    assert mean == pytest.approx(shape.mean, rel=1e-11, abs=1e-12)
    assert moments == pytest.approx(shape.moments[: len(moments)], rel=1e-9, abs=1e-9 * shape.sd**2)
    assert shape.piece(-math.inf, math.inf)[1].sum() == pytest.approx(1, abs=1e-12)


@pytest.mark.parametrize("name", NAMES)
def test_quantile_and_cdf_against_scipy_stats(name: str) -> None:
    shape, twin = TWINS[name]
    u = np.concatenate([[1e-9, 1e-4], np.linspace(0.001, 0.999, 301), [1 - 1e-9]])
    x = twin.ppf(u)
    assert np.abs(shape.quantile(u) - x).max() <= 3e-7 * shape.sd  # 1e-9 of u in scipy's own tails
    assert shape.cdf(x) == pytest.approx(twin.cdf(x), abs=1e-12)


@pytest.mark.parametrize("name", NAMES)
@given(u=st.floats(1e-10, 1 - 1e-10))
@settings(max_examples=25, deadline=None)
def test_cdf_undoes_quantile(name: str, u: float) -> None:
    """cdf(quantile(u)) = u, but for the digits that 1 − x cannot hold where the density is unbounded."""
    shape = TWINS[name][0]
    digits = 1e-9 if name == "beta 0.6" else 1e-13
    assert float(shape.cdf(shape.quantile(np.array(u)))) == pytest.approx(u, rel=1e-7, abs=digits)


@pytest.mark.parametrize("name", NAMES)
def test_value_from_a_score(name: str) -> None:
    """A score z stands at the quantile of Φ(z), in both ways of getting there."""
    shape = TWINS[name][0]
    z = np.linspace(-6, 5, 1101)
    expected = shape.quantile(special.ndtr(z))
    assert shape.from_score(z) == pytest.approx(expected, rel=1e-9, abs=1e-9 * shape.sd)
    values = z.copy()
    shape.score(values, (np.empty_like(z), np.empty_like(z)))
    assert np.abs(values - expected).max() <= 1e-7 * shape.sd


@pytest.mark.parametrize(("shape", "tail"), [(HalfNormal(), stats.halfnorm), (Rayleigh(), stats.rayleigh)])
def test_far_tail_of_a_score_is_exact(shape: Shape, tail: object) -> None:
    """At z = 12 the upper fraction is 1.8e-33: no quantile of 1 − p can hold it."""
    z = np.array([8.0, 10.0, 12.0])
    assert tail.logsf(shape.from_score(z)) == pytest.approx(stats.norm.logsf(z), rel=1e-12)


@pytest.mark.parametrize("name", NAMES)
def test_table_of_quantiles_is_good_to_1e_7_of_the_spread(name: str) -> None:
    shape = TWINS[name][0]
    u = np.concatenate([generator().random(40_000), 10.0 ** -np.arange(1, 14), 1 - 10.0 ** -np.arange(1, 13)])
    values = u.copy()
    shape.spread(values, (np.empty_like(u), np.empty_like(u)))
    assert np.abs(values - shape.quantile(u)).max() <= 1e-7 * shape.sd


@pytest.mark.parametrize("name", NAMES)
def test_draws_follow_the_law(name: str) -> None:
    """Kolmogorov–Smirnov against scipy.stats; mean, variance and skewness within standard errors."""
    shape, twin = TWINS[name]
    values = np.empty((40, 1250))
    shape.sample(generator(7), values, (np.empty_like(values), np.empty_like(values)))
    assert distance(values, twin.cdf) <= ks_limit(values.size)
    flat = values.ravel()
    assert excess(flat, shape.mean) <= SIGMAS
    assert excess((flat - shape.mean) ** 2, shape.moments[0]) <= SIGMAS
    if name != "lognormal 1":
        assert excess((flat - shape.mean) ** 3, shape.moments[1]) <= SIGMAS


@pytest.mark.parametrize("name", NAMES)
def test_draws_come_from_the_generator_alone(name: str) -> None:
    """The same generator gives the same values, whatever scratch holds."""
    shape = TWINS[name][0]
    runs = []
    for fill in (0.0, math.nan):
        values = np.full((3, 50), fill)
        shape.sample(generator(5), values, (np.full_like(values, fill), np.full_like(values, fill)))
        runs.append(values)
    assert np.array_equal(*runs)


@given(low=st.floats(-3, 2.9), width=st.floats(0.05, 5), name=st.sampled_from(NAMES))
@settings(max_examples=60, deadline=None)
def test_cutting_keeps_what_lies_inside(low: float, width: float, name: str) -> None:
    """The cut law is the law given that the value lies inside: P(a ≤ x ≤ b)/P(inside), everywhere."""
    shape = TWINS[name][0]
    high = low + width
    if shape.share(low, high) < 1e-6:
        return
    cut = shape.cut(low, high)
    x = np.linspace(max(low, shape.low), min(high, shape.high), 50)
    start, stop = shape.cdf(np.array([low, high]))
    expected = np.clip((shape.cdf(x) - start) / (stop - start), 0, 1)
    assert cut.cdf(x) == pytest.approx(expected, abs=2e-9)
    assert cut.quantile(np.linspace(0, 1, 9)).min() >= low
    assert cut.quantile(np.linspace(0, 1, 9)).max() <= high
    assert shape.share(low, high) == pytest.approx(stop - start, abs=1e-9)


@pytest.mark.parametrize("name", ["normal", "triangular"])
def test_what_is_cut_is_a_law_of_its_own(name: str) -> None:
    """Its rule holds what its cdf says of any interval; its scale is the process's."""
    shape = TWINS[name][0]
    cut = shape.cut(-0.4, 0.7)
    for low, high in ((-0.6, -0.3), (-0.3, 0.05), (0.6, 0.9)):
        ends = cut.cdf(np.array([low, high]))
        assert cut.piece(low, high)[1].sum() == pytest.approx(ends[1] - ends[0], rel=1e-9)
    assert (cut.low, cut.high) == (-0.4, 0.7)
    assert cut.reach == shape.reach


@given(
    cp=st.floats(0.3, 3), lower=st.floats(-0.1, 0), width=st.floats(1e-4, 0.1), shift=st.floats(-0.02, 0.02)
)
@settings(max_examples=40, deadline=None)
def test_spread_of_a_size(cp: float, lower: float, width: float, shift: float) -> None:
    """3 sigma = T/cp for the normal law, support ±T/cp for the bounded ones, about the centre + shift."""
    for shape, keys in (("normal", {}), ("uniform", {}), ("beta", {"a": 2.0, "b": 3.0})):
        size = Size("a", 20.0, lower, lower + width, process=Process(shape=shape, cp=cp, shift=shift, **keys))
        centre, half = 20 + lower + width / 2 + shift, width / 2 / cp
        if shape == "normal":
            assert math.sqrt(size.law.own[0, 0]) == pytest.approx(half / 3, rel=1e-12)
            assert size.law.mean[0] == pytest.approx(centre, abs=1e-12)
        else:
            ends = size.law.quantile(np.array([0.0, 1.0]))
            assert ends == pytest.approx([centre - half, centre + half], abs=1e-12)


@pytest.mark.parametrize(
    "keys",
    [{}, {"shape": "half-normal"}, {"shape": "lognormal", "sigma": 0.7}, {"shape": "rayleigh", "cp": 1.33}],
)
def test_one_sided_limit_holds_0_9973(keys: dict) -> None:
    """P(x ≤ limit/cp) = 0.9973 (model.md, section 2)."""
    dimension = OneSided("k", 0.03, process=Process(**keys))
    at = np.array([0.03 / dimension.process.cp])
    assert dimension.law.cdf(at) == pytest.approx(0.9973, abs=1e-12)


def test_one_sided_uniform() -> None:
    law = OneSided("k", 0.03, process=Process(shape="uniform", cp=1.5)).law
    assert law.quantile(np.array([0.0, 0.25, 1.0])) == pytest.approx([0.0, 0.005, 0.02])


def test_radius_constant() -> None:
    """√(−2 ln 0.0027), to the last digit that the model prints (3.4393)."""
    assert pytest.approx(math.sqrt(-2 * math.log(0.0027)), rel=1e-14) == RADIUS_INSIDE
    assert f"{RADIUS_INSIDE:.4f}" == "3.4393"


class Ellipse:
    """A law of the value itself, as an object of the user's own: half-ellipse on 10 ± 0.2."""

    mean = 10.0
    moments = (0.01, 0.0, 0.0002)

    def quantile(self, u: np.ndarray) -> np.ndarray:
        return 10 + 0.2 * (2 * special.betaincinv(1.5, 1.5, u) - 1)


def test_an_object_with_mean_moments_and_quantile_is_a_shape() -> None:
    size = Size("a", 10.0, -0.3, 0.3, process=Process(shape=Ellipse()), pockets=20)
    law = size.law
    assert law.mean == (10.0,)
    assert not law.moves
    assert law.moments[0][:3] == pytest.approx((0.01, 0.0, 0.0002))
    assert all(math.isnan(m) for m in law.moments[0][3:])
    (values,) = draw(size)
    assert distance(values, stats.beta(1.5, 1.5, 9.8, 0.4).cdf) <= ks_limit(values.size)
    x = np.array([9.85, 10.0, 10.1])
    assert law.cdf(x) == pytest.approx(stats.beta(1.5, 1.5, 9.8, 0.4).cdf(x), abs=1e-9)


def test_an_object_that_knows_its_cdf_is_believed() -> None:
    """Its own cdf is used as it stands, not found from its quantiles."""

    class Whole(Ellipse):
        def cdf(self, x: np.ndarray) -> np.ndarray:
            return stats.beta(1.5, 1.5, 9.8, 0.4).cdf(x)

    x = np.array([9.0, 9.85, 10.1])
    assert np.array_equal(Size("a", 10.0, -0.3, 0.3, process=Process(shape=Whole())).law.cdf(x), Whole().cdf(x))


def test_an_object_of_ones_own_can_be_inspected_and_shared() -> None:
    """What inspection leaves has moments of its own, found by quadrature."""
    size = Size(
        "a", 10.0, -0.1, 0.1, process=Process(shape=Ellipse(), inspected=True), pockets=20, lot_share=0.5
    )
    twin = stats.beta(1.5, 1.5, 9.8, 0.4)
    kept = twin.cdf(10.1) - twin.cdf(9.9)
    (values,) = draw(size, 3000)
    assert values.min() >= 9.9
    assert values.max() <= 10.1
    assert distance(values[0], lambda x: (twin.cdf(x) - twin.cdf(9.9)) / kept) <= ks_limit(3000)
    variance = mpmath.quad(lambda x: (x - 10) ** 2 * twin.pdf(float(x)) / kept, [9.9, 10, 10.1])
    assert size.law.moments[0][0] == pytest.approx(float(variance), rel=1e-8)


def test_an_object_of_ones_own_outside_the_drawing() -> None:
    """Inspection would leave nothing: a fault, not a law of no weight."""
    with pytest.raises(ValueFault) as caught:
        Size("a", 12.0, -0.1, 0.1, process=Process(shape=Ellipse(), inspected=True)).law  # noqa: B018 - built when asked for
    assert caught.value.name == "inspected"
    assert caught.value.found.startswith("a share of 0")


def test_every_shape_of_the_table_is_drawn_here() -> None:
    """The table and this file agree on what shapes there are."""
    named = {made for table in SHAPES.values() for made in table.values()}
    assert named <= {type(shape) for shape, _ in TWINS.values()}
    assert issubclass(Given, Shape)
