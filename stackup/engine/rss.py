"""RSS: first order with covariance, kinks and lengths by their own law; second order with skewness and kurtosis.

First order: every smooth part is linear about the mean, with the laws' own variances and the covariance that
comes from shared draws.  A gap that is smooth is then normal.  A gap with lengths, leasts or greatests is a
function of the smooth parts that enter its kinks: a handful of jointly normal numbers, over which it is
integrated as it stands (``quadrature.py``).

Second order: mean shift, third and fourth moment of the quadratic form in the independent parts of the inputs
with their own moments (``quadratic.py``), tail by Cornish–Fisher.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from stackup.chain.arrays import walk
from stackup.chain.jets import Jets, jets
from stackup.chain.model import Model, Requirement
from stackup.chain.operations import value
from stackup.chain.program import DRAWN, KINKS, Program, bindings, compile_model, pitch_angles, unroll
from stackup.engine.linear import half_spans
from stackup.engine.quadratic import cornish_fisher_below, form_moments
from stackup.engine.quadrature import LawOf, law_of
from stackup.engine.result import Normal, Rss, SecondOrder
from stackup.engine.scatter import Scatter, column_at, unlike_pockets
from stackup.engine.settings import Progress, Settings, silent
from stackup.engine.sums import MOST_SWEPT, is_linear, only_sums_enter
from stackup.errors import Interrupted

Array = Any
Records = dict[str, "Rss | None"]

#: a kink so many standard deviations away is not reached
REACHED = 8.0
#: a difference that scatters by no more than this part of what it is taken from does not scatter
AS_ONE = 1e-9
#: a length so many standard deviations long is a straight line
LONG = 60.0
#: what is left of a unit variance that counts as none, and a variance that is none
NEGLIGIBLE, TINY = 1e-12, 1e-300

NO_WHOLE = "no RSS of a number of the whole cage: the pockets that decide it differ from cage to cage"
NO_FOLD = "no RSS of a least, greatest or spread over a cage: it is not a sum"
NO_KINKED_MEAN = "no RSS of the mean over a cage of a gap with kinks"
NO_SECOND = "no second order of the mean over a cage"
KINKED = "no second order: the gap holds lengths, leasts or greatests"
CROSSED = "no second order: the parts of a zone are correlated"
NO_TAIL = "no second-order fraction: the limit lies outside the monotone range of the expansion"


@dataclass(frozen=True)
class _Pocket:
    """First-order law of a gap at one pocket: mean, sd, the fraction outside limits, and what second order needs.

    ``whole``: of jointly normal inputs it is the law itself, to 1e-5 of a tail.
    """

    mean: float
    sd: float
    outside: Callable[[float | None, float | None], float]
    gradient: Array
    hessian: Array | None
    whole: bool = False


@dataclass(frozen=True)
class _Gap:
    """A gap's unrolled program, the scatter of its inputs, and its law at every unlike pocket."""

    name: str
    rolled: Program
    program: Program
    scatter: Scatter
    pockets: tuple[_Pocket, ...]
    smooth: bool
    linear: bool


def run(
    model: Model, requirements: Sequence[Requirement], settings: Settings, progress: Progress = silent
) -> tuple[Records, dict[str, str]]:
    """Return the RSS of every requirement by name (None where there is none), and the reasons in words."""
    records: Records = {}
    notes: dict[str, str] = {}
    gaps: dict[str, _Gap] = {}
    program = compile_model(model)
    try:
        for done, requirement in enumerate(requirements):
            record, note = _found(model, program, gaps, requirement, settings)
            records[requirement.name] = record
            if note:
                notes[requirement.name] = note
            progress(done + 1, len(requirements), "rss")
    except KeyboardInterrupt:
        raise Interrupted((records, notes)) from None
    return records, notes


def _found(
    model: Model, program: Program, gaps: dict[str, _Gap], requirement: Requirement, settings: Settings
) -> tuple[Rss | None, str]:
    """Return the record of one requirement, or why there is none; ``gaps`` keeps what is known."""
    if program.is_whole(requirement.gap):
        return None, NO_WHOLE
    with np.errstate(all="ignore"):
        if requirement.gap not in gaps:
            gaps[requirement.gap] = _gap(model, program, requirement.gap)
        return _record(model, gaps[requirement.gap], requirement, settings)


