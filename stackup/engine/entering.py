"""How many pins enter together before the next one does not: cages that cannot be closed, pin by pin.

Pins 1 … n of an order enter together where some pose of the ring leaves each of them room ≥ 0.  A further pin never
gives room, so the number that enters is found by halving: every look solves the pose of all cages at once, each with
the pins of its own number.  A few pins, no more than the pose has unknowns and one (Helly's theorem: each pin's poses
are convex), block a cage by themselves; the multipliers of a pose that leaves less than 0 name them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from stackup.chain.pose import Pose
from stackup.chain.whole import WIDE, Cones

Array = Any

#: a pin with less weight than this is not named among those that block
LEAST_WEIGHT = 1e-4
#: pins left out that carry more than this together do bind: they are made wider, so many times as wide, so often
BINDS, WIDER, TRIES = 1e-6, 100.0, 3
#: the first pins of an order to which a pose is fitted: a cheap look at what enters, and few pins are slow to solve
FITTED = (1, 2, 3, 5, 8, 13, 21, 34)


@dataclass(frozen=True)
class Sets:
    """Pins that block a cage by themselves, one set a row: ``cages`` (M,), ``pins`` (M, w), filled up with Z."""

    cages: Array
    pins: Array

    def of(self, cages: Array) -> Sets:
        """Return the sets of some cages, by their places in ``cages`` (sorted, each once)."""
        place: Array = np.searchsorted(cages, self.cages)
        kept = np.isin(self.cages, cages)
        return Sets(place[kept], self.pins[kept])

    def joined(self, other: Sets) -> Sets:
        """Return both together, by cage, each set once."""
        both = np.column_stack([np.concatenate([self.cages, other.cages]), np.concatenate([self.pins, other.pins])])
        both = np.unique(both, axis=0)
        return Sets(both[:, 0], both[:, 1:])


class Jams:
    """Cages that cannot be closed, and what is known of the pins that block them."""

    def __init__(self, cones: Cones, solved: Pose | None = None) -> None:
        """Take the cones of cages whose margin is below 0, or not a number, and their best pose where it is known."""
        self.pins, self.count = cones.pockets, cones.play.shape[1]
        self.cones, whole = _finite(cones)
        self._fits = whole & (self.cones.least_by_pocket(self.cones.play) >= 0)
        self.sets = Sets(np.empty(0, dtype=int), np.empty((0, cones.by_radial.shape[1] + 1), dtype=int))
        self._room = np.empty((self.pins, 0))
        if self.count:
            solved = solved or self.cones.solved()
            self._room = self.cones.room_at(solved.pose)
            self._learn(np.arange(self.count), self.cones.by_pocket(solved.weights))

    def of(self, cages: Array) -> Jams:
        """Return some of the cages, by their sorted numbers, with what is known of them."""
        found = Jams.__new__(Jams)
        found.pins, found.count, found.cones = self.pins, len(cages), self.cones.of_cages(cages)
        found._fits, found._room, found.sets = self._fits[:, cages], self._room[:, cages], self.sets.of(cages)
        return found

    def enter(self, pins: Array, cages: Array) -> Array:
        """Tell of some cages whether some pins (at least one) enter together: (n,) of truth values."""
        fit = self._fits[np.ix_(pins, cages)].all(axis=0)
        fit[fit] = self.cones.of_cages(cages[fit]).of_pockets(pins).solved().margin >= 0
        return fit

    def entered(self, order: Array, learn: bool = False) -> Array:
        """Return how many pins of ``order`` (a permutation of the pockets) enter before the next does not: (n,).

        0 … Z − 1.  ``learn`` keeps the sets of pins that block, so that the next order is judged sooner.
        """
        place = np.empty(self.pins, dtype=int)
        place[np.asarray(order)] = np.arange(self.pins)
        low, high = self._ends(np.asarray(order), place)
        weights = np.zeros((self.pins, self.count))
        first = True
        while (open_ := np.flatnonzero(low + 1 < high)).size:
            # what is known of blocking pins is mostly the answer: it is tried first
            tried = high[open_] - 1 if first else (low[open_] + high[open_]) // 2
            solved = solved_with(self.cones.of_cages(open_), place[:, None] < tried)
            enters = solved.margin >= 0
            low[open_[enters]], high[open_[~enters]] = tried[enters], tried[~enters]
            weights[:, open_[~enters]] = self.cones.by_pocket(solved.weights)[:, ~enters]
            first = False
        if learn:
            learned = np.flatnonzero(weights.any(axis=0))
            self._learn(learned, weights[:, learned])
        return high - 1

    def _ends(self, order: Array, place: Array) -> tuple[Array, Array]:
        """Return numbers of pins that enter, and that do not, as far as no pose must be solved for them."""
        high = np.minimum(_leading(self._fits[order]) + 1, self.pins)
        if self.sets.cages.size:
            complete = np.append(place, -1)[self.sets.pins].max(axis=1) + 1
            np.minimum.at(high, self.sets.cages, complete)
        low = _leading(self._room[order] >= 0)
        for pins in (count for count in FITTED if count < self.pins):
            room = self.cones.room_at(self.cones.fitted(order[:pins]))
            np.maximum(low, _leading(room[order] >= 0), out=low)
        return np.minimum(low, high - 1), high

    def _learn(self, cages: Array, weights: Array) -> None:
        """Keep the heaviest pins of each cage where they block it by themselves."""
        width = self.sets.pins.shape[1]
        heaviest = np.argsort(-weights, axis=0, kind="stable")[: min(width, self.pins)]
        named = np.take_along_axis(weights, heaviest, axis=0) > LEAST_WEIGHT
        chosen = np.zeros_like(weights, dtype=bool)
        np.put_along_axis(chosen, heaviest, named, axis=0)
        some = np.flatnonzero(chosen.any(axis=0))
        if some.size == 0:
            return
        blocked = some[solved_with(self.cones.of_cages(cages[some]), chosen[:, some]).margin < 0]
        pins = np.full((blocked.size, width), self.pins)
        pins[:, : len(heaviest)] = np.where(named, heaviest, self.pins)[:, blocked].T
        self.sets = self.sets.joined(Sets(cages[blocked], np.sort(pins, axis=1)))


def _finite(cones: Cones) -> tuple[Cones, Array]:
    """Return the cones with 0 for what is not finite, and which pins are whole, (Z, n)."""
    good = np.isfinite(cones.play + cones.radial + cones.tangential)
    play, radial, tangential = (np.where(good, drawn, 0.0) for drawn in (cones.play, cones.radial, cones.tangential))
    whole = Cones(play, radial, tangential, cones.by_radial, cones.by_tangential, cones.pockets)
    return whole, whole.least_by_pocket(good)


def _leading(good: Array) -> Array:
    """Return how many are good before the first that is not, (n,) of (Z, n)."""
    return np.where(good.all(axis=0), len(good), good.argmin(axis=0))


def solved_with(cones: Cones, entered: Array) -> Pose:
    """Return the best pose over the pins that have entered, (Z, n) of truth values, at least one in each cage."""
    left_out, wide = ~entered, WIDE
    solved = cones.without(left_out, wide).solved()
    for _ in range(TRIES):
        carried = np.where(left_out, cones.by_pocket(solved.weights), 0.0).sum(axis=0)
        again = np.flatnonzero((carried > BINDS) & (solved.margin < 0))
        if again.size == 0:
            break
        wide *= WIDER
        better = cones.of_cages(again).without(left_out[:, again], wide).solved()
        solved.margin[again], solved.gap[again] = better.margin, better.gap
        solved.pose[:, again], solved.weights[:, again] = better.pose, better.weights
    return solved
