"""What is impossible or doubtful about the dimensions of a cylindrical cage, and what its gaps leave out, in words."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from stackup.cage import pinned_doubts as doubts
from stackup.cage.kind import Contradiction
from stackup.cage.pinned_doubts import Dimensions, ends, nominal, radius, warnings

__all__ = ["contradictions", "warnings", "wider_end_clearance"]


def contradictions(dimensions: Dimensions) -> Sequence[Contradiction]:
    """Return what no parts can have at their nominals: a bore as large as its roller, a roller between closer rings.

    Parts as built are as they are: nothing contradicts measured values.
    """
    return (*doubts.contradictions(dimensions), *_contradictions(dimensions))


def _contradictions(dimensions: Dimensions) -> Iterator[Contradiction]:
    length, spacing = nominal(dimensions, "roller_length"), nominal(dimensions, "ring_spacing")
    if length > spacing:
        found = f"a roller of {length:.9g} between rings {spacing:.9g} apart"
        yield Contradiction("roller_length", found, "at most ring_spacing")


def wider_end_clearance(dimensions: Dimensions) -> str:
    """Say what the upper limit of end_clearance leaves out: k_f + k_r + |p|·D_w/D_h at their limits, rounded up."""
    leaning = radius(dimensions, "ring_parallelism")
    if leaning:
        leaning *= ends(dimensions, "roller_diameter")[1] / _least_pitch(dimensions)
    return doubts.wider_faces(dimensions, leaning)


def _least_pitch(dimensions: Dimensions) -> float:
    """Return the least mean pitch diameter of both finished rings, mm."""
    rings = [name for name in ("hole_pitch_diameter", "hole_pitch_diameter_b") if name in dimensions]
    least = [ends(dimensions, name)[0] for name in rings]
    return sum(least) / len(least) - ends(dimensions, "pitch_shrinkage_b")[1] / 2
