"""A third kind of cage, invented for the tests: two plates, one with bored pockets, one set on its spigots."""

import sympy

from stackup.cage.kind import BuiltIn, Kind, Option, RatingInputs, RollerSet, Slot
from stackup.cage.posed import ring_fit
from stackup.chain.model import Step
from stackup.chain.symbols import Length, following, symbol

SLOTS = (
    Slot("plate_roller", "size", "pocket", "roller", "D", "roller", "size ⌀", required=True, feature="shaft", wears=-1),
    Slot("plate_bore", "size", "pocket", "roller", "d", "bore of the roller", "size ⌀", required=True),
    Slot("plate_pocket", "size", "pocket", "ring_a", "H", "pocket", "size ⌀", required=True, feature="hole"),
    Slot("plate_pitch", "size", "cage", "ring_a", "T", "pitch circle", "size ⌀", required=True, turns=True),
    Slot("plate_place", "zone", "pocket", "ring_a", "v", "place of the pocket", "position ⌀t"),
    Slot("plate_lean", "one-sided", "pocket", "ring_a", "q", "pocket out of square", "squareness t"),
    Slot("plate_eye", "size", "pocket", "ring_b", "e", "play of the spigot in its eye", "size", signed=True),
    Slot("plate_eye_place", "zone", "pocket", "ring_b", "u", "place of the eye", "position ⌀t"),
)
GAPS = (
    BuiltIn("plate_play", "mm", "play of the roller in its pocket"),
    BuiltIn("plate_land", "mm", "what is left between a pocket and the next"),
    BuiltIn("plate_wall", "mm", "wall of the roller round its bore"),
    BuiltIn("plate_fit", "mm", "can the second plate be put on", ("plate_eye",), scope="cage"),
)
PITCH, ROLLER, POCKET, STANDS = (symbol(f"plate_{name}") for name in ("pitch", "roller", "pocket", "stands"))
OUT, ASIDE = symbol("plate_place.r"), symbol("plate_place.t")


def steps(given):  # noqa: ARG001 - the same for every drawing
    turn = 2 * sympy.pi / symbol("rollers") + 2 * (following(ASIDE) - ASIDE) / PITCH
    play = symbol("plate_eye") / 2
    off = OUT - symbol("plate_eye_place.r"), ASIDE - symbol("plate_eye_place.t")
    chord = 2 * sympy.sqrt(STANDS * following(STANDS)) * sympy.sin(turn / 2)
    return (
        Step("plate_play", POCKET - ROLLER - symbol("plate_lean") * symbol("finish_factor"), "diametral"),
        Step("plate_stands", PITCH / 2 + OUT, "radius of the pocket"),
        Step("plate_chord", Length(following(STANDS) - STANDS, chord), "from axis to axis"),
        Step("plate_land", symbol("plate_chord") - (POCKET + following(POCKET)) / 2, "less both radii"),
        Step("plate_wall", (ROLLER - symbol("plate_bore")) / 2, "radially"),
        Step("plate_fit", ring_fit(play, *off), "least of all pockets, the second plate where that is greatest"),
    )




def size(sizes, name):
    return float(sizes[f"plate_{name}"].nominal[0])


def rating(sizes):
    return RatingInputs(size(sizes, "roller"), size(sizes, "roller"), size(sizes, "pitch"), 0.0)


ROLLERS = RollerSet(("plate_land",), "plate_wall", rating, lambda sizes: {"plate_pitch": size(sizes, "pitch")})
FINISH = Option("finish", "bored", ("bored", "reamed"), meaning="how the pockets are made")
NUMBERS = {"bored": {"finish_factor": 1.0}, "reamed": {"finish_factor": 0.7}}
KIND = Kind("plate", "plate cage", SLOTS, GAPS, steps, (FINISH,), lambda said: NUMBERS[said["finish"]],
            closing="plate_fit", roller_set=ROLLERS)  # fmt: skip
