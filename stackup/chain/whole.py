"""Numbers of a whole cage: the room that is left when the cage, or a ring of it, stands where it has most.

One operation of a program takes cones of all pockets and gives one number a cage, the margin of
:mod:`stackup.chain.pose`:

    max over the pose of min over pockets and cones of  play − |(radial, tangential) − M·pose|.

It has no pocket of its own, so what looks at one pocket at a time (worst case, RSS) does not meet it: the worst case
takes ``floor`` and ``ceilings`` of :class:`stackup.chain.symbols.BestPose` in its place.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from stackup.chain.pose import Pose, best_margin, best_pose, slopes

Array = Any

#: the operation's name in a program
POSED = "posed"
#: wider than any pose needs, in sizes of a cage's vectors: pins side by side ask for far poses
WIDE = 100.0


def flat(cones: Iterable[Any]) -> list[Any]:
    """Return the arguments of the operation: of every cone play, radial, tangential and both rows of M."""
    found: list[Any] = []
    for play, radial, tangential, by_radial, by_tangential in cones:
        found += [play, radial, tangential, *by_radial, *by_tangential]
    return found


@dataclass(frozen=True)
class Cones:
    """Cones as the solver takes them: (K·Z, n) each, all pockets of one cone together; M (K·Z, d) each."""

    play: Array
    radial: Array
    tangential: Array
    by_radial: Array
    by_tangential: Array
    pockets: int

    @classmethod
    def of(cls, args: Sequence[Array], unknowns: int) -> Cones:
        """Gather the values of the operation's arguments, (Z, n), (Z, 1), (1, n) or (1, 1) each."""
        pockets, cages = (max(np.shape(arg)[axis] for arg in args) for axis in (0, 1))
        size = 3 + 2 * unknowns
        each = [args[start : start + size] for start in range(0, len(args), size)]

        def drawn(place: int) -> Array:
            return np.concatenate([np.broadcast_to(cone[place], (pockets, cages)) for cone in each])

        def fixed(first: int) -> Array:
            columns = [[np.broadcast_to(cone[first + k], (pockets, 1)) for k in range(unknowns)] for cone in each]
            return np.concatenate([np.concatenate(row, axis=1) for row in columns])

        return cls(drawn(0), drawn(1), drawn(2), fixed(3), fixed(3 + unknowns), pockets)

    def solved(self) -> Pose:
        """Return the best pose of every cage."""
        return best_pose(self.play, self.radial, self.tangential, self.by_radial, self.by_tangential)

    def margins(self) -> Array:
        """Return the margin of every cage."""
        return best_margin(self.play, self.radial, self.tangential, self.by_radial, self.by_tangential)

    def slopes(self) -> tuple[Array, Array, Array]:
        """Return ∂margin/∂play, ∂margin/∂radial, ∂margin/∂tangential, (K·Z, n) each."""
        return slopes(self.solved(), self.radial, self.tangential, self.by_radial, self.by_tangential)

    def of_pockets(self, pockets: Sequence[int]) -> Cones:
        """Return the cones of some pockets, in their order."""
        kinds = len(self.play) // self.pockets
        rows = np.concatenate([np.asarray(pockets, dtype=int) + k * self.pockets for k in range(kinds)])
        drawn = (self.play[rows], self.radial[rows], self.tangential[rows])
        return Cones(*drawn, self.by_radial[rows], self.by_tangential[rows], len(pockets))

    def of_cages(self, cages: Array) -> Cones:
        """Return the cones of some cages: their numbers, or which of them."""
        drawn = (self.play[:, cages], self.radial[:, cages], self.tangential[:, cages])
        return Cones(*drawn, self.by_radial, self.by_tangential, self.pockets)

    def followed_by(self, other: Cones) -> Cones:
        """Return the cages of both, of the same places: these, then the others."""
        pairs = ((self.play, other.play), (self.radial, other.radial), (self.tangential, other.tangential))
        play, radial, tangential = (np.concatenate(pair, axis=1) for pair in pairs)
        return Cones(play, radial, tangential, self.by_radial, self.by_tangential, self.pockets)

    def without(self, left_out: Array, wide: float = WIDE) -> Cones:
        """Return the cones with those of some pockets too wide to bind: (Z, n) of truth values, each cage its own.

        ``wide`` is how much wider, in sizes of the cage's vectors.  They do bind where the others need a pose so far
        away that it leaves more than that in them; their weights tell.
        """
        longest = np.sqrt(np.max(self.radial * self.radial + self.tangential * self.tangential, axis=0))
        more = wide * (longest + np.max(self.play, axis=0) - np.min(self.play, axis=0))
        play = self.play + np.tile(left_out, (len(self.play) // self.pockets, 1)) * more
        return Cones(play, self.radial, self.tangential, self.by_radial, self.by_tangential, self.pockets)

    def fitted(self, pockets: Sequence[int]) -> Array:
        """Return the pose (d, n) of each cage that leaves least squares in some pockets (at least one)."""
        some = self.of_pockets(pockets)
        moves = np.concatenate([some.by_radial, some.by_tangential])
        return np.einsum("dj,jn->dn", np.linalg.pinv(moves), np.concatenate([some.radial, some.tangential]))

    def room_at(self, pose: Array) -> Array:
        """Return what every pocket has left at a pose (d, n) of each cage, (Z, n)."""
        parts = ((self.radial, self.by_radial), (self.tangential, self.by_tangential))
        left = [v - np.einsum("jd,dn->jn", by, pose) for v, by in parts]
        return self.least_by_pocket(self.play - np.sqrt(left[0] * left[0] + left[1] * left[1]))

    def least_by_pocket(self, values: Array) -> Array:
        """Return the least over the cones of each pocket, (Z, n)."""
        return self._cone_by_cone(values).min(axis=0)

    def by_pocket(self, weights: Array) -> Array:
        """Return the sum over the cones of each pocket, (Z, n)."""
        return self._cone_by_cone(weights).sum(axis=0)

    def _cone_by_cone(self, values: Array) -> Array:
        return values.reshape(len(values) // self.pockets, self.pockets, values.shape[1])


def value(args: Sequence[Array], unknowns: Any) -> Array:
    """Return the margins (1, n) of the operation."""
    return Cones.of(args, int(unknowns)).margins()[None, :]


def slopes_of(args: Sequence[Array], unknowns: Any) -> tuple[Array, ...]:
    """Return the partial derivatives of the operation, (Z, n) each; M belongs to the place and has none."""
    count = int(unknowns)
    cones = Cones.of(args, count)
    parts = [np.split(part, len(args) // (3 + 2 * count)) for part in cones.slopes()]
    none = np.zeros((1, 1))
    found: list[Array] = []
    for play, radial, tangential in zip(*parts, strict=True):
        found += [play, radial, tangential, *[none] * (2 * count)]
    return tuple(found)
