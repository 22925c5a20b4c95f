"""Where a least value can lie: first-order conditions over boxes.

At a point x* where a function is least over the whole region, its generalised gradient (F. H. Clarke, 1983) cannot
point into the region: an interval that the function rises along is at its low end, one that it falls along at its
high end, and a disc's vector stands on the rim, opposite to the gradient.  The gradient at x* lies in what intervals
carried backwards give over any box that holds x*.  So a box may be narrowed to its part where the conditions can
hold; where none is left the least value lies elsewhere.

At a kink all slopes between both sides count, with one exception: where a function falls with greatest(z, 0) or
with a length |v|, it lies near x* nowhere above the function with z (or 0) or u·v in their place, u the direction
of v, and agrees with it at x*.  So x* is a least point of that one too, and its conditions hold as well.

All arrays are (count, nbox).
"""

from __future__ import annotations

from typing import Any

import numpy as np

from stackup.chain.forms import Block, Form
from stackup.chain.ground import Boxes
from stackup.chain.intervals import Interval, interval, products, quotients, slope_range
from stackup.chain.lines import atan2_slopes
from stackup.chain.region import Region

Array = Any

#: stands for unbounded, and keeps 0·∞ out of the products
HUGE = 1e150
#: slopes that rounding may have made, in parts of the greatest slope
SLACK = 1e-9
_EVERYTHING = -HUGE, HUGE


