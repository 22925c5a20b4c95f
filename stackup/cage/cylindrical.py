"""The cylindrical pin-type cage: slots, steps and gaps of ``docs/model.md``, section 3.

Pocket i stands at θ_i; r points outward, t anticlockwise.  The cage is centred on the mean of its two rings.
All lengths in mm, angles in rad, stress in N/mm².
"""

from __future__ import annotations

import sympy

from stackup.cage import cylindrical_doubts as doubts
from stackup.cage import pinned
from stackup.cage.cylindrical_rollers import ROLLER_SET
from stackup.cage.cylindrical_whole import whole_cage_steps
from stackup.cage.kind import BuiltIn, Given, Kind, Slot
from stackup.cage.pinned import bore_steps, entry_steps, pitch_steps, vector
from stackup.cage.posed import RING_MOVES
from stackup.chain.model import Step
from stackup.chain.symbols import (
    Greatest,
    Least,
    Length,
    Magnitude,
    following,
    made,
    nominal,
    nominal_now,
    scale,
    symbol,
)

SLOTS = (
    *pinned.ROLLER_SLOTS,
    *pinned.PIN_SLOTS,
    Slot("hole_pitch_diameter", "size", "cage", "ring_a", "D_hA", "pitch circle of ring A, and of ring B where that has none of its own", "size ⌀ of the pitch circle", required=True, turns=True),
    Slot("hole_pitch_diameter_b", "size", "cage", "ring_b", "D_hB", "pitch circle of ring B", "size ⌀ of the pitch circle", stands_in="hole_pitch_diameter", turns=True),
    *pinned.RING_SLOTS,
    Slot("inner_raceway", "size", "cage", "inner_ring", "F_w", "raceway diameter under the rollers, mounted", "size ⌀", required=True),
    pinned.CLEARANCE_SLOT,
    Slot("outer_guide", "size", "cage", "outer_ring", "–", "shoulder bore of the outer ring", "size ⌀", feature="hole"),
    Slot("ring_outside", "size", "cage", "ring_a", "–", "outside diameter of the cage rings", "size ⌀", feature="shaft"),
    Slot("ring_inside", "size", "cage", "ring_a", "–", "inside diameter of the cage rings", "size ⌀", feature="hole"),
    Slot("inner_guide", "size", "cage", "inner_ring", "–", "shoulder diameter of the inner ring", "size ⌀", feature="shaft"),
    Slot("ring_concentricity", "zone", "cage", "none", "o", "hole circle against the ring's outside or inside", "coaxiality ⌀t"),
)  # fmt: skip

GAPS = (
    pinned.BORE_GAP,
    BuiltIn("running_clearance", "mm", "what keeps the pin from carrying the roller's load"),
    BuiltIn("roller_spacing", "mm", "gap to the next roller when both have drifted towards each other"),
    BuiltIn(
        "end_clearance",
        "mm",
        "axial clearance between ring faces and roller ends",
        max_caution=doubts.wider_end_clearance,
        hints={"weld_shrinkage": "the welds pull the rings together: see weld_shrinkage"},
    ),
    *pinned.LEAN_GAPS,
    *pinned.ENTRY_GAPS,
    pinned.WALL_GAP,
    BuiltIn(
        "ring_clearance_outer",
        "mm",
        "cage ring to the outer ring's shoulder",
        ("outer_guide", "ring_outside"),
    ),
    BuiltIn("ring_clearance_inner", "mm", "cage ring to the inner ring's shoulder", ("ring_inside", "inner_guide")),
    pinned.PITCH_GAP,
    *pinned.WHOLE_CAGE_GAPS,
    pinned.RACEWAY_GAP,
)

STATIONS = ("near", "middle", "far")


def _pin_steps() -> list[Step]:
    """Where the pin axis stands at both rings (model.md section 3, A and B)."""
    pitch_a, pitch_b, shrinkage = map(symbol, ("hole_pitch_diameter", "hole_pitch_diameter_b", "pitch_shrinkage_b"))
    cone = symbol("ring_cone")
    shift = vector("ring_shift")
    steps = [
        Step("pitch_radius", (pitch_a + pitch_b - shrinkage) / 4, "D_h/2, mean of the finished rings"),
        Step(
            "ring_cone",
            (pitch_b - pitch_a - shrinkage) / 4,
            "κ, half the difference of the rings' pitch radii",
        ),
        Step("ring_shift.r", symbol("ring_offset.r"), "ε_i, ring B against ring A at this pocket"),
        Step("ring_shift.t", symbol("ring_offset.t") + symbol("ring_phase"), "with the turn of ring B"),
    ]
    for ring, sign, parts in (
        ("a", -1, ("hole_position_a", "pin_seat_a")),
        ("b", 1, ("hole_position_b", "pin_seat_b")),
    ):
        for axis, common in (("r", sign * cone), ("t", 0)):
            own = sum(symbol(f"{part}.{axis}") for part in ("hole_position_common", *parts))
            offset = shift[0 if axis == "r" else 1]
            steps.append(
                Step(f"pin_{ring}.{axis}", own + sign * offset / 2 + common, f"pin axis at ring {ring.upper()}")
            )
    return steps


