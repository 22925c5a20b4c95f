"""Uncertainty guides: JCGM 101:2008 (clause 9) and JCGM 100:2008 (examples H.1 and H.2).

Inputs as transcribed in secondary texts (READ-2), printed tables from memory (MEM); every number recomputed.
Laws that are no shapes of the package enter as objects with mean, moments and quantile; correlated inputs enter
as formulas over independent ones.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest
from plain_stack import (
    STANDARD_ERRORS,
    Stack,
    normal,
    of_law,
    stack,
    standard_error_of_sd,
    uniform,
    within_error,
)
from scipy.special import stdtrit

from stackup.engine.result import Sampled


def agrees(found: Sampled, mean: float, sd: float) -> bool:
    """Tell whether a sampled mean and standard deviation are within their standard errors."""
    off_mean = abs(found.mean - mean) / (found.sd / math.sqrt(found.drawn))
    off_sd = abs(found.sd - sd) / standard_error_of_sd(found)
    return max(off_mean, off_sd) <= STANDARD_ERRORS


# --- JCGM 101, 9.2: the additive model --------------------------------------------------------------------

ADDITIVE = "x1 + x2 + x3 + x4"
ROOT3 = math.sqrt(3)


def additive(sds: tuple[float, ...], half: float, rectangular: bool = True) -> Stack:
    inputs = {
        f"x{i}": uniform(-ROOT3 * sd, ROOT3 * sd) if rectangular else normal(0.0, sd)
        for i, sd in enumerate(sds, start=1)
    }
    return stack(ADDITIVE, inputs, min=-half, max=half)


def test_four_normals() -> None:
    """9.2.2: u = 2.00, 95 % in [−3.92, 3.92] (READ-2); exact 3.919927969."""
    found = additive((1, 1, 1, 1), 3.919927969, rectangular=False)
    assert found.rss().exact
    assert found.rss().sd == pytest.approx(2.0, abs=1e-15)
    assert found.rss().out_of_spec == pytest.approx(0.05, abs=1e-10)
    assert within_error(found.sampled().pockets, 0.05)


def test_four_rectangular() -> None:
    """9.2.3: u = 2.00, 95 % in [−3.88, 3.88] (READ-2); exact 2√3(2 − (3/5)^¼) = 3.879406741."""
    half = 2 * ROOT3 * (2 - (3 / 5) ** 0.25)
    assert half == pytest.approx(3.879406741, abs=5.01e-10)
    assert round(half, 2) == 3.88  # published
    found = additive((1, 1, 1, 1), half)
    assert found.rss().sd == pytest.approx(2.0, rel=1e-14)
    sampled = found.sampled(cages=400_000)
    assert agrees(sampled, 0.0, 2.0)
    assert within_error(sampled.pockets, 0.05)
    guide = additive((1, 1, 1, 1), 3.919927969).rss()  # the normal law of the guide: ±3.92 (MEM)
    assert guide.out_of_spec == pytest.approx(0.05, abs=1e-10)


def test_one_rectangle_governs() -> None:
    """9.2.4: u = 10.1, 95 % in ±17.0 by sampling, ±19.9 by the guide's normal (MEM); exact values beside."""
    found = additive((1, 1, 1, 10), 17.015814100)
    assert found.rss().sd == pytest.approx(math.sqrt(103), rel=1e-14)
    assert found.rss().sd == pytest.approx(10.148891565, abs=5.01e-10)
    sampled = found.sampled(cages=400_000)
    assert agrees(sampled, 0.0, 10.148891565)
    assert within_error(sampled.pockets, 0.05)
    assert additive((1, 1, 1, 10), 19.891462).rss().out_of_spec == pytest.approx(0.05, abs=1e-8)


# --- JCGM 101, 9.3: mass calibration ----------------------------------------------------------------------

MASS = "(mrc + dmrc)*(1 + (ra - 1.2)*(1/rw - 1/rr)) - 100000"


def mass(**limits: float) -> Stack:
    inputs = {
        "mrc": normal(100_000.0, 0.050),
        "dmrc": normal(1.234, 0.020),
        "ra": uniform(1.10, 1.30),
        "rw": uniform(7000.0, 9000.0),
        "rr": uniform(7950.0, 8050.0),
    }
    return stack(MASS, inputs, **limits)


