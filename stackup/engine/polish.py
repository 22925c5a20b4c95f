"""Moving a point to a local extreme, kinks that are with us written as constraints.

Where the least value lies on a kink (a ramp that must be small), gradients alone zigzag.  Each such ramp is
replaced by a variable of its own that may be neither less than its argument nor less than zero; what is left is
smooth there and goes to scipy's sequential quadratic programming (D. Kraft, DFVLR-FB 88-28, 1988), discs as
constraints.  The result is only a candidate: it is put back inside the region and valued by the form itself.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from stackup.chain.bounds import Bounder
from stackup.chain.forms import Rows, atom_slopes

Array = Any

#: how far a freed ramp may be from the value that its argument gives it
DRIFT = 1e-6
#: how near to zero a constraint (in half-widths or mm) counts as active
ACTIVE = 1e-6


class Mover:
    """Moves points of one column of a bounder's ground downhill."""

    def __init__(self, bounder: Bounder, column: int) -> None:
        """Take the region of one column, inputs that enter only through one sum drawn together."""
        self.bounder, self.form = bounder, bounder.form
        self.origin = np.array([column])
        region = bounder.region
        self.low, self.high = region.low[:, column], region.high[:, column]
        self.discs = region.discs_of(column)
        self.weights = np.concatenate([self.matrix(rows)[:, : len(self.low)] for rows in self._all_rows()])

    def _all_rows(self) -> list[Rows]:
        return [*(block.rows for block in self.form.blocks), self.form.root]

    def matrix(self, rows: Rows) -> Array:
        """Return the matrix of rows in this column."""
        return rows.matrix[self.origin[0] if len(rows.matrix) > 1 else 0]

    def constant(self, rows: Rows) -> Array:
        """Return the constants of rows in this column."""
        return rows.constant[self.origin[0] if len(rows.constant) > 1 else 0]

    def descend(self, start: Array, ours: Sequence[int], steps: int) -> tuple[Array, dict[int, float]]:
        """Return a point of the region from ``start`` downhill, and the slopes of its ramps.

        ``ours`` are the ramps (places among the variables) to free.  The slope of a ramp is the share of its
        argument in the Lagrangian there: a line of that slope below the ramp touches the extreme.  A ramp that
        drifts away from its argument was not with us after all, and is bound again.
        """
        ours = list(ours)
        while True:
            task = _Task(self, ours, start)
            x = task.minimise(steps)
            if x is None:
                return start, {}
            loose = [i for i, drift in zip(ours, task.drifts(x), strict=True) if drift > DRIFT]
            point = self.bounder.region.inside(task.point(x)[:, None], self.origin)[:, 0]
            point = np.clip(point, self.low, self.high)
            if not loose:
                return point, task.shares(x)
            start, ours = point, [i for i in ours if i not in loose]

    def value(self, point: Array) -> float:
        """Return sign·output at a point."""
        return float(self.bounder.values(point[:, None], self.origin)[0][0])


