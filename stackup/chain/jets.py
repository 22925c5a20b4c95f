"""Walking an unrolled program with jets: value, gradient and Hessian of every node at one point.

The gradient is over the inputs of the program in their order; a kink takes the side it is on.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from stackup.chain.operations import curvatures, slopes, value
from stackup.chain.program import Program

Array = Any


@dataclass(frozen=True)
class Jets:
    """``value[i]``, ``gradient[i]`` (m,), ``hessian[i]`` (m, m) or None of node i; ``inputs`` names the columns."""

    program: Program
    inputs: tuple[str, ...]
    value: list[float]
    gradient: list[Array]
    hessian: list[Array | None]

    def of(self, name: str) -> tuple[float, Array, Array | None]:
        """Return value, gradient and Hessian of an output."""
        index = self.program.outputs[name]
        return self.value[index], self.gradient[index], self.hessian[index]


def jets(
    program: Program, point: Mapping[str, float], parameters: Mapping[str, float], second: bool = True
) -> Jets:
    """Return the jets of every node at ``point`` (inputs and angles by name)."""
    inputs = tuple(program.inputs)
    place = {name: k for k, name in enumerate(inputs)}
    size = len(inputs)
    values: list[float] = []
    gradients: list[Array] = []
    hessians: list[Array | None] = []
    zero = np.zeros(size)
    for node in program.nodes:
        gradient, hessian = zero, None
        if node.op == "constant":
            y = float(node.value)
        elif node.op == "parameter":
            y = float(parameters[str(node.value)])
        elif node.op in ("angle", "input"):
            y = float(point[str(node.value)])
            if node.op == "input":
                gradient = zero.copy()
                gradient[place[str(node.value)]] = 1.0
        else:
            args = [np.float64(values[a]) for a in node.args]
            y = value(node.op, args, node.value)
            partials = slopes(node.op, args, np.float64(y), node.value)
            gradient = sum((float(p) * gradients[a] for p, a in zip(partials, node.args, strict=True)), zero)
            if second:
                hessian = _second(node, args, y, partials, gradients, hessians)
        values.append(float(y))
        gradients.append(gradient)
        hessians.append(hessian)
    return Jets(program, inputs, values, gradients, hessians)


def _second(
    node: Any, args: list[Any], y: Any, partials: Any, gradients: list[Array], hessians: list[Array | None]
) -> Array | None:
    """Return Σ ∂f·H + Σ ∂²f·g gᵀ; None stands for zero."""
    total: Array | None = None
    for p, a in zip(partials, node.args, strict=True):
        had = hessians[a]
        if had is not None and float(p) != 0.0:
            total = float(p) * had if total is None else total + float(p) * had
    for (i, j), c in curvatures(node.op, args, np.float64(y), node.value).items():
        if float(c) != 0.0:
            first, other = gradients[node.args[i]], gradients[node.args[j]]
            if not (first.any() and other.any()):
                continue
            outer = np.outer(first, other)
            term = float(c) * (outer if i == j else outer + outer.T)
            total = term if total is None else total + term
    return total
