"""One-way clutch: K. W. Chase and A. R. Parkinson, Res. Eng. Design 3 (1991) 23–37.

Also J. Cvetko, K. W. Chase and S. P. Magleby, New metrics for evaluating Monte Carlo tolerance analysis
(ADCATS 98-2, 1998), whose table of moments and rejects is quoted here from memory (MEM).  The contact angle
is acos((a + c)/(e − c)) in degrees; inputs are independent and normal with their tolerance at 3 sigma.
Recomputed values are closed forms or high precision quadrature (OWN).
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from plain_stack import STANDARD_ERRORS, Stack, stack, standard_error_of_sd, within_error

ANGLE = "acos((a + c)/(e - c))/deg"
LOW, HIGH = 6.4184, 7.6184  # nominal ± 0.6 (MEM)
# name: nominal, ± tolerance in mm (MEM)
HUB = {"a": (27.645, 0.05), "c": (11.430, 0.01), "e": (50.800, 0.0125)}

NOMINAL = 7.018389803368  # published 7.0184 (MEM)
GRADIENT = {"a": -11.9104724998, "c": -23.73169965, "e": 11.82122715}  # deg/mm, OWN
BELOW, ABOVE = 4406.278360e-6, 2166.236456e-6  # exact; published 4 406 and 2 166 ppm (MEM)
# mean, sd, skewness, kurtosis: published (MEM; a very large Monte Carlo run) and exact (OWN)
PUBLISHED = (7.014953, 0.219668, -0.09442, 3.0238)
EXACT = (7.01495646, 0.21967005, -0.09439268, 3.02389761)
SECOND_ORDER = (7.0149691063, 0.2193457362, -0.0935548362, 3.0116711408)  # OWN, full quadratic form


def clutch(formula: str = ANGLE, **limits: float) -> Stack:
    sizes = {name: {"nominal": nominal, "tolerance": t} for name, (nominal, t) in HUB.items()}
    return stack(formula, sizes, **limits)


@pytest.fixture(scope="module")
def angle() -> Stack:
    return clutch(min=LOW, max=HIGH)


def test_nominal_and_gradient(angle: Stack) -> None:
    assert angle.rss().mean == pytest.approx(NOMINAL, abs=5.01e-13)
    assert round(angle.rss().mean, 4) == 7.0184  # published
    assert clutch("acos((a + c)/(e - c))").rss().mean == pytest.approx(0.122494010257, abs=5.01e-13)
    found = angle.contributions()
    for name, slope in GRADIENT.items():
        assert found[name].sensitivity == pytest.approx(slope, abs=5.01e-9)


def test_linear_worst_case_and_rss(angle: Stack) -> None:
    worst, found = angle.worst_case(), angle.rss()
    assert worst.linear_low == pytest.approx(NOMINAL - 0.9806059610, abs=5.01e-11)
    assert worst.linear_high == pytest.approx(NOMINAL + 0.9806059610, abs=5.01e-11)
    assert found.sd == pytest.approx(0.2192923823, abs=5.01e-11)
    assert found.high - found.mean == pytest.approx(0.6578771469, abs=5.01e-11)
    assert found.out_of_spec == pytest.approx((3109.30 + 3108.42) * 1e-6, abs=1.01e-8)  # normal, linear
    assert not found.exact


def test_exact_worst_case(angle: Stack) -> None:
    """Both ends stand in corners: OWN 5.957364503 and 7.938469293."""
    found = angle.worst_case()
    assert found.certified
    assert found.low == pytest.approx(5.957364503, abs=5.01e-10)
    assert found.high == pytest.approx(7.938469293, abs=5.01e-10)
    # the bound lies outside by at most what certified means here, 1e-4 of the linearised width
    assert found.low - 1e-4 * 1.9613 <= found.bound_low <= found.low
    assert found.high <= found.bound_high <= found.high + 1e-4 * 1.9613


def test_second_order_moments(angle: Stack) -> None:
    found = angle.rss().second_order
    assert found is not None
    moments = (found.mean, found.sd, found.skewness, found.kurtosis)
    assert moments == pytest.approx(SECOND_ORDER, abs=5.01e-11)
    # second order is nearer to the exact rejects than first order (6217.7 ppm)
    assert abs(found.out_of_spec - (BELOW + ABOVE)) < abs(angle.rss().out_of_spec - (BELOW + ABOVE))


@pytest.mark.parametrize(
    ("limit", "recomputed", "published"),
    [(LOW, BELOW, 4406), (HIGH, 1 - ABOVE, None)],
)
def test_exact_tails(limit: float, recomputed: float, published: int | None) -> None:
    """The angle is below p where a + c(1 + cos p) − e·cos p > 0, linear in the inputs: the exact tail is RSS."""
    found = clutch(f"a + c*(1 + cos({limit}*deg)) - e*cos({limit}*deg)", max=0.0).rss()
    assert found.exact
    assert found.out_of_spec == pytest.approx(recomputed, abs=5.01e-13)
    assert published is None or round(1e6 * found.out_of_spec) == published


def test_exact_tail_above() -> None:
    found = clutch(f"a + c*(1 + cos({HIGH}*deg)) - e*cos({HIGH}*deg)", min=0.0).rss()
    assert found.out_of_spec == pytest.approx(ABOVE, abs=5.01e-13)
    assert round(1e6 * found.out_of_spec) == 2166  # published


def test_moments_by_quadrature() -> None:
    """Gauss–Hermite quadrature of the angle, independent of the package: the numbers that sampling must have."""
    nodes, weights = np.polynomial.hermite_e.hermegauss(16)
    a, c, e = (nominal + t / 3 * nodes for nominal, t in HUB.values())
    a, c, e = np.meshgrid(a, c, e, indexing="ij")
    mass = np.einsum("i,j,k->ijk", weights, weights, weights) / (2 * np.pi) ** 1.5
    values = np.degrees(np.arccos((a + c) / (e - c)))
    mean = (mass * values).sum()
    sd, third, fourth = ((mass * (values - mean) ** k).sum() for k in (2, 3, 4))
    sd = math.sqrt(sd)
    assert (mean, sd, third / sd**3, fourth / sd**4) == pytest.approx(EXACT, abs=5.01e-9)


def test_sampling(angle: Stack) -> None:
    found = angle.sampled(cages=400_000)
    n = found.drawn
    assert found.mean == pytest.approx(EXACT[0], abs=STANDARD_ERRORS * EXACT[1] / math.sqrt(n))
    assert found.sd == pytest.approx(EXACT[1], abs=STANDARD_ERRORS * standard_error_of_sd(found))
    # standard errors of a normal sample's skewness and kurtosis, a little wider for this law
    assert found.skewness == pytest.approx(EXACT[2], abs=STANDARD_ERRORS * 1.1 * math.sqrt(6 / n))
    assert found.kurtosis == pytest.approx(EXACT[3], abs=STANDARD_ERRORS * 1.1 * math.sqrt(24 / n))
    assert within_error(found.pockets, BELOW + ABOVE)
    for printed, exact in zip(PUBLISHED, EXACT, strict=True):
        assert printed == pytest.approx(exact, abs=1e-4)  # the printed run's own error


@pytest.mark.parametrize(("limits", "rejected"), [({"min": LOW}, BELOW), ({"max": HIGH}, ABOVE)])
def test_sampled_tails(limits: dict[str, float], rejected: float) -> None:
    assert within_error(clutch(**limits).sampled(cages=400_000).pockets, rejected)


@pytest.mark.parametrize(
    ("limits", "rejected"), [({"min": 6.5184}, 13941.953308e-6), ({"max": 7.5184}, 9108.081315e-6)]
)
def test_companion_limits(limits: dict[str, float], rejected: float) -> None:
    """Limits 6.5184 and 7.5184 (OWN): by the linear form exactly, by sampling within error."""
    ((end, limit),) = limits.items()
    linear = f"a + c*(1 + cos({limit}*deg)) - e*cos({limit}*deg)"
    exact = clutch(linear, **{"max" if end == "min" else "min": 0.0}).rss()
    assert exact.out_of_spec == pytest.approx(rejected, abs=5.01e-13)
    assert within_error(clutch(**limits).sampled(cages=100_000).pockets, rejected)


# Diameter form of later allocation papers (C.-X. Feng and A. Kusiak 1997 and others; MEM), numbers OWN
DIAMETERS = "acos((x1 + (x2 + x3)/2)/(x4 - (x2 + x3)/2))"
FOUR = {"x1": (55.29, 0.1), "x2": (22.86, 0.02), "x3": (22.86, 0.02), "x4": (101.60, 0.025)}


def diameters(formula: str = DIAMETERS, x4: float = 101.60, **limits: float) -> Stack:
    sizes = {name: {"nominal": nominal, "tolerance": t} for name, (nominal, t) in FOUR.items()}
    return stack(formula, sizes | {"x4": {"nominal": x4, "tolerance": 0.025}}, **limits)


@pytest.mark.parametrize(
    ("x4", "nominal", "degrees", "gradient"),
    [
        (101.60, 0.12249401, 7.01838980, (-0.10393848, -0.10354907, -0.10354907, 0.10315967)),
        (101.69, 0.13144267, 7.53111032, (-0.09678842, -0.09637096, -0.09637096, 0.09595350)),
    ],
)
def test_four_variable_form(x4: float, nominal: float, degrees: float, gradient: tuple[float, ...]) -> None:
    form = diameters(x4=x4)
    assert form.rss().mean == pytest.approx(nominal, abs=5.01e-9)
    assert math.degrees(form.rss().mean) == pytest.approx(degrees, abs=5.01e-9)
    found = form.contributions()
    assert [found[name].sensitivity for name in FOUR] == pytest.approx(gradient, abs=5.01e-9)


def test_four_variable_form_stacked() -> None:
    worst, found = diameters().worst_case(), diameters().rss()
    assert worst.linear_high - found.mean == pytest.approx(0.0171148027, abs=5.01e-11)
    assert found.high - found.mean == pytest.approx(0.0111023062, abs=5.01e-11)
    assert math.degrees(found.high - found.mean) == pytest.approx(0.6361152898, abs=5.01e-9)
    below, above = 3374.966282e-6, 1586.943004e-6
    for limit, side, rejected in ((LOW, "max", below), (HIGH, "min", above)):
        cosine = f"cos({limit}*deg)"
        linear = f"x1 + (x2 + x3)/2*(1 + {cosine}) - x4*{cosine}"
        assert diameters(linear, **{side: 0.0}).rss().out_of_spec == pytest.approx(rejected, abs=5.01e-13)
    sampled = diameters(f"{DIAMETERS}/deg", min=LOW, max=HIGH).sampled(cages=200_000)
    assert within_error(sampled.pockets, below + above)
