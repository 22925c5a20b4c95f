"""What fails of a case if one dimension comes out otherwise: every row and state on the same cages.

The verdicts are those of ``judge`` on the changed model, requirement by requirement: the exact tail where the law of
the gap is known, else the count over the same cages.  Only requirements with an allowance take part: what the worst
case decides depends on the drawing alone.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from stackup.case import Case, Row
from stackup.case.statements import PROCESS, Statement, statements
from stackup.chain.model import Model, Requirement
from stackup.chain.program import compile_model
from stackup.decide.fractions import of_bearings, of_row
from stackup.decide.processes import Toleranced, capability_of
from stackup.decide.verdict import ORDER, Verdict, by_fraction
from stackup.dimension import Dimension
from stackup.engine import fractions, rss, variants
from stackup.engine.result import Fraction
from stackup.engine.settings import Progress, Settings, silent
from stackup.engine.sums import may_be_known
from stackup.engine.tally import Failures
from stackup.engine.variants import Counts, Variant
from stackup.errors import ValueFault

#: more of a requirement's crossings than may fail are kept: the count of pockets is not the whole of its interval
SPARE = 1
#: so many crossings at most
MOST_KEPT = 50_000


@dataclass(frozen=True)
class Place:
    """One row in one state; ``index`` is that of the row in the case."""

    index: int
    row: Row
    state: str
    model: Model


@dataclass(frozen=True)
class Change:
    """What is tried of a process: its spread times ``factor``, or (None) its mean in the middle.

    ``name``: the label of its statement.  ``crossing``: the crossings are wanted.  ``only``: the requirements that
    count, None for all.
    """

    name: str
    factor: float | None
    crossing: bool = False
    only: frozenset[str] | None = None

    def made(self, dimension: Dimension) -> Toleranced:
        """Return ``dimension``, which the process makes, so changed.  Raises ValueFault where there is none."""
        spread = capability_of(dimension).spread
        assert spread is not None  # noqa: S101 - nobody asks it of what has no spread
        made = spread.centred() if self.factor is None else spread.at(self.factor)
        return spread.at(1.0) if made is None else made


@dataclass(frozen=True)
class Standing:
    """How a requirement stands: the verdict, and the fraction of its population in the row and state that govern."""

    verdict: Verdict
    fraction: Fraction
    place: Place


@dataclass(frozen=True)
class Outcome:
    """What was found, by place: counts, and the fractions that are known exactly by requirement."""

    counts: tuple[Counts, ...]
    exact: tuple[Mapping[str, Fraction], ...]


class Trials:
    """A case whose processes can be tried otherwise: each statement of a process, of all rows or a row's own."""

    def __init__(self, case: Case, settings: Settings) -> None:
        """Collect processes, places and requirements, and find out which fractions are known exactly."""
        self.settings = settings
        self.processes = {said.label: said for said in statements(case, PROCESS)}
        self.places = [
            Place(index, row, state, model)
            for index, row in enumerate(case.models())
            for state, model in row.states.items()
        ]
        self.dimensions = {label: self._weakest(said) for label, said in self.processes.items()}
        self.requirements = tuple(r for r in case.requirements if r.allow is not None)
        self.by_name = {r.name: r for r in self.requirements}
        firsts = {place.index: place.model for place in reversed(self.places)}
        held = {(r.name, i): variants.held_by(model, r) for r in self.requirements for i, model in firsts.items()}
        self.held = {
            r.name: {
                label
                for label, said in self.processes.items()
                if any(said.name in held[r.name, index] for index in said.rows)
            }
            for r in self.requirements
        }
        known = [exact_fractions(place.model, self.requirements) for place in self.places]
        self.exact = frozenset(r.name for r in self.requirements if all(r.name in found for found in known))
        self.sampled = tuple(r for r in self.requirements if r.name not in self.exact)
        fewest = min(place.model.pockets for place in self.places)
        self.allowed = {
            r.name: max(allowed_to_fail(r, settings.cages, model.pockets) for model in firsts.values())
            for r in self.requirements
        }
        #: what so many cages can prove at all
        self.provable = {
            r.name for r in self.requirements if r.name in self.exact or self._is_provable(r, settings.cages, fewest)
        }

    def _weakest(self, said: Statement) -> Dimension:
        """Return the dimension that a process makes, of several rows the one with the least index."""
        made = [place.model.dimensions[said.name] for place in self.places if place.index in said.rows]
        indices = [capability_of(dimension).cpk for dimension in made]
        least = min(range(len(made)), key=lambda i: math.inf if indices[i] is None else indices[i] or 0.0)
        return made[least]

    def _is_provable(self, requirement: Requirement, cages: int, pockets: int) -> bool:
        """Tell whether cages of which none fails would prove it, in all rows of a bearing at once."""
        if requirement.allow is None or requirement.allow.of != "bearings":
            return may_fail(requirement, 0, cages, pockets)
        rows = {place.index: place.row.count for place in self.places}
        found = of_bearings([(fractions.of_cages(0, cages), count) for count in rows.values()])
        return found is not None and by_fraction(found, requirement.allow.ppm) == "met"

    def reaches(self, label: str, place: Place) -> bool:
        """Tell whether a process makes a dimension of the row at ``place``."""
        return place.index in self.processes[label].rows

    def holding(self, label: str) -> tuple[Requirement, ...]:
        """Return the requirements that hold what the process ``label`` makes."""
        return tuple(r for r in self.requirements if label in self.held[r.name])

    def is_possible(self, change: Change) -> bool:
        """Tell whether a change makes a dimension in every row that it reaches."""
        try:
            for place in self.places:
                if self.reaches(change.name, place):
                    self._made(change, place)
        except ValueFault:
            return False
        return True

    def _made(self, change: Change, place: Place) -> Toleranced:
        return change.made(place.model.dimensions[self.processes[change.name].name])

    def run(
        self, changes: Sequence[Change], progress: Progress = silent, every: bool = False
    ) -> tuple[Outcome, list[Outcome]]:
        """Return what is found of the case as it is, and of every change.

        Counted is what some change asks for; with ``every`` all requirements, those too whose fraction is known
        exactly, so that the cages that fail any of them are.  Raises ValueFault where a change makes no dimension.
        """
        wanted = (r for r in self.sampled if any(self._counts(change, r) for change in changes))
        counted = self.requirements if every else tuple(wanted)
        kept = {r.name: min(self.allowed[r.name] + SPARE, MOST_KEPT) for r in counted}
        found = [self._run_place(place, counted, changes, kept, progress) for place in self.places]
        base = self._outcome([counts for counts, _ in found], None)
        return base, [self._outcome([each[i] for _, each in found], change) for i, change in enumerate(changes)]

    def _counts(self, change: Change, requirement: Requirement) -> bool:
        """Tell whether a change moves a requirement that it asks for."""
        asked = change.only is None or requirement.name in change.only
        return asked and change.name in self.held[requirement.name]

    def _run_place(
        self,
        place: Place,
        counted: Sequence[Requirement],
        changes: Sequence[Change],
        kept: Mapping[str, int],
        progress: Progress,
    ) -> tuple[Counts, list[Counts]]:
        """Return the counts of one row and state; a change that does not reach the row leaves them as they are."""
        if not counted:
            return Counts({}), [Counts({}) for _ in changes]
        here = [i for i, change in enumerate(changes) if self.reaches(change.name, place)]
        asked = [changes[i] for i in here]
        tried = [Variant(self._made(c, place), c.factor if c.crossing else None, c.only) for c in asked]
        base, counts = variants.run(place.model, counted, tried, self.settings, progress, kept)
        found = dict(zip(here, counts, strict=True))
        return base, [found.get(i, base) for i in range(len(changes))]

    def _outcome(self, counts: Sequence[Counts], change: Change | None) -> Outcome:
        wanted = [r for r in self.requirements if r.name in self.exact]
        if change is not None:
            wanted = [r for r in wanted if self._counts(change, r)]
        return Outcome(tuple(counts), tuple(self._exact(place, change, wanted) for place in self.places))

    def _exact(self, place: Place, change: Change | None, wanted: Sequence[Requirement]) -> dict[str, Fraction]:
        """Return the exact fractions of one row and state after a change."""
        model = place.model
        if change is not None and self.reaches(change.name, place):
            model = model.with_dimensions({self.processes[change.name].name: self._made(change, place)})
        return exact_fractions(model, wanted)

    def excess(self, requirement: Requirement, change: Change) -> float:
        """Return the exact fraction over what is allowed, after ``change``; the greatest over rows and states."""
        allow = requirement.allow
        assert allow is not None  # noqa: S101 - only those take part
        outcome = Outcome((), tuple(self._exact(place, change, [requirement]) for place in self.places))
        return max(one.out_of_spec for one in self.fractions(outcome, requirement)) / (allow.ppm * 1e-6)

    def verdicts(self, outcome: Outcome, wanted: Sequence[Requirement]) -> dict[str, Verdict]:
        """Return the verdict on each of ``wanted``, the worst over rows and states."""
        return {r.name: self.standing(outcome, r).verdict for r in wanted}

    def standing(self, outcome: Outcome, requirement: Requirement) -> Standing:
        """Return how a requirement stands in the row and state that govern it."""
        allow = requirement.allow
        assert allow is not None  # noqa: S101 - only those take part
        each = [
            Standing(by_fraction(fraction, allow.ppm), fraction, place)
            for fraction, place in zip(self.fractions(outcome, requirement), self.places, strict=True)
        ]
        return max(each, key=lambda one: (ORDER.index(one.verdict), one.fraction.out_of_spec, one.fraction.high))

    def fractions(self, outcome: Outcome, requirement: Requirement) -> list[Fraction]:
        """Return the fraction of the requirement's population in every row and state; of bearings any row out."""
        each = [self._fraction(outcome, i, requirement) for i in range(len(self.places))]
        if requirement.allow is None or requirement.allow.of != "bearings":
            return each
        found = {}
        for state in dict.fromkeys(place.state for place in self.places):
            rows = [(f, p.row.count) for f, p in zip(each, self.places, strict=True) if p.state == state]
            found[state] = of_bearings(rows)
        return [found[place.state] or one for place, one in zip(self.places, each, strict=True)]

    def _fraction(self, outcome: Outcome, place: int, requirement: Requirement) -> Fraction:
        known = outcome.exact[place].get(requirement.name)
        if known is not None:
            return known
        failures = outcome.counts[place].failures[requirement.name]
        if requirement.allow is not None and requirement.allow.of == "pockets":
            return failures.of_pockets(self.places[place].model.pockets)
        return failures.of_cages()

    def worst_place(self, outcome: Outcome) -> int:
        """Return the place where most cages fail any requirement with an allowance."""
        return max(range(len(self.places)), key=lambda i: outcome.counts[i].any_cages.failed)


