"""A local search over whole cages: every dimension is made as bad (or as good) as the drawing lets it.

Round by round every dimension is moved to the end of its region that takes most from (or gives most to) the number, by
the slopes where the cage stands.  A number of the whole cage answers with its pose: a pocket's own dimensions go by
what that pocket has left at the pose, the cage's by the pockets that carry the number (their weights).  What is found
is a cage that can be built; nothing is said of cages not looked at.
"""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import Mapping
from typing import Any

import numpy as np

from stackup.chain.arrays import Walk, walk
from stackup.chain.fold import FOLDS
from stackup.chain.model import Model
from stackup.chain.program import Program, bindings, compile_model, pitch_angles
from stackup.chain.symbols import BestPose, Least, Length, symbol
from stackup.chain.whole import POSED, Cones
from stackup.dimension import Classes, Dimension, Disc, Size
from stackup.engine.extreme_cages import class_ends, column, within
from stackup.engine.scatter import owner_of

Array = Any
Inputs = dict[str, Array]

ROUNDS = 12
#: after so many rounds only the worst cages are made worse, of so many pockets together
BROAD, STARTS = 1, 240
#: a direction without a slope shorter than this is left as it is
FLAT = 1e-12
POSE = "pose {}"


def room_at(number: BestPose) -> Any:
    """Return what a pocket has left at a given pose (symbols ``pose 0`` …)."""
    pose = [symbol(POSE.format(k)) for k in range(number.unknowns)]
    rooms = [
        play - Length(*(v - sum(m * x for m, x in zip(row, pose, strict=True)) for v, row in ((r, by_r), (t, by_t))))
        for play, r, t, by_r, by_t in number.cones
    ]
    return Least(*rooms) if len(rooms) > 1 else rooms[0]


