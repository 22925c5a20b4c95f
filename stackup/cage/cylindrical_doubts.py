"""What is impossible or doubtful about the dimensions of a cylindrical cage, and what its gaps leave out, in words."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence

import numpy as np

from stackup.cage.kind import Contradiction
from stackup.dimension import Dimension, Size

Dimensions = Mapping[str, Dimension]


def contradictions(dimensions: Dimensions) -> Sequence[Contradiction]:
    """Return what no parts can have at their nominals: a bore as large as its roller, a roller between closer rings.

    Parts as built are as they are: nothing contradicts measured values.
    """
    return tuple(_contradictions(dimensions))


def _contradictions(dimensions: Dimensions) -> Iterator[Contradiction]:
    bore, roller = _nominal(dimensions, "roller_bore"), _nominal(dimensions, "roller_diameter")
    if bore >= roller:
        found = f"a bore of {bore:.9g} in a roller of {roller:.9g}"
        yield Contradiction("roller_bore", found, "less than roller_diameter")
    length, spacing = _nominal(dimensions, "roller_length"), _nominal(dimensions, "ring_spacing")
    if length > spacing:
        found = f"a roller of {length:.9g} between rings {spacing:.9g} apart"
        yield Contradiction("roller_length", found, "at most ring_spacing")


def _nominal(dimensions: Dimensions, name: str) -> float:
    """Return the nominal of a size, mm; NaN, which contradicts nothing, as built or where it is not known."""
    size = dimensions.get(name)
    return float(size.nominal_size) if isinstance(size, Size) else math.nan


def warnings(dimensions: Dimensions) -> Sequence[str]:
    """Return a warning where the seat in ring B may lie outside the hole that the pin goes through."""
    seat, hole, pin = (dimensions.get(name) for name in ("pin_seat_b", "ring_hole_b", "pin_diameter"))
    if seat is None or hole is None or pin is None:
        return ()
    least = float(np.min(hole.region.low) - np.max(pin.region.high))  # type: ignore[union-attr]  # sizes have ends
    width = 2 * float(seat.region.radius)  # type: ignore[union-attr]  # a zone grants a disc
    if width <= least:
        return ()
    return (
        f"pin_seat_b: a zone of ⌀{width:g} is wider than the least clearance of the pin in ring_hole_b, {least:g} mm: "
        "the pin cannot stand everywhere in it",
    )


def wider_end_clearance(dimensions: Dimensions) -> str:
    """Say what the upper limit of end_clearance leaves out: k_f + k_r + |p|·D_w/D_h at their limits, rounded up."""
    wider = sum(_greatest(dimensions, name) for name in ("ring_face_flatness", "roller_end_runout"))
    if "ring_parallelism" in dimensions:
        lean = float(dimensions["ring_parallelism"].region.radius)  # type: ignore[union-attr]  # a zone grants a disc
        wider += lean * _greatest(dimensions, "roller_diameter") / _least_pitch(dimensions)
    if wider <= 0:
        return ""
    step = 10.0 ** (math.floor(math.log10(wider)) - 1)
    told = math.ceil(wider / step - 1e-9) * step
    return f"leaves out form errors: perfect faces could leave up to {told:.6g} mm more"


def _greatest(dimensions: Dimensions, name: str) -> float:
    """Return the upper limit of a size or of a one-sided dimension, mm; 0 where it is left out."""
    return float(np.max(dimensions[name].region.high)) if name in dimensions else 0.0  # type: ignore[union-attr]


def _least_pitch(dimensions: Dimensions) -> float:
    """Return the least mean pitch diameter of both finished rings, mm."""
    rings = [dimensions[name] for name in ("hole_pitch_diameter", "hole_pitch_diameter_b") if name in dimensions]
    least = [float(np.min(ring.region.low)) for ring in rings]  # type: ignore[union-attr]
    return sum(least) / len(least) - _greatest(dimensions, "pitch_shrinkage_b") / 2
