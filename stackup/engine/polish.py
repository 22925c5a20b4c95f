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
from stackup.chain.operations import slopes

Array = Any

#: how far a freed ramp may be from the value that its argument gives it
DRIFT = 1e-6
#: how near to zero a constraint (in half-widths or mm) counts as active
ACTIVE = 1e-6


class Mover:
    """Moves points of one column of a bounder's ground downhill."""

    def __init__(self, bounder: Bounder, column: int) -> None:
        """Take the region of one column."""
        self.bounder, self.form = bounder, bounder.form
        self.origin = np.array([column])
        region = bounder.region
        self.low, self.high = region.low[:, column], region.high[:, column]
        self.discs = region.discs_of(column)

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
            if not loose:
                return point, task.shares(x)
            start, ours = point, [i for i in ours if i not in loose]

    def value(self, point: Array) -> float:
        """Return sign·output at a point."""
        return float(self.bounder.values(point[:, None], self.origin)[0][0])


class _Task:
    """What the quadratic programming asks: value, constraints and their slopes, in half-widths.

    Unknowns are the inputs whose interval is not a point, then the freed ramps.
    """

    def __init__(self, mover: Mover, ours: Sequence[int], start: Array) -> None:
        self.mover, self.form, self.ours = mover, mover.form, ours
        width = 0.5 * (mover.high - mover.low)
        self.moving = np.flatnonzero(width > 0)
        self.start = start
        self.centre, self.width = 0.5 * (mover.high + mover.low), width
        self.reach = float(np.max(width, initial=1e-9))
        self.count = len(self.moving) + len(ours)
        self._x: Array | None = None
        place = {int(i): k for k, i in enumerate(self.moving)}
        self.discs = [
            (place.get(r, -1), place.get(t, -1), cr, ct, radius, grown) for r, t, cr, ct, radius, grown in mover.discs
        ]

    def minimise(self, steps: int) -> Array | None:
        """Return the unknowns of a local extreme, or nothing where the programming fails."""
        from scipy.optimize import minimize

        begin = np.zeros(self.count)
        begin[: len(self.moving)] = (self.start - self.centre)[self.moving] / self.width[self.moving]
        values, _ = self.form.values(self.start[:, None], self.mover.origin)
        begin[len(self.moving) :] = values[list(self.ours), 0] / self.reach
        bounds = [(-1.0, 1.0)] * len(self.moving) + [(0.0, None)] * len(self.ours)
        rules = [{"type": "ineq", "fun": self.constraints, "jac": self.slopes}] if self.ours or self.discs else []
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
        point = self.start.copy()
        point[self.moving] = (self.centre + self.width * np.append(x[: len(self.moving)], [])[self._back()])[
            self.moving
        ]
        return point

    def _back(self) -> Array:
        back = np.zeros(len(self.start), dtype=int)
        back[self.moving] = np.arange(len(self.moving))
        return back

    def _go(self, x: Array) -> None:
        """Walk the form forward with slopes: value and gradient of every variable and argument."""
        if self._x is not None and np.array_equal(x, self._x):
            return
        form, origin = self.form, self.mover.origin
        values = np.zeros(form.size)
        gradient = np.zeros((form.size, self.count))
        values[: len(self.start)] = self.point(x)
        gradient[self.moving, np.arange(len(self.moving))] = self.width[self.moving]
        self.arguments: dict[int, tuple[float, Array]] = {}
        for block in form.blocks:
            here = block.rows.matrix[0 if len(block.rows.matrix) == 1 else origin[0]]
            rows = here @ values + block.rows.constant[0 if len(block.rows.constant) == 1 else origin[0]]
            slope = here @ gradient
            parts = rows.reshape(block.arguments, block.count)
            atoms, partials = _atoms(block.op, parts, block.power)
            values[block.atoms] = atoms
            turned = slope.reshape(block.arguments, block.count, -1)
            gradient[block.atoms] = sum(p[:, None] * t for p, t in zip(partials, turned, strict=True))
            for k, index in enumerate(self.ours):
                if block.first <= index < block.first + block.count:
                    self.arguments[index] = rows[index - block.first], slope[index - block.first]
                    place = len(self.moving) + k
                    values[index] = x[place] * self.reach
                    gradient[index] = 0.0
                    gradient[index, place] = self.reach
        root = form.root.matrix[0 if len(form.root.matrix) == 1 else origin[0]][0]
        constant = form.root.constant[0 if len(form.root.constant) == 1 else origin[0]][0]
        sign = self.mover.bounder.sign
        self._value, self._gradient = sign * float(root @ values + constant), sign * (root @ gradient)
        self._values = values
        self._x = np.array(x)

    def objective(self, x: Array) -> tuple[float, Array]:
        """Return sign·output and its gradient."""
        self._go(x)
        return self._value, self._gradient

    def constraints(self, x: Array) -> Array:
        """Return what must not be negative: freed ramps over their arguments, points inside discs."""
        self._go(x)
        over = [float(self._values[i] - self.arguments[i][0]) for i in self.ours]
        return np.array(over + [self._room(disc)[0] for disc in self.discs])

    def slopes(self, x: Array) -> Array:
        """Return the gradients of the constraints."""
        self._go(x)
        rows = []
        for k, index in enumerate(self.ours):
            row = -self.arguments[index][1]
            row[len(self.moving) + k] += self.reach
            rows.append(row)
        return np.array(rows + [self._room(disc)[1] for disc in self.discs]).reshape(-1, self.count)

    def _room(self, disc: Any) -> tuple[float, Array]:
        """Return how far inside its disc a vector is (radius² − distance², in parts of radius²), and the slopes."""
        r, t, cr, ct, radius, grown = disc
        row = np.zeros(self.count)
        scale = max(radius, 1e-9) ** 2
        if grown is not None:
            feature, slope, at = grown
            more = slope * (self._values[feature] - at)
            if more > 0:
                radius += more
                place = np.flatnonzero(self.moving == feature)
                row[place] += 2 * radius * slope * self.width[feature] / scale
        room = radius**2
        for place, centre in ((r, cr), (t, ct)):
            if place >= 0:
                index = self.moving[place]
                off = self._values[index] - centre
                room -= off**2
                row[place] -= 2 * off * self.width[index] / scale
        return room / scale, row

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
        moving = len(self.moving)
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


def _atoms(op: str, parts: Array, power: float) -> tuple[Array, tuple[Array, ...]]:
    """Return values and partial derivatives of the atoms of a block."""
    from stackup.chain.forms import atom_value

    found = atom_value(op, parts, power)
    if op == "ramp":
        return found, (np.where(parts[0] > 0, 1.0, 0.0),)
    if op == "root":
        return found, (np.divide(0.5, found, out=np.zeros_like(found), where=found > 0),)
    if op == "inverse":
        return found, (-found * found,)
    if op == "leg":
        inverse = np.divide(1.0, found, out=np.zeros_like(found), where=found > 0)
        return found, (parts[0] * inverse, -parts[1] * inverse)
    return found, slopes(op, list(parts), found, power)
