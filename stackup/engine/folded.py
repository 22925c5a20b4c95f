"""The worst case of a fold over the pockets of a cage: the ends of one pocket, and what pockets share.

Every pocket lies between the ends of a pocket, and so do the least, the greatest and the mean of a cage; the spread
is no more than their distance.  What all pockets share may forbid more: a mean is bounded by what cancels round the
ring (``levelled.py``), and the least of a cage from above, the greatest from below, by the mean; a spread by the
worst case of what one pocket of a cage has more than another one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import permutations

import numpy as np

from stackup.chain.arrays import walk
from stackup.chain.fold import FOLDS
from stackup.chain.model import Model, Requirement
from stackup.chain.pairs import difference
from stackup.chain.program import KINKS, PLACE, Program, bindings, pitch_angles
from stackup.chain.symbols import APART, MOST_NEXT
from stackup.engine.asked import Asked
from stackup.engine.cage_search import FoldSearch
from stackup.engine.extreme_cages import Mix, Point, cages_of, joined, middle, mixes, scattered
from stackup.engine.ground import alike, ground_of
from stackup.engine.levelled import mean_ends
from stackup.engine.search import Search
from stackup.engine.settings import Settings

#: so many pairs of unlike pockets are looked at, no more
MOST_PAIRS = 3000
#: with more kinks than this of a pocket's own the search of a pair is long and stays open
MOST_KINKS = 5
#: what is found so close to its bound is not looked for again, in the gap's unit
CLOSE = 1e-6


@dataclass(frozen=True)
class Folded:
    """What no fold can pass, and cages of which some come near."""

    low: float
    high: float
    cages: tuple[Mix, ...] = ()


def bounds(
    model: Model, program: Program, requirement: Requirement, low: float, high: float, settings: Settings
) -> Folded:
    """Return the bounds of a fold between the bounds ``low`` and ``high`` of a pocket: of the ends that are limited.

    An end that the requirement does not limit is the pocket's; a spread is never less than 0.
    """
    over, gap = requirement.over, requirement.gap
    if over == "spread":
        pair = Folded(0.0, np.inf) if requirement.max is None else _pair(model, program, requirement, settings)
        return replace(pair, high=min(high - low, pair.high))
    cages: list[Mix] = []
    if over != "least" and requirement.min is not None:
        ends = mean_ends(model, program, gap, 1, settings)
        low = max([low, *(end.bound for end in ends)])
        cages += [_all(model, end.point) for end in ends]
    if over != "greatest" and requirement.max is not None:
        ends = mean_ends(model, program, gap, -1, settings)
        high = min([high, *(-end.bound for end in ends)])
        cages += [_all(model, end.point) for end in ends]
    return Folded(low, high, tuple(cages))


def found(
    model: Model, program: Program, requirement: Requirement, points: tuple[Point, Point], limits: Folded
) -> tuple[float, float]:
    """Return the extremes of a fold over some cages within the drawing; beyond them only the bound is known.

    ``points`` are the extremes of a pocket, low and high: cages are made of them, and of those that ``limits`` name.
    Where an end stays away from its bound, a local search goes on from these cages.
    """
    gap, over = requirement.gap, requirement.over
    rolled = program.only([gap])
    nominal = middle(model, rolled)
    low, high = ({**nominal, **point} for point in points)
    cages = cages_of(model, rolled, [*mixes(model, rolled, low, high), _all(model, nominal), *limits.cages])
    with np.errstate(all="ignore"):
        seen = walk(rolled, cages, np.array(pitch_angles(model.pockets)), bindings(model))
        values = FOLDS[over].value(seen[gap])
    finite = values[np.isfinite(values)]
    least, greatest = (float(finite.min()), float(finite.max())) if finite.size else (np.nan, np.nan)
    if least - limits.low <= CLOSE and limits.high - greatest <= CLOSE:
        return least, greatest
    search = FoldSearch(model, rolled, gap, over)
    if requirement.allow is None:  # the worst case may decide: from cages at random ends too
        cages = joined(cages, cages_of(model, rolled, scattered(model, rolled)))
    if least - limits.low > CLOSE:
        least = min(least, search.least(cages, 1))
    if limits.high - greatest > CLOSE:
        greatest = max(greatest, -search.least(cages, -1))
    return least, greatest


def _all(model: Model, point: Point) -> Mix:
    """Return the cage whose pockets are all at ``point``."""
    return Mix(point, ((point, 0),) * model.pockets)


def _pair(model: Model, program: Program, requirement: Requirement, settings: Settings) -> Folded:
    """Return the most that one pocket of a cage can have more than another one, and the cage where it is found.

    With many kinks the search does not close, and no bound comes of it; where the worst case decides, two pockets that
    face each other are looked at for the cage.
    """
    gap, nothing = requirement.gap, Folded(0.0, np.inf)
    rolled = program.only([gap])
    pairs = _pairs(model, rolled)
    if program.is_whole(gap) or not 0 < len(pairs) <= MOST_PAIRS:
        return nothing
    if sum(n.op in KINKS and bool(n.shape & PLACE) for n in rolled.nodes) <= MOST_KINKS:
        return _farthest(model, rolled, gap, pairs, settings.boxes)
    if requirement.allow is not None:
        return nothing
    return replace(_farthest(model, rolled, gap, [(0, model.pockets // 2)], 1), high=np.inf)


def _farthest(model: Model, rolled: Program, gap: str, pairs: Sequence[tuple[int, int]], boxes: int) -> Folded:
    """Return the most that the first of any of ``pairs`` can have more than the second, and the cage."""
    two = difference(rolled, gap)
    ground = ground_of(model, rolled, two, pairs)
    tolerance = Asked(model, rolled, gap).tolerance
    with np.errstate(all="ignore"):
        end = Search(two, gap, -1, ground, bindings(model), tolerance).run(boxes)
    first, second = pairs[end.column * len(pairs) // ground.columns]
    return Folded(0.0, -end.bound, (_two_in_a_cage(model.pockets, end.point, first, second),))


def _pairs(model: Model, rolled: Program) -> list[tuple[int, int]]:
    """Return the pairs of pockets that may be the farthest apart, those of one kind once."""
    count = model.pockets
    if not alike(rolled, model):
        return list(permutations(range(count), 2))
    turns = any(node.op == "angle" for node in rolled.nodes)
    return [(0, other) for other in range(1, count if turns else min(2, count))]


def _two_in_a_cage(count: int, point: Point, first: int, second: int) -> Mix:
    """Return a cage with both pockets of a pair, and what they take of their neighbours, at ``point``."""
    aheads = [0] * count
    for start, pocket in ((APART, second), (0, first)):
        for ahead in reversed(range(MOST_NEXT + 1)):
            aheads[(pocket + ahead) % count] = start + ahead
    aheads[second] = APART
    return Mix(point, tuple((point, ahead) for ahead in aheads))
