"""A program brought into the form that bounds need: everything linear drawn together.

Of the nodes of an unrolled program only those that are not linear stay, as *atoms*; what stands between them
becomes one row of coefficients over inputs and earlier atoms.  So contributions that enter only through one sum
are grouped, and a value that is added here and taken away there is gone, before anything is bounded.

Every kink becomes a ramp: greatest(a, b) = b + ramp(a − b), least(a, b) = b − ramp(b − a), |a| = 2·ramp(a) − a
with ramp(z) = greatest(z, 0) = ramp(−z) + z, and √ramp(z) is one atom, the root (√ramp(a² − b²) the leg); a/b is a
times the inverse of b.  Atoms of one operation and one depth form a *block* and are computed together.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from stackup.chain.operations import slopes, value
from stackup.chain.program import Program

Array = Any

LINEAR = frozenset({"add", "sub", "neg"})
#: operations of two arguments that are not linear
PAIRS = frozenset({"mul", "length", "leg", "atan2"})


@dataclass
class Linear:
    """constant + Σ coefficient·variable; numbers or one per column of the ground."""

    constant: Any
    terms: dict[int, Any]

    def scaled(self, factor: Any) -> Linear:
        """Return this times a number (or one per column)."""
        return Linear(self.constant * factor, {k: c * factor for k, c in self.terms.items()})

    def plus(self, other: Linear, sign: float = 1.0) -> Linear:
        """Return this ± another."""
        terms = dict(self.terms)
        for key, coefficient in other.terms.items():
            terms[key] = terms.get(key, 0.0) + sign * coefficient
        return Linear(self.constant + sign * other.constant, {k: c for k, c in terms.items() if np.any(c)})


@dataclass(frozen=True)
class Rows:
    """Rows of coefficients over all variables: ``matrix`` (columns or 1, rows, variables), ``constant`` (…, rows)."""

    matrix: Array
    constant: Array

    def of(self, values: Array, origin: Array) -> Array:
        """Return constant + matrix·values, (rows, nbox), for values (variables, nbox)."""
        if len(self.matrix) == 1:
            return self.matrix[0] @ values + self.constant[0][:, None]
        return np.einsum("brv,vb->rb", self.matrix[origin], values) + self.constant[origin].T

    def back(self, weights: Array, origin: Array) -> Array:
        """Return the weights (variables, nbox) that weights (rows, nbox) of the rows give to the variables."""
        if len(self.matrix) == 1:
            return self.matrix[0].T @ weights
        return np.einsum("brv,rb->vb", self.matrix[origin], weights)

    def fixed(self, weights: Array, origin: Array) -> Array:
        """Return Σ weight·constant (nbox,)."""
        if len(self.constant) == 1:
            return self.constant[0] @ weights
        return np.einsum("br,rb->b", self.constant[origin], weights)


@dataclass(frozen=True)
class Block:
    """Atoms of one operation: variables ``first`` … ``first + count − 1``, rows ``row`` … of their arguments.

    The rows of all first arguments stand before those of the second ones.
    """

    op: str
    power: float
    first: int
    count: int
    row: int
    arguments: int
    rows: Rows

    @property
    def atoms(self) -> slice:
        """Return the places of the atoms among the variables."""
        return slice(self.first, self.first + self.count)

    @property
    def places(self) -> slice:
        """Return the places of the arguments among all rows."""
        return slice(self.row, self.row + self.count * self.arguments)


@dataclass(frozen=True)
class Form:
    """A program's output as rows over inputs and atoms; ``inputs`` are the first variables."""

    inputs: tuple[str, ...]
    blocks: tuple[Block, ...]
    root: Rows
    size: int
    rows: int

    def values(self, inputs: Array, origin: Array) -> tuple[Array, Array]:
        """Return all variables (variables, nbox) and all arguments (rows, nbox) at points (inputs, nbox)."""
        found = np.zeros((self.size, inputs.shape[1]))
        found[: len(self.inputs)] = inputs
        arguments = np.empty((self.rows, inputs.shape[1]))
        with np.errstate(all="ignore"):
            for block in self.blocks:
                arguments[block.places] = block.rows.of(found, origin)
                parts = arguments[block.places].reshape(block.arguments, block.count, -1)
                found[block.atoms] = atom_value(block.op, parts, block.power)
        return found, arguments


