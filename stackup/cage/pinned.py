"""What pin-type cages of every shape of roller share: slots, options, and the steps of bore, entry and weld.

Ring A holds the end of each pin that is fixed first, ring B the end that is welded after assembly.
All lengths in mm, stress in N/mm².
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from stackup.cage.kind import BuiltIn, Option, Slot
from stackup.cage.posed import SHARES
from stackup.chain.model import Step
from stackup.chain.symbols import Greatest, Length, Magnitude, following, made, symbol

#: rollers
ROLLER_SLOTS = (
    Slot("roller_diameter", "size", "pocket", "roller", "D_w", "outside diameter of the roller", "size ⌀", required=True, feature="shaft"),
    Slot("roller_length", "size", "pocket", "roller", "L_w", "length of the roller over its end faces", "size", required=True, wears=-1),
    Slot("roller_effective_length", "size", "pocket", "roller", "L_we", "length of the roller that carries, for the rating alone", "size, less chamfers and undercuts", stands_in="roller_length"),
    Slot("roller_bore", "size", "pocket", "roller", "d_b", "bore of the roller, mating size", "size ⌀, envelope Ⓔ", required=True, feature="hole", wears=1),
    Slot("roller_bore_runout", "one-sided", "pocket", "roller", "2e", "runout (TIR) of the bore to the outside; e is the eccentricity", "circular run-out ↗ to the outside as datum"),
    Slot("roller_end_runout", "one-sided", "pocket", "roller", "k_r", "axial runout of each end face; counts once", "axial run-out ↗ to the outside as datum"),
)

#: pins
PIN_SLOTS = (
    Slot("pin_diameter", "size", "pocket", "pin", "d_p", "pin, mating size", "size ⌀, envelope Ⓔ", required=True, feature="shaft", wears=-1),
    Slot("pin_straightness", "zone", "pocket", "pin", "w", "bow of the pin's axis, 2w at mid-length", "straightness ⌀t of the axis"),
)

#: rings, but for their pitch circles
RING_SLOTS = (
    Slot("pitch_shrinkage_b", "size", "cage", "ring_b", "x_w", "loss of ring B's pitch diameter by welding", "from trial parts", nonnegative=True, scales=False),
    Slot("hole_position_common", "zone", "pocket", "none", "j", "part of a hole's position that both rings share (bored together)", "position ⌀t"),
    Slot("hole_position_a", "zone", "pocket", "ring_a", "a", "position of the hole in ring A, in the plane of its inner face", "position ⌀t to the ring's datum"),
    Slot("hole_position_b", "zone", "pocket", "ring_b", "b", "position of the hole in ring B, in the plane of its inner face", "position ⌀t to the ring's datum"),
    Slot("pin_seat_a", "zone", "pocket", "ring_a", "s", "pin axis against its hole in ring A", "coaxiality ⌀t, thread or press seat"),
    Slot("pin_squareness_a", "zone", "pocket", "ring_a", "n", "displacement of the free pin's end where it must enter ring B", "squareness ⌀t₀ over l₀: t = 2t₀·W/l₀"),
    Slot("ring_hole_b", "size", "pocket", "ring_b", "d_hB", "hole at the welded end, mating size", "size ⌀, envelope Ⓔ", feature="hole"),
    Slot("pin_seat_b", "zone", "pocket", "ring_b", "q", "pin axis against its hole in ring B when welded, as the fixture centres it", "from the fixture: coaxiality ⌀t"),
    Slot("ring_offset", "zone", "cage", "none", "ε", "centre of ring B against ring A", "coaxiality ⌀t of ring B to ring A"),
    Slot("ring_phase", "size", "cage", "none", "φ", "rotation of ring B against ring A, as an arc at the pitch radius", "symmetric deviation, nominal 0", nominal_zero=True, scales=False),
    Slot("ring_spacing", "size", "cage", "pin", "W", "distance of the inner faces on the spacers, before welding", "size over the spacers", required=True),
    Slot("ring_parallelism", "zone", "cage", "none", "p", "the spacing differs by p_x cosθ + p_y sinθ", "parallelism t over the pitch circle"),
    Slot("weld_shrinkage", "size", "pocket", "pin", "h_w", "loss of spacing at this pin by welding", "from trial parts", nonnegative=True, scales=False),
    Slot("ring_face_flatness", "one-sided", "pocket", "none", "k_f", "local form error of both inner faces together", "flatness, both faces added"),
)

#: what the mounted bearing leaves the mean roller
CLEARANCE_SLOT = Slot("radial_internal_clearance", "size", "cage", "none", "G_r", "radial internal clearance, mounted, of the mean roller", "ISO 5753-1", signed=True, scales=False)

LEANS = {"pin_squareness_a": "a pin leans with its seat: see pin_squareness_a"}
OFF_CENTRE = {"pin_seat_b": "the weld holds a pin off the middle of its hole: see pin_seat_b"}

BORE_GAP = BuiltIn("bore_clearance", "mm", "pin in bore, on diameter")
LEAN_GAPS = (
    BuiltIn("pin_skew", "mrad", "tangential lean of the pin, which steers its roller", signed=True),
    BuiltIn("pin_tilt", "mrad", "radial lean of the pin", signed=True),
)
ENTRY_GAPS = (
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
)
RACEWAY_GAP = BuiltIn(
    "raceway_clearance",
    "mm",
    "radial internal clearance in operation, of the mean roller",
    ("radial_internal_clearance",),
    scope="cage",
    in_operation=True,
)
PITCH_GAP = BuiltIn("pitch_difference", "mm", "difference of adjacent pitches of the finished pins, without sign")
WHOLE_CAGE_GAPS = (
    BuiltIn(
        "ring_entry",
        "mm",
        "what is left when the rings are set so that every pin enters ring B",
        ("ring_hole_b",),
        scope="cage",
        hints=LEANS,
    ),
    BuiltIn("cage_float", "mm", "least running clearance once the cage has centred itself", scope="cage"),
)
WALL_GAP = BuiltIn("roller_wall", "mm", "least wall of the roller round its bore")

OPTIONS = (
    Option(
        "weld_fixture",
        "centres",
        ("centres", "squares"),
        meaning="what the welding fixture does with the pin's free end",
    ),
    Option("pin_modulus", 206000.0, unit="N/mm2", meaning="modulus of elasticity of the pin"),
)


def vector(name: str) -> tuple[Any, Any]:
    """Return the symbols of the parts of a vector, outward and along the circumference."""
    return symbol(f"{name}.r"), symbol(f"{name}.t")


def bore_steps() -> list[Step]:
    """Return what pin and bore leave each other."""
    bore, pin, runout = map(symbol, ("roller_bore", "pin_diameter", "roller_bore_runout"))
    return [
        Step("bore_clearance", bore - pin, "d_b − d_p"),
        Step("clearance_all_turn", (bore - pin - runout) / 2, "c, left over a whole turn of the roller"),
        Step(
            "clearance_some_turn",
            (bore - pin + runout) / 2,
            "c₊, the farthest the roller moves at some moment",
        ),
    ]


def pitch_steps() -> list[Step]:
    """Return how much the pitch to the next pin differs from that one's to the one after it, from ``pin_middle``."""
    first = symbol("pin_middle.t")
    second, third = following(first), following(first, 2)
    note = "|P_t(i+2) − 2P_t(i+1) + P_t(i)| at mid-length"
    return [Step("pitch_difference", Magnitude(first - 2 * second + third), note)]


