"""Fastener formulas: ASME Y14.5M-1994, appendix B.

Symbols and rules as transcribed in secondary texts (READ-2; the textbook *GD&T: Application and
Interpretation*), worked numbers as marked.  F is the greatest fastener, H the least clearance hole, T a position
tolerance, D the depth of the fixing part, P the thickness of the clearance part.  A pin fixed in ring A that must
enter ring B is such a fastener: the rule holds where the worst case of ``pin_entry`` is exactly 0.
"""

from __future__ import annotations

import math
from typing import Any

import pytest
from plain_stack import Stack, stack

from stackup.case import from_mapping
from stackup.decide.verdict import by_worst_case

#: what an extreme that is found must agree to, and the bound beside it, in mm
FOUND = 1e-7


def cage(hole: Any, pin: Any, spacing: float = 12.0, **zones: Any) -> Stack:
    """A small invented cage whose pins, holes and zones are given; nothing else has a tolerance."""
    dimensions: dict[str, Any] = {
        "roller_diameter": {"nominal": 20.0},
        "roller_length": {"nominal": 0.9 * spacing},
        "roller_bore": {"nominal": 9.0},
        "pin_diameter": pin,
        "hole_pitch_diameter": {"nominal": 100.0},
        "ring_hole_b": hole,
        "ring_spacing": {"nominal": spacing},
        "inner_raceway": {"nominal": 80.0},
        **{name: zone if isinstance(zone, dict) else {"zone": zone} for name, zone in zones.items()},
    }
    return Stack(
        from_mapping(
            {
                "cage": {"kind": "cylindrical", "rollers": 12},
                "dimensions": dimensions,
                "requirements": {"pin_entry": {"min": 0.0}},
            }
        )
    )


def holds(found: Stack, least: float = 0.0) -> bool:
    """Tell whether the worst low end of ``pin_entry`` is ``least``, found and guaranteed."""
    worst = found.worst_case()
    assert worst.certified_low
    assert worst.low - FOUND <= worst.bound_low <= worst.low
    return abs(worst.low - least) <= FOUND


# --- plus-minus coordinates against a diametral zone --------------------------------------------------------


@pytest.mark.parametrize(
    ("dx", "dy", "diameter", "printed"),
    [
        (0.005, 0.005, 0.0141421356, 0.014),  # textbooks print .014 (MEM)
        (1.0, 1.0, 2.828427125, 2.828),  # B. Fischer's chapter argues from the 1.4 mm diagonal (READ)
        (0.3, 0.4, 1.0, 1.0),  # closed form
    ],
)
def test_zone_round_a_square(dx: float, dy: float, diameter: float, printed: float) -> None:
    """T = 2√(dx² + dy²) (READ)."""
    sizes = {"x": {"nominal": 0.0, "tolerance": dx}, "y": {"nominal": 0.0, "tolerance": dy}}
    worst = stack("2*hypot(x, y)", sizes).worst_case()
    assert worst.high == pytest.approx(2 * math.hypot(dx, dy), rel=1e-12)
    assert worst.high == pytest.approx(diameter, abs=5.01e-10)
    assert worst.high == pytest.approx(printed, abs=5e-4)
    assert worst.low == pytest.approx(0.0, abs=1e-9)


# --- floating and fixed fasteners ---------------------------------------------------------------------------


def test_floating() -> None:
    """H = F + T for each part (READ-2): F 6.00, H 6.44 give T = 0.44 (MEM)."""
    parts = {
        "hole": {"nominal": 6.44, "tolerance": [0.0, 0.1]},
        "fastener": {"nominal": 6.0, "tolerance": [-0.1, 0.0]},
        "position": {"zone": 0.44},
    }
    worst = stack("(hole - fastener)/2 - hypot(position.r, position.t)", parts).worst_case()
    assert worst.certified_low
    assert worst.low == pytest.approx(0.0, abs=FOUND)


FASTENER = {"nominal": 6.0, "tolerance": [-0.05, 0.0]}
HOLE = {"nominal": 6.44, "tolerance": [0.0, 0.1]}


@pytest.mark.parametrize(
    ("clearance", "fixed"),
    [(0.22, 0.22), (0.18, 0.26)],  # equal split READ-2, operands MEM; unequal split MEM
)
def test_fixed_with_a_projected_zone(clearance: float, fixed: float) -> None:
    """H = F + T1 + T2: the position of the fixed fastener is toleranced where it must enter."""
    assert holds(cage(HOLE, FASTENER, hole_position_b=clearance, hole_position_a=fixed))


