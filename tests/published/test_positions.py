"""Position probabilities: C. R. Greenwalt and M. E. Shultz, Principles of error theory, ACIC TR-96 (1962).

Centred circular probabilities as printed there (MEM; two read in secondary texts, READ-2), the Rice law and
unequal axes after H. L. Harter, JASA 55 (1960) 723 (OWN: noncentral chi-square, Rice law and quadrature agree).
They go through the chain ``hypot(...)``: RSS integrates it by the law of the length, Monte Carlo samples it.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from plain_stack import STANDARD_ERRORS, Stack, normal, stack, standard_error_of_sd, within_error
from scipy.integrate import quad
from scipy.special import ellipe, ndtr

#: relative error that the engine's integration is held to
TIGHT = 1e-6
#: radius in sigma of a zone's normal law: 0.9973 inside
INSIDE = math.sqrt(-2 * math.log(1 - 0.9973))


def zone(sigma: float, **keys: object) -> dict[str, object]:
    """A zone whose normal law has this sigma along each axis."""
    return {"zone": 2 * INSIDE * sigma, **keys}


def length(x: dict[str, object], y: dict[str, object], **limits: float) -> Stack:
    return stack("hypot(x, y)", {"x": x, "y": y}, **limits)


# --- centred, equal axes: P(r ≤ kσ) = 1 − exp(−k²/2) ------------------------------------------------------

# k, printed, recomputed: k itself rounded where the printed table gives k for a fraction
CIRCULAR = [
    (1.0, 0.3935, 0.3934693403),
    (1.177410023, 0.5000, 0.5),
    (math.sqrt(2), 0.6321, 0.6321205588),
    (2.0, 0.8647, 0.8646647168),
    (2.145966026, 0.9000, 0.9),
    (2.447746831, 0.9500, 0.95),
    (3.0, 0.9889, 0.9888910035),
    (3.034854259, 0.9900, 0.99),
    (3.5, 0.9978, 0.9978125089),
    (4.0, None, 1 - 335.4626279e-6),
    (5.0, None, 1 - 3.726653172e-6),
]


@pytest.mark.parametrize(("k", "printed", "recomputed"), CIRCULAR)
def test_centred(k: float, printed: float | None, recomputed: float) -> None:
    exact = math.exp(-k * k / 2)
    assert 1 - exact == pytest.approx(recomputed, abs=5.01e-10)
    of_zone = stack("hypot(z.r, z.t)", {"z": zone(0.02)}, max=0.02 * k)
    of_sizes = length(normal(0.0, 0.02), normal(0.0, 0.02), max=0.02 * k)
    for found in (of_zone.rss(), of_sizes.rss()):
        assert found.out_of_spec == pytest.approx(exact, rel=TIGHT)
        assert printed is None or 1 - found.out_of_spec == pytest.approx(printed, abs=5e-5)
        assert found.mean == pytest.approx(0.02 * math.sqrt(math.pi / 2), rel=TIGHT)  # Rayleigh, closed form
        assert found.sd == pytest.approx(0.02 * math.sqrt(2 - math.pi / 2), rel=TIGHT)
    if exact > 1e-3:
        assert within_error(of_zone.sampled(cages=50_000).pockets, exact)


def test_one_axis_square_and_circle() -> None:
    """A zone T with sigma = T/6: 1.11090 % outside, 0.26998 % of one axis, 0.53923 % of the ± T/2 square (OWN)."""
    position = {"z": zone(1.0)}  # T/2 = 3
    for formula, outside in (
        ("hypot(z.r, z.t)", 0.0111090),
        ("z.r", 0.0026998),
        ("max(abs(z.r), abs(z.t))", 0.0053923),
    ):
        limits = {"min": -3.0, "max": 3.0}
        assert stack(formula, position, **limits).rss().out_of_spec == pytest.approx(outside, abs=5.01e-8)


@pytest.mark.parametrize(("ppm", "radius"), [(2700, 3.43933), (63.342484, 4.39703), (3.4, 5.01831)])
def test_radius_for_a_fraction(ppm: float, radius: float) -> None:
    """Radius in sigma (OWN, to five decimals: a relative 2.5e-5·radius of the fraction at most)."""
    found = stack("hypot(z.r, z.t)", {"z": zone(1.0)}, max=radius).rss()
    assert 1e6 * found.out_of_spec == pytest.approx(ppm, rel=6e-6 * radius)


# --- offset mean: the Rice law ----------------------------------------------------------------------------

# ν; P(r ≤ R) for R = 1, 2, 3, 4, in units of sigma (OWN)
RICE = {
    0.0: (0.3934693403, 0.8646647168, 0.9888910035, 0.9996645374),
    0.5: (0.3572857697, 0.8308593615, 0.9821563266, 0.9992629647),
    1.0: (0.2671201962, 0.7309879400, 0.9562840284, 0.9971104672),
    2.0: (0.0818923036, 0.3964990394, 0.7856379118, 0.9658651551),
}
OFFSET = [(nu, r + 1.0, inside) for nu, row in RICE.items() for r, inside in enumerate(row)]


@pytest.mark.parametrize(("nu", "radius", "inside"), OFFSET)
def test_offset(nu: float, radius: float, inside: float) -> None:
    of_zone = stack("hypot(z.r, z.t)", {"z": zone(1.0, process={"offset": [0.6 * nu, -0.8 * nu]})}, max=radius)
    of_sizes = length(normal(0.6 * nu, 1.0), normal(-0.8 * nu, 1.0), max=radius)
    for found in (of_zone.rss(), of_sizes.rss()):
        assert found.out_of_spec == pytest.approx(1 - inside, abs=1e-10, rel=TIGHT)
    assert within_error(of_zone.sampled(cages=40_000).pockets, 1 - inside)


@pytest.mark.parametrize("nu", [0.5, 1.0, 2.0, 4.0])
def test_moments_of_an_offset_length(nu: float) -> None:
    """E r = √(π/2)·L½(−ν²/2) by quadrature, E r² = 2 + ν² (closed form)."""
    turn = np.linspace(0, 2 * np.pi, 4001)[:-1]

    def mean_at(r: float) -> float:  # the law of r by the mean over a turn
        return r * r * float(np.mean(np.exp(-(r * r + nu * nu - 2 * r * nu * np.cos(turn)) / 2)))

    mean = quad(mean_at, 0, nu + 12, epsabs=1e-13, limit=200)[0]
    found = length(normal(nu, 1.0), normal(0.0, 1.0)).rss()
    assert found.mean == pytest.approx(mean, rel=2e-5)
    assert found.sd == pytest.approx(math.sqrt(2 + nu**2 - mean**2), rel=5e-5)
    sampled = length(normal(nu, 1.0), normal(0.0, 1.0)).sampled(cages=100_000)
    assert sampled.mean == pytest.approx(mean, abs=STANDARD_ERRORS * sampled.sd / math.sqrt(sampled.drawn))
    assert sampled.sd == pytest.approx(found.sd, abs=STANDARD_ERRORS * standard_error_of_sd(sampled))


# --- unequal axes -----------------------------------------------------------------------------------------

# c = s_min/s_max; P(r ≤ K·s_max) for K = 1, 1.5, 2, 2.5, 3 (OWN; c = 0 is one axis alone)
UNEQUAL = {
    0.0: (0.682689, 0.866386, 0.954500, 0.987581, 0.997300),
    0.25: (0.665824, 0.860586, 0.952706, 0.987117, 0.997203),
    0.5: (0.590095, 0.835082, 0.945455, 0.985311, 0.996829),
    0.75: (0.481883, 0.766611, 0.920409, 0.978871, 0.995551),
    1.0: (0.393469, 0.675348, 0.864665, 0.956063, 0.988891),
}
AXES = [(c, 1 + 0.5 * i, inside) for c, row in UNEQUAL.items() for i, inside in enumerate(row)]


def outside_ellipse(c: float, limit: float) -> float:
    """P(x² + c²y² > limit²) of standard normal x, y: ∫φ(x)·2Φ(−√(limit² − x²)/c)dx over a half turn, and tails."""

    def slice_at(a: float) -> float:
        x = limit * math.sin(a)
        y = limit * math.cos(a) / c if c else math.inf
        return limit * math.cos(a) * math.exp(-x * x / 2) / math.sqrt(2 * math.pi) * 2 * ndtr(-y)

    return quad(slice_at, -math.pi / 2, math.pi / 2, epsabs=1e-15)[0] + 2 * float(ndtr(-limit))


@pytest.mark.parametrize(("c", "limit", "inside"), AXES)
def test_unequal_axes(c: float, limit: float, inside: float) -> None:
    exact = outside_ellipse(c, limit)
    assert 1 - exact == pytest.approx(inside, abs=5.01e-7)
    found = length(normal(0.0, 0.01), normal(0.0, 0.01 * c), max=0.01 * limit)
    assert found.rss().out_of_spec == pytest.approx(exact, rel=TIGHT)
    assert within_error(found.sampled(cages=40_000).pockets, exact)


@pytest.mark.parametrize(
    ("c", "half", "most"),
    [
        (0.25, 0.725434, 1.976505),
        (0.5, 0.870417, 2.035859),
        (0.75, 1.027091, 2.185802),
        (1.0, 1.177410, 2.447747),
    ],
)
def test_radii_for_half_and_most(c: float, half: float, most: float) -> None:
    """Radii with 50 % and 95 % inside (OWN, six decimals)."""
    for limit, inside in ((half, 0.50), (most, 0.95)):
        found = length(normal(0.0, 1.0), normal(0.0, c), max=limit).rss()
        assert 1 - found.out_of_spec == pytest.approx(inside, abs=1e-6)


@pytest.mark.parametrize("c", [0.01, 0.1, 0.25, 0.5, 0.75])
def test_moments_of_unequal_axes(c: float) -> None:
    """E r = √(2/π)·E(1 − c²) by the complete elliptic integral, E r² = 1 + c² (closed forms)."""
    mean = math.sqrt(2 / math.pi) * ellipe(1 - c * c)
    found = length(normal(0.0, 1.0), normal(0.0, c)).rss()
    assert found.mean == pytest.approx(mean, rel=1e-5)
    assert found.sd == pytest.approx(math.sqrt(1 + c * c - mean * mean), rel=2e-5)


# --- offset, unequal and correlated -----------------------------------------------------------------------


@pytest.mark.parametrize(("correlation", "inside"), [(0.0, 0.99458999606), (0.5, 0.99442713106)])
def test_offset_unequal_correlated(correlation: float, inside: float) -> None:
    """R = 0.1, mean (0.02, −0.01), sd (0.03, 0.02) (OWN); the correlation enters through the formula."""
    rest = math.sqrt(1 - correlation**2)
    found = stack(
        f"hypot(x, -0.01 + 0.02*({correlation}*(x - 0.02)/0.03 + {rest!r}*z))",
        {"x": normal(0.02, 0.03), "z": normal(0.0, 1.0)},
        max=0.1,
    )
    assert found.rss().out_of_spec == pytest.approx(1 - inside, abs=1e-11, rel=TIGHT)
    assert within_error(found.sampled(cages=200_000).pockets, 1 - inside)


def test_offset_zone_on_a_drawing() -> None:
    """T = 0.5, sigma 0.07 both, offset (0.05, 0.05): 0.010621084864 outside (OWN)."""
    position = {"z": zone(0.07, process={"offset": [0.05, 0.05]})}
    found = stack("hypot(z.r, z.t)", position, max=0.25)
    assert found.rss().out_of_spec == pytest.approx(0.010621084864, abs=1e-12, rel=TIGHT)
    assert within_error(found.sampled(cages=200_000).pockets, 0.010621084864)


# --- a length against a size of its own: three numbers ----------------------------------------------------


@pytest.mark.parametrize("mean", [2.0, 3.0, 4.5])
@pytest.mark.parametrize("sd", [0.1, 1.0])
def test_size_less_a_length(mean: float, sd: float) -> None:
    """P(s < r), r Rayleigh: Φ(−m/s) + ∫ in closed form, exp(−m²/2(1 + s²))/√(1 + s²)·Φ(m/(s√(1 + s²)))."""
    root = math.sqrt(1 + sd * sd)
    exact = ndtr(-mean / sd) + math.exp(-((mean / root) ** 2) / 2) / root * ndtr(mean / (sd * root))
    found = stack("s - hypot(x, y)", {"s": normal(mean, sd), "x": normal(0, 1), "y": normal(0, 1)}, min=0.0)
    assert found.rss().out_of_spec == pytest.approx(exact, rel=2e-5)
    assert found.rss().mean == pytest.approx(mean - math.sqrt(math.pi / 2), abs=2e-5)
    assert found.rss().sd == pytest.approx(math.sqrt(sd * sd + 2 - math.pi / 2), rel=5e-5)
