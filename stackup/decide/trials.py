"""What fails of a case if one dimension comes out otherwise: every row and state on the same cages.

The verdicts are those of ``judge`` on the changed model, requirement by requirement: the exact tail where the law of
the gap is known, else the count over the same cages.  Only requirements with an allowance take part: what the worst
case decides depends on the drawing alone.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from stackup.case import Case, Row
from stackup.chain.model import Model, Requirement
from stackup.chain.program import compile_model
from stackup.decide.fractions import of_bearings, of_row
from stackup.decide.processes import Toleranced, capability_of
from stackup.decide.verdict import Verdict, by_fraction, worst
from stackup.engine import fractions, rss, variants
from stackup.engine.result import Fraction
from stackup.engine.settings import Progress, Settings, silent
from stackup.engine.tally import Failures
from stackup.engine.variants import Counts, Variant

#: more of a requirement's crossings than may fail are kept: the count of pockets is not the whole of its interval
SPARE = 1
#: so many crossings at most
MOST_KEPT = 50_000


@dataclass(frozen=True)
class Place:
    """One row in one state."""

    row: Row
    state: str
    model: Model


@dataclass(frozen=True)
class Change:
    """What is tried of the dimension ``name``: its spread times ``factor``, or (None) its mean in the middle.

    ``crossing``: the crossings are wanted.  ``only``: the requirements that count, None for all.
    """

    name: str
    factor: float | None
    crossing: bool = False
    only: frozenset[str] | None = None

    def made(self, model: Model) -> Toleranced:
        """Return the dimension of ``model`` so changed.  Raises ValueFault where there is none."""
        spread = capability_of(model.dimensions[self.name]).spread
        assert spread is not None  # noqa: S101 - nobody asks it of what has no spread
        made = spread.centred() if self.factor is None else spread.at(self.factor)
        return spread.at(1.0) if made is None else made


@dataclass(frozen=True)
class Outcome:
    """What was found, by place: counts, and the fractions that are known exactly by requirement."""

    counts: tuple[Counts, ...]
    exact: tuple[Mapping[str, Fraction], ...]


class Trials:
    """A case whose dimensions can be tried otherwise."""

    def __init__(self, case: Case, settings: Settings) -> None:
        """Collect places and requirements, and find out which fractions are known exactly."""
        self.settings = settings
        self.places = [Place(row, state, model) for row in case.models() for state, model in row.states.items()]
        self.requirements = tuple(r for r in case.requirements if r.allow is not None)
        self.by_name = {r.name: r for r in self.requirements}
        model = self.places[0].model
        self.held = {r.name: variants.held_by(model, r) for r in self.requirements}
        known = [exact_fractions(place.model, self.requirements) for place in self.places]
        self.exact = frozenset(r.name for r in self.requirements if all(r.name in found for found in known))
        self.sampled = tuple(r for r in self.requirements if r.name not in self.exact)
        self.allowed = {r.name: allowed_to_fail(r, settings.cages, model.pockets) for r in self.requirements}
        #: what so many cages can prove at all
        self.provable = {
            r.name for r in self.requirements if r.name in self.exact or may_fail(r, 0, settings.cages, model.pockets)
        }

    @property
    def model(self) -> Model:
        """The model of the first row and state."""
        return self.places[0].model

    def holding(self, name: str) -> tuple[Requirement, ...]:
        """Return the requirements that hold the dimension ``name``."""
        return tuple(r for r in self.requirements if name in self.held[r.name])

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
        if not counted:
            return Counts({}), [Counts({}) for _ in changes]
        tried = [Variant(c.made(place.model), c.factor if c.crossing else None, c.only) for c in changes]
        return variants.run(place.model, counted, tried, self.settings, progress, kept)

    def _outcome(self, counts: Sequence[Counts], change: Change | None) -> Outcome:
        exact = []
        for place in self.places:
            model, wanted = place.model, [r for r in self.requirements if r.name in self.exact]
            if change is not None:
                model = model.with_dimensions({change.name: change.made(model)})
                wanted = [r for r in wanted if self._counts(change, r)]
            exact.append(exact_fractions(model, wanted))
        return Outcome(tuple(counts), tuple(exact))

    def excess(self, requirement: Requirement, change: Change) -> float:
        """Return the exact fraction over what is allowed, after ``change``; the greatest over rows and states."""
        allow = requirement.allow
        assert allow is not None  # noqa: S101 - only those take part
        found = []
        for place in self.places:
            model = place.model.with_dimensions({change.name: change.made(place.model)})
            found.append(exact_fractions(model, [requirement])[requirement.name].out_of_spec)
        return max(found) / (allow.ppm * 1e-6)

    def verdicts(self, outcome: Outcome, wanted: Sequence[Requirement]) -> dict[str, Verdict]:
        """Return the verdict on each of ``wanted``, the worst over rows and states."""
        return {r.name: self._verdict(outcome, r) for r in wanted}

    def _verdict(self, outcome: Outcome, requirement: Requirement) -> Verdict:
        allow = requirement.allow
        assert allow is not None  # noqa: S101 - only those take part
        return worst(by_fraction(fraction, allow.ppm) for fraction in self.fractions(outcome, requirement))

    def fractions(self, outcome: Outcome, requirement: Requirement) -> list[Fraction]:
        """Return the fraction of the requirement's population: of each row and state, of bearings of each state."""
        each = [self._fraction(outcome, i, requirement) for i in range(len(self.places))]
        if requirement.allow is None or requirement.allow.of != "bearings":
            return each
        states = dict.fromkeys(place.state for place in self.places)
        found = []
        for state in states:
            rows = [(f, p.row.count) for f, p in zip(each, self.places, strict=True) if p.state == state]
            bearings = of_bearings(rows)
            if bearings is not None:
                found.append(bearings)
        return found

    def _fraction(self, outcome: Outcome, place: int, requirement: Requirement) -> Fraction:
        known = outcome.exact[place].get(requirement.name)
        if known is not None:
            return known
        failures = outcome.counts[place].failures[requirement.name]
        if requirement.allow is not None and requirement.allow.of == "pockets":
            return failures.of_pockets(self.places[place].model.pockets)
        return failures.of_cages()


def exact_fractions(model: Model, wanted: Sequence[Requirement]) -> dict[str, Fraction]:
    """Return the fraction of the population that each requirement names, where it is known exactly.

    Only chains that are sums can be: the laws of others are not worked out.
    """
    wanted = [r for r in wanted if rss.is_linear(compile_model(model, [r.gap]), r.gap)]
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