def test_a_drawing_by_the_formula_is_met_and_not_undecided() -> None:
    """The formula leaves nothing to spare: the bound says so to the last digit; 1 µm less of hole is not met."""
    zones = {"hole_position_b": 0.18, "hole_position_a": 0.26}
    exact, tight = cage(HOLE, FASTENER, **zones), cage({"nominal": 6.439, "tolerance": [0.0, 0.1]}, FASTENER, **zones)
    requirement = exact.case.requirements[0]
    assert by_worst_case(requirement, exact.worst_case()) == "met"
    assert by_worst_case(requirement, tight.worst_case()) == "not met"


def test_projected_zone_as_seat() -> None:
    """The same where the fixed tolerance is split over the hole, the seat in it, and the seat's squareness."""
    split = {"hole_position_a": 0.10, "pin_seat_a": 0.05, "pin_squareness_a": 0.07}
    assert holds(cage(HOLE, FASTENER, hole_position_b=0.22, **split))


def test_fixed_without_a_projected_zone() -> None:
    """H = F + T1 + T2(1 + 2P/D) (READ-2): F 6.35, T1 0.2, T2 0.4, P 12, D 8 give H = 8.15 (own arithmetic).

    From a drawing: a position zone T2 over a seat of depth D gives the squareness zone 2·T2·P/D at ring B.
    """
    clearance, fixed, projection, depth = 0.2, 0.4, 12.0, 8.0
    hole = 6.35 + clearance + fixed * (1 + 2 * projection / depth)
    assert hole == pytest.approx(8.15, abs=1e-12)
    found = cage(
        {"nominal": hole, "tolerance": [0.0, 0.2]},
        {"nominal": 6.35, "tolerance": [-0.1, 0.0]},
        spacing=projection,
        hole_position_b=clearance,
        hole_position_a=fixed,
        pin_squareness_a=2 * fixed * projection / depth,
    )
    assert holds(found)
    assert not holds(cage({"nominal": hole - 0.01, "tolerance": 0.0}, {"nominal": 6.35}, hole_position_b=0.2,
                          hole_position_a=0.4, pin_squareness_a=1.2))  # fmt: skip


def test_fixed_without_a_projected_zone_equal_tolerances() -> None:
    """T = (H − F)/(2 + 2P/D): H 6.44, F 6, P 10, D 8 give 0.0977777778 (OWN)."""
    projection, depth = 10.0, 8.0
    each = (6.44 - 6.0) / (2 + 2 * projection / depth)
    assert each == pytest.approx(0.0977777778, abs=5.01e-11)
    squareness = 2 * each * projection / depth
    zones = {"hole_position_a": each, "hole_position_b": each, "pin_squareness_a": squareness}
    assert holds(cage(HOLE, FASTENER, spacing=projection, **zones))


@pytest.mark.parametrize("offset", [0.0, 0.05])
def test_what_a_ring_out_of_place_costs(offset: float) -> None:
    """A ring offset zone counts like a position tolerance of every hole (closed form)."""
    zones = {"hole_position_a": 0.22, "hole_position_b": 0.22 - offset, "ring_offset": offset}
    assert holds(cage(HOLE, FASTENER, **zones))


# --- maximum material bonus ---------------------------------------------------------------------------------


@pytest.mark.parametrize("upper", [0.0, 0.01, 0.043, 0.1, 0.3])
def test_bonus_leaves_the_worst_entry_as_it_is(upper: float) -> None:
    """What the hole gives, the zone takes (ISO 2692): the worst low end does not depend on the upper limit."""
    hole = {"nominal": 6.44, "tolerance": [0.0, upper]}
    position = {"zone": 0.18, "bonus_from": "ring_hole_b"}
    assert holds(cage(hole, FASTENER, hole_position_b=position, hole_position_a=0.26))
    assert holds(cage(hole, FASTENER, hole_position_b=position, hole_position_a=0.20), least=0.03)


def test_bonus_beyond_the_hole_it_comes_from() -> None:
    """A bonus taken from the pin as well is not matched twice: F at its least, zone grown by its departure."""
    pin = {"nominal": 6.0, "tolerance": [-0.05, 0.0]}
    position = {"zone": 0.22, "bonus_from": "pin_diameter"}
    assert holds(cage(HOLE, pin, hole_position_a=position, hole_position_b=0.22))
