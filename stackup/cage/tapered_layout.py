"""The layout of a tapered cage in plain numbers: cone, seat and raceways at given sizes.

The same equations as the steps of ``tapered_pins.py`` and ``tapered_gaps.py`` without errors of form and place; for what
is asked of the drawing itself (warnings, rating, where the pins should stand).  Lengths in mm, angles in rad.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from stackup.dimension import Dimension

Dimensions = Mapping[str, Dimension]


@dataclass(frozen=True)
class Cone:
    """The cone of the pin axes: β [rad] and the nominal spacing W₀ [mm] of the finished cage."""

    angle: float
    spacing: float


@dataclass(frozen=True)
class Parts:
    """Sizes of a roller and of the raceway it runs on: D_w, L_w, F_A, F_B in mm, ν in rad."""

    diameter: float
    length: float
    taper: float
    race_a: float
    race_b: float

    @property
    def middle(self) -> float:
        """Diameter of the roller at mid-length, mm."""
        return self.diameter - self.length * math.tan(self.taper)

    def seats(self, cone: Cone) -> tuple[float, float]:
        """Return r at mid-length and by how much it rises from there to the large end, mm."""
        cosine, tangent = math.cos(cone.angle), math.tan(self.taper)
        share = 1 / (2 * (cosine + math.sin(cone.angle) * tangent))
        slope = (self.race_b - self.race_a) / (2 * cone.spacing)
        middle = self.race_a / 2 + slope * cone.spacing / 2 + self.middle * share
        return middle, self.length * (slope * cosine / 2 + tangent * share)


def nominal(dimensions: Dimensions, name: str) -> float:
    """Return the nominal in mm or rad, the mean of values as built; 0 for what is left out."""
    return float(np.mean(dimensions[name].nominal[0])) if name in dimensions else 0.0


def middle(dimensions: Dimensions, name: str) -> float:
    """Return the middle of the tolerance in mm or rad, the mean of values as built; 0 for what is left out."""
    if name not in dimensions:
        return 0.0
    region = dimensions[name].region
    return float(np.mean(region.low) + np.mean(region.high)) / 2  # type: ignore[union-attr]  # sizes have ends


def cone(dimensions: Dimensions) -> Cone:
    """Return the cone of the nominals: tanβ = (D_hB − x_w − D_hA)/2W₀, W₀ = W − h_w."""
    rise = nominal(dimensions, "hole_pitch_diameter_b") - nominal(dimensions, "pitch_shrinkage_b")
    rise -= nominal(dimensions, "hole_pitch_diameter_a")
    spacing = nominal(dimensions, "ring_spacing") - nominal(dimensions, "weld_shrinkage")
    return Cone(math.atan2(rise / 2, spacing), spacing)
