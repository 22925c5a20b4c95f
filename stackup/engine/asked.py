"""One gap of a pocket, ready for the search of either end."""

from __future__ import annotations

from dataclasses import replace
from functools import cached_property
from typing import Any

import numpy as np

from stackup.chain.arrays import walk_one
from stackup.chain.model import Model
from stackup.chain.program import Program, bindings, unroll
from stackup.chain.spans import intervals_of
from stackup.engine.ground import ground_of
from stackup.engine.linear import linearise
from stackup.engine.search import End, Search
from stackup.engine.settings import Settings

#: found and bound that differ by no more count as certified: mm, and part of the linearised width otherwise
LENGTH_TOLERANCE = 1e-4
WIDTH_TOLERANCE = 1e-4
#: the least of the latter by unit: where pins are hardly forced, the width of a stress is next to nothing
LEAST_TOLERANCE = {"N/mm2": 1e-2}


#: an argument so little beyond the domain of its function is there by rounding
ROUND_OFF = 1e-9


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


def domain_ends(program: Program) -> list[tuple[int, int, float]]:
    """Return what must not be negative for every node to have a value: sign·node + limit, by the node's place.

    What cannot be negative whatever its inputs are is left out.
    """
    found: set[tuple[int, int, float]] = set()
    for node in program.nodes:
        if node.op in ("sqrt", "log") or (node.op == "power" and float(node.value) % 1):
            found.add((node.args[0], 1, 0.0))
        elif node.op in ("asin", "acos"):
            found |= {(node.args[0], 1, 1.0), (node.args[0], -1, 1.0)}
    return sorted(one for one in found if one[1:] != (1, 0.0) or not never_negative(program, one[0]))


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

    def _where_it_has_a_value(self, end: End, settings: Settings) -> End:
        """Return an end without bound where some parts to the drawing may give no value, and so found where some do.

        What has no value is out of spec, whatever the limits.
        """
        beyond = [self._beyond(index, sign, limit, settings) for index, sign, limit in self._leaving]
        if any(one.found < -ROUND_OFF for one in beyond):
            return replace(end, found=-np.inf, bound=-np.inf)
        return replace(end, bound=-np.inf) if any(one.bound < -ROUND_OFF for one in beyond) else end

    @cached_property
    def _leaving(self) -> list[tuple[int, int, float]]:
        """Arguments that may leave the domain of their function: sign·argument + limit must not be negative."""
        ends = domain_ends(self.program)
        if not ends:
            return []
        spans = intervals_of(self.program, self.ground, self.parameters)
        found = []
        for index, sign, limit in ends:
            low, high = spans[index]
            if np.any(np.minimum(sign * low, sign * high) + limit < -ROUND_OFF):
                found.append((index, sign, limit))
        return found

    def _beyond(self, index: int, sign: int, limit: float, settings: Settings) -> End:
        """Return the low end of sign·argument + limit."""
        argument = Program(self.program.nodes, {self.gap: index}, self.program.inputs)
        with np.errstate(all="ignore"):
            search = Search(argument.only([self.gap]), self.gap, sign, self.ground, self.parameters, ROUND_OFF)
            end = search.run(settings.boxes)
        return replace(end, found=end.found + limit, bound=end.bound + limit)

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
            known[key] = self._where_it_has_a_value(found, settings)
        return known[key]