class _Groups:
    """Unknowns in place of inputs: point = centre + spread·unknowns, each unknown −1…1, pairs of them in discs.

    Inputs whose coefficients are in one proportion everywhere move together, and so do discs.
    """

    def __init__(self, mover: Mover) -> None:
        self.centre = 0.5 * (mover.low + mover.high)
        self.columns: list[Array] = []
        self.keys: list[Array] = []
        self.weights: list[Array] = []
        self.discs: list[tuple[int, int, Any]] = []
        width = 0.5 * (mover.high - mover.low)
        grown = {disc[5][0] for disc in mover.discs if disc[5] is not None}
        paired = {place for disc in mover.discs for place in disc[:2] if place >= 0}
        for i in np.flatnonzero(width > 0):
            if int(i) not in paired:
                self._add(mover.weights[:, [i]], [int(i)], width[i], int(i) not in grown)
        for disc in mover.discs:
            places = [p for p in disc[:2] if p >= 0]
            if width[places[0]] > 0:
                first = self._add(mover.weights[:, places], places, width[places[0]], disc[5] is None)
                if first is not None:
                    self.discs.append((first, first + len(places) - 1, disc if disc[5] is not None else None))
        self.spread = np.stack(self.columns, axis=1) if self.columns else np.zeros((len(self.centre), 0))

    def _add(self, weights: Array, places: list[int], width: float, may_join: bool) -> int | None:
        """Give places their unknowns, or join them to those of the same proportions; return the first new one."""
        size = float(np.sqrt(np.sum(weights * weights)))
        key = weights / max(size, 1e-300)
        for first, had in enumerate(self.keys if may_join and size > 0 else []):
            if had.shape == key.shape and had.shape[1]:
                sign = 1.0 if np.sum(had * key) > 0 else -1.0
                if np.max(np.abs(had - sign * key)) < 1e-12:
                    for k, place in enumerate(places):
                        self.columns[first + k][place] = sign * width
                        self.weights[first + k][place] = sign * size
                    return None
        for k, place in enumerate(places):
            column, weight = np.zeros((2, len(self.centre)))
            column[place], weight[place] = width, max(size, 1e-300)
            self.columns.append(column)
            self.weights.append(weight)
            self.keys.append(key if may_join and k == 0 else np.zeros((len(key), 0)))
        return len(self.columns) - len(places)

    def unknowns(self, point: Array) -> Array:
        """Return the unknowns that give every sum the value that it has at a point."""
        pairs = zip(self.weights, self.columns, strict=True)
        return np.array([w @ (point - self.centre) / max(np.abs(w) @ np.abs(c), 1e-300) for w, c in pairs])


