"""Lines below and above every kind of atom over a box: what the backward pass of ``bounds.py`` puts in its place.

All work on stacks (count, nbox).  ``weight`` is the coefficient of the atom: where it is positive the line lies
nowhere above the atom, elsewhere nowhere below.  ``touch`` is the place where a line touches when it may touch
anywhere, (2, count, nbox): the argument of a tangent; the slope (0…1) of a line below a ramp; both slopes of a
line below a length, a vector no longer than 1.  Any value of it gives a bound; ``pull`` is the derivative of the
line by it at a given point.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from stackup.chain.intervals import Interval, curvature, quotients, slope_range, square
from stackup.chain.operations import slopes, value

Array = Any

_HALF_PI = np.pi / 2
#: widest half-angle of a sector that bounds a length
_WIDEST = 1.2
#: greatest |b|/a where a line touches a leg √(a² − b²) from above
STEEPEST = 0.9999


@dataclass(frozen=True)
class Line:
    """slope·arguments + offset, by argument; ``free`` tells where ``touch`` matters."""

    slopes: tuple[Array, ...]
    offset: Array
    free: Array

    def at(self, parts: Array) -> Array:
        """Return the line's value at arguments (arguments, count, nbox)."""
        total = self.offset
        for slope, part in zip(self.slopes, parts, strict=True):
            total = total + slope * part
        return total