def _gap(model: Model, program: Program, name: str) -> _Gap:
    rolled = program.only([name])
    unrolled = unroll(rolled)
    scatter = Scatter.of(model, tuple(unrolled.inputs))
    laws, smooth = [], True
    unlike = unlike_pockets(model, rolled)
    for pocket in unlike:
        first = jets(unrolled, scatter.means(pocket), bindings(model), second=False)
        reached = reached_kinks(first, scatter)
        smooth = smooth and not reached
        laws.append(
            _kinked(name, first, scatter, reached, 1.0 / len(unlike))
            if reached
            else _smooth(model, name, first, scatter, pocket)
        )
    return _Gap(name, rolled, unrolled, scatter, tuple(laws), smooth, is_linear(unrolled, name))


def reached_kinks(first: Jets, scatter: Scatter) -> frozenset[int]:
    """Return the kinks that the scatter reaches."""
    found = set()
    for index, node in enumerate(first.program.nodes):
        if node.op not in KINKS or not any(first.gradient[a].any() for a in node.args):
            continue
        if node.op == "length":
            size = np.hypot(first.value[node.args[0]], first.value[node.args[1]])
            variances = [scatter.variance(first.gradient[a]) for a in node.args]
            scale = float(np.sqrt(max(variances)))
            # a vector of which one part is nothing has a magnitude, and no curvature
            flat = any(v <= 0 and first.value[a] == 0 for a, v in zip(node.args, variances, strict=True))
            if scale > 0 and size <= (REACHED if flat else LONG) * scale:
                found.add(index)
            continue
        gradient = first.gradient[node.args[0]] - (first.gradient[node.args[1]] if len(node.args) > 1 else 0.0)
        distance = first.value[node.args[0]] - (first.value[node.args[1]] if len(node.args) > 1 else 0.0)
        scale = np.sqrt(max(scatter.variance(gradient), 0.0))
        whole = np.sqrt(max([scatter.variance(first.gradient[a]) for a in node.args]))
        # arguments that move as one have no kink between them
        if scale > AS_ONE * whole and abs(distance) <= REACHED * scale:
            found.add(index)
    return frozenset(found)


def _smooth(model: Model, name: str, first: Jets, scatter: Scatter, pocket: int) -> _Pocket:
    """Return the normal law of a smooth gap, and its Hessian for the second order."""
    full = jets(first.program, scatter.means(pocket), bindings(model))
    mean, gradient, hessian = full.of(name)
    sd = float(np.sqrt(max(scatter.variance(gradient), 0.0)))
    return _Pocket(mean, sd, lambda low, high: normal_outside(mean, sd, low, high), gradient, hessian)


def normal_outside(mean: float, sd: float, low: float | None, high: float | None) -> float:
    """Return the fraction of a normal law outside limits; a law without scatter is inside or not."""
    from scipy.special import ndtr

    if sd <= 0:
        return float((low is not None and mean < low) or (high is not None and mean > high))
    below = 0.0 if low is None else float(ndtr((low - mean) / sd))
    above = 0.0 if high is None else float(ndtr((mean - high) / sd))
    return below + above


def _kinked(name: str, first: Jets, scatter: Scatter, reached: frozenset[int], effort: float) -> _Pocket:
    """Return the law of a gap over the jointly normal smooth parts that enter its kinks."""
    above, frontier = _frontier(first, reached, first.program.outputs[name])
    gradients = np.array([first.gradient[i] for i in frontier])
    middles = np.array([first.value[i] for i in frontier])
    spread = gradients @ scatter.covariance @ gradients.T
    matrix = factor(spread)
    top = first.program.outputs[name]

    def function(z: Array) -> Array:
        given = middles[:, None] + matrix @ z
        known: dict[int, Array] = dict(zip(frontier, given, strict=True))
        for index in above:
            node = first.program.nodes[index]
            args = [known.get(a, first.value[a]) for a in node.args]
            known[index] = value(node.op, [np.asarray(a, dtype=float) for a in args], node.value)
        return np.broadcast_to(known[top], z.shape[1:])

    rank = matrix.shape[1]
    law: LawOf = law_of(function, rank, effort)
    whole = rank <= MOST_SWEPT and effort == 1 and only_sums_enter(first.program, above, frontier, scatter.still)
    return _Pocket(law.mean, law.sd, law.outside, np.zeros(0), None, whole)


