"""Branch and bound for one end of one gap: the value found and a guaranteed bound beside it.

Boxes are split where their bound loses most (``bounds.py``); the points where the bounds are least are tried
as candidates.  Where the extreme lies inside a region at a kink, the best candidate is moved on by subgradient
steps towards the bound (B. T. Polyak, USSR Comput. Math. Math. Phys. 9 (1969) 14–29).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from stackup.chain.arrays import walk_one
from stackup.chain.bounds import Bounder, Boxes, Ground, Result
from stackup.chain.program import Program

Array = Any

BATCH = 128
SECTORS = 8
#: an argument with at most so many inputs behind it is narrowed by halving one of them
FEW = 3
#: how many lines below a kink there are to choose from (``bounds.py``)
CHOICES = {"least": 3, "greatest": 3, "magnitude": 3, "length": 4}


@dataclass(frozen=True)
class End:
    """One end: the least value found, where, and a bound that nothing can pass; ``boxes`` were looked at."""

    found: float
    bound: float
    point: Mapping[str, float]
    column: int
    boxes: int


class Search:
    """Looks for the least value of ``sign``·output over a ground of one or more columns."""

    def __init__(
        self, program: Program, name: str, sign: int, ground: Ground, parameters: Mapping[str, float], tolerance: float
    ) -> None:
        """Prepare the search; ``tolerance`` is the distance of found and bound that counts as closed."""
        self.name, self.sign, self.parameters = name, sign, parameters
        self.bounder = Bounder(program, name, sign, parameters)
        self.ground, self.tolerance = ground, tolerance
        self.columns = len(next(iter(ground.low.values()))) if ground.low else 1
        self.best, self.point, self.column = np.inf, {}, 0
        self.reference: Array | None = None
        self.looked = 0
        self._behind = _inputs_behind(self.bounder.program)

    def run(self, budget: int) -> End:
        """Search within ``budget`` boxes; polish once and search again where the ends stay apart."""
        bound = self._descend(budget // 4)
        if not self._closed(bound):
            self.polish(bound)
            bound = max(bound, self._descend(budget - budget // 4))
        if not self._closed(bound):
            self.polish(bound)
        return End(self.best, min(bound, self.best), self.point, self.column, self.looked)

    def _closed(self, bound: float) -> bool:
        return self.best - bound <= self.tolerance

    def _descend(self, budget: int) -> float:
        """Return the guaranteed bound after at most ``budget`` boxes from the whole region."""
        boxes = Boxes.whole(self.bounder.size, self.columns)
        result = self._look(boxes)
        kept = np.inf
        spent = self.columns
        while True:
            live = result.bound < self.best - 0.9 * self.tolerance
            if np.any(~live):
                kept = min(kept, float(np.min(result.bound[~live])))
            if not np.any(live) or spent >= budget:
                rest = float(np.min(result.bound[live])) if np.any(live) else np.inf
                return min(kept, rest)
            boxes, result = boxes.take(live), _take(result, live)
            order = np.argsort(result.bound, kind="stable")
            work, rest_index = order[:BATCH], order[BATCH:]
            children, stuck = self._split(boxes.take(work), _take(result, work))
            kept = min(kept, stuck)
            later, later_result = boxes.take(rest_index), _take(result, rest_index)
            if children is None:
                boxes, result = later, later_result
            else:
                fresh = self._look(children)
                spent += len(children.origin)
                fresh.bound[:] = np.maximum(fresh.bound, self._parents)
                boxes, result = later.join(children), _join(later_result, fresh)
            if len(boxes.origin) == 0:
                return kept

    def _look(self, boxes: Boxes) -> Result:
        result = self.bounder.look(boxes, self.ground, self.reference)
        self.looked += len(boxes.origin)
        found = np.where(np.isfinite(result.found), result.found, np.inf)
        best = int(np.argmin(found))
        if found[best] < self.best:
            self.best, self.column = float(found[best]), int(boxes.origin[best])
            self.point = {name: float(np.broadcast_to(x, found.shape)[best]) for name, x in result.point.items()}
            self.reference = np.array([np.broadcast_to(v, found.shape)[best] for v in result.values])
        return result

    def _split(self, boxes: Boxes, result: Result) -> tuple[Boxes | None, float]:
        """Split every box at the node that loses most; return the children and the bound of what cannot be split."""
        parts: list[Boxes] = []
        parents: list[Array] = []
        stuck = np.inf
        loss = np.where(np.isfinite(result.loss), result.loss, np.inf)
        for column in range(len(boxes.origin)):
            made = self._split_one(boxes.take([column]), result, column, loss[:, column])
            if made is None:
                stuck = min(stuck, float(result.bound[column]))
            else:
                parts.append(made)
                parents.append(np.full(len(made.origin), result.bound[column]))
        if not parts:
            return None, stuck
        self._parents = np.concatenate(parents)
        return _join_boxes(parts), stuck

    def _split_one(self, box: Boxes, result: Result, column: int, loss: Array) -> Boxes | None:
        for index in np.argsort(-loss, kind="stable")[:6]:
            if loss[index] <= 0.02 * self.tolerance:
                break
            made = self._split_node(box, result, column, int(index))
            if made is not None:
                return made
        return None

    def _split_node(self, box: Boxes, result: Result, column: int, index: int) -> Boxes | None:
        node = self.bounder.program.nodes[index]
        against = float(result.weights[index][column]) * (-1 if node.op == "least" else 1) < 0
        choices = CHOICES.get(node.op, 0)
        if node.op in ("least", "greatest") and against:
            if box.choice[index, 0] == -1:
                return self._open(box, index)
        elif node.op == "length" and against:
            return _sectors(box, index)
        elif choices and not against and box.choice[index, 0] == -1:
            return self._choose(box, index, choices)
        return self._halve_argument(box, result, column, node.args)

    @staticmethod
    def _open(box: Boxes, index: int) -> Boxes:
        """Split a fold that is against us into its two arguments."""
        options = box.take([0, 0])
        options.choice[index] = (0, 1)
        return options

    def _choose(self, box: Boxes, index: int, count: int) -> Boxes:
        """Keep the line that bounds best at a kink that is with us; any of them holds."""
        options = box.take([0] * count)
        options.choice[index] = np.arange(count)
        bounds = self._look(options).bound
        return options.take([int(np.argmax(bounds))])

    def _halve_argument(self, box: Boxes, result: Result, column: int, args: tuple[int, ...]) -> Boxes | None:
        """Halve what makes an argument wide: an input where few stand behind it, else the argument itself."""
        wide = [arg for arg in args if self._relative_width(result, column, arg) > 0]
        if not wide:
            return None
        arg = min(wide, key=lambda a: (len(self._behind[a]), -self._relative_width(result, column, a)))
        if len(self._behind[arg]) <= FEW:
            arg = max(self._behind[arg], key=lambda a: self._relative_width(result, column, a))
        low, high = float(result.low[arg][column]), float(result.high[arg][column])
        middle = 0.0 if low < 0 < high and min(-low, high) > 0.05 * (high - low) else 0.5 * (low + high)
        halves = box.take([0, 0])
        halves.low[arg] = np.array([low, middle])
        halves.high[arg] = np.array([middle, high])
        return halves

    @staticmethod
    def _relative_width(result: Result, column: int, arg: int) -> float:
        low, high = float(result.low[arg][column]), float(result.high[arg][column])
        scale = max(abs(low), abs(high), 1e-12)
        width = (high - low) / scale
        return width if np.isfinite(width) and width > 1e-7 else 0.0

    def polish(self, target: float, steps: int = 400) -> None:
        """Move the best point by subgradient steps of Polyak's length towards ``target``; keep what is better."""
        mover = Mover(self.bounder.program, self.ground, self.column)
        found, point = mover.descend(self.name, self.sign, self.point, self.parameters, target, steps, self.tolerance)
        if found < self.best:
            self.best, self.point = found, point
            angles = {k: v[self.column : self.column + 1] for k, v in self.ground.angles.items()}
            values = self.bounder.values({k: np.array([v]) for k, v in point.items()}, angles)
            self.reference = np.array([float(np.ravel(v)[0]) for v in values])


