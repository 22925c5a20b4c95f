"""Verdicts: met, not met or undecided, and how many more cages would decide."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Literal

from stackup.chain.model import Requirement
from stackup.engine.result import Fraction, WorstCase

Verdict = Literal["met", "undecided", "not met"]

#: from best to worst
ORDER: tuple[Verdict, ...] = ("met", "undecided", "not met")
#: rounding of floating point numbers, as a part of the largest number at hand: no verdict hangs on it
ROUNDING = 1e-12
#: more cages than anyone will draw decide nothing
MOST_CAGES = 10**12
#: part of the allowance to which an estimate should be known before it is called too near to it
NEAR = 0.1


def worst(verdicts: Iterable[Verdict]) -> Verdict:
    """Return the worst of ``verdicts`` (at least one)."""
    return max(verdicts, key=ORDER.index)


def by_fraction(fraction: Fraction, ppm: float) -> Verdict:
    """Return *met* when the whole interval lies at or below ``ppm``, *not met* when above, else *undecided*."""
    allowed = ppm * 1e-6
    if fraction.high <= allowed:
        return "met"
    return "not met" if fraction.low > allowed else "undecided"


def by_worst_case(requirement: Requirement, found: WorstCase) -> Verdict:
    """Return *met* when both guaranteed bounds lie within the limits, *not met* when a found extreme lies outside.

    A bound that is not finite guarantees nothing.  Differences of a rounding error do not count.
    """
    if room(requirement, found.bound_low, found.bound_high) >= 0:
        return "met"
    return "not met" if room(requirement, found.low, found.high) < 0 else "undecided"


def room(requirement: Requirement, low: float, high: float) -> float:
    """Return how far ``low`` and ``high`` stay within the limits, in the gap's unit; negative outside.

    NaN where neither can be said.
    """
    rooms = []
    if requirement.min is not None:
        rooms.append(_unrounded(low - requirement.min, low, requirement.min))
    if requirement.max is not None:
        rooms.append(_unrounded(requirement.max - high, high, requirement.max))
    return math.nan if any(math.isnan(r) for r in rooms) else min(rooms)


def _unrounded(difference: float, *of: float) -> float:
    """Return a difference, 0 where it is no more than rounding or the slack of an outward rounded bound."""
    scale = max(1.0, *(abs(value) for value in of))
    return 0.0 if math.isfinite(scale) and abs(difference) <= 1e3 * ROUNDING * scale else difference


def more_cages(fraction: Fraction, ppm: float, drawn: int) -> int | None:
    """Return how many cages more than ``drawn`` would decide, 0 when decided, None when none would.

    The end of the interval that lies beyond the allowance comes nearer to the estimate as 1/√cages, as
    1/cages where nothing was seen out of spec.  An estimate that is not known to a tenth of the allowance may move
    away from it: as far as that, more cages are worth a try.
    """
    if by_fraction(fraction, ppm) != "undecided":
        return 0
    allowed, estimate = ppm * 1e-6, fraction.out_of_spec
    if estimate == 0:
        needed = drawn * fraction.high / allowed
    else:
        reach = fraction.high - estimate if estimate < allowed else estimate - fraction.low
        apart = abs(allowed - estimate)
        if apart < NEAR * allowed < reach:
            apart = NEAR * allowed
        needed = drawn * (reach / apart) ** 2 if apart else math.inf
    if needed - drawn > MOST_CAGES:
        return None
    return max(math.ceil(needed) - drawn, 1)
