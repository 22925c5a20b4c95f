"""Random tapered cages about an invented layout, with its tolerances, drawn by the slow twin of the draws.

Source: the cage values to check against, "A tapered cage of plausible magnitudes (invented)".  Lengths in mm.
"""

import math
import random
from typing import Any

import tapered_twin
import twins
from geometry import Frame

Values = dict[str, Any]
ROLLERS, SPHERE = 52, 2450.0

# what cage_values.md says of the tapered cage, and "all else as above" from its cylindrical one
LAWS: dict[str, Values] = {
    "roller_diameter": {"nominal": 70.0, "lower": -0.02},
    "roller_length": {"nominal": 110.0, "lower": -0.07},
    "roller_taper": {"nominal": 0.7518, "lower": -0.006, "upper": 0.006},
    "roller_bore": {"nominal": 22.0, "upper": 0.08},
    "roller_bore_runout": {"limit": 0.04},
    "roller_end_runout": {"limit": 0.02},
    "pin_diameter": {"nominal": 21.2, "lower": -0.033},
    "pin_straightness": {"zone": 0.03},
    "hole_pitch_diameter_a": {"nominal": 1150.263, "lower": -0.04, "upper": 0.04},
    "hole_pitch_diameter_b": {"nominal": 1200.247, "lower": -0.04, "upper": 0.04},
    "hole_position_a": {"zone": 0.12},
    "hole_position_b": {"zone": 0.12},
    "pin_seat_a": {"zone": 0.04},
    "pin_squareness_a": {"zone": 0.10},
    "ring_hole_b": {"nominal": 21.45, "upper": 0.043},
    "pin_seat_b": {"zone": 0.06},
    "ring_offset": {"zone": 0.10},
    "ring_phase": {"nominal": 0.0, "lower": -0.04, "upper": 0.04},
    "ring_spacing": {"nominal": 108.353, "lower": -0.06, "upper": 0.06},
    "ring_parallelism": {"zone": 0.10},
    "weld_shrinkage": {"nominal": 0.10, "lower": -0.06, "upper": 0.06, "lot_share": 0.6},
    "ring_face_flatness": {"limit": 0.04},
    "inner_raceway_a": {"nominal": 1081.608, "lower": -0.03, "upper": 0.03},
    "inner_raceway_b": {"nominal": 1128.608, "lower": -0.03, "upper": 0.03},
}
NOMINALS = {slot: LAWS[slot]["nominal"] for slot in tapered_twin.LAYOUT_SLOTS if slot in LAWS}
PLAN = tapered_twin.layout(NOMINALS)


def frame(face: str = "conical") -> Frame:
    """What the drawing fixes, for the direct geometry."""
    drilled = math.atan(PLAN.pitch_step / PLAN.spacing)
    circles = NOMINALS["hole_pitch_diameter_a"], NOMINALS["hole_pitch_diameter_b"]
    return Frame(PLAN.tilt, drilled, PLAN.finished_spacing, face, circles)


def kinded(name: str, law: Values) -> Values:
    """The law as the twin of the draws reads it."""
    kind = "zone" if "zone" in law else "one-sided" if "limit" in law else "size"
    scope = "cage" if name in tapered_twin.CAGE_SLOTS else "pocket"
    return law | {"kind": kind, "scope": scope}


def draw(rng: random.Random, laws: dict[str, Values] | None = None, rollers: int = ROLLERS) -> Any:
    """One cage and its pockets, as made; the radius of the spherical ends is exact."""
    told = {name: kinded(name, law) for name, law in (laws or LAWS).items()}
    cage, pockets = twins.draw_cage({"rollers": {"kind": "count", "nominal": rollers}} | told, rng)
    own = {name: value for name, value in pockets[0].items() if name in tapered_twin.CAGE_SLOTS}
    pockets = [{k: v for k, v in p.items() if k not in own} | {"roller_sphere_radius": SPHERE} for p in pockets]
    return cage | own, pockets


def drawn(seed: int, rollers: int = ROLLERS) -> Any:
    """The first cage of a seed."""
    return draw(random.Random(seed), rollers=rollers)  # noqa: S311  # repeatable, no secret
