"""Fixed fasteners on a cone: ASME Y14.5M-1994, appendix B, for the leaning pins of a tapered cage.

Rules as transcribed in secondary texts (READ-2): H = F + T1 + T2 with a projected zone, H = F + T1 + T2(1 + 2P/D)
without.  F is the greatest pin, H the least hole of ring B, T1 its position zone, T2 that of the fixing hole in ring A,
D the depth of the seat.  Zones are square to the hole, so the rules hold as they stand, with the pin's own length
P = W/cosβ: the worst case of ``pin_entry`` is then exactly 0.
"""

from __future__ import annotations

import math
from typing import Any

import pytest
from plain_stack import Stack

from stackup.case import from_mapping

#: what an extreme that is found must agree to, in mm
FOUND = 1e-7
LEAN = math.radians(30)
SPACING, PITCH_A = 40.0, 200.0
PITCH_B = PITCH_A + 2 * SPACING * math.tan(LEAN)


def cage(hole: Any, pin: Any, **more: Any) -> Stack:
    """A small invented cage of pins that lean 30°; what is not given has no tolerance."""
    dimensions: dict[str, Any] = {
        "roller_diameter": {"nominal": 30.0},
        "roller_length": {"nominal": 40.0},
        "roller_taper": {"nominal": 3.5},
        "roller_bore": {"nominal": 9.0},
        "pin_diameter": pin,
        "hole_pitch_diameter_a": {"nominal": PITCH_A},
        "hole_pitch_diameter_b": {"nominal": PITCH_B},
        "ring_hole_b": hole,
        "ring_spacing": {"nominal": SPACING},
        "inner_raceway_a": {"nominal": 170.0},
        "inner_raceway_b": {"nominal": 210.0},
        **{name: entry if isinstance(entry, dict) else {"zone": entry} for name, entry in more.items()},
    }
    tables = {
        "cage": {"kind": "tapered", "rollers": 16, "ring_face": "square"},
        "dimensions": dimensions,
        "requirements": {"pin_entry": {"min": 0.0}},
    }
    return Stack(from_mapping(tables))


def least(found: Stack) -> float:
    """Return the worst low end of ``pin_entry``, which must be certified."""
    worst = found.worst_case()
    assert worst.certified_low
    assert worst.bound_low <= worst.low
    return worst.low


HOLE = {"nominal": 6.44, "tolerance": [0.0, 0.1]}
PIN = {"nominal": 6.0, "tolerance": [-0.05, 0.0]}


def test_perfect_parts_enter_in_the_middle() -> None:
    """The hole is drilled for the nominal spacing: (H − F)/2 is left."""
    assert least(cage(HOLE, PIN)) == pytest.approx(0.22, abs=FOUND)


@pytest.mark.parametrize(("clearance", "fixed"), [(0.22, 0.22), (0.18, 0.26)])
def test_with_a_projected_zone(clearance: float, fixed: float) -> None:
    """H = F + T1 + T2: 6.44 = 6.00 + 0.44."""
    assert least(cage(HOLE, PIN, hole_position_b=clearance, hole_position_a=fixed)) == pytest.approx(0.0, abs=FOUND)


def test_without_a_projected_zone() -> None:
    """H = F + T1 + T2(1 + 2P/D) with P = W/cosβ = 46.19 and D = 20: T2's part for the lean is its squareness slot."""
    clearance, fixed, depth = 0.2, 0.1, 20.0
    projection = SPACING / math.cos(LEAN)
    hole = 6.0 + clearance + fixed * (1 + 2 * projection / depth)
    assert hole == pytest.approx(6.3 + 0.2 * 46.188021535 / 20, abs=1e-9)
    zones = {"hole_position_b": clearance, "hole_position_a": fixed}
    zones["pin_squareness_a"] = 2 * fixed * projection / depth
    assert least(cage({"nominal": hole}, PIN, **zones)) == pytest.approx(0.0, abs=FOUND)
    assert least(cage({"nominal": hole - 0.01}, PIN, **zones)) == pytest.approx(-0.005, abs=FOUND)


def test_what_pitch_circles_and_spacing_cost() -> None:
    """A pitch circle off by x moves the hole x/2·cosβ square to itself, a spacing off by y y·sinβ (closed form)."""
    sizes = {
        "hole_pitch_diameter_a": {"nominal": PITCH_A, "tolerance": 0.06},
        "hole_pitch_diameter_b": {"nominal": PITCH_B, "tolerance": 0.04},
        "ring_spacing": {"nominal": SPACING, "tolerance": 0.05},
    }
    lost = (0.06 + 0.04) / 2 * math.cos(LEAN) + 0.05 * math.sin(LEAN)
    assert least(cage(HOLE, PIN, **sizes)) == pytest.approx(0.22 - lost, abs=FOUND)


def test_what_rings_out_of_place_cost() -> None:
    """An offset ⌀t counts whole along the circumference, cosβ radially; parallelism ⌀t sinβ·t/2 radially (closed form).

    So the worst pocket for the offset alone is off along the circumference by t/2.
    """
    assert least(cage(HOLE, PIN, ring_offset=0.1)) == pytest.approx(0.22 - 0.05, abs=FOUND)
    assert least(cage(HOLE, PIN, ring_parallelism=0.1)) == pytest.approx(0.22 - 0.05 * 0.5, abs=FOUND)
