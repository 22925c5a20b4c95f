"""Requirements as limits on what an allocation may choose: margin and slopes, each a concave function.

What chains see of dimension k are four numbers: middle and half-width of its region, mean and sd of its law.  A limit
is margin = shape(m, s) with m linear in all of them and s² = rest + Σ w_k·sd_k²:

- worst case: m, the room of the guaranteed bound (slopes at the extreme);
- a linear gap of normals: how far both limits could move inwards before the exact tail passes the allowance;
- anything else with an allowance: m − s with value and slopes of the sampled tail.

The first two are exact for linear gaps; the last one, and the first for others, hold near the point where they were
taken.  That the two-sided normal limit is concave: M. Lubin, D. Bienstock, J. P. Vielma, arXiv:1507.01995 (2015).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from stackup.chain.jets import jets
from stackup.chain.model import Model, Requirement
from stackup.chain.program import Program, bindings, compile_model, unroll
from stackup.decide.plan import Key, Quantities, quantities
from stackup.engine import margin, steep
from stackup.engine.scatter import Scatter, owner_of, unlike_pockets
from stackup.engine.settings import Progress, Settings, silent
from stackup.engine.sums import is_linear

Array = Any

#: margin and its derivatives by m and by s
Shape = Callable[[float, float], tuple[float, float, float]]
#: standard deviations below this part of the limits' distance count as this
LEAST_SPREAD = 1e-12


@dataclass(frozen=True)
class Limit:
    """One side of a requirement, or both.

    ``middle``, ``half``, ``mean`` are the slopes of m by dimension, ``weights`` the w of s²; ``at`` what chains saw of
    each dimension where m was ``constant``, a dimension being known by its row and name.  ``exact``: holds everywhere,
    not only there.  ``place``: the row and state in which it was taken.
    """

    name: str
    exact: bool
    shape: Shape
    constant: float
    middle: Mapping[Key, float]
    half: Mapping[Key, float]
    mean: Mapping[Key, float]
    weights: Mapping[Key, float]
    rest: float
    at: Mapping[Key, Quantities]
    scale: float
    place: tuple[str, str] = ("", "")

    def margin(self, seen: Mapping[Key, Quantities]) -> float:
        """Return the margin where the dimensions named in ``seen`` are as there, all others as at first."""
        m, variance = self.constant, self.rest
        for name in {*self.middle, *self.half, *self.mean, *self.weights}:
            was = self.at[name]
            now = seen.get(name, was)
            m += self.middle.get(name, 0.0) * (now.middle - was.middle)
            m += self.half.get(name, 0.0) * (now.half - was.half)
            m += self.mean.get(name, 0.0) * (now.mean - was.mean)
            variance += self.weights.get(name, 0.0) * now.sd**2
        return self.shape(m, math.sqrt(max(variance, 0.0)))[0]


def limits_of(
    model: Model, requirements: Sequence[Requirement], settings: Settings, progress: Progress = silent, row: int = 0
) -> list[Limit]:
    """Return the limits of all requirements in one row and state, taken where the model stands.

    ``row``: the place of the row in the case, by which its dimensions are known.
    """
    at = {(row, name): quantities(dimension) for name, dimension in model.dimensions.items()}
    program = compile_model(model)
    by_worst = [r for r in requirements if r.allow is None]
    by_law = {r.name: _normal(model, program, r, at, row) for r in requirements if r.allow is not None}
    by_tail = [r for r in requirements if r.allow is not None and by_law[r.name] is None]
    sides = steep.run(model, by_worst, settings, progress)
    tails = margin.run(model, by_tail, settings, progress) if by_tail else {}
    found: list[Limit] = []
    for requirement in requirements:
        law = by_law.get(requirement.name)
        if requirement.allow is None:
            found += [_of_side(requirement, side, at, row) for side in sides[requirement.name]]
        elif law is not None:
            found.append(law)
        else:
            found.append(_of_tail(requirement, tails[requirement.name], at, row))
    return found


def _keyed(row: int, by_name: Mapping[str, float]) -> dict[Key, float]:
    """Return what is told by name as that of dimensions of a row."""
    return {(row, name): value for name, value in by_name.items()}


def _of_side(requirement: Requirement, side: steep.Side, at: Mapping[Key, Quantities], row: int) -> Limit:
    middle, half = _keyed(row, side.by_middle), _keyed(row, side.by_half)
    scale = max(sum(-slope * at[key].half for key, slope in half.items()), LEAST_SPREAD)
    return Limit(requirement.name, side.linear, _straight, side.room, middle, half, {}, {}, 0.0, at, scale)


def _straight(m: float, s: float) -> tuple[float, float, float]:
    del s
    return m, 1.0, 0.0


def _less_spread(m: float, s: float) -> tuple[float, float, float]:
    return m - s, 1.0, -1.0


def _of_tail(requirement: Requirement, found: margin.Tail, at: Mapping[Key, Quantities], row: int) -> Limit:
    """Return margin = m − s, s the root of all that scatter takes: same value and slopes as the sampled tail."""
    takes = {key: -d for key, d in _keyed(row, found.by_scatter).items() if d < 0 and at[key].sd > 0}
    whole = max(sum(takes.values()), LEAST_SPREAD)
    weights = {key: d * whole / at[key].sd ** 2 for key, d in takes.items()}
    mean, constant = _keyed(row, found.by_mean), found.margin + whole
    return Limit(requirement.name, False, _less_spread, constant, {}, {}, mean, weights, 0.0, at, whole)


def _normal(
    model: Model, program: Program, requirement: Requirement, at: Mapping[Key, Quantities], row: int
) -> Limit | None:
    """Return the exact limit of a linear gap of normals; None where there is none."""
    allow = requirement.allow
    of_cage = model.gap(requirement.gap).scope == "cage" or model.pockets == 1
    each = requirement.over == "each" and (of_cage or (allow is not None and allow.of == "pockets"))
    if allow is None or not (each or of_cage):
        return None
    rolled = program.only([requirement.gap])
    if not is_linear(rolled, requirement.gap):
        return None
    unrolled = unroll(rolled)
    scatter = Scatter.of(model, tuple(unrolled.inputs))
    if not scatter.normal or len(unlike_pockets(model, rolled)) > 1:
        return None
    mean, gradient, _ = jets(unrolled, scatter.means(0), bindings(model), second=False).of(requirement.gap)
    names = np.array([owner_of(model, part).name for part in scatter.names])
    middle: dict[Key, float] = {}
    weights: dict[Key, float] = {}
    rest = 0.0
    for name in map(str, dict.fromkeys(names)):
        key, own = (row, name), np.where(names == name, gradient, 0.0)
        variance = scatter.variance(own)
        if at[key].sd > 0:
            weights[key] = variance / at[key].sd ** 2
        else:
            rest += variance
        if owner_of(model, name).kind != "zone":
            middle[key] = float(own.sum())
    shape = _between(requirement.min, requirement.max, allow.ppm * 1e-6)
    spread = math.sqrt(max(scatter.variance(gradient), 0.0))
    return Limit(requirement.name, True, shape, float(mean), {}, {}, middle, weights, rest, at, max(3 * spread, 1e-12))


def _between(low: float | None, high: float | None, part: float) -> Shape:
    """Return δ(m, s): P(low + δ ≤ m + s·z ≤ high − δ) = 1 − part for normal z."""
    from scipy.special import ndtri

    factor = float(ndtri(min(part, 1.0)))

    def one_sided(m: float, s: float) -> tuple[float, float, float]:
        if high is None:
            assert low is not None  # noqa: S101 - a requirement has a limit
            return m - low + factor * s, 1.0, factor
        return high - m + factor * s, -1.0, factor

    if low is None or high is None:
        return one_sided
    return _both_sided(low, high, part)


def _both_sided(low: float, high: float, part: float) -> Shape:
    from scipy.optimize import brentq
    from scipy.special import ndtr, ndtri

    def shape(m: float, s: float) -> tuple[float, float, float]:
        s = max(s, LEAST_SPREAD * (high - low))
        nearest = min(m - low, high - m)

        def outside(d: float) -> float:
            return float(ndtr((low + d - m) / s) + ndtr((m - high + d) / s)) - part

        # one tail alone takes all of it, or each half of it
        ends = [nearest + float(ndtri(share)) * s for share in (part, part / 2)]
        delta = brentq(outside, ends[1] - 1e-9 * s, ends[0] + 1e-9 * s, xtol=1e-15, rtol=8.9e-16)
        below, above = (low + delta - m) / s, (m - high + delta) / s
        first, second = math.exp(-0.5 * below * below), math.exp(-0.5 * above * above)
        whole = first + second
        if whole == 0.0:  # beyond all doubles: the nearer side alone
            first, second, whole = (1.0, 0.0, 1.0) if below > above else (0.0, 1.0, 1.0)
        return delta, (first - second) / whole, (first * below + second * above) / whole

    return shape
