"""Operation: expansion from 20 °C (ISO 1), hoop stress of a thin turning ring (Timoshenko, Strength of materials, II).

A length l of expansion α grows by α l ΔT against the reference temperature of drawings, 20 °C (ISO 1).
A thin ring of density ρ that turns at the rim speed v carries the hoop stress σ = ρ v², free of its radius and section,
and grows by the strain σ/E.  Both enter a case as [operating] and come out as gaps: at the nominal, as extremes of the
worst case, and as mean and standard deviation by RSS, which stays exact for a sum.
"""

from __future__ import annotations

import math
from typing import Any

import pytest

from stackup.case import Case, from_mapping
from stackup.case.nominal import evaluate_at_nominal
from stackup.chain.model import Requirement
from stackup.engine import monte_carlo, rss, worst_case
from stackup.engine.settings import Settings

#: the least cage, all its sizes exact
CAGE: dict[str, Any] = {
    "roller_diameter": {"nominal": 50.0},
    "roller_length": {"nominal": 60.0},
    "roller_bore": {"nominal": 18.0},
    "pin_diameter": {"nominal": 17.4},
    "hole_pitch_diameter": {"nominal": 800.0},
    "ring_spacing": {"nominal": 61.0},
    "inner_raceway": {"nominal": 750.0},
}
STEEL = {"density": 7850, "modulus": 206000}


def cage(operating: dict[str, Any], chain: str = "hole_pitch_diameter", **dimensions: Any) -> Case:
    """Return a cage in operation, with a chain of its own."""
    return from_mapping(
        {
            "cage": {"kind": "cylindrical", "rollers": 40},
            "dimensions": {**CAGE, **dimensions},
            "chains": {"own": {"formula": chain}},
            "operating": operating,
        }
    )


def nominals(case: Case, gap: str = "own") -> dict[str, float]:
    """Return a gap at the nominal in every state."""
    (row,) = case.models()
    return {state: float(evaluate_at_nominal(model)[gap].flat[0]) for state, model in row.states.items()}


# --- expansion ---------------------------------------------------------------------------------------------

# length [mm], expansion [1/K], temperature [°C], growth [µm]: α l (T − 20), closed form (OWN)
GROWTH = [
    (100.0, 11.5e-6, 30.0, 11.5),
    (1000.0, 11.5e-6, 21.0, 11.5),
    (800.0, 12.0e-6, 70.0, 480.0),
    (50.0, 23.8e-6, -20.0, -47.6),
    (123.0, 16.0e-6, 20.0, 0.0),
]


@pytest.mark.parametrize(("length", "expansion", "temperature", "growth"), GROWTH)
def test_a_length_grows_from_20_degrees(length: float, expansion: float, temperature: float, growth: float) -> None:
    ring = {"ring_a": {"temperature": temperature, "expansion": expansion}}
    found = nominals(cage({"parts": ring}, hole_pitch_diameter={"nominal": length}))
    assert 1000 * (found["hot"] - found["made"]) == pytest.approx(growth, abs=1e-9)


def test_a_whole_cage_at_one_temperature_is_a_larger_cage() -> None:
    """All parts alike: every clearance of the cage scales with it, every angle stays."""
    parts = ("roller", "pin", "ring_a", "ring_b", "inner_ring", "outer_ring")
    warm = {part: {"temperature": 120.0, "expansion": 12e-6} for part in parts}
    case = cage({"parts": warm}, radial_internal_clearance={"nominal": 0.2}, hole_pitch_diameter_b={"nominal": 800.3})
    for gap in ("bore_clearance", "running_clearance", "roller_spacing", "end_clearance", "raceway_clearance"):
        found = nominals(case, gap)
        assert found["hot"] == pytest.approx(1.0012 * found["made"], rel=1e-9), gap
    found = nominals(case, "pin_tilt")
    assert found["hot"] == pytest.approx(found["made"], rel=1e-12)


# --- a thin ring that turns --------------------------------------------------------------------------------

# rim speed [m/s], hoop stress of steel of 7850 kg/m³ [N/mm²]: ρv², closed form (OWN)
STRESS = [(10.0, 0.785), (50.0, 19.625), (100.0, 78.5)]


@pytest.mark.parametrize(("rim", "stress"), STRESS)
@pytest.mark.parametrize("diameter", [200.0, 800.0, 3000.0])
def test_a_ring_grows_by_its_hoop_stress_over_its_modulus(rim: float, stress: float, diameter: float) -> None:
    """At one rim speed the strain does not depend on the diameter."""
    speed = 60 * rim / (math.pi * diameter / 1000)
    case = cage({"rotation": {"speed": speed, **STEEL}}, hole_pitch_diameter={"nominal": diameter})
    found = nominals(case)
    assert (found["hot"] / found["made"] - 1) * STEEL["modulus"] == pytest.approx(stress, rel=1e-7)


