"""Where the rollers of a tapered cage run, and what that leaves: running clearance, spacing, ends and wall.

``docs/model.md``, section 8.  A roller stands at the seat radius r = F/2 + (D/2)·cosν/cos(β − ν), F and D being
those of the plane that its axis cuts; r is linear along the axis.  Lengths in mm, angles in rad.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import sympy

from stackup.chain.model import Step
from stackup.chain.symbols import Greatest, Least, Length, Magnitude, following, made, nominal, scale, symbol

STATIONS = ("small", "middle", "large")
ENDS = ("small", "large")


def seat_steps() -> list[Step]:
    """Return where the roller axis runs on the inner raceway: at mid-length, and half of what it rises to the large end."""
    length, taper = symbol("roller_length"), symbol("roller_tangent")
    cosine, share = symbol("cone_cosine"), symbol("seat_share")
    race_a, race_b = symbol("inner_raceway_a"), symbol("inner_raceway_b")
    return [
        Step("roller_tangent", sympy.tan(symbol("roller_taper")), "tanν"),
        Step("roller_middle", symbol("roller_diameter") - length * taper, "diameter of the roller at mid-length"),
        Step("roller_small", symbol("roller_diameter") - 2 * length * taper, "diameter of the roller at its small end"),
        Step("seat_share", 1 / (2 * (cosine + symbol("cone_sine") * taper)), "½cosν/cos(β − ν)"),
        Step("race_slope", (race_b - race_a) / (2 * symbol("drawn_spacing") * scale("inner_ring")), "rise of the inner raceway along the bearing axis, W₀ grown with the inner ring"),
        Step("seat_middle", race_a / 2 + symbol("race_slope") * symbol("spacing") / 2 + symbol("roller_middle") * share, "r at mid-length, roller axis on the inner raceway"),
        Step("seat_half", length * (symbol("race_slope") * cosine / 2 + taper * share), "r at the large end less r at mid-length"),
    ]


def clearance_steps() -> list[Step]:
    """Return the radial internal clearance of the state: as made it comes to G_r."""
    tangent = sympy.tan(nominal("roller_taper"))
    cosine, lean = symbol("cone_cosine"), symbol("cone_sine") * tangent
    race_now = (symbol("inner_raceway_a") + symbol("inner_raceway_b")) / 2
    race_made = (made("inner_raceway_a") + made("inner_raceway_b")) / 2
    middle = nominal("roller_diameter") - nominal("roller_length") * tangent
    across = symbol("rollers_across")
    return [
        Step("rollers_across", 2 * cosine * middle / (cosine**2 - lean**2), "what two mean rollers as made take of the diameter, at mid-length"),
        Step(
            "raceway_clearance",
            scale("outer_ring") * (race_made + across + symbol("radial_internal_clearance"))
            - (race_now + scale("roller") * across),
            "G_r of the state: what inner raceway and mean roller leave of the outer raceway",
        ),
        Step("raceway_play", Greatest(symbol("raceway_clearance"), 0) / 2, "G_r/2, preload counts as 0"),
    ]


def running_steps() -> list[Step]:
    """Return running_clearance_small and _large: the pin must not carry the roller's load."""
    cosine, reach = symbol("cone_cosine"), symbol("reach")
    offset, turn = symbol("off_seat_ends"), symbol("off_seat_half")
    half_play = symbol("half_play")
    steps = [
        Step("off_seat_ends", symbol("pin_sag.r") - symbol("seat_middle"), "mean of both ends: pin less seat, from the bearing axis"),
        Step("off_seat_half", symbol("pin_half.r") - symbol("seat_half"), "half of what the pin rises more than the seat"),
        Step("off_seat_small", offset - turn, "R − r at the small end"),
        Step("off_seat_middle", symbol("pin_middle.r") - symbol("seat_middle"), "R − r at mid-length"),
        Step("off_seat_large", offset + turn, "R − r at the large end"),
        Step("half_play", cosine * symbol("raceway_play") / 2, "cosβ·G_r/4"),
    ]
    for place in STATIONS:
        steps += [
            Step(f"misfit_{place}", cosine * symbol(f"off_seat_{place}"), "(R − r)cosβ, pin to roller axis on the inner raceway"),
            Step(f"farther_{place}", Magnitude(symbol(f"misfit_{place}") - half_play) + half_play, "the larger of its amounts over both seats"),
        ]
    steps += [
        Step("seat_cone", symbol("seat_half") / symbol("seat_middle"), "(r_L − r_S)/(r_L + r_S)"),
        Step("aside_end", symbol("pin_sag.t") * symbol("seat_cone") - symbol("pin_half.t"), "what a turn about the bearing axis leaves along the circumference, at either end"),
        Step("aside_middle", 2 * reach**2 * symbol("pin_straightness.t"), "the same at mid-length"),
    ]
    for end in ENDS:
        needs = [
            Length(symbol(f"farther_{end}"), symbol("aside_end")),
            Length(symbol("farther_middle"), symbol("aside_middle")),
        ]
        steps.append(Step(f"running_clearance_{end}", symbol("clearance_all_turn") - Greatest(*needs), f"c less the farthest that the pin is off the roller, mid-length to {end} end"))
    return steps


