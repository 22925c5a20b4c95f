"""Guaranteed bounds of a program over regions: intervals forward, linear bounds backward.

Forward, every argument of an atom (``forms.py``) and every atom gets an interval, outward rounded.  Backward,
from the output, every atom is replaced by a line that is nowhere above it (or nowhere below, by the sign of its
coefficient; ``lines.py``).  What arrives at the inputs is one linear function that is nowhere above the output;
its least value over intervals and discs is exact: intervals add, disc radii add against the length of the
gradient.

Where a line may touch anywhere, and how hard a narrowed argument presses back on the linear function, are free:
every choice gives a bound, and the best choice is found by going up the bound's own slopes (the Lagrangian dual
of the box; step lengths of B. T. Polyak, 1969).

What is lost is lost at single atoms: output − bound = Σ coefficient·(atom − its line) + what presses.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from stackup.chain.firstorder import Conditions
from stackup.chain.forms import Block, atom_slopes, atom_value, contract
from stackup.chain.ground import Boxes, Disc, Ground
from stackup.chain.intervals import interval
from stackup.chain.known import Known
from stackup.chain.lines import Line, Stack
from stackup.chain.program import Program
from stackup.chain.region import ROUNDING, Forward, Region

__all__ = ["Bounder", "Boxes", "Disc", "Ground", "Result"]

Array = Any

#: stands for unbounded: keeps 0·∞ out of the sums
HUGE = 1e200
#: part of the output's spread that a pressure may carry over the width of its argument, to begin with
PRESS = 0.1
#: steps up the dual are shortened down to this part of Polyak's
SHORTEST = 0.2


@dataclass
class Result:
    """Of one look at boxes: guaranteed bound (nbox,), and at the point tried the output and each atom's loss."""

    bound: Array
    found: Array
    point: Array
    loss: Array
    weights: Array
    low: Array
    high: Array
    at: Array
    sway: Array

    def take(self, which: Array) -> Result:
        """Return the same for some of the boxes."""
        return Result(*(getattr(self, name)[..., which] for name in self.__dataclass_fields__))

    def put(self, where: Array, other: Result) -> None:
        """Overwrite the results of some of the boxes."""
        for name in self.__dataclass_fields__:
            getattr(self, name)[..., where] = getattr(other, name)

    @staticmethod
    def join(one: Result, two: Result) -> Result:
        """Return two results as one."""
        return Result(*(np.concatenate((getattr(one, n), getattr(two, n)), axis=-1) for n in one.__dataclass_fields__))


@dataclass
class _Ends:
    """Intervals over boxes: variables and rows, and boxes that hold nothing."""

    low: Array
    high: Array
    row_low: Array
    row_high: Array
    row_size: Array
    row_span: Array
    cut_low: Array
    cut_high: Array
    empty: Array


