"""How the rollers of the tapered cage stand round it: inputs of their rating, and where the raceways put them."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping

from stackup.cage.kind import RatingInputs, RollerSet
from stackup.cage.tapered_layout import Cone, Dimensions, Parts, cone, middle, nominal

#: mm by which the last two rounds of an iteration may differ
CLOSE = 1e-10
#: a pitch circle moves the next round by some hundredths of its own move
MOST_ROUNDS = 50


def rating(dimensions: Dimensions) -> RatingInputs:
    """Return D_we and D_pw at mid-length, L_we (L_w where not given), α = β + ν of the outer raceway.

    ISO 281: D_we of a tapered roller is the mean of its diameters; D_pw is the circle of the roller centres, here in the
    middle of both seats (r + G_r/4).
    """
    layout, parts = cone(dimensions), _parts(dimensions, nominal)
    pitch = 2 * parts.seats(layout)[0] + max(nominal(dimensions, "radial_internal_clearance"), 0.0) / 2
    length = parts.length
    if "roller_effective_length" in dimensions:
        length = nominal(dimensions, "roller_effective_length")
    return RatingInputs(parts.middle, length, pitch, layout.angle + parts.taper)


def on_raceways(dimensions: Dimensions) -> Mapping[str, float]:
    """Return the nominal pitch circles with which the pins stand at r + G_r/4 at both ends, to the nanometre.

    Sizes stand at the middle of their tolerances, β follows from the nominals: the circles are found by iteration.
    """
    names = ("hole_pitch_diameter_a", "hole_pitch_diameter_b")
    found = tuple(nominal(dimensions, name) for name in names)
    for _ in range(MOST_ROUNDS):
        before, found = found, _circles(dimensions, found)
        if max(abs(a - b) for a, b in zip(before, found, strict=True)) <= CLOSE:
            break
    return {name: round(value, 6) for name, value in zip(names, found, strict=True)}


def _circles(dimensions: Dimensions, circles: tuple[float, ...]) -> tuple[float, float]:
    """Return nominals of both pitch circles for seats that are those of pins on the circles given."""
    layout = cone(dimensions)
    rise = circles[1] - nominal(dimensions, "pitch_shrinkage_b") - circles[0]
    layout = Cone(math.atan2(rise / 2, layout.spacing), layout.spacing)
    spacing = middle(dimensions, "ring_spacing") - middle(dimensions, "weld_shrinkage")
    parts = _parts(dimensions, middle)
    seat, half = parts.seats(layout)
    # the raceway's place is counted from ring A: another spacing moves mid-length along it
    seat += (parts.race_b - parts.race_a) / (2 * layout.spacing) * (spacing - layout.spacing) / 2
    seat += max(middle(dimensions, "radial_internal_clearance"), 0.0) / 4
    reach = parts.length * math.cos(layout.angle) / spacing
    radii = (seat - half / reach, seat + half / reach + middle(dimensions, "pitch_shrinkage_b") / 2)
    names = ("hole_pitch_diameter_a", "hole_pitch_diameter_b")
    a, b = (
        2 * radius + nominal(dimensions, name) - middle(dimensions, name)
        for radius, name in zip(radii, names, strict=True)
    )
    return a, b


def _parts(dimensions: Dimensions, of: Callable[[Dimensions, str], float]) -> Parts:
    names = ("roller_diameter", "roller_length", "roller_taper", "inner_raceway_a", "inner_raceway_b")
    return Parts(*(of(dimensions, name) for name in names))


ROLLER_SET = RollerSet(("roller_spacing_small", "roller_spacing_large"), "roller_wall", rating, on_raceways)