class Conditions:
    """First-order conditions of the least value of ``sign``·output over a region."""

    def __init__(self, form: Form, region: Region, sign: float) -> None:
        """Split the coefficients of all rows by sign."""
        self.form, self.region, self.sign = form, region, sign
        self._split = [
            (np.maximum(rows.matrix, 0.0), np.minimum(rows.matrix, 0.0))
            for rows in (*(block.rows for block in form.blocks), form.root)
        ]

    def narrow(self, boxes: Boxes, row_low: Array, row_high: Array) -> Array:
        """Narrow inputs and arcs of ``boxes`` to where the least value can be; return the boxes that cannot hold it.

        ``row_low`` and ``row_high`` are the intervals of all arguments over the boxes.
        """
        low, high = (end[: len(self.form.inputs)] for end in self._gradient(boxes, row_low, row_high))
        void = self._narrow_discs(boxes, low, high)
        return void | self._narrow_singles(boxes, low, high)

    def _gradient(self, boxes: Boxes, row_low: Array, row_high: Array) -> Interval:
        """Return the intervals of the gradient by all variables, from the output backwards."""
        form, origin = self.form, boxes.origin
        seed = np.full((1, len(origin)), self.sign)
        low, high = self._back(self._split[-1], (seed, seed), origin)
        for block, split in zip(reversed(form.blocks), reversed(self._split[:-1]), strict=True):
            weight = low[block.atoms], high[block.atoms]
            shape = (block.arguments, block.count, len(origin))
            parts = list(zip(row_low[block.places].reshape(shape), row_high[block.places].reshape(shape), strict=True))
            with np.errstate(all="ignore"):
                flows = [products(weight, slope) for slope in self._slopes(block, parts, weight, boxes)]
            flow = tuple(np.clip(np.concatenate([f[k] for f in flows]), *_EVERYTHING) for k in (0, 1))
            more = self._back(split, (flow[0], flow[1]), origin)
            low, high = low + more[0], high + more[1]
        return low, high

    @staticmethod
    def _back(split: tuple[Array, Array], flow: Interval, origin: Array) -> Interval:
        up, down = split
        if len(up) == 1:
            return up[0].T @ flow[0] + down[0].T @ flow[1], up[0].T @ flow[1] + down[0].T @ flow[0]
        up, down = up[origin], down[origin]
        ends = [
            np.einsum("brv,rb->vb", up, one) + np.einsum("brv,rb->vb", down, other)
            for one, other in (flow, reversed(flow))
        ]
        return ends[0], ends[1]

    def _slopes(self, block: Block, parts: list[Interval], weight: Interval, boxes: Boxes) -> list[Interval]:
        """Return the intervals of the partial derivatives of a block's atoms."""
        falls = weight[1] < 0
        if block.op == "ramp":
            return [_ramp(parts[0], falls)]
        if block.op == "length":
            first = block.first - len(self.form.inputs)
            return _length(parts, falls, boxes.sector[:, first : first + block.count])
        return [_bounded(slope) for slope in _partials(block, parts)]

    def _narrow_singles(self, boxes: Boxes, low: Array, high: Array) -> Array:
        """Put inputs of one interval that the output rises or falls along to that end of the region."""
        region, which = self.region, self.region.single
        floor, top = region.low[which][:, boxes.origin], region.high[which][:, boxes.origin]
        slope = self._with_growth(low, high)
        margin = SLACK * np.maximum(np.abs(slope[0]), np.abs(slope[1]))
        rises, falls = slope[0] > margin, slope[1] < -margin
        own_low, own_high = np.maximum(boxes.low[which], floor), np.minimum(boxes.high[which], top)
        void = np.any((rises & (own_low > floor)) | (falls & (own_high < top)), axis=0)
        boxes.low[which] = np.where(falls, top, own_low)
        boxes.high[which] = np.where(rises, floor, own_high)
        return void

    def _with_growth(self, low: Array, high: Array) -> Interval:
        """Return the slopes by the single inputs; a size that lets a disc grow moves the disc's vector as well.

        At the rim the output changes by −|gradient| for every mm of radius.
        """
        slope = low.copy(), high.copy()
        for i in self.region.growing:
            disc = self.region.discs[i]
            place = self.region.place.get(str(disc.feature))
            if place is None:
                continue
            parts = [self.region.place[p] for p in (disc.r, disc.t) if p in self.region.place]
            steep = np.sqrt(sum(np.maximum(np.abs(low[p]), np.abs(high[p])) ** 2 for p in parts))
            slope[0][place] -= max(disc.slope, 0.0) * steep
            slope[1][place] -= min(disc.slope, 0.0) * steep
        return slope[0][self.region.single], slope[1][self.region.single]

    def _narrow_discs(self, boxes: Boxes, low: Array, high: Array) -> Array:
        """Put vectors on the arc opposite to what their gradient can be."""
        region, count = self.region, len(boxes.origin)
        nothing = np.zeros((1, count))  # for parts that the program does not need
        low, high = np.concatenate((low, nothing)), np.concatenate((high, nothing))
        corners = [(r, t) for r in (low[region.r], high[region.r]) for t in (low[region.t], high[region.t])]
        at = 0.5 * (low[region.r] + high[region.r]), 0.5 * (low[region.t] + high[region.t])
        size = np.sqrt(at[0] * at[0] + at[1] * at[1])
        inverse = np.divide(1.0, size, out=np.zeros_like(size), where=size > 0)
        u, v = at[0] * inverse, at[1] * inverse
        cosine = np.full(size.shape, np.inf)
        for r, t in corners:
            length = np.sqrt(r * r + t * t)
            along = np.divide(u * r + v * t, length, out=np.full_like(size, -1.0), where=length > 0)
            cosine = np.minimum(cosine, along)
        # only discs whose gradient cannot vanish: all corners in one half plane say so
        sure = (cosine > SLACK) & (size < 0.5 * HUGE)
        cosine = np.clip(cosine - SLACK, 0.0, 1.0)
        sine = np.sqrt(1.0 - cosine * cosine)
        had = boxes.arc
        # arcs farther apart than both their half-angles have nothing in common
        apart = had[0] * u + had[1] * v < had[2] * cosine - had[3] * sine - SLACK
        void: Array = np.any(sure & (had[2] > 0) & apart, axis=0)
        np.maximum(had[4], region.radius[:, boxes.origin] * (1.0 - SLACK), out=had[4], where=sure)
        region.turn(boxes, (u, v), cosine, sure)
        return void


def _ramp(z: Interval, falls: Array) -> Interval:
    """Return the slopes of greatest(z, 0); at a kink that the output falls with, those of the box's side."""
    over = (z[0] > 0) | (falls & (z[0] >= 0))
    under = (z[1] < 0) | (falls & (z[1] <= 0))
    return np.where(over, 1.0, 0.0), np.where(under, 0.0, 1.0)


def _length(parts: list[Interval], falls: Array, sector: Array) -> list[Interval]:
    """Return the slopes of √(a² + b²): the direction of (a, b), inside its sector where that may be used."""
    a, b = parts
    apart = (a[0] > 0) | (a[1] < 0) | (b[0] > 0) | (b[1] < 0)
    usable = (sector[1] - sector[0] < 6.0) & (falls | apart)
    found = []
    for one, other, op in ((a, b, "cos"), (b, a, "sin")):
        near = np.maximum(np.maximum(other[0], -other[1]), 0.0)
        far = np.maximum(np.abs(other[0]), np.abs(other[1]))
        ends = []
        for x, outward in ((one[0], one[0] < 0), (one[1], one[1] > 0)):
            beside = np.where(outward, near, far)
            size = np.sqrt(x * x + beside * beside)
            ends.append(np.divide(x, size, out=np.zeros_like(size), where=size > 0))
        low, high = np.where(apart, ends[0], -1.0), np.where(apart, ends[1], 1.0)
        less, more = interval(op, [(sector[0], sector[1])])
        low = np.where(usable, np.maximum(low, less), low)
        high = np.where(usable, np.minimum(high, more), high)
        found.append((np.minimum(low, high) - 1e-12, np.maximum(low, high) + 1e-12))
    return found


