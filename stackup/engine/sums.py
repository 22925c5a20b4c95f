"""Which chains are sums of inputs times numbers, or lengths and the like of few such sums: their laws can be known."""

from __future__ import annotations

from collections.abc import Collection, Sequence

import numpy as np

from stackup.chain.model import Model
from stackup.chain.program import KINKS, Program
from stackup.engine.scatter import owner_of

#: so many normal numbers are swept by rays, to many digits (``quadrature.py``)
MOST_SWEPT = 3


def is_linear(program: Program, name: str) -> bool:
    """Tell whether an output is a sum of inputs times numbers."""
    return _degrees(program)[program.outputs[name]] <= 1


def may_be_known(model: Model, program: Program, name: str) -> bool:
    """Tell whether the law of an output can be known, and is quickly found: a sum, or lengths and such of few sums."""
    alone = program.only([name])
    degrees = _degrees(alone, still_ones(model, alone.inputs))
    kinked = any(node.op in KINKS and degree > 1 for node, degree in zip(alone.nodes, degrees, strict=True))
    entering = {a for n, degree in zip(alone.nodes, degrees, strict=True) if degree > 1 for a in n.args}
    few = len([a for a in entering if degrees[a] == 1]) <= MOST_SWEPT
    return degrees[alone.outputs[name]] <= 1 or (kinked and few)


def only_sums_enter(
    program: Program, above: Sequence[int], frontier: Sequence[int], still: Collection[str]
) -> bool:
    """Tell whether the nodes ``above`` are walked from sums of inputs alone: then their law leaves nothing out.

    ``frontier`` are the nodes whose law is taken; inputs that are ``still`` count as numbers.
    """
    degrees, known = _degrees(program, still), {*above, *frontier}
    entering = (a for index in above for a in program.nodes[index].args)
    return all(degrees[i] <= 1 for i in frontier) and all(a in known or degrees[a] == 0 for a in entering)


def still_ones(model: Model, inputs: Collection[str]) -> frozenset[str]:
    """Return the inputs that do not scatter."""
    laws = ((part, owner_of(model, part).law) for part in inputs)
    return frozenset(part for part, law in laws if not (np.any(law.own) or np.any(law.shared)))


def _degrees(program: Program, still: Collection[str] = ()) -> list[int]:
    """Return for every node 0 for a number, 1 for a sum of inputs times numbers, else 2."""
    degree: list[int] = []
    for node in program.nodes:
        below = [degree[a] for a in node.args]
        if node.op == "input":
            degree.append(0 if node.value in still else 1)
        elif not any(below):
            degree.append(0)
        elif node.op in ("add", "sub", "neg", "next"):
            degree.append(max(below))
        elif node.op == "mul":
            degree.append(sum(below))
        elif node.op == "div" and below[1] == 0:
            degree.append(below[0])
        else:
            degree.append(2)
    return [min(one, 2) for one in degree]
