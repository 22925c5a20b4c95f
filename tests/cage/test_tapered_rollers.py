"""Rating inputs of a tapered cage, where the raceways put its pins, and ``rollers`` on it."""

from __future__ import annotations

import math
from typing import Any

import pytest
from tapered_table import tapered_tables

import stackup
from stackup.cage.tapered_rollers import ROLLER_SET, on_raceways, rating
from stackup.case import Case
from stackup.case.nominal import evaluate_at_nominal
from stackup.decide.check import settings_of
from stackup.decide.rollers import rollers
from stackup.decide.rollers_range import full_complement

ASKED = {"running_clearance_small": {"min": 0.0}, "running_clearance_large": {"min": 0.0}}


def cage(**dimensions: Any) -> Case:
    """Return the invented demo cage with some dimensions replaced."""
    found = tapered_tables()
    return stackup.from_mapping(
        {"cage": found["cage"], "dimensions": found["dimensions"] | dimensions, "requirements": ASKED}
    )


def nominal_gaps(case: Case) -> dict[str, float]:
    """Return the gaps of the first pocket at the nominals."""
    found = evaluate_at_nominal(case.models()[0].states["made"])
    return {name: float(values.flat[0]) for name, values in found.items()}


def test_rating_inputs() -> None:
    """ISO 281: D_we is the mean diameter, α that of the outer raceway, β + ν; D_pw from its triangle at mid-length."""
    taper, lean = math.radians(0.7518), math.atan((1200.247 - 1150.263) / 2 / 108.253)
    found = rating(cage().dimensions)
    assert found.diameter == pytest.approx(70.0 - 110.0 * math.tan(taper), abs=1e-12)
    assert found.length == 110.0
    assert math.degrees(found.angle) == pytest.approx(math.degrees(lean) + 0.7518, abs=1e-12)
    race = (1081.608 + 1128.608) / 2  # in the middle between the rings
    assert found.pitch == pytest.approx(race + found.diameter * math.cos(taper) / math.cos(lean - taper), abs=1e-9)
    loose = cage(radial_internal_clearance={"nominal": 0.4}, roller_effective_length={"nominal": 104.0})
    assert rating(loose.dimensions).pitch == pytest.approx(found.pitch + 0.2, abs=1e-9)
    assert rating(loose.dimensions).length == 104.0
    assert rating(cage(radial_internal_clearance={"nominal": -0.4}).dimensions).pitch == found.pitch


def exact(**sizes: float) -> dict[str, Any]:
    return {name: {"nominal": size} for name, size in sizes.items()}


@pytest.mark.parametrize(
    "sizes",
    [
        {},
        {"radial_internal_clearance": 0.3},
        {"radial_internal_clearance": -0.3},
        {"inner_raceway_a": 1080.0, "inner_raceway_b": 1130.0},
        {"pitch_shrinkage_b": 0.2},
        {"hole_pitch_diameter_a": 1100.0},
    ],
)
def test_pins_on_the_raceways_stand_in_the_middle_of_the_seats(sizes: dict[str, float]) -> None:
    """All exact: R = r + G_r/4 at both ends, so that what is left is c less half of the way between the seats."""
    plain = {name: entry["nominal"] for name, entry in tapered_tables()["dimensions"].items() if "nominal" in entry}
    case = cage(**exact(**plain | sizes))
    circles = on_raceways(case.dimensions)
    assert set(circles) == {"hole_pitch_diameter_a", "hole_pitch_diameter_b"}
    gaps = nominal_gaps(cage(**exact(**plain | sizes | circles)))
    rise = circles["hole_pitch_diameter_b"] - sizes.get("pitch_shrinkage_b", 0.0) - circles["hole_pitch_diameter_a"]
    cosine = math.cos(math.atan(rise / 2 / 108.253))
    left = 0.4 - cosine * max(sizes.get("radial_internal_clearance", 0.0), 0.0) / 4
    assert gaps["running_clearance_small"] == pytest.approx(left, abs=2e-6)
    assert gaps["running_clearance_large"] == pytest.approx(left, abs=2e-6)


def test_pins_follow_the_middle_of_the_tolerances() -> None:
    """The invented cage: rollers 0.01 thinner and 0.035 shorter than nominal; its own circles are right to a few µm."""
    circles = on_raceways(cage().dimensions)
    assert circles["hole_pitch_diameter_a"] == pytest.approx(1150.263, abs=0.02)
    assert circles["hole_pitch_diameter_b"] == pytest.approx(1200.247, abs=0.02)
    there = {name: {"nominal": value, "tolerance": 0.04} for name, value in circles.items()}
    again = on_raceways(cage(**there).dimensions)
    assert again == pytest.approx(circles, abs=2e-6)


def test_how_many_rollers_fit() -> None:
    """53.8 would touch: 53 is the most that stand there; the least of both spacings is told."""
    assert ROLLER_SET.spacing == ("roller_spacing_small", "roller_spacing_large")
    case = cage()
    found = rollers(case, 51, 53, settings=settings_of(case, cages=5000, boxes=200))
    assert full_complement(rating(cage().dimensions)) == 53
    assert [one.rollers for one in found.counts] == [51, 52, 53]
    least = {name: value for name, value in nominal_gaps(cage()).items() if name in ROLLER_SET.spacing}
    own = found.at(52).spacing
    assert own.worst_low < min(least.values())
    assert own.mean == pytest.approx(min(least.values()), abs=0.06)
    assert found.at(51).spacing.mean > own.mean > found.at(53).spacing.mean > 0
    assert found.to_dict()["counts"][0]["roller_spacing"]["mean"] == found.at(51).spacing.mean
