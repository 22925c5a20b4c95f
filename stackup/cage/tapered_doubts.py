"""What is impossible or doubtful about the dimensions of a tapered cage, and what its gaps leave out, in words."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence

from stackup.cage import pinned_doubts as doubts
from stackup.cage import tapered_layout
from stackup.cage.kind import Contradiction
from stackup.cage.pinned_doubts import ends, nominal, radius
from stackup.cage.tapered_layout import Cone, Dimensions, Parts, cone

PITCH_A, PITCH_B = "hole_pitch_diameter_a", "hole_pitch_diameter_b"


def contradictions(dimensions: Dimensions) -> Sequence[Contradiction]:
    """Return what no parts can have at their nominals; parts as built are as they are."""
    return (*doubts.contradictions(dimensions), *_contradictions(dimensions))


def _contradictions(dimensions: Dimensions) -> Iterator[Contradiction]:
    def of(name: str) -> float:
        return nominal(dimensions, name)

    shrinkage = of("pitch_shrinkage_b") if "pitch_shrinkage_b" in dimensions else 0.0
    if of(PITCH_B) - shrinkage <= of(PITCH_A):
        less = f" less pitch_shrinkage_b {shrinkage:.9g}" if shrinkage else ""
        found = f"a pitch circle of {of(PITCH_B):.9g}{less} at ring B, of {of(PITCH_A):.9g} at ring A"
        yield Contradiction(PITCH_B, found, f"more than {PITCH_A}: ring A carries the small ends")
        return
    small = of("roller_diameter") - 2 * of("roller_length") * math.tan(min(of("roller_taper"), 1.5))
    if small <= of("roller_bore") < of("roller_diameter"):
        found = f"a bore of {of('roller_bore'):.9g} in a roller of {small:.6g} at its small end"
        yield Contradiction("roller_bore", found, "less than roller_diameter - 2*roller_length*tan(roller_taper)")
    if of("roller_sphere_radius") < of("roller_diameter") / 2:
        found = f"a spherical end of radius {of('roller_sphere_radius'):.9g} on a roller of {of('roller_diameter'):.9g}"
        yield Contradiction("roller_sphere_radius", found, "at least half of roller_diameter")
    span = of("ring_spacing") / math.cos(cone(dimensions).angle)
    if of("roller_length") > span:
        found = f"a roller of {of('roller_length'):.9g} between rings {span:.6g} apart along its axis"
        yield Contradiction("roller_length", found, "at most ring_spacing/cos of the pins' lean")


def warnings(dimensions: Dimensions) -> Sequence[str]:
    """Return warnings: a seat in ring B outside its hole, cones without an apex in common, pins off the rollers' axes."""
    return (*doubts.warnings(dimensions), *_no_common_apex(dimensions), *_off_the_axes(dimensions))


def _off_the_axes(dimensions: Dimensions) -> Iterator[str]:
    """Yield how far the cage must move along the bearing axis where that is more than the ends of its rollers leave.

    cage_float lets it move as far as it needs, and end_clearance is told where it stands.
    """
    layout = cone(dimensions)
    roller = Parts(*(tapered_layout.nominal(dimensions, name) for name in ("roller_diameter", "roller_length", "roller_taper",
                                                            "inner_raceway_a", "inner_raceway_b")))  # fmt: skip
    pins = tapered_layout.nominal(dimensions, PITCH_A) + tapered_layout.nominal(dimensions, PITCH_B) - tapered_layout.nominal(dimensions, "pitch_shrinkage_b")
    off = pins / 4 - roller.seats(layout)[0]
    needed = abs(off) / math.tan(layout.angle)
    room = layout.spacing - roller.length * math.cos(layout.angle)
    if needed > room / 2:
        yield (
            f"{PITCH_A}: at nominal the pins stand {abs(off):.3g} mm {'out' if off > 0 else 'in'} from the axes of the "
            f"rollers; cage_float counts on the cage moving {needed:.3g} mm along the bearing axis, its rings leave the "
            f"rollers {room:.3g} mm in all"
        )


def _no_common_apex(dimensions: Dimensions) -> Iterator[str]:
    """Yield what keeps raceway, roller and pins from rolling about one apex over the whole of the tolerances."""
    layout = cone(dimensions)
    (a0, a1), (b0, b1) = ends(dimensions, "inner_raceway_a"), ends(dimensions, "inner_raceway_b")
    race = tuple(math.atan((b - a) / (2 * layout.spacing)) for a, b in ((a1, b0), (a0, b1)))
    low, high = ends(dimensions, "roller_taper")
    wanted = (layout.angle - high, layout.angle - low)
    if _apart(race, wanted):
        yield (
            f"inner_raceway_b: the raceway's half-angle, {_degrees(race)}, is nowhere the pins' lean less roller_taper, "
            f"{_degrees(wanted)}: the cones of pins and raceway share no apex"
        )
    taper, rolling = (math.tan(low), math.tan(high)), _rolling(dimensions, layout)
    if _apart(taper, rolling):
        yield (
            f"roller_taper: {_degrees(map(math.atan, taper))}, where rolling about the apex of the pins asks for "
            f"{_degrees(map(math.atan, rolling))}: the cones of roller and pins share no apex"
        )


def _rolling(dimensions: Dimensions, layout: Cone) -> tuple[float, float]:
    """Return the least and the greatest D_w sinβ/(2r_L) over the tolerances: each size moves it one way."""
    names = ("roller_diameter", "roller_length", "roller_taper", "inner_raceway_a", "inner_raceway_b")
    spans = [ends(dimensions, name) for name in names]
    found = []
    for rises in (0, 1):
        diameter, length, taper, race_a, race_b = (
            span[rises if name in ("roller_diameter", "roller_taper") else 1 - rises]
            for name, span in zip(names, spans, strict=True)
        )
        middle, half = Parts(diameter, length, taper, race_a, race_b).seats(layout)
        found.append(diameter * math.sin(layout.angle) / (2 * (middle + half)))
    return found[0], found[1]


def _apart(one: Sequence[float], other: Sequence[float]) -> bool:
    return one[1] < other[0] or other[1] < one[0]


def _degrees(angles: Iterable[float]) -> str:
    low, high = map(math.degrees, angles)
    return f"{low:.4f} to {high:.4f} deg" if low < high else f"{low:.4f} deg"


def wider_end_clearance(dimensions: Dimensions) -> str:
    """Say what the upper limit of end_clearance leaves out: k_f + k_r + |p|·D_w/D_hB at their limits, rounded up."""
    leaning = radius(dimensions, "ring_parallelism")
    if leaning:
        leaning *= ends(dimensions, "roller_diameter")[1] / ends(dimensions, PITCH_B)[0]
    return doubts.wider_faces(dimensions, leaning)
