"""What each dimension does to each requirement: sensitivity, share of the variance, share of the width, and the
change of the fraction when its tolerance falls by 10 %.

The variance share of dimension k is Cov(g, x_k·∂g/∂x_k)/Var g over sampled cages, deviations from the mean,
normalised to the sum of all; for a linear gap that is a_k²σ_k²/Σ and is taken exactly.  A fold passes its
slopes on to the pockets that carry it.  The change of the fraction compares the same cages before and after:
those that are out of spec or near it are drawn again with the dimension's scatter reduced to 0.9.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from stackup.chain.arrays import walk, walk_one
from stackup.chain.fold import FOLDS
from stackup.chain.jets import jets
from stackup.chain.model import Model, Requirement
from stackup.chain.program import Program, angle_aheads, at, bindings, compile_model, pitch_angles, split_at, unroll
from stackup.chain.symbols import ANGLE
from stackup.dimension import Dimension
from stackup.engine.linear import linearise
from stackup.engine.monte_carlo import block_size
from stackup.engine.replay import Block, Replay
from stackup.engine.result import Contribution
from stackup.engine.rss import normal_outside, reached_kinks
from stackup.engine.scatter import Scatter, column_at, owner_of, unlike_pockets
from stackup.engine.settings import Progress, Settings, silent
from stackup.engine.sums import is_linear
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
        whole = max(settings.cages, block_size(model.pockets))  # a short run is no reason for many small blocks
        replay = Replay(model, program, replace(settings, cages=whole))
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
    whole = rolled.is_whole(requirement.gap)
    of_cage = whole or (requirement.over != "each" and model.gap(requirement.gap).scope == "pocket")
    sampled = (_cage_samples if of_cage else _pocket_samples)(model, rolled, blocks, requirement)
    linear = not of_cage and is_linear(rolled, requirement.gap)
    shares = _linear_shares(model, unroll(rolled), requirement.gap) if linear else _shares(sampled)
    differs = of_cage and requirement.over == "spread"  # all pockets together do not move it
    at_mean = {} if differs or whole else _slopes_at_mean(model, unroll(rolled), requirement.gap)
    width = {} if of_cage else linearise(model, unroll(rolled), requirement.gap).shares
    found = [
        Contribution(
            dimension=name,
            sensitivity=at_mean[name] if name in at_mean else sampled.steepness(name, differs),
            signed=name in at_mean,
            mean_sensitivity=None if differs else sampled.mean_slope(name),
            variance_share=shares.get(name),
            width_share=None if of_cage else width.get(name, 0.0),
            tighter=changes.get(requirement.name, {}).get(name),
        )
        for name in owners
    ]
    return tuple(sorted(found, key=lambda c: (-(c.variance_share or 0.0), c.dimension)))


@dataclass(frozen=True)
class _Samples:
    """What was sampled of one requirement, one number for each pocket or, of a fold, for each cage.

    ``values`` of the gap, and by dimension: ``moved``, Σ (x − mean)·∂g/∂x; ``lengths``, the squared length of the
    gradient; ``totals``, the derivative for all its values together (none for a zone).
    """

    values: Array
    moved: dict[str, Array]
    lengths: dict[str, Array]
    totals: dict[str, Array]

    def steepness(self, name: str, differs: bool) -> float:
        """Return the root mean square of the derivative, of the gradient for a zone or where only differences count."""
        total = None if differs else self.totals.get(name)
        return float(np.sqrt(np.nanmean(self.lengths[name] if total is None else total * total)))

    def mean_slope(self, name: str) -> float | None:
        """Return the mean of the derivative, None for a zone."""
        return float(np.nanmean(self.totals[name])) if name in self.totals else None


def _shares(sampled: _Samples) -> dict[str, float]:
    """Return the share of every dimension in the variance."""
    good = np.isfinite(sampled.values)
    for m in sampled.moved.values():
        good &= np.isfinite(m)
    values = sampled.values[good]
    centred = values - values.mean() if values.size else values
    shares = {name: float(np.mean(centred * m[good])) if values.size else 0.0 for name, m in sampled.moved.items()}
    total = sum(shares.values())
    return {k: v / total for k, v in shares.items()} if total > 0 else {}


def _pocket_samples(model: Model, rolled: Program, blocks: Sequence[Block], requirement: Requirement) -> _Samples:
    """Return what all pockets of the blocks say, or of a gap of the cage all cages."""
    pockets, unrolled = model.pockets, unroll(rolled)
    inputs = {part: np.concatenate([_flat(b, part, pockets) for b in blocks])[None, :] for part in unrolled.inputs}
    angles = np.array(pitch_angles(pockets))
    for k in angle_aheads(unrolled):
        inputs[at(ANGLE, k)] = np.concatenate([np.repeat(np.roll(angles, -k), b.cages) for b in blocks])[None, :]
    seen = walk_one(unrolled, inputs, bindings(model))
    values = np.broadcast_to(seen[requirement.gap], (1, pockets * sum(block.cages for block in blocks)))
    found = _Samples(values[0], {}, {}, {})
    for part, slope in seen.gradient(requirement.gap, np.ones((1, 1))).items():
        means = np.concatenate([_flat_mean(model, b, part) for b in blocks])
        here = np.broadcast_to(slope, inputs[part].shape)
        _collect(found, owner_of(model, part), inputs[part] - means, here)
    return found


def _collect(found: _Samples, owner: Dimension, off: Array, slope: Array) -> None:
    """Add one part of a dimension: how far it is off its mean, and the derivative by it, both (rows, samples)."""
    numbers = [(found.moved, (off * slope).sum(axis=0)), (found.lengths, (slope * slope).sum(axis=0))]
    if owner.kind != "zone":
        numbers.append((found.totals, slope.sum(axis=0)))
    for into, amount in numbers:
        into[owner.name] = into.get(owner.name, 0.0) + amount


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


def _cage_samples(model: Model, rolled: Program, blocks: Sequence[Block], requirement: Requirement) -> _Samples:
    """Return what a fold says: one number a cage, through its slopes; each pocket's own number by the first pocket."""
    fold = FOLDS[requirement.over]
    rows = 1 if model.gap(requirement.gap).scope == "cage" else model.pockets
    angles = np.array(pitch_angles(model.pockets))
    found = []
    for block in blocks:
        seen = walk(rolled, block.inputs, angles, bindings(model))
        gap = np.broadcast_to(seen[requirement.gap], (rows, block.cages))
        found.append(_Samples(fold.value(gap)[0], {}, {}, {}))
        seed = fold.slopes(gap)
        if not fold.of_cage:
            seed[1:] = 0.0
        for part, slope in seen.gradient(requirement.gap, seed).items():
            owner, values = owner_of(model, part), block.inputs[part]
            mean = owner.law.mean[owner.components.index(part)]
            centre = np.array([[column_at(mean, i)] for i in range(values.shape[0])])
            _collect(found[-1], owner, values - centre, np.broadcast_to(slope, values.shape))
    return _Samples(
        np.concatenate([one.values for one in found]),
        _joined([one.moved for one in found]),
        _joined([one.lengths for one in found]),
        _joined([one.totals for one in found]),
    )


def _joined(parts: Sequence[Mapping[str, Array]]) -> dict[str, Array]:
    return {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}


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
        values = replay.values(block, [requirement.gap for requirement in wanted])
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
    if rolled.is_whole(requirement.gap) or (
        requirement.over != "each" and model.gap(requirement.gap).scope == "pocket"
    ):
        return {}
    unrolled = unroll(rolled)
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
