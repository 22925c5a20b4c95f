"""What a measured value proves of a part: the decision rule of ISO 14253-1.

Whoever has to prove something carries the uncertainty.  Edition of 2017, default conformance probability 95 %, normal
error of measurement: a value proves conformity inside the tolerance reduced by a guard band at each limit, and
nonconformity outside the tolerance by such a band; in between neither is proved.  Marks in ``docs/standards.md``.
"""

from __future__ import annotations

from typing import Literal

PROBABILITY = 0.95
Proof = Literal["conforms", "does not", "not proved"]


def guard_factor(width: float | None = None, probability: float = PROBABILITY) -> float | None:
    """Return the guard band of acceptance in standard uncertainties.

    ``width`` (> 0): that of the tolerance, in standard uncertainties; None for one limit alone, or a wide tolerance.
    Where the width is comparable with the uncertainty both limits count: the g with Φ(g) − Φ(g − width) =
    probability.  None where no value proves conformity (width below 3.92 at 95 %).
    """
    from scipy.optimize import brentq
    from scipy.special import ndtr, ndtri

    if width is None:
        return float(ndtri(probability))

    def lacking(guard: float) -> float:
        return float(ndtr(guard) - ndtr(guard - width)) - probability

    if lacking(width / 2) < 0:
        return None
    return float(brentq(lacking, 0.0, width / 2, xtol=1e-12))


def accepted(low: float | None, high: float | None, uncertainty: float) -> tuple[float | None, float | None] | None:
    """Return the limits within which a measured value proves conformity; None where none does.

    ``low``, ``high``: the tolerance, None where there is no such limit; ``uncertainty`` ≥ 0, standard, same unit.
    """
    if uncertainty == 0:
        return low, high
    two = low is not None and high is not None
    factor = guard_factor((high - low) / uncertainty if two else None)  # type: ignore[operator]
    if factor is None:
        return None
    guard = factor * uncertainty
    return None if low is None else low + guard, None if high is None else high - guard


def proof(value: float, low: float | None, high: float | None, uncertainty: float) -> Proof:
    """Return what a measured ``value`` proves."""
    limits = accepted(low, high, uncertainty)
    if limits is not None and _inside(value, *limits):
        return "conforms"
    guard = float(guard_factor() or 0.0) * uncertainty
    outside = _inside(value, None if low is None else low - guard, None if high is None else high + guard)
    return "not proved" if outside else "does not"


def _inside(value: float, low: float | None, high: float | None) -> bool:
    return (low is None or value >= low) and (high is None or value <= high)