def test_mass_calibration() -> None:
    """First order 0.0539, second order 0.0750 (MEM); closed forms 0.0538516481 and 0.0749634739.

    Second order: Var m + m²·Var ra·(Var rw + Var rr)/8000⁴ with m = 100 001.234.
    """
    found = mass(min=1.1284527, max=1.3395473).rss()
    assert found.mean == pytest.approx(1.2340, abs=1e-9)
    assert found.sd == pytest.approx(0.0538516481, abs=1e-10)
    assert round(found.sd, 4) == 0.0539  # published
    assert found.out_of_spec == pytest.approx(0.05, abs=2e-7)  # [1.1285, 1.3395] (MEM)
    second = found.second_order
    assert second is not None
    assert second.mean == pytest.approx(1.2340, abs=1e-4)
    squared = 0.05**2 + 0.02**2 + (100_001.234 / 8000**2) ** 2 * 0.2**2 / 12 * (2000**2 + 100**2) / 12
    assert second.sd == pytest.approx(math.sqrt(squared), rel=1e-8)
    assert second.sd == pytest.approx(0.0749634739, abs=5.01e-9)
    assert round(second.sd, 4) == 0.0750  # published


def test_mass_calibration_sampled() -> None:
    """u = 0.0754 and a 95 % width of 0.2991 (MEM); exact 0.0754797400 and (OWN) [1.0844333, 1.3835668].

    Var m + E[m²]·Var ra·E[(1/rw − 1/rr)²], the last in closed form by logarithms.
    """
    means = math.log(9 / 7) / 2000 * math.log(8050 / 7950) / 100
    squared = 1 / (7000 * 9000) + 1 / (7950 * 8050) - 2 * means
    of_mass = 0.05**2 + 0.02**2
    sd = math.sqrt(of_mass + (100_001.234**2 + of_mass) * 0.2**2 / 12 * squared)
    assert sd == pytest.approx(0.0754797400, abs=1e-9)
    sampled = mass(min=1.0844333, max=1.3835668).sampled(cages=400_000)
    assert agrees(sampled, 1.2340000, sd)
    assert within_error(sampled.pockets, 0.05)


# --- JCGM 101, 9.4: comparison loss, in units of 1e-6 ------------------------------------------------------


def comparison_loss(x1: float, correlation: float, **limits: float) -> Stack:
    """x1² + x2² with u = 5 each (inputs in units of 1e-3); x2 = r·(x1 − its mean) + √(1 − r²)·z."""
    rest = math.sqrt(1 - correlation**2)
    formula = f"x1**2 + ({correlation}*(x1 - {x1}) + {rest!r}*z)**2"
    return stack(formula, {"x1": normal(x1, 5.0), "z": normal(0.0, 5.0)}, **limits)


# r, x1; u of first and second order and by sampling as printed (MEM); exact u; exact shortest 95 % interval
COMPARISON = [
    (0.0, 0.0, 0, 50, 50, 50.0, (0.0, 149.786614)),
    (0.0, 10.0, 100, 112, 112, 111.803399, (0.0, 366.005290)),
    (0.9, 0.0, 0, 67, 67, 67.268120, (0.0, 185.056461)),
    (0.9, 10.0, 100, 121, 121, 120.519708, (12.6516, 397.4788)),
]


@pytest.mark.parametrize(("r", "x1", "first", "higher", "printed", "exact", "interval"), COMPARISON)
def test_comparison_loss(
    r: float, x1: float, first: int, higher: int, printed: int, exact: float, interval: tuple[float, float]
) -> None:
    """Estimate 0 or 100 by first order, 50 or 150 exactly (MEM); second order is exact, the form is quadratic."""
    found = comparison_loss(x1, r, min=interval[0], max=interval[1])
    rss, second = found.rss(), found.rss().second_order
    assert rss.mean == pytest.approx(x1**2, abs=1e-12)
    assert rss.sd == pytest.approx(first, abs=1e-9)
    assert second is not None
    assert second.mean == pytest.approx(x1**2 + 50, rel=1e-12)
    assert second.sd == pytest.approx(exact, abs=5.01e-7)
    assert round(second.sd) == higher == printed
    sampled = found.sampled(cages=200_000)
    assert abs(sampled.mean - x1**2 - 50) <= STANDARD_ERRORS * sampled.sd / math.sqrt(sampled.drawn)
    assert abs(sampled.sd - exact) <= STANDARD_ERRORS * standard_error_of_sd(sampled)
    assert within_error(sampled.pockets, 0.05)


