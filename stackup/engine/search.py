"""Branch and bound for one end of one gap: the value found and a guaranteed bound beside it.

Every box is bounded by the dual of its linear relaxation (``bounds.py``) and split at the atom that loses most
there: an argument or an input in two, the direction of a length in sectors.  The points where the bounds are
attained are tried as candidates, and the best is moved to a local extreme (``polish.py``) where found and bound
stay apart.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np

from stackup.chain.bounds import Bounder, Boxes, Ground, Result
from stackup.chain.plainsum import least
from stackup.chain.program import Program
from stackup.engine.polish import Mover

Array = Any

BATCH = 128
SECTORS = 8
STEPS = 2
START = 10
#: after so many boxes a better point is moved to a local extreme; then after AGAIN times as many, and so on
POLISH = 100
AGAIN = 4
#: steps of the local search from another point
STEPS_OF_A_START = 30
#: points at random ends that are looked at where an end stays open, the seed they come from, and how many are moved
SCATTERED, SCATTER, STARTS = 4096, 20, 8
#: half-widths beyond which a vector is put, to be drawn back to the rim of its disc
FAR = 10.0
#: how often a box is narrowed by first-order conditions
NARROW = 1
#: what a place counts by which the bound hardly changes, against 1 for one that sways it
LEVEL = 0.2
#: an argument with at most so many inputs behind it is narrowed by halving one of them
FEW = 3
#: part of what is missing that a box must gain, or it begins again; part of these boxes that may fail again
GAIN, LUCK = 0.1, 0.5
#: part of the tolerance that the bound may stay away from the value found
CLOSE = 0.99


@dataclass(frozen=True)
class End:
    """One end: the least value found, where, and a bound that nothing can pass; ``boxes`` were looked at.

    ``slopes`` say how the end moves with each input: of sign·output, kinks weighted as they are at the least value.
    """

    found: float
    bound: float
    point: Mapping[str, float]
    column: int
    boxes: int
    slopes: Mapping[str, float]


class Search:
    """Looks for the least value of ``sign``·output over a ground of one or more columns."""

    def __init__(
        self, program: Program, name: str, sign: int, ground: Ground, parameters: Mapping[str, float], tolerance: float
    ) -> None:
        """Prepare the search; ``tolerance`` is the distance of found and bound that counts as closed."""
        self.name, self.sign, self.parameters = name, sign, parameters
        self.program, self.ground, self.tolerance = program, ground, tolerance
        self.bounder = Bounder(program, name, sign, ground, parameters)
        self.best, self.column = np.inf, 0
        self.point = self.bounder.region.middle()[:, 0]
        self.plain = least(self.bounder.form, self.bounder.region, float(sign))
        self.looked = 0
        self._polished = np.inf
        self._rests = self._resting = 0
        self.shares: dict[int, float] = {}
        self._tree = _Tree(self.bounder)

    def run(self, budget: int) -> End:
        """Search within ``budget`` boxes; move the best point to a local extreme where the ends stay apart."""
        bound = self._descend(1)
        if self.best - bound > self.tolerance:
            self.polish()
            bound = max(bound, self._descend(budget))
        self.polish()
        if self.best - bound > self.tolerance:
            self._scatter()
        slopes = self.bounder.slopes(self.point, self.column, self.shares)
        named = dict(zip(self.bounder.form.inputs, map(float, slopes), strict=True))
        return End(self.best, min(bound, self.best), self._named(), self.column, self.looked, named)

    def _named(self) -> dict[str, float]:
        point = {
            k: 0.5 * float(self.ground.low[k][self.column] + self.ground.high[k][self.column]) for k in self.ground.low
        }
        return point | dict(zip(self.bounder.form.inputs, map(float, self.point), strict=True))

    def _descend(self, budget: int) -> float:
        """Return the guaranteed bound after at most ``budget`` boxes from the whole region."""
        boxes = self._root()
        result = self._look(boxes, START)
        kept, due = np.inf, POLISH
        while True:
            if self.looked >= due:
                due *= AGAIN
                self.polish()
                self._start_from(boxes, result)
            live = result.bound < self._target()
            kept = min(kept, float(np.min(result.bound[~live], initial=np.inf)))
            if not np.any(live):
                return kept
            # what is left of these boxes is where less than this may be found: no bound of the whole lies higher
            kept = min(kept, self._target())
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
            known = result.bound[work][parents]
            self._afresh(children, fresh, known)
            fresh.bound = np.maximum(fresh.bound, known)
            boxes, result = Boxes.join([boxes, children]), Result.join(later, fresh)

    def _target(self) -> float:
        """Return the value below which a bound does not close."""
        return self.best - CLOSE * self.tolerance

    def polish(self, steps: int = 100) -> None:
        """Move the best point to a local extreme unless it is one; keep it, and the slopes of its ramps, if better."""
        if self.best == self._polished:
            return
        mover = Mover(self.bounder, self.column)
        point, shares = mover.descend(self.point, self._ours(), steps)
        found = mover.value(point)
        self.shares = shares
        if found < self.best:
            self.best, self.point = found, point
        self._polished = self.best

    def _start_from(self, boxes: Boxes, result: Result) -> None:
        """Move the point of the box with the least bound to a local extreme: the best one may lie elsewhere."""
        least = int(np.argmin(result.bound))
        self._try_from(result.point[:, least], int(boxes.origin[least]))
        self.polish()

    def _scatter(self) -> None:
        """Move the best of many points at random ends to local extremes: kinks may hide the least from the bounds."""
        region, rng = self.bounder.region, np.random.default_rng(SCATTER)
        origin = rng.integers(self.ground.columns, size=SCATTERED)
        low, high = region.low[:, origin], region.high[:, origin]
        far = region.middle()[:, origin] + FAR * (high - low) * rng.standard_normal(low.shape)  # any direction
        far[region.single] = np.where(rng.random(low.shape) < 0.5, low, high)[region.single]
        points = region.inside(far, origin)
        values = self.bounder.values(points, origin)[0]
        for start in np.argsort(values)[:STARTS]:
            self._try_from(points[:, start], int(origin[start]))
        self.polish()

    def _try_from(self, start: Array, column: int) -> None:
        """Move a point to a local extreme, and keep it where it is the best one."""
        mover = Mover(self.bounder, column)
        point, _ = mover.descend(start, [], STEPS_OF_A_START)
        found = mover.value(point)
        if found < self.best:
            self.best, self.point, self.column = found, point, column

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
        if np.isfinite(self.best):
            self._touch_best(boxes)
        return boxes

    def _touch_best(self, boxes: Boxes) -> None:
        """Let the lines of boxes touch at the best point seen, with the slopes that its ramps have there."""
        boxes.centre = np.repeat(self.point[:, None], len(boxes.origin), axis=1)
        self.bounder.settle(boxes)
        for index, share in self.shares.items():
            boxes.touch[0, index - self.bounder.inputs] = share

    def _afresh(self, boxes: Boxes, result: Result, known: Array) -> None:
        """Begin again with boxes that gain next to nothing with what they learnt: at the best point seen, or their own.

        ``known`` are the bounds of the larger boxes they come from.  Where it brings little it is tried less and less
        often.
        """
        if self._resting:
            self._resting -= 1
            return
        target = self._target()
        enough = np.minimum(known + GAIN * (target - known), target)
        idle = first = np.flatnonzero(result.bound < enough)
        if first.size == 0:
            return
        for own in (False, True):
            if idle.size == 0:
                break
            again = boxes.take(idle)
            again.press[:] = 0.0
            if own:
                again.centre = result.point[:, idle].copy()
                self.bounder.settle(again)
            else:
                self._touch_best(again)
            other = self.bounder.look(again, target, START)
            better = other.bound > result.bound[idle]
            boxes.put(idle[better], again.take(better))
            result.put(idle[better], other.take(better))
            idle = idle[result.bound[idle] < enough[idle]]
        self._try(result, boxes)
        self._rests = 0 if idle.size < LUCK * first.size else 2 * self._rests + 1
        self._resting = self._rests

    def _look(self, boxes: Boxes, steps: int) -> Result:
        """Bound boxes and keep the best point seen."""
        if len(boxes.origin) == 0:
            return self.bounder.look(boxes, 0.0, 0)
        if not np.isfinite(self.best):
            self._try(self.bounder.look(boxes, np.inf, 0), boxes)
        void = self.bounder.narrow(boxes, NARROW)
        result = self.bounder.look(boxes, self._target(), steps)
        result.bound = np.where(void, np.inf, np.maximum(result.bound, self.plain[boxes.origin]))
        self.looked += len(boxes.origin)
        self._try(result, boxes)
        return result

    def _try(self, result: Result, boxes: Boxes) -> None:
        best = int(np.argmin(result.found))
        if result.found[best] < self.best:
            self.best, self.column = float(result.found[best]), int(boxes.origin[best])
            self.point = result.point[:, best].copy()


class _Tree:
    """How boxes are split: at the place where halving wins back most of what atoms lose.

    A place is an input, or the argument (row) of an atom.  An argument with few single inputs behind is narrowed
    through these; one that is nothing but another atom of one argument, through that one's argument.
    """

    def __init__(self, bounder: Bounder) -> None:
        self.bounder, self.form = bounder, bounder.form
        single = set(bounder.region.single.tolist())
        rows: list[Array] = []
        behind: list[frozenset[int]] = [frozenset([i]) for i in range(bounder.inputs)]
        self.ops: list[str] = []
        self.arguments: list[list[int]] = []
        for block in self.form.blocks:
            written = np.concatenate((block.rows.matrix, block.rows.constant[:, :, None]), axis=2)
            rows.extend(written[:, row] for row in range(written.shape[1]))
            for k in range(block.count):
                own = [block.row + k + part * block.count for part in range(block.arguments)]
                self.ops.append(block.op)
                self.arguments.append(own)
                behind.append(frozenset().union(*(self._inputs(rows[r], behind) for r in own)))
        self.ramps = np.array([op == "ramp" for op in self.ops], dtype=bool)
        self.lengths = [a for a, op in enumerate(self.ops) if op == "length"]
        few = [self._inputs(row, behind) for row in rows]
        self.twins = self._twins(rows)
        #: per atom and argument, the places that narrow it
        self.ways: list[tuple[int, list[int]]] = []
        for atom, own in enumerate(self.arguments):
            ways = []
            for row in own[1:] if self.ops[atom] == "leg" else own:
                through = len(few[row]) <= FEW and few[row] <= single
                ways.append(sorted(few[row]) if through else [bounder.inputs + self._source(row, rows)])
            if self.ops[atom] == "length":
                ways = [ways[0] + ways[1]]  # only the relatively wider one matters
            self.ways.extend((atom, places) for places in ways if places)

    @staticmethod
    def _inputs(row: Array, behind: list[frozenset[int]]) -> frozenset[int]:
        return frozenset().union(*(behind[v] for v in np.flatnonzero(np.any(row[:, :-1] != 0, axis=0))))

    def _source(self, row: int, rows: list[Array]) -> int:
        """Return the row that narrows ``row``: its own, or that of the only atom that it is made of."""
        while True:
            used = np.flatnonzero(np.any(rows[row] != 0, axis=0))
            atom = int(used[0]) - self.bounder.inputs if len(used) == 1 else -1
            if not 0 <= atom < len(self.arguments) or len(self.arguments[atom]) > 1:
                return self._twin(row, rows)
            row = self.arguments[atom][0]

    @staticmethod
    def _twin(row: int, rows: list[Array]) -> int:
        """Return the first row that is written the same."""
        for other in range(row):
            if rows[other].shape == rows[row].shape and rows[other].shape[1] and _alike(rows[other], rows[row]):
                return other
        return row

    def _twins(self, rows: list[Array]) -> dict[int, list[int]]:
        n = self.bounder.inputs
        found: dict[int, list[int]] = {}
        for row in range(len(rows)):
            found.setdefault(n + self._twin(row, rows), []).append(n + row)
        return found

    def split(self, boxes: Boxes, result: Result, tolerance: float) -> tuple[Boxes, Array]:
        """Split every box; return the children and the place of each one's parent."""
        cuts = []
        score, best = self._scores(result, tolerance)
        for box in range(len(boxes.origin)):
            cut = self._cut(boxes, result, box, score[:, box], int(best[box]))
            if cut is not None:
                cuts.append((box, *cut))
        parents = np.repeat([c[0] for c in cuts], [len(c[2]) - 1 for c in cuts]).astype(int)
        children = boxes.take(parents)
        child = 0
        for _, places, edges in cuts:
            for low, high in pairwise(edges):
                if places[0] < 0:
                    children.sector[:, -places[0] - 1, child] = low, high
                else:
                    children.low[places, child], children.high[places, child] = low, high
                child += 1
        return children, parents

    def _scores(self, result: Result, tolerance: float) -> tuple[Array, Array]:
        """Return, per place and box, the losses that halving it would lessen, and the best place."""
        width = result.high - result.low
        width = width / np.maximum(np.maximum(np.abs(result.low), np.abs(result.high)), 1e-12)
        width = np.where(np.isfinite(width) & (width > 1e-7), width, 0.0)
        loss = np.where(np.isfinite(result.loss), np.maximum(result.loss, 0.0), 1e3)
        score = np.zeros_like(width)
        for atom, places in self.ways:
            parts = width[places]
            score[places] += loss[atom] * parts / np.maximum(parts.sum(axis=0), 1e-300)
        score = score * (LEVEL + result.sway / (result.sway + tolerance))
        return score, np.argmax(score, axis=0)

    def _cut(self, boxes: Boxes, result: Result, box: int, score: Array, place: int) -> tuple[list[int], Array] | None:
        """Return what to cut and the edges of its parts; a length's sector as −1 − atom."""
        for atom in self.lengths:
            if result.weights[atom, box] < 0 and result.loss[atom, box] >= 0.5 * score[place]:
                start, end = boxes.sector[:, atom, box]
                if end - start > 1e-4 and (end - start < 6.0 or self._turns(result, box, atom)):
                    return [-1 - atom], np.linspace(start, end, (SECTORS if end - start > 6.0 else 2) + 1)
        if score[place] <= 0:
            return None
        low, high = float(result.low[place, box]), float(result.high[place, box])
        return self.twins.get(place, [place]), self._edges(low, high)

    @staticmethod
    def _edges(low: float, high: float) -> Array:
        """Return the edges of the parts: at zero where that lies well inside, else in the middle."""
        width = high - low
        if low < 0 < high and min(-low, high) > 0.05 * width:
            return np.array([low, 0.0, high])
        return np.array([low, 0.5 * (low + high), high])

    def _turns(self, result: Result, box: int, atom: int) -> bool:
        """Tell whether a length's vector may turn far, so that sectors bound it better than halves."""
        rows = [self.bounder.inputs + r for r in self.arguments[atom]]
        far = max(max(result.low[r, box], -result.high[r, box]) for r in rows)
        return bool(far < 0.5 * max(max(-result.low[r, box], result.high[r, box]) for r in rows))


def _alike(one: Array, other: Array) -> bool:
    """Tell whether two rows are the same; a later one may have more variables before its constant."""
    return bool(np.array_equal(one, other))
