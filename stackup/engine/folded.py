"""The worst case of a fold over the pockets of a cage: the ends of one pocket, and what pockets share.

Every pocket lies between the ends of a pocket, and so do the least, the greatest and the mean of a cage; the spread
is no more than their distance.  What all pockets share may forbid more: a mean is bounded by what cancels round the
ring (``levelled.py``), and the least of a cage from above, the greatest from below, by the mean; a spread by the
worst case of what one pocket of a cage has more than another one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import permutations

import numpy as np

from stackup.chain.arrays import walk
from stackup.chain.fold import FOLDS
from stackup.chain.model import Model, Requirement
from stackup.chain.pairs import difference
from stackup.chain.program import KINKS, PLACE, Program, bindings, pitch_angles
from stackup.chain.symbols import APART
from stackup.engine.asked import Asked
from stackup.engine.extreme_cages import Mix, Point, cages_of, mixes
from stackup.engine.ground import alike, ground_of
from stackup.engine.levelled import mean_ends
from stackup.engine.search import Search
from stackup.engine.settings import Settings

#: so many pairs of unlike pockets are looked at, no more
MOST_PAIRS = 3000
#: with more kinks than this of a pocket's own the search of a pair is long and stays open
MOST_KINKS = 5


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
        most, pair = (np.inf, ()) if requirement.max is None else _pair(model, program, gap, settings)
        return Folded(0.0, min(high - low, most), pair)
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
    model: Model, program: Program, requirement: Requirement, low: Point, high: Point, more: Sequence[Mix]
) -> tuple[float, float]:
    """Return the extremes of a fold over some cages within the drawing; beyond them only the bound is known.

    ``low`` and ``high`` are the extreme points of a pocket; ``more`` are cages to try beside those made of them.
    """
    rolled = program.only([requirement.gap])
    cages = cages_of(model, rolled, [*mixes(model, rolled, low, high), *more])
    with np.errstate(all="ignore"):
        seen = walk(rolled, cages, np.array(pitch_angles(model.pockets)), bindings(model))
        values = FOLDS[requirement.over].value(seen[requirement.gap])
    finite = values[np.isfinite(values)]
    return (float(finite.min()), float(finite.max())) if finite.size else (np.nan, np.nan)


def _all(model: Model, point: Point) -> Mix:
    """Return the cage whose pockets are all at ``point``."""
    return Mix(point, ((point, 0),) * model.pockets)


def _pair(model: Model, program: Program, gap: str, settings: Settings) -> tuple[float, tuple[Mix, ...]]:
    """Return the most that one pocket of a cage can have more than another one, and the cage where it is found.

    Infinite, and no cage, where the search would not close (many kinks) or be long.
    """
    rolled = program.only([gap])
    pairs = _pairs(model, rolled)
    kinks = sum(n.op in KINKS and bool(n.shape & PLACE) for n in rolled.nodes)
    if program.is_whole(gap) or kinks > MOST_KINKS or not 0 < len(pairs) <= MOST_PAIRS:
        return np.inf, ()
    two = difference(rolled, gap)
    ground = ground_of(model, rolled, two, pairs)
    tolerance = Asked(model, program, gap).tolerance
    with np.errstate(all="ignore"):
        end = Search(two, gap, -1, ground, bindings(model), tolerance).run(settings.boxes)
    first, second = pairs[end.column * len(pairs) // ground.columns]
    return -end.bound, (_two_in_a_cage(model.pockets, end.point, first, second),)


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
        for ahead in reversed(range(APART)):
            aheads[(pocket + ahead) % count] = start + ahead
    aheads[second] = APART
    return Mix(point, tuple((point, ahead) for ahead in aheads))
