"""The worst case of every requirement: the true extreme over sizes, discs and classes, with a guaranteed bound.

Each end has the value found and a bound that nothing can pass; it is certified where they differ by at most
0.1 µm, in other units 1e-4 of the linearised width.  What bounds a fold
over a cage stands in ``folded.py``.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from stackup.chain.model import Model, Requirement
from stackup.chain.program import Program, compile_model
from stackup.engine import folded
from stackup.engine.asked import Asked, Ends
from stackup.engine.end_slopes import shares_of_end
from stackup.engine.linear import Linear
from stackup.engine.result import WorstCase
from stackup.engine.search import End
from stackup.engine.settings import Progress, Settings, silent
from stackup.engine.threads import one_thread
from stackup.engine.whole_cage import WholeCage
from stackup.errors import Interrupted

#: an end that no requirement limits has the budget divided by this
UNASKED = 4


@dataclass(frozen=True)
class _Ends:
    """Both ends of one gap; no linearised ones of a number of the whole cage."""

    low: End
    high: End
    linear: Linear | None
    tolerance: float


@one_thread()
def run(
    model: Model, requirements: Sequence[Requirement], settings: Settings, progress: Progress = silent
) -> dict[str, WorstCase]:
    """Return the worst case of every requirement, by name.

    ``settings.boxes`` is the budget of an end that a requirement limits.  Raises Interrupted with the records so far.
    """
    records: dict[str, WorstCase] = {}
    ends: dict[str, _Ends] = {}
    known: Ends = {}
    program = compile_model(model)
    try:
        for done, requirement in enumerate(requirements):
            gap = requirement.gap
            if gap not in ends:
                ends[gap] = _both_ends(model, program, gap, _effort(gap, requirements, settings), known)
            records[requirement.name] = _record(model, program, requirement, ends[gap], settings)
            progress(done + 1, len(requirements), "worst case")
    except KeyboardInterrupt:
        raise Interrupted(records) from None
    return records


@one_thread()
def ends_of(model: Model, program: Program, gap: str, settings: Settings) -> tuple[End, End]:
    """Return the low end of a gap and the high one (of −gap), each with its slopes."""
    ends = _both_ends(model, program, gap, _Effort(settings, settings), {})
    return ends.low, ends.high


@one_thread()
def bounds(model: Model, requirement: Requirement, settings: Settings) -> tuple[float, float]:
    """Return the guaranteed bounds of ``run`` of those ends that the requirement limits, the other one infinite.

    For many models in turn: an end that nobody asks for may cost more than the one that decides.
    """
    gap = requirement.gap
    program = compile_model(model, [gap])
    ends: Callable[[int, Settings], End] = (
        WholeCage(model, program, gap).bound if program.is_whole(gap) else Asked(model, program, gap).end
    )
    both = requirement.over == "spread"
    low = ends(1, settings).bound if both or requirement.min is not None else -np.inf
    high = -ends(-1, settings).bound if both or requirement.max is not None else np.inf
    if not _is_folded(model, requirement):
        return low, high
    limits = folded.bounds(model, program, requirement, low, high, settings)
    return limits.low, limits.high


@dataclass(frozen=True)
class _Effort:
    """What each end of a gap is worth."""

    low: Settings
    high: Settings
    decides: bool = True


def _effort(gap: str, requirements: Sequence[Requirement], settings: Settings) -> _Effort:
    """Return the whole budget for the ends that some requirement limits, a part of it for the others."""
    own = [r for r in requirements if r.gap == gap]
    less = replace(settings, boxes=max(1, settings.boxes // UNASKED))
    both = any(r.over == "spread" and r.max is not None for r in own)
    low, high = both or any(r.min is not None for r in own), both or any(r.max is not None for r in own)
    return _Effort(settings if low else less, settings if high else less, low or high)


def _both_ends(model: Model, program: Program, gap: str, effort: _Effort, known: Ends) -> _Ends:
    """Return both ends of a gap; of a number of the whole cage that decides nothing the first bound is enough."""
    if program.is_whole(gap):
        most = max(effort.low, effort.high, key=lambda settings: settings.boxes)
        low, high, tolerance = WholeCage(model, program, gap, known).both(most, closely=effort.decides)
        return _Ends(low, high, None, tolerance)
    asked = Asked(model, program, gap)
    return _Ends(asked.end(1, effort.low, known), asked.end(-1, effort.high, known), asked.linear, asked.tolerance)


def _is_folded(model: Model, requirement: Requirement) -> bool:
    """Tell whether a requirement is on a fold of the pockets' numbers."""
    return requirement.over != "each" and model.gap(requirement.gap).scope == "pocket"


def _record(model: Model, program: Program, requirement: Requirement, ends: _Ends, settings: Settings) -> WorstCase:
    low, high = ends.low.found, -ends.high.found
    bound_low, bound_high = ends.low.bound, -ends.high.bound
    linear = (None, None) if ends.linear is None else (ends.linear.low, ends.linear.high)
    if _is_folded(model, requirement):
        linear = (None, None)
        limits = folded.bounds(model, program, requirement, bound_low, bound_high, settings)
        low, high = folded.found(model, program, requirement, (ends.low.point, ends.high.point), limits)
        bound_low, bound_high = limits.low, limits.high
    return WorstCase(
        low=low,
        high=high,
        bound_low=min(bound_low, low),
        bound_high=max(bound_high, high),
        certified_low=low - bound_low <= ends.tolerance,
        certified_high=bound_high - high <= ends.tolerance,
        linear_low=linear[0],
        linear_high=linear[1],
        low_shares=shares_of_end(model, ends.low),
        high_shares=shares_of_end(model, ends.high),
    )