@pytest.mark.parametrize(
    ("x1", "first", "higher"),
    [(10.0, (-96, 296), (-119, 319)), (50.0, (1520, 3480), (1515, 3485))],
)
def test_intervals_of_the_guide(x1: float, first: tuple[int, int], higher: tuple[int, int]) -> None:
    """x1² ± 1.96·u of first and of higher order for r = 0 (MEM), printed without decimals."""
    found = comparison_loss(x1, 0.0).rss()
    assert found.second_order is not None
    for sd, printed in ((found.sd, first), (found.second_order.sd, higher)):
        ends = (round(found.mean - 1.959964 * sd), round(found.mean + 1.959964 * sd))
        assert ends == printed


# --- JCGM 101, 9.5: gauge-block calibration, nm -----------------------------------------------------------


@dataclass(frozen=True)
class StudentT:
    """A t law with ``dof`` degrees of freedom, shifted and scaled; moments of order ≥ dof do not exist."""

    dof: float
    mean: float
    scale: float

    @property
    def moments(self) -> tuple[float, ...]:
        even = {
            k: self.scale**k
            * math.exp(
                0.5 * k * math.log(self.dof)
                + math.lgamma((k + 1) / 2)
                + math.lgamma((self.dof - k) / 2)
                - 0.5 * math.log(math.pi)
                - math.lgamma(self.dof / 2)
            )
            for k in (2, 4, 6, 8)
            if k < self.dof
        }
        return tuple(even.get(k, 0.0 if k % 2 and k < self.dof else math.nan) for k in range(2, 9))

    def quantile(self, u: Any) -> Any:
        return self.mean + self.scale * stdtrit(self.dof, u)


@dataclass(frozen=True)
class Arcsine:
    """The law of half·sin of a uniform angle."""

    half: float
    mean: float = 0.0

    @property
    def moments(self) -> tuple[float, ...]:
        a = self.half
        return (a**2 / 2, 0.0, 3 * a**4 / 8, 0.0, 5 * a**6 / 16, 0.0, 35 * a**8 / 128)

    def quantile(self, u: Any) -> Any:
        return -self.half * np.cos(np.pi * np.asarray(u))


@dataclass(frozen=True)
class CurvilinearTrapezoid:
    """h·u with u uniform on ±1 and h uniform on half ± give: a rectangle of inexactly known width."""

    half: float
    give: float
    mean: float = 0.0

    @property
    def moments(self) -> tuple[float, ...]:
        far, near = self.half + self.give, self.half - self.give
        even = {k: (far ** (k + 1) - near ** (k + 1)) / ((k + 1) ** 2 * 2 * self.give) for k in (2, 4, 6, 8)}
        return tuple(even.get(k, 0.0) for k in range(2, 9))

    def quantile(self, u: Any) -> Any:
        far, near = self.half + self.give, self.half - self.give
        x = np.concatenate(([0.0], np.linspace(near, far, 4001)))
        tail = np.log(far / near) / (4 * self.give)  # the density of the flat part
        above = (x[1:] * np.log(far / x[1:]) + x[1:] - near * np.log(far / near) - near) / (4 * self.give)
        half = np.concatenate(([0.0], near * tail + above))  # P(0 … x)
        off = np.asarray(u, dtype=float) - 0.5
        return np.sign(off) * np.interp(np.abs(off), half / half[-1] / 2, x)


NOMINAL = 50_000_000.0
GAUGE_BLOCK = "ls + d + d1 + d2 - ls*(da*(t0 + delta) + al*dt) - 50000000"
T_LAWS = {  # dof, value, scale
    "ls": (18, 50_000_623.0, 25.0),
    "d": (24, 215.0, 6.0),
    "d1": (5, 0.0, 4.0),
    "d2": (8, 0.0, 7.0),
}


def gauge_block(**limits: float) -> Stack:
    inputs = {name: of_law(StudentT(*law), nominal=law[1]) for name, law in T_LAWS.items()}
    inputs |= {
        "al": uniform(9.5e-6, 13.5e-6),
        "t0": normal(-0.1, 0.2),
        "delta": of_law(Arcsine(0.5)),
        "da": of_law(CurvilinearTrapezoid(1e-6, 0.1e-6)),
        "dt": of_law(CurvilinearTrapezoid(0.050, 0.025)),
    }
    return stack(GAUGE_BLOCK, inputs, **limits)


