"""Whole-cage gaps of the tapered cage (model.md section 4, gap 8): rings over pins, and the cage that centres itself."""

from __future__ import annotations

import sympy

from stackup.cage.posed import COSINE, SINE, Cone, Place, Station, centring, ring_fit, shifted
from stackup.chain.model import Step
from stackup.chain.symbols import Magnitude, nominal, scale, symbol


def whole_cage_steps() -> list[Step]:
    """Return the steps of ring_entry and cage_float."""
    cone = Cone(symbol("cone_cosine"), symbol("cone_sine"), (symbol("ring_parallelism.r"), symbol("ring_parallelism.t")))
    return [
        Step(
            "ring_entry",
            ring_fit(symbol("hole_play"), symbol("pin_off_hole.r"), symbol("pin_off_hole.t"), cone),
            "least over all pockets, ring B shifted and turned to where it is greatest",
        ),
        *_centring_steps(),
    ]


def _centring_steps() -> list[Step]:
    """The cage shifted by (x, y, z): x cosθ + y sinθ is added to R, −z sinβ to every misfit.

    All pockets stand off their seats by what they share (pitch circles, raceway, clearance): z takes it away, and the
    floor with it.  What is left is each pocket's own.
    """
    cosine, half_play, play = symbol("cone_cosine"), symbol("half_play"), symbol("clearance_all_turn")
    steps = [
        Step("misfit_of_ends", cosine * symbol("off_seat_ends") - half_play, "mean of both ends and seats"),
        Step("spread_of_ends", cosine * Magnitude(symbol("off_seat_half")) + half_play, "either end or seat off it"),
        Step("misfit_of_middle", symbol("misfit_middle") - half_play, "mean of both seats at mid-length"),
        *_shared_steps(),
    ]
    stations = (
        Station(symbol("misfit_of_ends"), symbol("spread_of_ends"), symbol("aside_end")),
        Station(symbol("misfit_of_middle"), half_play, symbol("aside_middle")),
    )
    places = [
        Place(
            cosine * (symbol(f"off_seat_{place}") - symbol("off_seat_shared")),
            symbol("aside_middle" if place == "middle" else "aside_end"),
        )
        for place in ("small", "middle", "large")
    ]
    floor = shifted(play, places, half_play, cosine * symbol("ring_offset.r"))
    number = centring(play, stations, (cosine * COSINE, cosine * SINE, -symbol("cone_sine")), floor, play - half_play)
    return [*steps, Step("cage_float", number, "least over all pockets, the cage shifted to where it is greatest")]


def _shared_steps() -> list[Step]:
    """Return how far all pins are off their seats at mid-length by the cage alone, rollers at their nominals."""
    pitches = symbol("hole_pitch_diameter_a") + symbol("hole_pitch_diameter_b") - symbol("pitch_shrinkage_b")
    race_a, race_b = symbol("inner_raceway_a"), symbol("inner_raceway_b")
    spaced = symbol("ring_spacing") - nominal("weld_shrinkage")
    rise = (race_b - race_a) * spaced / (4 * symbol("drawn_spacing") * scale("inner_ring"))
    roller = (nominal("roller_diameter") - nominal("roller_length") * symbol("nominal_tangent")) * symbol("nominal_share")
    return [
        *_nominal_steps(),
        Step("off_seat_shared", pitches / 4 - (race_a / 2 + rise + roller), "R − r at mid-length, by what all pockets share"),
    ]


def _nominal_steps() -> list[Step]:
    """Return tanν and ½cosν/cos(β − ν) of nominal rollers: numbers."""
    tangent = sympy.tan(nominal("roller_taper"))
    share = 1 / (2 * (symbol("cone_cosine") + symbol("cone_sine") * symbol("nominal_tangent")))
    return [
        Step("nominal_tangent", tangent, "tanν of a nominal roller"),
        Step("nominal_share", share, "½cosν/cos(β − ν) of a nominal roller"),
    ]
