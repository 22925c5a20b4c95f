"""Where the pins of a tapered cage stand: cone, stations, apex, entry; ``docs/model.md``, section 8.

Radii are counted from the bearing axis.  Zones lie square to the hole, so a radial part of a zone counts 1/cosβ in the
planes of the rings; the offset of ring B lies in the bearing's plane.  Lengths in mm, angles in rad.
"""

from __future__ import annotations

from typing import Any

import sympy

from stackup.cage.pinned import entry_steps, vector
from stackup.chain.model import Step
from stackup.chain.symbols import Length, Magnitude, made, nominal, nominal_now, symbol

PITCH_A, PITCH_B = "hole_pitch_diameter_a", "hole_pitch_diameter_b"


def cone_steps() -> list[Step]:
    """Return β and its functions, from the nominals of the drawing: numbers, the same in every state."""
    rise = (nominal(PITCH_B) - nominal("pitch_shrinkage_b") - nominal(PITCH_A)) / 2
    tangent = symbol("cone_tangent")
    return [
        Step("drawn_spacing", nominal("ring_spacing") - nominal("weld_shrinkage"), "W₀, nominal spacing of the finished cage"),
        Step("cone_tangent", rise / symbol("drawn_spacing"), "tanβ, β the nominal lean of the pins to the bearing axis"),
        Step("cone_secant", sympy.sqrt(1 + tangent**2), "1/cosβ"),
        Step("cone_cosine", 1 / symbol("cone_secant"), "cosβ"),
        Step("cone_sine", tangent * symbol("cone_cosine"), "sinβ"),
    ]


def pin_steps() -> list[Step]:
    """Return where the pin axis stands in the planes of both rings: radii R_A, R_B; P_t along the circumference."""
    shift = vector("ring_shift")
    steps = [
        Step(
            "spacing",
            symbol("ring_spacing") + symbol("ring_parallelism.r") - symbol("weld_shrinkage"),
            "W_i, what the finished pin spans, along the bearing axis",
        ),
        Step("ring_shift.r", symbol("ring_offset.r"), "ε_i, ring B against ring A at this pocket"),
        Step("ring_shift.t", symbol("ring_offset.t") + symbol("ring_phase"), "with the turn of ring B"),
    ]
    for ring, sign, pitch in (
        ("a", -1, symbol(PITCH_A)),
        ("b", 1, symbol(PITCH_B) - symbol("pitch_shrinkage_b")),
    ):
        own = [_summed(("hole_position_common", f"hole_position_{ring}", f"pin_seat_{ring}"), axis) for axis in ("r", "t")]
        steps += [
            Step(f"pin_{ring}.r", pitch / 2 + symbol("cone_secant") * own[0] + sign * shift[0] / 2, f"R_{ring.upper()}, pin axis at ring {ring.upper()}, from the bearing axis"),
            Step(f"pin_{ring}.t", own[1] + sign * shift[1] / 2, f"pin axis at ring {ring.upper()}, along the circumference"),
        ]
    return steps


def _summed(zones: tuple[str, ...], axis: str) -> Any:
    return sum(symbol(f"{zone}.{axis}") for zone in zones)


def station_steps() -> list[Step]:
    """Return where the pin axis stands at the roller's ends and at mid-length, bow included."""
    reach = symbol("reach")
    steps = [
        Step(
            "reach",
            symbol("roller_length") * symbol("cone_cosine") / symbol("spacing"),
            "L_w cosβ/W_i; stations at λ = (1 ∓ reach)/2 and ½",
        )
    ]
    for axis, swell in (("r", symbol("cone_secant")), ("t", sympy.Integer(1))):
        a, b, bow = symbol(f"pin_a.{axis}"), symbol(f"pin_b.{axis}"), swell * symbol(f"pin_straightness.{axis}")
        lean, mean, sag = symbol(f"pin_lean.{axis}"), symbol(f"pin_mean.{axis}"), symbol(f"pin_sag.{axis}")
        steps += [
            Step(f"pin_lean.{axis}", b - a, "ring B less ring A"),
            Step(f"pin_mean.{axis}", (a + b) / 2, "between the rings"),
            Step(f"pin_sag.{axis}", mean + 2 * (1 - reach**2) * bow, "mean of the two ends, 8λ(1−λ) = 2(1−reach²)"),
            Step(f"pin_half.{axis}", reach * lean / 2, "from mid-length to the roller's large end, without the bow"),
            Step(f"pin_middle.{axis}", mean + 2 * bow, "at mid-length"),
        ]
        for end, sign in (("small", -1), ("large", 1)):
            place = sag + sign * symbol(f"pin_half.{axis}")
            steps.append(Step(f"pin_{end}.{axis}", place, f"at the roller's {end} end"))
    return steps


def lean_steps() -> list[Step]:
    """Return lean and apex of the pin: pin_skew, pin_tilt, apex_crossing, apex_miss."""
    spacing, out, along = symbol("spacing"), symbol("pin_lean.r"), symbol("pin_lean.t")
    rise_now = nominal_now(PITCH_B) - nominal_now("pitch_shrinkage_b") - nominal_now(PITCH_A)
    spacing_now = nominal_now("ring_spacing") - nominal_now("weld_shrinkage")
    passing = symbol("pin_mean.r") * along - out * symbol("pin_mean.t")
    return [
        Step("pin_skew", 1000 * symbol("cone_cosine") * along / spacing, "along the circumference, mrad"),
        Step("cone_angle", sympy.atan(symbol("cone_tangent")), "β"),
        Step("pin_tilt", 1000 * (sympy.atan(out / spacing) - symbol("cone_angle")), "in the meridian plane, more than β, mrad"),
        Step("apex_nominal", nominal_now(PITCH_A) * spacing_now / rise_now, "apex before the inner face of ring A, at nominal"),
        Step("apex_distance", symbol("pin_a.r") * spacing / out, "where the pin axis, seen in its meridian plane, cuts the bearing axis"),
        Step("apex_crossing", symbol("apex_distance") - symbol("apex_nominal"), "farther from ring A than at nominal"),
        Step("apex_miss", Magnitude(passing / Length(out, along)), "|R_A P_t,B − R_B P_t,A| over the length of the lean"),
    ]


def into_ring_steps() -> list[Step]:
    """Return pin entry, stresses and weld gap: a pin fixed in ring A against its hole in ring B, square to the hole."""
    free = [_summed(("hole_position_a", "pin_seat_a", "pin_squareness_a"), axis) for axis in ("r", "t")]
    pitch = made(PITCH_A) - made(PITCH_B) - (nominal(PITCH_A) - nominal(PITCH_B))
    cosine, sine = symbol("cone_cosine"), symbol("cone_sine")
    across = cosine * pitch / 2 + sine * (made("ring_spacing") - nominal("ring_spacing"))
    set_so = sine * symbol("ring_parallelism.r") - cosine * symbol("ring_shift.r")
    return [
        Step("pin_off_hole.r", free[0] - symbol("hole_position_b.r") + across, "pin's free end against its hole in ring B, rings concentric and parallel: radially, square to the hole"),
        Step("pin_off_hole.t", free[1] - symbol("hole_position_b.t"), "the same along the circumference"),
        Step("pin_to_hole.r", symbol("pin_off_hole.r") + set_so, "v, with the rings as the fixture sets them"),
        Step("pin_to_hole.t", symbol("pin_off_hole.t") - symbol("ring_shift.t"), "v along the circumference"),
        Step("pin_span", symbol("cone_secant") * made("ring_spacing"), "W/cosβ, free length of the pin"),
        *entry_steps(symbol("pin_span"), "span"),
    ]
