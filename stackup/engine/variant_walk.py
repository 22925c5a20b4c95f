"""Draws blocks of cages and walks their program once, and for every variant the part behind its dimension again."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from stackup.chain.arrays import constants
from stackup.chain.model import Model, Requirement
from stackup.chain.operations import VALUES, value
from stackup.chain.program import DRAWN, Node, Program, bindings, compile_model, pitch_angles
from stackup.chain.whole import POSED
from stackup.dimension import Dimension
from stackup.engine.counter import Watch, watches
from stackup.engine.crossings import Nearest, crossings, margin, may_cross
from stackup.engine.monte_carlo import block_size, stream
from stackup.engine.scatter import owner_of
from stackup.engine.tally import Failures, may_fail, within

Array = Any


@dataclass(frozen=True)
class Variant:
    """One ``dimension`` (of a name and components that the model has) as it would come out.

    ``factor``: its spread over that in the model, where the crossings are wanted (not 1).  ``only``: the names of
    the requirements that are counted; None for all that hold the dimension.
    """

    dimension: Dimension
    factor: float | None = None
    only: frozenset[str] | None = None


@dataclass
class Counts:
    """What fails: each requirement, by name, and any of them (cages).

    ``crossings``: of a variant with a factor, by requirement, the least factors at which a pocket (a cage, where the
    requirement counts cages) would begin to fail if its value were linear in the factor, ascending.
    """

    failures: dict[str, Failures]
    any_cages: Failures = field(default_factory=Failures)
    crossings: dict[str, Array] = field(default_factory=dict)


@dataclass
class Tally:
    """Counts of one variant in one chunk, and the crossings still wanted."""

    failures: dict[str, Failures]
    any_cages: Failures
    nearest: dict[str, Nearest]

    def merged(self, other: Tally) -> Tally:
        """Take in those of another chunk."""
        for name, failures in self.failures.items():
            failures.merge(other.failures[name])
        self.any_cages.merge(other.any_cages)
        for name, nearest in self.nearest.items():
            nearest.add(other.nearest[name].values)
        return self

    def counts(self) -> Counts:
        """Return what they come to."""
        crossings = {name: nearest.sorted() for name, nearest in self.nearest.items()}
        return Counts(self.failures, self.any_cages, crossings)


class _Source:
    """One dimension's draws, chunk by chunk."""

    def __init__(self, dimension: Dimension, seed: int) -> None:
        self.name, self.law, self.seed = dimension.name, dimension.law, seed

    def start(self, chunk: int) -> None:
        self.stream = stream(self.seed, self.name, chunk)

    def fill(self, out: tuple[Array, ...], scratch: tuple[Array, Array], needed: Array | None) -> None:
        self.law.sample(self.stream, out, scratch, needed)


class _Room:
    """Buffers for one width of blocks: every node as it is, registers for what changes, and scratch for draws."""

    def __init__(self, program: Program, pockets: int, cages: int) -> None:
        self.shapes = {2: (1, cages), 3: (pockets, cages)}
        drawn = {i: self.shapes[n.shape] for i, n in enumerate(program.nodes) if n.shape & DRAWN}
        self.base = {index: np.empty(shape) for index, shape in drawn.items()}
        self.scratch = {shape: (np.empty(shape), np.empty(shape)) for shape in self.shapes.values()}
        self._registers: dict[tuple[int, int], Array] = {}

    def register(self, place: tuple[int, int]) -> Array:
        """Return the register at ``place``: the shape class, and its number within it."""
        if place not in self._registers:
            self._registers[place] = np.empty(self.shapes[place[0]])
        return self._registers[place]