def _station_steps() -> list[Step]:
    """Where the pin axis stands at the roller's two ends and at mid-length: P(x) with its bow."""
    reach = symbol("reach")
    steps = [
        Step(
            "reach",
            symbol("roller_length") / symbol("ring_spacing"),
            "L_w/W; stations at x = (1 ∓ reach)/2 and ½",
        )
    ]
    for axis in ("r", "t"):
        a, b, bow = symbol(f"pin_a.{axis}"), symbol(f"pin_b.{axis}"), symbol(f"pin_straightness.{axis}")
        lean, mean, sag = symbol(f"pin_lean.{axis}"), symbol(f"pin_mean.{axis}"), symbol(f"pin_sag.{axis}")
        steps += [
            Step(f"pin_lean.{axis}", b - a, "ring B less ring A"),
            Step(f"pin_mean.{axis}", (a + b) / 2, "between the rings"),
            Step(
                f"pin_sag.{axis}",
                mean + 2 * (1 - reach**2) * bow,
                "mean of the two ends, 8x(1−x) = 2(1−reach²)",
            ),
            Step(f"pin_near.{axis}", sag - reach * lean / 2, "at the roller's end by ring A"),
            Step(f"pin_middle.{axis}", mean + 2 * bow, "at mid-length"),
            Step(f"pin_far.{axis}", sag + reach * lean / 2, "at the roller's end by ring B"),
        ]
    return steps


def _running_steps() -> list[Step]:
    """Gap 2: the pin must not carry the roller's load."""
    seat, play = symbol("seat"), symbol("raceway_play")
    mean, mean_now = nominal("roller_diameter"), nominal_now("roller_diameter")
    steps = [
        *bore_steps(),
        Step(
            "raceway_clearance",
            scale("outer_ring") * (made("inner_raceway") + 2 * mean + symbol("radial_internal_clearance"))
            - (symbol("inner_raceway") + 2 * mean_now),
            "G_r of the state: what inner raceway and mean roller leave of the outer raceway",
        ),
        Step("raceway_play", Greatest(symbol("raceway_clearance"), 0) / 2, "G_r/2, preload counts as 0"),
        Step(
            "raceway_seat",
            (symbol("inner_raceway") + symbol("roller_diameter")) / 2,
            "roller axis on the inner raceway",
        ),
        Step("seat", symbol("raceway_seat") - symbol("pitch_radius"), "ρ, the same from the pitch circle"),
    ]
    for place in STATIONS:
        steps.append(
            Step(
                f"misfit_{place}",
                Magnitude(symbol(f"pin_{place}.r") - seat - play / 2) + play / 2,
                "radially, the larger over both seats: |P_r − ρ − G_r/4| + G_r/4",
            )
        )
    steps += [
        Step(
            "aside_end",
            symbol("reach") * symbol("pin_lean.t") / 2,
            "P_t − τ at the ends; τ is the mean of both ends",
        ),
        Step("aside_middle", 2 * symbol("reach") ** 2 * symbol("pin_straightness.t"), "P_t − τ at mid-length"),
    ]
    needs = [
        Length(symbol(f"misfit_{place}"), symbol("aside_middle" if place == "middle" else "aside_end"))
        for place in STATIONS
    ]
    steps.append(Step("running_clearance", symbol("clearance_all_turn") - Greatest(*needs), "c less the farthest that the pin is off the roller"))
    return steps


def _spacing_steps() -> list[Step]:
    """Gap 3: roller to roller."""
    low, play, pitch = symbol("raceway_seat"), symbol("raceway_play"), symbol("pitch_radius")
    radius, delta, middle = symbol("roller_radius"), symbol("angle_between"), symbol("off_middle")
    steps = [
        Step("pin_radius", pitch + symbol("pin_middle.r"), "where the pin stands at mid-length"),
        Step("pin_beyond", Greatest(symbol("pin_radius") - low - play, 0), "farther out than the roller can go"),
        Step("pin_within", Greatest(low - symbol("pin_radius"), 0), "farther in than the roller can go"),
        Step(
            "off_middle",
            symbol("pin_beyond") - symbol("pin_within"),
            "m at mid-length, pin to roller axis, radially",
        ),
        Step(
            "roller_radius",
            symbol("pin_radius") - symbol("off_middle"),
            "R, where the roller runs: between the raceways, nearest to the pin",
        ),
        Step("freedom", Greatest(symbol("clearance_some_turn"), 0), "c₊, none where the pin fills the bore"),
    ]
    for place in STATIONS:
        off, lean = symbol(f"off_{place}"), symbol(f"pin_{place}.r") - symbol("pin_middle.r")
        if place != "middle":
            steps.append(Step(f"off_{place}", middle + lean, "m at the roller's end"))
        room = Greatest(symbol("freedom") ** 2 - off**2, 0)
        steps.append(Step(f"way_{place}", sympy.sqrt(room), "f, left along the circumference"))
    back = Greatest(*(symbol(f"pin_{place}.t") - symbol(f"way_{place}") for place in STATIONS))
    ahead = Least(*(symbol(f"pin_{place}.t") + symbol(f"way_{place}") for place in STATIONS))
    radius_next = following(radius)
    steps += [
        Step("turn_back", back / radius, "α⁻, the farthest back the roller can go"),
        Step("turn_ahead", ahead / radius, "α⁺, the farthest ahead"),
        Step(
            "angle_between",
            2 * sympy.pi / symbol("rollers") + following(symbol("turn_back")) - symbol("turn_ahead"),
            "Δ, between both roller axes at their closest",
        ),
        Step(
            "chord_aside",
            2 * sympy.sqrt(radius * radius_next) * sympy.sin(delta / 2),
            "chord along the circumference, below 0 where the rollers have passed each other",
        ),
        Step("passed", Greatest(-symbol("chord_aside"), 0), "how far they have passed each other"),
        Step(
            "chord",
            Length(radius_next - radius, symbol("chord_aside") + symbol("passed")) - symbol("passed"),
            "√(R_i² + R_j² − 2R_iR_j cosΔ), written without cancellation; below 0 where Δ is",
        ),
        Step(
            "roller_spacing",
            symbol("chord") - (symbol("roller_diameter") + following(symbol("roller_diameter"))) / 2,
            "chord less both radii",
        ),
    ]
    return steps


