"""The program of two pockets of one cage: what one has more than the other.

Inputs of the first are ``name``, ``name@1``, … as a pocket's own program has them; those of the second stand ahead by
``APART`` and more.  Which pocket of the cage the second is, is bound with the angles, when the program is walked.
"""

from __future__ import annotations

from stackup.chain.program import Node, Program, unroll
from stackup.chain.symbols import APART


def difference(program: Program, name: str) -> Program:
    """Return the program of the output ``name`` of a pocket less that of another one.

    ``program`` is of all pockets, not unrolled; ValueError for a number of the whole cage.
    """
    alone = program.only([name])
    nodes, here = list(alone.nodes), alone.outputs[name]
    there, shape = here, alone.nodes[here].shape
    for _ in range(APART):
        nodes.append(Node("next", (there,), shape=shape))
        there = len(nodes) - 1
    nodes.append(Node("sub", (here, there), shape=shape))
    return unroll(Program(tuple(nodes), {name: len(nodes) - 1}, alone.inputs))
