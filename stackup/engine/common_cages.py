"""The cages of a Monte Carlo run again, block by block, with any dimensions in place of the model's.

Dimensions draw from streams keyed by their names, so that models which differ in some see the same cages otherwise
(common random numbers), those of ``monte_carlo.run`` with the same seed.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from stackup.chain.arrays import Machine
from stackup.chain.model import Model
from stackup.chain.program import bindings, compile_model, pitch_angles
from stackup.dimension import Dimension
from stackup.engine.monte_carlo import CHUNK, Drawer, block_size
from stackup.engine.settings import Settings

Array = Any
Dimensions = Mapping[str, Dimension]


@dataclass(frozen=True)
class Block:
    """Cages ``start`` … of chunk ``chunk``, counted over the whole run; ``last`` of its chunk."""

    chunk: int
    start: int
    cages: int
    last: bool


class Run:
    """Blocks in the order of the run, and what is drawn in each."""

    def __init__(self, model: Model, settings: Settings) -> None:
        """Begin before the first cage; nothing is drawn yet."""
        self.model, self.settings = model, settings
        self.size = block_size(model.pockets)
        self.program = compile_model(model)
        self.angles = np.array(pitch_angles(model.pockets))
        self._machines: dict[tuple[tuple[str, ...], int], Machine] = {}
        self._drawers: dict[int, tuple[Dimensions, Drawer]] = {}
        self._chunk = -1

    def blocks(self, cages: int, chunks: set[int] | None = None) -> Iterator[Block]:
        """Yield the blocks of the first ``cages`` cages, of some ``chunks`` only."""
        for chunk, first in enumerate(range(0, cages, CHUNK)):
            if chunks is not None and chunk not in chunks:
                continue
            here = min(CHUNK, self.settings.cages - first)
            for drawer in self._drawers.values():
                drawer[1].start(chunk)
            self._chunk = chunk
            for start in range(0, here, self.size):
                count = min(self.size, here - start)
                yield Block(chunk, first + start, count, start + count == here)

    def machine(self, gaps: tuple[str, ...], cages: int) -> Machine:
        """Return the machine of some gaps for blocks of ``cages`` cages."""
        if (gaps, cages) not in self._machines:
            program = self.program.only(gaps)
            self._machines[gaps, cages] = Machine(
                program, self.model.dimensions, self.angles, bindings(self.model), cages
            )
        return self._machines[gaps, cages]

    def inputs(self, block: Block, dimensions: Dimensions, parts: set[str]) -> dict[str, Array]:
        """Return new draws of the dimensions that own ``parts``, and of the features they need; (Z, n) or (1, n)."""
        owners = [d for d in dimensions.values() if not parts.isdisjoint(d.components)]
        drawer = self._drawer(dimensions)
        found: dict[str, Array] = {}
        for owner in sorted(owners, key=lambda d: d.law.needs is not None):
            self._into(found, owner, dimensions, drawer, block.cages)
        return found

    def _drawer(self, dimensions: Dimensions) -> Drawer:
        key = id(dimensions)
        if key not in self._drawers:
            drawer = Drawer(self.model.with_dimensions(dimensions), self.settings.seed)
            drawer.start(self._chunk)
            self._drawers[key] = (dimensions, drawer)
        return self._drawers[key][1]

    def _into(
        self, found: dict[str, Array], owner: Dimension, dimensions: Dimensions, drawer: Drawer, cages: int
    ) -> None:
        if owner.components[0] in found:
            return
        needed = None
        if owner.law.needs is not None:
            feature = dimensions[owner.law.needs]
            self._into(found, feature, dimensions, drawer, cages)
            needed = found[feature.components[0]]
        shape = (self.model.pockets if owner.scope == "pocket" else 1, cages)
        out = tuple(np.empty(shape) for _ in owner.components)
        drawer(owner.name, out, needed)
        found.update(zip(owner.components, out, strict=True))

    def copying(self, inputs: Mapping[str, Array]) -> Any:
        """Return what a machine asks for draws, from inputs that are there."""

        def copy(name: str, out: tuple[Array, ...], needed: Array | None) -> None:
            del needed
            for part, register in zip(self.model.dimensions[name].components, out, strict=True):
                np.copyto(register, inputs[part])

        return copy
