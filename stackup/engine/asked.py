"""One gap of a pocket, ready for the search of either end."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from stackup.chain.arrays import walk_one
from stackup.chain.model import Model
from stackup.chain.program import Program, bindings, unroll
from stackup.engine.ground import ground_of
from stackup.engine.linear import linearise
from stackup.engine.search import End, Search
from stackup.engine.settings import Settings

#: found and bound that differ by no more count as certified: mm, and part of the linearised width otherwise
LENGTH_TOLERANCE = 1e-4
WIDTH_TOLERANCE = 1e-4
#: the least of the latter by unit: where pins are hardly forced, the width of a stress is next to nothing
LEAST_TOLERANCE = {"N/mm2": 1e-2}


#: ends by the chain of a pocket, of one model
Ends = dict[Any, End]


def never_negative(program: Program, index: int) -> bool:
    """Tell whether a node is 0 or more whatever its inputs are: lengths, magnitudes, their sums and quotients."""
    node = program.nodes[index]
    match node.op:
        case "magnitude" | "length" | "square" | "sqrt" | "exp":
            return True
        case "constant":
            return float(node.value) >= 0
        case "add" | "mul" | "div" | "least":
            return all(never_negative(program, arg) for arg in node.args)
        case "greatest":
            return any(never_negative(program, arg) for arg in node.args)
    return False


class Asked:
    """One gap of a pocket: its program, its ground, its linearised ends."""

    def __init__(self, model: Model, program: Program, gap: str) -> None:
        """Take the program that holds the gap ``gap`` of ``model``."""
        rolled = program.only([gap])
        self.gap, self.program = gap, unroll(rolled)
        self.ground = ground_of(model, rolled, self.program)
        self.linear = linearise(model, self.program, gap)
        self.parameters = bindings(model)
        width = self.linear.high - self.linear.low
        unit = model.gap(gap).unit
        by_width = max(WIDTH_TOLERANCE * width, LEAST_TOLERANCE.get(unit, 0.0))
        self.tolerance = LENGTH_TOLERANCE if unit == "mm" or not width > 0 else by_width

    def at(self, end: End) -> float:
        """Return the gap at the point of an end."""
        inputs = {name: np.array([[value]]) for name, value in end.point.items()}
        angles = {name: np.atleast_2d(values[end.column]) for name, values in self.ground.angles.items()}
        return float(walk_one(self.program, inputs | angles, self.parameters)[self.gap][0, 0])

    def end(self, sign: int, settings: Settings, known: Ends | None = None) -> End:
        """Return the least value of sign·gap; ``known`` remembers ends: gaps of one number have the same."""
        key = (self.program.nodes, self.program.outputs[self.gap], sign, settings.boxes, self.tolerance)
        known = {} if known is None else known
        if key not in known:
            with np.errstate(all="ignore"):
                search = Search(self.program, self.gap, sign, self.ground, self.parameters, self.tolerance)
                found = search.run(settings.boxes)
            if sign > 0 and never_negative(self.program, self.program.outputs[self.gap]):
                found = replace(found, bound=min(max(found.bound, 0.0), found.found))
            known[key] = found
        return known[key]
