"""At which spread a value begins to fail, told from its margin at two spreads: the straight line between them."""

from __future__ import annotations

from typing import Any

import numpy as np

from stackup.chain.model import Requirement

Array = Any


class Nearest:
    """The ``most`` least numbers of all that were added."""

    def __init__(self, most: int) -> None:
        """Begin with none; ``limit``: what is not below it is not wanted."""
        self.most, self.values, self.limit = most, np.empty(0), np.inf

    def add(self, values: Array) -> None:
        """Take in those of ``values`` that are among the least."""
        values = values[values < self.limit]
        if values.size == 0:
            return
        self.values = np.concatenate([self.values, values])
        if self.values.size > 2 * self.most:
            self.values = np.partition(self.values, self.most)[: self.most]
            self.limit = float(self.values.max())

    def sorted(self) -> Array:
        """Return them, ascending."""
        return np.sort(self.values)[: self.most]


def margin(requirement: Requirement, values: Array) -> Array:
    """Return how far values stay within the limits, negative outside."""
    sides = []
    if requirement.min is not None:
        sides.append(values - requirement.min)
    if requirement.max is not None:
        sides.append(requirement.max - values)
    return sides[0] if len(sides) == 1 else np.minimum(*sides)


def crossings(before: Array, after: Array, growth: float) -> Array:
    """Return the factor at which a margin, ``before`` at 1 and ``after`` at 1 + growth, comes to 0 if it is linear.

    Infinite where it grows with the spread and holds at one of the two; −infinite where it never holds.
    """
    slope = (after - before) / growth
    found = 1.0 - before / slope
    lost = ~(before >= 0) & ~(after >= 0)
    return np.where(slope < 0, found, np.where(lost, -np.inf, np.inf))


def may_cross(before: Array, after: Array, growth: float, limit: float) -> Array:
    """Return where the factor of ``crossings`` may be below ``limit``: it never is elsewhere."""
    if not np.isfinite(limit):
        return np.ones(before.shape, dtype=bool)
    near: Array = before < (limit - 1.0) / growth * (before - after)
    near |= ~(before >= 0)
    return near
