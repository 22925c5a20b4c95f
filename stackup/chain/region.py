"""The ground as stacked arrays: least values of linear functions over it, and intervals of rows."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from stackup.chain.ground import Boxes, Disc, Ground

Array = Any

#: rounding of the sums of one look, relative to the sum of the magnitudes of all terms
ROUNDING = 1e-12


#: outward rounding of arcs and ends that a look narrows, relative
MARGIN = 1e-9


@dataclass(frozen=True)
class _Load:
    """Weights (inputs, nbox), those of the discs' parts, and ``far``: what a mm of radius takes off their sum.

    ``toward`` is the unit vector against which that is (below 0 on an arc that leads away from it).
    """

    weights: Array
    by_disc: tuple[Array, Array]
    far: Array
    toward: tuple[Array, Array]
    bias: Array


class Region:
    """The ground as arrays (inputs, columns) and stacked discs."""

    def __init__(self, inputs: tuple[str, ...], ground: Ground) -> None:
        """Stack the discs and ends that these inputs need."""
        self.place = {name: i for i, name in enumerate(inputs)}
        shape = (len(inputs), ground.columns)
        self.low: Array = np.zeros(shape)
        self.high: Array = np.zeros(shape)
        for name, i in self.place.items():
            self.low[i], self.high[i] = ground.low[name], ground.high[name]
        self.discs = [d for d in ground.discs if d.r in self.place or d.t in self.place]
        self.growing = [i for i, d in enumerate(self.discs) if d.feature is not None]
        # a part that the program does not need stands in the row after the last
        self.r = np.array([self.place.get(d.r, len(inputs)) for d in self.discs], dtype=int)
        self.t = np.array([self.place.get(d.t, len(inputs)) for d in self.discs], dtype=int)
        columns = (len(self.discs), ground.columns)
        self.centre = np.zeros((2, *columns))
        self.radius, self.most = np.zeros(columns), np.zeros(columns)
        self.ground = ground
        for i, d in enumerate(self.discs):
            self.centre[0, i], self.centre[1, i], self.radius[i] = d.centre_r, d.centre_t, d.radius
            self.most[i] = d.radius + (self._growth(d)[1] if d.feature is not None else 0.0)
            for part, centre in ((d.r, d.centre_r), (d.t, d.centre_t)):
                if part in self.place:
                    self.low[self.place[part]] = centre - self.most[i]
                    self.high[self.place[part]] = centre + self.most[i]
        paired = {name for d in self.discs for name in (d.r, d.t)}
        self.single = np.array([i for n, i in self.place.items() if n not in paired], dtype=int)

    def discs_of(self, column: int) -> list[tuple[int, int, float, float, float, tuple[int, float, float] | None]]:
        """Return the discs of a column: places of both parts (−1: not needed), centre, radius, what it grows with."""
        found = []
        for i, d in enumerate(self.discs):
            radius, grown = float(self.radius[i, column]), None
            if d.feature is not None and d.feature in self.place:
                grown = self.place[d.feature], d.slope, d.at
            elif d.feature is not None:
                radius = float(self.most[i, column])
            centre = float(self.centre[0, i, column]), float(self.centre[1, i, column])
            found.append((self.place.get(d.r, -1), self.place.get(d.t, -1), *centre, radius, grown))
        return found

    def _growth(self, disc: Disc) -> tuple[Array, Array]:
        """Return the least and greatest growth of a disc's radius over the whole feature."""
        feature = str(disc.feature)
        ends = disc.slope * (self.ground.low[feature] - disc.at), disc.slope * (self.ground.high[feature] - disc.at)
        return np.maximum(np.minimum(*ends), 0.0), np.maximum(np.maximum(*ends), 0.0)

    def middle(self) -> Array:
        """Return the middle of every column, (inputs, columns)."""
        return 0.5 * (self.low + self.high)

    def anywhere(self) -> Array:
        """Return arcs (5, discs, columns) that exclude nothing."""
        arc = np.zeros((5, *self.radius.shape))
        arc[0], arc[2] = 1.0, -1.0
        return arc

    def least(self, weights: Array, low: Array, high: Array, boxes: Boxes) -> tuple[Array, Array, Array]:
        """Return the least of Σ weight·input, where it is, and the sum of the magnitudes (all per box)."""
        load = self._loaded(weights, boxes)
        weights, (gr, gt) = load.weights, load.by_disc
        centre = self.centre[:, :, boxes.origin]
        spot: Array = np.where(weights > 0, low, high)
        middle = 0.5 * (low + high)
        terms = weights[self.single] * spot[self.single]
        spot = np.where(np.abs(weights) * (high - low) < 1e-12, middle, spot)
        radius = self.radius[:, boxes.origin]
        reached = -load.far * np.where(load.far > 0, radius, boxes.arc[4])
        by_disc = gr * centre[0] + gt * centre[1] + reached
        total = load.bias + terms.sum(axis=0) + by_disc.sum(axis=0)
        size = np.abs(load.bias) + np.abs(terms).sum(axis=0) + np.abs(by_disc).sum(axis=0)
        for i in self.growing:
            radius[i] = radius[i] + self._grown(self.discs[i], spot, boxes.origin)
        point = np.concatenate((spot, np.zeros((1, weights.shape[1]))))
        point[self.r] = centre[0] - radius * load.toward[0]
        point[self.t] = centre[1] - radius * load.toward[1]
        return total, point[:-1], size

    def _loaded(self, weights: Array, boxes: Boxes) -> _Load:
        """Return weights with the growth of discs charged to the sizes that they grow with."""
        weights = np.concatenate((weights, np.zeros((1, weights.shape[1]))))
        gr, gt = weights[self.r], weights[self.t]
        far, *toward = along_arc(gr, gt, boxes.arc)
        bias = np.zeros(weights.shape[1])
        for i in self.growing:
            bias = bias + self._charge(self.discs[i], np.maximum(far[i], 0.0), weights, boxes.origin)
        return _Load(weights[:-1], (gr, gt), far, (toward[0], toward[1]), bias)

    def keep(self, weights: Array, low: Array, high: Array, boxes: Boxes, slack: Array) -> None:
        """Narrow inputs and arcs of boxes to where Σ weight·input is at most ``slack`` above its least.

        One input that is farther from where it gives least costs more than that alone (H. S. Ryoo, N. V. Sahinidis,
        1995).  A disc's vector costs |weights|·(radius − its part along −weights): it stays in a cap of the disc.
        """
        load = self._loaded(weights, boxes)
        slack = np.maximum(slack, 0.0) * (1.0 + MARGIN) + MARGIN * MARGIN
        of_single = load.weights[self.single]
        room = np.divide(slack, np.abs(of_single), out=np.full_like(of_single, np.inf), where=of_single != 0)
        less, more = low[self.single], high[self.single]
        boxes.low[self.single] = np.where(of_single < 0, np.maximum(less, more - room), less)
        boxes.high[self.single] = np.where(of_single > 0, np.minimum(more, less + room), more)
        gr, gt = load.by_disc
        norm = np.sqrt(gr * gr + gt * gt)
        depth = np.divide(slack, norm, out=np.full_like(norm, np.inf), where=(norm > 0) & (load.far >= norm))
        radius = self.radius[:, boxes.origin]
        cap = depth < radius
        share = np.divide(depth, radius, out=np.ones_like(depth), where=cap)
        boxes.arc[4] = np.where(cap, np.maximum(boxes.arc[4], (radius - depth) * (1.0 - MARGIN)), boxes.arc[4])
        self.turn(boxes, load.toward, 1.0 - share - MARGIN, cap)

    @staticmethod
    def turn(boxes: Boxes, toward: tuple[Array, Array], cosine: Array, where: Array) -> None:
        """Put vectors on arcs about ``toward`` with a half-angle of that cosine, where these are the narrower ones."""
        cosine = np.clip(cosine, 0.0, 1.0)
        narrower = where & (cosine > boxes.arc[2])
        for k, fresh in enumerate((*toward, cosine, np.sqrt(1.0 - cosine * cosine))):
            np.copyto(boxes.arc[k], fresh, where=narrower)

    def ends(self, matrix: Array, shift: Array, low: Array, high: Array, boxes: Boxes) -> tuple[Array, Array]:
        """Return the intervals (rows, nbox) of rows of their own in every box, (nbox, rows, variables)."""
        origin = boxes.origin
        wide = np.concatenate((matrix, np.zeros((*matrix.shape[:2], 1))), axis=2)
        n = len(self.place)
        r, t = np.where(self.r < n, self.r, -1), np.where(self.t < n, self.t, -1)
        gr, gt = wide[:, :, r], wide[:, :, t]
        centre = self.centre[:, :, origin]
        middle = shift + np.einsum("brd,db->br", gr, centre[0]) + np.einsum("brd,db->br", gt, centre[1])
        arc = boxes.arc.transpose(0, 2, 1)[:, :, None, :]
        most = self.most[:, origin].T[:, None, :]
        below, beyond = (end.sum(axis=2) for end in reach(gr, gt, arc, most))
        wide[:, :, r] = 0.0
        wide[:, :, t] = 0.0
        plain = wide[:, :, :-1]
        up, down = np.maximum(plain, 0.0), np.minimum(plain, 0.0)
        lo, hi = low.T[:, :, None], high.T[:, :, None]
        size = ((up - down) @ np.maximum(np.abs(lo), np.abs(hi)))[:, :, 0] + np.abs(middle)
        slack = ROUNDING * (size + np.abs(shift) + np.abs(below) + np.abs(beyond))
        least = (up @ lo + down @ hi)[:, :, 0] + middle + below - slack
        greatest = (up @ hi + down @ lo)[:, :, 0] + middle + beyond + slack
        return least.T, greatest.T

    def _charge(self, disc: Disc, norm: Array, weights: Array, origin: Array) -> Array:
        """Move a disc's growth on to the size it grows with: −norm·max(0, slope·(size − at)), by its secant.

        The secant over the whole feature lies above the growth; where the feature departs from maximum
        material in one direction only, it is exact.  A feature that the program does not need takes its most.
        """
        feature = str(disc.feature)
        low, high = self.ground.low[feature][origin], self.ground.high[feature][origin]
        ends = [np.maximum(disc.slope * (x - disc.at), 0.0) for x in (low, high)]
        if feature not in self.place:
            return -norm * np.maximum(*ends)
        rise = np.where(high > low, (ends[1] - ends[0]) / np.where(high > low, high - low, 1.0), 0.0)
        weights[self.place[feature]] -= norm * rise
        return -norm * (np.maximum(ends[0], ends[1] - rise * (high - low)) - rise * low)

    def _grown(self, disc: Disc, point: Array, origin: Array) -> Array:
        feature = str(disc.feature)
        if feature not in self.place:
            return self._growth(disc)[1][origin]
        return np.maximum(0.0, disc.slope * (point[self.place[feature]] - disc.at))

    def inside(self, point: Array, origin: Array) -> Array:
        """Return points drawn back into their discs."""
        point = np.concatenate((point, np.zeros((1, point.shape[1]))))
        radius, centre = self.radius[:, origin], self.centre[:, :, origin]
        for i in self.growing:
            radius[i] = radius[i] + self._grown(self.discs[i], point, origin)
        dr, dt = point[self.r] - centre[0], point[self.t] - centre[1]
        last = len(point) - 1
        off_r, off_t = np.where((self.r < last)[:, None], dr, 0.0), np.where((self.t < last)[:, None], dt, 0.0)
        far = np.sqrt(off_r * off_r + off_t * off_t)
        shrink = np.minimum(1.0, radius / np.maximum(far, 1e-300))
        point[self.r], point[self.t] = centre[0] + dr * shrink, centre[1] + dt * shrink
        return point[:-1]