def _end_and_lean_steps() -> list[Step]:
    """Gaps 4 and 5: between the ring faces; lean of the pin."""
    spacing = symbol("ring_spacing")
    tilted = Length(symbol("ring_parallelism.x"), symbol("ring_parallelism.y"))
    return [
        Step(
            "face_lean",
            tilted * symbol("roller_diameter") / (2 * symbol("pitch_radius")),
            "|p|·D_w/D_h, on the safe side",
        ),
        Step(
            "end_clearance",
            spacing
            + symbol("ring_parallelism.r")
            - sum(
                map(
                    symbol,
                    (
                        "weld_shrinkage",
                        "ring_face_flatness",
                        "face_lean",
                        "roller_length",
                        "roller_end_runout",
                    ),
                )
            ),
            "between the faces, less all that narrows it",
        ),
        Step("pin_skew", 1000 * symbol("pin_lean.t") / spacing, "along the circumference, mrad"),
        Step("pin_tilt", 1000 * symbol("pin_lean.r") / spacing, "radially, mrad"),
    ]


def _entry_steps() -> list[Step]:
    """Gaps 6 and 7: pin into ring B, forced pins, the weld's gap."""
    cone = (made("hole_pitch_diameter") - made("hole_pitch_diameter_b")) / 2
    steps = []
    for axis, extra in (("r", cone), ("t", 0)):
        free = sum(symbol(f"{part}.{axis}") for part in ("hole_position_a", "pin_seat_a", "pin_squareness_a"))
        apart = free - symbol(f"hole_position_b.{axis}") + extra
        off = Step(f"pin_off_hole.{axis}", apart, "pin's free end against its hole in ring B, rings concentric")
        set_so = symbol(off.name) - symbol(f"ring_shift.{axis}")
        steps += [off, Step(f"pin_to_hole.{axis}", set_so, "with the rings as the fixture sets them")]
    return [*steps, *entry_steps(made("ring_spacing"), "W")]


def _wall_and_ring_steps() -> list[Step]:
    """Gaps 8 and 9: wall of the roller; cage rings to the shoulders."""
    runout, out = symbol("roller_bore_runout"), symbol("clearance_some_turn")
    apart = Length(symbol("ring_concentricity.x"), symbol("ring_concentricity.y"))
    return [
        Step("roller_wall", (symbol("roller_diameter") - symbol("roller_bore") - runout) / 2, "less the eccentricity of the bore"),
        Step("apart", apart, "|o|, hole circle against the ring's edge"),
        Step(
            "ring_clearance_outer",
            (symbol("outer_guide") - symbol("ring_outside")) / 2
            - (out + symbol("seat") + symbol("raceway_play"))
            - symbol("apart"),
            "stopped by rollers on the outer raceway",
        ),
        Step(
            "ring_clearance_inner",
            (symbol("ring_inside") - symbol("inner_guide")) / 2 - (out - symbol("seat")) - symbol("apart"),
            "stopped by rollers on the inner raceway",
        ),
    ]


def steps(given: Given) -> tuple[Step, ...]:
    """Return the steps of all gaps over all slots, each using only earlier ones."""
    del given  # the same steps for every drawing
    return tuple(
        _pin_steps()
        + _station_steps()
        + _running_steps()
        + _spacing_steps()
        + _end_and_lean_steps()
        + _entry_steps()
        + _wall_and_ring_steps()
        + pitch_steps()
        + whole_cage_steps()
    )


KIND = Kind(
    name="cylindrical",
    title="cylindrical pin-type cage",
    slots=SLOTS,
    gaps=GAPS,
    steps=steps,
    options=pinned.OPTIONS,
    parameters=pinned.parameters,
    warnings=doubts.warnings,
    contradictions=doubts.contradictions,
    roller_set=ROLLER_SET,
    closing="ring_entry",
    closing_moves=RING_MOVES,
    preload=pinned.RACEWAY_GAP.name,
)
