"""The program of two pockets of one cage: what one has more than the other.

Inputs of the first are ``name``, ``name@1``, … as a pocket's own program has them; those of the second stand ahead by
``APART`` and more.  Which pocket of the cage the second is, is bound with the angles, when the program is walked.
"""

from __future__ import annotations

from dataclasses import replace

from stackup.chain.program import PLACE, Node, Program, at, split_at, unroll
from stackup.chain.symbols import APART


def difference(program: Program, name: str) -> Program:
    """Return the program of the output ``name`` of a pocket less that of another one; what a cage shares stands once.

    ``program`` is of all pockets, not unrolled; ValueError for a number of the whole cage.
    """
    one = unroll(program.only([name]))
    nodes = list(one.nodes)
    second: list[int] = []
    for index, node in enumerate(one.nodes):
        second.append(index if not node.shape & PLACE else len(nodes))
        if node.shape & PLACE:
            nodes.append(_apart(replace(node, args=tuple(second[arg] for arg in node.args))))
    here = one.outputs[name]
    nodes.append(Node("sub", (here, second[here]), shape=nodes[here].shape))
    inputs = {str(node.value): index for index, node in enumerate(nodes) if node.op == "input"}
    return Program(tuple(nodes), {name: len(nodes) - 1}, inputs)


def _apart(node: Node) -> Node:
    """Return a node of the second pocket: its inputs and angles are named apart."""
    if node.op not in ("input", "angle"):
        return node
    base, ahead = split_at(str(node.value))
    return replace(node, value=at(base, ahead + APART))
