"""The chance that a function of normal numbers exceeds 0, by importance sampling from a fitted mixture.

Points are drawn where failures are likely, and weighed back.  Where that is, is learnt in generations (R. Y.
Rubinstein, D. P. Kroese, The cross-entropy method, 2004): each fits the mixture to the failures among the last points,
or, where too few of them count, to what passes a lower level.  Planes that touch the limit add a cap each, so that what
lies beyond a plane is there at once.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from stackup.engine.mixture import Mixture, cloud, effective, fitted, with_caps
from stackup.engine.points import BLOCK, slopes

Array = Any
Function = Callable[[Array], Array]

#: generations at most; of those that reach the limit 2, or so many if a smaller part of their points is effective
GENERATIONS, REACHING, GOOD = 12, 4, 0.125
#: points of a generation: fewest for each number; of both a generation and a block of the result: fewest
SEARCHING, LEAST_POINTS = 200, 1024
#: effective points that fit a mixture: for each number, and at least this part of all; so much of it will do
FOR_EACH, PART, TRUSTED = 10, 0.05, 0.5
#: halvings towards the level that enough points pass
HALVINGS = 12
#: blocks of the result: fewest and most; the relative standard error that is enough, and at little effort
FEWEST, MOST, GOAL, COARSE = 2, 12, 0.01, 0.05
#: the most that a single point may add, in parts of the whole; chances below are not told apart
LARGEST, NEGLIGIBLE = 0.05, 1e-12
#: points near which planes touch: at first and later, in how many generations; shares of the new caps
FIRST, LATER, TOUCHING, FIRST_SHARE, LATER_SHARE = 128, 24, 5, 0.5, 0.2
#: planes: alike above this cosine, nearest and farthest, least part of the likeliest's chance, most of them
ALIKE, NEAR, FAR, UNLIKELY, PLANES = 0.9, 0.3, 12.0, 1e-3, 64


@dataclass(frozen=True)
class Failing:
    """Where a function (rank, n) → (n,) and ``straight`` ≥ 0 times one more normal number together exceed 0."""

    excess: Function
    straight: float = 0.0

    def chance(self, values: Array, level: float = 0.0) -> Array:
        """Return the chance (n,) that values (n,) of the function and the further number exceed a level."""
        from scipy.special import ndtr

        return ndtr((values - level) / self.straight) if self.straight > 0 else (values > level).astype(float)


def beyond(failing: Failing, known: tuple[Array, Array, Array], effort: float = 1.0) -> float:
    """Return the chance of failing, all numbers being independent and standard normal.

    ``known``: points (rank, n ≥ FIRST), their weights and values, from which the search starts.  ``effort`` ≤ 1
    takes fewer points.  The relative standard error is about 1 %, and less where the function is nearly straight or
    round; up to 10 % in the tails of more than ten numbers that must all be small at once, or each of which may fail.
    Below NEGLIGIBLE only that it is so is right.
    """
    count = max(LEAST_POINTS, round(BLOCK * effort))
    goal = min(GOAL / np.sqrt(effort), COARSE)
    mixture = _search(failing, known, min(max(count, SEARCHING * len(known[0])), BLOCK))
    found = np.zeros(0)
    for block in range(MOST):
        points = mixture.draw(block, count)
        weights, _ = mixture.weigh(points)
        found = np.concatenate((found, weights * failing.chance(failing.excess(points))))
        settled = found.std() <= goal * np.sqrt(found.size) * found.mean()
        if block + 1 >= FEWEST and (settled or found.mean() < NEGLIGIBLE):
            break
    return min(float(np.minimum(found, LARGEST * found.sum()).mean()), 1.0)


def _search(failing: Failing, known: tuple[Array, Array, Array], count: int) -> Mixture:
    """Return a mixture that lies where failing is likely, fitted to generations of ``count`` points."""
    points, weights, values = known
    need = max(FOR_EACH * len(points), PART * count)
    heavy, _ = _weighed(failing, values, weights, need)
    mixture = cloud(points, heavy)
    worst = np.sort(np.argpartition(-values, FIRST - 1)[:FIRST])
    mixture = _touched(mixture, failing, points[:, worst], FIRST_SHARE)
    reached = 0
    for generation in range(GENERATIONS):
        # the blocks that the result takes last
        points = mixture.draw(MOST - 1 - generation % TOUCHING, count)
        values = failing.excess(points)
        weights, parts = mixture.weigh(points)
        heavy, level = _weighed(failing, values, weights, need)
        equal = effective(heavy)
        if heavy.mean() < NEGLIGIBLE:
            break
        reached += level >= 0 and equal >= need
        if reached == REACHING or (reached > 1 and equal > GOOD * count):
            break
        if equal >= TRUSTED * need:
            mixture = fitted(mixture, points, heavy, parts, caps_too=level >= 0)
        if generation < TOUCHING:
            heaviest = np.argsort(-heavy, kind="stable")[:LATER]
            mixture = _touched(mixture, failing, points[:, heaviest], LATER_SHARE)
    return mixture


def _weighed(failing: Failing, values: Array, weights: Array, need: float) -> tuple[Array, float]:
    """Return weights (n,) times the chance of passing a level, and the level: 0, or lower if too few points count."""
    heavy = weights * failing.chance(values)
    if effective(heavy) >= TRUSTED * need:
        return heavy, 0.0
    level = _smooth_level(failing, values, weights, need) if failing.straight > 0 else _level(values, weights, need)
    return weights * failing.chance(values, level), level


def _level(values: Array, weights: Array, need: float) -> float:
    """Return the highest level up to 0 that enough points pass."""
    order = np.argsort(-values, kind="stable")
    equal = np.cumsum(weights[order]) ** 2 / np.maximum(np.cumsum(weights[order] ** 2), 1e-300)
    # those beyond the limit may be many but all of them light
    equal[: np.count_nonzero(values > 0)] = 0.0
    last = int(np.argmax(np.minimum(equal, need)))
    return min(float(np.nextafter(values[order[last]], -np.inf)), 0.0)


def _smooth_level(failing: Failing, values: Array, weights: Array, need: float) -> float:
    """Return about the highest level up to 0 that enough points pass, together with the further number."""
    low, high = min(float(np.median(values)), 0.0), 0.0
    for _ in range(HALVINGS):
        level = 0.5 * (low + high)
        enough = effective(weights * failing.chance(values, level)) >= need
        low, high = (level, high) if enough else (low, level)
    return low


def _touched(mixture: Mixture, failing: Failing, points: Array, share: float) -> Mixture:
    """Return the mixture with caps, a share of it, beyond planes that touch the limit near points (rank, n)."""
    values, gradients = slopes(failing.excess, points)
    steep = np.sqrt(np.einsum("ij,ij->j", gradients, gradients))
    usable = np.isfinite(steep) & (steep > 0)
    values, gradients, points, steep = values[usable], gradients[:, usable], points[:, usable], steep[usable]
    whole = np.hypot(steep, failing.straight)
    across, distances = gradients / steep, (np.einsum("ij,ij->j", gradients, points) - values) / whole
    chosen = _unlike(across, distances, mixture.across)
    if not chosen:
        return mixture
    return with_caps(mixture, across[:, chosen], (steep / whole)[chosen], distances[chosen], share)


def _unlike(across: Array, distances: Array, known: Array) -> list[int]:
    """Return which planes, with normals (d, n), count: nearest first, unlike each other and the known (d, m)."""
    from scipy.special import ndtr

    normals = list(known.T)
    chosen: list[int] = []
    # equal distances differ in their last digits, which must not decide
    for place in np.argsort(np.round(distances, 6), kind="stable"):
        if len(normals) >= PLANES or not NEAR <= distances[place] <= FAR:
            continue
        if chosen and ndtr(-distances[place]) < UNLIKELY * ndtr(-distances[chosen[0]]):
            break
        if not normals or np.max(np.array(normals) @ across[:, place]) <= ALIKE:
            normals.append(across[:, place])
            chosen.append(int(place))
    return chosen
