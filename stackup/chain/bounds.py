"""Guaranteed bounds of a program over regions: intervals forward, linear bounds backward.

Forward, every node gets an interval (outward rounded).  Backward, from the output with coefficient 1, every
node is replaced by a linear function of its arguments that is nowhere above it (or nowhere below, by the sign
of its coefficient).  What arrives at the inputs is one linear function that is nowhere above the output; its
least value over intervals and discs is exact: intervals add, disc radii add against the length of the
gradient.  So everything that enters only through one sum is grouped without being looked for.

What is lost is lost at single nodes: output − bound = Σ coefficient·(node − its linear bound) at the point
where the linear function is least.  The node that loses most is the one to split: an interval in two, the
direction of a length in two sectors, a least or greatest into its arguments.

Kinks are exact on both sides: |a|, least, greatest and lengths are bounded by lines that touch them, never by
a derivative at the kink.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from stackup.chain.operations import slopes, value
from stackup.chain.program import Program

Array = Any

EPS = np.finfo(float).eps
_TINY = 1e-300
#: rounding of elementary functions, in units of the last place
_ULPS = 4.0
_HALF_PI = np.pi / 2


@dataclass(frozen=True)
class Disc:
    """A disc of the region: two inputs, its centre (nbox,), its radius, and a size that lets it grow.

    radius + max(0, slope·(size − at)) is the radius where ``feature`` names the input that makes it grow.
    """

    r: str
    t: str
    centre_r: Array
    centre_t: Array
    radius: Array
    feature: str | None = None
    slope: float = 0.0
    at: float = 0.0


@dataclass(frozen=True)
class Ground:
    """What the inputs of an unrolled program may be: (nbox,) ends of every input, and the discs.

    ``angles`` binds ``angle``, ``angle@1``, … per box.
    """

    low: Mapping[str, Array]
    high: Mapping[str, Array]
    discs: tuple[Disc, ...]
    angles: Mapping[str, Array]

    def take(self, boxes: Array) -> Ground:
        """Return the same for some of the boxes."""
        pick = {k: v[boxes] for k, v in self.low.items()}
        discs = tuple(
            Disc(d.r, d.t, d.centre_r[boxes], d.centre_t[boxes], d.radius[boxes], d.feature, d.slope, d.at)
            for d in self.discs
        )
        return Ground(
            pick, {k: v[boxes] for k, v in self.high.items()}, discs, {k: v[boxes] for k, v in self.angles.items()}
        )


@dataclass
class Boxes:
    """Parts of the region under study: intervals of every node, sectors of lengths, choices of folds.

    ``low``/``high`` (nodes, nbox) narrow a node's interval; ``sector`` (2, nodes, nbox) the direction of a
    length's vector in rad; ``choice`` (nodes, nbox) the argument that a least or greatest equals (−1: open);
    ``share`` (nodes, nbox) the weight of the first argument of a least or greatest, or the slope of a magnitude,
    where any weight gives a bound (NaN: by the reference); ``origin`` (nbox,) the column of the ground.
    """

    low: Array
    high: Array
    sector: Array
    choice: Array
    share: Array
    origin: Array

    @classmethod
    def whole(cls, nodes: int, count: int) -> Boxes:
        """Return ``count`` boxes that exclude nothing."""
        sector = np.empty((2, nodes, count))
        sector[0], sector[1] = -np.pi, np.pi
        return cls(
            np.full((nodes, count), -np.inf),
            np.full((nodes, count), np.inf),
            sector,
            np.full((nodes, count), -1, dtype=np.int8),
            np.full((nodes, count), np.nan),
            np.arange(count),
        )

    def take(self, which: Array) -> Boxes:
        """Return some of the boxes (copied)."""
        return Boxes(
            self.low[:, which],
            self.high[:, which],
            self.sector[:, :, which],
            self.choice[:, which],
            self.share[:, which],
            self.origin[which],
        )

    @staticmethod
    def join(parts: Sequence[Boxes]) -> Boxes:
        """Return several sets of boxes as one."""
        return Boxes(
            *(
                np.concatenate([getattr(part, name) for part in parts], axis=-1)
                for name in ("low", "high", "sector", "choice", "share", "origin")
            )
        )


@dataclass
class Result:
    """Of one look at boxes: guaranteed bound (nbox,), the point, the output there, and what each node lost."""

    bound: Array
    point: dict[str, Array]
    found: Array
    values: list[Array]
    loss: Array
    empty: Array
    lines: list[Array] = field(default_factory=list)
    low: list[Array] = field(default_factory=list)
    high: list[Array] = field(default_factory=list)
    weights: dict[int, Array] = field(default_factory=dict)
    linear: Array | None = None


class Bounder:
    """Bounds one output of an unrolled program from below (``sign`` 1) or its negative (``sign`` −1)."""

    def __init__(self, program: Program, name: str, sign: int, parameters: Mapping[str, float]) -> None:
        """Keep the part of ``program`` that the output ``name`` needs."""
        self.program = program.only([name])
        self.root = self.program.outputs[name]
        self.sign = sign
        self.parameters = parameters
        self.size = len(self.program.nodes)

    def look(self, boxes: Boxes, ground: Ground, reference: Array | None) -> Result:
        """Bound every box; ``reference`` (nodes,) holds node values near which the bounds should be tight."""
        here = ground.take(boxes.origin)
        low, high, empty = self._intervals(boxes, here)
        lines = _Lines(self, boxes, low, high, reference)
        bound, point = lines.down_to(here)
        values = self.values(point, here.angles)
        loss = lines.losses(values)
        found = self.sign * values[self.root]
        linear = bound
        bound = np.maximum(bound, low[self.root] if self.sign > 0 else -high[self.root])
        bound = np.where(empty, np.inf, bound)
        weights = {index: line[0] for index, line in lines.lines.items()}
        return Result(bound, point, found, values, loss, empty, lines.values_at(values), low, high, weights, linear)

    def values(self, point: Mapping[str, Array], angles: Mapping[str, Array]) -> list[Array]:
        """Return the value of every node at points (nbox,)."""
        values: list[Array] = []
        for node in self.program.nodes:
            match node.op:
                case "constant":
                    values.append(np.float64(node.value))
                case "parameter":
                    values.append(np.float64(self.parameters[str(node.value)]))
                case "angle":
                    values.append(angles[str(node.value)])
                case "input":
                    values.append(point[str(node.value)])
                case _:
                    values.append(value(node.op, [values[a] for a in node.args], node.value))
        return values

    def _intervals(self, boxes: Boxes, ground: Ground) -> tuple[list[Array], list[Array], Array]:
        count = len(boxes.origin)
        low: list[Array] = []
        high: list[Array] = []
        empty = np.zeros(count, dtype=bool)
        for index, node in enumerate(self.program.nodes):
            match node.op:
                case "constant":
                    lo = hi = np.full(count, float(node.value))
                case "parameter":
                    lo = hi = np.full(count, float(self.parameters[str(node.value)]))
                case "angle":
                    lo = hi = ground.angles[str(node.value)]
                case "input":
                    lo, hi = ground.low[str(node.value)], ground.high[str(node.value)]
                case _:
                    lo, hi = interval(node.op, [(low[a], high[a]) for a in node.args], float(node.value or 0.0))
            narrow_lo, narrow_hi = np.maximum(lo, boxes.low[index]), np.minimum(hi, boxes.high[index])
            void = narrow_lo > narrow_hi
            empty |= void
            low.append(np.where(void, lo, narrow_lo))
            high.append(np.where(void, hi, narrow_hi))
        return low, high, empty


def interval(op: str, args: list[tuple[Array, Array]], power: float = 0.0) -> tuple[Array, Array]:
    """Return the outward rounded interval of an operation over the intervals of its arguments."""
    lo, hi = _INTERVALS[op](*args) if op != "power" else _power_interval(args[0], power)
    slack = _ULPS * EPS
    return lo - (np.abs(lo) * slack + _TINY), hi + (np.abs(hi) * slack + _TINY)


def _products(a: tuple[Array, Array], b: tuple[Array, Array]) -> tuple[Array, Array]:
    corners = [a[0] * b[0], a[0] * b[1], a[1] * b[0], a[1] * b[1]]
    return np.minimum.reduce(corners), np.maximum.reduce(corners)


def _quotients(a: tuple[Array, Array], b: tuple[Array, Array]) -> tuple[Array, Array]:
    spans = (b[0] <= 0) & (b[1] >= 0)
    safe = (np.where(spans, 1.0, b[0]), np.where(spans, 1.0, b[1]))
    lo, hi = _products(a, (1.0 / safe[1], 1.0 / safe[0]))
    return np.where(spans, -np.inf, lo), np.where(spans, np.inf, hi)


def _magnitude(a: tuple[Array, Array]) -> tuple[Array, Array]:
    least = np.maximum(np.maximum(a[0], -a[1]), 0.0)
    return least, np.maximum(np.abs(a[0]), np.abs(a[1]))


def _square(a: tuple[Array, Array]) -> tuple[Array, Array]:
    least, most = _magnitude(a)
    return least * least, most * most


def _hypot(a: tuple[Array, Array], b: tuple[Array, Array]) -> tuple[Array, Array]:
    (a0, a1), (b0, b1) = _magnitude(a), _magnitude(b)
    return np.sqrt(a0 * a0 + b0 * b0), np.sqrt(a1 * a1 + b1 * b1)


def _wave(function: Callable[[Array], Array], peak: float) -> Callable[[tuple[Array, Array]], tuple[Array, Array]]:
    """Return the interval rule of sin or cos: ±1 where a crest (``peak`` + 2πk) or a trough lies inside."""

    def rule(a: tuple[Array, Array]) -> tuple[Array, Array]:
        ends = function(a[0]), function(a[1])
        lo, hi = np.minimum(*ends), np.maximum(*ends)
        hi = np.where(_holds(a, peak), 1.0, hi)
        lo = np.where(_holds(a, peak + np.pi), -1.0, lo)
        return lo, hi

    return rule


def _holds(a: tuple[Array, Array], place: float, period: float = 2 * np.pi) -> Array:
    """Return where the interval holds place + k·period, with a margin for rounding."""
    margin = 1e-9
    return np.floor((a[1] + margin - place) / period) >= np.ceil((a[0] - margin - place) / period)


def _tangent(a: tuple[Array, Array]) -> tuple[Array, Array]:
    pole = _holds(a, _HALF_PI, np.pi)
    return np.where(pole, -np.inf, np.tan(a[0])), np.where(pole, np.inf, np.tan(a[1]))


def _root(a: tuple[Array, Array]) -> tuple[Array, Array]:
    return np.sqrt(np.maximum(a[0], 0.0)), np.sqrt(np.maximum(a[1], 0.0))


def _logarithm(a: tuple[Array, Array]) -> tuple[Array, Array]:
    with np.errstate(divide="ignore"):
        return np.log(np.maximum(a[0], 0.0)), np.log(np.maximum(a[1], 0.0))


def _arc(function: Callable[[Array], Array], rising: bool) -> Callable[[tuple[Array, Array]], tuple[Array, Array]]:
    def rule(a: tuple[Array, Array]) -> tuple[Array, Array]:
        ends = function(np.clip(a[0], -1, 1)), function(np.clip(a[1], -1, 1))
        return ends if rising else ends[::-1]

    return rule


def _arctan2(a: tuple[Array, Array], b: tuple[Array, Array]) -> tuple[Array, Array]:
    cut = (b[0] <= 0) & (a[0] <= 0) & (a[1] >= 0)
    corners = [np.arctan2(y, x) for y in a for x in b]
    lo, hi = np.minimum.reduce(corners), np.maximum.reduce(corners)
    return np.where(cut, -np.pi, lo), np.where(cut, np.pi, hi)


def _power_interval(a: tuple[Array, Array], power: float) -> tuple[Array, Array]:
    low, high = np.maximum(a[0], 0.0), np.maximum(a[1], 0.0)
    return low**power, high**power


_INTERVALS: dict[str, Callable[..., tuple[Array, Array]]] = {
    "add": lambda a, b: (a[0] + b[0], a[1] + b[1]),
    "sub": lambda a, b: (a[0] - b[1], a[1] - b[0]),
    "mul": _products,
    "div": _quotients,
    "neg": lambda a: (-a[1], -a[0]),
    "square": _square,
    "sqrt": _root,
    "sin": _wave(np.sin, _HALF_PI),
    "cos": _wave(np.cos, 0.0),
    "tan": _tangent,
    "asin": _arc(np.arcsin, True),
    "acos": _arc(np.arccos, False),
    "atan": lambda a: (np.arctan(a[0]), np.arctan(a[1])),
    "exp": lambda a: (np.exp(a[0]), np.exp(a[1])),
    "log": _logarithm,
    "magnitude": _magnitude,
    "least": lambda a, b: (np.minimum(a[0], b[0]), np.minimum(a[1], b[1])),
    "greatest": lambda a, b: (np.maximum(a[0], b[0]), np.maximum(a[1], b[1])),
    "atan2": _arctan2,
    "length": _hypot,
}


def _convexity(op: str, lo: Array, hi: Array, power: float) -> Array:
    """Return +1 where a function of one argument is convex on [lo, hi], −1 where concave, else 0."""
    match op:
        case "square" | "exp" | "magnitude":
            return np.ones_like(lo)
        case "sqrt" | "log":
            return -np.ones_like(lo)
        case "power":
            return np.full_like(lo, 1.0 if power > 1 else -1.0)
        case "tan" | "asin" | "atan" | "acos":
            positive = np.where(lo >= 0, 1.0, np.where(hi <= 0, -1.0, 0.0))
            return positive if op in ("tan", "asin") else -positive
        case "sin" | "cos":
            first = lo if op == "sin" else lo + _HALF_PI
            cell, last = np.floor(first / np.pi), np.floor((first + (hi - lo)) / np.pi)
            even = np.where(np.mod(cell, 2) == 0, -1.0, 1.0)
            return np.where(cell == last, even, 0.0)
    return np.zeros_like(lo)


class _Lines:
    """The backward pass: one linear function per box, node by node."""

    def __init__(self, owner: Bounder, boxes: Boxes, low: list[Array], high: list[Array], reference: Array | None) -> None:
        self.owner, self.boxes, self.low, self.high = owner, boxes, low, high
        self.reference = reference
        count = len(boxes.origin)
        self.bias = np.zeros(count)
        self.size = np.zeros(count)
        self.lines: dict[int, tuple[Array, tuple[Array, ...], Array]] = {}
        self.coefficients: list[Array | None] = [None] * owner.size
        self.coefficients[owner.root] = np.full(count, float(owner.sign))

    def down_to(self, ground: Ground) -> tuple[Array, dict[str, Array]]:
        """Go down to the inputs; return the least value of the linear function and where it is."""
        flow: dict[str, Array] = {}
        for index in range(self.owner.root, -1, -1):
            weight = self.coefficients[index]
            if weight is None:
                continue
            node = self.owner.program.nodes[index]
            if node.op == "input":
                flow[str(node.value)] = weight
            elif not node.args:
                self._shift(weight * self.low[index])
            else:
                self._replace(index, weight)
        return self._least(flow, ground)

    def losses(self, values: list[Array]) -> Array:
        """Return (nodes, nbox): what each node's line lost at the point, weighted by its coefficient."""
        loss = np.zeros((self.owner.size, len(self.bias)))
        for index, (weight, slope, offset) in self.lines.items():
            line = offset.copy()
            for arg, s in zip(self.owner.program.nodes[index].args, slope, strict=True):
                line = line + s * values[arg]
            loss[index] = weight * (values[index] - line)
        return loss

    def values_at(self, values: list[Array]) -> list[Array]:
        """Return the value that the linear functions give every node at the point."""
        found: list[Array] = []
        for index, node in enumerate(self.owner.program.nodes):
            if index in self.lines:
                _, slope, offset = self.lines[index]
                found.append(sum((s * found[a] for a, s in zip(node.args, slope, strict=True)), offset))
            elif node.op in ("add", "sub", "neg") and self.coefficients[index] is not None:
                found.append(value(node.op, [found[a] for a in node.args]))
            else:
                found.append(values[index])
        return found

    def _shift(self, amount: Array) -> None:
        self.bias = self.bias + amount
        self.size = self.size + np.abs(amount)

    def _replace(self, index: int, weight: Array) -> None:
        node = self.owner.program.nodes[index]
        if node.op in ("add", "sub", "neg"):
            signs = {"add": (1.0, 1.0), "sub": (1.0, -1.0), "neg": (-1.0,)}[node.op]
            for arg, sign in zip(node.args, signs, strict=True):
                self._give(arg, sign * weight)
            return
        slope, offset = self._line(index, node.op, weight)
        self.lines[index] = (weight, slope, offset)
        for arg, s in zip(node.args, slope, strict=True):
            self._give(arg, weight * s)
        self._shift(weight * offset)

    def _give(self, arg: int, weight: Array) -> None:
        had = self.coefficients[arg]
        self.coefficients[arg] = weight if had is None else had + weight

    def _at(self, index: int) -> Array:
        """Return the reference value of a node, inside the box."""
        lo, hi = self.low[index], self.high[index]
        middle = 0.5 * (lo + hi) if self.reference is None else self.reference[index]
        return np.clip(middle, lo, hi)

    def _anywhere(self, index: int) -> Array:
        """Return the reference value of a node, inside the box or not: where a function is convex everywhere."""
        if self.reference is None:
            return self._at(index)
        return np.full_like(self.bias, self.reference[index])

    def _line(self, index: int, op: str, weight: Array) -> tuple[tuple[Array, ...], Array]:
        """Return slopes and offset of a line below the node where ``weight`` > 0, above it elsewhere."""
        args = self.owner.program.nodes[index].args
        if op in ("least", "greatest"):
            return self._fold_line(index, op, args, weight)
        if op == "length":
            return self._length_line(index, args, weight)
        if len(args) == 1:
            return self._curve_line(index, op, args[0], weight)
        return self._surface_line(op, args, weight, index)

    def _curve_line(self, index: int, op: str, arg: int, weight: Array) -> tuple[tuple[Array, ...], Array]:
        """Bound a function of one argument by tangent and secant where its curvature has one sign."""
        power = float(self.owner.program.nodes[index].value or 0.0)
        lo, hi = self.low[arg], self.high[arg]
        if op in ("sqrt", "log", "power"):
            lo, hi = np.maximum(lo, 0.0), np.maximum(hi, 0.0)
        bend = _convexity(op, lo, hi, power)
        at = self._anywhere(arg) if op in ("square", "exp", "magnitude") else np.clip(self._at(arg), lo, hi)
        if op in ("sqrt", "log", "power"):
            at = np.maximum(at, 1e-6 * np.maximum(hi, 1e-12))
        with np.errstate(all="ignore"):
            y = value(op, [at], power)
            tangent = np.broadcast_to(slopes(op, [at], y, power)[0], np.shape(at))
            if op == "magnitude":
                share = self.boxes.share[index]
                tangent = np.where(np.isnan(share), tangent, share)
                tangent = np.where(lo >= 0, 1.0, np.where(hi <= 0, -1.0, tangent))
                y = tangent * at
            left, right = value(op, [lo], power), value(op, [hi], power)
            secant = np.where(hi > lo, (right - left) / np.where(hi > lo, hi - lo, 1.0), tangent)
            touching = bend * weight >= 0
            slope = np.where(touching, tangent, secant)
            offset = np.where(touching, y - tangent * at, left - secant * lo)
            if np.any(bend == 0):
                slope, offset = self._wavy(op, power, lo, hi, weight, bend, slope, offset)
        bad = ~(np.isfinite(slope) & np.isfinite(offset))
        constant = np.where(weight > 0, self.low[index], self.high[index])
        return (np.where(bad, 0.0, slope),), np.where(bad, constant, offset)

    @staticmethod
    def _wavy(
        op: str, power: float, lo: Array, hi: Array, weight: Array, bend: Array, slope: Array, offset: Array
    ) -> tuple[Array, Array]:
        """Bound by the mean slope where the curvature changes sign: f ∈ f(c) + s(x − c) ± half range of f'·half width."""
        middle, half = 0.5 * (lo + hi), 0.5 * (hi - lo)
        ends = _slope_range(op, lo, hi)
        mean, spread = 0.5 * (ends[0] + ends[1]), 0.5 * (ends[1] - ends[0])
        base = value(op, [middle], power) - mean * middle
        shifted = base - np.sign(weight) * spread * half
        return np.where(bend == 0, mean, slope), np.where(bend == 0, shifted, offset)

    def _surface_line(self, op: str, args: tuple[int, ...], weight: Array, index: int) -> tuple[tuple[Array, ...], Array]:
        """Bound a function of two arguments about the reference point: f(a,b) − f(a₀,b₀) by one argument at a time."""
        a, b = args
        a0, b0 = self._at(a), self._at(b)
        box = (self.low[a], self.high[a]), (self.low[b], self.high[b])
        with np.errstate(all="ignore"):
            if op == "mul":
                ranges = box[1], (a0, a0)
            elif op == "div":
                ranges = _quotients((np.ones_like(a0), np.ones_like(a0)), box[1]), _div_slope(a0, box[1])
            else:
                ranges = _atan2_slopes(box)
            base = value(op, [a0, b0])
            offset = base + np.zeros_like(weight)
            found = []
            for at, (s0, s1), (lo, hi) in zip((a0, b0), ranges, box, strict=True):
                slope, lost = _fan(s0, s1, lo - at, hi - at, weight)
                found.append(slope)
                offset = offset - slope * at + lost
        bad = ~np.isfinite(offset)
        for s in found:
            bad |= ~np.isfinite(s)
        constant = np.where(weight > 0, self.low[index], self.high[index])
        return tuple(np.where(bad, 0.0, s) for s in found), np.where(bad, constant, offset)

    def _fold_line(self, index: int, op: str, args: tuple[int, ...], weight: Array) -> tuple[tuple[Array, ...], Array]:
        """Bound a least or greatest by one of its arguments.

        Against us (a greatest that must not be larger, a least that must not be smaller) the box says which
        argument it is, or the interval bounds it; with us any argument will do.
        """
        a, b = args
        choice = self.boxes.choice[index]
        against = (weight < 0) if op == "greatest" else (weight > 0)
        above = self.low[a] >= self.high[b], self.low[b] >= self.high[a]
        first, second = above if op == "greatest" else above[::-1]
        sign = 1.0 if op == "greatest" else -1.0
        leads = self._at(a) >= self._at(b) if op == "greatest" else self._at(a) <= self._at(b)
        share = self.boxes.share[index]
        ours = np.where(np.isnan(share), np.where(leads, 1.0, 0.0), share)
        still = against & (choice == -1) & ~first & ~second
        one = np.where(first, 1.0, np.where(second, 0.0, np.where(against, 1.0 - choice, ours)))
        # open and against us: b + greatest(a − b, 0) by the secant of the ramp over the interval of a − b
        least, most = self.low[a] - self.high[b], self.high[a] - self.low[b]
        if op == "least":
            least, most = -most, -least
        rise = most / np.maximum(most - least, _TINY)
        one = np.where(still, rise, one)
        return (one, 1.0 - one), np.where(still, -sign * rise * least, 0.0)

    def _length_line(self, index: int, args: tuple[int, ...], weight: Array) -> tuple[tuple[Array, ...], Array]:
        """Bound a length: from below by any direction; from above by its sector, or by the corners of its box."""
        a, b = args
        a0, b0 = self._anywhere(a), self._anywhere(b)
        size = np.sqrt(a0 * a0 + b0 * b0)
        inverse = np.divide(1.0, size, out=np.zeros_like(size), where=size > 1e-12)
        below = (a0 * inverse, b0 * inverse)
        lift, tangent = self._corner_lift(a, b)
        start, end = self.boxes.sector[0, index], self.boxes.sector[1, index]
        half = 0.5 * (end - start)
        middle = 0.5 * (start + end)
        stretch = 1.0 / np.cos(np.minimum(half, 1.2))
        widest = self.high[index] * (stretch - 1.0)
        by_sector = (half < 1.2) & (widest < lift)
        over = tuple(
            np.where(by_sector, turn(middle) * stretch, flat) for turn, flat in zip((np.cos, np.sin), tangent, strict=True)
        )
        constant = ~by_sector & (lift > self.high[index])
        above_offset = np.where(by_sector, 0.0, np.where(constant, self.high[index], lift))
        over = tuple(np.where(constant, 0.0, s) for s in over)
        with_us = weight > 0
        slope = tuple(np.where(with_us, s, o) for s, o in zip(below, over, strict=True))
        return slope, np.where(with_us, 0.0, above_offset)

    def _corner_lift(self, a: int, b: int) -> tuple[Array, tuple[Array, Array]]:
        """Return how far the tangent at the middle must be lifted to lie above the length, and its slopes.

        A convex function less a linear one is greatest at a corner of the box; the tangent of a length goes
        through the origin, so the lift is the whole offset.
        """
        box = (self.low[a], self.high[a]), (self.low[b], self.high[b])
        am, bm = 0.5 * (box[0][0] + box[0][1]), 0.5 * (box[1][0] + box[1][1])
        size = np.sqrt(am * am + bm * bm)
        inverse = np.divide(1.0, size, out=np.zeros_like(size), where=size > 1e-12)
        sa, sb = am * inverse, bm * inverse
        corners = [np.sqrt(x * x + y * y) - sa * x - sb * y for x in box[0] for y in box[1]]
        return np.maximum.reduce(corners), (sa, sb)

    def _least(self, flow: Mapping[str, Array], ground: Ground) -> tuple[Array, dict[str, Array]]:
        weights = dict(flow)
        point: dict[str, Array] = {}
        total, size = self.bias.copy(), self.size.copy()
        grown = []
        for disc in ground.discs:
            amount, here, growing = self._least_in_disc(disc, weights, ground, point)
            total, size = total + amount, size + np.abs(amount)
            if growing:
                grown.append((disc, here))
        for name in ground.low:
            if name in point:
                continue
            index = self.owner.program.inputs.get(name)
            lo, hi = (ground.low[name], ground.high[name]) if index is None else (self.low[index], self.high[index])
            weight = weights.get(name)
            if weight is None:
                point[name] = 0.5 * (lo + hi)
                continue
            flat = np.abs(weight) * (hi - lo) < 1e-9
            place = np.where(weight > 0, lo, hi)
            point[name] = np.where(flat, 0.5 * (lo + hi), place)
            amount = weight * place
            total, size = total + amount, size + np.abs(amount)
        for disc, (gr, gt, norm) in grown:
            self._grow(disc, gr, gt, norm, point)
        # rounding of a sum of n terms: at most n·eps times the sum of their magnitudes
        return total - self.owner.size * EPS * size, point

    def _least_in_disc(
        self, disc: Disc, weights: dict[str, Array], ground: Ground, point: dict[str, Array]
    ) -> tuple[Array, tuple[Array, Array, Array], bool]:
        """Take the least of a linear function over a disc, or over the box where that says more."""
        zero = np.zeros_like(self.bias)
        gr, gt = weights.get(disc.r, zero), weights.get(disc.t, zero)
        norm = np.sqrt(gr * gr + gt * gt)
        growing = disc.feature is not None
        amount = gr * disc.centre_r + gt * disc.centre_t - norm * disc.radius
        if growing:
            amount = amount + self._charge_feature(disc, norm, weights, ground)
        inverse = np.divide(1.0, norm, out=np.zeros_like(norm), where=norm * disc.radius > 1e-12)
        r, t = disc.centre_r - disc.radius * gr * inverse, disc.centre_t - disc.radius * gt * inverse
        if not growing:
            amount, r, t = self._cut_disc(disc, (gr, gt), amount, (r, t))
        point[disc.r], point[disc.t] = r, t
        return amount, (gr, gt, inverse), growing

    def _cut_disc(
        self, disc: Disc, gradient: tuple[Array, Array], amount: Array, place: tuple[Array, Array]
    ) -> tuple[Array, Array, Array]:
        spots, by_box = [], np.zeros_like(amount)
        for name, g, at in zip((disc.r, disc.t), gradient, place, strict=True):
            index = self.owner.program.inputs.get(name)
            if index is None:
                return amount, *place
            spot = np.where(g > 0, self.low[index], self.high[index])
            by_box = by_box + g * spot
            spots.append((spot, at))
        better = by_box > amount
        if not np.any(better):
            return amount, *place
        r, t = (np.where(better, spot, at) for spot, at in spots)
        dr, dt = r - disc.centre_r, t - disc.centre_t
        far = np.sqrt(dr * dr + dt * dt)
        shrink = np.where(far > disc.radius, disc.radius / np.maximum(far, 1e-300), 1.0)
        return np.maximum(amount, by_box), disc.centre_r + dr * shrink, disc.centre_t + dt * shrink

    @staticmethod
    def _charge_feature(disc: Disc, norm: Array, weights: dict[str, Array], ground: Ground) -> Array:
        """Move the disc's growth on to the size it grows with: −norm·max(0, slope·(size − at)), by its secant.

        Between its limits a feature departs from maximum material in one direction only, and the secant is exact.
        """
        feature = str(disc.feature)
        ends = disc.slope * (ground.low[feature] - disc.at), disc.slope * (ground.high[feature] - disc.at)
        least, most = np.minimum(*ends), np.maximum(*ends)
        width = np.where(most > least, most - least, 1.0)
        rise = (np.maximum(most, 0.0) - np.maximum(least, 0.0)) / width
        start = np.maximum(least, 0.0) - rise * least
        weights[feature] = weights.get(feature, np.zeros_like(norm)) - norm * rise * disc.slope
        return -norm * (start - rise * disc.slope * disc.at)

    def _grow(self, disc: Disc, gr: Array, gt: Array, inverse: Array, point: dict[str, Array]) -> None:
        """Put the point of a growing disc on its rim, now that the size it grows with is known."""
        departure = np.maximum(0.0, disc.slope * (point[str(disc.feature)] - disc.at))
        radius = disc.radius + departure
        point[disc.r] = disc.centre_r - radius * gr * inverse
        point[disc.t] = disc.centre_t - radius * gt * inverse


