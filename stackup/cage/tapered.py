"""The tapered pin-type cage: slots, steps and gaps of ``docs/model.md``, section 8.

Roller axes are generators of a cone about the bearing axis; ring A carries the small ends.  Pocket i stands at θ_i;
r points outward, t anticlockwise.  All lengths in mm, angles in rad, stress in N/mm².
"""

from __future__ import annotations

from dataclasses import replace

from stackup.cage import pinned
from stackup.cage import tapered_doubts as doubts
from stackup.cage import tapered_gaps as gaps
from stackup.cage import tapered_pins as pins
from stackup.cage.kind import BuiltIn, Given, Kind, Option, Slot
from stackup.cage.posed import RING_MOVES
from stackup.cage.tapered_rollers import ROLLER_SET
from stackup.cage.tapered_whole import whole_cage_steps
from stackup.chain.model import Step

#: what the slots of every pin-type cage mean here
OWN_WORDS = {
    "roller_diameter": {"meaning": "outside diameter of the roller at its large end"},
    "roller_length": {"meaning": "length of the roller on its axis over its end faces, at a spherical end to the pole"},
    "pin_squareness_a": {"indication": "squareness ⌀t₀ over l₀: t = 2t₀·W/(l₀ cosβ)"},
}


def _own(slots: tuple[Slot, ...]) -> tuple[Slot, ...]:
    return tuple(replace(slot, **OWN_WORDS.get(slot.name, {})) for slot in slots)  # type: ignore[arg-type]  # words only


SLOTS = (
    *_own(pinned.ROLLER_SLOTS),
    Slot("roller_taper", "size", "pocket", "roller", "ν", "half-angle of the roller's cone, in degrees", "angle, half of the included one", required=True, unit="deg", scales=False),
    Slot("roller_sphere_radius", "size", "pocket", "roller", "R_s", "radius of the roller's spherical large end", "size R", without="a flat end"),
    *pinned.PIN_SLOTS,
    Slot("hole_pitch_diameter_a", "size", "cage", "ring_a", "D_hA", "pitch circle of ring A in the plane of its inner face", "size ⌀ of the pitch circle", required=True, turns=True),
    Slot("hole_pitch_diameter_b", "size", "cage", "ring_b", "D_hB", "pitch circle of ring B in the plane of its inner face", "size ⌀ of the pitch circle", required=True, turns=True),
    *_own(pinned.RING_SLOTS),
    Slot("inner_raceway_a", "size", "cage", "inner_ring", "F_A", "inner raceway diameter in the plane of ring A's inner face, mounted", "size ⌀ at a distance", required=True),
    Slot("inner_raceway_b", "size", "cage", "inner_ring", "F_B", "inner raceway diameter in the plane of ring B's inner face, mounted", "size ⌀ at a distance", required=True),
    pinned.CLEARANCE_SLOT,
)  # fmt: skip

GAPS = (
    pinned.BORE_GAP,
    BuiltIn("running_clearance_small", "mm", "what keeps the pin from carrying the roller's load, mid-length to small end"),
    BuiltIn("running_clearance_large", "mm", "what keeps the pin from carrying the roller's load, mid-length to large end"),
    BuiltIn("roller_spacing_small", "mm", "gap to the next roller at the small ends, both drifted towards each other"),
    BuiltIn("roller_spacing_large", "mm", "gap to the next roller at the large ends, both drifted towards each other"),
    BuiltIn(
        "end_clearance",
        "mm",
        "clearance between ring faces and roller ends, along the roller axis",
        max_caution=doubts.wider_end_clearance,
        hints={"weld_shrinkage": "the welds pull the rings together: see weld_shrinkage"},
    ),
    BuiltIn("apex_crossing", "mm", "how much farther from ring A than at nominal the pin axis crosses the bearing axis", signed=True),
    BuiltIn("apex_miss", "mm", "distance by which pin axis and bearing axis pass each other"),
    *pinned.LEAN_GAPS,
    *pinned.ENTRY_GAPS,
    pinned.WALL_GAP,
    pinned.PITCH_GAP,
    *pinned.WHOLE_CAGE_GAPS,
    pinned.RACEWAY_GAP,
)

#: the lean of the pins to the bearing axis, in slots
CONE = (
    "tan β = (hole_pitch_diameter_b − hole_pitch_diameter_a)/(2·ring_spacing), of the nominals, "
    "less pitch_shrinkage_b and weld_shrinkage where given"
)
FOLLOWS = f"no such dimension: the cone angle follows from both pitch circles and the spacing, {CONE}"
#: what a drawing may call the cone angle, and the point where the axes meet
NOT_GIVEN = dict.fromkeys(("cone_angle", "cone_half_angle", "contact_angle", "taper_angle", "apex", "apex_angle"), FOLLOWS)

OPTIONS = (
    *pinned.OPTIONS,
    Option(
        "ring_face",
        None,
        ("flat", "square", "conical"),
        meaning="inner faces of the rings: one plane, a plane spot face square to each pin, one turned cone",
    ),
)


def steps(given: Given) -> tuple[Step, ...]:
    """Return the steps of all gaps over all slots, each using only earlier ones."""
    face, is_spherical = str(given.options.get("ring_face")), "roller_sphere_radius" in given.slots
    return tuple(
        pins.cone_steps()
        + pins.pin_steps()
        + pins.station_steps()
        + pinned.bore_steps()
        + gaps.seat_steps()
        + gaps.clearance_steps()
        + gaps.running_steps()
        + gaps.spacing_steps()
        + gaps.end_steps(face, is_spherical)
        + pins.lean_steps()
        + pins.into_ring_steps()
        + pinned.pitch_steps()
        + whole_cage_steps()
    )


KIND = Kind(
    name="tapered",
    title="tapered pin-type cage",
    slots=SLOTS,
    gaps=GAPS,
    steps=steps,
    options=OPTIONS,
    parameters=pinned.parameters,
    warnings=doubts.warnings,
    contradictions=doubts.contradictions,
    roller_set=ROLLER_SET,
    closing="ring_entry",
    closing_moves=RING_MOVES,
    preload=pinned.RACEWAY_GAP.name,
    not_given=NOT_GIVEN,
    not_given_note=f"The cone angle β is not given, it follows from both pitch circles and the spacing: {CONE}.",
)