def squares() -> tuple[float, float, float]:
    """Variance of the lengths, of da and of dt, in closed form: half²/3 + give²/9 for the trapezoids."""
    lengths = sum(scale**2 * dof / (dof - 2) for dof, _, scale in T_LAWS.values())
    return lengths, (1e-6) ** 2 / 3 + (0.1e-6) ** 2 / 9, 0.050**2 / 3 + 0.025**2 / 9


def test_gauge_block_first_order() -> None:
    """The estimate 838 nm is published (READ-2), u in closed form with these laws' own standard deviations.

    The guide's printed 32 nm takes the scale of a t law for its u: that is H.1 below.
    """
    found = gauge_block().rss()
    lengths, of_da, of_dt = squares()
    assert found.mean == pytest.approx(838.0, abs=1e-6)
    length = 50_000_623.0
    expected = lengths + (0.1 * length) ** 2 * of_da + (11.5e-6 * length) ** 2 * of_dt
    assert found.sd == pytest.approx(math.sqrt(expected), rel=1e-9)
    second = found.second_order
    assert second is not None
    assert round(second.sd) == 36  # as by sampling: the products carry the difference


def test_gauge_block_sampled() -> None:
    """Published: 838, u = 36, 99 % in [745, 932] (MEM); a run of 1e8: 838.002, 35.801, [744.36, 931.59]."""
    lengths, of_da, of_dt = squares()
    squared = 50_000_623.0**2 + 25.0**2 * 18 / 16
    of_angle = 0.1**2 + 0.2**2 + 0.5**2 / 2
    of_expansion = 11.5e-6**2 + (4e-6) ** 2 / 12
    sd = math.sqrt(lengths + squared * (of_da * of_angle + of_expansion * of_dt))  # exact: E[da] = E[dt] = 0
    # 35.801 is sampled: the standard error of its 1e8 draws is 0.0027
    assert sd == pytest.approx(35.801, abs=STANDARD_ERRORS * 0.0027)
    sampled = gauge_block(min=744.36, max=931.59).sampled(cages=400_000)
    assert agrees(sampled, 838.0, sd)
    assert round(sampled.mean) == 838  # published
    assert round(sampled.sd) == 36  # published
    assert within_error(sampled.pockets, 0.01)
    assert within_error(gauge_block(min=767.7, max=908.3).sampled(cages=400_000).pockets, 0.05)  # OWN


# --- JCGM 100, H.1: end gauge -----------------------------------------------------------------------------

END_GAUGE = "ls + d - ls*(da*theta + al*dt) - 50000000"
# value, standard uncertainty (READ-2, three transcriptions agree)
END_INPUTS = {
    "ls": (50_000_623.0, 25.0),
    "d": (215.0, 9.7),
    "da": (0.0, 0.58e-6),
    "theta": (-0.1, 0.41),
    "al": (11.5e-6, 1.2e-6),
    "dt": (0.0, 0.029),
}


def end_gauge() -> Stack:
    return stack(END_GAUGE, {name: normal(*law) for name, law in END_INPUTS.items()})


def test_end_gauge() -> None:
    """u_c = 31.71 (READ-2), of second order 34 (READ-2); recomputed 31.710609640 and 33.911149527."""
    found = end_gauge().rss()
    assert found.mean == pytest.approx(838.0, abs=1e-6)
    assert found.sd == pytest.approx(31.710609640, abs=1e-7)
    assert round(found.sd, 2) == 31.71  # published
    second = found.second_order
    assert second is not None
    assert second.sd == pytest.approx(33.911149527, abs=1e-7)
    assert round(second.sd) == 34  # published


@pytest.mark.parametrize(
    ("name", "contribution", "printed"),
    [("ls", 25.0, 25), ("d", 9.7, 9.7), ("da", 2.900036, 2.9), ("dt", 16.675208, 16.6)],
)
def test_contributions_to_the_end_gauge(name: str, contribution: float, printed: float) -> None:
    """|sensitivity| times u; printed with 16.6 or 16.7 for dt (READ-2)."""
    found = end_gauge().contributions()[name]
    assert abs(found.sensitivity) * END_INPUTS[name][1] == pytest.approx(contribution, abs=5.01e-7)
    assert contribution == pytest.approx(printed, abs=0.1)