class Bounder:
    """Bounds ``sign``·output of an unrolled program from below over a ground."""

    def __init__(self, program: Program, name: str, sign: int, ground: Ground, parameters: Mapping[str, float]) -> None:
        """Contract the part of ``program`` that the output ``name`` needs and lay the ground beside it."""
        self.form = contract(program, name, parameters, ground.angles)
        self.sign, self.ground = float(sign), ground
        self.inputs, self.size, self.rows = len(self.form.inputs), self.form.size, self.form.rows
        self.atoms = self.size - self.inputs
        self.region = Region(self.form.inputs, ground)
        self._forward = [Forward(block.rows, self.region) for block in self.form.blocks]
        self._last = Forward(self.form.root, self.region)
        self._conditions = Conditions(self.form, self.region, self.sign)

    def whole(self) -> Boxes:
        """Return one box per column that excludes nothing."""
        count = self.ground.columns
        sector = np.empty((2, self.atoms, count))
        sector[0], sector[1] = -np.pi, np.pi
        ends = np.full((self.inputs + self.rows, count), np.inf)
        boxes = Boxes(
            -ends,
            ends.copy(),
            sector,
            self.region.anywhere(),
            np.zeros((2, self.atoms, count)),
            np.zeros((self.rows, count)),
            self.region.middle(),
            np.arange(count),
        )
        self.settle(boxes)
        return boxes

    def settle(self, boxes: Boxes) -> None:
        """Let lines touch where the atoms stand at the boxes' centres."""
        _, arguments = self.form.values(boxes.centre, boxes.origin)
        for block in self.form.blocks:
            parts = arguments[block.places].reshape(block.arguments, block.count, -1)
            here = slice(block.first - self.inputs, block.first - self.inputs + block.count)
            if block.op == "ramp":
                boxes.touch[0, here] = np.where(parts[0] > 0, 1.0, 0.0)
            elif block.op == "length":
                size = np.sqrt(parts[0] * parts[0] + parts[1] * parts[1])
                boxes.touch[:, here] = parts * np.divide(1.0, size, out=np.zeros_like(size), where=size > 1e-9)
            elif block.op == "leg":
                boxes.touch[0, here] = np.where(
                    parts[0] > np.abs(parts[1]), parts[1] / np.maximum(parts[0], 1e-300), 0.0
                )
                boxes.touch[1, here] = np.nan
            elif block.op == "mul":
                boxes.touch[0, here] = np.nan
            else:
                boxes.touch[0, here] = np.where(np.isfinite(parts[0]), parts[0], 0.0)

    def values(self, point: Array, origin: Array) -> tuple[Array, Array, Array]:
        """Return sign·output, all variables and all arguments at points (inputs, nbox)."""
        found, arguments = self.form.values(point, origin)
        return self.sign * self.form.root.of(found, origin)[0], found, arguments

    def narrow(self, boxes: Boxes, times: int) -> Array:
        """Narrow boxes to where the least value over the whole region can lie; return those where it cannot."""
        void = np.zeros(len(boxes.origin), dtype=bool)
        for _ in range(times):
            ends = _Walk(self, boxes).ends
            void |= ends.empty | self._conditions.narrow(boxes, ends.row_low, ends.row_high)
        return void

    def slopes(self, point: Array, column: int, shares: Mapping[int, float]) -> Array:
        """Return the gradient (inputs,) of sign·output at a point.

        ``shares`` are the slopes of ramps (places among the variables) whose kink the point lies on: at the least of
        all points these make the gradient stationary (the multipliers of the kinks); other kinks take one side.
        """
        origin = np.array([column])
        _, _, arguments = self.values(point[:, None], origin)
        weights = self.form.root.back(np.full((1, 1), self.sign), origin)
        for block in reversed(self.form.blocks):
            parts = arguments[block.places].reshape(block.arguments, block.count, 1)
            _, partials = atom_slopes(block.op, parts, block.power)
            flow = weights[block.atoms] * np.array([np.broadcast_to(p, (block.count, 1)) for p in partials])
            for index in range(block.first, block.first + block.count):
                if index in shares:
                    flow[0, index - block.first] = weights[index] * shares[index]
            weights = weights + block.rows.back(flow.reshape(-1, 1), origin)
        found: Array = weights[: self.inputs, 0]
        return found

    def look(self, boxes: Boxes, target: float, steps: int) -> Result:
        """Bound every box, going up ``steps`` times or until all bounds pass ``target``; boxes learn from it.

        What is left of a box afterwards is where its linear function is below ``target``: the output is not elsewhere.
        """
        walk = _Walk(self, boxes)
        best = np.full(len(boxes.origin), -np.inf)
        kept = boxes.touch.copy(), boxes.press.copy()
        centre = boxes.centre
        stride = np.full(len(boxes.origin), np.inf)
        for step in range(steps + 1):
            bound, point = walk.down()
            better = bound > best
            if step:
                gained = bound > best + 0.1 * np.minimum(stride, HUGE)
                stride = np.where(gained, stride, 0.5 * stride)
            best = np.where(better, bound, best)
            for keep, now in zip(kept, (walk.touch, walk.press), strict=True):
                np.copyto(keep, now, where=better)
            share = 2.0 / (step + 4.0)
            centre = centre + share * (point - centre)
            if step == steps or np.all((best >= target) | walk.ends.empty):
                break
            if step == 0:
                stride = np.maximum(target - best, 0.0)
            walk.up(point, np.minimum(target, best + stride) - bound)
        boxes.touch, boxes.press = kept
        boxes.centre = centre
        if steps:
            walk.touch[:], walk.press[:] = kept
            bound, point = walk.down()
        result = self._judged(walk, boxes, best, point)
        slack = np.where(bound > -HUGE, target - bound, np.inf)
        low, high = (end[: self.inputs] for end in (walk.ends.low, walk.ends.high))
        self.region.keep(walk.weights[: self.inputs], low, high, boxes, slack)
        return result

    def _judged(self, walk: _Walk, boxes: Boxes, bound: Array, point: Array) -> Result:
        """Value the last point and the centre; say what every atom loses at the centre."""
        centre = self.region.inside(boxes.centre, boxes.origin)
        at_point, _, _ = self.values(point, boxes.origin)
        at_centre, _, arguments = self.values(centre, boxes.origin)
        at_point, at_centre = (np.where(np.isfinite(v), v, np.inf) for v in (at_point, at_centre))
        nearer = at_point < at_centre
        best = np.where(nearer, at_point, at_centre)
        ends = walk.ends
        low, high, _ = self._last.ends(ends.low, ends.high, boxes)
        bound = np.maximum(bound, low[0] if self.sign > 0 else -high[0])
        bound = np.where(ends.empty, np.inf, np.where(bound > -HUGE, bound, -np.inf))
        loss = walk.losses(arguments)
        ends_low = np.concatenate((ends.low[: self.inputs], ends.row_low))
        ends_high = np.concatenate((ends.high[: self.inputs], ends.row_high))
        spot = np.where(nearer, point, centre)
        flow = np.concatenate((walk.weights[: self.inputs], *walk.flow)) if walk.flow else walk.weights
        sway = np.abs(flow) * (ends_high - ends_low)
        at = np.clip(np.concatenate((centre, arguments)), ends_low, ends_high)
        return Result(bound, best, spot, loss, walk.weights[self.inputs :], ends_low, ends_high, at, sway)


