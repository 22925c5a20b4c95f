"""How the worst case moves: slopes of each end by the middle and by the half-width of every dimension's region.

At an extreme point the end moves as the gap does there (envelope theorem): by the gradient with a middle, by its
length against a half-width.  A size that a zone's bonus grows with moves the rim of that zone too.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from stackup.chain.model import Model, Requirement
from stackup.chain.program import Program, compile_model, split_at
from stackup.dimension import Classes, Disc
from stackup.engine.rss import is_linear
from stackup.engine.scatter import owner_of
from stackup.engine.search import End
from stackup.engine.settings import Progress, Settings, silent
from stackup.engine.worst_case import ends_of


@dataclass(frozen=True)
class Side:
    """One limit: room of the guaranteed bound to it, and how the room moves with each dimension's region.

    ``by_half`` ≤ 0.  ``linear``: the slopes are the same everywhere.
    """

    room: float
    by_middle: Mapping[str, float]
    by_half: Mapping[str, float]
    linear: bool


def run(
    model: Model, requirements: Sequence[Requirement], settings: Settings, progress: Progress = silent
) -> dict[str, tuple[Side, ...]]:
    """Return the sides of every requirement by name: one for each limit that it has."""
    program = compile_model(model)
    found: dict[str, tuple[Side, ...]] = {}
    known: dict[str, Any] = {}
    for done, requirement in enumerate(requirements):
        gap = requirement.gap
        if gap not in known:
            known[gap] = ends_of(model, program, gap, settings)
        found[requirement.name] = tuple(_sides(model, program, requirement, *known[gap]))
        progress(done + 1, len(requirements), "worst case")
    return found


def _sides(model: Model, program: Program, requirement: Requirement, low: End, high: End) -> list[Side]:
    linear = is_linear(program.only([requirement.gap]), requirement.gap)
    of_cage = requirement.over == "spread" and model.gap(requirement.gap).scope == "pocket"
    sides = []
    if requirement.min is not None:
        sides.append(_side(model, low, (0.0 if of_cage else low.bound) - requirement.min, linear))
    if requirement.max is not None:
        bound = -high.bound - (low.bound if of_cage else 0.0)
        side = _side(model, high, requirement.max - bound, linear)
        sides.append(_joined(side, _side(model, low, 0.0, linear)) if of_cage else side)
    return sides


def _joined(one: Side, other: Side) -> Side:
    """Return a side that moves with both ends (a spread)."""
    halves = {n: one.by_half.get(n, 0.0) + other.by_half.get(n, 0.0) for n in {*one.by_half, *other.by_half}}
    return Side(one.room, {}, halves, False)


def _side(model: Model, end: End, room: float, linear: bool) -> Side:
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
    for (name, _), vector in vectors.items():
        length = math.hypot(*vector)
        halves[name] = halves.get(name, 0.0) - length
        region = model.dimensions[name].region
        if isinstance(region, Disc) and region.growth is not None and region.growth.feature in apart:
            apart[region.growth.feature].append(-region.growth.slope * length)
    for name, slopes in apart.items():
        # all pockets of one class, and a size with the zones that grow with it, move as one
        grown = len(slopes) > sum(split_at(p)[0] == name for p in end.slopes)
        together = grown or isinstance(model.dimensions[name].region, Classes)
        halves[name] = -abs(sum(slopes)) if together else -sum(map(abs, slopes))
    curved = any(isinstance(d.region, Classes) or _grows(d.region) for n, d in model.dimensions.items() if n in halves)
    return Side(room, singles, halves, linear and not curved)


def _grows(region: Any) -> bool:
    return isinstance(region, Disc) and region.growth is not None