@pytest.mark.parametrize("ratio", [0.0, 1.0, 2.5])
def test_pins_that_the_rings_carry_round_add_their_mass(ratio: float) -> None:
    """Pins spread round the ring load it as so much more density would."""
    turning = {"speed": 300.0, **STEEL, "pin_mass_ratio": ratio}
    heavier = {"speed": 300.0, **STEEL, "density": STEEL["density"] * (1 + ratio)}
    assert nominals(cage({"rotation": turning})) == pytest.approx(nominals(cage({"rotation": heavier})), rel=1e-15)


def test_growth_across_the_tolerance_is_that_of_the_nominal() -> None:
    """D·D₀² for the cube D³, D 0.1 mm off 800 mm at a rim speed of 100 m/s, beyond any roller cage: within 0.1 µm."""
    speed = 60 * 100 / (math.pi * 0.8)
    off = {"nominal": 800.0, "tolerance": [0.1, 0.1]}
    (row,) = cage({"rotation": {"speed": speed, **STEEL}}, hole_pitch_diameter=off).models()
    found = worst_case.run(row.states["hot"], [Requirement("c", "own")], Settings())["c"]
    exact = 800.1 * (1 + 78.5 / 206000 * (800.1 / 800) ** 2)
    assert found.low == found.high == pytest.approx(exact, abs=1e-4)


# --- wear --------------------------------------------------------------------------------------------------


def test_wear_is_taken_in_the_measure_of_the_size() -> None:
    """Off the pin's diameter, on to the bore's, off the roller's length: no halves, no radii."""
    case = cage({"wear": {"pin_diameter": 0.3, "roller_bore": 0.2, "roller_length": 0.1}})
    for gap, more in {"bore_clearance": 0.5, "end_clearance": 0.1, "roller_wall": -0.1}.items():
        found = nominals(case, gap)
        assert found["worn"] - found["made"] == pytest.approx(more, abs=1e-12), gap


# --- with tolerances ---------------------------------------------------------------------------------------

# bore 18 ± 0.03 on rollers at 100 °C (12.5e-6), pin 17.4 ± 0.02 at 80 °C (11.5e-6), worn by 0.2 in all:
# closed form of bore_clearance, hot and worn (OWN)
ROLLER, PIN = 1 + 12.5e-6 * 80, 1 + 11.5e-6 * 60
MEAN = 18 * ROLLER - 17.4 * PIN + 0.2
SD = math.hypot(0.01 * ROLLER, 0.02 / 3 * PIN)
LOW, HIGH = 17.97 * ROLLER - 17.42 * PIN + 0.2, 18.03 * ROLLER - 17.38 * PIN + 0.2


def test_all_methods_in_the_hot_and_worn_state() -> None:
    """Worst case and RSS to rounding, Monte Carlo within four standard errors."""
    operating = {
        "parts": {
            "roller": {"temperature": 100, "expansion": 12.5e-6},
            "pin": {"temperature": 80, "expansion": 11.5e-6},
        },
        "wear": {"pin_diameter": 0.15, "roller_bore": 0.05},
    }
    bore, pin = {"nominal": 18.0, "tolerance": 0.03}, {"nominal": 17.4, "tolerance": 0.02}
    (row,) = cage(operating, roller_bore=bore, pin_diameter=pin).models()
    model, asked = row.states["hot_worn"], [Requirement("c", "bore_clearance", min=0.5)]
    extremes = worst_case.run(model, asked, Settings())["c"]
    assert (extremes.low, extremes.high) == pytest.approx((LOW, HIGH), abs=1e-9)
    assert extremes.certified
    law = rss.run(model, asked, Settings())[0]["c"]
    assert law is not None
    assert law.exact
    assert (law.mean, law.sd) == pytest.approx((MEAN, SD), rel=1e-9)
    drawn = monte_carlo.run(model, asked, Settings(cages=5000)).records["c"]
    errors = 4 / math.sqrt(5000 * 40)
    assert drawn.mean == pytest.approx(MEAN, abs=errors * SD)
    assert drawn.sd == pytest.approx(SD, rel=errors)


def test_the_clearance_of_a_hot_bearing() -> None:
    """(F_w + 2D_w + G_r) s_o − F_w s_i − 2D_w s_r, the share of preload exact: normal law, closed form (OWN)."""
    parts = {
        "roller": {"temperature": 90, "expansion": 12e-6},
        "inner_ring": {"temperature": 100, "expansion": 12e-6},
        "outer_ring": {"temperature": 80, "expansion": 12e-6},
    }
    clearance = {"nominal": 0.25, "tolerance": 0.06}
    case = cage({"parts": parts}, radial_internal_clearance=clearance)
    hot = case.models()[0].states["hot"]
    mean = (750 + 100 + 0.25) * (1 + 720e-6) - 750 * (1 + 960e-6) - 100 * (1 + 840e-6)
    sd = 0.02 * (1 + 720e-6)
    law = rss.run(hot, [Requirement("g", "raceway_clearance", min=0.0)], Settings())[0]["g"]
    assert law is not None
    assert law.exact
    assert (law.mean, law.sd) == pytest.approx((mean, sd), rel=1e-9)
    assert law.out_of_spec == pytest.approx(0.5 * math.erfc(mean / sd / math.sqrt(2)), rel=1e-9)
