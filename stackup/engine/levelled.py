"""A bound of the mean of a gap over the pockets of a cage, tighter than the bound of each pocket.

Round the ring much cancels.  With z and w vectors of the cage, z_i,r and z_i,t their parts in the axes of pocket i,

    Σ z_i,r = Σ z_i,t = 0,    Σ (z_i,r w_i,r − z_i,t w_i,t) = Σ (z_i,r w_i,t + z_i,t w_i,r) = 0  (three pockets or more)

for they turn once and twice round the ring; and what pocket i takes of its k-th neighbour that one gives:
Σ (d_i − d_i+k) = 0.  So any multiples of these terms may be taken from the gap of every pocket without moving the
mean, and the ends of what is left bound it (weak duality; the multiples are Lagrange multipliers).  Those are taken
that leave the gap level, to first and to second order, at its extreme with the vectors of the cage at rest.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations_with_replacement
from typing import Any

import numpy as np
import sympy

from stackup.chain.jets import jets
from stackup.chain.model import Gap, Model, Step
from stackup.chain.program import Program, compile_model, split_at
from stackup.chain.symbols import ANGLE, NEXT, symbol
from stackup.dimension import Disc, Process, Zone
from stackup.engine.asked import Asked
from stackup.engine.ground import alike
from stackup.engine.scatter import owner_of
from stackup.engine.search import End
from stackup.engine.settings import Settings

LEFT = "levelled"
#: pockets round which a term of the second order cancels
THREE = 3
#: part of the budget for the second order; part of the tolerance of an end for what is left of it, as what is found is
#: another cage
SECOND, CLOSELY = 2, 0.25


@dataclass(frozen=True)
class _Term:
    """What cancels round the ring, and how many times it is taken."""

    times: float
    what: Any


def mean_ends(model: Model, program: Program, gap: str, sign: int, settings: Settings) -> list[End]:
    """Return ends of a pocket whose bounds no mean of sign·gap over a cage can pass; points that all pockets may take.

    Empty where pockets are unlike.  The best bound is the greatest.
    """
    rolled = program.only([gap])
    if model.pockets < THREE or program.is_whole(gap) or not alike(rolled, model):
        return []
    still = at_rest(model)
    asked = Asked(still, rolled, gap)
    rest = asked.end(sign, settings)
    terms = [*_turned(model, rest, sign), *_lent(model, rest, sign)]
    ends = [_left(model, gap, terms, sign, settings)]
    curved = _turned_twice(model, rolled, gap, rest)
    if curved and rest.found - ends[0].bound > asked.tolerance:
        less = replace(settings, boxes=max(1, settings.boxes // SECOND))
        ends.append(_left(model, gap, [*terms, *curved], sign, less))
    # at rest the bound is no bound: the vectors of the cage are left out
    return [replace(rest, bound=-np.inf), *ends]


def at_rest(model: Model) -> Model:
    """Return the model without what turns round the ring: its best pocket is one that all pockets can be at once."""
    turning = (d for d in model.dimensions.values() if isinstance(d, Zone) and d.scope == "cage")
    still = {zone.name: replace(zone, diameter=0.0, bonus=None, process=Process()) for zone in turning}
    return model.with_dimensions(still)


def _left(model: Model, gap: str, terms: Sequence[_Term], sign: int, settings: Settings) -> End:
    """Return the end of the gap less the terms; multiples are parameters, which sympy does not multiply out."""
    given = model.gap(gap)
    times = {f"{LEFT}:{k}": term.times for k, term in enumerate(terms)}
    taken = [-symbol(name) * term.what for name, term in zip(times, terms, strict=True)]
    left = replace(
        model,
        steps=(*model.steps, Step(LEFT, sympy.Add(symbol(given.step), *taken))),
        gaps=(Gap(LEFT, given.unit, LEFT),),
        parameters={**model.parameters, **times},
    )
    asked = Asked(left, compile_model(left, [LEFT]), LEFT)
    asked.tolerance *= CLOSELY
    return asked.end(sign, settings)


def _turned(model: Model, rest: End, sign: int) -> Iterable[_Term]:
    """Yield the parts of every vector of the cage, as often as the gap moves with them.

    The axes of pocket 0, where the gap was at rest, are the cage's.
    """
    for name in _vectors(model, rest.slopes):
        for component, part in zip(model.dimensions[name].components, _parts(model, name), strict=True):
            yield _Term(sign * rest.slopes.get(component, 0.0), part)


def _turned_twice(model: Model, rolled: Program, gap: str, rest: End) -> list[_Term]:
    """Return the products of vectors of the cage that turn twice round the ring, by the Hessian at rest."""
    asked = Asked(model, rolled, gap)
    angles = {name: float(values[rest.column]) for name, values in asked.ground.angles.items()}
    seen = jets(asked.program, {**rest.point, **angles}, asked.parameters)
    hessian = seen.of(gap)[2]
    names = _vectors(model, rest.slopes)
    if hessian is None:
        return []
    hessian = np.pad(hessian, (0, 1))  # the last: of a part that the gap does not use
    found = []
    for one, other in combinations_with_replacement(names, 2):
        rows, columns = (_places(seen.inputs, model.dimensions[name].components) for name in (one, other))
        block = hessian[np.ix_(rows, columns)] * (0.5 if one == other else 1.0)
        (r, t), (s, u) = _parts(model, one), _parts(model, other)
        found.append(_Term(float(block[0, 0] - block[1, 1]) / 2, r * s - t * u))
        found.append(_Term(float(block[0, 1] + block[1, 0]) / 2, r * u + t * s))
    return [term for term in found if term.times and np.isfinite(term.times)]


def _places(inputs: Sequence[str], parts: Sequence[str]) -> list[int]:
    return [inputs.index(part) if part in inputs else len(inputs) for part in parts]


def _lent(model: Model, rest: End, sign: int) -> Iterable[_Term]:
    """Yield what a pocket takes of its neighbours, as often as moves the gap with each of them alike."""
    own: dict[str, dict[int, float]] = {}
    for part, slope in rest.slopes.items():
        if owner_of(model, part).scope == "pocket":
            base, ahead = split_at(part)
            own.setdefault(base, {})[ahead] = sign * slope
    for base, slopes in own.items():
        first, *others = sorted(slopes)
        level = sum(slopes.values()) / len(slopes)
        for ahead in others:
            yield _Term(level - slopes[ahead], _ahead(base, first) - _ahead(base, ahead))


def _ahead(part: str, ahead: int) -> Any:
    return symbol(part + f".{NEXT}" * ahead)


def _vectors(model: Model, parts: Mapping[str, float]) -> list[str]:
    """Return the zones of the cage that inputs belong to."""
    owners = [owner_of(model, part) for part in parts]
    return sorted({o.name for o in owners if o.scope == "cage" and isinstance(o.region, Disc)})


def _parts(model: Model, name: str) -> tuple[Any, Any]:
    """Return the parts of a vector of the cage in the axes of the pocket."""
    x, y = (symbol(part) for part in model.dimensions[name].components)
    cosine, sine = sympy.cos(symbol(ANGLE)), sympy.sin(symbol(ANGLE))
    return x * cosine + y * sine, y * cosine - x * sine
