"""The programs of one row in all its states as one: what no state changes is one node for all of them.

The states of a row have the same dimensions, steps and gaps, and differ in the values of parameters.  Their nodes are
laid side by side; parameters of one value are one node, so that equal nodes are shared by construction, and each
state computes with the same operations in the same order as it would alone.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from stackup.chain.model import Model
from stackup.chain.program import Node, Program, bindings, compile_model


@dataclass(frozen=True)
class Together:
    """One program of several states, and the values of its parameters.

    ``outputs``: by state and gap, the output that holds it; states in which a gap is the same have the same output.
    """

    program: Program
    parameters: Mapping[str, float]
    outputs: Mapping[str, Mapping[str, str]]

    def states_of(self, gap: str) -> dict[str, tuple[str, ...]]:
        """Return, by output, the states in which it is ``gap``."""
        found: dict[str, tuple[str, ...]] = {}
        for state, by_gap in self.outputs.items():
            found[by_gap[gap]] = (*found.get(by_gap[gap], ()), state)
        return found


def together(models: Mapping[str, Model], names: Sequence[str] | None = None) -> Together:
    """Return the program of the gaps (all, or those called ``names``) of a row in all its states.

    ``models``: one or more, by state; ValueError where they differ in more than ``parameters``.
    """
    first, *others = models.values()
    if any(not _alike(first, other) for other in others):
        raise ValueError("states of a row differ in more than parameters")
    program = compile_model(first, names)
    if not others:
        return Together(program, bindings(first), {state: {gap: gap for gap in program.outputs} for state in models})
    return _side_by_side(program, {state: bindings(model) for state, model in models.items()})


def _alike(one: Model, other: Model) -> bool:
    """Tell whether two models differ in nothing but the values of parameters; their dimensions are the same objects."""
    if one.dimensions.keys() != other.dimensions.keys() or one.parameters.keys() != other.parameters.keys():
        return False
    if any(one.dimensions[name] is not other.dimensions[name] for name in one.dimensions):
        return False
    shared = ("steps", "gaps", "pockets", "nominals")
    return all(getattr(one, name) == getattr(other, name) for name in shared)


def _side_by_side(program: Program, bound: Mapping[str, Mapping[str, float]]) -> Together:
    """Lay the nodes of all states into one program, each gap in all states before the next gap."""
    values, meant = _parameters(bound)
    nodes: dict[Node, int] = {}
    places: dict[tuple[str, int], int] = {}
    for state, index in _in_order(program, list(bound)):
        node = program.nodes[index]
        value = meant[state, str(node.value)] if node.op == "parameter" else node.value
        own = Node(node.op, tuple(places[state, a] for a in node.args), value, node.shape)
        places[state, index] = nodes.setdefault(own, len(nodes))
    names: dict[tuple[str, int], str] = {}
    outputs: dict[str, dict[str, str]] = {state: {} for state in bound}
    for gap, index in program.outputs.items():
        for state in bound:
            place = (gap, places[state, index])
            outputs[state][gap] = names.setdefault(place, _numbered(gap, sum(name == gap for name, _ in names)))
    inputs = {str(node.value): place for node, place in nodes.items() if node.op == "input"}
    whole = Program(tuple(nodes), {name: place for (_, place), name in names.items()}, inputs)
    return Together(whole, values, outputs)


def _in_order(program: Program, states: Sequence[str]) -> Iterator[tuple[str, int]]:
    """Yield every node of every state, after those that it takes."""
    done: set[int] = set()
    for gap in program.outputs:
        needed = [index for index in program.needed([gap]) if index not in done]
        for state in states:
            yield from ((state, index) for index in needed)
        done.update(needed)


def _parameters(bound: Mapping[str, Mapping[str, float]]) -> tuple[dict[str, float], dict[tuple[str, str], str]]:
    """Return the parameters of all states, values that are equal to the bit once, and which is a state's own."""
    values: dict[str, float] = {}
    meant: dict[tuple[str, str], str] = {}
    for name in dict.fromkeys(name for one in bound.values() for name in one):
        known: dict[str, str] = {}
        for state, one in bound.items():
            own = known.setdefault(one[name].hex(), _numbered(name, len(known)))
            meant[state, name], values[own] = own, one[name]
    return values, meant


def _numbered(name: str, count: int) -> str:
    """Return the name of the first, or of one more, of what is called ``name``; no name of the user's looks like it."""
    return f"{name}#{count}" if count else name
