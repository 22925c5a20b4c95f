"""The pose that leaves the most room: batches of small convex minimax problems.

For every cage (a column) the margin is

    margin = max over pose (d,) of min over j of  play_j − |v_j − M_j·pose|,

where v_j = (radial_j, tangential_j) and the two rows of M_j are by_radial_j and by_tangential_j, the same for all
cages.  With t = −margin it is a programme over second-order cones: least t with (t + play_j, v_j − M_j·pose) in
the cone of vectors (x₀, x) with |x| ≤ x₀.  The dual has one vector (λ_j, y_j) of the cone for each j, Σλ_j = 1 and
ΣM_jᵀy_j = 0; any such vectors prove margin ≤ Σλ_j·play_j + Σy_j·v_j, so every answer carries its own check.

The method is the primal–dual interior point method with the scaling of Nesterov and Todd and the predictor and
corrector of Mehrotra (Alizadeh and Goldfarb, Second-order cone programming, Mathematical Programming 95, 2003), for
all cages of a block at once; the dual vectors are eliminated, which leaves d + 1 equations a cage.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

Array = Any

BLOCK = 512
STEPS = 40
WANTED = 1e-10  # duality gap at which a cage is done, in units of its own size
DAMPING = 0.9  # how far towards the edge of the cone a step goes; closer loses the central path


@dataclass(frozen=True)
class Pose:
    """The best pose of every cage and its proof.

    ``margin`` (n,) [mm]; ``pose`` (d, n); ``weights`` (J, n), not negative, sum 1: the multipliers of the cones,
    ∂margin/∂play.  ``gap`` (n,) [mm] bounds from above how much the margin could still be larger than stated.
    """

    margin: Array
    pose: Array
    weights: Array
    gap: Array


def best_pose(play: Array, radial: Array, tangential: Array, by_radial: Array, by_tangential: Array) -> Pose:
    """Return the best pose of every cage.

    ``play``, ``radial``, ``tangential`` (J, n) [mm]; ``by_radial``, ``by_tangential`` (J, d), d = 1..3, unit mm per
    unit of the pose.  A NaN gives NaN in its cage only.  Where a direction moves no cone, the pose stays 0 along it.
    """
    play = np.asarray(play, dtype=float)
    vectors = np.stack([np.broadcast_to(np.asarray(v, dtype=float), play.shape) for v in (radial, tangential)])
    moves, back = _free_moves(np.stack([np.asarray(by_radial, dtype=float), np.asarray(by_tangential, dtype=float)]))
    cones, cages = play.shape
    margin, gap = np.empty(cages), np.empty(cages)
    weights, free = np.empty((cones, cages)), np.empty((back.shape[1], cages))
    with np.errstate(all="ignore"):
        for block in _blocks(cages):
            margin[block], free[:, block], weights[:, block], gap[block] = _solved(
                play[:, block], vectors[:, :, block], moves
            )
    return Pose(margin, np.einsum("df,fn->dn", back, free), weights, gap)


def slopes(
    solved: Pose, radial: Array, tangential: Array, by_radial: Array, by_tangential: Array
) -> tuple[Array, Array, Array]:
    """Return ∂margin/∂play, ∂margin/∂radial and ∂margin/∂tangential, each (J, n) (envelope theorem).

    A residual no longer than what the gap leaves open counts as length 0; there the last two are 0.
    """
    left = [
        np.asarray(v, dtype=float) - np.einsum("jd,dn->jn", np.asarray(by, dtype=float), solved.pose)
        for v, by in ((radial, by_radial), (tangential, by_tangential))
    ]
    length = np.sqrt(left[0] * left[0] + left[1] * left[1])
    share = np.divide(-solved.weights, length, out=np.zeros_like(length), where=~(length <= 2 * solved.gap))
    return solved.weights, share * left[0], share * left[1]


def _blocks(cages: int) -> Iterator[slice]:
    return (slice(start, min(start + BLOCK, cages)) for start in range(0, cages, BLOCK))


def _free_moves(by: Array) -> tuple[Array, Array]:
    """Return moves (2, J, f) with ΣMᵀM = 1, and the matrix (d, f) that takes them back; null directions are left out.

    f ≤ d; ``by`` is (2, J, d).
    """
    values, vectors = np.linalg.eigh(np.einsum("cjd,cje->de", by, by))
    kept = values > 1e-14 * max(values.max(initial=0.0), 1e-300)
    back = vectors[:, kept] / np.sqrt(values[kept])
    return np.einsum("cjd,df->cjf", by, back), back


def _solved(play: Array, vectors: Array, moves: Array) -> tuple[Array, Array, Array, Array]:
    """Return margin, pose, weights and gap of one block; ``moves`` (2, J, f) are orthonormal."""
    start = np.einsum("cjf,cjn->fn", moves, vectors)  # least squares, because the moves are orthonormal
    turned = np.ascontiguousarray(np.moveaxis(moves, 2, 1))[..., None]
    pose, weights, pull = _interior(play, vectors, turned, start)
    return _certified(play, vectors, moves, pose, weights, pull)


def _certified(
    play: Array, vectors: Array, moves: Array, pose: Array, weights: Array, pull: Array
) -> tuple[Array, Array, Array, Array]:
    """Return margin, pose, weights (sum 1) and a gap that holds whatever the weights are.

    For any pose of margin ≥ the stated one |residual_j| ≤ play_j − margin, so both residuals together bound how far it
    is away; that times what the pulls leave unbalanced is added to the gap.
    """
    length = _length(pull)
    weights = np.maximum(weights, length)
    total = np.add.reduce(weights, axis=0)
    weights, pull = weights / total, pull / total
    left = vectors - np.einsum("cjf,fn->cjn", moves, pose)
    room = play - _length(left)
    margin = room.min(axis=0)
    bound = np.einsum("jn,jn->n", weights, play) + np.einsum("cjn,cjn->n", pull, left)
    unbalanced = np.sqrt(np.square(np.einsum("cjf,cjn->fn", moves, pull)).sum(axis=0))
    reach = 2 * np.sqrt(np.square(play - margin).sum(axis=0))
    return margin, pose, weights, bound - margin + unbalanced * reach


def _length(x: Array) -> Array:
    return np.sqrt(x[0] * x[0] + x[1] * x[1])


def _spread(x0: Array, x: Array) -> Array:
    """Return x₀² − |x|², without the loss of the squares."""
    length = _length(x)
    return (x0 - length) * (x0 + length)


def _solve(matrix: list[list[Array]], right: list[Array]) -> list[Array]:
    """Return the solution of small symmetric positive systems, one per cage; ``matrix`` is used up."""
    size = len(right)
    right = list(right)
    tiny = 1e-300
    for i in range(size):
        inverse = 1.0 / np.maximum(matrix[i][i], tiny)
        for k in range(i + 1, size):
            factor = matrix[i][k] * inverse
            for m in range(k, size):
                matrix[k][m] = matrix[k][m] - factor * matrix[i][m]
            right[k] = right[k] - factor * right[i]
    found: list[Array] = [None] * size
    for i in reversed(range(size)):
        total = right[i]
        for k in range(i + 1, size):
            total = total - matrix[i][k] * found[k]
        found[i] = total / np.maximum(matrix[i][i], tiny)
    return found


def _step(x0: Array, x: Array, d0: Array, d: Array, spread: Array) -> Array:
    """Return how far one may go along (d0, d) and stay inside all cones, at most 1: (n,)."""
    a = d0 * d0 - d[0] * d[0] - d[1] * d[1]
    b = x0 * d0 - x[0] * d[0] - x[1] * d[1]
    inverse = (np.sqrt(np.maximum(b * b - a * spread, 0.0)) - b) / spread
    return DAMPING / np.maximum(inverse.max(axis=0), DAMPING)


def _interior(play: Array, v: Array, moves: Array, pose: Array) -> tuple[Array, Array, Array]:
    """Return pose (f, n), λ (J, n) and y (2, J, n) after the interior point method from ``pose``.

    ``moves`` (2, f, J, 1 or n).  Every cage keeps its best iterate: past it round-off produces NaN.
    """
    count, cages = play.shape
    free = moves.shape[1]
    s = v - (moves * pose[:, None, :]).sum(axis=1)
    size = _length(s).max(axis=0)
    t = (_length(s) - play).max(axis=0) + 0.3 * size + 1e-12
    z0, z = np.full((count, cages), 1.0 / count), np.zeros_like(v)
    squares = [[(moves[:, i] * moves[:, k]).sum(axis=0) for k in range(free)] for i in range(free)]
    least = np.full(cages, np.inf)
    best = [pose.copy(), z0.copy(), z.copy()]
    for _ in range(STEPS):
        s0 = t + play
        ds, dz = _spread(s0, s), _spread(z0, z)
        dot = s0 * z0 + s[0] * z[0] + s[1] * z[1]
        gap = dot.sum(axis=0)
        better = gap < least
        least = np.where(better, gap, least)
        for kept, now in zip(best, (pose, z0, z), strict=True):
            kept[...] = np.where(better, now, kept)
        if not np.any(gap > WANTED * size):
            break
        rho = np.sqrt(ds / dz)
        k = 1.0 / rho
        m0, m = s0 + rho * z0, s - rho * z
        h = k / (ds + rho * dot)
        q = (moves * m[:, None]).sum(axis=0)
        hq = h * q

        def matrix() -> list[list[Array]]:
            rows: list[list[Array]] = [[None] * (free + 1) for _ in range(free + 1)]
            rows[0][0] = (h * (m * m).sum(axis=0) + k).sum(axis=0)
            for i in range(free):
                rows[0][i + 1] = (hq[i] * m0).sum(axis=0)
                for j in range(i, free):
                    rows[i + 1][j + 1] = (hq[i] * q[j] + k * squares[i][j]).sum(axis=0)
            return rows

        def direction(c0: Array, c: Array) -> tuple[Array, Array, Array, Array, Array]:
            right = [c0.sum(axis=0) - 1.0] + [-(moves[:, i] * c).sum(axis=(0, 1)) for i in range(free)]
            dt, *rest = _solve(matrix(), right)
            dp = np.array(rest).reshape(free, cages)
            step = -(moves * dp[:, None, :]).sum(axis=1)
            along = h * (m0 * dt + (q * dp[:, None, :]).sum(axis=0))
            return dt, dp, step, c0 - z0 - along * m0 + k * dt, c - z + along * m - k * step

        def reach(dt: Array, step: Array, e0: Array, e: Array) -> tuple[Array, Array]:
            return _step(s0, s, dt, step, ds), _step(z0, z, e0, e, dz)

        dt, dp, step, e0, e = direction(np.zeros_like(z0), np.zeros_like(z))
        aim = np.clip((1.0 - np.minimum(*reach(dt, step, e0, e))) ** 2, 0.03, 0.9) * gap / count
        root = np.sqrt(2.0 * (ds + rho * dot))
        w0, w, theta = m0 / root, m / root, np.sqrt(rho)

        def scaled(x0: Array, x: Array, sign: float, factor: Array) -> tuple[Array, Array]:
            inner = w[0] * x[0] + w[1] * x[1]
            return factor * (w0 * x0 + sign * inner), factor * (x + w * (sign * x0 + inner / (1.0 + w0)))

        l0, lam = scaled(z0, z, 1.0, theta)
        a0, a = scaled(dt, step, -1.0, 1.0 / theta)
        b0, b = scaled(e0, e, 1.0, theta)
        o0, o = a0 * b0 + a[0] * b[0] + a[1] * b[1], a0 * b + b0 * a
        u0 = (l0 * o0 - lam[0] * o[0] - lam[1] * o[1]) / np.sqrt(ds * dz)
        u0, u = scaled(u0, (o - lam * u0) / l0, -1.0, 1.0 / theta)
        dt, dp, step, e0, e = direction(aim * s0 / ds - u0, -aim * s / ds - u)
        primal, dual = reach(dt, step, e0, e)
        t, pose, s = t + primal * dt, pose + primal * dp, s + primal * step
        z0, z = z0 + dual * e0, z + dual * e
    return best[0], best[1], best[2]
