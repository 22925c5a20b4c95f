"""How the worst case moves: slopes of each end by the middle and by the half-width of every dimension's region.

Allocation takes its limits from here.  The slopes of one end are in ``end_slopes.py``.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from stackup.chain.model import Model, Requirement
from stackup.chain.program import Program, compile_model
from stackup.dimension import Classes, Disc
from stackup.engine.end_slopes import of_end
from stackup.engine.search import End
from stackup.engine.settings import Progress, Settings, silent
from stackup.engine.sums import is_linear
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
    middles, halves = of_end(model, end)
    curved = any(isinstance(d.region, Classes) or _grows(d.region) for n, d in model.dimensions.items() if n in halves)
    return Side(room, middles, halves, linear and not curved)


def _grows(region: Any) -> bool:
    return isinstance(region, Disc) and region.growth is not None