class Walker:
    """One worker: draws blocks, walks the program, and walks the part behind each variant again."""

    def __init__(
        self, model: Model, requirements: Sequence[Requirement], variants: Sequence[Variant], seed: int
    ) -> None:
        """Lay out the program and what each variant changes; room is made when the first block needs it."""
        self.model, self.seed = model, seed
        self.seen = watches(model, requirements)
        self.program = compile_model(model, [watch.gap for watch in self.seen])
        self.angles = np.array(pitch_angles(model.pockets))
        self.fixed = constants(self.program, self.angles, bindings(model))
        self.order = self._in_order(self._owners())
        self.base = {name: _Source(model.dimensions[name], seed) for name in self.order}
        self.variants = [_Branch(self, variant) for variant in variants]
        self._rooms: dict[int, _Room] = {}

    def _owners(self) -> list[str]:
        found = dict.fromkeys(owner_of(self.model, part).name for part in self.program.inputs)
        for name in list(found):
            need = self.model.dimensions[name].law.needs
            if need is not None:
                found[need] = None
        return list(found)

    def _in_order(self, names: Iterable[str]) -> list[str]:
        """Return the dimensions, those that others need first."""
        return sorted(names, key=lambda name: self.model.dimensions[name].law.needs is not None)

    def chunk(self, index: int, cages: int, kept: Mapping[str, int]) -> list[Tally]:
        """Return the tallies of chunk ``index`` of ``cages`` cages: of the model as it is, and of every variant."""
        size = block_size(self.model.pockets)
        tallies = [self.tally(self.seen, {}), *(b.tally(kept) for b in self.variants)]
        for source in (*self.base.values(), *(s for b in self.variants for s in b.sources.values())):
            source.start(index)
        with np.errstate(all="ignore"):
            for start in range(0, cages, size):
                self._block(min(size, cages - start), tallies)
        return tallies

    @staticmethod
    def tally(seen: Sequence[Watch], kept: Mapping[str, int]) -> Tally:
        """Return an empty tally for what is seen."""
        failures = {r.name: Failures() for watch in seen for r in watch.requirements}
        return Tally(failures, Failures(), {name: Nearest(most) for name, most in kept.items() if name in failures})

    def _block(self, cages: int, tallies: Sequence[Tally]) -> None:
        if cages not in self._rooms:
            self._rooms[cages] = _Room(self.program, self.model.pockets, cages)
        room = self._rooms[cages]
        values: dict[int, Array] = {**self.fixed, **room.base}
        drawn = self._drawn(room)
        for name in self.order:
            self.draw(self.base[name], drawn, room, drawn[name])
        for index, node in enumerate(self.program.nodes):
            if node.shape & DRAWN and node.op != "input":
                _compute(node, values, values[index], room.scratch)
        bad = self.failing(self.seen, values, cages)
        tallies[0].any_cages.add(_count(bad, tallies[0], cages))
        for branch, tally in zip(self.variants, tallies[1:], strict=True):
            branch.block(values, drawn, bad, room, cages, tally)

    def _drawn(self, room: _Room) -> dict[str, tuple[Array, ...]]:
        """Return where each dimension's values of the block stand; room of its own for what no gap reads."""
        found = {}
        for name in self.order:
            dimension = self.model.dimensions[name]
            shape = (self.model.pockets if dimension.scope == "pocket" else 1, next(iter(room.scratch))[1])
            found[name] = tuple(
                room.base[self.program.inputs[part]] if part in self.program.inputs else np.empty(shape)
                for part in dimension.components
            )
        return found

    def draw(
        self, source: _Source, drawn: Mapping[str, tuple[Array, ...]], room: _Room, out: tuple[Array, ...]
    ) -> None:
        """Fill ``out`` with a dimension's next values; the limit of a zone may need others of ``drawn``."""
        need = source.law.needs
        source.fill(out, room.scratch[out[0].shape], None if need is None else drawn[need][0])

    def failing(self, seen: Sequence[Watch], values: Mapping[int, Array], cages: int) -> dict[str, Array | None]:
        """Return where each requirement that is seen fails in a block of ``values`` by node; None where nowhere."""
        return {
            r.name: failing(r, watch.folded(values[self.program.outputs[watch.gap]], cages))
            for watch in seen
            for r in watch.requirements
        }


class _Branch:
    """One variant: what it draws again, the nodes behind it, the requirements it moves."""

    def __init__(self, walker: Walker, variant: Variant) -> None:
        model, program = walker.model, walker.program
        self.walker, self.variant = walker, variant
        name = variant.dimension.name
        again = [n for n in walker.order if n == name or model.dimensions[n].law.needs == name]
        changed = {name: variant.dimension}
        self.sources = {n: _Source(changed.get(n, model.dimensions[n]), walker.seed) for n in again}
        self.parts = {n: model.dimensions[n].components for n in again}
        inputs = {program.inputs[part] for n in again for part in self.parts[n] if part in program.inputs}
        behind = _behind(program, inputs)
        moved = inputs.union(behind)
        self.seen = [watch for watch in _asked(walker.seen, variant.only) if program.outputs[watch.gap] in moved]
        needed = set(program.needed([watch.gap for watch in self.seen]))
        self.nodes = [index for index in behind if index in needed]
        self.places = _placed(program, sorted(inputs), self.nodes)

    def tally(self, kept: Mapping[str, int]) -> Tally:
        return self.walker.tally(self.seen, kept if self.variant.factor is not None else {})

    def block(
        self,
        before: Mapping[int, Array],
        drawn: Mapping[str, tuple[Array, ...]],
        bad_before: Mapping[str, Array | None],
        room: _Room,
        cages: int,
        tally: Tally,
    ) -> None:
        values, walker = dict(before), self.walker
        mine = dict(drawn)
        for name, source in self.sources.items():
            mine[name] = tuple(
                room.register(self.places[walker.program.inputs[part]])
                if part in walker.program.inputs
                else np.empty_like(had)
                for part, had in zip(self.parts[name], drawn[name], strict=True)
            )
            walker.draw(source, mine, room, mine[name])
            for part, array in zip(self.parts[name], mine[name], strict=True):
                if part in walker.program.inputs:
                    values[walker.program.inputs[part]] = array
        for index in self.nodes:
            values[index] = room.register(self.places[index])
            _compute(walker.program.nodes[index], values, values[index], room.scratch)
        bad = walker.failing(self.seen, values, cages)
        tally.any_cages.add(_count({**bad_before, **bad}, tally, cages))
        if tally.nearest:
            self._cross(before, values, cages, tally)

    def _cross(self, before: Mapping[int, Array], after: Mapping[int, Array], cages: int, tally: Tally) -> None:
        """Keep the least factors at which something begins to fail."""
        growth = (self.variant.factor or 1.0) - 1.0
        for watch in self.seen:
            place = self.walker.program.outputs[watch.gap]
            for r in watch.requirements:
                if r.name in tally.nearest:
                    nearest = tally.nearest[r.name]
                    had, got = (margin(r, watch.folded(values[place], cages)) for values in (before, after))
                    near = may_cross(had, got, growth, nearest.limit)
                    if r.allow is not None and r.allow.of == "pockets":
                        nearest.add(crossings(had[near], got[near], growth))
                    elif (columns := near.any(axis=0)).any():
                        nearest.add(crossings(had[:, columns], got[:, columns], growth).min(axis=0))


