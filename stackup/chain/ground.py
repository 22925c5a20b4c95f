"""The region of a worst case: intervals, discs and columns, and the parts of it that a search looks at."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np

Array = Any


@dataclass(frozen=True)
class Disc:
    """A disc of the region: two inputs, its centre (columns,), its radius, and a size that lets it grow.

    radius + max(0, slope·(size − at)) is the radius where ``feature`` names the input that makes it grow.
    """

    r: str
    t: str
    centre_r: Array
    centre_t: Array
    radius: Array
    feature: str | None = None
    slope: float = 0.0
    at: float = 0.0


@dataclass(frozen=True)
class Ground:
    """What the inputs of an unrolled program may be: (columns,) ends of every input, and the discs.

    ``angles`` binds ``angle``, ``angle@1``, … per column.  The ends given for the parts of a disc are not used:
    the disc says where they lie.
    """

    low: Mapping[str, Array]
    high: Mapping[str, Array]
    discs: tuple[Disc, ...]
    angles: Mapping[str, Array]

    def take(self, which: Array) -> Ground:
        """Return some of the columns."""
        discs = tuple(
            replace(d, centre_r=d.centre_r[which], centre_t=d.centre_t[which], radius=d.radius[which])
            for d in self.discs
        )
        low, high = ({k: v[which] for k, v in ends.items()} for ends in (self.low, self.high))
        return Ground(low, high, discs, {k: v[which] for k, v in self.angles.items()})

    @property
    def columns(self) -> int:
        """Return the number of columns."""
        return next((len(ends) for each in (self.low, self.angles) for ends in each.values()), 1)


@dataclass
class Boxes:
    """Parts of the region under study, and what was learnt about bounding each.

    ``low``/``high`` (inputs + rows, nbox) narrow inputs, and arguments of atoms; ``sector`` (2, atoms, nbox) the
    direction of a length's vector in rad; ``arc`` (5, discs, nbox) puts a disc's vector at centre − ρ·u, with u no
    farther from the direction (arc[0], arc[1]) than the angle of cosine arc[2] and sine arc[3] (cosine −1: anywhere)
    and ρ no less than arc[4]; ``origin`` (nbox,) is the column of the ground.  Any value of the rest gives a bound:
    ``touch`` (2, atoms, nbox) says where lines touch, ``press`` (rows, nbox) are the multipliers of the narrowed
    arguments (positive at the lower end), ``centre`` (inputs, nbox) a point that nearly attains the bound.
    """

    low: Array
    high: Array
    sector: Array
    arc: Array
    touch: Array
    press: Array
    centre: Array
    origin: Array

    def take(self, which: Array) -> Boxes:
        """Return some of the boxes (copied)."""
        return Boxes(*(getattr(self, f.name)[..., which] for f in fields(self)))

    def put(self, where: Array, other: Boxes) -> None:
        """Overwrite some of the boxes by others."""
        for f in fields(self):
            getattr(self, f.name)[..., where] = getattr(other, f.name)

    @staticmethod
    def join(parts: Sequence[Boxes]) -> Boxes:
        """Return several sets of boxes as one."""
        return Boxes(*(np.concatenate([getattr(p, f.name) for p in parts], axis=-1) for f in fields(Boxes)))