def along_arc(gr: Array, gt: Array, arc: Array) -> tuple[Array, Array, Array]:
    """Return the greatest of (gr, gt)·u over the unit vectors u of an arc, and that u (0 where the weights vanish)."""
    norm = np.sqrt(gr * gr + gt * gt)
    along, across = gr * arc[0] + gt * arc[1], arc[0] * gt - arc[1] * gr
    within = along >= norm * arc[2]
    inverse = np.divide(1.0, norm, out=np.zeros_like(norm), where=norm > 1e-300)
    side = np.copysign(arc[3], across)
    most = np.where(within, norm, along * arc[2] + across * side)
    u = np.where(within, gr * inverse, arc[0] * arc[2] - arc[1] * side)
    return most, u, np.where(within, gt * inverse, arc[1] * arc[2] + arc[0] * side)


def reach(gr: Array, gt: Array, arc: Array, most: Array) -> tuple[Array, Array]:
    """Return the least and greatest of (gr, gt)·(vector − centre), the vector at −ρ·u, ρ from arc[4] to ``most``.

    On a whole disc both are ±|(gr, gt)|·most.
    """
    far, near = along_arc(gr, gt, arc)[0], along_arc(-gr, -gt, arc)[0]
    return -far * np.where(far > 0, most, arc[4]), near * np.where(near > 0, most, arc[4])


