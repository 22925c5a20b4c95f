"""The margin of a requirement with an allowance, and what moves it.

The margin is how far the limits could move inwards until the allowance is used up: the quantile of the room
to the nearer limit at the fraction that the drawn cages can still prove (the 95 % interval lies below the allowance).
Its slopes are means over the cages that stand there: ∂gap/∂x for a shift of a dimension's mean, Σ(x − mean)·∂gap/∂x
for a relative change of its scatter (the derivative of a quantile, J. W. Hong, Operations Research 57 (2009) 118-130).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from stackup.chain.arrays import walk, walk_one
from stackup.chain.fold import FOLDS
from stackup.chain.model import Model, Requirement
from stackup.chain.program import Program, angle_aheads, at, bindings, compile_model, pitch_angles, split_at, unroll
from stackup.chain.symbols import ANGLE
from stackup.engine.fractions import of_cages
from stackup.engine.monte_carlo import CHUNK
from stackup.engine.replay import Block, Replay
from stackup.engine.scatter import column_at, owner_of
from stackup.engine.settings import Progress, Settings, silent

Array = Any

#: cages kept for each requirement: so many times those that may fail, at least and at most so many
SPARE, FEWEST, MOST = 3.0, 200, 3000
#: pockets (or cages) nearest to the quantile that slopes are averaged over
NEAREST = 96
#: two-sided 95 %
NORMAL = 1.96


@dataclass(frozen=True)
class Tail:
    """Margin in the gap's unit, and its slopes by dimension: per unit of the mean, and per relative change of scatter.

    ``by_mean`` of a zone is 0: its vector has no mean to move.
    """

    margin: float
    by_mean: Mapping[str, float]
    by_scatter: Mapping[str, float]


def run(
    model: Model, requirements: Sequence[Requirement], settings: Settings, progress: Progress = silent
) -> dict[str, Tail]:
    """Return the tail of every requirement (all with an allowance), by name; draws are those of Monte Carlo."""
    program = compile_model(model, [r.gap for r in requirements])
    kept = {r.name: _Kept(model, program.only([r.gap]), r, settings.cages) for r in requirements}
    replay = Replay(model, program, settings)
    with np.errstate(all="ignore"):
        for start in range(0, settings.cages, replay.size):
            if start % CHUNK == 0:
                replay.drawer.start(start // CHUNK)
            wanted = [one for one in kept.values() if one.looked < one.cages]
            if not wanted:
                break
            block = replay.block(min(replay.size, settings.cages - start))
            values = replay.values(block)
            for one in wanted:
                one.look(block, values[one.requirement.gap])
            progress(start + block.cages, settings.cages, "tails")
        return {name: one.tail() for name, one in kept.items()}


def room_of(requirement: Requirement, values: Array) -> Array:
    """Return the room of folded values to the nearer limit; what is not a number has none."""
    room = np.full(np.shape(values), np.inf)
    if requirement.min is not None:
        room = np.minimum(room, values - requirement.min)
    if requirement.max is not None:
        room = np.minimum(room, requirement.max - values)
    return np.where(np.isnan(room), -np.inf, room)


class _Kept:
    """The cages of one requirement with the least room."""

    def __init__(self, model: Model, program: Program, requirement: Requirement, cages: int) -> None:
        self.model, self.program, self.requirement = model, program, requirement
        allow = requirement.allow
        assert allow is not None  # noqa: S101 - asked for with an allowance only
        self.of_pockets = allow.of == "pockets" and requirement.over == "each"
        self.part = allow.ppm * 1e-6
        self.rows = model.pockets if self.of_pockets else 1
        may_fail = SPARE * self.part * self.rows
        self.cages = min(cages, max(FEWEST, math.ceil(MOST / may_fail)))
        self.count = min(self.cages, max(FEWEST, math.ceil(may_fail * self.cages)))
        self.drawn = cages
        self.looked = 0
        self.room = np.zeros(0)
        self.inputs: dict[str, Array] = {}

    def look(self, block: Block, values: Array) -> None:
        """Keep what is worst of a block and of what was kept."""
        cages = min(block.cages, self.cages - self.looked)
        fold = FOLDS[self.requirement.over]
        folded = np.broadcast_to(fold.value(values), (fold.value(values).shape[0], block.cages))[:, :cages]
        room = room_of(self.requirement, folded).min(axis=0)
        self.looked += cages
        worst = np.argsort(room, kind="stable")[: self.count]
        if len(self.room) == self.count:
            worst = worst[room[worst] < self.room.max()]
        everything = np.concatenate((self.room, room[worst]))
        best = np.argsort(everything, kind="stable")[: self.count]
        for part in self.program.inputs:
            fresh = block.inputs[part][:, worst]
            had = self.inputs.get(part)
            joined = fresh if had is None else np.concatenate((had, fresh), axis=1)
            self.inputs[part] = joined[:, best]
        self.room = everything[best]

    def tail(self) -> Tail:
        """Return margin and slopes."""
        seen = walk(self.program, self.inputs, np.array(pitch_angles(self.model.pockets)), bindings(self.model))
        gap = np.broadcast_to(seen[self.requirement.gap], (self._rows_of_gap, len(self.room)))
        fold = FOLDS[self.requirement.over]
        room = room_of(self.requirement, fold.value(gap))
        if not self.of_pockets:
            room = room.min(axis=0, keepdims=True)
        margin, clumped = self._quantile(room, 1.0)
        if clumped > 1.0:
            margin, _ = self._quantile(room, clumped)
        if self.requirement.over != "each" or self.program.is_whole(self.requirement.gap):
            slopes = self._of_folds(seen, gap, room, margin)
        else:
            slopes = self._of_pockets(gap, margin)
        return Tail(margin, *slopes)

    @property
    def _rows_of_gap(self) -> int:
        return 1 if self.model.gap(self.requirement.gap).scope == "cage" else self.model.pockets

    def _quantile(self, room: Array, clumped: float) -> tuple[float, float]:
        """Return the quantile that can be proved, and by how much failures clump in cages there."""
        total = self.looked * room.shape[0]
        part = self._provable(clumped)
        order = np.sort(room, axis=None)
        margin = float(order[min(math.floor(part * total), order.size - 1)])
        counts = (room <= margin).sum(axis=0)
        return margin, float((counts * counts).sum() / max(counts.sum(), 1))

    def _provable(self, clumped: float) -> float:
        """Return the fraction whose 95 % interval just lies below the allowance, of as many cages as will be drawn."""
        if self.of_pockets:
            spread = NORMAL * math.sqrt(self.part * clumped / (self.drawn * self.rows))
            return max(self.part - spread, 0.0)
        failed = math.floor(self.part * self.drawn)
        while failed > 0 and of_cages(failed, self.drawn).high > self.part:
            failed -= max(1, failed // 200)
        return failed / self.drawn

    def _of_pockets(self, gap: Array, margin: float) -> tuple[dict[str, float], dict[str, float]]:
        """Return the slopes over the pockets nearest to the margin, each with its neighbours."""
        room = room_of(self.requirement, gap)
        flat = np.argsort(np.abs(np.where(np.isfinite(room), room, np.inf) - margin), axis=None)[:NEAREST]
        pocket, cage = np.unravel_index(flat, room.shape)
        unrolled = unroll(self.program)
        pockets, angles = self.model.pockets, np.array(pitch_angles(self.model.pockets))
        inputs: dict[str, Array] = {}
        for part in unrolled.inputs:
            base, ahead = split_at(part)
            values = self.inputs[base]
            inputs[part] = values[(pocket + ahead) % pockets if len(values) > 1 else 0, cage][None, :]
        for k in angle_aheads(unrolled):
            inputs[at(ANGLE, k)] = angles[(pocket + k) % pockets][None, :]
        seen = walk_one(unrolled, inputs, bindings(self.model))
        slopes = seen.gradient(self.requirement.gap, np.ones((1, 1)))
        sign = self._sign(gap[pocket, cage])
        moved, scattered = _Sums(self.model), _Sums(self.model)
        for part, slope in slopes.items():
            base, ahead = split_at(part)
            owner = owner_of(self.model, part)
            mean = owner.law.mean[owner.components.index(base)]
            off = inputs[part][0] - np.array([column_at(mean, p + ahead) for p in pocket])
            here = sign * np.broadcast_to(slope, (1, len(pocket)))[0]
            moved.add(owner.name, float(np.mean(here)) if owner.kind != "zone" else 0.0)
            scattered.add(owner.name, float(np.mean(here * off)))
        return moved.found, scattered.found

    def _of_folds(self, seen: Any, gap: Array, room: Array, margin: float) -> tuple[dict[str, float], dict[str, float]]:
        """Return the slopes over the cages nearest to the margin, through the pockets that carry the fold.

        Where each pocket is asked, and hangs on a number of the whole cage, the worst one carries.
        """
        near = np.argsort(np.abs(room.min(axis=0) - margin))[:NEAREST]
        fold = FOLDS[self.requirement.over]
        carried, values = fold.slopes(gap), fold.value(gap)
        if not fold.of_cage:
            worst = np.argmin(room_of(self.requirement, gap), axis=0)[None, :]
            carried = (np.arange(len(gap))[:, None] == worst).astype(float)
            values = np.take_along_axis(gap, worst, axis=0)
        slopes = seen.gradient(self.requirement.gap, carried)
        sign = self._sign(values[0, near])
        moved, scattered = _Sums(self.model), _Sums(self.model)
        for part, slope in slopes.items():
            owner = owner_of(self.model, part)
            values = self.inputs[part]
            mean = owner.law.mean[owner.components.index(part)]
            off = values - np.array([[column_at(mean, i)] for i in range(len(values))])
            here = np.broadcast_to(slope, (slope.shape[0], len(self.room)))
            moved.add(owner.name, float(np.mean(sign * here.sum(axis=0)[near])) if owner.kind != "zone" else 0.0)
            scattered.add(owner.name, float(np.mean(sign * (here * off).sum(axis=0)[near])))
        return moved.found, scattered.found

    def _sign(self, values: Array) -> Array:
        """Return +1 where the lower limit is the nearer one, else −1."""
        low = np.inf if self.requirement.min is None else values - self.requirement.min
        high = np.inf if self.requirement.max is None else self.requirement.max - values
        return np.where(low <= high, 1.0, -1.0)


class _Sums:
    """Numbers added up by dimension."""

    def __init__(self, model: Model) -> None:
        self.found: dict[str, float] = {}
        self.model = model

    def add(self, name: str, value: float) -> None:
        """Add a finite value."""
        self.found[name] = self.found.get(name, 0.0) + (value if math.isfinite(value) else 0.0)
