"""Walking a program with arrays: a machine with registers for sampling, and a plain walk with its adjoint.

Arrays stand as (pocket, cage): what the cage shares is a row, what belongs to the pocket's place is a column,
the neighbour is the array one row up (numerics.md, sampling engine).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from typing import Any

import numpy as np

from stackup.chain.operations import ROOMY, VALUES, slopes, value
from stackup.chain.program import DRAWN, Node, Program
from stackup.chain.whole import POSED
from stackup.dimension import Dimension

Array = Any
Draw = Callable[[str, tuple[Array, ...], "Array | None"], None]
Sink = Callable[[str, Array], None]


def constants(program: Program, angles: Array, parameters: Mapping[str, float]) -> dict[int, Array]:
    """Return the values of all nodes that no draw enters: numbers (1, 1) and columns (Z, 1)."""
    found: dict[int, Array] = {}
    column = np.asarray(angles, dtype=float).reshape(-1, 1)
    for index, node in enumerate(program.nodes):
        if not node.shape & DRAWN:
            found[index] = _constant(node, found, column, parameters)
    return found


def _constant(node: Node, found: Mapping[int, Array], column: Array, parameters: Mapping[str, float]) -> Array:
    if node.op == "constant":
        return np.full((1, 1), float(node.value))
    if node.op == "parameter":
        return np.full((1, 1), float(parameters[str(node.value)]))
    if node.op == "angle":
        return column
    if node.op == "next":
        return np.roll(found[node.args[0]], -1, axis=0)
    return value(node.op, [found[a] for a in node.args], node.value)


class Machine:
    """A program laid out on reused registers, run block by block.

    One block holds ``cages`` cages of ``pockets`` pockets.  ``run(draw, sink)`` calls ``draw(dimension, out,
    needed)`` for every dimension when it is first used and ``sink(name, array)`` for every output as soon as
    it is there; the array is (Z, n) or (1, n) and valid during the call only.
    """

    def __init__(
        self,
        program: Program,
        dimensions: Mapping[str, Dimension],
        angles: Array,
        parameters: Mapping[str, float],
        cages: int,
    ) -> None:
        """Lay out the registers; nothing is drawn yet."""
        self.program, self.cages, self.pockets = program, cages, len(angles)
        self._owner = {c: d for d in dimensions.values() for c in d.components}
        self._dimensions = dimensions
        self._values = constants(program, angles, parameters)
        self._pool: dict[int, list[Array]] = {2: [], 3: []}
        self._size = 0
        self._steps: list[tuple[str, Any]] = []
        self._names: dict[int, list[str]] = {}
        for name, index in program.outputs.items():
            self._names.setdefault(index, []).append(name)
        self._last = self._last_uses()
        self._drawn: dict[str, tuple[Array, ...]] = {}
        for index, node in enumerate(program.nodes):
            if node.shape & DRAWN:
                self._place(index, node)
            if index in self._names:
                self._steps.append(("sink", (self._names[index], self._values[index])))
            self._release(index)

    @property
    def registers(self) -> int:
        """Return how many doubles all registers hold together."""
        return self._size

    def run(self, draw: Draw, sink: Sink) -> None:
        """Draw one block of cages and hand every output to ``sink``."""
        for kind, what in self._steps:
            if kind == "apply":
                what()
            elif kind == "draw":
                draw(*what)
            else:
                names, array = what
                for name in names:
                    sink(name, array)

    def _last_uses(self) -> dict[int, int]:
        last: dict[int, int] = {}
        for index, node in enumerate(self.program.nodes):
            last[index] = index
            for arg in node.args:
                last[arg] = index
        first = self._first_draws()
        for name, (when, _) in first.items():
            needs = self._dimensions[name].law.needs
            if needs is not None:
                # a zone whose limit grows with another feature reads that feature when it is drawn
                for part in self._dimensions[needs].components:
                    if part in self.program.inputs:
                        feature = self.program.inputs[part]
                        last[feature] = max(last[feature], when)
        return last

    def _first_draws(self) -> dict[str, tuple[int, Dimension]]:
        first: dict[str, tuple[int, Dimension]] = {}
        for part, index in self.program.inputs.items():
            owner = self._owner[part]
            if owner.name not in first or index < first[owner.name][0]:
                first[owner.name] = (index, owner)
        return first

    def _register(self, shape: int) -> Array:
        if self._pool[shape]:
            return self._pool[shape].pop()
        register = np.empty((self.pockets if shape == 3 else 1, self.cages))
        self._size += register.size
        return register

    def _release(self, index: int) -> None:
        for arg in {*self.program.nodes[index].args, index}:
            node = self.program.nodes[arg]
            if node.shape & DRAWN and self._last[arg] <= index and arg in self._values:
                self._pool[node.shape].append(self._values.pop(arg))

    def _place(self, index: int, node: Node) -> None:
        if node.op == "input":
            self._place_input(index, node)
        elif node.op == "next":
            out, source = self._register(node.shape), self._values[node.args[0]]
            self._apply(np.copyto, out[:-1], source[1:])
            self._apply(np.copyto, out[-1], source[0])
            self._values[index] = out
        elif node.op in ROOMY:
            self._place_roomy(index, node)
        elif node.op == POSED:
            self._values[index] = out = self._register(node.shape)
            self._apply(_copy_of, node, [self._values[a] for a in node.args], out)
        else:
            args = [self._values[a] for a in node.args]
            out = self._reusable(index, node)
            if node.op == "power":
                self._apply(np.power, args[0], float(node.value), out=out)
            else:
                self._apply(VALUES[node.op], *args, out=out)
            self._values[index] = out

    def _reusable(self, index: int, node: Node) -> Array:
        """Return a register for the result: the one of an argument used here for the last time, or a free one."""
        for arg in node.args:
            same = self.program.nodes[arg].shape == node.shape
            if same and self._last[arg] == index and self.program.nodes[arg].shape & DRAWN:
                return self._values.pop(arg)
        return self._register(node.shape)

    def _place_roomy(self, index: int, node: Node) -> None:
        out, room = self._register(node.shape), self._register(node.shape)
        self._apply(VALUES[node.op], *(self._values[a] for a in node.args), out=out, room=room)
        self._pool[node.shape].append(room)
        self._values[index] = out

    def _apply(self, function: Callable[..., Any], *args: Any, **kwargs: Any) -> None:
        self._steps.append(("apply", partial(function, *args, **kwargs)))

    def _place_input(self, index: int, node: Node) -> None:
        owner = self._owner[str(node.value)]
        if owner.name not in self._drawn:
            self._draw(owner, node.shape)
        self._values[index] = self._drawn[owner.name][owner.components.index(str(node.value))]

    def _draw(self, owner: Dimension, shape: int) -> tuple[Array, ...]:
        needed = None
        if owner.law.needs is not None:
            feature = self._dimensions[owner.law.needs]
            if feature.name not in self._drawn:
                self._draw(feature, 3 if feature.scope == "pocket" else 2)
            needed = self._drawn[feature.name][0]
        out = tuple(self._register(shape) for _ in owner.components)
        self._drawn[owner.name] = out
        self._steps.append(("draw", (owner.name, out, needed)))
        return out


def _copy_of(node: Node, args: Sequence[Array], out: Array) -> None:
    np.copyto(out, value(node.op, args, node.value))


@dataclass
class Walk:
    """All values of one plain walk: ``values[i]`` is the array of node i."""

    program: Program
    values: list[Array]
    rolled: bool = True
    _seeds: list[Array | None] = field(default_factory=list)

    def __getitem__(self, name: str) -> Array:
        """Return the array of the output ``name``."""
        return self.values[self.program.outputs[name]]

    def gradient(self, name: str, seed: Array, wanted: Iterable[str] | None = None) -> dict[str, Array]:
        """Return, per input, the derivative of Σ seed·output (shape of the input's own array).

        ``seed`` broadcasts against the output, and the output against it.  What an input of the cage does through
        many pockets is added up.
        """
        program = self.program
        seeds: list[Array | None] = [None] * len(program.nodes)
        start = program.outputs[name]
        shape = np.shape(self.values[start])
        seed = np.broadcast_to(seed, np.broadcast_shapes(np.shape(seed), shape)).astype(float)
        seeds[start] = _summed(seed, shape)
        for index in range(start, -1, -1):
            if seeds[index] is not None:
                self._backward(index, seeds)
        names = program.inputs if wanted is None else wanted
        return {
            part: (
                np.zeros(np.shape(self.values[program.inputs[part]]))
                if (found := seeds[program.inputs[part]]) is None
                else found
            )
            for part in names
        }

    def _backward(self, index: int, seeds: list[Array | None]) -> None:
        node = self.program.nodes[index]
        flow: Array = seeds[index]
        if node.op == "next":
            _add(seeds, node.args[0], np.roll(flow, 1, axis=0))
            return
        if not node.args:
            return
        partials = slopes(node.op, [self.values[a] for a in node.args], self.values[index], node.value)
        for arg, slope in zip(node.args, partials, strict=True):
            if self.program.nodes[arg].shape:
                _add(seeds, arg, _summed(flow * slope, np.shape(self.values[arg])))


def _add(seeds: list[Array | None], index: int, amount: Array) -> None:
    seeds[index] = amount if seeds[index] is None else seeds[index] + amount


def _summed(amount: Array, shape: tuple[int, ...]) -> Array:
    """Add up what was broadcast from an array of ``shape``."""
    amount = np.asarray(amount)
    for axis, size in enumerate(shape):
        if size == 1 and amount.shape[axis] != 1:
            amount = amount.sum(axis=axis, keepdims=True)
    return amount


def walk(program: Program, inputs: Mapping[str, Array], angles: Array, parameters: Mapping[str, float]) -> Walk:
    """Return all values of a program on given inputs, (Z, n) or (1, n) each, with room for its adjoint."""
    column = np.asarray(angles, dtype=float).reshape(-1, 1)
    values: list[Array] = []
    for node in program.nodes:
        values.append(_value_of(node, values, inputs, column, parameters))
    return Walk(program, values)


def _value_of(
    node: Node,
    values: Sequence[Array],
    inputs: Mapping[str, Array],
    column: Array,
    parameters: Mapping[str, float],
) -> Array:
    match node.op:
        case "constant":
            return np.full((1, 1), float(node.value))
        case "parameter":
            return np.full((1, 1), float(parameters[str(node.value)]))
        case "angle":
            return column
        case "input":
            return inputs[str(node.value)]
        case "next":
            return np.roll(values[node.args[0]], -1, axis=0)
    return value(node.op, [values[a] for a in node.args], node.value)


def walk_one(program: Program, inputs: Mapping[str, Array], parameters: Mapping[str, float]) -> Walk:
    """Return all values of an unrolled program; inputs and angles (``angle``, ``angle@1``) are (1, n) or (1, 1)."""
    values: list[Array] = []
    for node in program.nodes:
        if node.op == "angle":
            values.append(np.atleast_2d(inputs[str(node.value)]))
        else:
            values.append(_value_of(node, values, inputs, np.zeros((1, 1)), parameters))
    return Walk(program, values, rolled=False)
