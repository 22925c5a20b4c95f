"""What is impossible or doubtful about the pins, bores and faces of any pin-type cage, in words."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence

import numpy as np

from stackup.cage.kind import Contradiction
from stackup.dimension import Dimension, Size

Dimensions = Mapping[str, Dimension]


def contradictions(dimensions: Dimensions) -> Iterator[Contradiction]:
    """Yield a bore as large as its roller at their nominals; parts as built are as they are."""
    bore, roller = nominal(dimensions, "roller_bore"), nominal(dimensions, "roller_diameter")
    if bore >= roller:
        found = f"a bore of {bore:.9g} in a roller of {roller:.9g}"
        yield Contradiction("roller_bore", found, "less than roller_diameter")


def warnings(dimensions: Dimensions) -> Sequence[str]:
    """Return a warning where the seat in ring B may lie outside the hole that the pin goes through."""
    if not {"pin_seat_b", "ring_hole_b", "pin_diameter"} <= dimensions.keys():
        return ()
    least = ends(dimensions, "ring_hole_b")[0] - ends(dimensions, "pin_diameter")[1]
    width = 2 * radius(dimensions, "pin_seat_b")
    if width <= least:
        return ()
    return (
        f"pin_seat_b: a zone of ⌀{width:g} is wider than the least clearance of the pin in ring_hole_b, {least:g} mm: "
        "the pin cannot stand everywhere in it",
    )


def wider_faces(dimensions: Dimensions, leaning: float) -> str:
    """Say what the upper limit of an end clearance leaves out: k_f + k_r + ``leaning``, at their limits, rounded up."""
    wider = leaning + sum(ends(dimensions, name)[1] for name in ("ring_face_flatness", "roller_end_runout"))
    if wider <= 0:
        return ""
    step = 10.0 ** (math.floor(math.log10(wider)) - 1)
    told = math.ceil(wider / step - 1e-9) * step
    return f"leaves out form errors: perfect faces could leave up to {told:.6g} mm more"


def nominal(dimensions: Dimensions, name: str) -> float:
    """Return the nominal of a size, mm or rad; NaN, which contradicts nothing, as built or where it is not known."""
    size = dimensions.get(name)
    return size.nominal_size * size.factor if isinstance(size, Size) else math.nan


def ends(dimensions: Dimensions, name: str) -> tuple[float, float]:
    """Return the least and the greatest value of a size or of a one-sided dimension; 0 where it is left out."""
    if name not in dimensions:
        return 0.0, 0.0
    region = dimensions[name].region
    return float(np.min(region.low)), float(np.max(region.high))  # type: ignore[union-attr]  # both have ends


def radius(dimensions: Dimensions, name: str) -> float:
    """Return how far a zone lets its vector be, mm; 0 where it is left out."""
    if name not in dimensions:
        return 0.0
    return float(np.max(dimensions[name].region.radius))  # type: ignore[union-attr]  # a zone grants a disc
