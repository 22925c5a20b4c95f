"""What each dimension does to each requirement: sensitivity, share of the variance, share of the width, and the
change of the fraction when its tolerance falls by 10 %.

The variance share of dimension k is Cov(g, x_k·∂g/∂x_k)/Var g over sampled cages, deviations from the mean,
normalised to the sum of all; for a linear gap that is a_k²σ_k²/Σ and is taken exactly.  A fold passes its
slopes on to the pockets that carry it.  The change of the fraction compares the same cages before and after:
those that are out of spec or near it are drawn again with the dimension's scatter reduced to 0.9.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from stackup.chain.arrays import walk, walk_one
from stackup.chain.fold import FOLDS
from stackup.chain.jets import jets
from stackup.chain.model import Model, Requirement
from stackup.chain.program import Program, at, bindings, compile_model, pitch_angles, split_at, unroll
from stackup.chain.symbols import ANGLE, MOST_NEXT
from stackup.dimension import Dimension
from stackup.engine.linear import linearise
from stackup.engine.replay import Block, Replay
from stackup.engine.result import Contribution
from stackup.engine.rss import is_linear, normal_outside, reached_kinks
from stackup.engine.scatter import Scatter, column_at, owner_of, unlike_pockets
from stackup.engine.settings import Progress, Settings, silent
from stackup.engine.tally import within
from stackup.errors import Interrupted

Array = Any

TIGHTER = 0.9
#: pockets sampled for shares; cages looked through, and kept, for the change of the fraction
SAMPLES = 24_576
LOOKED_THROUGH = 12_288
KEPT = 320
#: pockets within so many standard deviations of a limit may change sides
NEAR = 0.3
#: fewer failures say nothing about the change of a fraction
FEWEST = 10


def run(
    model: Model, requirements: Sequence[Requirement], settings: Settings, progress: Progress = silent
) -> dict[str, tuple[Contribution, ...]]:
    """Return the contributions to every requirement by name, the largest share of the variance first.

    Raises Interrupted with the records so far.
    """
    records: dict[str, tuple[Contribution, ...]] = {}
    program = compile_model(model, [r.gap for r in requirements])
    with np.errstate(all="ignore"):
        replay = Replay(model, program, settings)
        blocks = [replay.block() for _ in range(max(1, -(-SAMPLES // (model.pockets * replay.size))))]
        changes = _changes(model, program, replay, requirements)
        try:
            for done, requirement in enumerate(requirements):
                records[requirement.name] = _of(model, program, blocks, requirement, changes)
                progress(done + 1, len(requirements), "contributions")
        except KeyboardInterrupt:
            raise Interrupted(records) from None
    return records


def _of(
    model: Model,
    program: Program,
    blocks: Sequence[Block],
    requirement: Requirement,
    changes: Mapping[str, Mapping[str, float]],
) -> tuple[Contribution, ...]:
    rolled = program.only([requirement.gap])
    owners = list(dict.fromkeys(owner_of(model, p).name for p in rolled.inputs))
    shares, steepness = _shares(model, rolled, blocks, requirement)
    unrolled = unroll(rolled)
    at_mean = _slopes_at_mean(model, unrolled, requirement.gap)
    of_cage = requirement.over != "each" and model.gap(requirement.gap).scope == "pocket"
    width = {} if of_cage else linearise(model, unrolled, requirement.gap).shares
    found = [
        Contribution(
            dimension=name,
            sensitivity=at_mean.get(name, steepness[name]),
            variance_share=shares.get(name),
            width_share=None if of_cage else width.get(name, 0.0),
            tighter=changes.get(requirement.name, {}).get(name),
        )
        for name in owners
    ]
    return tuple(sorted(found, key=lambda c: (-(c.variance_share or 0.0), c.dimension)))


def _shares(
    model: Model, rolled: Program, blocks: Sequence[Block], requirement: Requirement
) -> tuple[dict[str, float], dict[str, float]]:
    """Return the variance share of every dimension and the root mean square of its slope."""
    if requirement.over == "each" or model.gap(requirement.gap).scope == "cage":
        unrolled = unroll(rolled)
        values, moved, squares = _pocket_samples(model, unrolled, blocks, requirement.gap)
        if is_linear(unrolled, requirement.gap):
            return _linear_shares(model, unrolled, requirement.gap), squares
    else:
        values, moved, squares = _cage_samples(model, rolled, blocks, requirement)
    good = np.isfinite(values)
    for m in moved.values():
        good &= np.isfinite(m)
    values = values[good]
    centred = values - values.mean() if values.size else values
    shares = {name: float(np.mean(centred * m[good])) if values.size else 0.0 for name, m in moved.items()}
    total = sum(shares.values())
    return ({k: v / total for k, v in shares.items()} if total > 0 else {}), squares


def _pocket_samples(
    model: Model, unrolled: Program, blocks: Sequence[Block], gap: str
) -> tuple[Array, dict[str, Array], dict[str, float]]:
    """Return values, Σ x·∂g/∂x per dimension, and the root mean square slopes over all pockets of the blocks."""
    pockets = model.pockets
    inputs = {part: np.concatenate([_flat(b, part, pockets) for b in blocks])[None, :] for part in unrolled.inputs}
    angles = np.array(pitch_angles(pockets))
    for k in range(MOST_NEXT + 1):
        inputs[at(ANGLE, k)] = np.concatenate([np.repeat(np.roll(angles, -k), b.cages) for b in blocks])[None, :]
    seen = walk_one(unrolled, inputs, bindings(model))
    values = np.broadcast_to(seen[gap], next(iter(inputs.values())).shape)
    gradient = seen.gradient(gap, np.ones((1, 1)))
    means = {part: np.concatenate([_flat_mean(model, b, part) for b in blocks]) for part in unrolled.inputs}
    moved, squares = _collect(model, inputs, gradient, means)
    return values[0], moved, squares


def _flat(block: Block, part: str, pockets: int) -> Array:
    base, ahead = split_at(part)
    values = np.broadcast_to(block.inputs[base], (pockets, block.cages))
    return np.roll(values, -ahead, axis=0).ravel()


def _flat_mean(model: Model, block: Block, part: str) -> Array:
    base, ahead = split_at(part)
    owner = owner_of(model, part)
    mean = owner.law.mean[owner.components.index(base)]
    column = np.array([column_at(mean, i + ahead) for i in range(model.pockets)])
    return np.repeat(column, block.cages)


def _collect(
    model: Model, inputs: Mapping[str, Array], gradient: Mapping[str, Array], means: Mapping[str, Array]
) -> tuple[dict[str, Array], dict[str, float]]:
    moved: dict[str, Array] = {}
    squares: dict[str, float] = {}
    for part, slope in gradient.items():
        name = owner_of(model, part).name
        here = np.broadcast_to(slope, inputs[part].shape)[0]
        moved[name] = moved.get(name, 0.0) + (inputs[part][0] - means[part]) * here
        squares[name] = squares.get(name, 0.0) + float(np.nanmean(here * here))
    return moved, {k: float(np.sqrt(v)) for k, v in squares.items()}


def _cage_samples(
    model: Model, rolled: Program, blocks: Sequence[Block], requirement: Requirement
) -> tuple[Array, dict[str, Array], dict[str, float]]:
    """Return the same for a fold: one number a cage, through the slopes of the fold."""
    fold = FOLDS[requirement.over]
    angles = np.array(pitch_angles(model.pockets))
    values, parts = [], []
    for block in blocks:
        seen = walk(rolled, block.inputs, angles, bindings(model))
        gap = np.broadcast_to(seen[requirement.gap], (model.pockets, block.cages))
        values.append(fold.value(gap)[0])
        parts.append(_moved(model, block, seen.gradient(requirement.gap, fold.slopes(gap))))
    names = parts[0][0].keys()
    moved = {name: np.concatenate([m[name] for m, _ in parts]) for name in names}
    squares = {name: float(np.sqrt(np.mean([s[name] for _, s in parts]))) for name in names}
    return np.concatenate(values), moved, squares


def _moved(model: Model, block: Block, gradient: Mapping[str, Array]) -> tuple[dict[str, Array], dict[str, float]]:
    moved: dict[str, Array] = {}
    squares: dict[str, float] = {}
    for part, slope in gradient.items():
        owner = owner_of(model, part)
        mean = owner.law.mean[owner.components.index(part)]
        values = block.inputs[part]
        centre = np.array([[column_at(mean, i)] for i in range(values.shape[0])])
        amount = np.broadcast_to(((values - centre) * slope).sum(axis=0), (block.cages,))
        moved[owner.name] = moved.get(owner.name, 0.0) + amount
        squares[owner.name] = squares.get(owner.name, 0.0) + float(np.mean((slope * slope).sum(axis=0)))
    return moved, squares


def _linear_shares(model: Model, unrolled: Program, gap: str) -> dict[str, float]:
    scatter = Scatter.of(model, tuple(unrolled.inputs))
    _, gradient, _ = jets(unrolled, scatter.means(0), bindings(model), second=False).of(gap)
    variances: dict[str, float] = {}
    names = [owner_of(model, part).name for part in scatter.names]
    for name in dict.fromkeys(names):
        own = gradient * np.array([n == name for n in names])
        variances[name] = scatter.variance(own)
    total = sum(variances.values())
    return {k: v / total for k, v in variances.items()} if total > 0 else {}


def _slopes_at_mean(model: Model, unrolled: Program, gap: str) -> dict[str, float]:
    """Return the derivative at the mean of every size, all pockets together; none behind a kink that is reached."""
    scatter = Scatter.of(model, tuple(unrolled.inputs))
    first = jets(unrolled, scatter.means(0), bindings(model), second=False)
    reached = reached_kinks(first, scatter)
    behind: list[frozenset[str]] = []
    for node in unrolled.nodes:
        own = frozenset([owner_of(model, str(node.value)).name]) if node.op == "input" else frozenset()
        behind.append(own.union(*(behind[a] for a in node.args)))
    blurred = frozenset().union(*(behind[i] for i in reached))
    _, gradient, _ = first.of(gap)
    found: dict[str, float] = {}
    for part, slope in zip(first.inputs, gradient, strict=True):
        owner = owner_of(model, part)
        if owner.kind != "zone" and owner.name not in blurred:
            found[owner.name] = found.get(owner.name, 0.0) + float(slope)
    return found


@dataclass
class _Candidates:
    """Cages of one requirement that are out of spec or near it, among ``looked`` cages."""

    inputs: list[dict[str, Array]]
    kept: int = 0
    looked: int = 0
    failed: int = 0


def _changes(
    model: Model, program: Program, replay: Replay, requirements: Sequence[Requirement]
) -> dict[str, dict[str, float]]:
    """Return, per requirement and dimension, the relative change of its fraction for 10 % less tolerance."""
    limited = [r for r in requirements if r.min is not None or r.max is not None]
    found = {r.name: _exact_changes(model, program, r) for r in limited}
    open_ones = {r.name: _Candidates([]) for r in limited if not found[r.name]}
    replay.drawer.start(0)
    while open_ones and replay.size * (max(c.looked for c in open_ones.values()) // replay.size) < LOOKED_THROUGH:
        wanted = [r for r in limited if r.name in open_ones and open_ones[r.name].kept < KEPT]
        if not wanted:
            break
        block = replay.block()
        values = replay.values(block)
        for requirement in wanted:
            _look(requirement, values[requirement.gap], block, open_ones[requirement.name])
    for requirement in limited:
        if requirement.name in open_ones:
            found[requirement.name] = _sampled_changes(model, program, requirement, open_ones[requirement.name])
    return found


def _look(requirement: Requirement, values: Array, block: Block, kept: _Candidates) -> None:
    fold = FOLDS[requirement.over]
    folded = fold.value(values) if requirement.over != "each" else values
    margin = np.full(folded.shape, np.inf)
    if requirement.min is not None:
        margin = np.minimum(margin, folded - requirement.min)
    if requirement.max is not None:
        margin = np.minimum(margin, requirement.max - folded)
    near = NEAR * float(np.nanstd(folded))
    cages = np.flatnonzero((~(margin > near)).any(axis=0))
    room = KEPT - kept.kept
    looked = block.cages
    if cages.size > room:
        looked = int(cages[room])
        cages = cages[:room]
    kept.looked += looked
    kept.kept += cages.size
    kept.failed += int((~(margin[:, cages] >= 0)).any(axis=0).sum())
    if cages.size:
        kept.inputs.append({part: values[:, cages] for part, values in block.inputs.items()})


def _sampled_changes(model: Model, program: Program, requirement: Requirement, kept: _Candidates) -> dict[str, float]:
    if kept.failed < FEWEST:
        return {}
    rolled = program.only([requirement.gap])
    inputs = {p: np.concatenate([i[p] for i in kept.inputs], axis=1) for p in rolled.inputs}
    before = _failing(model, rolled, requirement, inputs)
    found: dict[str, float] = {}
    for owner in {o.name: o for o in (owner_of(model, p) for p in rolled.inputs)}.values():
        if not owner.law.moves:
            found[owner.name] = 0.0
            continue
        changed = {**inputs, **{p: _drawn_in(owner, p, inputs[p]) for p in owner.components if p in inputs}}
        found[owner.name] = _failing(model, rolled, requirement, changed) / before - 1.0
    return found


def _drawn_in(owner: Dimension, part: str, values: Array) -> Array:
    anchor = owner.law.anchor[owner.components.index(part)]
    column = np.array([[column_at(anchor, i)] for i in range(values.shape[0])])
    return column + TIGHTER * (values - column)


def _failing(model: Model, rolled: Program, requirement: Requirement, inputs: Mapping[str, Array]) -> float:
    """Return how many pockets or cages (the population of the allowance; cages without one) are out of spec."""
    seen = walk(rolled, inputs, np.array(pitch_angles(model.pockets)), bindings(model))
    values = seen[requirement.gap]
    if requirement.over != "each":
        values = FOLDS[requirement.over].value(values)
    bad = ~within(values, requirement.min, requirement.max)
    of_pockets = requirement.allow is not None and requirement.allow.of == "pockets"
    return float(bad.sum() if of_pockets else bad.any(axis=0).sum())


def _exact_changes(model: Model, program: Program, requirement: Requirement) -> dict[str, float]:
    """Return the changes of the exact tail where the gap is a linear chain of normals, seen pocket by pocket."""
    rolled = program.only([requirement.gap])
    unrolled = unroll(rolled)
    if requirement.over != "each" and model.gap(requirement.gap).scope == "pocket":
        return {}
    scatter = Scatter.of(model, tuple(unrolled.inputs))
    if not (is_linear(unrolled, requirement.gap) and scatter.normal) or len(unlike_pockets(model, rolled)) > 1:
        return {}
    mean, gradient, _ = jets(unrolled, scatter.means(0), bindings(model), second=False).of(requirement.gap)
    names = np.array([owner_of(model, part).name for part in scatter.names])
    before = normal_outside(mean, float(np.sqrt(scatter.variance(gradient))), requirement.min, requirement.max)
    if before <= 0:
        return {}
    found: dict[str, float] = {}
    for name in dict.fromkeys(names):
        owner = model.dimensions[name]
        factor = np.where(names == name, TIGHTER if owner.law.moves else 1.0, 1.0)
        moved = mean
        for part, slope in zip(scatter.names, gradient, strict=True):
            if owner_of(model, part).name == name and owner.law.moves:
                base, ahead = split_at(part)
                place = owner.components.index(base)
                off = column_at(owner.law.mean[place], ahead) - column_at(owner.law.anchor[place], ahead)
                moved -= slope * (1 - TIGHTER) * off
        sd = float(np.sqrt(scatter.variance(gradient * factor)))
        found[str(name)] = normal_outside(moved, sd, requirement.min, requirement.max) / before - 1.0
    return found
