"""Branch and bound for one end of one gap: the value found and a guaranteed bound beside it.

Every box is bounded by the dual of its linear relaxation (``bounds.py``) and split at the atom that loses most
there: an argument or an input in two, the direction of a length in sectors.  The points where the bounds are
attained are tried as candidates, and the best is moved to a local extreme (``polish.py``) where found and bound
stay apart.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from stackup.chain.bounds import Bounder, Boxes, Ground, Result
from stackup.chain.program import Program
from stackup.engine.polish import Mover

Array = Any

BATCH = 128
SECTORS = 8
STEPS = 3
FIRST = 100
#: an argument with at most so many inputs behind it is narrowed by halving one of them
FEW = 3
#: part of the tolerance that the bound may stay away from the value found
CLOSE = 0.9


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
        self.program, self.ground, self.tolerance = program, ground, tolerance
        self.bounder = Bounder(program, name, sign, ground, parameters)
        self.best, self.point, self.column = np.inf, np.zeros(0), 0
        self.looked = 0
        self.shares: dict[int, float] = {}
        self._tree = _Tree(self.bounder)

    def run(self, budget: int) -> End:
        """Search within ``budget`` boxes; move the best point to a local extreme where the ends stay apart."""
        bound = self._descend(min(FIRST, budget // 4))
        if self.best - bound > self.tolerance:
            self.polish()
            bound = max(bound, self._descend(budget))
        if self.best - bound > self.tolerance:
            self.polish()
        return End(self.best, min(bound, self.best), self._named(), self.column, self.looked)

    def _named(self) -> dict[str, float]:
        point = {
            k: 0.5 * float(self.ground.low[k][self.column] + self.ground.high[k][self.column]) for k in self.ground.low
        }
        return point | dict(zip(self.bounder.form.inputs, map(float, self.point), strict=True))

    def _descend(self, budget: int) -> float:
        """Return the guaranteed bound after at most ``budget`` boxes from the whole region."""
        boxes = self._root()
        result = self._look(boxes, STEPS)
        kept = np.inf
        while True:
            live = result.bound < self.best - CLOSE * self.tolerance
            kept = min(kept, float(np.min(result.bound[~live], initial=np.inf)))
            if not np.any(live):
                return kept
            boxes, result = boxes.take(live), result.take(live)
            if self.looked >= budget:
                return min(kept, float(np.min(result.bound)))
            order = np.argsort(result.bound, kind="stable")
            work, rest = order[:BATCH], order[BATCH:]
            children, parents = self._tree.split(boxes.take(work), result.take(work), self.tolerance)
            whole = np.setdiff1d(np.arange(len(work)), parents)
            kept = min(kept, float(np.min(result.bound[work][whole], initial=np.inf)))
            boxes, later = boxes.take(rest), result.take(rest)
            fresh = self._look(children, STEPS)
            fresh.bound = np.maximum(fresh.bound, result.bound[work][parents])
            boxes, result = Boxes.join([boxes, children]), Result.join(later, fresh)

    def polish(self, steps: int = 100) -> None:
        """Move the best point to a local extreme; keep it, and the slopes of its ramps, where it is better."""
        mover = Mover(self.bounder, self.column)
        point, shares = mover.descend(self.point, self._ours(), steps)
        found = mover.value(point)
        self.shares = shares
        if found < self.best:
            self.best, self.point = found, point

    def _ours(self) -> list[int]:
        """Return the ramps whose weight at the best point is with us."""
        boxes = self.bounder.whole().take([self.column])
        boxes.centre = self.point[:, None].copy()
        self.bounder.settle(boxes)
        weights = self.bounder.look(boxes, self.best, 0).weights[:, 0]
        n, least = self.bounder.inputs, 1e-2 * float(np.max(np.abs(weights), initial=0.0, where=self._tree.ramps))
        return [n + int(i) for i in np.flatnonzero(self._tree.ramps & (weights > least))]

    def _root(self) -> Boxes:
        """Return the whole region, lines touching at the best point seen."""
        boxes = self.bounder.whole()
        if len(self.point):
            boxes.centre = np.repeat(self.point[:, None], len(boxes.origin), axis=1)
            self.bounder.settle(boxes)
            for index, share in self.shares.items():
                boxes.touch[0, index - self.bounder.inputs] = share
        return boxes

    def _look(self, boxes: Boxes, steps: int) -> Result:
        """Bound boxes and keep the best point seen."""
        if len(boxes.origin) == 0:
            return self.bounder.look(boxes, 0.0, 0)
        target = self.best - 0.5 * CLOSE * self.tolerance
        if not np.isfinite(target):
            self._try(self.bounder.look(boxes, np.inf, 0), boxes)
            target = self.best - 0.5 * CLOSE * self.tolerance
        result = self.bounder.look(boxes, target, steps)
        self.looked += len(boxes.origin)
        self._try(result, boxes)
        return result

    def _try(self, result: Result, boxes: Boxes) -> None:
        best = int(np.argmin(result.found))
        if result.found[best] < self.best:
            self.best, self.column = float(result.found[best]), int(boxes.origin[best])
            self.point = result.point[:, best].copy()


class _Tree:
    """How boxes are split."""

    def __init__(self, bounder: Bounder) -> None:
        self.bounder, self.form = bounder, bounder.form
        n = bounder.inputs
        self.rows_of: list[list[int]] = []
        self.ops: list[str] = []
        direct: list[frozenset[int]] = [frozenset([i]) for i in range(n)]
        self.behind: dict[int, frozenset[int]] = {}
        for block in self.form.blocks:
            used = np.any(block.rows.matrix != 0, axis=0)
            for row in range(block.count * block.arguments):
                parts = [direct[v] for v in np.flatnonzero(used[row])]
                self.behind[block.row + row] = frozenset().union(*parts)
            for k in range(block.count):
                rows = [block.row + k + part * block.count for part in range(block.arguments)]
                self.rows_of.append(rows)
                self.ops.append(block.op)
                direct.append(frozenset().union(*(self.behind[r] for r in rows)))
        self.ramps = np.array([op == "ramp" for op in self.ops], dtype=bool)
        self.single = set(bounder.region.single.tolist())

    def split(self, boxes: Boxes, result: Result, tolerance: float) -> tuple[Boxes, Array]:
        """Split every box at the atom that loses most; return the children and the place of each one's parent."""
        loss = np.where(np.isfinite(result.loss), result.loss, np.inf)
        cuts: list[tuple[int, int, Any]] = []
        for box in range(len(boxes.origin)):
            found = self._cut(boxes, result, box, loss[:, box], tolerance)
            if found is not None:
                cuts.append((box, *found))
        parents = np.repeat([c[0] for c in cuts], [len(c[2]) - 1 for c in cuts]).astype(int)
        children = boxes.take(parents)
        place = 0
        for _, where, edges in cuts:
            for low, high in zip(edges[:-1], edges[1:], strict=True):
                if where < 0:
                    children.sector[:, -where - 1, place] = low, high
                else:
                    children.low[where, place], children.high[where, place] = low, high
                place += 1
        return children, parents

    def _cut(self, boxes: Boxes, result: Result, box: int, loss: Array, tolerance: float) -> tuple[int, Array] | None:
        """Return what to cut and the edges of its parts; a length's sector as −1 − atom."""
        for atom in np.argsort(-loss, kind="stable")[:12]:
            if loss[atom] <= 0:
                break
            if self.ops[atom] == "length" and result.weights[atom, box] < 0 and self._turns(result, box, int(atom)):
                start, end = boxes.sector[:, atom, box]
                if end - start > 1e-4:
                    return -1 - int(atom), np.linspace(start, end, (SECTORS if end - start > 6.0 else 2) + 1)
                continue
            found = self._halved(result, box, int(atom))
            if found is not None:
                return found
        return None

    def _turns(self, result: Result, box: int, atom: int) -> bool:
        """Tell whether a length's vector may turn far, so that sectors bound it better than halves."""
        rows = [self.bounder.inputs + r for r in self.rows_of[atom]]
        far = max(max(result.low[r, box], -result.high[r, box]) for r in rows)
        return bool(far < 0.5 * max(max(-result.low[r, box], result.high[r, box]) for r in rows))

    def _halved(self, result: Result, box: int, atom: int) -> tuple[int, Array] | None:
        n = self.bounder.inputs
        rows = [r for r in self.rows_of[atom] if self._width(result, box, n + r) > 0]
        if not rows:
            return None
        if self.ops[atom] == "leg" and len(rows) == 2:
            rows = rows[1:]  # its line is straight in the first argument
        row = min(rows, key=lambda r: (len(self.behind[r]), -self._width(result, box, n + r)))
        place = n + row
        few = self.behind[row]
        if len(few) <= FEW and few <= self.single:
            place = max(sorted(few), key=lambda i: self._width(result, box, i))
        low, high = float(result.low[place, box]), float(result.high[place, box])
        inside = low < 0 < high and min(-low, high) > 0.05 * (high - low)
        return place, np.array([low, 0.0 if inside else 0.5 * (low + high), high])

    @staticmethod
    def _width(result: Result, box: int, place: int) -> float:
        low, high = float(result.low[place, box]), float(result.high[place, box])
        width = (high - low) / max(abs(low), abs(high), 1e-12)
        return width if np.isfinite(width) and width > 1e-7 else 0.0