def exact_fractions(model: Model, wanted: Sequence[Requirement]) -> dict[str, Fraction]:
    """Return the fraction of the population that each requirement names, where it is known exactly.

    Only chains that are sums, or lengths of few sums, can be: the laws of others are not worked out.
    """
    wanted = [r for r in wanted if may_be_known(model, compile_model(model, [r.gap]), r.gap)]
    laws, _ = rss.run(model, wanted, Settings()) if wanted else ({}, {})
    found = {}
    for r in wanted:
        pockets, cages = of_row(model, r, laws[r.name], None)
        fraction = pockets if r.allow is not None and r.allow.of == "pockets" else cages
        if fraction is not None:
            found[r.name] = fraction
    return found


def allowed_to_fail(requirement: Requirement, cages: int, pockets: int, like: Failures | None = None) -> int:
    """Return how many of ``cages``, or of their pockets, may fail so that it is met.

    Pockets fail each in a cage of its own, or together as those of ``like`` do.
    """
    of_pockets = requirement.allow is not None and requirement.allow.of == "pockets"
    few, many = 0, (pockets * cages if of_pockets else cages) + 1
    while many - few > 1:
        middle = (few + many) // 2
        few, many = (middle, many) if may_fail(requirement, middle, cages, pockets, like) else (few, middle)
    return few


def may_fail(
    requirement: Requirement, failed: int, cages: int, pockets: int, like: Failures | None = None
) -> bool:
    """Tell whether it is met where ``failed`` of ``cages``, or of their pockets, fail (see ``allowed_to_fail``)."""
    allow = requirement.allow
    assert allow is not None  # noqa: S101 - only those take part
    if allow.of == "pockets":
        most, together = -(-failed // cages), float(-(-failed // cages))
        if like is not None and like.total:
            most, together = max(most, like.most), max(together, like.squares / like.total)
        found = fractions.of_pockets(failed, round(failed * together), most, cages, pockets)
    else:
        found = fractions.of_cages(failed, cages)
    return by_fraction(found, allow.ppm) == "met"
