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
#: How far chains of the file that use each other are taken to look.
FARTHEST_NEXT = 20 * MOST_NEXT
#: How far ahead the inputs of the second of two pockets are named (``pairs.py``): beyond all of the first, which looks
#: farther than MOST_NEXT where chains of the file use each other.
APART = 1_000_000
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


class BestPose(sympy.Function):  # type: ignore[misc] # the same
    """BestPose(cones, floor, ceilings, aims, shares): a number of the whole cage, the formula of a step by itself.

    The greatest, over the pose that the pockets share, of the least of play − |(radial, tangential) − M·pose|.
    ``cones`` are (play, radial, tangential, row of M for radial, row for tangential) of one pocket, as Tuples; M
    depends on the pocket's place alone.

    What one pocket says of it, for the worst case: no cage has less than the least ``floor`` of a pocket within the
    drawing (a pose that does not know the pockets), none more than the greatest of ``ceilings`` (some mean over the
    pockets in which the pose cancels: where all pockets have the same drawing, and where not).  ``shares`` are
    parameters in the floor, (symbol, least, greatest) each: any values between give a bound, in which it is concave.
    ``aims`` are numbers of a pocket whose least point, taken by all pockets alike, is a bad cage.
    """

    nargs = 5

    @property
    def cones(self) -> Any:
        """Return what each pocket asks of the pose."""
        return self.args[0]

    @property
    def floor(self) -> Any:
        """Return the number of a pocket that bounds from below."""
        return self.args[1]

    @property
    def ceilings(self) -> Any:
        """Return the numbers of a pocket that bound from above: pockets of one drawing, and any."""
        return self.args[2]

    @property
    def aims(self) -> Any:
        """Return the numbers of a pocket whose least points make bad cages."""
        return self.args[3]

    @property
    def shares(self) -> Any:
        """Return the parameters of the floor that may be chosen, each with its least and greatest value."""
        return self.args[4]

    @property
    def unknowns(self) -> int:
        """Return how many numbers the pose has."""
        return len(self.cones[0][3])


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
