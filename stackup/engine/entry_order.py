"""The order of assembly that finds a cage which cannot be closed after the fewest pins put in vain.

The number to make least is the mean, over sampled cages that jam, of the pins that enter before the next does not.
It is Σ_k f(S_k), S_k the first k pins and f(S) the part of these cages whose pins S enter together.  It depends on the
sets alone, so that the best order is the cheapest way through all 2^Z sets: enumeration of all Z! orders, made cheap
(M. Held, R. M. Karp, Journal of SIAM 10 (1962) 196–210).  With more pins than that an order is searched for, against
sets of pins that are known to block; whatever is told of it is counted again with the poses solved.

An order chosen from cages looks better on them than it is.  So it is chosen from half of them too and judged on the
others, both ways: that saving is one that can be expected.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import reduce
from typing import Any

import numpy as np

from stackup.engine.entering import Jams, Sets
from stackup.engine.result import Estimate, Ordering
from stackup.engine.settings import Progress, silent

Array = Any

#: up to so many pins all orders are looked at
PROVED = 8
#: how often a search leaves the best order by chance, by so many pins put elsewhere; turns of an order that are tried
KICKS, PUT, TURNS = 8, 3, 4
#: a change of the mean number of pins that is none
NOTHING = 1e-12


def run(jams: Jams, given: tuple[int, ...], progress: Progress = silent) -> Ordering:
    """Return the best order of the pockets for cages that cannot be closed, against the ``given`` one.

    ``given`` is a permutation of the pockets; where nothing is better it is the answer.  KeyboardInterrupt from
    ``progress`` ends the search.
    """
    if jams.count == 0:
        return Ordering(given, False, 0, None, None, None, None, None)
    first, steps = np.array(given), _Steps(progress, 3)
    find = (_proved_finder if jams.pins <= PROVED else _searcher)(jams, first)
    order = find(jams, first)
    steps.done()
    before, after = jams.entered(first), jams.entered(order)
    if after.mean() >= before.mean() - NOTHING:
        order, after = first, before
    return Ordering(
        order=tuple(int(pin) for pin in order),
        proved=jams.pins <= PROVED,
        cages=jams.count,
        given=estimate(before),
        best=estimate(after),
        saving_here=estimate(before - after),
        saving=_expected(jams, first, before, find, steps),
        natural=estimate(jams.entered(np.arange(jams.pins))),
    )


def estimate(values: Array) -> Estimate:
    """Return the mean of values (at least one) and its standard error, None of one alone."""
    error = float(np.std(values, ddof=1)) / math.sqrt(len(values)) if len(values) > 1 else None
    return Estimate(float(np.mean(values)), error)


@dataclass
class _Steps:
    """Tells how far a run is."""

    progress: Progress
    of: int
    passed: int = 0

    def done(self) -> None:
        """Tell that one more is done."""
        self.passed += 1
        self.progress(self.passed, self.of, "orders")


#: (cages, the order that is given) → the best order for them
Finder = Callable[[Jams, Array], Array]


def _expected(jams: Jams, given: Array, before: Array, find: Finder, steps: _Steps) -> Estimate | None:
    """Return what an order chosen from half of the cages saves on the others; None where halves are too small."""
    if jams.count < 4:
        return None
    saved = np.empty(jams.count)
    for side in range(2):
        others = np.arange(side, jams.count, 2)
        order = find(jams.of(np.arange(1 - side, jams.count, 2)), given)
        saved[others] = before[others] - jams.of(others).entered(order)
        steps.done()
    return estimate(saved)


# All orders -----------------------------------------------------------------------------------------------------


def _proved_finder(jams: Jams, given: Array) -> Finder:
    """Return what finds the least over all orders, on any of the cages."""
    jams.entered(given, learn=True)

    def find(own: Jams, given: Array) -> Array:
        return cheapest_way(enters_together(own).sum(axis=1), given)

    return find


def enters_together(jams: Jams) -> Array:
    """Return whether the pins of each set enter together, (2^Z, n); bit i of a set's number is pocket i.

    From large sets to small ones: what enters together does so without some of it.
    """
    pins = jams.pins
    numbers = np.arange(2**pins)
    found, known = (np.zeros((2**pins, jams.count), dtype=bool) for _ in range(2))
    found[0] = known[0] = known[-1] = True
    blocking = _numbers(jams.sets, pins)
    for number in sorted(numbers[1:-1], key=lambda one: -int(one).bit_count()):
        blocked = jams.sets.cages[(blocking & number) == blocking]
        known[number, blocked] = True
        cages = np.flatnonzero(~known[number])
        if cages.size:
            entering = cages[jams.enter(np.flatnonzero(number >> np.arange(pins) & 1), cages)]
            below = numbers[(numbers & number) == numbers]
            found[np.ix_(below, entering)] = known[np.ix_(below, entering)] = True
    return found


def _numbers(sets: Sets, pins: int) -> Array:
    """Return the number of every set, bit i for pocket i."""
    bits = np.append(1 << np.arange(pins), 0)
    return bits[sets.pins].sum(axis=1)


def cheapest_way(weights: Array, given: Array) -> Array:
    """Return the order with the least Σ weights of the sets it passes through; ``given`` where none is cheaper.

    ``weights`` (2^Z,), not negative, by the number of the set.
    """
    pins = len(given)
    bits = 1 << np.arange(pins)
    costs = np.zeros(2**pins)
    last = np.zeros(2**pins, dtype=int)
    for number in range(1, 2**pins):
        members = np.flatnonzero(number & bits)
        before = costs[number ^ bits[members]]
        best = int(before.argmin())
        costs[number], last[number] = before[best] + weights[number], members[best]
    passed = np.cumsum(bits[given])
    if weights[passed].sum() <= costs[-1] + NOTHING:
        return given
    order, number = [], 2**pins - 1
    while number:
        order.append(last[number])
        number ^= int(bits[last[number]])
    return np.array(order[::-1])


# A search -------------------------------------------------------------------------------------------------------


def _searcher(jams: Jams, given: Array) -> Finder:
    """Return what looks for a good order on any of the cages, once some sets of blocking pins of all are known."""
    apart = far_apart(jams.pins)
    for order in (*turned(apart), *turned(given)):
        jams.entered(order, learn=True)

    def find(own: Jams, given: Array) -> Array:
        return _searched(own, (given, apart, from_the_end(own)))

    return find


def _searched(jams: Jams, starts: Sequence[Array]) -> Array:
    """Return the best order found: no pin put elsewhere, no two exchanged, no turn tried is better.

    What the known sets promise holds, but others block too: each order whose poses are solved makes some known.  So
    the best order is left a little, again and again, to see what blocks near by.
    """
    best, least = starts[0], _mean_of(jams, starts[0])
    for start in starts[1:]:
        best, least = _better(jams, start, best, least)
    rng = np.random.default_rng(0)
    for _ in range(KICKS):
        for order in (Improver(jams).improved(best, exchange=False), kicked(best, rng)):
            best, least = _better(jams, order, best, least)
    before = math.inf
    while least < before - NOTHING:
        before = least
        best, least = _better(jams, Improver(jams).improved(best), best, least)
        for order in turned(best):
            best, least = _better(jams, order, best, least)
    return best


def kicked(order: Array, rng: np.random.Generator) -> Array:
    """Return an order with some pins put elsewhere by chance."""
    for _ in range(PUT):
        pin = order[rng.integers(len(order))]
        order = np.insert(order[order != pin], rng.integers(len(order)), pin)
    return order


def _better(jams: Jams, order: Array, best: Array, least: float) -> tuple[Array, float]:
    """Return the better of two orders with its mean; the first one's blocking sets are known afterwards."""
    mean = _mean_of(jams, order)
    return (order, mean) if mean < least - NOTHING else (best, least)