class Forward:
    """Intervals of rows: single inputs and atoms by their ends, discs by their arcs against the coefficients."""

    def __init__(self, rows: Any, region: Region) -> None:
        """Split the coefficients by sign, and measure those of the discs."""
        plain = rows.matrix.copy()
        wide = np.concatenate((plain, np.zeros((*plain.shape[:2], 1))), axis=2)
        # a part that the program does not need has no coefficient
        r = np.where(region.r < len(region.place), region.r, -1)
        t = np.where(region.t < len(region.place), region.t, -1)
        gr, gt = wide[:, :, r], wide[:, :, t]
        columns = region.radius.shape[1]
        self.shift = np.broadcast_to(rows.constant, (columns, plain.shape[1])).copy()
        self.shift += np.sum(gr * region.centre[0].T[:, None] + gt * region.centre[1].T[:, None], axis=2)
        self.region = region
        # discs that no row holds are left out
        self.held = np.flatnonzero(np.any((gr != 0) | (gt != 0), axis=(0, 1)))
        self.weights = gr[:, :, self.held, None], gt[:, :, self.held, None]
        wide[:, :, r] = 0.0
        wide[:, :, t] = 0.0
        plain = wide[:, :, :-1]
        self.up, self.down = np.maximum(plain, 0.0), np.minimum(plain, 0.0)

    def ends(self, low: Array, high: Array, boxes: Boxes) -> tuple[Array, Array, Array]:
        """Return the intervals (rows, nbox) for intervals of all variables (variables, nbox).

        The third array is the sum of the magnitudes of all terms, which their rounding is measured by.
        """
        origin = boxes.origin
        shift = self.shift[origin].T
        up, down = self.up, self.down
        far = np.maximum(np.abs(low), np.abs(high))
        if len(up) == 1:
            rising, falling = up[0], down[0]
            lo, hi, size = rising @ low + falling @ high, rising @ high + falling @ low, (rising - falling) @ far
        else:
            rising, falling = up[origin], down[origin]
            lo = np.einsum("brv,vb->rb", rising, low) + np.einsum("brv,vb->rb", falling, high)
            hi = np.einsum("brv,vb->rb", rising, high) + np.einsum("brv,vb->rb", falling, low)
            size = np.einsum("brv,vb->rb", rising - falling, far)
        size = size + np.abs(shift)
        if len(self.held):
            below, beyond = self._discs(boxes)
            lo, hi, size = lo + below, hi + beyond, size + np.maximum(np.abs(below), np.abs(beyond))
        slack = ROUNDING * size
        return lo + shift - slack, hi + shift + slack, size

    def _discs(self, boxes: Boxes) -> tuple[Array, Array]:
        """Return what all discs together give at the least and at the most, (rows, nbox)."""
        gr, gt = self.weights
        if len(gr) == 1:
            gr, gt = gr[0], gt[0]
        else:
            gr, gt = (np.moveaxis(g[boxes.origin, :, :, 0], 0, -1) for g in (gr, gt))
        region, held = self.region, self.held
        below, beyond = reach(gr, gt, boxes.arc[:, held], region.most[held][:, boxes.origin])
        return below.sum(axis=1), beyond.sum(axis=1)
