"""The pose that leaves the most room: batches of small convex minimax problems.

For every cage (a column) the margin is

    margin = max over pose (d,) of min over j of  play_j − |v_j − M_j·pose|,

where v_j = (radial_j, tangential_j) and the two rows of M_j are by_radial_j and by_tangential_j, the same for all
cages.  With t = −margin it is a programme over second-order cones: least t with (t + play_j, v_j − M_j·pose) in
the cone of vectors (x₀, x) with |x| ≤ x₀.  The dual has one vector (λ_j, y_j) of the cone for each j, Σλ_j = 1 and
ΣM_jᵀy_j = 0; any such vectors prove margin ≤ Σλ_j·play_j + Σy_j·v_j, so every answer carries its own check.

Few cones bind in the end (at most d + 1 where nothing is degenerate).  So the problem is solved over the cones that
cost most at the pose of least squares (by the methods in ``cones.py``), and checked over all of them; cages that fail
the check get more cones and at last a slower method that stands kinks.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from stackup.chain.cones import Method, gathered, quick, sure

Array = Any

BLOCK = 600  # most cages worked on together, so that the arrays of the chosen cones stay in cache
# how many cones are chosen, by what method they are solved and in how many steps at most, as long as a cage fails the
# check over all; it costs less to begin again with the few that need more steps than to go on
ROUNDS: tuple[tuple[int, Method, int], ...] = (
    (12, quick, 7),
    (24, quick, 14),
    (32, quick, 14),
    (32, sure, 60),
    (10**6, sure, 60),
)
STRIP = 128  # cages ranked together, so that all their cones stay in cache
WANTED = 3e-9  # duality gap at which a cage is done, in units of its largest play less its margin at least squares
SHARPER = 0.5  # the part of it at which a method stops: the check over all cones only adds


@dataclass(frozen=True)
class Pose:
    """The best pose of every cage and its proof.

    ``margin`` (n,) [mm]; ``pose`` (d, n); ``weights`` (J, n), not negative, sum 1: the multipliers of the cones,
    ∂margin/∂play.  The largest margin lies between ``margin`` and ``margin + gap``, ``gap`` (n,) [mm].
    """

    margin: Array
    pose: Array
    weights: Array
    gap: Array


def best_pose(play: Array, radial: Array, tangential: Array, by_radial: Array, by_tangential: Array) -> Pose:
    """Return the best pose of every cage.

    ``play``, ``radial``, ``tangential`` (J, n) [mm], finite; ``by_radial``, ``by_tangential`` (J, d), d = 1..3, in mm
    per unit of the pose.  J ≥ 1, n ≥ 0.  A value that is not finite gives NaN in its cage only.  Where a direction
    moves no cone, the pose stays 0 along it; where the best pose is not unique, it is one of them.
    """
    play = np.asarray(play, dtype=float)
    v = tuple(np.broadcast_to(np.asarray(x, dtype=float), play.shape) for x in (radial, tangential))
    moves, back = _free_moves(np.stack([np.asarray(by_radial, dtype=float), np.asarray(by_tangential, dtype=float)]))
    count, cages = play.shape
    free, weights = np.full((back.shape[1], cages), np.nan), np.full((count, cages), np.nan)
    margin, gap = np.full(cages, np.nan), np.full(cages, np.nan)
    with np.errstate(all="ignore"):
        finite = np.flatnonzero(np.isfinite(sum(np.add.reduce(x, axis=0) for x in (play, *v))))
        for part in np.array_split(finite, -(-finite.size // BLOCK)) if finite.size else ():
            # a slice makes no copy
            block: Any = slice(part[0], part[-1] + 1) if finite.size == cages else part
            found = _Search(play[:, block], [x[:, block] for x in v], moves).run()
            margin[block], gap[block] = found.margin, found.gap
            free[:, block], weights[:, block] = found.pose, found.weights
    return Pose(margin, np.einsum("df,fn->dn", back, free), weights, gap)


def slopes(
    solved: Pose, radial: Array, tangential: Array, by_radial: Array, by_tangential: Array
) -> tuple[Array, Array, Array]:
    """Return ∂margin/∂play, ∂margin/∂radial and ∂margin/∂tangential, each (J, n) (envelope theorem).

    A residual no longer than twice the gap cannot be told from length 0; there the last two are 0.
    """
    left = [
        np.asarray(x, dtype=float) - np.einsum("jd,dn->jn", np.asarray(by, dtype=float), solved.pose)
        for x, by in ((radial, by_radial), (tangential, by_tangential))
    ]
    length = np.sqrt(left[0] * left[0] + left[1] * left[1])
    share = np.divide(-solved.weights, length, out=np.zeros_like(length), where=~(length <= 2.0 * solved.gap))
    return solved.weights, share * left[0], share * left[1]


def _free_moves(by: Array) -> tuple[Array, Array]:
    """Return moves (2, f, J) with ΣMᵀM = 1 and the matrix (d, f) that takes them back to ``by`` (2, J, d).

    f ≤ d: directions that move no cone are left out.
    """
    values, vectors = np.linalg.eigh(np.einsum("cjd,cje->de", by, by))
    kept = values > 1e-14 * max(float(values.max(initial=0.0)), 1e-300)
    back = vectors[:, kept] / np.sqrt(values[kept])
    return np.einsum("cjd,df->cfj", by, back), back


# -- choosing cones, and the check over all of them ------------------------------------------------------------------


class _Search:
    """The best pose of one block: rounds of choosing cones, solving over them and checking over all."""

    def __init__(self, play: Array, v: list[Array], moves: Array) -> None:
        """Begin at least squares, which is a projection because the moves are orthonormal."""
        self.play, self.v, self.moves = play, v, moves
        self.moving = [c for c in range(2) if moves[c].any()]
        # squares of the residual's parts that no pose moves
        self.still = sum((v[c] * v[c] for c in range(2) if c not in self.moving), start=np.zeros((1, play.shape[1])))
        self.pose = np.zeros((moves.shape[1], play.shape[1]))
        for c in self.moving:
            self.pose += np.einsum("fj,jn->fn", moves[c], v[c])
        self.room = self._room_at(self.pose, slice(None))
        self.margin = np.minimum.reduce(self.room, axis=0)
        # no margin is larger than the least play: the first of all bounds, with weights still to be named
        self.gap = np.minimum.reduce(play, axis=0) - self.margin
        self.weights = np.zeros_like(play)
        self.unweighted = np.ones(play.shape[1], dtype=bool)
        self.most = np.maximum.reduce(play, axis=0)

    def run(self) -> Pose:
        """Return the best pose of every cage with margin and gap."""
        wanted = WANTED * (self.most - self.margin)
        for count, method, steps in ROUNDS:
            missing = np.flatnonzero(~(self.gap <= wanted))
            if missing.size == 0:
                break
            self._round(slice(None) if missing.size == wanted.size else missing, wanted, count, method, steps)
        bare = np.flatnonzero(self.unweighted)
        self.weights[self.play[:, bare].argmin(axis=0), bare] = 1.0
        return Pose(self.margin, self.pose, self.weights, self.gap)

    def _round(self, which: Any, wanted: Array, count: int, method: Method, steps: int) -> None:
        """Solve the cages ``which`` over ``count`` cones each, check over all cones and keep what is better."""
        play, margin, room, most = self.play[:, which], self.margin[which], self.room[:, which], self.most[which]
        if not self.unweighted.all():
            # cones that bound before stay in, so that the bound of this round is no worse
            room = np.where(self.weights[:, which] > 1e-3, margin, room)
        rows = _tightest(room, min(count, len(play)))
        cones = gathered(play, [x[:, which] for x in self.v], self.moves, rows)
        found = method(cones, self.pose[:, which], SHARPER * wanted[which], self._reach(most, margin), steps)
        room = self._room_at(found.pose, which)
        new = np.minimum.reduce(room, axis=0)
        upper = margin + self.gap[which]
        bound = found.bound + found.unbalanced * self._reach(most, np.minimum(new, margin))
        columns, better, tighter = np.arange(self.margin.size)[which], new > margin, bound < upper
        self.gap[which] = np.where(tighter, bound, upper) - np.where(better, new, margin)
        for kept, other in ((self.margin, new), (self.pose, found.pose), (self.room, room)):
            _copy(kept, other, columns, better)
        proved = columns[tighter]
        if not self.unweighted[proved].all():
            self.weights[:, proved] = 0.0
        self.weights[rows[:, tighter], proved] = found.weights[:, tighter]
        self.unweighted[proved] = False

    def _room_at(self, pose: Array, which: Any) -> Array:
        """Return play_j − |residual_j| of all cones at ``pose``: (J, n)."""
        squares: Any = self.still[:, which]
        for c in self.moving:
            left = np.einsum("fj,fn->jn", self.moves[c], pose)
            np.subtract(self.v[c][:, which], left, out=left)
            left *= left
            left += squares
            squares = left
        return self.play[:, which] - np.sqrt(squares)

    def _reach(self, most: Array, margin: Array) -> Array:
        """Return the most that two poses of at least this margin can lie apart.

        There |residual_j| ≤ play_j − margin ≤ ``most`` − margin for both, and the square of their distance is
        Σ|M_j·(pose − pose′)|².
        """
        return 2.0 * np.sqrt(len(self.play)) * (most - margin)


def _copy(kept: Array, other: Array, columns: Array, where: Array) -> None:
    """Copy those columns of ``other`` that are marked into the columns of ``kept`` they belong to."""
    if columns.size == kept.shape[-1]:
        np.copyto(kept, other, where=where)
    else:
        kept[..., columns[where]] = other[..., where]


def _tightest(room: Array, count: int) -> Array:
    """Return the row numbers of the ``count`` least rooms of every cage, in rising order: (count, n)."""
    size = len(room)
    if count == size:
        return np.broadcast_to(np.arange(size)[:, None], room.shape)
    # whole numbers with the row number in their low digits: numpy selects among them faster than it selects indices
    numbers = np.arange(size, dtype=np.int32)[:, None]
    chosen = np.empty((room.shape[1], count), dtype=np.intp)
    for start in range(0, room.shape[1], STRIP):
        strip = room[:, start : start + STRIP]
        steps = strip - np.minimum.reduce(strip, axis=0)
        steps *= (2**31 // size - 2) / np.maximum(np.maximum.reduce(steps, axis=0), 1e-300)
        keys = steps.astype(np.int32)
        keys *= size
        keys += numbers
        chosen[start : start + STRIP] = np.partition(np.ascontiguousarray(keys.T), count - 1, axis=1)[:, :count] % size
    chosen.sort(axis=1)
    return np.ascontiguousarray(chosen.T)