def _fan(s0: Array, s1: Array, left: Array, right: Array, weight: Array) -> tuple[Array, Array]:
    """Bound s·d for s ∈ [s0, s1] and d ∈ [left, right] (left ≤ 0 ≤ right) by a line in d through the secant.

    Below, s·d ≥ least of both lines, which is concave in d: its secant between the ends bounds it; above, the
    same with the greatest.  Returned are the slope and what is to be added.
    """
    low_left, low_right = s1 * left, s0 * right
    high_left, high_right = s0 * left, s1 * right
    from_left = np.where(weight > 0, low_left, high_left)
    from_right = np.where(weight > 0, low_right, high_right)
    width = right - left
    slope = np.where(width > 0, (from_right - from_left) / np.where(width > 0, width, 1.0), 0.5 * (s0 + s1))
    return slope, from_left - slope * left


def _div_slope(a0: Array, b: tuple[Array, Array]) -> tuple[Array, Array]:
    """Return the interval of ∂(a/b)/∂b = −a₀/b²."""
    squares = _square(b)
    spans = (b[0] <= 0) & (b[1] >= 0)
    ends = -a0 / np.where(spans, 1.0, squares[0]), -a0 / np.where(spans, 1.0, squares[1])
    lo, hi = np.minimum(*ends), np.maximum(*ends)
    return np.where(spans, -np.inf, lo), np.where(spans, np.inf, hi)


