"""What every node of an unrolled program may be over a whole ground: plain intervals, wide but quickly found."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from stackup.chain.ground import Ground
from stackup.chain.intervals import Interval, interval
from stackup.chain.program import Node, Program

Array = Any


def intervals_of(program: Program, ground: Ground, parameters: Mapping[str, float]) -> list[Interval]:
    """Return the interval of every node, (columns,) each; where an argument leaves its domain, of the part inside."""
    found: list[Interval] = []
    for node in program.nodes:
        found.append(_interval(node, found, ground, parameters))
    return found


def _interval(node: Node, found: list[Interval], ground: Ground, parameters: Mapping[str, float]) -> Interval:
    name = str(node.value)
    match node.op:
        case "constant":
            return _point(float(node.value), ground)
        case "parameter":
            return _point(float(parameters[name]), ground)
        case "angle":
            return ground.angles[name], ground.angles[name]
        case "input":
            return ground.low[name], ground.high[name]
    power = float(node.value) if node.op == "power" else 0.0
    return interval(node.op, [found[arg] for arg in node.args], power)


def _point(value: float, ground: Ground) -> Interval:
    column = np.full(ground.columns, value)
    return column, column
