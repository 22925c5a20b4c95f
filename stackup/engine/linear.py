"""The linearised worst case: gradient times half-widths at the middle of the tolerances.

A zone counts by its radius against the length of its gradient, a length |v| by the sum of its radii (a size
inside it by its half-width), a least or greatest by the argument that decides it at each end.  It is what a
hand calculation gives, and stands beside the true extreme.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from stackup.chain.model import Model
from stackup.chain.operations import slopes, value
from stackup.chain.program import Program, bindings, pitch_angles, split_at
from stackup.dimension import Dimension
from stackup.dimension import Disc as Zone

Array = Any


@dataclass(frozen=True)
class Linear:
    """Both linearised ends and the share of each dimension in the width (parts of 1)."""

    low: float
    high: float
    shares: dict[str, float]


@dataclass
class _Form:
    """middle + Σ gradient·inputs + own span [down, up]; ``split`` says whose the span is, in the gap's unit."""

    middle: float
    gradient: dict[str, float] = field(default_factory=dict)
    down: float = 0.0
    up: float = 0.0
    split: dict[str, float] = field(default_factory=dict)

    def scaled(self, factor: float) -> _Form:
        ends = sorted((factor * self.down, factor * self.up))
        split = {k: abs(factor) * v for k, v in self.split.items()}
        return _Form(factor * self.middle, {k: factor * g for k, g in self.gradient.items()}, ends[0], ends[1], split)

    def plus(self, other: _Form) -> _Form:
        gradient = dict(self.gradient)
        for k, g in other.gradient.items():
            gradient[k] = gradient.get(k, 0.0) + g
        split = dict(self.split)
        for k, v in other.split.items():
            split[k] = split.get(k, 0.0) + v
        return _Form(self.middle + other.middle, gradient, self.down + other.down, self.up + other.up, split)