def _inner(one: list[Any], two: list[Any]) -> Array:
    """Return the inner product (nbox,) of directions, block by block."""
    total = 0.0
    for a, b in zip(one, two, strict=True):
        total = total + (a[0] * b[0]).sum(axis=(0, 1)) + (a[1] * b[1]).sum(axis=0)
    return total


class _Walk:
    """Passes over some boxes: intervals once, then down and up again with what the boxes learn."""

    def __init__(self, owner: Bounder, boxes: Boxes) -> None:
        self.owner, self.boxes = owner, boxes
        self.touch, self.press = boxes.touch.copy(), boxes.press.copy()
        self.stacks: list[Stack] = []
        self.lines: list[Line] = []
        self.ends = self._intervals()
        self.weights = np.zeros((owner.size, len(boxes.origin)))
        self.flow: list[Array] = []
        low, high, _ = owner._last.ends(self.ends.low, self.ends.high, boxes)
        self._direction: list[Any] = []
        self.spread = np.minimum(high[0] - low[0], HUGE)

    def _intervals(self) -> _Ends:
        owner, boxes = self.owner, self.boxes
        count, origin = len(boxes.origin), boxes.origin
        low, high = np.zeros((2, owner.size, count))
        n = owner.inputs
        low[:n] = np.maximum(owner.region.low[:, origin], boxes.low[:n])
        high[:n] = np.minimum(owner.region.high[:, origin], boxes.high[:n])
        empty = np.any(low[:n] > high[:n], axis=0)
        rows = np.empty((4, owner.rows, count))
        cut = np.zeros((2, owner.rows, count), dtype=bool)
        _, arguments = owner.form.values(boxes.centre, origin)
        known = Known(owner.region)
        for block, forward in zip(owner.form.blocks, owner._forward, strict=True):
            lo, hi, rows[2, block.places] = forward.ends(low, high, boxes)
            lo, hi = known.sharpened(block.rows, lo, hi, low, high, boxes)
            places = slice(n + block.row, n + block.row + len(lo))
            rows[3, block.places] = np.clip(hi - lo, 1e-12, HUGE)
            less, more = np.maximum(lo, boxes.low[places]), np.minimum(hi, boxes.high[places])
            void = less > more
            empty |= np.any(void, axis=0)
            less, more = np.where(void, lo, less), np.where(void, hi, more)
            rows[0, block.places], rows[1, block.places] = less, more
            cut[0, block.places], cut[1, block.places] = less > lo, more < hi
            shape = (block.arguments, block.count, count)
            parts = tuple(zip(less.reshape(shape), more.reshape(shape), strict=True))
            a, b = interval(block.op, parts, block.power)
            low[block.atoms], high[block.atoms] = np.maximum(a, -HUGE), np.minimum(b, HUGE)
            sector = boxes.sector[:, block.first - n : block.first - n + block.count]
            near = arguments[block.places].reshape(shape)
            touch = self.touch[:, block.first - n : block.first - n + block.count]
            if block.op == "ramp":
                known.learn(block, less)
            found = low[block.atoms], high[block.atoms]
            self.stacks.append(Stack(block.op, block.power, parts, found, touch, (sector[0], sector[1]), near))
        return _Ends(low, high, rows[0], rows[1], rows[2], rows[3], cut[0], cut[1], empty)

    def down(self) -> tuple[Array, Array]:
        """Go down to the inputs; return the least value of the linear function and where it is."""
        owner, origin = self.owner, self.boxes.origin
        form, ends = owner.form, self.ends
        seed = np.full((1, len(origin)), owner.sign)
        weights = form.root.back(seed, origin)
        bias = form.root.fixed(seed, origin)
        size = np.abs(bias)
        end = np.where(self.press > 0, ends.row_low, ends.row_high)
        self.lines = []
        self.flow = []
        for block, stack in zip(reversed(form.blocks), reversed(self.stacks), strict=True):
            weight = weights[block.atoms]
            line = stack.line(weight)
            flow = np.concatenate([weight * slope for slope in line.slopes])
            press = self.press[block.places]
            pushed = press * end[block.places]
            size = size + np.abs(weight * line.offset).sum(axis=0) + np.abs(pushed).sum(axis=0)
            size = size + (np.abs(flow) * ends.row_size[block.places]).sum(axis=0)
            bias = bias + (weight * line.offset).sum(axis=0) + pushed.sum(axis=0)
            flow = flow - press
            weights = weights + block.rows.back(flow, origin)
            bias = bias + block.rows.fixed(flow, origin)
            self.lines.append(line)
            self.flow.append(flow)
        self.lines.reverse()
        self.flow.reverse()
        self.weights = weights
        n = owner.inputs
        least, point, more = owner.region.least(weights[:n], ends.low[:n], ends.high[:n], self.boxes)
        return bias + least - ROUNDING * (size + more), point

    def up(self, point: Array, missing: Array) -> None:
        """Move touching places and pressures up the slope of the bound, a step of Polyak's length."""
        owner, form, ends = self.owner, self.owner.form, self.ends
        n = owner.inputs
        found = np.zeros((owner.size, point.shape[1]))
        found[:n] = point
        slopes: list[tuple[Array, Array]] = []
        scales: list[tuple[Array, Array]] = []
        for block, stack, line, flow in zip(form.blocks, self.stacks, self.lines, self.flow, strict=True):
            arguments = block.rows.of(found, self.boxes.origin)
            parts = arguments.reshape(block.arguments, block.count, -1)
            found[block.atoms] = line.at(parts)
            weight, reach = self.weights[block.atoms], stack.reach()
            if block.op == "mul":
                reach = stack.ease(weight, 0.1 * self.spread)
            pull = np.where(line.free, weight * stack.pull(parts, weight) * reach, 0.0)
            pull = stack.allowed(np.where(np.isfinite(pull), pull, 0.0))
            scale = np.abs(flow + self.press[block.places]) + PRESS * self.spread / ends.row_span[block.places]
            slopes.append((pull, self._away(block, arguments) * scale))
            scales.append((reach, scale))
        step = self._deflected(slopes, missing)
        for block, stack, (reach, scale), (pull, away) in zip(
            form.blocks, self.stacks, scales, self._direction, strict=True
        ):
            here = slice(block.first - n, block.first - n + block.count)
            self.touch[:, here] = stack.kept(self.touch[:, here] + step * pull * reach)
            had = self.press[block.places]
            now = had + step * away * scale
            self.press[block.places] = np.where(had * now < 0, 0.0, now)

    def _deflected(self, slopes: list[tuple[Array, Array]], missing: Array) -> Array:
        """Turn the direction away from the last one where they oppose, and return the step length (nbox,).

        P. M. Camerini, L. Fratta, F. Maffioli (1975): slope + β·last direction with β = −1.5·cos where cos < 0.
        """
        if self._direction:
            dot, size = (_inner(slopes, self._direction), _inner(self._direction, self._direction))
            turn = 1.5 * np.maximum(-dot, 0.0) / np.maximum(size, 1e-300)
            pairs = zip(slopes, self._direction, strict=True)
            self._direction = [(g[0] + turn * d[0], g[1] + turn * d[1]) for g, d in pairs]
        else:
            self._direction = slopes
        return np.maximum(missing, 0.0) / np.maximum(_inner(self._direction, self._direction), 1e-300)

    def _away(self, block: Block, arguments: Array) -> Array:
        """Return the slope of the bound by the pressures: how far the arguments are beyond the end that presses."""
        low, high = self.ends.row_low[block.places], self.ends.row_high[block.places]
        press = self.press[block.places]
        free = np.maximum(low - arguments, 0.0) + np.minimum(high - arguments, 0.0)
        away = np.where(press > 0, low - arguments, np.where(press < 0, high - arguments, free))
        away = np.where(self.ends.cut_low[block.places], away, np.minimum(away, 0.0))
        away = np.where(self.ends.cut_high[block.places], away, np.maximum(away, 0.0))
        return np.where(np.isfinite(away), away, 0.0)

    def losses(self, arguments: Array) -> Array:
        """Return (atoms, nbox): what each atom's line loses at given arguments, weighted by its coefficient.

        Arguments outside the box are put on its edge; a line that is free to touch there counts little.
        """
        n = self.owner.inputs
        loss = np.zeros((self.owner.atoms, arguments.shape[1]))
        held = np.clip(arguments, self.ends.row_low, self.ends.row_high)
        for block, line in zip(self.owner.form.blocks, self.lines, strict=True):
            parts = held[block.places].reshape(block.arguments, block.count, -1)
            with np.errstate(all="ignore"):
                lost = self.weights[block.atoms] * (atom_value(block.op, parts, block.power) - line.at(parts))
            free = line.free & (block.op != "mul")
            loss[block.first - n : block.first - n + block.count] = np.where(free, 1e-3 * lost, lost)
        return loss