def _inputs_behind(program: Program) -> list[frozenset[int]]:
    """Return, for every node, the inputs that it depends on."""
    behind: list[frozenset[int]] = []
    for index, node in enumerate(program.nodes):
        own = frozenset([index]) if node.op == "input" else frozenset()
        behind.append(own.union(*(behind[a] for a in node.args)))
    return behind


class Mover:
    """Keeps points inside one column of a ground, and moves them."""

    def __init__(self, program: Program, ground: Ground, column: int) -> None:
        """Take the region of one column."""
        self.program = program
        here = ground.take(np.array([column]))
        self.low = {k: float(v[0]) for k, v in here.low.items()}
        self.high = {k: float(v[0]) for k, v in here.high.items()}
        self.discs, self.angles = here.discs, here.angles
        self.paired = {name for d in self.discs for name in (d.r, d.t)}

    def descend(
        self,
        name: str,
        sign: int,
        start: Mapping[str, float],
        parameters: Mapping[str, float],
        target: float,
        steps: int,
        tolerance: float,
    ) -> tuple[float, dict[str, float]]:
        """Return the best value and point of ``steps`` subgradient steps from ``start``."""
        point, best, best_point = dict(start), np.inf, dict(start)
        width = {k: max(self.high[k] - self.low[k], 1e-12) for k in start}
        for _ in range(steps):
            inputs = {k: np.full((1, 1), v) for k, v in point.items()} | {
                k: v.reshape(1, 1) for k, v in self.angles.items()
            }
            walk = walk_one(self.program, inputs, parameters)
            found = sign * float(walk[name][0, 0])
            if found < best:
                best, best_point = found, dict(point)
            if found - target <= 0.5 * tolerance:
                break
            gradient = walk.gradient(name, np.full((1, 1), float(sign)))
            scaled = {k: float(g[0, 0]) * width[k] for k, g in gradient.items()}
            norm = sum(s * s for s in scaled.values())
            if norm <= 0 or not np.isfinite(norm):
                break
            length = (found - target) / norm
            moved = {k: point[k] - length * scaled[k] * width[k] for k in scaled}
            point = self.inside({**point, **moved})
        return best, best_point

    def inside(self, point: dict[str, float]) -> dict[str, float]:
        """Return the nearest point of the region, dimension by dimension."""
        kept = {
            k: v if k in self.paired else min(max(v, self.low[k]), self.high[k]) for k, v in point.items()
        }
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


