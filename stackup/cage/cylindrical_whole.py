"""Gaps 11 and 12 of the cylindrical cage (model.md section 3): rings over pins, and the cage that centres itself."""

from __future__ import annotations

from stackup.cage.posed import COSINE, SINE, Place, Station, centring, ring_fit, shifted
from stackup.chain.model import Step
from stackup.chain.symbols import Magnitude, symbol


def whole_cage_steps() -> list[Step]:
    """Return the steps of ring_entry and cage_float."""
    return [
        Step(
            "ring_entry",
            ring_fit(symbol("hole_play"), symbol("pin_off_hole.r"), symbol("pin_off_hole.t")),
            "least over all pockets, ring B shifted and turned to where it is greatest",
        ),
        *_centring_steps(),
    ]


def _centring_steps() -> list[Step]:
    """The cage shifted by (x, y): x cosθ + y sinθ is added to P_r at all stations.

    Both ends stand half·lean off their mean, |m + s ± d| is at most |m + s| + |d|; so do both seats with G_r/4.
    """
    reach, half_play = symbol("reach"), symbol("raceway_play") / 2
    seats, play = symbol("seat") + half_play, symbol("clearance_all_turn")
    steps = [
        Step("misfit_of_ends", symbol("pin_sag.r") - seats, "P_r − ρ − G_r/4, mean of both ends"),
        Step("spread_of_ends", Magnitude(reach * symbol("pin_lean.r") / 2) + half_play, "either end or seat off it"),
        Step("misfit_of_middle", symbol("pin_middle.r") - seats, "P_r − ρ − G_r/4 at mid-length"),
    ]
    stations = (
        Station(symbol("misfit_of_ends"), symbol("spread_of_ends"), symbol("aside_end")),
        Station(symbol("misfit_of_middle"), half_play, symbol("aside_middle")),
    )
    places = [
        Place(symbol(f"pin_{place}.r") - seats, symbol("aside_middle" if place == "middle" else "aside_end"))
        for place in ("near", "middle", "far")
    ]
    floor = shifted(play, places, half_play, symbol("ring_offset.r"))
    ceiling = play - (Magnitude(symbol("misfit_of_middle")) + half_play)
    number = centring(play, stations, (COSINE, SINE), floor, ceiling)
    return [*steps, Step("cage_float", number, "least over all pockets, the cage shifted to where it is greatest")]