class _Task:
    """What the quadratic programming asks: value, constraints and their slopes.

    Unknowns are those of the groups, then the freed ramps.
    """

    def __init__(self, mover: Mover, ours: Sequence[int], start: Array) -> None:
        self.mover, self.form, self.ours, self.start = mover, mover.form, ours, start
        self.groups = _Groups(mover)
        self.moving = self.groups.spread.shape[1]
        self.count = self.moving + len(ours)
        self.reach = float(np.max(0.5 * (mover.high - mover.low), initial=1e-9))
        self._x: Array | None = None

    def minimise(self, steps: int) -> Array | None:
        """Return the unknowns of a local extreme, or nothing where none may move or the programming fails."""
        from scipy.optimize import minimize

        if not self.count:
            return None
        begin = np.zeros(self.count)
        begin[: self.moving] = np.clip(self.groups.unknowns(self.start), -1.0, 1.0)
        values, _ = self.form.values(self.start[:, None], self.mover.origin)
        begin[self.moving :] = values[list(self.ours), 0] / self.reach
        bounds = [(-1.0, 1.0)] * self.moving + [(0.0, None)] * len(self.ours)
        bound = bool(self.ours or self.groups.discs)
        rules = [{"type": "ineq", "fun": self.constraints, "jac": self.slopes}] if bound else []
        with np.errstate(all="ignore"):
            result = minimize(
                self.objective,
                begin,
                jac=True,
                method="SLSQP",
                bounds=bounds,
                constraints=rules,
                options={"maxiter": steps, "ftol": 1e-9},
            )
        return result.x if np.all(np.isfinite(result.x)) else None

    def point(self, x: Array) -> Array:
        """Return the inputs at ``x``."""
        return self.groups.centre + self.groups.spread @ x[: self.moving]

    def _go(self, x: Array) -> None:
        """Walk the form forward with slopes: value and gradient of every variable and argument."""
        if self._x is not None and np.array_equal(x, self._x):
            return
        form, mover = self.form, self.mover
        values, gradient = np.zeros(form.size), np.zeros((form.size, self.count))
        values[: len(self.start)] = self.point(x)
        gradient[: len(self.start), : self.moving] = self.groups.spread
        self.arguments: dict[int, tuple[float, Array]] = {}
        for block in form.blocks:
            matrix = mover.matrix(block.rows)
            rows, slope = matrix @ values + mover.constant(block.rows), matrix @ gradient
            atoms, partials = atom_slopes(block.op, rows.reshape(block.arguments, block.count), block.power)
            values[block.atoms] = atoms
            turned = slope.reshape(block.arguments, block.count, -1)
            gradient[block.atoms] = sum(p[:, None] * t for p, t in zip(partials, turned, strict=True))
            for k, index in enumerate(self.ours):
                if block.first <= index < block.first + block.count:
                    self.arguments[index] = float(rows[index - block.first]), slope[index - block.first]
                    values[index] = x[self.moving + k] * self.reach
                    gradient[index] = 0.0
                    gradient[index, self.moving + k] = self.reach
        sign, root = mover.bounder.sign, mover.matrix(form.root)[0]
        self._value = sign * float(root @ values + mover.constant(form.root)[0])
        self._gradient = sign * (root @ gradient)
        self._values, self._slopes, self._x = values, gradient, np.array(x)

    def objective(self, x: Array) -> tuple[float, Array]:
        """Return sign·output and its gradient."""
        self._go(x)
        return self._value, self._gradient

    def constraints(self, x: Array) -> Array:
        """Return what must not be negative: freed ramps over their arguments, points inside discs."""
        self._go(x)
        over = [float(self._values[i] - self.arguments[i][0]) for i in self.ours]
        return np.array(over + [self._room(x, disc)[0] for disc in self.groups.discs])

    def slopes(self, x: Array) -> Array:
        """Return the gradients of the constraints."""
        self._go(x)
        rows = []
        for k, index in enumerate(self.ours):
            row = -self.arguments[index][1]
            row[self.moving + k] += self.reach
            rows.append(row)
        return np.array(rows + [self._room(x, disc)[1] for disc in self.groups.discs]).reshape(-1, self.count)

    def _room(self, x: Array, disc: tuple[int, int, Any]) -> tuple[float, Array]:
        """Return how far inside its disc a vector is (radius² − distance², in parts of the greatest), and slopes."""
        first, last, growing = disc
        row = np.zeros(self.count)
        room = 1.0
        if growing is not None:
            feature, slope, at = growing[5]
            widest = float(np.max(np.abs(self.groups.columns[first])))
            more = slope * (self._values[feature] - at)
            radius = growing[4] + max(more, 0.0)
            room = (radius / widest) ** 2
            if more > 0:
                row += 2 * radius * slope / widest**2 * self._slopes[feature]
        for place in range(first, last + 1):
            room -= x[place] ** 2
            row[place] -= 2 * x[place]
        return float(room), row

    def drifts(self, x: Array) -> list[float]:
        """Return how far every freed ramp is from the value that its argument gives it."""
        self._go(x)
        return [abs(float(self._values[i]) - max(float(self.arguments[i][0]), 0.0)) for i in self.ours]

    def shares(self, x: Array) -> dict[int, float]:
        """Return the slopes of the freed ramps from the multipliers of what is active at ``x``."""
        from scipy.optimize import nnls

        if not self.ours:
            return {}
        self._go(x)
        rows = self.slopes(x)
        active = np.flatnonzero(self.constraints(x) < ACTIVE)
        moving = self.moving
        ends = np.flatnonzero(np.abs(x[:moving]) > 1 - ACTIVE)
        zeros = moving + np.flatnonzero(x[moving:] * self.reach < ACTIVE)
        walls = np.zeros((len(ends) + len(zeros), self.count))
        walls[np.arange(len(ends)), ends] = -np.sign(x[ends])
        walls[len(ends) + np.arange(len(zeros)), zeros] = self.reach
        try:
            force, _ = nnls(np.concatenate((rows[active], walls)).T, self._gradient, maxiter=20 * self.count + 200)
        except RuntimeError:  # too many steps: without shares the bounds are found another way
            return {}
        load = np.zeros(len(rows))
        load[active] = force[: len(active)]
        rest = dict(zip(zeros.tolist(), force[len(active) + len(ends) :].tolist(), strict=True))
        shares = {}
        for k, index in enumerate(self.ours):
            total = load[k] + rest.get(moving + k, 0.0)
            if total > 0:
                shares[index] = float(load[k] / total)
        return shares
