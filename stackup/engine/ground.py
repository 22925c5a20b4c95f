"""From what a drawing grants to the ground that a search walks on: one column per class and per unlike pocket."""

from __future__ import annotations

import itertools
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from stackup.chain.bounds import Disc, Ground
from stackup.chain.model import Model
from stackup.chain.program import Program, angle_aheads, at, pitch_angles, split_at
from stackup.chain.symbols import ANGLE, APART, MOST_NEXT
from stackup.dimension import Classes, Dimension
from stackup.dimension import Disc as Zone

Array = Any


@dataclass(frozen=True)
class _Column:
    """One column of a ground: the pocket under study, the other one of a pair, and the sorting classes they share."""

    pocket: int
    other: int
    classes: Mapping[str, int]

    def place(self, ahead: int) -> int:
        """Return the pocket whose inputs are named so far ahead, counted on round the ring."""
        return self.pocket + ahead if ahead < APART else self.other + ahead - APART


def alike(program: Program, model: Model) -> bool:
    """Tell whether all pockets have the same worst case: no columns, and angles only turn discs of the cage."""
    for part in program.inputs:
        region = _owner(model, part).region
        ends = region.centre if isinstance(region, Zone) else (region.low, region.high)
        if any(isinstance(end, np.ndarray) and end.size > 1 for end in ends):
            return False
    return turns_only(program)


def turns_only(program: Program) -> bool:
    """Tell whether the pockets' angles only turn zones of the cage, whose discs look the same from everywhere."""
    nodes = program.nodes
    angles = {i for i, n in enumerate(nodes) if n.op == "angle"}
    turns = {i for i, n in enumerate(nodes) if n.op in ("sin", "cos") and n.args[0] in angles}
    discs = {i for part, i in program.inputs.items() if part.endswith((".x", ".y"))}
    for index, node in enumerate(nodes):
        touched = set(node.args)
        if touched & angles and index not in turns:
            return False
        if touched & turns and not (node.op == "mul" and touched - turns <= discs):
            return False
        if touched & discs and not (node.op == "length" and touched <= discs) and not touched & turns:
            return False
    return not any(i in turns or i in discs for i in program.outputs.values())


def _owner(model: Model, part: str) -> Dimension:
    return model.dimensions.get(part) or model.dimensions[part.rsplit(".", 1)[0]]


def ground_of(
    model: Model, program: Program, unrolled: Program, pairs: Sequence[tuple[int, int]] | None = None
) -> Ground:
    """Return the ground of an unrolled program: a column per combination of classes and per unlike pocket.

    ``pairs`` are the pockets that a program of two of them (``chain/pairs.py``) is asked of.
    """
    owners = {part: _owner(model, split_at(part)[0]) for part in unrolled.inputs}
    sorted_ones = _sorted_ones(model, owners.values())
    picks = [range(_classes(model.dimensions[name])) for name in sorted_ones]
    if pairs is None:
        pairs = [(pocket, pocket) for pocket in range(1 if alike(program, model) else model.pockets)]
    columns = [
        _Column(*pair, dict(zip(sorted_ones, pick, strict=True)))
        for pair in pairs
        for pick in itertools.product(*picks)
    ]
    low: dict[str, Array] = {}
    high: dict[str, Array] = {}
    discs = []
    for part, owner in owners.items():
        base, ahead = split_at(part)
        if len(owner.components) == 1:
            low[part], high[part] = _ends(owner, ahead, columns, model.pockets)
        elif base == owner.components[0] or at(owner.components[0], ahead) not in owners:
            disc = _disc(owner, ahead, columns, model.pockets)
            discs.append(disc)
            reach = disc.radius + _most_growth(owner, model)
            low[disc.r], high[disc.r] = disc.centre_r - reach, disc.centre_r + reach
            low[disc.t], high[disc.t] = disc.centre_t - reach, disc.centre_t + reach
    _add_features(model, discs, low, high, columns)
    return Ground(low, high, tuple(discs), _angles(model, unrolled, columns))


def _sorted_ones(model: Model, owners: Collection[Dimension]) -> list[str]:
    """Return the sorted dimensions that a column has a class of: what is used, and what a used zone grows with."""
    grown = [d.region.growth for d in owners if isinstance(d.region, Zone) and d.region.growth is not None]
    used = [*owners, *(model.dimensions[growth.feature] for growth in grown)]
    return list(dict.fromkeys(d.name for d in used if isinstance(d.region, Classes)))


def _classes(owner: Dimension) -> int:
    return len(owner.region.edges) - 1 if isinstance(owner.region, Classes) else 1


def _at_pocket(value: Any, pocket: int, pockets: int) -> float:
    return (
        float(value[pocket % pockets])
        if isinstance(value, np.ndarray) and value.size > 1
        else float(np.ravel(value)[0])
    )


def _ends(owner: Dimension, ahead: int, columns: Sequence[_Column], pockets: int) -> tuple[Array, Array]:
    region = owner.region
    if isinstance(region, Classes):
        edges = np.array(region.edges)
        picks = np.array([column.classes[owner.name] for column in columns])
        return edges[picks], edges[picks + 1]
    low = np.array([_at_pocket(region.low, c.place(ahead), pockets) for c in columns])  # type: ignore[union-attr]
    high = np.array([_at_pocket(region.high, c.place(ahead), pockets) for c in columns])  # type: ignore[union-attr]
    return low, high


def _disc(owner: Dimension, ahead: int, columns: Sequence[_Column], pockets: int) -> Disc:
    region = owner.region
    assert isinstance(region, Zone)  # noqa: S101 - a dimension of two components grants a disc
    centre = [np.array([_at_pocket(part, c.place(ahead), pockets) for c in columns]) for part in region.centre]
    first, second = (at(part, ahead) for part in owner.components)
    growth = region.growth
    radius = np.full(len(columns), float(region.radius))
    if growth is None:
        return Disc(first, second, centre[0], centre[1], radius)
    return Disc(first, second, centre[0], centre[1], radius, at(growth.feature, ahead), growth.slope, growth.at)


def _most_growth(owner: Dimension, model: Model) -> float:
    growth = owner.region.growth if isinstance(owner.region, Zone) else None
    if growth is None:
        return 0.0
    region = model.dimensions[growth.feature].region
    ends = [np.max(growth.of(np.asarray(end))) for end in (region.low, region.high)]  # type: ignore[union-attr]
    return float(max(ends))


def _add_features(
    model: Model, discs: list[Disc], low: dict[str, Array], high: dict[str, Array], columns: Sequence[_Column]
) -> None:
    """Give the ground the sizes that discs grow with, where no chain uses them."""
    for disc in discs:
        if disc.feature is not None and disc.feature not in low:
            base, ahead = split_at(disc.feature)
            owner = model.dimensions[base]
            low[disc.feature], high[disc.feature] = _ends(owner, ahead, columns, model.pockets)


def _angles(model: Model, unrolled: Program, columns: Sequence[_Column]) -> Mapping[str, Array]:
    angles = pitch_angles(model.pockets)
    return {
        at(ANGLE, ahead): np.array([angles[column.place(ahead) % model.pockets] for column in columns])
        for ahead in (*range(MOST_NEXT + 1), *(k for k in angle_aheads(unrolled) if k > MOST_NEXT))
    }