@dataclass(frozen=True)
class Stack:
    """Atoms of one block over boxes: intervals of arguments and atoms, touching places, sectors, references."""

    op: str
    power: float
    arguments: tuple[Interval, ...]
    result: Interval
    touch: Array
    sector: Interval
    near: Array

    def line(self, weight: Array) -> Line:
        """Return the line for every atom and box."""
        with np.errstate(all="ignore"):
            match self.op:
                case "ramp":
                    found = self._ramp(weight)
                case "root":
                    found = self._root(weight)
                case "length":
                    found = self._length(weight)
                case "mul":
                    found = self._product(weight)
                case "leg":
                    found = self._leg(weight)
                case "atan2":
                    found = self._surface(weight)
                case _:
                    found = self._curve(weight)
            return self._safe(found, weight)

    def _safe(self, line: Line, weight: Array) -> Line:
        """Fall back on the atom's interval where a line does not exist."""
        good = np.isfinite(line.offset)
        for slope in line.slopes:
            good &= np.isfinite(slope)
        if np.all(good):
            return line
        constant: Array = np.where(weight > 0, *self.result)
        slopes_ = tuple(np.where(good, slope, 0.0) for slope in line.slopes)
        return Line(slopes_, np.where(good, line.offset, constant), line.free & good)

    def pull(self, parts: Array, weight: Array) -> Array:
        """Return the derivative (2, count, nbox) of a free line's value by ``touch`` at given arguments."""
        pull = np.zeros_like(self.touch)
        if self.op == "length":
            pull[:] = parts
            return pull
        if self.op == "ramp":
            pull[0] = parts[0] - self._hinge()
            return pull
        if self.op == "mul":
            pull[0] = self._mixed(parts, weight)
            return pull
        if self.op == "leg":
            lean, swell = self._lean()
            above = lean * swell**3 * (parts[0] - lean * parts[1]) - swell * parts[1]
            pull[0] = np.where(weight > 0, 0.0, above)
            pull[1] = np.where(weight > 0, self._chord()[0] * parts[1] + self._chord()[1], 0.0)
            return pull
        at = self._place()
        with np.errstate(all="ignore"):
            pull[0] = _bend(self.op, at, self.power) * (parts[0] - at)
        return pull

    def reach(self) -> Array:
        """Return by how much ``touch`` may sensibly move."""
        if self.op in ("ramp", "length", "mul", "leg"):
            return np.ones_like(self.touch[0])
        return self.arguments[0][1] - self.arguments[0][0]

    def ease(self, weight: Array, spread: Array) -> Array:
        """Return how much farther than others the mix of a product may move: its effect is small, Δa·Δb."""
        (a0, a1), (b0, b1) = self.arguments
        effect = np.abs(weight) * (a1 - a0) * (b1 - b0)
        return np.clip(np.sqrt(spread / np.maximum(effect, 1e-300)), 1.0, 100.0)

    def allowed(self, pull: Array) -> Array:
        """Return the part of ``pull`` that does not lead straight out of the range of ``touch``."""
        if self.op == "length":
            outward = np.maximum(pull[0] * self.touch[0] + pull[1] * self.touch[1], 0.0)
            size = self.touch[0] * self.touch[0] + self.touch[1] * self.touch[1]
            return pull - np.where(size > 1.0 - 1e-9, outward, 0.0) * self.touch
        step = np.sign(pull) * 1e-9 * self.reach()
        return np.where(self.kept(self.touch + step) == self.touch, 0.0, pull)

    def kept(self, touch: Array) -> Array:
        """Return ``touch`` inside its range."""
        if self.op in ("ramp", "mul"):
            return np.clip(touch, 0.0, 1.0)
        if self.op == "length":
            return touch / np.maximum(1.0, np.sqrt(touch[0] * touch[0] + touch[1] * touch[1]))
        if self.op == "leg":
            return np.stack((np.clip(touch[0], -STEEPEST, STEEPEST), np.clip(touch[1], 0.0, 1.0)))
        return np.clip(touch, *self.arguments[0])

    def _place(self) -> Array:
        """Return where a tangent touches: inside the interval, and off a vertical one."""
        lo, hi = self.arguments[0]
        at = np.clip(self.touch[0], lo, hi)
        if self.op in ("sqrt", "log", "power", "root"):
            at = np.maximum(at, 1e-6 * np.maximum(hi, 1e-12))
        if self.op == "root":
            at = np.maximum(at, -lo)
        return at

    def _ramp(self, weight: Array) -> Line:
        """greatest(z, 0): below by any slope between 0 and 1, above by the secant.

        Where the box leaves only one side of the kink the ramp is linear, and its slope the best of all lines.  Below,
        other slopes stay allowed, about the end of the box nearest to the kink: they stand for that end's pressure, and
        a part of a box begins with the line of the whole.
        """
        lo, hi = self.arguments[0]
        over, under, hinge = lo >= 0, hi <= 0, self._hinge()
        rise = np.where(over, 1.0, np.where(under, 0.0, hi / np.where(hi > lo, hi - lo, 1.0)))
        free = weight > 0
        slope = np.where(free, np.clip(self.touch[0], 0.0, 1.0), rise)
        offset = np.where(free, np.maximum(hinge, 0.0) - slope * hinge, np.where(over | under, 0.0, -rise * lo))
        return Line((slope,), offset, free)

    def _hinge(self) -> Array:
        """Return the argument nearest to 0."""
        lo, hi = self.arguments[0]
        return np.clip(0.0, lo, hi)

    def _root(self, weight: Array) -> Line:
        """√greatest(z, 0): above by tangents that pass over (least, 0), below by the chord from the zero."""
        lo, hi = self.arguments[0]
        at = self._place()
        y = np.sqrt(at)
        left, right = np.sqrt(np.maximum(lo, 0.0)), np.sqrt(np.maximum(hi, 0.0))
        fits = at <= hi
        above = np.where(fits, 0.5 / y, right / np.where(hi > lo, hi - lo, 1.0))
        above_offset = np.where(fits, 0.5 * y, -above * lo)
        start = np.maximum(lo, 0.0)
        chord = np.where(hi > start, (right - left) / np.where(hi > start, hi - start, 1.0), 0.0)
        # the chord from the zero lies below where z < 0 too: there it is negative
        below_offset = left - chord * start
        dead = hi <= 0
        slope = np.where(dead, 0.0, np.where(weight > 0, chord, above))
        offset = np.where(dead, 0.0, np.where(weight > 0, below_offset, above_offset))
        return Line((slope,), offset, (weight <= 0) & fits & ~dead)

    def _curve(self, weight: Array) -> Line:
        """Bound by tangent or secant where the curvature has one sign, else by the mean slope."""
        lo, hi = self.arguments[0]
        if self.op in ("sqrt", "log", "power"):
            lo, hi = np.maximum(lo, 0.0), np.maximum(hi, 0.0)
        bend = curvature(self.op, (lo, hi), self.power)
        at = self._place()
        y, tangent = graph(self.op, at, self.power)
        left, right = (graph(self.op, end, self.power)[0] for end in (lo, hi))
        secant = np.where(hi > lo, (right - left) / np.where(hi > lo, hi - lo, 1.0), tangent)
        touching = bend * weight > 0
        slope = np.where(touching, tangent, secant)
        ends = left - secant * lo, right - secant * hi
        offset = np.where(touching, y - tangent * at, np.where(weight > 0, np.minimum(*ends), np.maximum(*ends)))
        if np.any(bend == 0):
            mean, shifted = self._wavy(weight)
            slope, offset = np.where(bend == 0, mean, slope), np.where(bend == 0, shifted, offset)
        return Line((slope,), offset, touching)

    def _wavy(self, weight: Array) -> tuple[Array, Array]:
        """f ∈ f(c) + s(x − c) ± half range of f' times half width, c the middle and s the mean slope."""
        lo, hi = self.arguments[0]
        middle, half = 0.5 * (lo + hi), 0.5 * (hi - lo)
        ends = slope_range(self.op, (lo, hi))
        mean, spread = 0.5 * (ends[0] + ends[1]), 0.5 * (ends[1] - ends[0])
        base = graph(self.op, middle, self.power)[0] - mean * middle
        return mean, base - np.where(weight > 0, 1.0, -1.0) * spread * half

    def _surface(self, weight: Array) -> Line:
        """Bound f(a, b) about the reference point, one argument after the other."""
        a, b = self.arguments
        a0, b0 = np.clip(self.near[0], *a), np.clip(self.near[1], *b)
        ranges = atan2_slopes(a, b)
        offset = value(self.op, [a0, b0]) + np.zeros_like(weight)
        found = []
        for at, (s0, s1), (lo, hi) in zip((a0, b0), ranges, (a, b), strict=True):
            slope, lost = _fan(s0, s1, lo - at, hi - at, weight)
            found.append(slope)
            offset = offset - slope * at + lost
        return Line(tuple(found), offset, np.zeros(np.shape(offset), dtype=bool))

    def _product(self, weight: Array) -> Line:
        """a·b by the two planes through three corners of its box each (G. P. McCormick, 1976), in any mix."""
        (a0, a1), (b0, b1) = self.arguments
        below = weight > 0
        first = np.where(below, a0, a1), b0
        second = np.where(below, a1, a0), b1
        # the plane at a corner (p, q) is p·b + q·a − p·q
        level = [p * self.near[1] + q * self.near[0] - p * q for p, q in (first, second)]
        tighter = np.where(below, level[0] > level[1], level[0] < level[1])
        unset = np.isnan(self.touch[0])
        np.copyto(self.touch[0], np.where(tighter, 1.0, 0.0), where=unset)
        mix = np.clip(self.touch[0], 0.0, 1.0)
        rest = 1.0 - mix
        slope = mix * first[1] + rest * second[1], mix * first[0] + rest * second[0]
        offset = -mix * first[0] * first[1] - rest * second[0] * second[1]
        return Line(slope, offset, np.ones(np.shape(offset), dtype=bool))

    def _mixed(self, parts: Array, weight: Array) -> Array:
        """Return how far the first plane of a product lies above the second at given arguments."""
        (a0, a1), (b0, b1) = self.arguments
        p: Array = np.where(weight > 0, a0, a1)
        r: Array = np.where(weight > 0, a1, a0)
        return (p - r) * parts[1] + (b0 - b1) * parts[0] - p * b0 + r * b1

    def _lean(self) -> tuple[Array, Array]:
        """Return where a plane touches a leg from above, as b/a, and 1/√(1 − (b/a)²)."""
        lean = np.clip(self.touch[0], -STEEPEST, STEEPEST)
        return lean, 1.0 / np.sqrt(1.0 - lean * lean)

    def _chord(self) -> tuple[Array, Array]:
        """Return slope and offset of a line in b below √greatest(a₀² − b², 0), a₀ the least a.

        The root is concave up to b = ±a₀ and zero beyond: the chord between the ends of what lies inside is below
        it there, and beyond where it falls outwards; where it does not, or a may vanish, the line is zero.
        """
        (a, _), (b0, b1) = self.arguments
        a = np.maximum(a, 0.0)
        left, right = np.maximum(b0, -a), np.minimum(b1, a)
        y0, y1 = (np.sqrt(np.maximum((a - b) * (a + b), 0.0)) for b in (left, right))
        slope = np.where(right > left, (y1 - y0) / np.where(right > left, right - left, 1.0), 0.0)
        good = (right > left) & ((left <= b0) | (slope >= 0)) & ((right >= b1) | (slope <= 0))
        good |= (b0 >= -a) & (b1 <= a) & (right <= left)
        return np.where(good, slope, 0.0), np.where(good, np.minimum(y0 - slope * left, y1 - slope * right), 0.0)

    def _leg(self, weight: Array) -> Line:
        """√greatest(a² − b², 0): above by a plane through the zero, below by a chord in b that rises with a."""
        (a0, a1), (b0, b1) = self.arguments
        lean, swell = self._lean()
        least = np.minimum.reduce([swell * (a0 - lean * b) for b in (b0, b1)])
        slope, offset = self._chord()
        inside = (a0 >= 0) & (b0 >= -a0) & (b1 <= a0)
        # ∂/∂a = a/√(a² − b²) is least where a is greatest and b nearest to zero
        near = np.maximum(np.maximum(b0, -b1), 0.0)
        rise = np.where(inside, a1 / np.sqrt(np.maximum((a1 - near) * (a1 + near), 1e-300)), 0.0)
        unset = np.isnan(self.touch[1])
        np.copyto(self.touch[1], np.where(slope * self.near[1] + offset > 0, 1.0, 0.0), where=unset)
        mix = np.where(inside, 1.0, np.clip(self.touch[1], 0.0, 1.0))
        below = weight > 0
        by_a, by_b = np.where(below, rise, swell), np.where(below, mix * slope, -swell * lean)
        lines = np.where(below, mix * offset - rise * a0, np.maximum(-least, 0.0))
        # above needs a ≥ 0: there the leg is no more than the plane, or zero
        signed = ~below & (a0 < 0)
        slopes_ = np.where(signed, 0.0, by_a), np.where(signed, 0.0, by_b)
        return Line(slopes_, np.where(signed, self.result[1], lines), (below & ~inside) | (~below & ~signed))

    def _length(self, weight: Array) -> Line:
        """√(a² + b²): below by any direction; above by its sector, or by a tangent lifted over the corners."""
        size = np.sqrt(self.touch[0] * self.touch[0] + self.touch[1] * self.touch[1])
        below = self.touch / np.maximum(1.0, size)
        start, end = self.sector
        half, middle = 0.5 * (end - start), 0.5 * (start + end)
        narrow = half < _WIDEST
        stretch = 1.0 / np.cos(np.minimum(half, _WIDEST))
        lift, flat = self._corner_lift()
        most = self.result[1]
        by_sector = narrow & (most * (stretch - 1.0) < lift)
        constant = ~by_sector & (lift > most)
        turned = np.cos(middle) * stretch, np.sin(middle) * stretch
        over = [np.where(constant, 0.0, np.where(by_sector, u, f)) for u, f in zip(turned, flat, strict=True)]
        above = np.where(by_sector, 0.0, np.where(constant, most, lift))
        with_us = weight > 0
        slope = tuple(np.where(with_us, s, o) for s, o in zip(below, over, strict=True))
        return Line(slope, np.where(with_us, 0.0, above), with_us)

    def _corner_lift(self) -> tuple[Array, tuple[Array, Array]]:
        """Return how far the tangent at the middle must be lifted to lie above the length, and its slopes.

        A convex function less a linear one is greatest at a corner of the box; the tangent of a length goes
        through the origin, so the lift is the whole offset.
        """
        a, b = self.arguments
        am, bm = 0.5 * (a[0] + a[1]), 0.5 * (b[0] + b[1])
        size = np.sqrt(am * am + bm * bm)
        inverse = np.divide(1.0, size, out=np.zeros_like(size), where=size > 1e-12)
        sa, sb = am * inverse, bm * inverse
        corners = [np.sqrt(x * x + y * y) - sa * x - sb * y for x in a for y in b]
        return np.maximum.reduce(corners), (sa, sb)


