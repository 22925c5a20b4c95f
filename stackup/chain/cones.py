"""Two interior point methods for least t with |v_j − M_j·pose| ≤ t + play_j, for many cages at once.

What stands here solves over a few cones of each cage that ``pose.py`` has chosen; how the problem, its dual and the
names are meant is written there.  Arrays end in the axis of the cages; K cones, f unknowns.  In both methods the
multipliers are eliminated, which leaves f + 1 equations a cage.

``quick`` takes |residual_j| as a smooth function: predictor and corrector of Mehrotra on the equations of Nocedal and
Wright, Numerical Optimization, 2nd ed. (2006), 14.2 and 19.3.  ``sure`` is slower and stands residuals of length 0:
second-order cones with the scaling of Nesterov and Todd, after Alizadeh and Goldfarb, Second-order cone programming,
Mathematical Programming 95 (2003), section 7.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields
from typing import Any

import numpy as np

Array = Any

UNDONE = 4  # steps of the quick method before which no cage is done
# part of the way to the edge that a step goes, and how far above the costs t begins, as a part of their size: the
# bold ones were found best by trial (iterations to the gap); with them the sure method would lose the path
QUICK_DAMPING, QUICK_RISE = 0.9995, 0.02
SURE_DAMPING, SURE_RISE = 0.9, 0.3


@dataclass(frozen=True)
class Cones:
    """The chosen cones of every cage: ``play`` (K, n), ``v`` (2, K, n) and ``moves`` (c, f, K, n).

    ``moving`` names the c parts 0, 1 of ``v`` that a pose moves at all.
    """

    play: Array
    v: Array
    moves: Array
    moving: list[int]

    def left(self, pose: Array) -> Array:
        """Return the residuals (2, K, n)."""
        left = self.v.copy()
        left[self.moving] -= np.einsum("cfkn,fn->ckn", self.moves, pose)
        return left


def gathered(play: Array, v: list[Array], moves: Array, rows: Array) -> Cones:
    """Return the cones ``rows`` (K, n) out of ``play`` (J, n), the two parts ``v`` (J, n) and ``moves`` (2, f, J)."""
    chosen = np.stack([np.take_along_axis(x, rows, axis=0) for x in v])
    moving = [c for c in range(2) if moves[c].any()]
    return Cones(np.take_along_axis(play, rows, axis=0), chosen, np.take(moves[moving], rows, axis=2), moving)


@dataclass(frozen=True)
class Answer:
    """What a method found over chosen cones.

    ``pose`` (f, n), ``weights`` (K, n) of sum 1; every pose p′ has margin ≤ ``bound`` + ``unbalanced``·|p′ − pose|.
    """

    pose: Array
    weights: Array
    bound: Array
    unbalanced: Array

    def put(self, where: Array, which: Array, other: Answer) -> None:
        """Overwrite the columns ``where`` by the columns ``which`` of another answer."""
        for field in fields(self):
            getattr(self, field.name)[..., where] = getattr(other, field.name)[..., which]


def _no_answer(pose: Array, count: int) -> Answer:
    cages = pose.shape[1]
    return Answer(pose.copy(), np.full((count, cages), 1.0 / count), np.full(cages, np.inf), np.zeros(cages))


def _least_level(cost: Array, length: Array, rise: float) -> Array:
    """Return a first t above all costs, by ``rise`` times their own size."""
    worst = np.maximum.reduce(cost, axis=0)
    return worst + rise * np.maximum(np.maximum.reduce(length, axis=0), worst - np.minimum.reduce(cost, axis=0))


# -- small symmetric systems, one a cage ------------------------------------------------------------------------------


def _factored(matrix: Array) -> tuple[list[Array], Array]:
    """Return the columns of L below the diagonal and 1/D of symmetric positive matrices (m, m, n), used up."""
    size = len(matrix)
    below, inverse = [], np.empty_like(matrix[0])
    for i in range(size):
        np.divide(1.0, matrix[i, i], out=inverse[i])
        below.append(matrix[i, i + 1 :] * inverse[i])
        matrix[i + 1 :, i + 1 :] -= below[i][:, None] * matrix[i, None, i + 1 :]
    return below, inverse


def _solved(factors: tuple[list[Array], Array], right: Array) -> Array:
    """Return the unknowns (m, n) of the systems with the right side (m, n), which is used up."""
    below, inverse = factors
    for i, column in enumerate(below[:-1]):
        right[i + 1 :] -= column * right[i]
    right *= inverse
    for i in reversed(range(len(below) - 1)):
        right[i] -= np.add.reduce(below[i] * right[i + 1 :], axis=0)
    return right


# -- the quick method: smooth constraints ------------------------------------------------------------------------------


class _Smooth:
    """An iterate of the quick method: pose, t, slack_j of the constraint cost_j(pose) ≤ t, and its weight λ_j.

    The equations are λ_j·slack_j = μ, cost_j + slack_j = t, Σλ_j = 1 and Σλ_j·slope_j = 0, with slope_j the gradient
    of cost_j = |residual_j| − play_j.
    """

    def __init__(self, cones: Cones, pose: Array) -> None:
        """Begin at ``pose``, with equal products of weight and slack."""
        self.play, moving = cones.play, cones.moving
        self.v, self.moves = cones.v[moving], cones.moves
        self.still = sum(cones.v[c] ** 2 for c in range(2) if c not in moving) + np.zeros_like(self.play)
        self.squares = np.einsum("cfkn,cgkn->fgkn", self.moves, self.moves)
        self._at(pose)
        self.t = _least_level(self.cost, self.length, QUICK_RISE)
        self.slack = self.t - self.cost
        self.weights = 1.0 / self.slack
        self.weights /= np.add.reduce(self.weights, axis=0)

    def _at(self, pose: Array) -> None:
        self.pose = pose
        left = self.v - np.einsum("cfkn,fn->ckn", self.moves, pose)
        self.length = np.sqrt(np.einsum("ckn,ckn->kn", left, left) + self.still)
        self.cost = self.length - self.play
        self.slope = np.einsum("cfkn,ckn->fkn", self.moves, left)
        self.slope /= -self.length

    def only(self, which: Array) -> None:
        """Forget all other cages."""
        for name, x in vars(self).items():
            setattr(self, name, x[..., which])

    def answer(self) -> Answer:
        """Return the pose and what the weights prove: the pull on a cone is its weight along the residual."""
        total = np.add.reduce(self.weights, axis=0)
        bound = -np.einsum("kn,kn->n", self.weights, self.cost) / total
        torque = np.einsum("fkn,kn->fn", self.slope, self.weights) / total
        return Answer(self.pose, self.weights / total, bound, np.sqrt(np.einsum("fn,fn->n", torque, torque)))

    def advance(self) -> None:
        """Go one step: a predictor that aims at μ = 0, then a corrector."""
        slack, weights = self.slack, self.weights
        ratio = weights / slack
        miss = self.t - self.cost - slack
        factors = _factored(self._matrix(ratio))
        products = weights * slack
        lack = ratio * miss

        def direction(free: Array) -> tuple[Array, Array, Array]:
            # free is what λ becomes in a pose that stays
            right = np.empty_like(factors[1])
            np.subtract(np.add.reduce(free, axis=0), 1.0, out=right[0])
            np.negative(np.einsum("fkn,kn->fn", self.slope, free), out=right[1:])
            dt, *_ = move = _solved(factors, right)
            return dt, move[1:], dt + miss - np.einsum("fkn,fn->kn", self.slope, move[1:])

        # the predictor has target 0, hence Δλ/λ = −1 − Δslack/slack
        _, _, change = direction(-lack)
        change /= slack
        primal = 1.0 / np.maximum(-np.minimum.reduce(change, axis=0), 1.0)
        dual = 1.0 / np.maximum(1.0 + np.maximum.reduce(change, axis=0), 1.0)
        first = products * change
        second = first * change
        mean, linear, square = (np.add.reduce(x, axis=0) for x in (products, first, second))
        left = (1.0 - dual) * mean + (primal * (1.0 - dual) - dual) * linear - primal * dual * square
        # Mehrotra: the cube of the part the predictor leaves
        aim = np.minimum(np.maximum((left / mean) ** 3, 1e-3), 0.9) * mean / len(slack)
        # what a short predictor promises is not to be trusted: its second order counts by how far it came (by trial)
        target = (aim + np.minimum(1.5 * primal * dual, 1.0) * (first + second)) / slack
        dt, move, step = direction(target - lack)
        gain = target - weights - ratio * step
        primal = QUICK_DAMPING / np.maximum(-np.minimum.reduce(step / slack, axis=0), QUICK_DAMPING)
        dual = QUICK_DAMPING / np.maximum(-np.minimum.reduce(gain / weights, axis=0), QUICK_DAMPING)
        self.t = self.t + primal * dt
        self.slack = slack + primal * step
        self.weights = weights + dual * gain
        self._at(self.pose + primal * move)

    def _matrix(self, ratio: Array) -> Array:
        """Return the matrix of the f + 1 equations left after elimination, for t and the pose."""
        slope, size = self.slope, len(self.slope) + 1
        bend = self.weights / self.length
        matrix = np.empty((size, size, ratio.shape[1]))
        matrix[0, 0] = np.add.reduce(ratio, axis=0)
        np.negative(np.einsum("kn,fkn->fn", ratio, slope), out=matrix[0, 1:])
        np.einsum("fkn,gkn->fgn", (ratio - bend) * slope, slope, out=matrix[1:, 1:])
        matrix[1:, 1:] += np.einsum("kn,fgkn->fgn", bend, self.squares)
        return matrix


def quick(cones: Cones, pose: Array, wanted: Array, reach: Array, steps: int) -> Answer:
    """Return the answer of the interior point method for smooth constraints; it may fail at a residual of length 0.

    ``wanted`` (n,) is the gap at which a cage is done, ``reach`` (n,) how far the best pose may lie away; no more than
    ``steps`` steps are gone.
    """
    best = _no_answer(pose, len(cones.play))
    now = _Smooth(cones, pose)
    alive = np.arange(pose.shape[1])
    todo = np.ones(alive.size, dtype=bool)
    for step in range(steps):
        if step < UNDONE:
            now.advance()
            continue
        answer = now.answer()
        gap = answer.bound + np.maximum.reduce(now.cost, axis=0) + answer.unbalanced * reach[alive]
        done = todo & (gap <= wanted[alive])
        best.put(alive[done], done, answer)
        todo &= ~done
        if not todo.any():
            return best
        if 2 * np.count_nonzero(todo) < todo.size:
            now.only(todo)
            alive, todo = alive[todo], todo[todo]
        now.advance()
    answer = now.answer()
    todo &= np.isfinite(answer.bound + answer.unbalanced)
    best.put(alive[todo], todo, answer)
    return best


# -- the sure method: second-order cones -------------------------------------------------------------------------------
# a vector of the cone is one array (3, K, n): x₀ and the two components of x

MIRROR = np.array([1.0, -1.0, -1.0])[:, None, None]


def _dot(a: Array, b: Array) -> Array:
    return np.einsum("ckn,ckn->kn", a, b)


def _spread(x: Array) -> Array:
    """Return x₀² − |x|² without the loss of the squares."""
    length = np.sqrt(_dot(x[1:], x[1:]))
    return (x[0] - length) * (x[0] + length)


def _mirrored(x: Array) -> Array:
    return x * MIRROR


def _steps_inside(x: Array, change: Array) -> Array:
    """Return the length of step (n,), at most 1, that stays inside all cones."""
    spread = _spread(x)
    slope = _dot(_mirrored(x), change)
    inverse = (np.sqrt(np.maximum(slope**2 - _dot(_mirrored(change), change) * spread, 0.0)) - slope) / spread
    return SURE_DAMPING / np.maximum(np.maximum.reduce(inverse, axis=0), SURE_DAMPING)


class _Scaling:
    """The scaling W of Nesterov and Todd for s, z inside the cone: W·z = W⁻¹·s; W² maps z to s."""

    def __init__(self, s: Array, z: Array) -> None:
        self.spread = _spread(s)
        ratio = np.sqrt(self.spread / _spread(z))
        self.part = 1.0 / ratio
        self.m = s + ratio * _mirrored(z)
        norm = self.spread + ratio * _dot(s, z)
        self.weight = self.part / norm
        self.axis, self.theta = self.m / np.sqrt(2.0 * norm), np.sqrt(ratio)

    def apply(self, x: Array) -> Array:
        """Return W·x."""
        return self._turned(self.axis, x) * self.theta

    def undo(self, x: Array) -> Array:
        """Return W⁻¹·x."""
        return self._turned(_mirrored(self.axis), x) / self.theta

    def twice_undone(self, x: Array) -> Array:
        """Return W⁻²·x."""
        mirror = _mirrored(self.m)
        return self.weight * _dot(mirror, x) * mirror - self.part * _mirrored(x)

    @staticmethod
    def _turned(axis: Array, x: Array) -> Array:
        inner = _dot(axis[1:], x[1:])
        first = axis[0] * x[0] + inner
        return np.concatenate([first[None], x[1:] + axis[1:] * (x[0] + inner / (1.0 + axis[0]))])


class _Conic:
    """An iterate of the sure method: pose, s_j = (t + play_j, residual_j) and the dual z_j = (λ_j, y_j).

    Both stay feasible, for their equations are linear.
    """

    def __init__(self, cones: Cones, pose: Array) -> None:
        """Begin at ``pose`` with equal weights and no pull."""
        self.play, self.v = cones.play, cones.v
        # one move more in front, that of t
        self.moves = np.zeros((3, 1 + len(pose), *cones.play.shape))
        self.moves[0, 0] = 1.0
        for part, move in zip(cones.moving, cones.moves, strict=True):
            self.moves[1 + part, 1:] = -move
        self.squares = np.einsum("cfkn,cgkn->fgkn", MIRROR[..., None] * self.moves, self.moves)
        left = cones.left(pose)
        length = np.sqrt(_dot(left, left))
        self.unknown = np.concatenate([_least_level(length - cones.play, length, SURE_RISE)[None], pose])
        self.z = np.concatenate([np.full((1, *cones.play.shape), 1.0 / len(cones.play)), np.zeros_like(left)])
        self.s = np.concatenate([(self.unknown[0] + cones.play)[None], left])

    def answer(self) -> Answer:
        """Return the pose and what the dual proves; weights too small for their pull are raised."""
        pull = self.z[1:]
        weights = np.maximum(self.z[0], np.sqrt(_dot(pull, pull)))
        total = np.add.reduce(weights, axis=0)
        bound = np.einsum("kn,kn->n", weights, self.play) + np.einsum("ckn,ckn->n", pull, self.s[1:])
        torque = np.einsum("cfkn,ckn->fn", self.moves[1:, 1:], pull) / total
        return Answer(self.unknown[1:], weights / total, bound / total, np.sqrt(np.einsum("fn,fn->n", torque, torque)))

    def advance(self) -> None:
        """Go one step: a predictor that aims at μ = 0, then a corrector."""
        s, z = self.s, self.z
        scaling = _Scaling(s, z)
        factors = _factored(self._matrix(scaling))

        def direction(target: Array) -> tuple[Array, Array, Array]:
            # target is what z becomes where s stays
            right = np.einsum("cfkn,ckn->fn", self.moves, target)
            right[0] -= 1.0
            move = _solved(factors, right)
            step = np.einsum("cfkn,fn->ckn", self.moves, move)
            return move, step, target - z - scaling.twice_undone(step)

        _, step, gain = direction(np.zeros_like(z))
        left = 1.0 - np.minimum(_steps_inside(s, step), _steps_inside(z, gain))
        aim = np.minimum(np.maximum(left**2, 0.03), 0.9) * np.add.reduce(_dot(s, z), axis=0) / len(self.play)
        second = scaling.undo(_divided(scaling.apply(z), _product(scaling.undo(step), scaling.apply(gain))))
        move, step, gain = direction(aim * _mirrored(s) / scaling.spread - second)
        primal = _steps_inside(s, step)
        self.unknown = self.unknown + primal * move
        self.s, self.z = s + primal * step, z + _steps_inside(z, gain) * gain

    def _matrix(self, scaling: _Scaling) -> Array:
        q = np.einsum("cfkn,ckn->fkn", self.moves, _mirrored(scaling.m))
        matrix = np.einsum("fkn,gkn->fgn", scaling.weight * q, q)
        matrix -= np.einsum("fgkn,kn->fgn", self.squares, scaling.part)
        return matrix


def _product(a: Array, b: Array) -> Array:
    """Return the product of the algebra of the cone, (a·b, a₀b + b₀a)."""
    return np.concatenate([_dot(a, b)[None], a[0] * b[1:] + b[0] * a[1:]])


def _divided(a: Array, b: Array) -> Array:
    """Return x with a∘x = b."""
    first = _dot(_mirrored(a), b) / _spread(a)
    return np.concatenate([first[None], (b[1:] - first * a[1:]) / a[0]])


def sure(cones: Cones, pose: Array, wanted: Array, reach: Array, steps: int) -> Answer:
    """Return the answer of the interior point method for second-order cones; arguments as for ``quick``."""
    best = _no_answer(pose, len(cones.play))
    least = np.full(pose.shape[1], np.inf)
    now = _Conic(cones, pose)
    for _ in range(steps):
        answer = now.answer()
        left = cones.left(answer.pose)
        worst = np.maximum.reduce(np.sqrt(_dot(left, left)) - cones.play, axis=0)
        gap = answer.bound + worst + answer.unbalanced * reach
        # past the best iterate round-off produces NaN
        better = (gap < least) & ~(least <= wanted)
        best.put(better, better, answer)
        least = np.where(better, gap, least)
        if np.all(least <= wanted) or not np.any(np.isfinite(gap)):
            break
        now.advance()
    return best


Method = Callable[[Cones, Array, Array, Array, int], Answer]
