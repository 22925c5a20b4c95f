"""Moving a point to a local extreme, kinks that are with us written as constraints.

Where the least value lies on a kink (a greatest that must be small), gradients alone zigzag.  Each such node is
replaced by a variable of its own that may not be less than any of its arguments; what is left is smooth there
and goes to scipy's sequential quadratic programming (D. Kraft, DFVLR-FB 88-28, 1988), discs as constraints.
The result is only a candidate: it is put back inside the region and valued by the program itself.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from stackup.chain.arrays import Walk, walk_one
from stackup.chain.bounds import Ground
from stackup.chain.program import Node, Program

Array = Any

#: how far (mm) a freed kink may be from its arguments
DRIFT = 1e-6
#: how near to zero a constraint (in half-widths or mm) counts as active
ACTIVE = 1e-6


class Mover:
    """Keeps points inside one column of a ground, and moves them."""

    def __init__(self, program: Program, ground: Ground, column: int, parameters: Mapping[str, float]) -> None:
        """Take the region of one column."""
        self.program, self.parameters = program, parameters
        here = ground.take(np.array([column]))
        self.low = {k: float(v[0]) for k, v in here.low.items()}
        self.high = {k: float(v[0]) for k, v in here.high.items()}
        self.discs = here.discs
        self.angles = {k: v.reshape(1, 1) for k, v in here.angles.items()}
        self.paired = {name for d in self.discs for name in (d.r, d.t)}

    def value(self, name: str, point: Mapping[str, float]) -> float:
        """Return the output ``name`` at a point."""
        return float(self._walk(self.program, point)[name][0, 0])

    def _walk(self, program: Program, point: Mapping[str, float]) -> Walk:
        inputs = {k: np.full((1, 1), v) for k, v in point.items()}
        return walk_one(program, inputs | self.angles, self.parameters)

    def descend(
        self, name: str, sign: int, start: Mapping[str, float], ours: Sequence[int], steps: int
    ) -> tuple[dict[str, float], dict[int, float]]:
        """Return a point of the region from ``start`` downhill on sign·output, and how its kinks share the load.

        ``ours`` are the nodes to free.  The share of a least or greatest is the weight of its first argument in
        the Lagrangian there, of a magnitude its slope: with it, a line below the kink touches the extreme.  A
        node that drifts away from its arguments was not with us after all, and is bound again.
        """
        point: dict[str, float] = dict(start)
        while True:
            task, x = self._minimise(name, sign, point, ours, steps)
            if x is None:
                return dict(start), {}
            task.move(x)
            loose = [i for i in ours if task.drift(i) > DRIFT]
            point = self.inside({k: task.point[k] for k in start})
            if not loose:
                return point, task.shares(x)
            ours = [i for i in ours if i not in loose]

    def _minimise(
        self, name: str, sign: int, start: Mapping[str, float], ours: Sequence[int], steps: int
    ) -> tuple[_Task, Array | None]:
        from scipy.optimize import minimize

        program, rules = freed(self.program, name, ours)
        walk = self._walk(self.program, start)
        slack = {f"~{i}": float(walk.values[i][0, 0]) for i in ours}
        names = [k for k in start if k in program.inputs] + [k for k in slack if k in program.inputs]
        begin = {**start, **slack}
        centre = np.array([0.5 * (self.low[k] + self.high[k]) if k in self.low else begin[k] for k in names])
        width = np.array([max(self.high[k] - self.low[k], 1e-9) / 2 if k in self.low else self._reach() for k in names])
        task = _Task(self, program, name, sign, rules, names, centre, width, dict(begin))
        with np.errstate(all="ignore"):
            result = minimize(
                task.objective,
                (np.array([begin[k] for k in names]) - centre) / width,
                jac=True,
                method="SLSQP",
                bounds=[(-1.0, 1.0) if k in self.low else (None, None) for k in names],
                constraints=[{"type": "ineq", "fun": task.constraints, "jac": task.slopes}] if task.bound else [],
                options={"maxiter": steps, "ftol": 1e-10},
            )
        return task, result.x if np.all(np.isfinite(result.x)) else None

    def _reach(self) -> float:
        widths = [self.high[k] - self.low[k] for k in self.low]
        return max(widths) if widths else 1.0

    def inside(self, point: dict[str, float]) -> dict[str, float]:
        """Return the nearest point of the region, dimension by dimension."""
        kept = {k: v if k in self.paired else min(max(v, self.low[k]), self.high[k]) for k, v in point.items()}
        for disc in self.discs:
            radius = float(disc.radius[0])
            if disc.feature is not None:
                radius += max(0.0, disc.slope * (kept[disc.feature] - disc.at))
            dr, dt = kept[disc.r] - float(disc.centre_r[0]), kept[disc.t] - float(disc.centre_t[0])
            far = float(np.hypot(dr, dt))
            if far > radius:
                kept[disc.r] = float(disc.centre_r[0]) + dr * radius / far
                kept[disc.t] = float(disc.centre_t[0]) + dt * radius / far
        return kept


class _Task:
    """What the quadratic programming asks: value, constraints and their slopes, in half-widths."""

    def __init__(
        self,
        mover: Mover,
        program: Program,
        name: str,
        sign: int,
        rules: Sequence[tuple[str, str, float]],
        names: Sequence[str],
        centre: Array,
        width: Array,
        start: dict[str, float],
    ) -> None:
        self.mover, self.program, self.name, self.sign = mover, program, name, sign
        self.rules, self.names, self.centre, self.width, self.point = rules, names, centre, width, start
        self.discs = [d for d in mover.discs if d.r in names or d.t in names]
        self._at: Array | None = None
        self._walk: Walk | None = None

    @property
    def bound(self) -> bool:
        """Tell whether there is any constraint."""
        return bool(self.rules or self.discs)

    def move(self, x: Array) -> None:
        """Set the point to ``x``."""
        self._go(x)

    def drift(self, index: int) -> float:
        """Return how far a freed node is from the value that its arguments give it."""
        walk = self._go(self._at)
        node = f"~{index}"
        return min(abs(self.point[node] - float(walk[arg][0, 0])) for name, arg, _ in self.rules if name == node)

    def _go(self, x: Array) -> Walk:
        if self._at is None or not np.array_equal(x, self._at):
            self.point.update(zip(self.names, self.centre + self.width * x, strict=True))
            self._walk = self.mover._walk(self.program, self.point)
            self._at = np.array(x)
        assert self._walk is not None  # noqa: S101 - set above, for the type checker
        return self._walk

    def _gradient(self, walk: Walk, output: str, sign: float) -> Array:
        found = walk.gradient(output, np.full((1, 1), sign))
        return np.array([float(found[k][0, 0]) for k in self.names]) * self.width

    def objective(self, x: Array) -> tuple[float, Array]:
        """Return sign·output and its gradient."""
        walk = self._go(x)
        return self.sign * float(walk[self.name][0, 0]), self._gradient(walk, self.name, float(self.sign))

    def constraints(self, x: Array) -> Array:
        """Return what must not be negative: freed nodes over (under) their arguments, points inside discs."""
        walk = self._go(x)
        kinks = [sign * (self.point[node] - float(walk[arg][0, 0])) for node, arg, sign in self.rules]
        return np.array(kinks + [self._disc(d)[0] for d in self.discs])

    def slopes(self, x: Array) -> Array:
        """Return the gradients of the constraints."""
        walk = self._go(x)
        rows = []
        for node, arg, sign in self.rules:
            row = self._gradient(walk, arg, -sign)
            place = self.names.index(node)
            row[place] += sign * self.width[place]
            rows.append(row)
        return np.array(rows + [self._disc(d)[1] for d in self.discs]).reshape(-1, len(self.names))

    def shares(self, x: Array) -> dict[int, float]:
        """Return the weights of the freed kinks' arguments from the multipliers of what is active at ``x``."""
        from scipy.optimize import nnls

        if not self.rules:
            return {}
        active = self.constraints(x) < ACTIVE
        rows = self.slopes(x)[active]
        bounds = np.eye(len(x))[np.abs(x) > 1 - ACTIVE] * -np.sign(x[np.abs(x) > 1 - ACTIVE])[:, None]
        force, _ = nnls(np.concatenate((rows, bounds)).T, self.objective(x)[1], maxiter=20 * len(x) + 200)
        load = np.zeros(len(active))
        load[active] = force[: len(rows)]
        shares: dict[int, float] = {}
        for place, (node, _, _) in enumerate(self.rules):
            if place + 1 < len(self.rules) and self.rules[place + 1][0] == node:
                first, second = load[place], load[place + 1]
                if first + second > 0:
                    share = first / (first + second)
                    index = int(node[1:])
                    op = self.mover.program.nodes[index].op
                    shares[index] = 2 * share - 1 if op == "magnitude" else share
        return shares

    def _disc(self, disc: Any) -> tuple[float, Array]:
        row = np.zeros(len(self.names))
        radius, scale = float(disc.radius[0]), max(float(disc.radius[0]), 1e-9)
        if disc.feature is not None and disc.slope * (self.point[disc.feature] - disc.at) > 0:
            radius += disc.slope * (self.point[disc.feature] - disc.at)
            if disc.feature in self.names:
                place = self.names.index(disc.feature)
                row[place] += 2 * radius * disc.slope * self.width[place] / scale**2
        room = radius**2
        for part, centre in ((disc.r, disc.centre_r), (disc.t, disc.centre_t)):
            off = self.point[part] - float(centre[0])
            room -= off**2
            if part in self.names:
                place = self.names.index(part)
                row[place] -= 2 * off * self.width[place] / scale**2
        return room / scale**2, row


def freed(program: Program, name: str, nodes: Sequence[int]) -> tuple[Program, list[tuple[str, str, float]]]:
    """Return the program with some kinks as inputs ``~i``, and the rules (input, output, sign) that replace them.

    A rule says sign·(input − output) ≥ 0: a greatest is no less than its arguments, a least no more.
    """
    made = list(program.nodes)
    outputs = {name: program.outputs[name]}
    rules: list[tuple[str, str, float]] = []
    for index in nodes:
        node = program.nodes[index]
        made[index] = Node("input", (), f"~{index}", node.shape)
        sign = -1.0 if node.op == "least" else 1.0
        for place, arg in enumerate(node.args):
            outputs[f"~{index}.{place}"] = arg
            rules.append((f"~{index}", f"~{index}.{place}", sign))
        if node.op == "magnitude":
            made.append(Node("neg", node.args, 0.0, node.shape))
            outputs[f"~{index}.1"] = len(made) - 1
            rules.append((f"~{index}", f"~{index}.1", sign))
    inputs = {str(n.value): i for i, n in enumerate(made) if n.op == "input"}
    whole = Program(tuple(made), outputs, inputs)
    return whole.only(list(outputs)), rules