def atom_value(op: str, parts: Array, power: float) -> Array:
    """Return the value of an atom from its arguments."""
    if op == "ramp":
        return np.maximum(parts[0], 0.0)
    if op == "root":
        return np.sqrt(np.maximum(parts[0], 0.0))
    if op == "inverse":
        return 1.0 / parts[0]
    if op == "leg":
        return np.sqrt(np.maximum((parts[0] - parts[1]) * (parts[0] + parts[1]), 0.0))
    return value(op, list(parts), power)


def atom_slopes(op: str, parts: Array, power: float) -> tuple[Array, tuple[Array, ...]]:
    """Return an atom's value and its partial derivatives; at a kink those of one side, at an upright tangent 0."""
    found = atom_value(op, parts, power)
    upright = np.divide(1.0, found, out=np.zeros_like(found), where=found > 0) if op in ("root", "leg") else found
    match op:
        case "ramp":
            return found, (np.where(parts[0] > 0, 1.0, 0.0),)
        case "root":
            return found, (0.5 * upright,)
        case "inverse":
            return found, (-found * found,)
        case "leg":
            return found, (parts[0] * upright, -parts[1] * upright)
    return found, slopes(op, list(parts), found, power)


class _Contraction:
    """Draws the linear parts of a program together."""

    def __init__(self, program: Program, parameters: Mapping[str, float], angles: Mapping[str, Array]) -> None:
        self.program, self.parameters, self.angles = program, parameters, angles
        self.inputs = sorted(program.inputs, key=lambda name: program.inputs[name])
        self.place = {name: i for i, name in enumerate(self.inputs)}
        self.forms: list[Linear] = []
        self.atoms: list[tuple[str, float, tuple[Linear, ...], int]] = []
        self.ramps: dict[Any, Linear] = {}

    def run(self, name: str) -> Form:
        for node in self.program.nodes:
            self.forms.append(self._form(node.op, node.args, node.value))
        return self._arranged(self.forms[self.program.outputs[name]])

    def _form(self, op: str, args: Sequence[int], given: float | str) -> Linear:
        match op:
            case "constant":
                return Linear(float(given), {})
            case "parameter":
                return Linear(float(self.parameters[str(given)]), {})
            case "angle":
                return Linear(_same(self.angles[str(given)]), {})
            case "input":
                return Linear(0.0, {self.place[str(given)]: 1.0})
        parts = [self.forms[a] for a in args]
        if not any(p.terms for p in parts):
            with np.errstate(all="ignore"):
                return Linear(_same(value(op, [p.constant for p in parts], given)), {})
        return self._joined(op, parts, float(given or 0.0))

    def _joined(self, op: str, parts: list[Linear], power: float) -> Linear:  # noqa: PLR0911 - one return per operation
        first, other = parts[0], parts[-1]
        match op:
            case "add" | "sub":
                return first.plus(other, 1.0 if op == "add" else -1.0)
            case "neg":
                return first.scaled(-1.0)
            case "mul" if not first.terms:
                return other.scaled(first.constant)
            case "mul" if not other.terms:
                return first.scaled(other.constant)
            case "div" if not other.terms:
                return first.scaled(1.0 / np.asarray(other.constant, dtype=float)[()])
            case "div":
                return self._joined("mul", [first, self._atom("inverse", 0.0, (other,))], 0.0)
            case "greatest" | "least" if not first.terms:
                return self._joined(op, [other, first], power)
            case "greatest":
                return other.plus(self._ramp(first.plus(other, -1.0)))
            case "least":
                return other.plus(self._ramp(other.plus(first, -1.0)), -1.0)
            case "magnitude":
                return self._ramp(first).scaled(2.0).plus(first, -1.0)
            case "sqrt" if (under := self._under_ramp(first)) is not None:
                return self._leg(under) or self._atom("root", 0.0, (under,))
        return self._atom(op, power if op == "power" else 0.0, tuple(parts))

    def _ramp(self, form: Linear) -> Linear:
        if not form.terms:
            return Linear(np.maximum(form.constant, 0.0), {})
        opposite = self.ramps.get(_key(form.scaled(-1.0)))
        if opposite is not None:  # ramp(z) = ramp(−z) + z: their difference is z, and no bound loses anything on it
            return opposite.plus(form)
        return self.ramps.setdefault(_key(form), self._atom("ramp", 0.0, (form,)))

    def _under_ramp(self, form: Linear) -> Linear | None:
        """Return the argument of a ramp where the form is nothing but that ramp."""
        if len(form.terms) != 1 or np.any(form.constant):
            return None
        key, coefficient = next(iter(form.terms.items()))
        if key < len(self.inputs) or not np.all(np.asarray(coefficient) == 1.0):
            return None
        op, _, args, _ = self.atoms[key - len(self.inputs)]
        return args[0] if op == "ramp" else None

    def _leg(self, under: Linear) -> Linear | None:
        """Return the leg √greatest(a² − b², 0) of a right-angled triangle where that stands under the root."""
        if len(under.terms) != 2 or np.any(under.constant):
            return None
        sides: dict[float, Linear] = {}
        for key, coefficient in under.terms.items():
            if key < len(self.inputs) or np.ndim(coefficient) or abs(coefficient) != 1.0:
                return None
            op, _, args, _ = self.atoms[key - len(self.inputs)]
            if op == "square":
                sides[float(coefficient)] = args[0]
        return self._atom("leg", 0.0, (sides[1.0], sides[-1.0])) if len(sides) == 2 else None

    def _atom(self, op: str, power: float, args: tuple[Linear, ...]) -> Linear:
        count = len(self.inputs)
        deep = [self.atoms[k - count][3] for arg in args for k in arg.terms if k >= count]
        self.atoms.append((op, power, args, max(deep, default=0) + 1))
        return Linear(0.0, {count + len(self.atoms) - 1: 1.0})

    def _arranged(self, root: Linear) -> Form:
        """Keep the atoms that the root needs, by depth and operation, and write all rows as matrices."""
        count = len(self.inputs)
        needed, stack = set(), [k for k in root.terms if k >= count]
        while stack:
            key = stack.pop()
            if key not in needed:
                needed.add(key)
                stack.extend(k for arg in self.atoms[key - count][2] for k in arg.terms if k >= count)
        kinds: dict[tuple[int, str, float], list[int]] = {}
        for key in sorted(needed):
            op, power, _, depth = self.atoms[key - count]
            kinds.setdefault((depth, op, power), []).append(key)
        order = {kind: kinds[kind] for kind in sorted(kinds)}
        place = {k: k for k in range(count)}
        for key in (k for keys in order.values() for k in keys):
            place[key] = len(place)
        blocks: list[Block] = []
        row = 0
        for (_, op, power), keys in order.items():
            width = 2 if op in PAIRS else 1
            forms = [self.atoms[k - count][2][part] for part in range(width) for k in keys]
            blocks.append(Block(op, power, place[keys[0]], len(keys), row, width, _rows(forms, place)))
            row += len(forms)
        return Form(tuple(self.inputs), tuple(blocks), _rows([root], place), len(place), row)


