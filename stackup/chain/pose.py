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

from collections.abc import Iterator, Sequence
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
    (32, quick, 10),
    (48, quick, 14),
    (96, quick, 20),
    (32, sure, 60),
    (10**6, sure, 60),
)
STRIP = 64  # cages whose cones are all looked at together, so that they stay in cache
# duality gap at which a cage is done, in units of its largest play less its margin at least squares: 2e-8 mm of 0.6 mm,
# a fifth of what a margin may be wrong by; more digits cost a step
WANTED = 3e-8
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
    play, v, moves, back = _prepared(play, radial, tangential, by_radial, by_tangential)
    count, cages = play.shape
    free, weights = np.full((back.shape[1], cages), np.nan), np.full((count, cages), np.nan)
    margin, gap = np.full(cages, np.nan), np.full(cages, np.nan)
    for block, found in _solved(play, v, moves):
        margin[block], gap[block] = found.margin, found.gap
        free[:, block], weights[:, block] = found.pose, found.weights()
    return Pose(margin, np.einsum("df,fn->dn", back, free), weights, gap)


def best_margin(play: Array, radial: Array, tangential: Array, by_radial: Array, by_tangential: Array) -> Array:
    """Return the margin (n,) of :func:`best_pose`, to the bit, and nothing else of it."""
    play, v, moves, _ = _prepared(play, radial, tangential, by_radial, by_tangential)
    margin = np.full(play.shape[1], np.nan)
    for block, found in _solved(play, v, moves):
        margin[block] = found.margin
    return margin


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


def _prepared(
    play: Array, radial: Array, tangential: Array, by_radial: Array, by_tangential: Array
) -> tuple[Array, list[Array], Array, Array]:
    """Return play, both parts of v, the moves, and the matrix that takes poses back."""
    play = np.asarray(play, dtype=float)
    v = [np.broadcast_to(np.asarray(x, dtype=float), play.shape) for x in (radial, tangential)]
    moves, back = _free_moves(np.stack([np.asarray(by_radial, dtype=float), np.asarray(by_tangential, dtype=float)]))
    return play, v, moves, back


