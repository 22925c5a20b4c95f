"""An allocation on its way: where the drawing stands, and the limits taken there and on the way."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from stackup.case import Case, changed
from stackup.decide.fractions import of_one_row
from stackup.decide.limits import Limit, limits_of
from stackup.decide.once import Once
from stackup.decide.optimise import Assigned, Problem, Solution, solve
from stackup.decide.plan import Place
from stackup.engine.settings import Progress, Settings


@dataclass
class Standing:
    """An allocation on its way: where the drawing stands, and the limits taken there."""

    case: Case
    places: tuple[Place, ...]
    settings: Settings
    progress: Progress
    standing: dict[str, Assigned]
    limits: list[Limit] = field(default_factory=list)
    earlier: list[Limit] = field(default_factory=list)
    options: dict[str, str] = field(default_factory=dict)
    reserves: dict[tuple[str, tuple[str, str]], float] = field(default_factory=dict)

    def drawing(self) -> Case:
        """Return the case as it stands."""
        return changed(self.case, changes_from(self.places, self.standing))

    def look(self) -> None:
        """Take the limits where the drawing stands; those taken elsewhere stay beside them.

        Of two ends that fail in turn each look sees one: without the other's limit the answer would swing between them.
        Limits taken with other options go: their laws may have other shapes.
        """
        options = {name: one.option.name for name, one in self.standing.items() if one.option}
        kept = [limit for limit in self.limits if not limit.exact]
        self.earlier = [*self.earlier, *kept] if options == self.options else []
        self.options = options
        self.limits = list(self._taken(self.drawing()))

    def _taken(self, drawing: Case) -> Iterator[Limit]:
        """Yield the limits of every row and state; where a gap is the same in several states, once."""
        wanted = [of_one_row(requirement, self.bearing) for requirement in self.case.requirements]
        for index, row in enumerate(drawing.models()):
            once = Once(row.states, wanted)
            for state, asked in once.asked.items():
                if asked:
                    tell = once.within(state, self.progress)
                    for limit in limits_of(row.states[state], asked, self.settings, tell, index):
                        yield replace(limit, place=(row.name, state))

    @property
    def bearing(self) -> int:
        """The number of rows of the bearing."""
        return sum(row.count for row in self.case.models())

    @property
    def shares(self) -> bool:
        """Tell whether several rows share an allowance of bearings."""
        return any(of_one_row(one, self.bearing) is not one for one in self.case.requirements)

    def solve(self, reach: float) -> Solution | None:
        """Return the cheapest drawing within a factor ``reach``; earlier limits go where they leave none."""
        found = solve(self.problem(reach, self.earlier))
        if found is None and self.earlier:
            self.earlier = []
            found = solve(self.problem(reach))
        return found

    @property
    def exact(self) -> bool:
        """Tell whether all limits hold everywhere."""
        return all(limit.exact for limit in self.limits)

    def problem(self, reach: float, more: Sequence[Limit] = ()) -> Problem:
        """Return the problem round where the drawing stands, all limits with their reserves taken off."""
        here = tuple(_standing_at(place, self.standing.get(place.name)) for place in self.places)
        limits = [*self.limits, *more]
        guarded = [replace(one, constant=_less(one, self.reserves.get((one.name, one.place), 0.0))) for one in limits]
        return Problem(here, guarded, reach)


def _less(limit: Limit, reserve: float) -> float:
    """Return the constant of a limit with ``reserve`` less margin (of two sides: nearer on both)."""
    if reserve == 0.0:
        return limit.constant
    sign = limit.shape(limit.constant, math.sqrt(max(limit.rest, 0.0)))[1]
    return limit.constant - math.copysign(reserve, sign)


def _standing_at(place: Place, standing: Assigned | None) -> Place:
    """Return the place with its factor counted from where the drawing stands."""
    return place if standing is None else place.standing_at(standing.half)


def changes_from(places: Sequence[Place], assigned: Mapping[str, Assigned]) -> dict[str, Any]:
    """Return the changes of the case that assignments make."""
    found: dict[str, Any] = {}
    for place in places:
        one = assigned.get(place.name)
        if one is not None and not place.locked:
            found |= place.changes(one.half, one.option, one.nominal)
    return found
