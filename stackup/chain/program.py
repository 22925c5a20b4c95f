"""All chains of a model as one straight line of simple operations, shared steps once.

A :class:`Program` is walked by several kinds of number: arrays (``arrays.py``), jets with gradient and
Hessian (``jets.py``), and bounds over regions (``bounds.py``).  Every node has a shape class, so that what
belongs to the cage or to the pocket's place alone is computed once on a small array (numerics.md):

====== ============== =====================================
class  shape          depends on
====== ============== =====================================
0      (1, 1)         numbers and parameters
1      (Z, 1)         the pocket's place
2      (1, n)         the cage's draws
3      (Z, n)         the pocket's draws
====== ============== =====================================
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import sympy

from stackup.chain import symbols
from stackup.chain.model import Model, Step
from stackup.chain.symbols import ANGLE, BestPose, split_next
from stackup.chain.whole import POSED, flat
from stackup.errors import ValueFault

PLACE, DRAWN = 1, 2
#: name of a step and its number of the whole cage → what stands for it
StandIn = Callable[[str, BestPose], Any]

_UNARY = {
    sympy.sin: "sin",
    sympy.cos: "cos",
    sympy.tan: "tan",
    sympy.asin: "asin",
    sympy.acos: "acos",
    sympy.atan: "atan",
    sympy.exp: "exp",
    sympy.log: "log",
    symbols.Magnitude: "magnitude",
    sympy.Abs: "magnitude",
}
_FOLD = {symbols.Least: "least", symbols.Greatest: "greatest"}
_PAIR = {symbols.Length: "length", sympy.atan2: "atan2"}
#: operations whose result has a kink
KINKS = frozenset({"length", "least", "greatest", "magnitude"})


@dataclass(frozen=True)
class Node:
    """One operation: its name, the nodes it takes, and a number or a name where it needs one."""

    op: str
    args: tuple[int, ...] = ()
    value: float | str = 0.0
    shape: int = 0


@dataclass(frozen=True)
class Program:
    """Nodes in an order in which each takes only earlier ones, and where the outputs and inputs stand."""

    nodes: tuple[Node, ...]
    outputs: Mapping[str, int]
    inputs: Mapping[str, int]

    def needed(self, names: Iterable[str]) -> list[int]:
        """Return the nodes that the outputs ``names`` depend on, in order."""
        wanted, stack = set(), [self.outputs[name] for name in names]
        while stack:
            index = stack.pop()
            if index not in wanted:
                wanted.add(index)
                stack.extend(self.nodes[index].args)
        return sorted(wanted)

    def only(self, names: Sequence[str]) -> Program:
        """Return the part of this program that the outputs ``names`` need."""
        kept = self.needed(names)
        place = {old: new for new, old in enumerate(kept)}
        nodes = tuple(
            Node(n.op, tuple(place[a] for a in n.args), n.value, n.shape)
            for n in (self.nodes[i] for i in kept)
        )
        inputs = {name: place[i] for name, i in self.inputs.items() if i in place}
        return Program(nodes, {name: place[self.outputs[name]] for name in names}, inputs)

    def is_whole(self, name: str) -> bool:
        """Tell whether an output hangs on a number of the whole cage, so that no pocket has it by itself."""
        return any(self.nodes[index].op == POSED for index in self.needed([name]))


class Builder:
    """Lowers sympy steps to nodes; equal nodes are made once, constants are folded."""

    def __init__(self, scopes: Mapping[str, str], parameters: Iterable[str], stand_in: StandIn | None = None) -> None:
        """Take the scope of every input, the names of the parameters, and what stands for numbers of a whole cage."""
        self._stand_in = stand_in
        self.nodes: list[Node] = []
        self.inputs: dict[str, int] = {}
        self._made: dict[Node, int] = {}
        self._steps: dict[str, int] = {}
        self._scopes, self._parameters = scopes, frozenset(parameters)
        self._seen: dict[Any, int] = {}

    def step(self, step: Step) -> int:
        """Add a step; later formulas may use its name."""
        formula = sympy.sympify(step.formula)
        if self._stand_in and isinstance(formula, BestPose):
            formula = self._stand_in(step.name, formula)
        self._steps[step.name] = index = self.lower(formula)
        return index

    def make(self, op: str, *args: int, value: float | str = 0.0, shape: int | None = None) -> int:
        """Return the node for an operation, folding what is constant."""
        if shape is None:
            shape = 0
            for a in args:
                shape |= self.nodes[a].shape
        if args and op != POSED and all(self.nodes[a].op == "constant" for a in args):
            from stackup.chain.operations import on_numbers

            return self.number(on_numbers(op, [float(self.nodes[a].value) for a in args], value))
        node = Node(op, args, value, shape)
        if node not in self._made:
            self._made[node] = len(self.nodes)
            self.nodes.append(node)
        return self._made[node]

    def number(self, value: float) -> int:
        """Return the node of a constant."""
        return self.make("constant", value=float(value), shape=0)

    def lower(self, expr: Any) -> int:
        """Return the node of a sympy expression."""
        if expr not in self._seen:
            self._seen[expr] = self._lower(expr)
        return self._seen[expr]

    def _lower(self, expr: Any) -> int:
        if expr.is_Symbol:
            return self._symbol(expr.name)
        if expr.is_number and not expr.has(*_FOLD, symbols.Length, symbols.Magnitude):
            return self.number(float(expr))
        if expr.is_Add:
            return self._sum(expr.args)
        if expr.is_Mul:
            return self._product(expr.args)
        if expr.is_Pow:
            return self._power(*expr.args)
        return self._function(expr)

    def _symbol(self, name: str) -> int:
        base, count = split_next(name)
        index = self._own(base)
        for _ in range(count):
            if self.nodes[index].shape & PLACE:
                index = self.make("next", index)
        return index

    def _own(self, name: str) -> int:
        if name in self._steps:
            return self._steps[name]
        if name in self._parameters:
            return self.make("parameter", value=name, shape=0)
        if name == ANGLE:
            return self.make("angle", shape=PLACE)
        shape = DRAWN | (PLACE if self._scopes[name] == "pocket" else 0)
        self.inputs[name] = index = self.make("input", value=name, shape=shape)
        return index

    def _function(self, expr: Any) -> int:
        if isinstance(expr, BestPose):
            return self._whole(expr)
        args = [self.lower(a) for a in expr.args]
        if expr.func in _FOLD:
            return self._fold(_FOLD[expr.func], args)
        if expr.func in _PAIR:
            return self._pair(_PAIR[expr.func], args)
        return self.make(_UNARY[expr.func], *args)

    def _whole(self, expr: BestPose) -> int:
        args = [self.lower(item) for item in flat(expr.cones)]
        return self.make(POSED, *args, value=float(expr.unknowns), shape=DRAWN)

    def _fold(self, op: str, args: list[int]) -> int:
        """Take least or greatest pairwise, the small arrays first."""
        first, *rest = sorted(dict.fromkeys(args), key=lambda a: (self.nodes[a].shape, a))
        for arg in rest:
            first = self.make(op, first, arg)
        return first

    def _pair(self, op: str, args: list[int]) -> int:
        if op == "length":
            for one, other in (args, args[::-1]):
                if self._is(one, 0.0):
                    return self.make("magnitude", other)
        return self.make(op, *args)

    def _is(self, index: int, value: float) -> bool:
        return self.nodes[index].op == "constant" and self.nodes[index].value == value

    def _sum(self, terms: Sequence[Any]) -> int:
        """Add terms of one coefficient first, then the coefficients; small arrays before large ones."""
        groups: dict[float, list[tuple[int, int]]] = {}
        for term in terms:
            number, rest = term.as_coeff_Mul()
            number = float(number)
            if rest == 1:
                groups.setdefault(1.0, []).append((1, self.number(number)))
            else:
                groups.setdefault(abs(number), []).append((1 if number > 0 else -1, self.lower(rest)))
        parts = []
        for size, signed in groups.items():
            sign, total = self._signed_sum(signed)
            parts.append((sign, self._scaled(size, total)))
        sign, total = self._signed_sum(parts)
        return total if sign > 0 else self.make("neg", total)

    def _scaled(self, factor: float, index: int) -> int:
        return index if factor == 1.0 else self.make("mul", self.number(factor), index)

    def _signed_sum(self, signed: Sequence[tuple[int, int]]) -> tuple[int, int]:
        """Return sign and node of a sum of ±nodes, adding within a shape class before mixing classes."""
        totals: dict[int, tuple[int, int]] = {}
        for sign, index in sorted(signed, key=lambda s: -s[0]):
            self._add_into(totals, self.nodes[index].shape, sign, index)
        ordered = [totals[shape] for shape in (0, 2, 1, 3) if shape in totals]
        result: dict[int, tuple[int, int]] = {}
        for sign, index in ordered:
            self._add_into(result, 0, sign, index)
        return result[0]

    def _add_into(self, totals: dict[int, tuple[int, int]], key: int, sign: int, index: int) -> None:
        if key not in totals or self._is(totals[key][1], 0.0):
            totals[key] = (sign, index)
            return
        if self._is(index, 0.0):
            return
        had, total = totals[key]
        if had == sign:
            totals[key] = (sign, self.make("add", total, index))
        elif had > 0:
            totals[key] = (1, self.make("sub", total, index))
        else:
            totals[key] = (1, self.make("sub", index, total))

    def _product(self, factors: Sequence[Any]) -> int:
        """Multiply the small arrays first; what stands below the line is divided by once."""
        above: list[int] = []
        below: list[int] = []
        for factor in factors:
            if factor.is_Pow and factor.args[1].is_number and float(factor.args[1]) < 0:
                below.append(self._power(factor.args[0], -factor.args[1]))
            else:
                above.append(self.lower(factor))
        top = self._multiply(above) if above else self.number(1.0)
        if not below:
            return top
        return self.make("div", top, self._multiply(below))

    def _multiply(self, indices: Sequence[int]) -> int:
        ordered = sorted(indices, key=lambda a: (self.nodes[a].shape, a))
        if any(self._is(a, 0.0) for a in ordered):
            return self.number(0.0)
        ordered = [a for a in ordered if not self._is(a, 1.0)] or [self.number(1.0)]
        total = ordered[0]
        for index in ordered[1:]:
            if self._is(total, -1.0):
                total = self.make("neg", index)
            else:
                total = self.make("square", index) if total == index else self.make("mul", total, index)
        return total

    def _power(self, base: Any, exponent: Any) -> int:
        if not exponent.is_number:
            raise ValueFault("formula", "an exponent that is not a number", "a constant exponent")
        power, below = abs(float(exponent)), float(exponent) < 0
        index = self.lower(base)
        if power == int(power):
            result = self._whole_power(index, int(power))
        elif power * 2 == int(power * 2):
            root = self.make("sqrt", index)
            result = root if power == 0.5 else self._multiply([self._whole_power(index, int(power)), root])
        else:
            result = self.make("power", index, value=power)
        return self.make("div", self.number(1.0), result) if below else result

    def _whole_power(self, index: int, power: int) -> int:
        if power == 0:
            return self.number(1.0)
        half = index if power < 2 else self._whole_power(index, power // 2)
        if power < 2:
            return half
        squared = self.make("square", half)
        return squared if power % 2 == 0 else self.make("mul", squared, index)


def compile_model(model: Model, names: Sequence[str] | None = None, stand_in: StandIn | None = None) -> Program:
    """Return the program of a model's gaps (all, or those called ``names``); parameters are bound when it runs.

    ``stand_in(step, number)`` gives the expression of a pocket that stands for a number of the whole cage.
    """
    scopes = {c: d.scope for d in model.dimensions.values() for c in d.components}
    builder = Builder(scopes, bindings(model), stand_in)
    done = {step.name: builder.step(step) for step in model.steps}
    gaps = [g for g in model.gaps if names is None or g.name in names]
    whole = Program(tuple(builder.nodes), {g.name: done[g.step] for g in gaps}, builder.inputs)
    return whole.only([g.name for g in gaps])


def bindings(model: Model) -> dict[str, float]:
    """Return the value of every parameter of a model's program; the nominal of values as built is their mean."""
    nominals = {
        f"{name}.{symbols.NOMINAL}": float(np.mean(model.dimensions[name].nominal[0])) for name in model.nominals
    }
    return {"rollers": float(model.pockets), **nominals, **model.parameters}