def spacing_steps() -> list[Step]:
    """Return roller_spacing_small and _large: a roller turns about the bearing axis as a whole."""
    return [*_radius_steps(), *_turn_steps(), *(step for end in ENDS for step in _between_steps(end))]


def _radius_steps() -> list[Step]:
    """Return where a roller runs that keeps nearest to its pin at mid-length, and how far it is off it there."""
    off, over = symbol("off_seat_middle"), symbol("off_radially")
    steps = [
        Step("pin_beyond", Greatest(off - symbol("raceway_play"), 0), "farther out than the roller can go"),
        Step("pin_within", Greatest(-off, 0), "farther in than the roller can go"),
        Step("off_radially", symbol("pin_beyond") - symbol("pin_within"), "pin to roller axis at mid-length, from the bearing axis"),
        Step("radius_middle", symbol("pin_middle.r") - over, "where the roller runs at mid-length: between the raceways, nearest to the pin"),
        Step("radius_small", symbol("radius_middle") - symbol("seat_half"), "the same at the small end"),
        Step("radius_large", symbol("radius_middle") + symbol("seat_half"), "the same at the large end"),
        Step("freedom", Greatest(symbol("clearance_some_turn"), 0), "c₊, none where the pin fills the bore"),
    ]
    for place in STATIONS:
        more = 0 if place == "middle" else symbol(f"off_seat_{place}") - off
        room = Greatest(symbol("freedom") ** 2 - symbol(f"off_{place}") ** 2, 0)
        steps += [
            Step(f"off_{place}", symbol("cone_cosine") * (over + more), "m, pin to roller axis, square to it"),
            Step(f"way_{place}", sympy.sqrt(room), "f, left along the circumference"),
        ]
    return steps


def _turn_steps() -> list[Step]:
    """Return how close a roller and the next one come to each other: sine and cosine of half the angle between them."""

    def ways(sign: int) -> list[Any]:
        along = {place: symbol(f"pin_{place}.t") + sign * symbol(f"way_{place}") for place in STATIONS}
        return [along["middle"], *(along[end] * symbol(f"widening_{end}") for end in ENDS)]

    middle = symbol("radius_middle")
    between = 2 * sympy.pi / symbol("rollers") + following(symbol("turn_back")) - symbol("turn_ahead")
    return [
        *(Step(f"widening_{end}", middle / symbol(f"radius_{end}"), f"of a way at the {end} end, as it is at mid-length") for end in ENDS),
        Step("turn_back", Greatest(*ways(-1)) / middle, "α⁻, the farthest back the roller can go"),
        Step("turn_ahead", Least(*ways(1)) / middle, "α⁺, the farthest ahead"),
        Step("half_sine", sympy.sin(between / 2), "sin(Δ/2), Δ the angle between both rollers at their closest"),
        Step("half_cosine", sympy.sqrt(1 - symbol("half_sine") ** 2), "cos(Δ/2)"),
        Step("half_lean", sympy.sqrt(1 - symbol("cone_sine") ** 2 * symbol("half_sine") ** 2), "cos(ψ/2), ψ the angle between both roller axes"),
    ]


