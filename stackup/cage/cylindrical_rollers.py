"""How the rollers of the cylindrical cage stand round it: inputs of their rating, and where the raceways put them.

The rollers of ``docs/model.md``, section 3: their axes run between ρ and ρ + G_r/2 from the pitch circle of the holes.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from stackup.cage.kind import RatingInputs, RollerSet
from stackup.dimension import Dimension


def rating(dimensions: Mapping[str, Dimension]) -> RatingInputs:
    """Return D_we = D_w, L_we (L_w where not given) and D_pw = F_w + D_w + G_r/2, the middle of both seats; α = 0."""
    diameter, length = _nominal(dimensions, "roller_diameter"), _nominal(dimensions, "roller_length")
    pitch = _nominal(dimensions, "inner_raceway") + diameter
    pitch += max(_nominal(dimensions, "radial_internal_clearance"), 0.0) / 2
    if "roller_effective_length" in dimensions:
        length = _nominal(dimensions, "roller_effective_length")
    return RatingInputs(diameter, length, pitch, 0.0)


def on_raceways(dimensions: Mapping[str, Dimension]) -> Mapping[str, float]:
    """Return the nominal pitch circles with ρ + G_r/4 = 0: D_h = F_w + D_w + G_r/2, to the nanometre.

    Both rings keep their difference: the cone κ of the pins is not the rollers' doing.
    """
    seats = _middle(dimensions, "inner_raceway") + _middle(dimensions, "roller_diameter")
    seats += max(_middle(dimensions, "radial_internal_clearance"), 0.0) / 2
    rings = [name for name in ("hole_pitch_diameter", "hole_pitch_diameter_b") if name in dimensions]
    stands = sum(_middle(dimensions, name) for name in rings) / len(rings)
    shift = seats - (stands - _middle(dimensions, "pitch_shrinkage_b") / 2)
    return {name: round(_nominal(dimensions, name) + shift, 6) for name in rings}


def _nominal(dimensions: Mapping[str, Dimension], name: str) -> float:
    """Return the nominal, the mean of values as built; 0 for what is left out."""
    return float(np.mean(dimensions[name].nominal[0])) if name in dimensions else 0.0


def _middle(dimensions: Mapping[str, Dimension], name: str) -> float:
    """Return the middle of the tolerance, the mean of values as built; 0 for what is left out."""
    if name not in dimensions:
        return 0.0
    region = dimensions[name].region
    return float(np.mean(region.low) + np.mean(region.high)) / 2  # type: ignore[union-attr]  # sizes have ends


ROLLER_SET = RollerSet(("roller_spacing",), "roller_wall", rating, on_raceways)