def _key(form: Linear) -> Any:
    """Return what two linear forms have in common that are the same to the bit."""
    numbers = {key: np.asarray(number, dtype=float) + 0.0 for key, number in {-1: form.constant, **form.terms}.items()}
    return tuple(sorted((key, number.shape, number.tobytes()) for key, number in numbers.items()))


def _same(numbers: Any) -> Any:
    """Return one number where all columns agree."""
    numbers = np.asarray(numbers, dtype=float)
    return float(numbers.flat[0]) if numbers.size and np.all(numbers == numbers.flat[0]) else numbers


def _rows(forms: Sequence[Linear], place: Mapping[int, int]) -> Rows:
    """Write linear forms as one matrix; one per column of the ground only where columns differ."""
    numbers = [c for f in forms for c in (f.constant, *f.terms.values())]
    columns = max((np.size(c) for c in numbers), default=1)
    matrix = np.zeros((columns, len(forms), len(place)))
    constant = np.zeros((columns, len(forms)))
    for index, form in enumerate(forms):
        constant[:, index] = form.constant
        for key, coefficient in form.terms.items():
            matrix[:, index, place[key]] = coefficient
    return Rows(matrix, constant)


def contract(program: Program, name: str, parameters: Mapping[str, float], angles: Mapping[str, Array]) -> Form:
    """Return the form of one output of an unrolled program, parameters and angles (per column) bound."""
    return _Contraction(program.only([name]), parameters, angles).run(name)