def _mean_of(jams: Jams, order: Array) -> float:
    return float(jams.entered(order, learn=True).mean())


def turned(order: Array) -> Iterator[Array]:
    """Yield an order turned round the ring in even steps, each with its mirror image."""
    pins = len(order)
    for turn in range(0, pins, -(-pins // TURNS)):
        yield (order + turn) % pins
        yield (turn - order) % pins


def far_apart(pins: int) -> Array:
    """Return an order in which each pin stands as far as it can from those before it."""
    angles = np.arange(pins)
    chosen = [0]
    nearest = np.minimum(angles, pins - angles)
    while len(chosen) < pins:
        new = int(nearest.argmax())
        chosen.append(new)
        apart = np.abs(angles - new)
        nearest = np.minimum(nearest, np.minimum(apart, pins - apart))
    return np.array(chosen)


def from_the_end(jams: Jams) -> Array:
    """Return an order made from its end: last comes the pin without which most cages are blocked already."""
    left, order = list(range(jams.pins)), []
    holds = (jams.sets.pins[:, :, None] == np.arange(jams.pins)).any(axis=1)
    alive = np.ones(len(holds), dtype=bool)
    cages: Array = np.searchsorted(np.unique(jams.sets.cages), jams.sets.cages)
    while left:
        held = [np.count_nonzero(np.bincount(cages[alive & ~holds[:, pin]])) for pin in left]
        order.append(left.pop(int(np.argmax(held))))
        alive &= ~holds[:, order[-1]]
    return np.array(order[::-1])


class Improver:
    """Puts pins elsewhere in an order, judged by the sets that are known to block: no more enter than they let."""

    def __init__(self, jams: Jams) -> None:
        """Take the sets by cage."""
        sets = jams.sets
        self.pins, self.members = jams.pins, np.ascontiguousarray(sets.pins.T)
        self.starts = np.flatnonzero(np.diff(sets.cages, prepend=-1))
        self.cages = len(self.starts)

    def mean(self, order: Array) -> float:
        """Return the mean number of pins that enter at most."""
        return float(np.minimum.reduceat(self._complete(order), self.starts).mean())

    def improved(self, order: Array, exchange: bool = True) -> Array:
        """Return an order that gets no better by putting one pin elsewhere or exchanging two."""
        least = self.mean(order) if self.cages else 0.0
        better = self.cages > 0
        while better:
            before = least
            for pin in range(self.pins):
                order, least = self._put(order, pin, least)
            if exchange and least >= before - NOTHING:
                order, least = self._exchanged(order, least)
            better = least < before - NOTHING
        return order

    def _complete(self, order: Array) -> Array:
        """Return at which place of an order, of all pins or some, the last of them that each set has stands."""
        place = np.full(self.pins + 1, -1)
        place[order] = np.arange(len(order))
        return reduce(np.maximum, (place[pins] for pins in self.members))

    def _put(self, order: Array, pin: int, least: float) -> tuple[Array, float]:
        """Return the order with one pin where it does best, and its mean; as it was where nothing is better.

        Of the others alone, in their order: a set without the pin is complete with its last one; one with the pin when
        both its others and the pin are in.
        """
        others = order[order != pin]
        complete, far = self._complete(others), self.pins
        with_it = (self.members == pin).any(axis=0)
        without = np.minimum.reduceat(np.where(with_it, far, complete), self.starts)
        beside = np.minimum.reduceat(np.where(with_it, complete, far), self.starts)
        places = np.arange(self.pins)[:, None]
        moved = np.where(beside < places, places, beside + 1)
        means = np.minimum(without + (without >= places), moved).mean(axis=1)
        place = int(means.argmin())
        if means[place] >= least - NOTHING:
            return order, least
        return np.insert(others, place, pin), float(means[place])

    def _exchanged(self, order: Array, least: float) -> tuple[Array, float]:
        """Return the order with the two pins exchanged that gain most, and its mean."""
        best = order
        for first in range(self.pins):
            for second in range(first + 2, self.pins):
                tried = order.copy()
                tried[[first, second]] = tried[[second, first]]
                mean = self.mean(tried)
                if mean < least - NOTHING:
                    best, least = tried, mean
        return best, least
