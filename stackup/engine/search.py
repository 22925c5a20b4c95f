"""Branch and bound for one end of one gap: the value found and a guaranteed bound beside it.

Boxes are split where their bound loses most (``bounds.py``); the points where the bounds are least are tried
as candidates.  Where found and bound stay apart, the best candidate is moved to a local extreme (``polish.py``)
and the search begins again with bounds that touch there.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from stackup.chain.bounds import Bounder, Boxes, Ground, Result
from stackup.chain.program import KINKS, Program
from stackup.engine.polish import Mover

Array = Any

BATCH = 128
SECTORS = 8
#: an argument with at most so many inputs behind it is narrowed by halving one of them
FEW = 3
#: operations that lines touch from below (above) everywhere
CONVEX = frozenset({"greatest", "magnitude", "length", "square", "exp"})
CONCAVE = frozenset({"least", "sqrt", "log"})


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
        self.shares: dict[int, float] = {}
        self.looked = 0
        self._behind = _inputs_behind(self.bounder.program)

    def run(self, budget: int) -> End:
        """Search within ``budget`` boxes; polish once and search again where the ends stay apart."""
        bound = self._descend(budget // 4)
        if not self._closed(bound):
            self.polish()
            bound = max(bound, self._descend(budget - budget // 4))
        if not self._closed(bound):
            self.polish()
        return End(self.best, min(bound, self.best), self.point, self.column, self.looked)

    def _closed(self, bound: float) -> bool:
        return self.best - bound <= self.tolerance

    def _descend(self, budget: int) -> float:
        """Return the guaranteed bound after at most ``budget`` boxes from the whole region."""
        boxes = Boxes.whole(self.bounder.size, self.columns)
        for index, share in self.shares.items():
            boxes.share[index] = share
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
                boxes, result = Boxes.join([later, children]), _join(later_result, fresh)
            if len(boxes.origin) == 0:
                return kept

    def _ours(self, result: Result) -> list[int]:
        """Return the open kinks at which any of several lines holds, by the sign of their weight."""
        found = []
        for index, weight in result.weights.items():
            node = self.bounder.program.nodes[index]
            sign = -1 if node.op == "least" else 1
            if node.op in KINKS and np.all(sign * weight > 0) and self._is_open(result, index):
                found.append(index)
        return found

    def _is_open(self, result: Result, index: int) -> bool:
        """Tell whether the kink lies inside the box."""
        node = self.bounder.program.nodes[index]
        low, high = result.low, result.high
        if node.op in ("length", "magnitude"):
            return bool(np.any(low[index] < 0.5 * high[index]))
        a, b = node.args
        return bool(np.any((low[a] < high[b]) & (low[b] < high[a])))

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
        return Boxes.join(parts), stuck

    def _split_one(self, box: Boxes, result: Result, column: int, loss: Array) -> Boxes | None:
        for index in self._ranked(box, result, column, loss):
            made = self._split_node(box, result, column, int(index))
            if made is not None:
                return made
        return None

    def _ranked(self, box: Boxes, result: Result, column: int, loss: Array) -> list[int]:
        """Return the nodes worth splitting, the greatest loss first; kinks whose line is chosen come last."""
        worth = [int(i) for i in np.argsort(-loss, kind="stable")[:12] if loss[i] > 0.02 * self.tolerance]
        return sorted(worth, key=lambda i: self._is_settled(box, result, column, i))[:6]

    def _is_settled(self, box: Boxes, result: Result, column: int, index: int) -> bool:
        """Tell whether a node is convex and with us, so that its line touches and splitting it wins nothing."""
        node = self.bounder.program.nodes[index]
        weight = float(result.weights[index][column])
        del box
        return (node.op in CONVEX and weight > 0) or (node.op in CONCAVE and weight < 0)

    def _split_node(self, box: Boxes, result: Result, column: int, index: int) -> Boxes | None:
        node = self.bounder.program.nodes[index]
        against = float(result.weights[index][column]) * (-1 if node.op == "least" else 1) < 0
        if node.op in ("least", "greatest") and against:
            if box.choice[index, 0] == -1:
                return self._open(box, index)
        elif node.op == "length" and against:
            return _sectors(box, index)
        return self._halve_argument(box, result, column, node.args)

    @staticmethod
    def _open(box: Boxes, index: int) -> Boxes:
        """Split a fold that is against us into its two arguments."""
        options = box.take([0, 0])
        options.choice[index] = (0, 1)
        return options

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

    def polish(self, steps: int = 150) -> None:
        """Move the best point to a local extreme and keep it where it is better."""
        mover = Mover(self.bounder.program, self.ground, self.column, self.parameters)
        ours = [i for i in self._ours_at_best() if self.bounder.program.nodes[i].op != "length"]
        point, self.shares = mover.descend(self.name, self.sign, self.point, ours, steps)
        found = self.sign * mover.value(self.name, point)
        if found < self.best:
            self.best, self.point = found, point
            angles = {k: v[self.column : self.column + 1] for k, v in self.ground.angles.items()}
            values = self.bounder.values({k: np.array([v]) for k, v in point.items()}, angles)
            self.reference = np.array([float(np.ravel(v)[0]) for v in values])

    def _ours_at_best(self) -> list[int]:
        boxes = Boxes.whole(self.bounder.size, self.columns).take([self.column])
        return self._ours(self._look(boxes))


def _inputs_behind(program: Program) -> list[frozenset[int]]:
    """Return, for every node, the inputs that it depends on."""
    behind: list[frozenset[int]] = []
    for index, node in enumerate(program.nodes):
        own = frozenset([index]) if node.op == "input" else frozenset()
        behind.append(own.union(*(behind[a] for a in node.args)))
    return behind


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
        [],
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
        [],
        [both(spread(a, n1), spread(b, n2)) for a, b in zip(one.low, two.low, strict=True)],
        [both(spread(a, n1), spread(b, n2)) for a, b in zip(one.high, two.high, strict=True)],
        weights,
    )