def factor(spread: Array) -> Array:
    """Return L (m, k) with LLᵀ = ``spread``, k its rank.

    Row by row and in standard deviations (numbers of different units stand side by side), so that the same
    scatter in other units, or rounded otherwise, has the same factor; eigenvectors of equal values would turn.
    """
    scale = np.sqrt(np.maximum(np.diag(spread), TINY))
    rest = spread / np.outer(scale, scale)
    columns = []
    for row in range(len(rest)):
        if rest[row, row] > NEGLIGIBLE:
            column = rest[:, row] / np.sqrt(rest[row, row])
            column[:row] = 0.0
            rest = rest - np.outer(column, column)
            columns.append(scale * column)
    return np.array(columns).T.reshape(len(rest), len(columns))


def _frontier(first: Jets, reached: frozenset[int], top: int) -> tuple[list[int], list[int]]:
    """Return the nodes from the reached kinks up to the output, and the smooth drawn nodes that enter them."""
    rising: set[int] = set()
    for index, node in enumerate(first.program.nodes):
        if index in reached or any(a in rising for a in node.args):
            rising.add(index)
    needed, stack = set(), [top]
    while stack:
        index = stack.pop()
        if index in needed or index not in rising:
            continue
        needed.add(index)
        stack.extend(first.program.nodes[index].args)
    above = sorted(needed)
    entering = {a for i in above for a in first.program.nodes[i].args if a not in needed}
    return above, sorted(a for a in entering if first.program.nodes[a].shape & DRAWN and first.gradient[a].any())


def _record(model: Model, gap: _Gap, requirement: Requirement, settings: Settings) -> tuple[Rss | None, str]:
    of_cage = model.gap(requirement.gap).scope == "cage"
    if requirement.over in ("least", "greatest", "spread") and not of_cage:
        return None, NO_FOLD
    if requirement.over == "mean" and not of_cage:
        return (_of_mean(model, gap, requirement, settings), NO_SECOND) if gap.smooth else (None, NO_KINKED_MEAN)
    mean, sd, outside = _mixture(gap.pockets, requirement)
    second, note = _second_order(gap, requirement)
    exact = gap.linear and gap.scatter.normal
    known = exact or (gap.scatter.normal and all(pocket.whole for pocket in gap.pockets))
    inflated, shifted = _variants(model, gap, requirement, settings) if gap.smooth else (None, None)
    return Rss(mean, sd, outside, inflated, shifted, second, exact, known), note


def _limited(requirement: Requirement) -> bool:
    return requirement.min is not None or requirement.max is not None


def _mixture(pockets: Sequence[_Pocket], requirement: Requirement) -> tuple[float, float, float | None]:
    """Return mean, sd and fraction of a random pocket."""
    means = np.array([p.mean for p in pockets])
    mean = float(means.mean())
    sd = float(np.sqrt(np.mean([p.sd**2 for p in pockets]) + means.var()))
    if not _limited(requirement):
        return mean, sd, None
    return mean, sd, float(np.mean([p.outside(requirement.min, requirement.max) for p in pockets]))


def _second_order(gap: _Gap, requirement: Requirement) -> tuple[SecondOrder | None, str]:
    if not gap.smooth:
        return None, KINKED
    if gap.scatter.crossed:
        return None, CROSSED
    matrix, moments = gap.scatter.parts()
    forms = []
    for pocket in gap.pockets:
        hessian = np.zeros((len(gap.scatter.names),) * 2) if pocket.hessian is None else pocket.hessian
        form = form_moments(pocket.gradient @ matrix, matrix.T @ hessian @ matrix, moments)
        forms.append((pocket.mean + form.mean, form.variance, form.third, form.fourth))
    mean, variance, third, fourth = _mixed(np.array(forms))
    sd = float(np.sqrt(max(variance, 0.0)))
    if not np.isfinite(sd) or sd <= 0:
        return SecondOrder(float(mean), 0.0 if sd <= 0 else sd, None, None, None), ""
    skewness, kurtosis = third / sd**3, fourth / sd**4
    if not np.isfinite(skewness + kurtosis):
        return SecondOrder(mean, sd, None, None, None), "no second-order skewness: an input has no such moments"
    outside = _cornish_fisher(mean, sd, skewness, kurtosis, requirement) if _limited(requirement) else None
    note = NO_TAIL if outside is None and _limited(requirement) else ""
    return SecondOrder(mean, sd, skewness, kurtosis, outside), note


