"""Whole cages within the drawing, put together from the extreme points of one pocket.

A fold over a cage (least, greatest, mean, spread) takes its bounds from those of a pocket; what it is found to
reach must be a cage that can be built: every pocket inside its own region, all inside one sorting class.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from stackup.chain.model import Model
from stackup.chain.program import Program, at, split_at
from stackup.chain.symbols import MOST_NEXT
from stackup.dimension import Classes, Dimension, Disc
from stackup.engine.ground import alike
from stackup.engine.scatter import column_at, owner_of

#: pockets at random ends, in cages beside those made of extreme points, and the seed they come from
SCATTERED, SCATTER = 1200, 20
Array = Any
Point = Mapping[str, float]


@dataclass(frozen=True)
class Mix:
    """From which point, and as how far ahead of it, each pocket takes its own values; ``lead`` gives the cage's."""

    lead: Point
    pockets: tuple[tuple[Point, int], ...]


def mixes(model: Model, program: Program, low: Point, high: Point) -> list[Mix]:
    """Return the cages to be tried: one pocket (with its neighbours) extreme among others, all so, half and half."""
    count = model.pockets
    middle = {k: 0.5 * (low[k] + high.get(k, low[k])) for k in low}
    found = [Mix(point, ((point, 0),) * count) for point in (low, high, middle)]
    halves = tuple((low if i % 2 else high, 0) for i in range(count))
    found += [Mix(point, halves) for point in (low, high)]
    for first in range(1 if alike(program, model) else count):
        for point, other in ((low, low), (high, high), (low, high), (high, low)):
            near = [(point, k) if k <= MOST_NEXT else (other, 0) for k in range(count)]
            found.append(Mix(point, tuple(near[(i - first) % count] for i in range(count))))
    return found


@dataclass(frozen=True)
class _Tried:
    """Cages to be tried: the leads, the distinct points of their pockets, and which of them each pocket has, (Z, n)."""

    leads: tuple[Point, ...]
    points: tuple[tuple[Point, int], ...]
    places: Array

    @classmethod
    def of(cls, mixes: Sequence[Mix]) -> _Tried:
        """Collect the points; few points stand in many pockets."""
        known: dict[tuple[int, int], int] = {}
        points: list[tuple[Point, int]] = []
        for mix in mixes:
            for point, ahead in mix.pockets:
                if known.setdefault((id(point), ahead), len(points)) == len(points):
                    points.append((point, ahead))
        places = [[known[id(point), ahead] for point, ahead in mix.pockets] for mix in mixes]
        return cls(tuple(mix.lead for mix in mixes), tuple(points), np.array(places).T)

    def of_cage(self, part: str) -> Array:
        """Return one part of every cage, (1, n)."""
        return np.array([[_own(lead, part, 0) for lead in self.leads]])

    def of_pockets(self, part: str) -> Array:
        """Return one part of every pocket, (Z, n)."""
        return np.array([_own(point, part, ahead) for point, ahead in self.points])[self.places]