class _Linearised:
    """Walks an unrolled program with linear forms."""

    def __init__(self, model: Model, program: Program, pocket: int) -> None:
        self.model, self.program = model, program
        self.angles = pitch_angles(model.pockets)
        self.pocket = pocket
        self.owner: dict[str, Dimension] = {}
        for part in program.inputs:
            base, _ = split_at(part)
            self.owner[part] = model.dimensions.get(base) or model.dimensions[base.rsplit(".", 1)[0]]

    def walk(self) -> list[_Form]:
        forms: list[_Form] = []
        parameters = bindings(self.model)
        for node in self.program.nodes:
            name = str(node.value)
            match node.op:
                case "constant":
                    forms.append(_Form(float(node.value)))
                case "parameter":
                    forms.append(_Form(float(parameters[name])))
                case "angle":
                    ahead = split_at(name)[1]
                    forms.append(_Form(self.angles[(self.pocket + ahead) % self.model.pockets]))
                case "input":
                    forms.append(_Form(self._middle(name), {name: 1.0}))
                case "length":
                    forms.append(self._length(*(forms[a] for a in node.args)))
                case "magnitude":
                    forms.append(self._length(forms[node.args[0]], _Form(0.0)))
                case "least" | "greatest":
                    forms.append(self._fold(node.op, *(forms[a] for a in node.args)))
                case _:
                    forms.append(self._smooth(node.op, [forms[a] for a in node.args], node.value))
        return forms

    def _smooth(self, op: str, args: list[_Form], power: Any) -> _Form:
        points = [np.float64(a.middle) for a in args]
        y = value(op, points, power)
        result = _Form(float(y))
        for arg, slope in zip(args, slopes(op, points, np.float64(y), power), strict=True):
            moved = arg.scaled(float(slope))
            result = result.plus(_Form(0.0, moved.gradient, moved.down, moved.up, moved.split))
        return result

    def _middle(self, part: str) -> float:
        base, ahead = split_at(part)
        owner, region = self.owner[part], self.owner[part].region
        if isinstance(region, Zone):
            return self._here(region.centre[owner.components.index(base)], ahead)
        return 0.5 * (self._here(region.low, ahead) + self._here(region.high, ahead))

    def _here(self, column: Any, ahead: int) -> float:
        if isinstance(column, np.ndarray) and column.size > 1:
            return float(column[(self.pocket + ahead) % self.model.pockets])
        return float(np.ravel(column)[0])

    def spans(self, gradient: dict[str, float]) -> dict[str, float]:
        """Return, per dimension, gradient times half-width (zones: length of the gradient times radius)."""
        found: dict[str, float] = {}
        zones: dict[tuple[str, int], float] = {}
        for part, slope in gradient.items():
            _, ahead = split_at(part)
            owner, region = self.owner[part], self.owner[part].region
            if isinstance(region, Zone):
                key = (owner.name, ahead if owner.scope == "pocket" else 0)
                zones[key] = zones.get(key, 0.0) + slope * slope
                continue
            half = 0.5 * (self._here(region.high, ahead) - self._here(region.low, ahead))
            found[owner.name] = found.get(owner.name, 0.0) + abs(slope) * half
        for (name, _), squares in zones.items():
            radius = self.model.dimensions[name].region.radius  # type: ignore[union-attr]
            found[name] = found.get(name, 0.0) + float(np.sqrt(squares)) * radius
        return found

    def _vector_spans(self, a: _Form, b: _Form) -> dict[str, float]:
        """Return what each dimension can add to the length of (a, b): a zone its radius times the larger stretch."""
        found: dict[str, float] = {}
        stretch: dict[tuple[str, int], list[float]] = {}
        for row, form in enumerate((a, b)):
            for part, slope in form.gradient.items():
                base, ahead = split_at(part)
                owner = self.owner[part]
                if isinstance(owner.region, Zone):
                    key = (owner.name, ahead if owner.scope == "pocket" else 0)
                    matrix = stretch.setdefault(key, [0.0] * 4)
                    matrix[2 * row + owner.components.index(base)] += slope
                else:
                    half = 0.5 * (self._here(owner.region.high, ahead) - self._here(owner.region.low, ahead))
                    found[owner.name] = found.get(owner.name, 0.0) + abs(slope) * half
            for name, own in form.split.items():
                found[name] = found.get(name, 0.0) + own / 2
        for (name, _), matrix in stretch.items():
            most = float(np.linalg.norm(np.array(matrix).reshape(2, 2), 2))
            radius = self.model.dimensions[name].region.radius  # type: ignore[union-attr]
            found[name] = found.get(name, 0.0) + most * radius
        return found

    def _length(self, a: _Form, b: _Form) -> _Form:
        """Bound a length by its nominal ± the sum of the radii, at least 0."""
        nominal = float(np.hypot(a.middle, b.middle))
        spans = self._vector_spans(a, b)
        reach = sum(spans.values())
        low, high = max(0.0, nominal - reach), nominal + reach
        share = (high - low) / reach if reach else 0.0
        return _Form(nominal, {}, low - nominal, high - nominal, {k: v * share for k, v in spans.items()})

    def ends(self, form: _Form) -> tuple[float, float, dict[str, float]]:
        """Return both ends of a form and the width that each dimension makes."""
        spans = self.spans(form.gradient)
        half = sum(spans.values())
        widths = {k: 2 * v for k, v in spans.items()}
        for k, v in form.split.items():
            widths[k] = widths.get(k, 0.0) + v
        return form.middle + form.down - half, form.middle + form.up + half, widths

    def _fold(self, op: str, a: _Form, b: _Form) -> _Form:
        """Take the argument that decides at both ends; where the ends disagree, a span of its own."""
        (a_low, a_high, a_widths), (b_low, b_high, b_widths) = self.ends(a), self.ends(b)
        if op == "least":
            if a_high <= b_low or b_high <= a_low:
                return a if a_high <= b_low else b
            low, high, middle = min(a_low, b_low), min(a_high, b_high), min(a.middle, b.middle)
            widths = a_widths if a_low <= b_low else b_widths
        else:
            if a_low >= b_high or b_low >= a_high:
                return a if a_low >= b_high else b
            low, high, middle = max(a_low, b_low), max(a_high, b_high), max(a.middle, b.middle)
            widths = a_widths if a_high >= b_high else b_widths
        total = sum(widths.values())
        share = (high - low) / total if total else 0.0
        return _Form(middle, {}, low - middle, high - middle, {k: v * share for k, v in widths.items()})


def linearise(model: Model, program: Program, name: str, pocket: int = 0) -> Linear:
    """Return the linearised ends of the output ``name`` of an unrolled program, and the shares of the width."""
    walker = _Linearised(model, program.only([name]), pocket)
    with np.errstate(all="ignore"):
        forms = walker.walk()
    low, high, widths = walker.ends(forms[walker.program.outputs[name]])
    total = sum(widths.values())
    return Linear(low, high, {k: v / total for k, v in widths.items()} if total else {})


def half_spans(model: Model, program: Program, gradient: dict[str, float]) -> list[float]:
    """Return |a_k|·T_k per dimension for a gradient over the inputs of an unrolled program."""
    return list(_Linearised(model, program, 0).spans(gradient).values())