def _mixed(forms: Array) -> tuple[float, float, float, float]:
    """Return mean and central moments of a random pocket from those of each pocket."""
    mean = float(forms[:, 0].mean())
    d = forms[:, 0] - mean
    v, t, f = forms[:, 1], forms[:, 2], forms[:, 3]
    variance = float((v + d**2).mean())
    third = float((t + 3 * d * v + d**3).mean())
    return mean, variance, third, float((f + 4 * d * t + 6 * d**2 * v + d**4).mean())


def _cornish_fisher(mean: float, sd: float, skewness: float, kurtosis: float, requirement: Requirement) -> float | None:
    total = 0.0
    for limit, sign in ((requirement.min, 1.0), (requirement.max, -1.0)):
        if limit is not None:
            part = cornish_fisher_below(sign * (limit - mean) / sd, sign * skewness, kurtosis)
            if part is None:
                return None
            total += part
    return total


def _variants(
    model: Model, gap: _Gap, requirement: Requirement, settings: Settings
) -> tuple[Normal | None, Normal | None]:
    """Return the inflated and the mean-shifted law where the case asks for them."""
    inflated = shifted = None
    if settings.inflation is not None:
        inflated = _varied(gap, requirement, settings.inflation, 0.0, 0.0)
    if settings.mean_shift is not None:
        spans = half_spans(model, gap.program, dict(zip(gap.scatter.names, gap.pockets[0].gradient, strict=True)))
        moved = [settings.mean_shift * span for span in spans]
        if settings.mean_shift_rule == "added":
            both = [_varied(gap, requirement, 1.0, side * sum(moved), 0.0) for side in (-1.0, 1.0)]
            shifted = max(both, key=lambda n: n.out_of_spec or 0.0)
        else:
            shifted = _varied(gap, requirement, 1.0, 0.0, sum(m * m for m in moved) / 3)
    return inflated, shifted


def _varied(gap: _Gap, requirement: Requirement, factor: float, shift: float, more: float) -> Normal:
    """Return the law with sigma times ``factor``, the mean moved by ``shift`` and ``more`` variance."""
    laws = [(p.mean + shift, float(np.sqrt((factor * p.sd) ** 2 + more))) for p in gap.pockets]
    means = np.array([m for m, _ in laws])
    mean = float(means.mean())
    sd = float(np.sqrt(np.mean([s * s for _, s in laws]) + means.var()))
    if not _limited(requirement):
        return Normal(mean, sd, None)
    return Normal(mean, sd, float(np.mean([normal_outside(m, s, requirement.min, requirement.max) for m, s in laws])))


def _of_mean(model: Model, gap: _Gap, requirement: Requirement, settings: Settings) -> Rss:
    """Return the first-order law of the mean over the pockets of a cage, from the gradient of the whole ring."""
    pockets = model.pockets
    inputs = {}
    for part in gap.rolled.inputs:
        owner = model.dimensions.get(part) or model.dimensions[part.rsplit(".", 1)[0]]
        mean = owner.law.mean[owner.components.index(part)]
        rows = pockets if owner.scope == "pocket" else 1
        inputs[part] = np.array([[column_at(mean, i)] for i in range(rows)])
    ring = walk(gap.rolled, inputs, np.array(pitch_angles(pockets)), bindings(model))
    gradient = ring.gradient(gap.name, np.full((pockets, 1), 1.0 / pockets))
    mean = float(np.mean(ring[gap.name]))
    variance = 0.0
    for owner in {o.name: o for o in (_owner(model, p) for p in gap.rolled.inputs)}.values():
        slopes = np.array([gradient.get(c, np.zeros((1, 1)))[:, 0] for c in owner.components if c in gradient])
        kept = [owner.components.index(c) for c in owner.components if c in gradient]
        own, shared = (np.asarray(s)[np.ix_(kept, kept)] for s in (owner.law.own, owner.law.shared))
        total = slopes.sum(axis=1)
        variance += float(np.einsum("ci,cd,di->", slopes, own, slopes) + total @ shared @ total)
    sd = float(np.sqrt(max(variance, 0.0)))
    outside = normal_outside(mean, sd, requirement.min, requirement.max) if _limited(requirement) else None
    inflated = None
    if settings.inflation is not None:
        wide = settings.inflation * sd
        inflated = Normal(
            mean,
            wide,
            None if outside is None else normal_outside(mean, wide, requirement.min, requirement.max),
        )
    exact = gap.linear and gap.scatter.normal
    return Rss(mean, sd, outside, inflated, None, None, exact, exact)


def _owner(model: Model, part: str) -> Any:
    return model.dimensions.get(part) or model.dimensions[part.rsplit(".", 1)[0]]