def graph(op: str, at: Array, power: float) -> tuple[Array, Array]:
    """Return value and derivative of an atom of one argument."""
    if op == "inverse":
        y = 1.0 / at
        return y, -y * y
    y = value(op, [at], power)
    return y, np.broadcast_to(slopes(op, [at], y, power)[0], np.shape(at))


def _bend(op: str, at: Array, power: float) -> Array:  # noqa: PLR0911 - one return per operation
    """Return the second derivative of a function of one argument."""
    match op:
        case "square":
            return np.full_like(at, 2.0)
        case "inverse":
            return 2.0 / at**3
        case "sqrt" | "root":
            return -0.25 * at**-1.5
        case "exp":
            return np.exp(at)
        case "log":
            return -1.0 / (at * at)
        case "power":
            return power * (power - 1.0) * at ** (power - 2.0)
        case "sin" | "cos":
            return -value(op, [at])
        case "tan":
            t = np.tan(at)
            return 2.0 * t * (1.0 + t * t)
        case "atan":
            return -2.0 * at / (1.0 + at * at) ** 2
        case "asin":
            return at / (1.0 - at * at) ** 1.5
        case "acos":
            return -at / (1.0 - at * at) ** 1.5
    return np.zeros_like(at)


def _fan(s0: Array, s1: Array, left: Array, right: Array, weight: Array) -> tuple[Array, Array]:
    """Bound s·d for s ∈ [s0, s1] and d ∈ [left, right] (left ≤ 0 ≤ right) by a line in d through the secant.

    Below, s·d ≥ least of both lines, which is concave in d: its secant between the ends bounds it; above, the
    same with the greatest.  Returned are the slope and what is to be added.
    """
    from_left = np.where(weight > 0, s1, s0) * left
    from_right = np.where(weight > 0, s0, s1) * right
    width = right - left
    slope = np.where(width > 0, (from_right - from_left) / np.where(width > 0, width, 1.0), 0.5 * (s0 + s1))
    return slope, from_left - slope * left


def atan2_slopes(a: Interval, b: Interval) -> tuple[Interval, Interval]:
    """Return the intervals of ∂atan2(a, b)/∂a = b/(a²+b²) and ∂/∂b = −a/(a²+b²); unbounded across the cut."""
    cut = (b[0] <= 0) & (a[0] <= 0) & (a[1] >= 0)
    sa, sb = square(a), square(b)
    squares = np.where(cut, 0.0, sa[0] + sb[0]), sa[1] + sb[1]
    return quotients(b, squares), quotients((-a[1], -a[0]), squares)
