"""A local search over whole cages: every pocket is made as bad (or as good) as the drawing lets it, the pose answers.

In turn the pose of each cage is solved, and every dimension is moved to the end of its region that takes most from
(or gives most to) the pockets at that pose: a pocket's own by what that pocket has left, the cage's by the pockets that
carry the number (their weights).  What is found is a cage that can be built; nothing is said of cages not looked at.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from stackup.chain.arrays import Walk, walk
from stackup.chain.model import Model
from stackup.chain.program import Program, bindings, compile_model, pitch_angles
from stackup.chain.symbols import BestPose, Least, Length, symbol
from stackup.chain.whole import POSED, Cones
from stackup.dimension import Classes, Dimension, Disc, Size
from stackup.engine.extreme_cages import column, within
from stackup.engine.scatter import owner_of

Array = Any
Inputs = dict[str, Array]

ROUNDS = 12
#: after so many rounds only the worst cages are made worse
BROAD, STARTS = 1, 4
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


class CageSearch:
    """Looks for bad or good cages of one number of the whole cage, from cages that are given."""

    def __init__(self, model: Model, rolled: Program, gap: str, number: BestPose) -> None:
        """Take the program of the gap, whose formula is ``number``."""
        self.model, self.rolled, self.gap = model, rolled, gap
        self.angles, self.unknowns = np.array(pitch_angles(model.pockets)), number.unknowns
        poses = {POSE.format(k): Size(POSE.format(k), 0.0, scope="cage") for k in range(number.unknowns)}
        with_pose = model.with_dimensions(poses)
        self.rooms = compile_model(with_pose, [gap], lambda _, one: room_at(one) if one == number else one.ceilings[1])

    def least(self, cages: Mapping[str, Array], sign: int) -> float:
        """Return the least of sign·number found from ``cages``, (Z, n) or (1, n) by input."""
        inputs: Inputs = {part: np.array(values) for part, values in cages.items()}
        found = np.inf
        with np.errstate(all="ignore"):
            for step in range(ROUNDS):
                seen = walk(self.rolled, inputs, self.angles, bindings(self.model))
                values = sign * seen[self.gap][0]
                found = min(found, float(np.nanmin(values, initial=np.inf)))
                if step == BROAD:
                    first = np.argsort(values)[:STARTS]
                    inputs = {part: column[:, first] for part, column in inputs.items()}
                    seen = walk(self.rolled, inputs, self.angles, bindings(self.model))
                inputs = self._answered(inputs, seen, sign)
        return found

    def _answered(self, inputs: Inputs, seen: Walk, sign: int) -> Inputs:
        """Return the cages with every dimension where it does most at the pose that the cages stand in."""
        node = next(n for n in self.rolled.nodes if n.op == POSED)
        cones = Cones.of([seen.values[a] for a in node.args], self.unknowns)
        solved = cones.solved()
        posed = inputs | {POSE.format(k): solved.pose[k][None, :] for k in range(self.unknowns)}
        at_pose = walk(self.rooms, {p: posed[p] for p in self.rooms.inputs}, self.angles, bindings(self.model))
        own = at_pose.gradient(self.gap, np.ones((1, 1)))
        shared = at_pose.gradient(self.gap, cones.by_pocket(solved.weights))
        moved = dict(inputs)
        for owner in {o.name: o for o in (owner_of(self.model, part) for part in self.rolled.inputs)}.values():
            slopes = own if owner.scope == "pocket" else shared
            parts = [part for part in owner.components if part in inputs and part in slopes]
            moved |= self._moved(owner, {part: sign * slopes[part] for part in parts}, inputs)
        return _drawn_back(self.model, moved)

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
            return {}
        low, high = (column(end, rows) for end in (region.low, region.high))
        return {
            part: np.where(slope > FLAT, low, np.where(slope < -FLAT, high, inputs[part]))
            for part, slope in slopes.items()
        }


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