def _atan2_slopes(box: tuple[tuple[Array, Array], tuple[Array, Array]]) -> tuple[tuple[Array, Array], tuple[Array, Array]]:
    """Return the intervals of ∂atan2(a, b)/∂a = b/(a²+b²) and ∂/∂b = −a/(a²+b²); unbounded across the cut."""
    (a0, a1), (b0, b1) = box
    cut = (b0 <= 0) & (a0 <= 0) & (a1 >= 0)
    least = np.square(_hypot(*box)[0])
    by_a = _quotients((b0, b1), (least, np.square(_hypot(*box)[1])))
    by_b = _quotients((-a1, -a0), (least, np.square(_hypot(*box)[1])))
    wide = np.full_like(least, np.inf)
    return tuple(  # type: ignore[return-value] - a pair of pairs
        (np.where(cut, -wide, lo), np.where(cut, wide, hi)) for lo, hi in (by_a, by_b)
    )


def _slope_range(op: str, lo: Array, hi: Array) -> tuple[Array, Array]:
    """Return the interval of the derivative of a function whose curvature changes sign inside."""
    a = (lo, hi)
    match op:
        case "sin":
            return interval("cos", [a])
        case "cos":
            s = interval("sin", [a])
            return -s[1], -s[0]
        case "tan":
            t = _square(_tangent(a))
            return 1.0 + t[0], 1.0 + t[1]
        case "atan":
            s = _square(a)
            return 1.0 / (1.0 + s[1]), 1.0 / (1.0 + s[0])
        case "asin" | "acos":
            s = _square((np.clip(lo, -1, 1), np.clip(hi, -1, 1)))
            ends = 1.0 / np.sqrt(1.0 - s[0]), 1.0 / np.sqrt(1.0 - s[1])
            return ends if op == "asin" else (-ends[1], -ends[0])
    return np.full_like(lo, -np.inf), np.full_like(hi, np.inf)