def _asked(seen: Sequence[Watch], only: frozenset[str] | None) -> list[Watch]:
    """Return the watches with the requirements called ``only``, all where that is None."""
    if only is None:
        return list(seen)
    kept = (replace(watch, requirements=tuple(r for r in watch.requirements if r.name in only)) for watch in seen)
    return [watch for watch in kept if watch.requirements]


def _behind(program: Program, inputs: set[int]) -> list[int]:
    """Return the nodes that depend on ``inputs``, in order, without them."""
    moved = set(inputs)
    found = []
    for index, node in enumerate(program.nodes):
        if any(arg in moved for arg in node.args):
            moved.add(index)
            found.append(index)
    return found


def _placed(program: Program, inputs: Sequence[int], nodes: Sequence[int]) -> dict[int, tuple[int, int]]:
    """Return a register for each of ``inputs`` and ``nodes``: free again after its last use, an output's never."""
    last = {arg: index for index in nodes for arg in program.nodes[index].args}
    outputs = set(program.outputs.values())
    free: dict[int, list[int]] = {2: [], 3: []}
    count = {2: 0, 3: 0}
    places: dict[int, tuple[int, int]] = {}
    for index in (*inputs, *nodes):
        shape = program.nodes[index].shape
        if not free[shape]:
            free[shape].append(count[shape])
            count[shape] += 1
        places[index] = (shape, free[shape].pop())
        for arg in {a for a in program.nodes[index].args if a in places and a not in outputs and last[a] == index}:
            free[places[arg][0]].append(places[arg][1])
    return places


def _compute(node: Node, values: Mapping[int, Array], out: Array, scratch: Mapping[Any, tuple[Array, Array]]) -> None:
    """Fill ``out`` with the value of a node: the operations of the sampler's machine, bit for bit."""
    args = [values[a] for a in node.args]
    if node.op == "next":
        out[:-1], out[-1] = args[0][1:], args[0][0]
    elif node.op == "power":
        np.power(args[0], float(node.value), out=out)
    elif node.op == POSED:
        np.copyto(out, value(node.op, args, node.value))
    elif node.op == "length":
        other = scratch[out.shape][0]
        np.multiply(args[0], args[0], out=out)
        np.multiply(args[1], args[1], out=other)
        np.add(out, other, out=out)
        np.sqrt(out, out=out)
    else:
        VALUES[node.op](*args, out=out)


def failing(requirement: Requirement, values: Array) -> Array | None:
    """Return where values (rows, cages) are out of spec; None where none is."""
    if not may_fail(float(values.min()), float(values.max()), requirement.min, requirement.max):
        return None
    return ~within(values, requirement.min, requirement.max)


def _count(bad: Mapping[str, Array | None], tally: Tally, cages: int) -> Array:
    """Add what fails to the tally of each requirement; return which cages fail any (0 or 1)."""
    overall = np.zeros(cages, dtype=bool)
    for name, where in bad.items():
        counts = None if where is None else np.broadcast_to(where.sum(axis=0), (cages,))
        if name in tally.failures:
            if counts is None:
                tally.failures[name].cages += cages
            else:
                tally.failures[name].add(counts)
        if counts is not None:
            overall |= counts > 0
    return overall.astype(np.int64)
