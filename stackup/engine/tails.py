"""The worst cages of a Monte Carlo run under models that differ in some dimensions, seen again under any mix of them.

A review asks one question of a thousand models, which differ in a few dimensions only.  The run is gone through
once: for every requirement the units (pockets or cages, as its allowance counts) that are worst under any of the
models given are kept.  Another mix of the same dimensions is then judged on those alone.  All models see the same
cages (``common_cages.py``).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from stackup.chain.arrays import walk, walk_one
from stackup.chain.fold import FOLDS
from stackup.chain.model import Model, Requirement
from stackup.chain.program import Program, angle_aheads, at, bindings, compile_model, pitch_angles, split_at, unroll
from stackup.chain.symbols import ANGLE
from stackup.dimension import Dimension
from stackup.engine.common_cages import Block, Dimensions, Run
from stackup.engine.fractions import of_cages, of_pockets
from stackup.engine.monte_carlo import CHUNK
from stackup.engine.result import Fraction
from stackup.engine.settings import Progress, Settings, silent

Array = Any

#: kept beyond those that an allowance lets be out of spec: a part of their number, and so many more
SLACK, MORE = 1.0, 64
#: where more units than this may be out of spec, they are looked for among fewer cages
MOST_OUT = 4000


@dataclass(frozen=True)
class Tail:
    """How far the last unit that must be in spec stays within the limits, and the fraction out of spec.

    ``margin``, in the gap's unit, is the quantile at the allowance: of n units floor(ppm·n) may be out, and it is
    the room of the worst of the others; negative where more are out.  ``whole``: all cages of the run were seen.
    A fraction far above the allowance, and above what was said to be seen, is no more than a lower bound.
    """

    margin: float
    fraction: Fraction
    whole: bool


class Tails:
    """Keeps the worst units of every requirement with an allowance; ``of`` judges them under any mix of dimensions."""

    def __init__(
        self,
        model: Model,
        requirements: Sequence[Requirement],
        models: Sequence[Dimensions],
        settings: Settings,
        fractions: Mapping[str, float] | None = None,
        progress: Progress = silent,
    ) -> None:
        """Go through the cages of the run once.

        ``models`` are dimensions in place of the model's own (the first counts as the common one); each changes
        laws and regions only, no components.  ``fractions`` out of spec, by requirement, are to be told from larger
        ones where they are above the allowance.  ``progress`` may raise KeyboardInterrupt.
        """
        self.model, self.settings = model, settings
        seen = fractions or {}
        self.pools = {r.name: _Pool(model, r, settings.cages, seen.get(r.name, 0.0)) for r in requirements}
        self._keep(Run(model, settings), models, progress)

    def _keep(self, run: Run, models: Sequence[Dimensions], progress: Progress) -> None:
        first = models[0]
        wanted = [self._touched(first, model) for model in models]
        cages = max((pool.cages for pool in self.pools.values()), default=0)
        with np.errstate(all="ignore"):
            for block in run.blocks(cages):
                pools = [pool for pool in self.pools.values() if block.start < pool.cages]
                common = run.inputs(block, first, {p for pool in pools for p in pool.rolled.inputs})
                for index, dimensions in enumerate(models):
                    asked = [p for p in pools if index == 0 or p.requirement.name in wanted[index]]
                    self._look(run, block, asked, self._inputs(run, block, common, first, dimensions), index)
                if block.last:
                    progress(block.start + block.cages, cages, "common cages")
        for pool in self.pools.values():
            pool.close()

    def _touched(self, first: Dimensions, other: Dimensions) -> set[str]:
        """Return the requirements whose chains hold a dimension that differs."""
        moved = {n for n in other if other[n] is not first[n]}
        return {name for name, pool in self.pools.items() if moved & pool.owners(first).keys()}

    def _inputs(
        self, run: Run, block: Block, common: Mapping[str, Array], first: Dimensions, other: Dimensions
    ) -> Mapping[str, Array]:
        moved = {c for n in other if other[n] is not first[n] for c in other[n].components if c in common}
        return {**common, **run.inputs(block, other, moved)} if moved else common

    def _look(
        self, run: Run, block: Block, pools: Sequence[_Pool], inputs: Mapping[str, Array], index: int
    ) -> None:
        gaps = tuple(dict.fromkeys(pool.requirement.gap for pool in pools))
        if not gaps:
            return

        def sink(gap: str, values: Array) -> None:
            for pool in pools:
                if pool.requirement.gap == gap:
                    pool.look(block, values, index)

        run.machine(gaps, block.cages).run(run.copying(inputs), sink)

    def of(self, requirement: str, dimensions: Dimensions) -> Tail:
        """Return what the kept units of a requirement say when the model's dimensions are ``dimensions``."""
        pool = self.pools[requirement]
        self._draw(pool, dimensions)
        with np.errstate(all="ignore"):
            return pool.tail(dimensions, self.settings.cages)

    def _draw(self, pool: _Pool, dimensions: Dimensions) -> None:
        """Draw once more what the pool has not seen of these dimensions, for all pools at once."""
        unseen = [o for o in pool.owners(dimensions).values() if pool.key(o, dimensions) not in pool.seen]
        if not unseen:
            return
        run = Run(self.model, self.settings)
        fresh = [(p, o, p.begin(o, dimensions)) for p in self.pools.values() for o in unseen if p.uses(o)]
        parts = {part for owner in unseen for part in owner.components}
        chunks = {int(chunk) for p, _, _ in fresh for chunk in np.unique(p.cage // CHUNK)}
        for block in run.blocks(max(p.cages for p, _, _ in fresh), chunks):
            inputs = run.inputs(block, dimensions, parts)
            for each, owner, room in fresh:
                each.pick(block, owner, inputs, room)


@dataclass
class _Worst:
    """The ``most`` least margins seen so far, and where."""

    most: int
    margins: Array = field(default_factory=lambda: np.empty(0))
    places: Array = field(default_factory=lambda: np.empty(0, dtype=np.int64))
    level: float = np.inf

    def add(self, margins: Array, start: int) -> None:
        """Look at the margins (rows, cages) of units; unit (row, cage) has the place rows·(start + cage) + row."""
        rows, cages = np.nonzero(margins <= self.level)
        self.margins = np.concatenate((self.margins, margins[rows, cages]))
        self.places = np.concatenate((self.places, len(margins) * (start + cages) + rows))
        if self.margins.size > 2 * self.most:
            self.trim()

    def trim(self) -> None:
        """Forget all but the ``most`` worst."""
        if self.margins.size > self.most:
            kept = np.argpartition(self.margins, self.most - 1)[: self.most]
            self.margins, self.places = self.margins[kept], self.places[kept]
            self.level = float(self.margins.max())


class _Pool:
    """The units kept of one requirement: its pockets where the allowance counts them, else cages.

    A pocket is kept alone, with what it takes of its neighbours; where it hangs on a number of the whole cage, in its
    cage.
    """

    def __init__(self, model: Model, requirement: Requirement, cages: int, fraction: float) -> None:
        if requirement.allow is None:
            raise ValueError(f"{requirement.name} has no allowance: no quantile of it is asked for")
        self.model, self.requirement = model, requirement
        self.of_pockets = requirement.allow.of == "pockets"
        self.rows = model.pockets if self.of_pockets else 1
        most = max(requirement.allow.ppm * 1e-6, fraction)
        self.cages = min(cages, _enough(most * self.rows))
        self.allowed = _allowed(requirement.allow.ppm * 1e-6, self.cages * self.rows)
        self.rolled = compile_model(model, [requirement.gap])
        self.alone = self.of_pockets and not self.rolled.is_whole(requirement.gap)
        self.program: Program = unroll(self.rolled) if self.alone else self.rolled
        self.most = int((1 + SLACK) * _allowed(most, self.cages * self.rows)) + MORE
        self._worst: dict[int, _Worst] = {}
        #: draws of a dimension by what they depend on, which is kept so that its identity stays its own
        self.seen: dict[tuple[int, ...], tuple[tuple[Dimension, ...], dict[str, Array]]] = {}
        self.cage = self.pocket = np.empty(0, dtype=np.int64)

    def look(self, block: Block, values: Array, index: int) -> None:
        """Keep the worst of one output of a block under model ``index``."""
        margins = self._margins(values, block.cages)
        self._worst.setdefault(index, _Worst(self.most)).add(margins, block.start)

    def _margins(self, values: Array, cages: int) -> Array:
        """Return how far every unit of whole cages stays within the limits, (rows, cages)."""
        margins = self._rooms(FOLDS[self.requirement.over].value(values))
        if self.rows == 1:
            margins = margins.min(axis=0, keepdims=True)
        return np.broadcast_to(margins, (self.rows, cages))

    def _rooms(self, values: Array) -> Array:
        """Return how far values stay within the limits; what is no number is far outside."""
        low, high = self.requirement.min, self.requirement.max
        below = np.inf if low is None else values - low
        above = np.inf if high is None else high - values
        return np.where(np.isfinite(values), np.minimum(below, above), -np.inf)

    def close(self) -> None:
        """Settle which units are kept."""
        for worst in self._worst.values():
            worst.trim()
        places = np.unique(np.concatenate([w.places for w in self._worst.values()]))
        self.cage, self.pocket = np.divmod(places, self.rows)

    def uses(self, owner: Dimension) -> bool:
        """Tell whether a dimension is part of the chain."""
        return any(component in self.rolled.inputs for component in owner.components)

    def owners(self, dimensions: Dimensions) -> dict[str, Dimension]:
        """Return the dimensions of the chain."""
        return {d.name: d for d in dimensions.values() if self.uses(d)}

    @staticmethod
    def behind(owner: Dimension, dimensions: Dimensions) -> tuple[Dimension, ...]:
        """Return what the draws of a dimension depend on: itself, and the feature that it needs."""
        needs = owner.law.needs
        return (owner,) if needs is None else (owner, dimensions[needs])

    def key(self, owner: Dimension, dimensions: Dimensions) -> tuple[int, ...]:
        """Return the identity of what the draws of a dimension depend on."""
        return tuple(map(id, self.behind(owner, dimensions)))

    def begin(self, owner: Dimension, dimensions: Dimensions) -> dict[str, Array]:
        """Return room for the inputs that the program has of a dimension, which is seen from now on."""
        rows = 1 if self.alone or owner.scope == "cage" else self.model.pockets
        names = (p for p in self.program.inputs if split_at(p)[0] in owner.components)
        room = {name: np.empty((rows, self.cage.size)) for name in names}
        self.seen[self.key(owner, dimensions)] = (self.behind(owner, dimensions), room)
        return room

    def pick(self, block: Block, owner: Dimension, inputs: Mapping[str, Array], into: Mapping[str, Array]) -> None:
        """Put the draws of the kept units of a block where they belong."""
        first, after = np.searchsorted(self.cage, (block.start, block.start + block.cages))
        columns = self.cage[first:after] - block.start
        for name, room in into.items():
            part, ahead = split_at(name)
            if not self.alone:
                room[:, first:after] = inputs[part][:, columns]
            elif owner.scope == "cage":
                room[0, first:after] = inputs[part][0, columns]
            else:
                rows = (self.pocket[first:after] + ahead) % self.model.pockets
                room[0, first:after] = inputs[part][rows, columns]

    def tail(self, dimensions: Dimensions, cages: int) -> Tail:
        """Return margin and fraction of the kept units under some dimensions whose draws are there."""
        inputs: dict[str, Array] = {}
        for owner in self.owners(dimensions).values():
            inputs |= self.seen[self.key(owner, dimensions)][1]
        margins = self._kept_margins(inputs).ravel()
        rank = min(self.allowed, margins.size - 1)
        margin = float(np.partition(margins, rank)[rank])
        return Tail(margin, self._fraction(margins < 0), self.cages == cages)

    def _kept_margins(self, inputs: dict[str, Array]) -> Array:
        """Return the margins of the kept units, (1, units)."""
        angles, gap = np.array(pitch_angles(self.model.pockets)), self.requirement.gap
        if not self.alone:
            values = walk(self.program, inputs, angles, bindings(self.model))[gap]
            if not self.of_pockets:
                return self._margins(values, self.cage.size)
            every = np.broadcast_to(values, (self.rows, self.cage.size))
            return self._rooms(every[self.pocket, np.arange(self.cage.size)][None, :])
        for ahead in angle_aheads(self.program):
            inputs[at(ANGLE, ahead)] = angles[(self.pocket + ahead) % self.model.pockets][None, :]
        values = walk_one(self.program, inputs, bindings(self.model))[gap]
        return np.broadcast_to(self._rooms(values), (1, self.cage.size))

    def _fraction(self, out: Array) -> Fraction:
        if not self.of_pockets:
            return of_cages(int(out.sum()), self.cages)
        counts = np.unique(self.cage[out], return_counts=True)[1]
        most = int(counts.max(initial=0))
        return of_pockets(int(counts.sum()), int((counts * counts).sum()), most, self.cages, self.rows)


def _allowed(fraction: float, units: int) -> int:
    """Return how many of ``units`` may be out of spec; one must be in spec to have a margin."""
    return min(math.floor(fraction * units * (1 + 1e-12)), units - 1)


def _enough(each: float) -> int:
    """Return the cages, in whole chunks, among which MOST_OUT units are out, ``each`` of them in one cage."""
    return CHUNK * max(math.ceil(MOST_OUT / each / CHUNK), 1)
