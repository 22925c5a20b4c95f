"""How one end of the worst case moves with the regions of the dimensions.

At an extreme point the end moves as the gap does there (envelope theorem): by the gradient with a middle, by its
length against a half-width.
"""

from __future__ import annotations

import math

from stackup.chain.model import Model
from stackup.chain.program import split_at
from stackup.dimension import Classes, Disc
from stackup.engine.scatter import owner_of
from stackup.engine.search import End


def of_end(model: Model, end: End) -> tuple[dict[str, float], dict[str, float]]:
    """Return the slopes of sign·gap at an end by the middle, and by the half-width (≤ 0), of every dimension."""
    singles: dict[str, float] = {}
    apart: dict[str, list[float]] = {}
    vectors: dict[tuple[str, int], list[float]] = {}
    for part, slope in end.slopes.items():
        base, ahead = split_at(part)
        owner = owner_of(model, part)
        if isinstance(owner.region, Disc):
            vector = vectors.setdefault((owner.name, ahead if owner.scope == "pocket" else 0), [0.0, 0.0])
            vector[owner.components.index(base)] += slope
        else:
            singles[owner.name] = singles.get(owner.name, 0.0) + slope
            apart.setdefault(owner.name, []).append(slope)
    halves: dict[str, float] = {}
    grown: dict[str, float] = {}
    for (name, _), vector in vectors.items():
        length = math.hypot(*vector)
        halves[name] = halves.get(name, 0.0) - length
        region = model.dimensions[name].region
        if isinstance(region, Disc) and region.growth is not None:
            feature = region.growth.feature
            grown[feature] = grown.get(feature, 0.0) + region.growth.slope * length
    for name in {**apart, **grown}:
        slopes = apart.get(name, [])
        if name in grown:
            halves[name] = _with_bonus(sum(slopes), grown[name])
        elif isinstance(model.dimensions[name].region, Classes):  # all pockets are of one class
            halves[name] = -abs(sum(slopes))
        else:
            halves[name] = -sum(map(abs, slopes))
    return singles, halves


def _with_bonus(slope: float, growth: float) -> float:
    """Return the slope by the half-width of a size that zones grow with: at the limit that gives the less.

    The bonus counts from the maximum material limit, which moves with the half-width: at the other limit the radius
    has grown by ``growth`` (> 0 for a hole) times the whole width.
    """
    low, high = -slope, slope
    if growth > 0:
        high -= 2 * growth
    else:
        low += 2 * growth
    return min(low, high, 0.0)


def shares_of_end(model: Model, end: End) -> dict[str, float]:
    """Return the part of 1 that each dimension takes of what all tolerances together take of an end."""
    _, halves = of_end(model, end)
    taken = {name: -slope * model.dimensions[name].half_width for name, slope in halves.items()}
    total = sum(taken.values())
    return {name: part / total for name, part in taken.items()} if total > 0 else {}
