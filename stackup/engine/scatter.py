"""The scatter of the inputs of one pocket's program: means, covariance, independent parts and their moments.

Two inputs are correlated only through what they share: the parts that all pockets of a cage draw together.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from stackup.chain.model import Model
from stackup.chain.program import DRAWN, PLACE, Program, at, pitch_angles, split_at
from stackup.chain.symbols import ANGLE, FARTHEST_NEXT
from stackup.dimension import Dimension

Array = Any


def owner_of(model: Model, part: str) -> Dimension:
    """Return the dimension that an input (``name``, ``name.r``, ``name@1``) belongs to."""
    base, _ = split_at(part)
    return model.dimensions.get(base) or model.dimensions[base.rsplit(".", 1)[0]]


def column_at(value: Any, pocket: int) -> float:
    """Return a column's number at a pocket (counted round the ring), or the number itself."""
    if isinstance(value, np.ndarray) and value.size > 1:
        return float(value[pocket % value.size])
    return float(np.ravel(value)[0])


@dataclass(frozen=True)
class Scatter:
    """Covariance (m, m) of the inputs ``names``; ``normal`` where all of them are jointly normal."""

    model: Model
    names: tuple[str, ...]
    covariance: Array
    normal: bool

    @classmethod
    def of(cls, model: Model, names: Sequence[str]) -> Scatter:
        """Collect the scatter of an unrolled program's inputs."""
        size = len(names)
        covariance = np.zeros((size, size))
        owners = [owner_of(model, name) for name in names]
        for i, one in enumerate(names):
            for j, other in enumerate(names):
                if owners[i].name == owners[j].name:
                    covariance[i, j] = _covariance(owners[i], one, other)
        return cls(model, tuple(names), covariance, all(o.law.is_normal for o in owners))

    @property
    def still(self) -> frozenset[str]:
        """Inputs that do not scatter."""
        return frozenset(name for name, own in zip(self.names, np.diag(self.covariance), strict=True) if own <= 0)

    def means(self, pocket: int) -> dict[str, float]:
        """Return the mean of every input as ``pocket`` sees it, and the angles."""
        point = angles_at(self.model, pocket)
        for name in self.names:
            base, ahead = split_at(name)
            owner = owner_of(self.model, name)
            point[name] = column_at(owner.law.mean[owner.components.index(base)], pocket + ahead)
        return point

    def variance(self, gradient: Array) -> float:
        """Return gᵀSg."""
        return float(gradient @ self.covariance @ gradient)

    def parts(self) -> tuple[Array, Array]:
        """Return (m, k) and (k, 9): inputs = matrix · independent parts, and the parts' moments of order 0…8."""
        columns: list[Array] = []
        moments: list[Array] = []
        made: dict[tuple[str, str, int], int] = {}
        for row, name in enumerate(self.names):
            base, ahead = split_at(name)
            owner = owner_of(self.model, name)
            place = owner.components.index(base)
            for kind in ("shared", "own"):
                spread = owner.law.shared if kind == "shared" else owner.law.own
                if spread[place, place] <= 0:
                    continue
                key = (kind, base, ahead if kind == "own" else 0)
                if key not in made:
                    made[key] = len(columns)
                    columns.append(np.zeros(len(self.names)))
                    source = owner.law.shared_moments if kind == "shared" else owner.law.own_moments
                    moments.append(np.array([1.0, 0.0, *source[place]]))
                columns[made[key]][row] = 1.0
        if not columns:
            return np.zeros((len(self.names), 0)), np.zeros((0, 9))
        return np.array(columns).T, np.array(moments)

    @property
    def crossed(self) -> bool:
        """Tell whether the two parts of some zone are correlated, which second order does not carry."""
        for name in self.names:
            law = owner_of(self.model, name).law
            for spread in (law.own, law.shared):
                if spread.shape[0] == 2 and abs(spread[0, 1]) > 1e-9 * max(spread[0, 0], spread[1, 1], 1e-300):
                    return True
        return False


def _covariance(owner: Dimension, one: str, other: str) -> float:
    (base, ahead), (base2, ahead2) = split_at(one), split_at(other)
    i, j = owner.components.index(base), owner.components.index(base2)
    shared = float(owner.law.shared[i, j])
    same = owner.scope == "cage" or ahead == ahead2
    return shared + (float(owner.law.own[i, j]) if same else 0.0)


def angles_at(model: Model, pocket: int) -> dict[str, float]:
    """Return the angles that a pocket and its neighbours stand at."""
    angles = pitch_angles(model.pockets)
    return {at(ANGLE, k): angles[(pocket + k) % model.pockets] for k in range(FARTHEST_NEXT + 1)}


def unlike_pockets(model: Model, program: Program) -> list[int]:
    """Return the pockets whose means differ: pocket 0 alone where they all are alike."""
    from stackup.engine.ground import turns_only

    for part, index in program.inputs.items():
        mean = owner_of(model, part).law.mean
        if any(isinstance(m, np.ndarray) and m.size > 1 for m in mean):
            return list(range(model.pockets))
        cage = program.nodes[index].shape == DRAWN
        if cage and len(mean) == 2 and any(column_at(m, 0) != 0 for m in mean):
            return list(range(model.pockets))
    placed = any(node.shape & PLACE for node in program.nodes)
    return [0] if not placed or turns_only(program) else list(range(model.pockets))
