"""The first blocks of a Monte Carlo run once more, with the inputs kept: what questions after the run are asked of.

Every dimension draws from a stream keyed by its name, so a model in which one dimension differs replays the same
scores in all others (common random numbers).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np

from stackup.chain.arrays import Machine
from stackup.chain.model import Model
from stackup.chain.program import Program, bindings, pitch_angles
from stackup.engine.monte_carlo import Drawer, block_size
from stackup.engine.scatter import owner_of
from stackup.engine.settings import Settings

Array = Any


@dataclass
class Block:
    """Inputs of a block of cages by name, (Z, n) or (1, n)."""

    inputs: dict[str, Array]
    cages: int


class Replay:
    """Draws the first blocks of the run again and keeps their inputs."""

    def __init__(self, model: Model, program: Program, settings: Settings) -> None:
        """Begin at the first cage of the run with ``settings.seed``."""
        self.model, self.program = model, program
        self.drawer = Drawer(model, settings.seed)
        self.size = min(block_size(model.pockets), max(settings.cages, 1))
        self.angles = np.array(pitch_angles(model.pockets))
        self.owners = {o.name: o for o in (owner_of(model, p) for p in program.inputs)}
        self.drawer.start(0)
        self._machines: dict[tuple[int, tuple[str, ...]], Machine] = {}

    def block(self, cages: int | None = None) -> Block:
        """Draw the next block, of ``cages`` cages where the run's last one is shorter."""
        inputs: dict[str, Array] = {}
        for name in self._in_order():
            self._draw(name, inputs, cages or self.size)
        return Block(inputs, cages or self.size)

    def _machine(self, cages: int, gaps: tuple[str, ...]) -> Machine:
        if (cages, gaps) not in self._machines:
            program = self.program.only(gaps)
            made = Machine(program, self.model.dimensions, self.angles, bindings(self.model), cages)
            self._machines[cages, gaps] = made
        return self._machines[cages, gaps]

    def _in_order(self) -> list[str]:
        first = [n for n in self.owners if self.model.dimensions[n].law.needs is None]
        return first + [n for n in self.owners if n not in first]

    def _draw(self, name: str, inputs: dict[str, Array], cages: int) -> None:
        owner = self.model.dimensions[name]
        if owner.components[0] in inputs:
            return
        needed = None
        if owner.law.needs is not None:
            self._draw(owner.law.needs, inputs, cages)
            needed = inputs[self.model.dimensions[owner.law.needs].components[0]]
        shape = (self.model.pockets if owner.scope == "pocket" else 1, cages)
        out = tuple(np.empty(shape) for _ in owner.components)
        self.drawer(name, out, needed)
        inputs.update(zip(owner.components, out, strict=True))

    def values(self, block: Block, gaps: Iterable[str] | None = None) -> dict[str, Array]:
        """Return the values (Z, n) of every gap of a block, or of some."""
        found: dict[str, Array] = {}

        def copy(name: str, out: tuple[Array, ...], needed: Array | None) -> None:
            del needed
            for part, register in zip(self.model.dimensions[name].components, out, strict=True):
                np.copyto(register, block.inputs[part])

        asked = tuple(self.program.outputs if gaps is None else dict.fromkeys(gaps))
        self._machine(block.cages, asked).run(copy, lambda gap, values: found.__setitem__(gap, values.copy()))
        return found
