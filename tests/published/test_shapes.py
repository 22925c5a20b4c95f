"""Laws of a dimension against published tables: inflation factors, truncation, selective assembly, position.

Each expected number stands beside its source; "recomputed" values are those of an independent high
precision calculation that agrees with the printed ones at their rounding.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from stackup.dimension import Process, Size, Zone
from stackup.dimension.radial import NormalRadius, Polar
from stackup.dimension.shape import Smooth

# F. Scholz, Tolerance Stack Analysis Methods (1995): inflation factors c = 3σ/T, printed and recomputed
INFLATION = [
    ({"shape": "normal"}, 1.000, 1.0),
    ({"shape": "uniform"}, 1.732, 1.732050808),
    ({"shape": "triangular"}, 1.225, 1.224744871),
    ({"shape": "trapezoid", "flat": 0.5}, 1.369, 1.369306394),
    ({"shape": "trapezoid", "flat": 0.25}, None, 1.262438117),  # closed form √(9(1 + k²)/6)
    ({"shape": "trapezoid", "flat": 0.75}, None, 1.530931089),  # closed form
    ({"shape": "beta", "a": 1.5, "b": 1.5}, 1.5, 1.5),  # half-ellipse density
    ({"shape": "beta", "a": 3, "b": 3}, 1.134, 1.133893419),
    ({"shape": "beta", "a": 0.6, "b": 0.6}, 2.023, 2.022599587),
    ({"shape": "beta", "a": 2, "b": 2}, None, 1.341640787),  # parabola, closed form √(9/5)
    ({"shape": "beta", "a": 0.5, "b": 0.5}, None, 2.121320344),  # arcsine, closed form 3/√2
]


@pytest.mark.parametrize(("process", "printed", "recomputed"), INFLATION)
def test_inflation_factor(process: dict, printed: float | None, recomputed: float) -> None:
    size = Size("a", 10.0, -0.3, 0.1, process=Process(**process))
    factor = 3 * math.sqrt(size.law.own[0, 0]) / size.half_width
    assert factor == pytest.approx(recomputed, abs=5.01e-10)
    assert printed is None or factor == pytest.approx(printed, abs=5e-4)


class OfDensity(Smooth):
    """A law of which the density alone is written: the fraction below is its integral, the quantile is looked for."""

    def cdf(self, x: np.ndarray) -> np.ndarray:
        return np.array([self.piece(-np.inf, value)[1].sum() for value in np.ravel(x)])

    def quantile(self, u: np.ndarray) -> np.ndarray:
        x = np.linspace(self.low, self.high, 2001)
        return np.interp(u, self.cdf(x), x)


class HalfCosine(OfDensity):
    """Density (π/4)cos(πx/2) on [−1, 1], as a user would write a new shape."""

    def density(self, x: np.ndarray) -> np.ndarray:
        return np.pi / 4 * np.cos(np.pi * x / 2)

    def cdf(self, x: np.ndarray) -> np.ndarray:
        return 0.5 * (1 + np.sin(np.pi * np.clip(x, -1, 1) / 2))

    def quantile(self, u: np.ndarray) -> np.ndarray:
        return 2 / np.pi * np.arcsin(2 * np.asarray(u) - 1)


class RaisedCosine(OfDensity):
    """Density (1 + cos πx)/2 on [−1, 1]."""

    def density(self, x: np.ndarray) -> np.ndarray:
        return 0.5 * (1 + np.cos(np.pi * x))


class TwoLevels(OfDensity):
    """A histogram with mass ``p`` inside ±``g`` and the rest outside."""

    nodes = 8

    def __init__(self, p: float, g: float) -> None:
        self.p, self.g = p, g

    @property
    def kinks(self) -> tuple[float, ...]:
        return (-self.g, self.g)

    def density(self, x: np.ndarray) -> np.ndarray:
        return np.where(np.abs(x) < self.g, 0.5 * self.p / self.g, 0.5 * (1 - self.p) / (1 - self.g))


@pytest.mark.parametrize(
    ("shape", "recomputed"),
    [
        (HalfCosine(), 1.305708535),  # published 1.306 (Scholz 1995); variance 1 − 8/π²
        (RaisedCosine(), 1.084536166),  # closed form: variance 1/3 − 2/π²
        (TwoLevels(0.7, 0.4), 1.319090596),  # closed form: variance [(1 − p)(1 + g) + g²]/3
        (TwoLevels(0.6, 0.4), 1.469693846),
        (TwoLevels(0.8, 0.5), 1.284523258),
    ],
)
def test_a_shape_of_ones_own_gets_its_moments_from_its_density(shape: Smooth, recomputed: float) -> None:
    assert 3 * shape.sd == pytest.approx(recomputed, abs=5.01e-10)


# Johnson, Kotz and Balakrishnan, Continuous Univariate Distributions, vol. 1: truncation at ±kσ.
# k, sd/σ printed, sd/σ, variance, kurtosis, inflation factor 3·sd/(kσ), recomputed
TRUNCATED = [
    (1, 0.540, 0.5395600938, 0.2911250948, 1.94091992, 1.61868028),
    (1.5, 0.743, 0.7426468984, 0.5515244158, 2.12211493, 1.48529380),
    (2, 0.880, 0.8796256610, 0.7737413035, 2.36553672, 1.31943849),
    (2.5, 0.955, 0.9545974863, 0.9112563609, 2.62422016, 1.14551698),
    (3, 0.987, 0.9865783926, 0.9733369247, 2.82888556, 0.98657839),
    (3.5, None, 0.9969395055, 0.9938883777, 2.94265666, 0.85451958),
    (4, None, 0.9994645018, 0.9989292904, 2.98604747, 0.74959838),
    (4.5, None, 0.9999280701, 0.9998561454, 2.99751773, 0.66661871),
]


@pytest.mark.parametrize("row", TRUNCATED)
def test_inspected_normal(row: tuple[float, ...]) -> None:
    """cp = k/3: the drawing cuts the process at ±kσ."""
    k, printed, sd, variance, kurtosis, inflation = row
    size = Size("a", 10.0, -k, k, process=Process(cp=k / 3, inspected=True))  # σ = 1
    m2, _, m4 = size.law.moments[0][:3]
    assert m2 == pytest.approx(variance, abs=5.01e-11)
    assert math.sqrt(m2) == pytest.approx(sd, abs=5.01e-11)
    assert m4 / m2**2 == pytest.approx(kurtosis, abs=5.01e-9)
    assert 3 * math.sqrt(m2) / k == pytest.approx(inflation, abs=5.01e-9)
    assert printed is None or sd == pytest.approx(printed, abs=5e-4)


# One-sided truncation x < aσ, the half-normal printed as .7979 and .6028: a, mean, sd (recomputed)
ONE_SIDED = [
    (0, -0.7978845608, 0.6028102750),
    (1, -0.2875999709, 0.7935277473),
    (2, -0.0552478627, 0.9415157717),
    (3, -0.0044378390, 0.9933110230),
]


@pytest.mark.parametrize(("a", "mean", "sd"), ONE_SIDED)
def test_normal_cut_on_one_side(a: float, mean: float, sd: float) -> None:
    """The lower limit lies 40σ away."""
    middle, half = (a - 40) / 2, (a + 40) / 2
    process = Process(cp=half / 3, shift=-middle, inspected=True)  # σ = 1, mean 0
    law = Size("a", 0.0, -40.0, float(a), process=process).law
    assert law.mean[0] == pytest.approx(mean, abs=5.01e-11)
    assert math.sqrt(law.moments[0][0]) == pytest.approx(sd, abs=5.01e-11)


# Truncation to (low, high)σ: mean, variance, skewness, excess kurtosis (independent high precision)
ASYMMETRIC = [
    ((-1, 2), 0.2296371791, 0.5197625392, 0.3225459128, -0.7198275421),
    ((-2, 3), 0.0507829897, 0.8731486400, 0.1824228540, -0.3527637857),
    ((0, 2), 0.7227897522, 0.2513162776, 0.5596714209, -0.5991741051),
    ((1, 3), 1.5100495132, 0.1734529049, 1.0479519928, 0.6146376671),
]


@pytest.mark.parametrize(("limits", "mean", "variance", "skewness", "excess"), ASYMMETRIC)
def test_normal_cut_asymmetrically(
    limits: tuple[float, float], mean: float, variance: float, skewness: float, excess: float
) -> None:
    low, high = limits
    middle, half = (low + high) / 2, (high - low) / 2
    law = Size("a", 0.0, low, high, process=Process(cp=half / 3, shift=-middle, inspected=True)).law
    m2, m3, m4 = law.moments[0][:3]
    assert law.mean[0] == pytest.approx(mean, abs=5.01e-11)
    assert m2 == pytest.approx(variance, abs=5.01e-11)
    assert m3 / m2**1.5 == pytest.approx(skewness, abs=5.01e-11)
    assert m4 / m2**2 - 3 == pytest.approx(excess, abs=5.01e-11)


# Selective assembly, equal-width groups (textbook rule 1/n for uniform; normal on ±3σ independent):
# n, uniform, normal; sd of the clearance of group-matched pairs against unmatched
GROUPS = [(2, 1 / 2, 0.589413), (3, 1 / 3, 0.503988), (4, 1 / 4, 0.397407), (5, 1 / 5, 0.327487)]


@pytest.mark.parametrize(("n", "uniform", "normal"), GROUPS)
def test_selective_assembly(n: int, uniform: float, normal: float) -> None:
    """Both mates come from one class: what is left is the variance inside the classes."""

    def ratio(shape: str, sigma: float) -> float:
        law = Size("a", 10.0, -3.0, 3.0, sorted_to=6 / n, process=Process(shape=shape)).law
        return math.sqrt(law.own[0, 0]) / sigma

    assert ratio("uniform", math.sqrt(3)) == pytest.approx(uniform, abs=1e-12)
    assert ratio("normal", 1.0) == pytest.approx(normal, abs=5.01e-7)


def test_shares_of_sorting_classes() -> None:
    """Normal on ±3σ in 4 and 6 equal groups, outer to inner (independent)."""
    for n, shares in ((4, [0.065635, 0.434365]), (6, [0.021458, 0.136273, 0.342269])):
        law = Size("a", 10.0, -3.0, 3.0, sorted_to=6 / n).law
        assert law.shares == pytest.approx([*shares, *shares[::-1]], abs=5.01e-7)


# Greenwalt and Shultz, ACIC TR-96 (1962): P(r ≤ kσ) = 1 − exp(−k²/2): k, printed, recomputed
CIRCULAR = [
    (1, 0.3935, 0.3934693403),
    (1.4142135624, 0.6321, 0.6321205588),
    (2, 0.8647, 0.8646647168),
    (3, 0.9889, 0.9888910035),
    (3.5, 0.9978, 0.9978125089),
]


@pytest.mark.parametrize(("k", "printed", "recomputed"), CIRCULAR)
def test_centred_position(k: float, printed: float, recomputed: float) -> None:
    inside = 1 - float(NormalRadius(1.0).survival(np.array(float(k))))
    assert inside == pytest.approx(recomputed, abs=5.01e-11)
    assert inside == pytest.approx(printed, abs=5.01e-5)


@pytest.mark.parametrize(("radius", "ppm"), [(4, 335.4626279), (5, 3.726653172)])
def test_share_outside_a_position(radius: float, ppm: float) -> None:
    """Closed form exp(−k²/2)."""
    assert 1e6 * NormalRadius(1.0).survival(np.array(float(radius))) == pytest.approx(ppm, rel=5e-10)


def test_sigma_of_a_zone() -> None:
    """Radius needed for 2700 ppm outside: 3.43933 sigma (independent)."""
    law = Zone("a", 2 * 3.43933).law
    assert math.sqrt(law.own[0, 0]) == pytest.approx(1.0, abs=1e-6)


# Offset ν, P(r ≤ R) in units of σ: noncentral χ² and the Rice law agree (independent)
RICE = {
    0.0: (0.3934693403, 0.8646647168, 0.9888910035, 0.9996645374),
    0.5: (0.3572857697, 0.8308593615, 0.9821563266, 0.9992629647),
    1.0: (0.2671201962, 0.7309879400, 0.9562840284, 0.9971104672),
    2.0: (0.0818923036, 0.3964990394, 0.7856379118, 0.9658651551),
}


@pytest.mark.parametrize(("offset", "shares"), RICE.items())
def test_share_that_inspection_keeps_of_an_offset_zone(offset: float, shares: tuple[float, ...]) -> None:
    for limit, share in enumerate(shares, start=1):
        centre = (0.6 * offset, -0.8 * offset)
        assert Polar(NormalRadius(1.0), centre, float(limit)).kept == pytest.approx(share, abs=1e-10)
