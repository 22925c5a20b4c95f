"""The rules by which the trade spreads a tolerance over its parts, beside the least cost.

Each gives proportions; the coarsest drawing of these that keeps all limits is what the rule makes of a case
(K. W. Chase, ADCATS report 99-6, 1999, for the first two; *common practice, no source* for the third).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence

from stackup.decide.limits import Limit
from stackup.decide.plan import Place

#: rule → what it is, in words
RULES = {
    "proportional": "all half-widths by one factor",
    "precision": "half-widths as the cube root of the size: equal precision",
    "influence": "equal influence: each takes the same part of the limit that it touches most",
}


def base_of(rule: str, places: Sequence[Place], limits: Sequence[Limit]) -> dict[str, float]:
    """Return half-widths in the proportions of a rule, for all free places."""
    free = [place for place in places if not place.locked]
    return _BASES[rule](free, limits)


def _proportional(free: Sequence[Place], limits: Sequence[Limit]) -> dict[str, float]:
    del limits
    return {place.name: place.before for place in free}


def _precision(free: Sequence[Place], limits: Sequence[Limit]) -> dict[str, float]:
    """Cube roots of the nominals; what has no size keeps its proportion to those that have."""
    del limits
    sized = [place for place in free if place.nominal]
    if not sized:
        return {place.name: place.before for place in free}
    roots = {place.name: abs(place.nominal or 0.0) ** (1 / 3) for place in sized}
    ratio = sum(roots.values()) / sum(place.before for place in sized)
    return {place.name: roots.get(place.name, place.before * ratio) for place in free}


def _influence(free: Sequence[Place], limits: Sequence[Limit]) -> dict[str, float]:
    """One over the part of a limit's scale that a unit of half-width takes, of the limit where that is most."""
    found = {}
    for place in free:
        most = max((_takes(limit, place) / limit.scale for limit in limits), default=0.0)
        found[place.name] = 1.0 / most if most > 0 else place.coarsest
    return found


def _takes(limit: Limit, place: Place) -> float:
    """Return what a unit of half-width takes of a limit: by the region, or by the standard deviation alone."""
    most = 0.0
    for key in place.wide:
        seen = place.seen[key]
        by_region = -limit.half.get(key, 0.0) * abs(seen.per_width.half or 1.0)
        spread = math.sqrt(limit.weights.get(key, 0.0)) * (seen.per_width.sd or seen.now.sd / place.before)
        most = max(most, by_region, spread)
    return most


_BASES: Mapping[str, Callable[[Sequence[Place], Sequence[Limit]], dict[str, float]]] = {
    "proportional": _proportional,
    "precision": _precision,
    "influence": _influence,
}
