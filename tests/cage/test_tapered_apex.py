"""The apex of a tapered cage: statistics in closed form and by quadrature, and where it has none."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from stackup.case import Case, from_mapping
from stackup.chain.model import Requirement
from stackup.decide.check import check
from stackup.engine import monte_carlo, rss, worst_case
from stackup.engine.result import Rss, Sampled
from stackup.engine.settings import Settings

STANDARD_ERRORS = 4
SPACING, PITCH_A, PITCH_B = 108.253, 1150.263, 1200.247
RISE = PITCH_B - PITCH_A


def cage(rise: float = RISE, **dimensions: Any) -> Case:
    """Return an invented cage that is exact but for what is given; ``rise`` is the difference of the pitch circles."""
    sizes = {
        "roller_diameter": 70.0, "roller_length": 100.0, "roller_taper": 0.7518, "roller_bore": 22.0,
        "pin_diameter": 21.2, "ring_spacing": SPACING, "hole_pitch_diameter_a": PITCH_A,
        "hole_pitch_diameter_b": PITCH_A + rise, "inner_raceway_a": 1081.608, "inner_raceway_b": 1128.608,
    }  # fmt: skip
    entries = {name: {"nominal": size} for name, size in sizes.items()} | dimensions
    return from_mapping(
        {
            "cage": {"kind": "tapered", "rollers": 12, "ring_face": "conical"},
            "dimensions": entries,
            "requirements": {"apex_crossing": {"min": -1e3, "max": 1e3}, "apex_miss": {"max": 1e3}},
        }
    )


def made(case: Case) -> Any:
    return case.models()[0].states["made"]


def by_rss(case: Case, gap: str) -> Rss:
    records, notes = rss.run(made(case), [Requirement(gap, gap)], Settings())
    found = records[gap]
    assert found is not None, notes
    return found


def sampled(case: Case, gap: str, cages: int = 40_000) -> Sampled:
    return monte_carlo.run(made(case), [Requirement(gap, gap)], Settings(cages=cages)).records[gap]


def crossing(a: Any, b: Any) -> Any:
    """R_A·W/(R_B − R_A) less its nominal, from the pitch diameters of two rings that are right otherwise."""
    return a * SPACING / (b - a) - PITCH_A * SPACING / RISE


def quadrature(sd_a: float, sd_b: float) -> tuple[float, float]:
    """Return mean and sd of the crossing for normal pitch circles, by Gauss–Hermite quadrature."""
    nodes, weights = np.polynomial.hermite_e.hermegauss(41)
    weights = weights / weights.sum()
    values = crossing(PITCH_A + sd_a * nodes[:, None], PITCH_B + sd_b * nodes[None, :])
    mean = float(weights @ values @ weights)
    return mean, math.sqrt(float(weights @ (values - mean) ** 2 @ weights))


def second_order(sd_a: float, sd_b: float) -> tuple[float, float]:
    """Return mean and sd of the crossing from its derivatives at the nominal, g = W·A/(B − A), independent normals.

    With V = B − A: g_A = WB/V², g_B = −WA/V², g_AA = 2WB/V³, g_BB = 2WA/V³, g_AB = −W(A + B)/V³.
    Mean ½Σ g_kk σ_k²; variance Σ g_k²σ_k² + ½Σ_kl g_kl²σ_k²σ_l².
    """
    a, b, v, w = PITCH_A, PITCH_B, RISE, SPACING
    slopes = (w * b / v**2, -w * a / v**2)
    bends = (2 * w * b / v**3, 2 * w * a / v**3, -w * (a + b) / v**3)
    mean = 0.5 * (bends[0] * sd_a**2 + bends[1] * sd_b**2)
    variance = (slopes[0] * sd_a) ** 2 + (slopes[1] * sd_b) ** 2
    variance += 0.5 * ((bends[0] * sd_a**2) ** 2 + (bends[1] * sd_b**2) ** 2) + (bends[2] * sd_a * sd_b) ** 2
    return mean, math.sqrt(variance)


@pytest.mark.parametrize(("width_a", "width_b"), [(0.04, 0.04), (0.5, 0.2), (1.0, 1.5)])
def test_mean_and_sd_of_the_crossing(width_a: float, width_b: float) -> None:
    """RSS to second order is the closed form; that is near the exact moments, which sampling has too."""
    sizes = {
        "hole_pitch_diameter_a": {"nominal": PITCH_A, "tolerance": width_a},
        "hole_pitch_diameter_b": {"nominal": PITCH_B, "tolerance": width_b},
    }
    case = cage(**sizes)
    found = by_rss(case, "apex_crossing").second_order
    assert found is not None
    mean, sd = second_order(width_a / 3, width_b / 3)
    assert (found.mean, found.sd) == (pytest.approx(mean, rel=1e-6), pytest.approx(sd, rel=1e-9))
    exact_mean, exact_sd = quadrature(width_a / 3, width_b / 3)
    share = (max(width_a, width_b) / 3 / RISE) ** 2  # what the fourth order adds, in parts
    assert mean == pytest.approx(exact_mean, rel=20 * share)
    assert sd == pytest.approx(exact_sd, rel=20 * share)
    drawn = sampled(case, "apex_crossing")
    error = exact_sd / math.sqrt(drawn.drawn / 12)  # both circles belong to the cage
    assert drawn.mean == pytest.approx(exact_mean, abs=STANDARD_ERRORS * error)
    assert drawn.sd == pytest.approx(exact_sd, abs=STANDARD_ERRORS * error)


def test_worst_crossing_in_closed_form() -> None:
    """Both circles at their limits, against each other: certified at both ends."""
    sizes = {
        "hole_pitch_diameter_a": {"nominal": PITCH_A, "tolerance": 0.5},
        "hole_pitch_diameter_b": {"nominal": PITCH_B, "tolerance": 0.2},
    }
    case = cage(**sizes)
    found = worst_case.run(made(case), case.requirements, Settings())["apex_crossing"]
    assert found.certified
    assert found.low == pytest.approx(crossing(PITCH_A - 0.5, PITCH_B + 0.2), abs=1e-9)
    assert found.high == pytest.approx(crossing(PITCH_A + 0.5, PITCH_B - 0.2), abs=1e-9)


def test_law_of_the_miss() -> None:
    """Positions of one ring alone, along the circumference σ: R_B·|N(0, σ)|/ΔR, a folded normal (closed form).

    The radial part of the zone changes ΔR by σ/12.5, the miss's own curvature by (P_t/ΔR)²: both in the second order.
    """
    case = cage(hole_position_a={"zone": 0.12})
    sigma = 0.06 / 3.4393 * PITCH_B / RISE
    drawn = sampled(case, "apex_miss", 20_000)
    error = sigma / math.sqrt(drawn.drawn)
    assert drawn.mean == pytest.approx(sigma * math.sqrt(2 / math.pi), abs=STANDARD_ERRORS * error + 1e-4 * sigma)
    assert drawn.sd == pytest.approx(sigma * math.sqrt(1 - 2 / math.pi), abs=STANDARD_ERRORS * error + 1e-4 * sigma)


def test_an_apex_that_can_be_anywhere() -> None:
    """Where both rings can be of one size the worst case has no bound, and says so; what was found is finite."""
    case = cage(0.1, hole_position_a={"zone": 0.12}, hole_position_b={"zone": 0.12})
    found = worst_case.run(made(case), case.requirements, Settings(boxes=200))["apex_crossing"]
    assert (found.bound_low, found.bound_high) == (-math.inf, math.inf)
    assert not found.certified_low
    assert not found.certified_high
    assert math.isfinite(found.low)
    assert math.isfinite(found.high)
    result = check(case, Settings(cages=500, boxes=50))
    said = next(note.text for note in result.notes if "unbounded" in note.text)
    assert said == "worst case unbounded: the formula has a pole or no value within the tolerances"