def _sectors(box: Boxes, index: int) -> Boxes | None:
    start, end = box.sector[:, index, 0]
    width = end - start
    if width < 1e-4:
        return None
    count = SECTORS if width > 6.0 else 2
    made = box.take([0] * count)
    edges = start + width * np.arange(count + 1) / count
    made.sector[0, index], made.sector[1, index] = edges[:-1], edges[1:]
    return made


def _take(result: Result, which: Array) -> Result:
    count = len(result.bound)
    return Result(
        result.bound[which],
        {},
        result.found[which],
        [],
        result.loss[:, which],
        result.empty[which],
        [np.broadcast_to(v, (count,))[which] for v in result.low],
        [np.broadcast_to(v, (count,))[which] for v in result.high],
        {k: w[which] for k, w in result.weights.items()},
    )


def _join(one: Result, two: Result) -> Result:
    def both(a: Array, b: Array) -> Array:
        return np.concatenate((a, b), axis=-1)

    n1, n2 = len(one.bound), len(two.bound)

    def spread(v: Array, n: int) -> Array:
        return np.broadcast_to(v, (n,))

    weights = {
        k: both(one.weights.get(k, np.zeros(n1)), two.weights.get(k, np.zeros(n2)))
        for k in one.weights.keys() | two.weights.keys()
    }
    return Result(
        both(one.bound, two.bound),
        {},
        both(one.found, two.found),
        [],
        both(one.loss, two.loss),
        both(one.empty, two.empty),
        [both(spread(a, n1), spread(b, n2)) for a, b in zip(one.low, two.low, strict=True)],
        [both(spread(a, n1), spread(b, n2)) for a, b in zip(one.high, two.high, strict=True)],
        weights,
    )


def _join_boxes(parts: list[Boxes]) -> Boxes:
    return Boxes(
        np.concatenate([p.low for p in parts], axis=1),
        np.concatenate([p.high for p in parts], axis=1),
        np.concatenate([p.sector for p in parts], axis=2),
        np.concatenate([p.choice for p in parts], axis=1),
        np.concatenate([p.origin for p in parts]),
    )