def scattered(model: Model, program: Program) -> list[Mix]:
    """Return cages whose every dimension is at a random end of its region, the same ones every time."""
    rng = np.random.default_rng(SCATTER)
    return [
        Mix(_anyhow(model, program, rng), tuple((_anyhow(model, program, rng), 0) for _ in range(model.pockets)))
        for _ in range(-(-SCATTERED // model.pockets))
    ]


def _anyhow(model: Model, program: Program, rng: np.random.Generator) -> Point:
    """Return a point at random ends, of vectors in a random direction; beyond its region it is drawn back."""
    found = {}
    for part in program.inputs:
        region = owner_of(model, part).region
        if isinstance(region, Classes):
            found[part] = float(rng.uniform(region.edges[0], region.edges[-1]))
        else:
            found[part] = float(rng.normal() if isinstance(region, Disc) else np.inf * rng.choice((-1, 1)))
    return found


def middle(model: Model, program: Program) -> dict[str, float]:
    """Return the middle of the drawing of every input."""
    found = {}
    for part in program.inputs:
        owner = owner_of(model, part)
        region = owner.region
        if isinstance(region, Disc):
            found[part] = float(column_at(region.centre[owner.components.index(split_at(part)[0])], 0))
        elif isinstance(region, Classes):
            found[part] = 0.5 * (region.edges[0] + region.edges[-1])
        else:
            found[part] = 0.5 * float(column_at(region.low, 0) + column_at(region.high, 0))
    return found


def joined(*some: Mapping[str, Array]) -> dict[str, Array]:
    """Return several sets of cages as one."""
    return {part: np.concatenate([cages[part] for cages in some], axis=1) for part in some[0]}


def cages_of(model: Model, program: Program, tried: Sequence[Mix]) -> dict[str, Array]:
    """Return the inputs of the program, (Z, n) or (1, n), for the n cages of ``tried``, each within the drawing."""
    owners = {owner.name: owner for owner in (owner_of(model, part) for part in program.inputs)}
    cages = _Tried.of(tried)
    found: dict[str, Array] = {}
    for owner in owners.values():
        found |= dict(zip(owner.components, _values(model, owner, cages), strict=True))
    return {part: found[part] for part in program.inputs}


def _values(model: Model, owner: Dimension, tried: _Tried) -> tuple[Array, ...]:
    taken = tuple((tried.of_cage if owner.scope == "cage" else tried.of_pockets)(part) for part in owner.components)
    region = owner.region
    if isinstance(region, Disc):
        return _in_disc(model, region, taken, tried)
    if isinstance(region, Classes):
        return (_in_class(region, owner.name, taken[0], tried),)
    low, high = (column(end, len(taken[0])) for end in (region.low, region.high))
    return (np.clip(taken[0], low, high),)


def _own(point: Point, part: str, ahead: int) -> float:
    """Return the value of a pocket ``ahead`` of the point's; where that is not known, of any pocket that is."""
    for name in (at(part, ahead), part, *(at(part, k) for k in range(1, MOST_NEXT + 1))):
        if name in point:
            return point[name]
    return 0.0


def column(value: Any, rows: int) -> Array:
    """Return a value of every pocket, (rows, 1): a number alike for all, or a column of Z."""
    return np.array([[column_at(value, i)] for i in range(rows)])


def _in_class(region: Classes, name: str, values: Array, tried: _Tried) -> Array:
    """Move all pockets of a cage into the class of its lead."""
    first = region.edges[0]
    seen = [np.mean([v for part, v in lead.items() if split_at(part)[0] == name] or [first]) for lead in tried.leads]
    return np.clip(values, *class_ends(region, np.array(seen)))


def class_ends(region: Classes, values: Array) -> tuple[Array, Array]:
    """Return the lower and upper edges of the classes that values lie in."""
    edges = np.array(region.edges)
    picked = np.clip(np.searchsorted(edges, values, side="right") - 1, 0, len(edges) - 2)
    return edges[picked], edges[picked + 1]


def _in_disc(model: Model, region: Disc, taken: tuple[Array, ...], tried: _Tried) -> tuple[Array, ...]:
    """Draw vectors outside their disc back to its rim."""
    middle = [column(part, len(taken[0])) for part in region.centre]
    off = [values - centre for values, centre in zip(taken, middle, strict=True)]
    radius: Any = region.radius
    if region.growth is not None:
        sizes = _values(model, model.dimensions[region.growth.feature], tried)[0]
        radius = radius + region.growth.of(sizes if len(sizes) == len(taken[0]) else sizes.min(axis=0, keepdims=True))
    return tuple(centre + part for centre, part in zip(middle, within(off, radius), strict=True))


def within(off: Sequence[Array], radius: Any) -> list[Array]:
    """Return the parts of vectors from the centre of a disc, those beyond its rim drawn back to it."""
    length = np.sqrt(sum(part * part for part in off))
    shrink = np.where(length > radius, radius / np.where(length > 0, length, 1.0), 1.0)
    return [shrink * part for part in off]