def _between_steps(end: str) -> list[Step]:
    """Return the gap between two rollers at one of their ends."""
    radius, diameter = symbol(f"radius_{end}"), symbol("roller_diameter" if end == "large" else "roller_small")
    aside, passed = symbol(f"chord_aside_{end}"), symbol(f"passed_{end}")
    out = (following(radius) - radius) * symbol("half_cosine")
    return [
        Step(f"chord_aside_{end}", (radius + following(radius)) * symbol("half_sine"), "chord along the circumference, below 0 where the rollers have passed each other"),
        Step(f"passed_{end}", Greatest(-aside, 0), "how far they have passed each other"),
        Step(f"chord_{end}", Length(out, aside + passed) - passed, "√(r_i² + r_j² − 2r_i r_j cosΔ), written without cancellation; below 0 where Δ is"),
        Step(f"roller_spacing_{end}", symbol(f"chord_{end}") - symbol("half_lean") * (diameter + following(diameter)) / 2, f"chord less both radii, at the {end} end"),
    ]


def end_steps(face: str, is_spherical: bool) -> list[Step]:
    """Return end_clearance and roller_wall; ``face`` is the form of the rings' inner faces."""
    tilted = Length(symbol("ring_parallelism.x"), symbol("ring_parallelism.y"))
    narrower = ("ring_face_flatness", "face_lean", "roller_length", "roller_end_runout")
    clear = symbol("cone_secant") * symbol("spacing") - sum(map(symbol, narrower))
    return [
        Step("face_lean", tilted * symbol("roller_diameter") / symbol("hole_pitch_diameter_b"), "|p|·D_w/D_hB, on the safe side"),
        *_face_steps(face, is_spherical),
        Step("end_clearance", clear + symbol("face_a") + symbol("face_b"), "along the roller axis, less all that narrows it"),
        Step("roller_wall", (symbol("roller_small") - symbol("roller_bore") - symbol("roller_bore_runout")) / 2, "at the small end, less the eccentricity of the bore"),
    ]


def _face_steps(face: str, is_spherical: bool) -> Sequence[Step]:
    """Return κ_A and κ_B: how the clearance between face and end differs from that along the roller axis."""
    edge, bore, tangent = symbol("roller_diameter") / 2, symbol("roller_bore") / 2, symbol("cone_tangent")
    curve = symbol("cone_sine") / symbol("hole_pitch_diameter_b")
    small: Any = 0
    if face == "flat":
        small = -tangent * symbol("roller_small") / 2
        touch = Least(Greatest(symbol("roller_sphere_radius") * symbol("cone_sine"), bore), edge) if is_spherical else edge
        large: Any = _fall(symbol("face_touch"), is_spherical) - symbol("face_touch") * tangent
        steps = [Step("face_touch", touch, "how far from its axis the large end is nearest to ring B")]
    elif face == "conical":
        places = (bore, edge) if is_spherical else (edge,)
        gaps = [_fall(place, is_spherical) - place**2 * curve for place in places]
        large = Least(*gaps) if is_spherical else gaps[0]
        steps = []
    else:
        large, steps = _fall(bore, is_spherical), []
    return [
        *steps,
        Step("face_a", sympy.sympify(small), "κ_A, what the face of ring A adds"),
        Step("face_b", sympy.sympify(large), "κ_B, what the face of ring B and the form of the large end add"),
    ]


def _fall(place: Any, is_spherical: bool) -> Any:
    """Return u(x) = R_s − √(R_s² − x²), by how much a spherical end has fallen back at x from its axis."""
    if not is_spherical:
        return 0
    sphere = symbol("roller_sphere_radius")
    return sphere - sympy.sqrt(Greatest(sphere**2 - place**2, 0))