def test_what_gives_nothing_to_first_order() -> None:
    found = end_gauge().contributions()
    assert found["theta"].sensitivity == pytest.approx(0, abs=1e-9)
    assert found["al"].sensitivity == pytest.approx(0, abs=1e-6)


# --- JCGM 100, H.2: resistance, reactance, impedance from correlated readings ------------------------------

# five simultaneous readings: V in volt, I in mA, φ in rad (READ-2)
READINGS = np.array(
    [
        (5.007, 19.663, 1.0456),
        (4.994, 19.639, 1.0438),
        (5.005, 19.640, 1.0468),
        (4.990, 19.685, 1.0428),
        (4.999, 19.678, 1.0433),
    ]
)
NAMES = ("v", "i", "phi")
FORMULAS = {
    "r": "1000*({v})/({i})*cos({phi})",
    "x": "1000*({v})/({i})*sin({phi})",
    "z": "1000*({v})/({i})",
}


def impedance(formula: str, correlated: bool = True) -> Stack:
    """Means plus a lower triangle times independent standard normal numbers."""
    means, covariance = READINGS.mean(axis=0), np.cov(READINGS.T) / len(READINGS)
    if not correlated:
        covariance = np.diag(np.diag(covariance))
    triangle = np.linalg.cholesky(covariance)
    rows = {}
    for k, name in enumerate(NAMES):
        parts = [f"{float(triangle[k, j])!r}*z{j}" for j in range(k + 1)]
        rows[name] = " + ".join([repr(float(means[k])), *parts])
    text = formula.format(**rows)
    return stack(text, {f"z{j}": normal(0.0, 1.0) for j in range(3) if f"z{j}" in text})


def test_means_and_correlations_of_the_readings() -> None:
    """Means 4.9990, 19.6610, 1.04446; s 0.0032, 0.0095, 0.00075; r −0.36, 0.86, −0.65 (READ-2)."""
    covariance = np.cov(READINGS.T) / 5
    assert READINGS.mean(axis=0) == pytest.approx((4.999, 19.661, 1.04446), abs=1e-12)
    assert np.sqrt(np.diag(covariance)) == pytest.approx((0.00320936, 0.00947101, 0.00075206), abs=5.01e-9)
    scale = np.sqrt(np.diag(covariance))
    r = covariance / np.outer(scale, scale)
    assert (r[0, 1], r[0, 2], r[1, 2]) == pytest.approx((-0.35531, 0.85762, -0.64511), abs=5.01e-6)


# value and u: recomputed; u where correlations are ignored, recomputed; value and u as printed (READ-2)
IMPEDANCE = [
    ("r", 127.732170, 0.0710714, 0.194544, 127.732, 0.071),
    ("x", 219.846512, 0.2955817, 0.200909, 219.847, 0.295),  # printed cut off: it rounds to 0.296
    ("z", 254.259702, 0.2363361, 0.204076, 254.260, 0.236),
]


@pytest.mark.parametrize(("name", "value", "u", "ignored", "printed", "printed_u"), IMPEDANCE)
def test_impedance(name: str, value: float, u: float, ignored: float, printed: float, printed_u: float) -> None:
    found = impedance(FORMULAS[name]).rss()
    assert found.mean == pytest.approx(value, abs=5.01e-7)
    assert found.sd == pytest.approx(u, abs=5.01e-8)
    assert found.mean == pytest.approx(printed, abs=5e-4)
    assert math.floor(1e3 * found.sd) == round(1e3 * printed_u)
    assert impedance(FORMULAS[name], correlated=False).rss().sd == pytest.approx(ignored, abs=5.01e-7)


@pytest.mark.parametrize(
    ("one", "other", "correlation", "printed"),
    [("r", "x", -0.588430, -0.588), ("r", "z", -0.485259, -0.485), ("x", "z", 0.992512, 0.993)],
)
def test_correlations_of_the_results(one: str, other: str, correlation: float, printed: float) -> None:
    """From the variance of a sum: r = (u²(a + b) − u²(a) − u²(b))/2u(a)u(b); printed MEM."""
    a, b = (impedance(FORMULAS[name]).rss().sd for name in (one, other))
    both = impedance(f"{FORMULAS[one]} + {FORMULAS[other]}").rss().sd
    found = (both**2 - a**2 - b**2) / (2 * a * b)
    assert found == pytest.approx(correlation, abs=5.01e-7)
    assert found == pytest.approx(printed, abs=5.1e-4)