class Descent:
    """What both searches share: rounds, and where a dimension goes by its slopes."""

    def __init__(self, model: Model, rolled: Program, gap: str) -> None:
        """Take the program of the gap."""
        self.model, self.rolled, self.gap = model, rolled, gap
        self.angles = np.array(pitch_angles(model.pockets))

    def least(self, cages: Mapping[str, Array], sign: int) -> float:
        """Return the least of sign·number found from ``cages``, (Z, n) or (1, n) by input."""
        inputs: Inputs = {part: np.array(values) for part, values in cages.items()}
        found = np.inf
        with np.errstate(all="ignore"):
            for step in range(ROUNDS):
                seen = walk(self.rolled, inputs, self.angles, bindings(self.model))
                values = sign * self._number(seen)[0]
                found = min(found, float(np.nanmin(values, initial=np.inf)))
                if step == BROAD:
                    first = np.argsort(values)[: max(1, STARTS // self.model.pockets)]
                    inputs = {part: column[:, first] for part, column in inputs.items()}
                    seen = walk(self.rolled, inputs, self.angles, bindings(self.model))
                inputs = self._answered(inputs, seen, sign)
        return found

    def _number(self, seen: Walk) -> Array:
        """Return the number of every cage, (1, n)."""
        return seen[self.gap]

    def _answered(self, inputs: Inputs, seen: Walk, sign: int) -> Inputs:
        """Return the cages with every dimension where it does most."""
        own, shared = self._slopes(inputs, seen)
        moved = dict(inputs)
        for owner in {o.name: o for o in (owner_of(self.model, part) for part in self.rolled.inputs)}.values():
            slopes = own if owner.scope == "pocket" else shared
            parts = [part for part in owner.components if part in inputs and part in slopes]
            moved |= self._moved(owner, {part: sign * slopes[part] for part in parts}, inputs)
        return _drawn_back(self.model, moved)

    @abstractmethod
    def _slopes(self, inputs: Inputs, seen: Walk) -> tuple[Inputs, Inputs]:
        """Return the slopes that pockets' own dimensions go by, and those of the cage."""

    def _moved(self, owner: Dimension, slopes: Mapping[str, Array], inputs: Inputs) -> Inputs:
        region = owner.region
        rows = self.model.pockets if owner.scope == "pocket" else 1
        if isinstance(region, Disc):
            length = np.sqrt(sum(np.broadcast_to(s, (rows, 1)) ** 2 if s.size == 1 else s**2 for s in slopes.values()))
            far = 2 * (region.radius + _growth(self.model, region))
            away = -far / np.where(length > FLAT, length, 1.0)
            middle = {part: column(region.centre[owner.components.index(part)], rows) for part in slopes}
            return {
                part: np.where(length > FLAT, middle[part] + away * slope, inputs[part])
                for part, slope in slopes.items()
            }
        if isinstance(region, Classes):  # a cage keeps its class
            (part,) = slopes
            low, high = class_ends(region, inputs[part].mean(axis=0, keepdims=True))
        else:
            low, high = (column(end, rows) for end in (region.low, region.high))
        return {
            part: np.where(slope > FLAT, low, np.where(slope < -FLAT, high, inputs[part]))
            for part, slope in slopes.items()
        }


class CageSearch(Descent):
    """Looks for bad or good cages of one number of the whole cage, from cages that are given."""

    def __init__(self, model: Model, rolled: Program, gap: str, number: BestPose) -> None:
        """Take the program of the gap, whose formula is ``number``."""
        super().__init__(model, rolled, gap)
        self.unknowns = number.unknowns
        poses = {POSE.format(k): Size(POSE.format(k), 0.0, scope="cage") for k in range(number.unknowns)}
        with_pose = model.with_dimensions(poses)
        self.rooms = compile_model(with_pose, [gap], lambda _, one: room_at(one) if one == number else one.ceilings[1])

    def _slopes(self, inputs: Inputs, seen: Walk) -> tuple[Inputs, Inputs]:
        """Return the slopes of the number; pockets that carry none of it go by what they have left at the pose."""
        node = next(n for n in self.rolled.nodes if n.op == POSED)
        cones = Cones.of([seen.values[a] for a in node.args], self.unknowns)
        solved = cones.solved()
        posed = inputs | {POSE.format(k): solved.pose[k][None, :] for k in range(self.unknowns)}
        at_pose = walk(self.rooms, {p: posed[p] for p in self.rooms.inputs}, self.angles, bindings(self.model))
        own = at_pose.gradient(self.gap, np.ones((1, 1)))
        number = seen.gradient(self.gap, np.ones((1, 1)))
        return {part: np.where(slopes != 0, slopes, own.get(part, slopes)) for part, slopes in number.items()}, number


class FoldSearch(Descent):
    """Looks for extreme cages of one fold over the pockets, from cages that are given."""

    def __init__(self, model: Model, rolled: Program, gap: str, over: str) -> None:
        """Take the program of the gap, and the fold."""
        super().__init__(model, rolled, gap)
        self.fold = FOLDS[over]

    def _number(self, seen: Walk) -> Array:
        return self.fold.value(seen[self.gap])

    def _slopes(self, inputs: Inputs, seen: Walk) -> tuple[Inputs, Inputs]:
        values = np.broadcast_to(seen[self.gap], (self.model.pockets, np.shape(seen[self.gap])[1]))
        found = seen.gradient(self.gap, self.fold.slopes(values), inputs)
        return found, found


def _growth(model: Model, region: Disc) -> float:
    """Return how much more than its radius a disc can have."""
    if region.growth is None:
        return 0.0
    feature: Any = model.dimensions[region.growth.feature].region
    return float(np.max(region.growth.of(np.array([np.max(feature.high), np.min(feature.low)]))))


def _drawn_back(model: Model, inputs: Inputs) -> Inputs:
    """Return the cages with every vector within its disc, which may have grown with another feature."""
    found = dict(inputs)
    for owner in {o.name: o for o in (owner_of(model, part) for part in inputs if part in _parts(model))}.values():
        region = owner.region
        if not isinstance(region, Disc):
            continue
        parts = [part for part in owner.components if part in inputs]
        rows = len(found[parts[0]])
        middle = [column(region.centre[owner.components.index(p)], rows) for p in parts]
        radius = region.radius + (0.0 if region.growth is None else region.growth.of(_feature(model, region, inputs)))
        off = within([found[p] - centre for p, centre in zip(parts, middle, strict=True)], radius)
        found |= {p: centre + values for p, centre, values in zip(parts, middle, off, strict=True)}
    return found


def _parts(model: Model) -> set[str]:
    return {part for dimension in model.dimensions.values() for part in dimension.components}


def _feature(model: Model, region: Disc, inputs: Inputs) -> Array:
    """Return the size that a disc grows with; where no chain uses it, at its most favourable: it is free."""
    assert region.growth is not None  # noqa: S101 - asked for discs that grow
    name = region.growth.feature
    if name in inputs:
        return inputs[name]
    ends: Any = model.dimensions[name].region
    both = np.array([np.min(ends.low), np.max(ends.high)])
    return both[np.argmax(region.growth.of(both))]
