"""What can be agreed: the largest set of changes that works together, and how far the others can be met.

A state is acceptable when every requirement that the drawing meets is still met, and none that it does not meet gets
worse: its fraction out of spec does not grow, its guaranteed bound comes no farther out.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial

from stackup.decide.coalitions import Bench, Standing, State, badness
from stackup.decide.shapley import EXACT
from stackup.decide.trial import Judgement
from stackup.errors import CaseError

#: bad beyond any number
NEVER = 1e9
#: what an undecided requirement counts by, where its estimate is within the allowance
DOUBT = 1e-6
#: common steps that all refused changes are loosened by together before each goes its own way
TOGETHER = 32
#: how often counter-proposals that the full engines do not confirm are drawn back, twice as far each time
RETREATS = 6


@dataclass(frozen=True)
class Agreed:
    """The state that was agreed; ``largest``: no larger set of changes works, every set was looked at."""

    state: State
    largest: bool


def agree(bench: Bench) -> Agreed:
    """Return the largest set of changes in full, the others as far as they go, confirmed by the deciding engines."""
    accepted, largest = _largest(bench)
    return Agreed(_confirmed(bench, accepted, _countered(bench, accepted)), largest)


# Whether a state is acceptable ----------------------------------------------------------------------------


def acceptable(bench: Bench, state: State) -> bool:
    """Tell whether a state is acceptable by the standings of the bench; one that makes no case is not."""
    try:
        return next(failing(bench, state), None) is None
    except CaseError:
        return False


def failing(bench: Bench, state: State) -> Iterator[str]:
    """Yield the requirements for which a state is not acceptable."""
    for name in bench.requirements:
        if not _holds(bench.standing(name, bench.none), bench.standing(name, state)):
            yield name


def _holds(before: Standing, after: Standing) -> bool:
    return after.met or (not before.met and after.badness <= before.badness)


def confirmed(bench: Bench, state: State) -> bool:
    """Tell whether a state is acceptable by the engines that decide a verdict, on all cages."""
    return not failing_in_full(bench, state)


def failing_in_full(bench: Bench, state: State) -> list[str]:
    """Return the requirements for which a state is not acceptable by the engines that decide a verdict."""
    before, after = bench.judged(bench.none), bench.judged(state)
    return [n for n in bench.requirements if not _holds(_standing(before[n]), _standing(after[n]))]


def _standing(verdict: Judgement) -> Standing:
    return Standing(0.0, verdict.verdict == "met", badness(verdict))


# The largest set --------------------------------------------------------------------------------------------


def _largest(bench: Bench) -> tuple[State, bool]:
    """Return the largest acceptable set of changes, and whether all sets were looked at."""
    count = len(bench.changes)
    if count <= EXACT:
        return next(_largest_of(bench, bench.none, range(count))), True
    free = _harmless(bench)
    contested = [i for i in range(count) if i not in free]
    if len(contested) <= EXACT:
        return next(_largest_of(bench, bench.making(free), contested), bench.none), False
    return _greedy(bench, contested), False


def _largest_of(bench: Bench, start: State, players: Sequence[int]) -> Iterator[State]:
    """Yield the confirmed sets over ``start``, the largest first; of equals the one that takes least of any margin."""
    states = [bench.making(set(_chosen(players, bits)), start) for bits in range(2 ** len(players))]
    for size in range(len(players), -1, -1):
        same = [s for bits, s in enumerate(states) if bits.bit_count() == size and acceptable(bench, s)]
        for state in sorted(same, key=lambda s: _taken(bench, s)):
            if confirmed(bench, state):
                yield state


def _chosen(players: Sequence[int], bits: int) -> Iterator[int]:
    return (player for bit, player in enumerate(players) if bits >> bit & 1)


def _taken(bench: Bench, state: State) -> float:
    """Return the largest part that a state takes of any margin, against what all changes take or what there was."""
    worst = 0.0
    for name in bench.requirements:
        before, after, whole = (bench.standing(name, s).margin for s in (bench.none, state, bench.all))
        scale = max(abs(before), abs(whole - before))
        if 0 < scale < math.inf:
            worst = max(worst, (before - after) / scale)
    return worst


def _harmless(bench: Bench) -> set[int]:
    """Return the changes that take nothing from any requirement, neither alone nor as the last of all."""
    found = set()
    for i in range(len(bench.all)):
        pairs = ((bench.none, bench.making({i})), (_with(bench.all, i, 0), bench.all))
        if all(not _worsens(bench, name, *pair) for pair in pairs for name in bench.requirements):
            found.add(i)
    return found


def _worsens(bench: Bench, name: str, before: State, after: State) -> bool:
    one, other = bench.standing(name, before), bench.standing(name, after)
    return other.margin < one.margin or other.badness > one.badness


def _greedy(bench: Bench, contested: Sequence[int]) -> State:
    """Return a set that works: from all changes the worst is taken away until it does, then others are tried again."""
    state: State = bench.all
    out: list[int] = []
    while not (acceptable(bench, state) and confirmed(bench, state)):
        inside = [i for i in contested if state[i]]
        if not inside:
            return bench.none
        worst = min(inside, key=lambda i: _excess(bench, _with(state, i, 0)))
        state, out = _with(state, worst, 0), [*out, worst]
    for i in reversed(out):
        larger = _with(state, i, bench.all[i])
        if acceptable(bench, larger) and confirmed(bench, larger):
            state = larger
    return state


def _with(state: State, index: int, step: int) -> State:
    """Return a state with one change at another step."""
    return (*state[:index], step, *state[index + 1 :])


def _excess(bench: Bench, state: State) -> float:
    """Return how far a state is from being acceptable, 0 where it is."""
    total = 0.0
    for name in failing(bench, state):
        before, after = bench.standing(name, bench.none), bench.standing(name, state)
        allow = bench.requirements[name].allow
        if allow is not None:
            limit = allow.ppm * 1e-6 if before.met else before.badness
            total += max(after.badness / limit - 1, 0.0) + DOUBT
        else:
            scale = max(abs(before.margin), abs(bench.standing(name, bench.all).margin - before.margin))
            total += min(max(after.badness - max(before.badness, 0.0), 0.0) / (scale or 1.0), NEVER) + DOUBT
    return total


# Counter-proposals ------------------------------------------------------------------------------------------


def _countered(bench: Bench, accepted: State) -> State:
    """Return the state in which every refused change goes as far as it can beside all others.

    First all of them go the same part of their way, so that the first does not take everything; then each goes on.
    """
    refused = [i for i, step in enumerate(accepted) if step == 0]
    shared = partial(_shared, bench, accepted, refused)
    state = _last(bench, shared, 0, TOGETHER)
    for i in refused:
        full = bench.all[i]
        larger = partial(_with, state, i)
        state = larger(full) if acceptable(bench, larger(full)) else _last(bench, larger, state[i], full)
    return state


def _shared(bench: Bench, accepted: State, refused: Sequence[int], share: int) -> State:
    """Return the state in which the refused changes go ``share`` of TOGETHER parts of the way, never all of it."""
    steps = {i: (bench.all[i] - 1) * share // TOGETHER for i in refused}
    return tuple(steps.get(i, step) for i, step in enumerate(accepted))


def _last(bench: Bench, states: Callable[[int], State], low: int, high: int) -> State:
    """Return the last of some states that is acceptable, where that of ``low`` is, by halving; not that of ``high``."""
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if acceptable(bench, states(middle)) else (low, middle)
    return states(low)


def _confirmed(bench: Bench, accepted: State, countered: State) -> State:
    """Return the counter-proposals that all engines confirm together, drawn back where they do not."""
    for attempt in range(RETREATS):
        if countered == accepted or confirmed(bench, countered):
            return countered
        back = 2**attempt
        countered = tuple(
            max(step - back, 0) if was == 0 else step for step, was in zip(countered, accepted, strict=True)
        )
    return accepted
