"""Shapley values: what each of several players adds to a value that they make together.

φ_i = Σ_S |S|!·(n − |S| − 1)!/n! · (v(S ∪ {i}) − v(S)) over all S without i (L. S. Shapley, in: Contributions to the
Theory of Games II, Princeton 1953, 307–317).  They add up to v(all) − v(none), are equal for players that do the same,
and 0 for a player that never adds anything.  Beyond EXACT players the mean over random orders is taken, each with its
reverse (antithetic), with a 95 % interval from the pairs.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

#: more players are sampled
EXACT = 12
#: pairs of an order and its reverse
PAIRS = 60
NORMAL_95 = 1.959963984540054

#: a set of players as a number whose bit i says that player i is in
Value = Callable[[int], float]


@dataclass(frozen=True)
class Part:
    """What one player adds, with its 95 % interval; both ends are the value itself where it is exact."""

    value: float
    low: float
    high: float


def parts(players: int, value: Value, seed: int = 1) -> tuple[Part, ...]:
    """Return what each player adds: exactly up to EXACT players, sampled beyond; NaN where values are not finite."""
    if players <= EXACT:
        return tuple(Part(one, one, one) for one in exact(players, value))
    return sampled(players, value, PAIRS, seed)


def exact(players: int, value: Value) -> tuple[float, ...]:
    """Return the Shapley values from all 2ⁿ sets."""
    values = np.array([value(chosen) for chosen in range(2**players)])
    chosen = np.arange(2**players)
    sizes = np.array([bits.bit_count() for bits in range(2**players)])
    weights = np.array([1 / (players * math.comb(players - 1, size)) for size in range(players)] + [0.0])
    found = []
    with np.errstate(invalid="ignore"):
        for player in range(players):
            without = chosen[(chosen >> player) & 1 == 0]
            found.append(float(np.sum(weights[sizes[without]] * (values[without | 1 << player] - values[without]))))
    return tuple(found)


def sampled(players: int, value: Value, pairs: int, seed: int) -> tuple[Part, ...]:
    """Return the Shapley values from ``pairs`` ≥ 2 of a random order and its reverse, with 95 % intervals."""
    rng = np.random.Generator(np.random.PCG64DXSM(seed))
    found = np.array([_of_pair(rng.permutation(players), value) for _ in range(pairs)])
    means, doubt = found.mean(axis=0), NORMAL_95 * found.std(axis=0, ddof=1) / math.sqrt(pairs)
    return tuple(Part(float(m), float(m - d), float(m + d)) for m, d in zip(means, doubt, strict=True))


def _of_pair(order: np.ndarray, value: Value) -> np.ndarray:
    added = np.zeros(len(order))
    for players in (order, order[::-1]):
        for player, before, after in _steps(players):
            added[player] += 0.5 * (value(after) - value(before))
    return added


def _steps(order: np.ndarray) -> Iterator[tuple[int, int, int]]:
    """Yield each player in turn with the set before and after it."""
    chosen = 0
    for player in map(int, order):
        before, chosen = chosen, chosen | 1 << player
        yield player, before, chosen
