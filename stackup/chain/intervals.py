"""Intervals of every operation: what a value may be where its arguments lie in intervals, outward rounded.

Where an argument leaves the domain (a root of a negative number) only the part inside the domain counts: the
program has no value elsewhere.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np

Array = Any
Interval = tuple[Array, Array]

EPS = float(np.finfo(float).eps)
#: rounding of elementary functions, in units of the last place
_ULPS = 4.0
_TINY = 1e-300
_HALF_PI = np.pi / 2


def interval(op: str, args: Sequence[Interval], power: float = 0.0) -> Interval:
    """Return the outward rounded interval of an operation over the intervals of its arguments."""
    with np.errstate(all="ignore"):
        lo, hi = _INTERVALS[op](*args) if op != "power" else _power(args[0], power)
    lo, hi = np.where(np.isnan(lo), -np.inf, lo), np.where(np.isnan(hi), np.inf, hi)
    slack = _ULPS * EPS
    return lo - (np.abs(lo) * slack + _TINY), hi + (np.abs(hi) * slack + _TINY)


def products(a: Interval, b: Interval) -> Interval:
    """Return the interval of a·b."""
    corners = [x * y for x in a for y in b]
    return np.minimum.reduce(corners), np.maximum.reduce(corners)


def quotients(a: Interval, b: Interval) -> Interval:
    """Return the interval of a/b, everything where b may be zero."""
    spans = (b[0] <= 0) & (b[1] >= 0)
    safe = (np.where(spans, 1.0, b[0]), np.where(spans, 1.0, b[1]))
    corners = [x / y for x in a for y in safe]
    lo, hi = np.minimum.reduce(corners), np.maximum.reduce(corners)
    return np.where(spans, -np.inf, lo), np.where(spans, np.inf, hi)


def magnitude(a: Interval) -> Interval:
    """Return the interval of |a|."""
    least = np.maximum(np.maximum(a[0], -a[1]), 0.0)
    return least, np.maximum(np.abs(a[0]), np.abs(a[1]))


def square(a: Interval) -> Interval:
    """Return the interval of a²."""
    least, most = magnitude(a)
    return least * least, most * most


def hypot(a: Interval, b: Interval) -> Interval:
    """Return the interval of √(a² + b²)."""
    (a0, a1), (b0, b1) = magnitude(a), magnitude(b)
    return np.sqrt(a0 * a0 + b0 * b0), np.sqrt(a1 * a1 + b1 * b1)


def leg(a: Interval, b: Interval) -> Interval:
    """Return the interval of √greatest(a² − b², 0), wide enough for the rounding of either square."""
    (a0, a1), (b0, b1) = magnitude(a), magnitude(b)
    slack = 2 * _ULPS * EPS * a1 * a1
    return _root((a0 - b1) * (a0 + b1) - slack), _root((a1 - b0) * (a1 + b0) + slack)


def holds(a: Interval, place: float, period: float = 2 * np.pi) -> Array:
    """Return where the interval holds place + k·period, with a margin for rounding."""
    margin = 1e-9 * (1.0 + np.maximum(np.abs(a[0]), np.abs(a[1])))
    return ~(np.floor((a[1] + margin - place) / period) < np.ceil((a[0] - margin - place) / period))


def _wave(function: Callable[[Array], Array], peak: float) -> Callable[[Interval], Interval]:
    """Return the rule of sin or cos: ±1 where a crest (``peak`` + 2πk) or a trough lies inside."""

    def rule(a: Interval) -> Interval:
        ends = function(a[0]), function(a[1])
        hi = np.where(holds(a, peak), 1.0, np.maximum(*ends))
        return np.where(holds(a, peak + np.pi), -1.0, np.minimum(*ends)), hi

    return rule


def tangent(a: Interval) -> Interval:
    """Return the interval of tan a, everything where a pole lies inside."""
    pole = holds(a, _HALF_PI, np.pi)
    return np.where(pole, -np.inf, np.tan(a[0])), np.where(pole, np.inf, np.tan(a[1]))


def _rising(
    function: Callable[[Array], Array], least: float = -np.inf, most: float = np.inf
) -> Callable[[Interval], Interval]:
    """Return the rule of a rising function of the domain [least, most]."""
    return lambda a: (function(np.clip(a[0], least, most)), function(np.clip(a[1], least, most)))


def _falling(a: Interval) -> Interval:
    return np.arccos(np.clip(a[1], -1.0, 1.0)), np.arccos(np.clip(a[0], -1.0, 1.0))


def _arctan2(a: Interval, b: Interval) -> Interval:
    cut = (b[0] <= 0) & (a[0] <= 0) & (a[1] >= 0)
    corners = [np.arctan2(y, x) for y in a for x in b]
    lo, hi = np.minimum.reduce(corners), np.maximum.reduce(corners)
    return np.where(cut, -np.pi, lo), np.where(cut, np.pi, hi)


def _power(a: Interval, power: float) -> Interval:
    return np.maximum(a[0], 0.0) ** power, np.maximum(a[1], 0.0) ** power


def _root(x: Array) -> Array:
    return np.sqrt(np.maximum(x, 0.0))


_INTERVALS: dict[str, Callable[..., Interval]] = {
    "add": lambda a, b: (a[0] + b[0], a[1] + b[1]),
    "sub": lambda a, b: (a[0] - b[1], a[1] - b[0]),
    "neg": lambda a: (-a[1], -a[0]),
    "mul": products,
    "div": quotients,
    "inverse": lambda a: quotients((np.ones_like(a[0]), np.ones_like(a[1])), a),
    "square": square,
    "magnitude": magnitude,
    "length": hypot,
    "leg": leg,
    "least": lambda a, b: (np.minimum(a[0], b[0]), np.minimum(a[1], b[1])),
    "greatest": lambda a, b: (np.maximum(a[0], b[0]), np.maximum(a[1], b[1])),
    "ramp": lambda a: (np.maximum(a[0], 0.0), np.maximum(a[1], 0.0)),
    "root": _rising(_root),
    "sqrt": _rising(_root),
    "sin": _wave(np.sin, _HALF_PI),
    "cos": _wave(np.cos, 0.0),
    "tan": tangent,
    "asin": _rising(np.arcsin, -1.0, 1.0),
    "acos": _falling,
    "atan": _rising(np.arctan),
    "exp": _rising(np.exp),
    "log": _rising(np.log, 0.0),
    "atan2": _arctan2,
}


def slope_range(op: str, a: Interval) -> Interval:
    """Return the interval of the derivative of a function of one argument (everything where unknown)."""
    match op:
        case "sin":
            return interval("cos", [a])
        case "cos":
            s = interval("sin", [a])
            return -s[1], -s[0]
        case "tan":
            t = square(tangent(a))
            return 1.0 + t[0], 1.0 + t[1]
        case "atan":
            s = square(a)
            return 1.0 / (1.0 + s[1]), 1.0 / (1.0 + s[0])
        case "asin" | "acos":
            s = square((np.clip(a[0], -1, 1), np.clip(a[1], -1, 1)))
            ends = 1.0 / np.sqrt(1.0 - s[0]), 1.0 / np.sqrt(1.0 - s[1])
            return ends if op == "asin" else (-ends[1], -ends[0])
    return np.full_like(a[0], -np.inf), np.full_like(a[1], np.inf)


def curvature(op: str, a: Interval, power: float = 0.0) -> Array:
    """Return +1 where a function of one argument is convex on the interval, −1 where concave, else 0."""
    lo, hi = a
    match op:
        case "square" | "exp" | "ramp":
            return np.ones_like(lo)
        case "inverse":
            return np.where(lo > 0, 1.0, np.where(hi < 0, -1.0, 0.0))
        case "sqrt" | "log":
            return -np.ones_like(lo)
        case "power":
            return np.full_like(lo, 1.0 if power > 1 else -1.0)
        case "tan" if np.any(pole := holds(a, _HALF_PI, np.pi)):
            return np.where(pole, 0.0, _bend_of_cell(a))
        case "tan":
            return _bend_of_cell(a)
        case "asin" | "atan" | "acos":
            bend = np.where(lo >= 0, 1.0, np.where(hi <= 0, -1.0, 0.0))
            return bend if op == "asin" else -bend
        case "sin" | "cos":
            # concave between two zeros where it is positive; an end at a zero counts as outside
            first, last = (lo, hi) if op == "sin" else (lo + _HALF_PI, hi + _HALF_PI)
            cell = np.floor(first / np.pi)
            same = (cell == np.floor(last / np.pi)) & ~holds(a, 0.0 if op == "sin" else _HALF_PI, np.pi)
            return np.where(same, np.where(np.mod(cell, 2) == 0, -1.0, 1.0), 0.0)
    return np.zeros_like(lo)


def _bend_of_cell(a: Interval) -> Array:
    """Return the sign of tan on an interval without pole: convex where positive."""
    t = np.tan(a[0]), np.tan(a[1])
    return np.where(t[0] >= 0, 1.0, np.where(t[1] <= 0, -1.0, 0.0))