def at(name: str, ahead: int) -> str:
    """Return the name of an input as the pocket under study sees it: ``name@1`` is the next pocket's."""
    return f"{name}@{ahead}" if ahead else name


def split_at(name: str) -> tuple[str, int]:
    """Split ``name@1`` into the input's own name and the number of pockets ahead."""
    base, _, ahead = name.partition("@")
    return base, int(ahead or 0)


def unroll(program: Program) -> Program:
    """Return the program of one pocket: no ``next``; a neighbour's inputs become inputs ``name@1`` of their own.

    The pocket's angle becomes the input ``angle``, its neighbour's ``angle@1``; both are bound when walked.
    ValueError for a number of the whole cage, which no pocket has.
    """
    if any(node.op == POSED for node in program.nodes):
        raise ValueError("a number of the whole cage has no program of one pocket")
    nodes: list[Node] = []
    made: dict[Node, int] = {}
    seen: dict[tuple[int, int], int] = {}

    def add(node: Node) -> int:
        if node not in made:
            made[node] = len(nodes)
            nodes.append(node)
        return made[node]

    def visit(index: int, ahead: int) -> int:
        node = program.nodes[index]
        if not node.shape & PLACE:
            ahead = 0
        if (index, ahead) in seen:
            return seen[index, ahead]
        if node.op == "next":
            result = visit(node.args[0], ahead + 1)
        elif node.op == "angle":
            result = add(Node("angle", (), at(ANGLE, ahead), PLACE))
        elif node.op == "input":
            result = add(Node("input", (), at(str(node.value), ahead), node.shape))
        else:
            result = add(Node(node.op, tuple(visit(a, ahead) for a in node.args), node.value, node.shape))
        seen[index, ahead] = result
        return result

    outputs = {name: visit(index, 0) for name, index in program.outputs.items()}
    inputs = {str(n.value): i for i, n in enumerate(nodes) if n.op == "input"}
    return Program(tuple(nodes), outputs, inputs)


def angle_aheads(unrolled: Program) -> list[int]:
    """Return how far ahead the pockets stand whose angles an unrolled program asks for."""
    return sorted({split_at(str(node.value))[1] for node in unrolled.nodes if node.op == "angle"})


def pitch_angles(pockets: int) -> list[float]:
    """Return θ_i = 2πi/Z in rad."""
    return [2 * math.pi * i / pockets for i in range(pockets)]
