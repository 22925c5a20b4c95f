"""The law of a zone that is inspected although its process does not stand at the middle of the disc."""

from __future__ import annotations

from collections.abc import Callable
from functools import cached_property

import numpy as np

from stackup.dimension.law import placed
from stackup.dimension.radial import Polar, Radius, vectors
from stackup.dimension.region import Array, Column, Disc
from stackup.dimension.shared import draw_scores
from stackup.dimension.tables import Scratch
from stackup.dimension.zones import About, Limits, Spread, ZoneLaw, centres, limit_of, spread_of_rule

#: Below this share of usable vectors, drawing again costs more than the way through the scores.
LEAST_REDRAWN = 0.3
#: Bonus tables stand this fraction of the radius apart.
BONUS_STEP = 1 / 32


class OffsetZone(ZoneLaw):
    """Isotropic about a mean that is not the centre of the disc to which inspection cuts it."""

    def __init__(self, radius: Radius, about: About, disc: Disc, limits: Limits = ()) -> None:
        """Keep the law of the radius and the disc of inspection."""
        super().__init__(about)
        self.radius, self.disc, self.limits = radius, disc, limits or ((disc.radius, 1.0),)
        self.needs = None if disc.growth is None else disc.growth.feature
        self.centres = centres(self.means)
        self._tables: dict[tuple[int, float], Polar] = {}

    def polar(self, pocket: int, limit: float) -> Polar:
        """Return the table of one pocket's directions for a disc of radius ``limit``."""
        key = (pocket % len(self.centres), limit)
        if key not in self._tables:
            self._tables[key] = Polar(self.radius, self.centres[key[0]], limit)
        return self._tables[key]

    @cached_property
    def kept(self) -> float:
        """The least share, over the pockets, of what the process makes inside the disc."""
        return min(self.polar(i, self.disc.radius).kept for i in range(len(self.centres)))

    @cached_property
    def _each(self) -> list[Spread]:
        return [self._spread(i) for i in range(len(self.centres))]

    def _spread(self, pocket: int = 0) -> Spread:
        """Return the spread of one pocket, over all limits that a bonus brings."""
        rules = [(w, self.polar(pocket, limit).rule()) for limit, w in self.limits]
        x, y = (np.concatenate([rule[i] for _, rule in rules]) for i in (0, 1))
        return spread_of_rule(x, y, np.concatenate([w * rule[2] for w, rule in rules]))

    def _vectors(self, u: Array, v: Array) -> tuple[Array, Array]:
        return self.polar(0, self.disc.radius).vectors(u, v)

    def sample(
        self,
        rng: np.random.Generator,
        out: tuple[Array, ...],
        scratch: Scratch,
        departure: Array | None = None,
    ) -> None:
        """Fill the two parts: draw again what lies outside, or go through the scores."""
        limit = limit_of(self.disc, departure)
        if self.share or self.kept < LEAST_REDRAWN:
            self._by_scores(rng, out, scratch, limit)
        else:
            redraw(rng, out, scratch, (self.means, limit), self._draw)

    def _draw(self, rng: np.random.Generator, out: tuple[Array, ...], scratch: Scratch) -> None:
        for values in out:
            rng.standard_normal(out=values)
        vectors(self.radius, (out[0], out[1]), scratch)

    def _by_scores(
        self, rng: np.random.Generator, out: tuple[Array, ...], scratch: Scratch, limit: float | Array
    ) -> None:
        for values in out:
            draw_scores(rng, values, scratch, self.share)
        for i, (x, y) in enumerate(zip(*out, strict=True)):
            row = limit if not isinstance(limit, np.ndarray) else limit[i % len(limit)]
            x[:], y[:] = self._row(i, x, y, row)
        for values, mean in zip(out, self.means, strict=True):
            placed(values, 1.0, mean)

    def _row(self, pocket: int, u: Array, v: Array, limit: float | Array) -> tuple[Array, Array]:
        """Return one pocket's vectors; between two tables of a growing disc, the mean of both vectors.

        That mean lies inside the disc between, because lengths are convex.
        """
        if not isinstance(limit, np.ndarray):
            return self.polar(pocket, limit).vectors(u, v)
        step = BONUS_STEP * self.disc.radius
        place = (limit - self.disc.radius) / step
        x, y = np.empty_like(u), np.empty_like(v)
        for level in np.unique(np.floor(place)):
            some = np.floor(place) == level
            radii = (self.disc.radius + (level + k) * step for k in (0, 1))
            ends = [self.polar(pocket, radius).vectors(u[some], v[some]) for radius in radii]
            share = place[some] - level
            x[some], y[some] = (near + share * (far - near) for near, far in zip(*ends, strict=True))
        return x, y


def redraw(
    rng: np.random.Generator,
    out: tuple[Array, ...],
    scratch: Scratch,
    about: tuple[tuple[Column, Column], float | Array],
    draw: Callable[[np.random.Generator, tuple[Array, ...], Scratch], None],
) -> None:
    """Fill ``out`` (Z, n) by ``draw``, drawing again what is longer than its limit.

    ``about``: the means of the two parts, and the limit.
    """
    means, limit = about
    draw(rng, out, scratch)
    for values, mean in zip(out, means, strict=True):
        placed(values, 1.0, mean)
    squares, other = scratch
    np.multiply(out[0], out[0], out=squares)
    np.multiply(out[1], out[1], out=other)
    squares += other
    columns = out[0].shape[1]
    bad = np.flatnonzero(squares > np.square(limit))
    while bad.size:
        new = (np.empty(bad.size), np.empty(bad.size))
        draw(rng, new, (np.empty(bad.size), np.empty(bad.size)))
        for values, fresh, mean in zip(out, new, means, strict=True):
            np.add(fresh, mean[bad // columns] if isinstance(mean, np.ndarray) else mean, out=fresh)
            values.reshape(-1)[bad] = fresh
        allowed = np.broadcast_to(limit, out[0].shape)[np.unravel_index(bad, out[0].shape)]
        bad = bad[new[0] ** 2 + new[1] ** 2 > np.square(allowed)]