def entry_steps(span: Any, length: str) -> list[Step]:
    """Return the steps of pin entry, stresses and weld gap from ``pin_to_hole``, for pins ``span`` (in words ``length``) long.

    A cage is closed and welded once, new and at 20 °C: in every state these gaps are those of the sizes as made.
    """
    pin, hole = made("pin_diameter"), made("ring_hole_b")
    bend = 3 * symbol("pin_modulus") * pin / (2 * span**2)
    locked = [symbol(f"pin_seat_b.{axis}") - symbol(f"pin_to_hole.{axis}") for axis in ("r", "t")]
    seat = Length(*vector("pin_seat_b"))
    return [
        Step("hole_play", (hole - pin) / 2, "radial play of the pin in ring B's hole"),
        Step("pin_entry", symbol("hole_play") - Length(*vector("pin_to_hole")), "play less the distance of pin and hole"),
        Step("stress_per_mm", bend, f"3·E·d_p/(2{length}²), cantilever"),
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


def parameters(options: Mapping[str, Any]) -> Mapping[str, float]:
    """Return the numbers that the options of ``[cage]`` give: modulus, and twice the weld's deflection where squared."""
    return {
        "pin_modulus": float(options.get("pin_modulus", 206000.0)),
        "weld_factor": 2.0 if options.get("weld_fixture") == "squares" else 1.0,
        **SHARES,
    }
