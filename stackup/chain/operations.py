"""What each operation of a program does: its value, its first and its second derivatives.

One table for all walkers: arrays, adjoints and jets read it here; ``bounds.py`` adds what is true over a
whole interval.  At a kink the derivative of one of the sides is taken.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np

from stackup.chain import whole

Array = Any
Value = Callable[..., Array]


def _length(a: Array, b: Array, out: Array | None = None, room: Array | None = None) -> Array:
    squares = np.add(np.multiply(a, a, out=out), np.multiply(b, b, out=room), out=out)
    return np.sqrt(squares, out=out)


def _sine(a: Array, out: Array | None = None, room: Array | None = None) -> Array:
    """Return 2t/(1 + t²), t = tan(a/2), good to 1e-16: numpy's tan is vectorised, its sin takes twice all of this."""
    t = np.tan(np.multiply(a, 0.5, out=out), out=out)
    below = np.add(np.square(t, out=room), 1.0, out=room)
    return np.divide(np.add(t, t, out=out), below, out=out)


def _reciprocal_of(length: Array) -> Array:
    return np.divide(1.0, length, out=np.zeros_like(length), where=length > 0)


VALUES: dict[str, Value] = {
    "neg": np.negative,
    "square": np.square,
    "sqrt": np.sqrt,
    "sin": _sine,
    "cos": np.cos,
    "tan": np.tan,
    "asin": np.arcsin,
    "acos": np.arccos,
    "atan": np.arctan,
    "exp": np.exp,
    "log": np.log,
    "magnitude": np.abs,
    "add": np.add,
    "sub": np.subtract,
    "mul": np.multiply,
    "div": np.divide,
    "least": np.minimum,
    "greatest": np.maximum,
    "atan2": np.arctan2,
    "length": _length,
}
#: operations of several strokes, which take ``room`` of the result's shape beside ``out``
ROOMY = frozenset({"length", "sin"})


def value(op: str, args: Sequence[Array], power: Any = 0.0) -> Array:
    """Return the value of an operation on arrays that broadcast."""
    if op == "power":
        return np.power(args[0], power)
    if op == whole.POSED:
        return whole.value(args, power)
    return VALUES[op](*args)


def on_numbers(op: str, args: Sequence[float], power: Any = 0.0) -> float:
    """Return the value of an operation on plain numbers (NaN or infinity where there is none)."""
    with np.errstate(all="ignore"):
        return float(value(op, [np.float64(a) for a in args], power))


def _slope_length(a: Array, b: Array, y: Array) -> tuple[Array, Array]:
    inverse = _reciprocal_of(np.asarray(y, dtype=float))
    return a * inverse, b * inverse


def _slope_atan2(a: Array, b: Array) -> tuple[Array, Array]:
    inverse = _reciprocal_of(np.asarray(a * a + b * b, dtype=float))
    return b * inverse, -a * inverse


def slopes(op: str, args: Sequence[Array], y: Array, power: Any = 0.0) -> tuple[Array, ...]:
    """Return the partial derivatives of an operation whose value ``y`` is known."""
    a = args[0]
    b: Array = args[1] if len(args) > 1 else None
    match op:
        case "add":
            return 1.0, 1.0
        case "sub":
            return 1.0, -1.0
        case "mul":
            return b, a
        case "div":
            return 1.0 / b, -y / b
        case "neg":
            return (-1.0,)
        case "square":
            return (2.0 * a,)
        case "sqrt":
            return (0.5 * _reciprocal_of(np.asarray(y, dtype=float)),)
        case "sin":
            return (np.cos(a),)
        case "cos":
            return (-np.sin(a),)
        case "tan":
            return (1.0 + y * y,)
        case "asin":
            return (1.0 / np.sqrt(1.0 - a * a),)
        case "acos":
            return (-1.0 / np.sqrt(1.0 - a * a),)
        case "atan":
            return (1.0 / (1.0 + a * a),)
        case "exp":
            return (y,)
        case "log":
            return (1.0 / a,)
        case "magnitude":
            return (np.where(a < 0, -1.0, 1.0),)
        case "least":
            first = np.where(a <= b, 1.0, 0.0)
            return first, 1.0 - first
        case "greatest":
            first = np.where(a >= b, 1.0, 0.0)
            return first, 1.0 - first
        case "atan2":
            return _slope_atan2(a, b)
        case "length":
            return _slope_length(a, b, y)
        case "power":
            return (power * np.power(a, power - 1.0),)
        case whole.POSED:
            return whole.slopes_of(args, power)
    raise KeyError(op)


def curvatures(op: str, args: Sequence[Array], y: Array, power: Any = 0.0) -> dict[tuple[int, int], Array]:
    """Return the second partial derivatives that are not zero, by the pair of arguments."""
    a = args[0]
    b = args[1] if len(args) > 1 else 0.0
    match op:
        case "mul":
            return {(0, 1): np.ones_like(y)}
        case "div":
            return {(0, 1): -1.0 / (b * b), (1, 1): 2.0 * y / (b * b)}
        case "square":
            return {(0, 0): np.full_like(y, 2.0)}
        case "sqrt":
            return {(0, 0): -0.25 * _reciprocal_of(np.asarray(y * a, dtype=float))}
        case "sin" | "cos":
            return {(0, 0): -y}
        case "tan":
            return {(0, 0): 2.0 * y * (1.0 + y * y)}
        case "asin":
            return {(0, 0): a / (1.0 - a * a) ** 1.5}
        case "acos":
            return {(0, 0): -a / (1.0 - a * a) ** 1.5}
        case "atan":
            return {(0, 0): -2.0 * a / (1.0 + a * a) ** 2}
        case "exp":
            return {(0, 0): y}
        case "log":
            return {(0, 0): -1.0 / (a * a)}
        case "power":
            return {(0, 0): power * (power - 1.0) * np.power(a, power - 2.0)}
        case "length":
            inverse = _reciprocal_of(np.asarray(y, dtype=float)) ** 3
            return {(0, 0): b * b * inverse, (0, 1): -a * b * inverse, (1, 1): a * a * inverse}
        case "atan2":
            inverse = _reciprocal_of(np.asarray(a * a + b * b, dtype=float)) ** 2
            return {
                (0, 0): -2 * a * b * inverse,
                (0, 1): (a * a - b * b) * inverse,
                (1, 1): 2 * a * b * inverse,
            }
    return {}
