"""Branch and bound for one end of one gap: the value found and a guaranteed bound beside it.

Every box is bounded by the dual of its linear relaxation (``bounds.py``) and split at the atom that loses most
there: an argument or an input in two, the direction of a length in sectors.  The points where the bounds are
attained are tried as candidates, and the best is moved to a local extreme (``polish.py``) where found and bound
stay apart.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise, product
from typing import Any

import numpy as np

from stackup.chain.bounds import Bounder, Boxes, Ground, Result
from stackup.chain.program import Program
from stackup.engine.polish import Mover

Array = Any

BATCH = 128
SECTORS = 8
STEPS = 2
START = 10
FIRST = 10
#: what a place counts by which the bound hardly changes, against 1 for one that sways it
LEVEL = 0.2
#: an argument with at most so many inputs behind it is narrowed by halving one of them
FEW = 3
#: part of the tolerance that the bound may stay away from the value found
CLOSE = 0.9
#: so many children a look should have: fewer boxes are cut at up to ROUNDS places at once
FILL = 128
ROUNDS = 2
#: a further cut must promise this part of what the first one does
SECOND = 0.3


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
        """Search within ``budget`` boxes; move the best point to a local extreme where the ends stay apart.

        The first such move comes after ``FIRST`` boxes.  Where it tells how lines must touch there (the slopes of
        ramps), the search begins again with these.
        """
        frontier = self._begin()
        self._descend(frontier, min(FIRST, budget // 4))
        if not self._closed(frontier.bound):
            self.polish()
            had = frontier.bound
            if self.shares:
                frontier = self._begin()
            self._descend(frontier, budget)
            frontier.kept = max(frontier.kept, had) if frontier.bound < had else frontier.kept
        if not self._closed(frontier.bound):
            self.polish()
        return End(self.best, min(frontier.bound, self.best), self._named(), self.column, self.looked)

    def _closed(self, bound: float) -> bool:
        return self.best - bound <= (1.0 - 1e-9) * self.tolerance

    def _named(self) -> dict[str, float]:
        point = {
            k: 0.5 * float(self.ground.low[k][self.column] + self.ground.high[k][self.column]) for k in self.ground.low
        }
        return point | dict(zip(self.bounder.form.inputs, map(float, self.point), strict=True))

    def _begin(self) -> _Frontier:
        boxes = self._root()
        return _Frontier(boxes, self._look(boxes, START))

    def _descend(self, frontier: _Frontier, budget: int) -> None:
        """Split the open boxes with the least bounds until the ends meet or ``budget`` boxes are looked at."""
        while self.looked < budget:
            frontier.close(self.best - CLOSE * self.tolerance)
            if self._closed(frontier.bound):
                return
            boxes, result = frontier.take(BATCH)
            children, parents = self._tree.split(boxes, result, self.tolerance, FILL)
            frontier.keep(self.best - CLOSE * self.tolerance)  # what looks have left out of the boxes is no less
            whole = np.setdiff1d(np.arange(len(result.bound)), parents)
            frontier.keep(result.bound[whole])
            fresh = self._look(children, STEPS)
            fresh.bound = np.maximum(fresh.bound, result.bound[parents])
            frontier.add(children, fresh)

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
        target = self.best - 0.95 * CLOSE * self.tolerance
        if not np.isfinite(target):
            self._try(self.bounder.look(boxes, np.inf, 0), boxes)
            target = self.best - 0.95 * CLOSE * self.tolerance
        result = self.bounder.look(boxes, target, steps, self.best - CLOSE * self.tolerance)
        self.looked += len(boxes.origin)
        self._try(result, boxes)
        return result

    def _try(self, result: Result, boxes: Boxes) -> None:
        best = int(np.argmin(result.found))
        if result.found[best] < self.best:
            self.best, self.column = float(result.found[best]), int(boxes.origin[best])
            self.point = result.point[:, best].copy()


class _Frontier:
    """Boxes still to be split, and the least bound of those that need not be or cannot be."""

    def __init__(self, boxes: Boxes, result: Result) -> None:
        self.boxes, self.result, self.kept = boxes, result, np.inf

    @property
    def bound(self) -> float:
        """Return the bound that nothing can pass."""
        return min(self.kept, float(np.min(self.result.bound, initial=np.inf)))

    def keep(self, bounds: Array) -> None:
        """Remember bounds of boxes that are not looked at again."""
        self.kept = min(self.kept, float(np.min(bounds, initial=np.inf)))

    def close(self, enough: float) -> None:
        """Leave out boxes whose bound is enough."""
        live = self.result.bound < enough
        if not np.all(live):
            self.keep(self.result.bound[~live])
            self.boxes, self.result = self.boxes.take(live), self.result.take(live)

    def take(self, count: int) -> tuple[Boxes, Result]:
        """Take out the boxes with the least bounds."""
        order = np.argsort(self.result.bound, kind="stable")
        work, rest = order[:count], order[count:]
        taken = self.boxes.take(work), self.result.take(work)
        self.boxes, self.result = self.boxes.take(rest), self.result.take(rest)
        return taken

    def add(self, boxes: Boxes, result: Result) -> None:
        """Take boxes in."""
        self.boxes, self.result = Boxes.join([self.boxes, boxes]), Result.join(self.result, result)


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

    def split(self, boxes: Boxes, result: Result, tolerance: float, fill: int) -> tuple[Boxes, Array]:
        """Split every box; return the children and the place of each one's parent.

        Few boxes are split at several places at once, to give up to ``fill`` children or so.
        """
        score, best = self._scores(result, tolerance)
        rounds = int(np.clip(np.log2(fill / max(len(best), 1)), 1, ROUNDS))
        parents: list[int] = []
        parts: list[list[tuple[int, float, float]]] = []
        for box in range(len(best)):
            cuts = self._cuts(boxes, result, box, score[:, box], rounds)
            for child in product(*([(p, lo, hi) for lo, hi in pairwise(edges)] for p, edges in cuts.items())):
                if child:
                    parents.append(box)
                    parts.append(list(child))
        found = np.array(parents, dtype=int)
        children = boxes.take(found)
        for k, part in enumerate(parts):
            for place, low, high in part:
                if place < 0:
                    children.sector[:, -place - 1, k] = low, high
                else:
                    places = self.twins.get(place, [place])
                    children.low[places, k], children.high[places, k] = low, high
        return children, found

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

    def _cuts(self, boxes: Boxes, result: Result, box: int, score: Array, rounds: int) -> dict[int, list[float]]:
        """Return the places to cut, each with the edges of its parts; a length's sector as −1 − atom."""
        cuts: dict[int, list[float]] = {}
        score = score.copy()
        first = 0.0
        for turn in range(rounds):
            place = int(np.argmax(score))
            sector = -1
            if turn == 0 and (sector := self._sector(boxes, result, box, score[place])) >= 0:
                start, end = boxes.sector[:, sector, box]
                cuts[-1 - sector] = list(np.linspace(start, end, (SECTORS if end - start > 6.0 else 2) + 1))
                if end - start > 6.0:
                    break
                first = float(result.loss[sector, box])
                continue
            if score[place] <= SECOND * first or score[place] <= 0:
                break
            first = max(first, float(score[place]))
            edges = cuts.get(place, [float(result.low[place, box]), float(result.high[place, box])])
            cuts[place] = [e for lo, hi in pairwise(edges) for e in self._edges(lo, hi)[:-1]] + edges[-1:]
            score[place] *= 0.25
        return cuts

    def _sector(self, boxes: Boxes, result: Result, box: int, score: float) -> int:
        """Return the length whose sector is to be cut, or −1."""
        for atom in self.lengths:
            if result.weights[atom, box] < 0 and result.loss[atom, box] >= 0.5 * score:
                start, end = boxes.sector[:, atom, box]
                if end - start > 1e-4 and self._turns(result, box, atom):
                    return atom
        return -1

    @staticmethod
    def _edges(low: float, high: float) -> list[float]:
        """Return the edges of the parts: at zero where that lies well inside, else in the middle."""
        width = high - low
        if low < 0 < high and min(-low, high) > 0.05 * width:
            return [low, 0.0, high]
        return [low, 0.5 * (low + high), high]

    def _turns(self, result: Result, box: int, atom: int) -> bool:
        """Tell whether a length's vector may turn far, so that sectors bound it better than halves."""
        rows = [self.bounder.inputs + r for r in self.arguments[atom]]
        far = max(max(result.low[r, box], -result.high[r, box]) for r in rows)
        return bool(far < 0.5 * max(max(-result.low[r, box], result.high[r, box]) for r in rows))


def _alike(one: Array, other: Array) -> bool:
    """Tell whether two rows are the same; a later one may have more variables before its constant."""
    return bool(np.array_equal(one, other))