def _partials(block: Block, parts: list[Interval]) -> list[Interval]:  # noqa: PLR0911 - one return per operation
    """Return the slopes of an operation without kinks; unbounded where it may leave its domain."""
    x = parts[0]
    match block.op:
        case "mul":
            return [parts[1], parts[0]]
        case "square":
            return [(2.0 * x[0], 2.0 * x[1])]
        case "inverse":
            y = quotients((-np.ones_like(x[0]), -np.ones_like(x[1])), _square(x))
            return [_inside(y, (x[0] > 0) | (x[1] < 0))]
        case "root":
            # unbounded where z may be 0, but never falling
            rise = 0.5 / np.sqrt(np.maximum(x[1], 0.0)), 0.5 / np.sqrt(np.maximum(x[0], 0.0))
            return [(np.where(x[0] > 0, rise[0], 0.0), np.where(x[1] > 0, rise[1], 0.0))]
        case "leg":
            return _leg(parts)
        case "atan2":
            return list(atan2_slopes(*parts))
        case "sqrt":
            return [_inside((0.5 / np.sqrt(x[1]), 0.5 / np.sqrt(np.maximum(x[0], 0.0))), x[0] > 0)]
        case "log":
            return [_inside((1.0 / x[1], 1.0 / x[0]), x[0] > 0)]
        case "exp":
            return [interval("exp", [x])]
        case "power":
            ends = [block.power * np.maximum(end, 0.0) ** (block.power - 1.0) for end in x]
            return [_inside((np.minimum(*ends), np.maximum(*ends)), x[0] > 0)]
        case "asin" | "acos":
            return [_inside(slope_range(block.op, x), (x[0] > -1) & (x[1] < 1))]
    return [slope_range(block.op, x)]


def _leg(parts: list[Interval]) -> list[Interval]:
    """Return the slopes of √greatest(a² − b², 0) by a ≥ 0 and by b; with q = b/a they are 1/√(1 − q²), −q/√(1 − q²)."""
    a, b = parts
    positive = a[0] > 0
    inside = positive & (b[0] > -a[0]) & (b[1] < a[0])
    q = quotients(b, (np.where(positive, a[0], 1.0), np.where(positive, a[1], 1.0)))
    tangent = [end / np.sqrt(np.maximum((1.0 - end) * (1.0 + end), 1e-300)) for end in q]
    near = np.maximum(np.maximum(q[0], -q[1]), 0.0)
    far = np.maximum(np.abs(q[0]), np.abs(q[1]))
    steep = [1.0 / np.sqrt(np.maximum((1.0 - end) * (1.0 + end), 1e-300)) for end in (near, far)]
    rises, falls = a[0] >= 0, a[1] <= 0
    by_a = (
        np.where(inside, steep[0], np.where(rises, 0.0, -HUGE)),
        np.where(inside, steep[1], np.where(falls, 0.0, HUGE)),
    )
    by_b = (
        np.where(inside, -tangent[1], np.where(b[1] <= 0, 0.0, -HUGE)),
        np.where(inside, -tangent[0], np.where(b[0] >= 0, 0.0, HUGE)),
    )
    return [by_a, by_b]


def _square(x: Interval) -> Interval:
    return interval("square", [x])


def _inside(slope: Interval, domain: Array) -> Interval:
    """Return the slopes where the argument stays inside the domain, unbounded elsewhere."""
    return np.where(domain, slope[0], -HUGE), np.where(domain, slope[1], HUGE)


def _bounded(slope: Interval) -> Interval:
    """Return slopes without infinities, a little outward."""
    low, high = (
        np.nan_to_num(end, nan=worst, posinf=HUGE, neginf=-HUGE) for end, worst in zip(slope, _EVERYTHING, strict=True)
    )
    return low - 1e-14 * np.abs(low), high + 1e-14 * np.abs(high)
