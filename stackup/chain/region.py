"""The ground as stacked arrays: least values of linear functions over it, and intervals of rows."""

from __future__ import annotations

from typing import Any

import numpy as np

from stackup.chain.ground import Disc, Ground

Array = Any

#: rounding of the sums of one look, relative to the sum of the magnitudes of all terms
ROUNDING = 1e-12


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

    def least(self, weights: Array, low: Array, high: Array, origin: Array) -> tuple[Array, Array, Array]:
        """Return the least of Σ weight·input, where it is, and the sum of the magnitudes (all per box)."""
        weights = np.concatenate((weights, np.zeros((1, weights.shape[1]))))
        gr, gt = weights[self.r], weights[self.t]
        norm = np.sqrt(gr * gr + gt * gt)
        radius, centre = self.radius[:, origin], self.centre[:, :, origin]
        bias = np.zeros(weights.shape[1])
        for i in self.growing:
            bias = bias + self._charge(self.discs[i], norm[i], weights, origin)
        inverse = np.divide(1.0, norm, out=np.zeros_like(norm), where=norm > 1e-300)
        spot: Array = np.where(weights[:-1] > 0, low, high)
        middle = 0.5 * (low + high)
        spot = np.where(np.abs(weights[:-1]) * (high - low) < 1e-12, middle, spot)
        safe = np.where(weights[:-1] > 0, low, high)
        terms = weights[self.single] * safe[self.single]
        by_disc = gr * centre[0] + gt * centre[1] - norm * radius
        total = bias + terms.sum(axis=0) + by_disc.sum(axis=0)
        size = np.abs(bias) + np.abs(terms).sum(axis=0) + np.abs(by_disc).sum(axis=0)
        for i in self.growing:
            radius[i] = radius[i] + self._grown(self.discs[i], spot)
        point = np.concatenate((spot, np.zeros((1, weights.shape[1]))))
        point[self.r] = centre[0] - radius * gr * inverse
        point[self.t] = centre[1] - radius * gt * inverse
        return total, point[:-1], size

    def ends(self, matrix: Array, shift: Array, low: Array, high: Array, origin: Array) -> tuple[Array, Array]:
        """Return the intervals (rows, nbox) of rows of their own in every box, (nbox, rows, variables)."""
        wide = np.concatenate((matrix, np.zeros((*matrix.shape[:2], 1))), axis=2)
        n = len(self.place)
        r, t = np.where(self.r < n, self.r, -1), np.where(self.t < n, self.t, -1)
        gr, gt = wide[:, :, r], wide[:, :, t]
        centre, most = self.centre[:, :, origin], self.most[:, origin]
        middle = shift + np.einsum("brd,db->br", gr, centre[0]) + np.einsum("brd,db->br", gt, centre[1])
        reach = np.einsum("brd,db->br", np.sqrt(gr * gr + gt * gt), most)
        wide[:, :, r] = 0.0
        wide[:, :, t] = 0.0
        plain = wide[:, :, :-1]
        up, down = np.maximum(plain, 0.0), np.minimum(plain, 0.0)
        lo, hi = low.T[:, :, None], high.T[:, :, None]
        size = ((up - down) @ np.maximum(np.abs(lo), np.abs(hi)))[:, :, 0] + np.abs(middle) + reach
        slack = ROUNDING * (size + np.abs(shift))
        least = (up @ lo + down @ hi)[:, :, 0] + middle - reach - slack
        most_ = (up @ hi + down @ lo)[:, :, 0] + middle + reach + slack
        return least.T, most_.T

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

    def _grown(self, disc: Disc, point: Array) -> Array:
        feature = str(disc.feature)
        if feature not in self.place:
            return self._growth(disc)[1][0]
        return np.maximum(0.0, disc.slope * (point[self.place[feature]] - disc.at))

    def inside(self, point: Array, origin: Array) -> Array:
        """Return points drawn back into their discs."""
        point = np.concatenate((point, np.zeros((1, point.shape[1]))))
        radius, centre = self.radius[:, origin], self.centre[:, :, origin]
        for i in self.growing:
            radius[i] = radius[i] + self._grown(self.discs[i], point)
        dr, dt = point[self.r] - centre[0], point[self.t] - centre[1]
        last = len(point) - 1
        off_r, off_t = np.where((self.r < last)[:, None], dr, 0.0), np.where((self.t < last)[:, None], dt, 0.0)
        far = np.sqrt(off_r * off_r + off_t * off_t)
        shrink = np.minimum(1.0, radius / np.maximum(far, 1e-300))
        point[self.r], point[self.t] = centre[0] + dr * shrink, centre[1] + dt * shrink
        return point[:-1]


class Forward:
    """Intervals of rows: single inputs and atoms by their ends, discs by their radius against the coefficients."""

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
        self.reach = np.sum(np.sqrt(gr * gr + gt * gt) * region.most.T[:, None], axis=2)
        wide[:, :, r] = 0.0
        wide[:, :, t] = 0.0
        plain = wide[:, :, :-1]
        self.up, self.down = np.maximum(plain, 0.0), np.minimum(plain, 0.0)

    def ends(self, low: Array, high: Array, origin: Array) -> tuple[Array, Array, Array]:
        """Return the intervals (rows, nbox) for intervals of all variables (variables, nbox).

        The third array is the sum of the magnitudes of all terms, which their rounding is measured by.
        """
        shift, reach = self.shift[origin].T, self.reach[origin].T
        up, down = self.up, self.down
        if len(up) == 1:
            rising, falling = up[0], down[0]
            lo, hi = rising @ low + falling @ high, rising @ high + falling @ low
            size = (rising - falling) @ np.maximum(np.abs(low), np.abs(high))
        else:
            rising, falling = up[origin], down[origin]
            lo = np.einsum("brv,vb->rb", rising, low) + np.einsum("brv,vb->rb", falling, high)
            hi = np.einsum("brv,vb->rb", rising, high) + np.einsum("brv,vb->rb", falling, low)
            size = np.einsum("brv,vb->rb", rising - falling, np.maximum(np.abs(low), np.abs(high)))
        size = size + np.abs(shift) + reach
        slack = ROUNDING * size
        return lo + shift - reach - slack, hi + shift + reach + slack, size
