"""The words that chains are written in: real symbols, and the nodes that must stay nodes of their own.

A chain is sympy for reading; numbers come from walking its steps.  The length of a vector, the least
and the greatest of several, and the magnitude of a number keep their own nodes (house.md, abstraction 4):
at their kinks a smooth formula would give false derivatives and false certificates.
"""

from __future__ import annotations

from functools import cache
from typing import Any

import sympy

Expr = sympy.Expr

PARTS = ("r", "t", "x", "y")
NEXT = "next"
#: What a kind of cage may ask of a size beside its value: ``slot.nominal`` of the drawing, ``slot.nominal_now`` in the
#: state of the bearing, ``slot.made`` before any state; ``part.scale`` is how a state scales the sizes of a part.
NOMINAL, NOMINAL_NOW, MADE, SCALE = "nominal", "nominal_now", "made", "scale"
#: How far round the ring a formula may look.
MOST_NEXT = 3
#: The pocket's angle in rad and the number of rollers, known to every chain.
ANGLE, ROLLERS = "angle", "rollers"


class Length(sympy.Function):  # type: ignore[misc] # sympy has no types
    """Length(a, b) = √(a² + b²), the length of a vector in the plane."""

    nargs = 2


class Least(sympy.Function):  # type: ignore[misc] # the same
    """Least(a, b, …), the smallest of its arguments."""


class Greatest(sympy.Function):  # type: ignore[misc] # the same
    """Greatest(a, b, …), the largest of its arguments."""


class Magnitude(sympy.Function):  # type: ignore[misc] # the same
    """Magnitude(a) = |a|."""

    nargs = 1


@cache
def symbol(name: str) -> Any:
    """Return the real symbol of a dimension, a part of a zone, a step or a parameter."""
    return sympy.Symbol(name, real=True)


def nominal(size: str) -> Any:
    """Return the symbol of the nominal of a size on the drawing, the mean of values as built."""
    return symbol(f"{size}.{NOMINAL}")


def nominal_now(size: str) -> Any:
    """Return the symbol of the nominal of a size in the state of the bearing: warm, worn, turning."""
    return symbol(f"{size}.{NOMINAL_NOW}")


def made(size: str) -> Any:
    """Return the symbol of a size as made, in whatever state the bearing is."""
    return symbol(f"{size}.{MADE}")


def scale(part: str) -> Any:
    """Return the symbol of the factor that a state has for the sizes of a part (1 as made)."""
    return symbol(f"{part}.{SCALE}")


def following(expr: Any, count: int = 1) -> Any:
    """Return ``expr`` as the pocket ``count`` places further round the ring sees it."""
    if count == 0:
        return expr
    return expr.xreplace({s: symbol(s.name + f".{NEXT}" * count) for s in expr.free_symbols})


def split_next(name: str) -> tuple[str, int]:
    """Split ``pin_a.r.next.next`` into the name in its own pocket and the number of pockets ahead."""
    count = 0
    while name.endswith(f".{NEXT}"):
        name, count = name[: -len(NEXT) - 1], count + 1
    return name, count
