"""A third kind of cage, invented for the tests: two plates with bored pockets for rollers, on spigots of the rollers."""

import math

import sympy

from stackup.cage.kind import BuiltIn, Kind, Option, RatingInputs, RollerSet, Slot
from stackup.cage.posed import ring_fit
from stackup.chain.model import Step
from stackup.chain.symbols import Greatest, Length, following, symbol

SLOTS = (
    Slot("plate_roller", "size", "pocket", "roller", "D", "roller", "size ⌀", required=True, feature="shaft", wears=-1),
    Slot("plate_bore", "size", "pocket", "roller", "d", "bore of the roller", "size ⌀", required=True),
    Slot("plate_pocket", "size", "pocket", "ring_a", "H", "pocket", "size ⌀", required=True, feature="hole"),
    Slot("plate_pitch", "size", "cage", "ring_a", "T", "pitch circle of the pockets", "size ⌀", required=True, turns=True),
    Slot("plate_place", "zone", "pocket", "ring_a", "v", "place of the pocket", "position ⌀t"),
    Slot("plate_lean", "one-sided", "pocket", "ring_a", "q", "pocket out of square", "squareness t"),
    Slot("plate_spigot", "size", "pocket", "pin", "s", "spigot", "size ⌀", feature="shaft"),
    Slot("plate_eye", "size", "pocket", "ring_b", "e", "eye of the second plate", "size ⌀", feature="hole"),
    Slot("plate_eye_place", "zone", "pocket", "ring_b", "u", "place of the eye", "position ⌀t"),
)
GAPS = (
    BuiltIn("plate_play", "mm", "play of the roller in its pocket"),
    BuiltIn("plate_land", "mm", "what is left between a pocket and the next"),
    BuiltIn("plate_wall", "mm", "wall of the roller round its bore"),
    BuiltIn("plate_fit", "mm", "can the second plate be put on", ("plate_spigot", "plate_eye"), scope="cage"),
)


def steps(given):
    """Return the steps over all slots."""
    radius, pocket, out = symbol("plate_pitch") / 2, symbol("plate_pocket"), symbol("plate_place.r")
    play = (symbol("plate_eye") - symbol("plate_spigot")) / 2
    off = [symbol(f"plate_place.{axis}") - symbol(f"plate_eye_place.{axis}") for axis in ("r", "t")]
    return (
        Step("plate_play", pocket - symbol("plate_roller") - symbol("plate_lean") * symbol("finish_factor"), "diametral"),
        Step("plate_stands", radius + out, "where the pocket stands"),
        Step("plate_turn", 2 * sympy.pi / symbol("rollers") + (following(symbol("plate_place.t")) - symbol("plate_place.t")) / radius, "to the next"),
        Step("plate_chord", 2 * sympy.sqrt(symbol("plate_stands") * following(symbol("plate_stands"))) * sympy.sin(symbol("plate_turn") / 2), "aside"),
        Step("plate_land", Length(following(symbol("plate_stands")) - symbol("plate_stands"), symbol("plate_chord")) - (pocket + following(pocket)) / 2, "less both radii"),
        Step("plate_wall", Greatest((symbol("plate_roller") - symbol("plate_bore")) / 2, 0), "radially"),
        Step("plate_fit", ring_fit(play, *off), "least over all pockets, the second plate shifted and turned to where it is greatest"),
    )  # fmt: skip


def rating(dimensions):
    """Return the inputs of ISO 281: as long as wide."""
    diameter, pitch = (float(dimensions[name].nominal[0]) for name in ("plate_roller", "plate_pitch"))
    return RatingInputs(diameter, diameter, pitch, 0.0)


KIND = Kind(
    "plate", "plate cage", SLOTS, GAPS, steps, (Option("finish", "bored", ("bored", "reamed"), meaning="how the pockets are made"),),
    lambda options: {"finish_factor": 1.0 if options["finish"] == "bored" else math.sqrt(0.5)}, closing="plate_fit",
    roller_set=RollerSet(("plate_land",), "plate_wall", rating, lambda dimensions: {"plate_pitch": float(dimensions["plate_pitch"].nominal[0])}),
)  # fmt: skip
