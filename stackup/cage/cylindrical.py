"""The cylindrical pin-type cage: slots, steps and gaps 1–9 of ``docs/model.md``, section 3.

Pocket i stands at θ_i; r points outward, t anticlockwise.  The cage is centred on the mean of its two rings.
All lengths in mm, angles in rad, stress in N/mm².
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import sympy

from stackup.cage import cylindrical_doubts as doubts
from stackup.cage.cylindrical_rollers import ROLLER_SET
from stackup.cage.cylindrical_whole import WHOLE_CAGE, whole_cage_steps
from stackup.cage.kind import BuiltIn, Given, Kind, Option, Slot
from stackup.chain.model import Step
from stackup.chain.symbols import Greatest, Least, Length, Magnitude, following, symbol

SLOTS = (
    Slot("roller_diameter", "size", "pocket", "roller", "D_w", "outside diameter of the roller", "size ⌀", required=True, feature="shaft"),
    Slot("roller_length", "size", "pocket", "roller", "L_w", "length of the roller over its end faces", "size", required=True),
    Slot("roller_effective_length", "size", "pocket", "roller", "L_we", "length of the roller that carries, for the rating alone", "size, less chamfers and undercuts", stands_in="roller_length"),
    Slot("roller_bore", "size", "pocket", "roller", "d_b", "bore of the roller, mating size", "size ⌀, envelope Ⓔ", required=True, feature="hole"),
    Slot("roller_bore_runout", "one-sided", "pocket", "roller", "2e", "runout (TIR) of the bore to the outside; e is the eccentricity", "circular run-out ↗ to the outside as datum"),
    Slot("roller_end_runout", "one-sided", "pocket", "roller", "k_r", "axial runout of each end face; counts once", "axial run-out ↗ to the outside as datum"),
    Slot("pin_diameter", "size", "pocket", "pin", "d_p", "pin, mating size", "size ⌀, envelope Ⓔ", required=True, feature="shaft"),
    Slot("pin_straightness", "zone", "pocket", "pin", "w", "bow of the pin's axis, 2w at mid-length", "straightness ⌀t of the axis"),
    Slot("hole_pitch_diameter", "size", "cage", "ring_a", "D_hA", "pitch circle of ring A, and of ring B where that has none of its own", "size ⌀ of the pitch circle", required=True),
    Slot("hole_pitch_diameter_b", "size", "cage", "ring_b", "D_hB", "pitch circle of ring B", "size ⌀ of the pitch circle", stands_in="hole_pitch_diameter"),
    Slot("pitch_shrinkage_b", "size", "cage", "ring_b", "x_w", "loss of ring B's pitch diameter by welding", "from trial parts", nonnegative=True),
    Slot("hole_position_common", "zone", "pocket", "none", "j", "part of a hole's position that both rings share (bored together)", "position ⌀t"),
    Slot("hole_position_a", "zone", "pocket", "ring_a", "a", "position of the hole in ring A, in the plane of its inner face", "position ⌀t to the ring's datum"),
    Slot("hole_position_b", "zone", "pocket", "ring_b", "b", "position of the hole in ring B, in the plane of its inner face", "position ⌀t to the ring's datum"),
    Slot("pin_seat_a", "zone", "pocket", "ring_a", "s", "pin axis against its hole in ring A", "coaxiality ⌀t, thread or press seat"),
    Slot("pin_squareness_a", "zone", "pocket", "ring_a", "n", "displacement of the free pin's end where it must enter ring B", "squareness ⌀t₀ over l₀: t = 2t₀·W/l₀"),
    Slot("ring_hole_b", "size", "pocket", "ring_b", "d_hB", "hole at the welded end, mating size", "size ⌀, envelope Ⓔ", feature="hole"),
    Slot("pin_seat_b", "zone", "pocket", "ring_b", "q", "pin axis against its hole in ring B when welded, as the fixture centres it", "from the fixture: coaxiality ⌀t"),
    Slot("ring_offset", "zone", "cage", "none", "ε", "centre of ring B against ring A", "coaxiality ⌀t of ring B to ring A"),
    Slot("ring_phase", "size", "cage", "none", "φ", "rotation of ring B against ring A, as an arc at the pitch radius", "symmetric deviation, nominal 0", nominal_zero=True),
    Slot("ring_spacing", "size", "cage", "pin", "W", "distance of the inner faces on the spacers, before welding", "size over the spacers", required=True),
    Slot("ring_parallelism", "zone", "cage", "none", "p", "the spacing differs by p_x cosθ + p_y sinθ", "parallelism t over the pitch circle"),
    Slot("weld_shrinkage", "size", "pocket", "pin", "h_w", "loss of spacing at this pin by welding", "from trial parts", nonnegative=True),
    Slot("ring_face_flatness", "one-sided", "pocket", "none", "k_f", "local form error of both inner faces together", "flatness, both faces added"),
    Slot("inner_raceway", "size", "cage", "inner_ring", "F_w", "raceway diameter under the rollers, mounted", "size ⌀", required=True),
    Slot("radial_internal_clearance", "size", "cage", "none", "G_r", "radial internal clearance, mounted, of the mean roller", "ISO 5753-1", signed=True),
    Slot("outer_guide", "size", "cage", "outer_ring", "–", "shoulder bore of the outer ring", "size ⌀", feature="hole"),
    Slot("ring_outside", "size", "cage", "ring_a", "–", "outside diameter of the cage rings", "size ⌀", feature="shaft"),
    Slot("ring_inside", "size", "cage", "ring_a", "–", "inside diameter of the cage rings", "size ⌀", feature="hole"),
    Slot("inner_guide", "size", "cage", "inner_ring", "–", "shoulder diameter of the inner ring", "size ⌀", feature="shaft"),
    Slot("ring_concentricity", "zone", "cage", "none", "o", "hole circle against the ring's outside or inside", "coaxiality ⌀t"),
)  # fmt: skip

LEANS = {"pin_squareness_a": "a pin leans with its seat: see pin_squareness_a"}
OFF_CENTRE = {"pin_seat_b": "the weld holds a pin off the middle of its hole: see pin_seat_b"}

GAPS = (
    BuiltIn("bore_clearance", "mm", "pin in bore, on diameter"),
    BuiltIn("running_clearance", "mm", "what keeps the pin from carrying the roller's load"),
    BuiltIn("roller_spacing", "mm", "gap to the next roller when both have drifted towards each other"),
    BuiltIn(
        "end_clearance",
        "mm",
        "axial clearance between ring faces and roller ends",
        max_caution=doubts.wider_end_clearance,
        hints={"weld_shrinkage": "the welds pull the rings together: see weld_shrinkage"},
    ),
    BuiltIn("pin_skew", "mrad", "tangential lean of the pin, which steers its roller", signed=True),
    BuiltIn("pin_tilt", "mrad", "radial lean of the pin", signed=True),
    BuiltIn(
        "pin_entry",
        "mm",
        "what is left when the pin fixed in ring A enters its hole in ring B",
        ("ring_hole_b",),
        hints=LEANS,
    ),
    BuiltIn("entry_stress", "N/mm2", "bending stress where a pin must be forced to enter", ("ring_hole_b",), hints=LEANS),
    BuiltIn("weld_stress", "N/mm2", "bending stress that the weld locks into the pin", hints=LEANS),
    BuiltIn("weld_gap", "mm", "least gap round the pin for the weld to fill", ("ring_hole_b",), hints=OFF_CENTRE),
    BuiltIn("weld_gap_widest", "mm", "widest gap round the pin for the weld to fill", ("ring_hole_b",), hints=OFF_CENTRE),
    BuiltIn("roller_wall", "mm", "least wall of the roller round its bore"),
    BuiltIn(
        "ring_clearance_outer",
        "mm",
        "cage ring to the outer ring's shoulder",
        ("outer_guide", "ring_outside"),
    ),
    BuiltIn("ring_clearance_inner", "mm", "cage ring to the inner ring's shoulder", ("ring_inside", "inner_guide")),
    *WHOLE_CAGE,
)

OPTIONS = (
    Option(
        "weld_fixture",
        "centres",
        ("centres", "squares"),
        meaning="what the welding fixture does with the pin's free end",
    ),
    Option("pin_modulus", 206000.0, unit="N/mm2", meaning="modulus of elasticity of the pin"),
)

STATIONS = ("near", "middle", "far")


def _vector(name: str) -> tuple[Any, Any]:
    return symbol(f"{name}.r"), symbol(f"{name}.t")


def _pin_steps() -> list[Step]:
    """Where the pin axis stands at both rings (model.md section 3, A and B)."""
    pitch_a, pitch_b, shrinkage = map(symbol, ("hole_pitch_diameter", "hole_pitch_diameter_b", "pitch_shrinkage_b"))
    cone = symbol("ring_cone")
    shift = _vector("ring_shift")
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
    bore, pin, runout = map(symbol, ("roller_bore", "pin_diameter", "roller_bore_runout"))
    seat, play = symbol("seat"), symbol("raceway_play")
    steps = [
        Step("bore_clearance", bore - pin, "d_b − d_p"),
        Step("clearance_all_turn", (bore - pin - runout) / 2, "c, left over a whole turn of the roller"),
        Step(
            "clearance_some_turn",
            (bore - pin + runout) / 2,
            "c₊, the farthest the roller moves at some moment",
        ),
        Step("raceway_play", Greatest(symbol("radial_internal_clearance"), 0) / 2, "G_r/2, preload counts as 0"),
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
    pin, hole, spacing = symbol("pin_diameter"), symbol("ring_hole_b"), symbol("ring_spacing")
    cone = (symbol("hole_pitch_diameter") - symbol("hole_pitch_diameter_b")) / 2
    steps = []
    for axis, extra in (("r", cone), ("t", 0)):
        free = sum(symbol(f"{part}.{axis}") for part in ("hole_position_a", "pin_seat_a", "pin_squareness_a"))
        off = Step(f"pin_off_hole.{axis}", free - symbol(f"hole_position_b.{axis}") + extra, "pin's free end against its hole, rings concentric")
        set_so = symbol(off.name) - symbol(f"ring_shift.{axis}")
        steps += [off, Step(f"pin_to_hole.{axis}", set_so, "with the rings as the fixture sets them")]
    bend = 3 * symbol("pin_modulus") * pin / (2 * spacing**2)
    locked = [symbol(f"pin_seat_b.{axis}") - symbol(f"pin_to_hole.{axis}") for axis in ("r", "t")]
    seat = Length(*_vector("pin_seat_b"))
    return [
        *steps,
        Step("hole_play", (hole - pin) / 2, "radial play of the pin in ring B's hole"),
        Step("pin_entry", symbol("hole_play") - Length(*_vector("pin_to_hole")), "play less the distance of pin and hole"),
        Step("stress_per_mm", bend, "3·E·d_p/(2W²), cantilever"),
        Step(
            "entry_stress",
            symbol("stress_per_mm") * Greatest(-symbol("pin_entry"), 0),
            "of a pin forced in",
        ),
        Step(
            "weld_stress",
            symbol("weld_factor") * symbol("stress_per_mm") * Length(*locked),
            "locked in by the weld",
        ),
        Step("weld_gap", symbol("hole_play") - seat, "least round the pin"),
        Step("weld_gap_widest", symbol("hole_play") + seat, "widest round the pin"),
    ]


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
    """Return the steps of gaps 1–9 over all slots, each using only earlier ones."""
    del given  # the same steps for every drawing
    return tuple(
        _pin_steps()
        + _station_steps()
        + _running_steps()
        + _spacing_steps()
        + _end_and_lean_steps()
        + _entry_steps()
        + _wall_and_ring_steps()
        + whole_cage_steps()
    )


def parameters(options: Mapping[str, Any]) -> Mapping[str, float]:
    """Return the numbers that the options of ``[cage]`` give: modulus, and twice the weld's deflection where squared."""
    return {
        "pin_modulus": float(options.get("pin_modulus", 206000.0)),
        "weld_factor": 2.0 if options.get("weld_fixture") == "squares" else 1.0,
    }


KIND = Kind(
    name="cylindrical",
    title="cylindrical pin-type cage",
    slots=SLOTS,
    gaps=GAPS,
    steps=steps,
    options=OPTIONS,
    parameters=parameters,
    warnings=doubts.warnings,
    contradictions=doubts.contradictions,
    roller_set=ROLLER_SET,
    closing="ring_entry",
)