def _solved(play: Array, v: Sequence[Array], moves: Array) -> Iterator[tuple[Any, _Search]]:
    """Yield the finite cages in blocks, and what was found of each block."""
    cages = play.shape[1]
    with np.errstate(all="ignore"):
        finite = np.flatnonzero(np.isfinite(sum(np.add.reduce(x, axis=0) for x in (play, *v))))
        for part in np.array_split(finite, -(-finite.size // BLOCK)) if finite.size else ():
            # a slice makes no copy
            block: Any = slice(part[0], part[-1] + 1) if finite.size == cages else part
            found = _Search(play[:, block], [x[:, block] for x in v], moves)
            found.run()
            yield block, found


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
    """The best pose of one block: rounds of choosing cones, solving over them and checking over all.

    ``margin`` at ``pose`` is found, ``upper`` is proved, ``gap`` lies between.
    """

    def __init__(self, play: Array, v: list[Array], moves: Array) -> None:
        """Begin at least squares, which is a projection because the moves are orthonormal."""
        self.play, self.v, self.moves = play, v, moves
        #: M of the parts of v that a pose moves at all, (J, f) each
        self.moving = {c: np.ascontiguousarray(moves[c].T) for c in range(2) if moves[c].any()}
        self.pose = sum((moves[c] @ v[c] for c in self.moving), start=np.zeros((moves.shape[1], play.shape[1])))
        self.margin = np.full(play.shape[1], -np.inf)
        # no margin is larger than the least play
        self.upper, self.most = np.minimum.reduce(play, axis=0), np.maximum.reduce(play, axis=0)
        #: by round: cages that it proved better, its cones there and their weights
        self.proofs: list[tuple[Array, Array, Array]] = []

    @property
    def gap(self) -> Array:
        """Return how much larger the largest margin may be."""
        return self.upper - self.margin

    def weights(self, which: Any = slice(None)) -> Array:
        """Return the weights of all cones (J, n) of some cages; where the least play is the bound, that cone's."""
        cages = np.arange(self.margin.size)[which]
        place = np.full(self.margin.size, -1)
        place[cages] = np.arange(cages.size)
        found, bare = np.zeros((len(self.play), cages.size)), np.ones(cages.size, dtype=bool)
        for columns, rows, weights in self.proofs:
            here = place[columns] >= 0
            where = place[columns[here]]
            found[:, where] = 0.0
            found[rows[:, here], where] = weights[:, here]
            bare[where] = False
        found[self.play[:, cages[bare]].argmin(axis=0), np.flatnonzero(bare)] = 1.0
        return found

    def run(self) -> None:
        """Find the best pose of every cage."""
        wanted, missing = np.empty(0), np.arange(self.margin.size)
        for count, method, steps in ROUNDS:
            which: Any = slice(None) if missing.size == self.margin.size else missing
            rows = self._tightest(which, min(count, len(self.play)))
            if wanted.size == 0:
                wanted = WANTED * (self.most - self.margin)
            self._round(which, rows, SHARPER * wanted[which], method, steps)
            missing = np.flatnonzero(~(self.gap <= wanted))
            if missing.size == 0:
                break

    def _tightest(self, which: Any, count: int) -> Array:
        """Return the cones (count, n) that have least room at the pose so far, in rising order.

        Those that bound before stay in, so that the bound of the next round is no worse.
        """
        kept = self.weights(which) > 1e-3 if self.proofs else None
        found = np.empty((count, self.play[:, which].shape[1]), dtype=np.intp)
        margin = self.margin[which]
        for strip, room in self._rooms(self.pose[:, which], which):
            margin[strip] = np.minimum.reduce(room, axis=0)
            if kept is not None:
                np.copyto(room, margin[strip], where=kept[:, strip])
            found[:, strip] = _least(room, count)
        self.margin[which] = margin
        return found

    def _round(self, which: Any, rows: Array, wanted: Array, method: Method, steps: int) -> None:
        """Solve the cages ``which`` over the cones ``rows``, check over all cones and keep what is better."""
        margin, most, upper = self.margin[which], self.most[which], self.upper[which]
        cones = gathered(self.play[:, which], [x[:, which] for x in self.v], self.moves, rows)
        found = method(cones, self.pose[:, which], wanted, self._reach(most, margin), steps)
        new = np.empty_like(margin)
        for strip, room in self._rooms(found.pose, which):
            new[strip] = np.minimum.reduce(room, axis=0)
        bound = found.bound + found.unbalanced * self._reach(most, np.minimum(new, margin))
        better, tighter = new > margin, bound < upper
        self.pose[:, which] = np.where(better, found.pose, self.pose[:, which])
        self.margin[which], self.upper[which] = np.where(better, new, margin), np.where(tighter, bound, upper)
        self.proofs.append((np.arange(self.margin.size)[which][tighter], rows[:, tighter], found.weights[:, tighter]))

    def _rooms(self, pose: Array, which: Any) -> Iterator[tuple[slice, Array]]:
        """Yield the cages ``which`` in strips, with play_j − |residual_j| of all cones (J, strip) at ``pose``."""
        play, v = self.play[:, which], [x[:, which] for x in self.v]
        for start in range(0, play.shape[1], STRIP):
            strip = slice(start, start + STRIP)
            room: Any = 0.0
            for c in range(2):
                left = v[c][:, strip]
                if c in self.moving:
                    left = left - self.moving[c] @ pose[:, strip]
                room = room + left * left
            np.sqrt(room, out=room)
            yield strip, np.subtract(play[:, strip], room, out=room)

    def _reach(self, most: Array, margin: Array) -> Array:
        """Return the most that two poses of at least this margin can lie apart.

        There |residual_j| ≤ play_j − margin ≤ ``most`` − margin for both, and the square of their distance is
        Σ|M_j·(pose − pose′)|².
        """
        return 2.0 * np.sqrt(len(self.play)) * (most - margin)


def _least(room: Array, count: int) -> Array:
    """Return the row numbers of the ``count`` least rooms of every cage, in rising order: (count, n)."""
    size = len(room)
    if count == size:
        return np.broadcast_to(np.arange(size)[:, None], room.shape)
    # whole numbers with the row number in their low digits: numpy selects among them faster than it selects indices
    steps = room - np.minimum.reduce(room, axis=0)
    steps *= (2**31 // size - 2) / np.maximum(np.maximum.reduce(steps, axis=0), 1e-300)
    keys = steps.astype(np.int32)
    keys *= size
    keys += np.arange(size, dtype=np.int32)[:, None]
    chosen = np.partition(np.ascontiguousarray(keys.T), count - 1, axis=1)[:, :count] % size
    chosen.sort(axis=1)
    return chosen.T
