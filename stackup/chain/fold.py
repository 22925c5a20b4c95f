"""Folds: what makes one number of a cage out of the numbers of its pockets.

A fold gives its value on (Z, n) arrays and its slopes: which pockets carry it.  ``smooth`` says whether the law
of the fold follows from gradients; ``separable`` whether a cage fails exactly when one of its pockets does.
A whole-cage gap of a cage kind is one more fold in the table.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

Array = Any


@dataclass(frozen=True)
class Fold:
    """One fold: ``value`` (Z, n) → (Z, n) for each, else (1, n); ``slopes`` (Z, n) → (Z, n), ∂value/∂pocket."""

    name: str
    value: Callable[[Array], Array]
    slopes: Callable[[Array], Array]
    smooth: bool
    of_cage: bool = True


def _one_hot(places: Array, shape: tuple[int, ...]) -> Array:
    slopes = np.zeros(shape)
    np.put_along_axis(slopes, places[None, :], 1.0, axis=0)
    return slopes


def _spread_slopes(values: Array) -> Array:
    high, low = np.argmax(values, axis=0), np.argmin(values, axis=0)
    return _one_hot(high, values.shape) - _one_hot(low, values.shape)


FOLDS: dict[str, Fold] = {
    fold.name: fold
    for fold in (
        Fold("each", lambda v: v, np.ones_like, smooth=True, of_cage=False),
        Fold(
            "least",
            lambda v: v.min(axis=0, keepdims=True),
            lambda v: _one_hot(np.argmin(v, axis=0), v.shape),
            smooth=False,
        ),
        Fold(
            "greatest",
            lambda v: v.max(axis=0, keepdims=True),
            lambda v: _one_hot(np.argmax(v, axis=0), v.shape),
            smooth=False,
        ),
        Fold(
            "mean",
            lambda v: v.mean(axis=0, keepdims=True),
            lambda v: np.full(v.shape, 1.0 / v.shape[0]),
            smooth=True,
        ),
        Fold(
            "spread",
            lambda v: v.max(axis=0, keepdims=True) - v.min(axis=0, keepdims=True),
            _spread_slopes,
            smooth=False,
        ),
    )
}
