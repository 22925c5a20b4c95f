"""Does a case work, and no more: the engines that decide a verdict, none of those that only inform.

What ``check`` says of a requirement, ``judge_rows`` says too: the same engines on the same draws.  A requirement must
hold in every row and every state; the worst of them governs, and is named.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from stackup.case import Case, Row
from stackup.case.states import MADE
from stackup.chain.model import Model, Requirement
from stackup.decide.fractions import of_bearings, of_row
from stackup.decide.once import Once
from stackup.decide.verdict import ORDER, Verdict, by_fraction, by_worst_case, room, worst
from stackup.engine import monte_carlo, rss, worst_case
from stackup.engine.result import AnyRequirement, Fraction, MonteCarlo, Rss, WorstCase
from stackup.engine.settings import Progress, Settings, silent


@dataclass(frozen=True)
class Judgement:
    """The verdict on one requirement, and the number behind it: both ends of the worst case, or a fraction.

    ``cages`` is the fraction of cages out of spec where it was sampled.  ``row`` and ``state`` are those that govern:
    the worst of all.
    """

    requirement: Requirement
    verdict: Verdict
    worst_case: WorstCase | None
    fraction: Fraction | None
    cages: Fraction | None
    row: str = ""
    state: str = ""

    @property
    def room(self) -> float | None:
        """How far the guaranteed bounds stay within the limits, in the gap's unit; None with an allowance."""
        found = self.worst_case
        return None if found is None else room(self.requirement, found.bound_low, found.bound_high)

    @property
    def excess(self) -> float | None:
        """The fraction out of spec over what is allowed, 1 at the limit; None where the worst case decides."""
        allow = self.requirement.allow
        if allow is None or self.fraction is None:
            return None
        return self.fraction.out_of_spec / (allow.ppm * 1e-6)

    @property
    def badness(self) -> tuple[float, ...]:
        """What is greater the worse a judgement on a requirement is: its verdict, then what decides it, then cages.

        As ``check`` ranks rows and states.
        """
        order = float(ORDER.index(self.verdict))
        if self.requirement.allow is None:
            left = self.room
            return order, math.inf if left is None or math.isnan(left) else -left
        ends = [(one.out_of_spec, one.high) if one else (math.inf, math.inf) for one in (self.fraction, self.cages)]
        return order, *ends[0], *ends[1]


@dataclass(frozen=True)
class Look:
    """A row (its name, and how many are alike) in a state: by requirement both ends of the worst case, or fractions.

    The fractions are those of pockets and of cages; ``anyone``: what fails any requirement that was sampled.
    """

    row: str
    count: int
    state: str
    ends: Mapping[str, WorstCase]
    fractions: Mapping[str, tuple[Fraction | None, Fraction | None]]
    anyone: AnyRequirement

    @property
    def place(self) -> tuple[str, str]:
        """Return the names of row and state."""
        return self.row, self.state


@dataclass(frozen=True)
class Trial:
    """The verdicts on all requirements: ``judgements`` of the row and state that govern each, ``by_place`` of all.

    ``any_requirement``: the fraction of pockets and cages that fail any requirement that was sampled, of the row and
    state (``place``) where most cages do.
    """

    judgements: Mapping[str, Judgement]
    by_place: Mapping[tuple[str, str], Mapping[str, Judgement]]
    any_requirement: AnyRequirement
    place: tuple[str, str]

    @property
    def verdict(self) -> Verdict:
        """The worst verdict; *met* without requirements."""
        return worst(one.verdict for one in self.judgements.values()) if self.judgements else "met"

    @property
    def works(self) -> bool:
        """Tell whether every requirement is met."""
        return self.verdict == "met"


def judge(
    model: Model, requirements: Sequence[Requirement], settings: Settings, progress: Progress = silent
) -> Trial:
    """Return the verdicts of one row in one state, a bearing by itself.  Raises Interrupted."""
    return judge_rows((Row("1", 1, model.pockets, {MADE: model}),), requirements, settings, progress)


def judge_case(case: Case, settings: Settings, progress: Progress = silent) -> Trial:
    """Return the verdicts on all requirements of a case.  Raises Interrupted."""
    return judge_rows(case.models(), case.requirements, settings, progress)


def judge_rows(
    rows: Sequence[Row], requirements: Sequence[Requirement], settings: Settings, progress: Progress = silent
) -> Trial:
    """Return the verdicts on ``requirements``: each by the worst case or by its fraction, as it asks.

    In every row and state of a bearing; of bearings as many fail as have any row out.  Raises Interrupted.
    """
    return trial_of([look for row in rows for look in _looks(row, requirements, settings, progress)], requirements)


def trial_of(looks: Sequence[Look], requirements: Sequence[Requirement], beside: Sequence[Look] = ()) -> Trial:
    """Return the verdicts from what rows show in all states; ``beside``: the other rows of the bearing, if any."""
    every = (*looks, *beside)
    by_place = {look.place: {r.name: _judgement(look, every, r) for r in requirements} for look in looks}
    governing = {r.name: max((found[r.name] for found in by_place.values()), key=_badness) for r in requirements}
    most = max(looks, key=_cages_out)
    return Trial(governing, by_place, most.anyone, most.place)


def _badness(one: Judgement) -> tuple[float, ...]:
    return one.badness


def _cages_out(look: Look) -> float:
    cages = look.anyone.cages
    return cages.out_of_spec if cages else -1.0


def _looks(row: Row, requirements: Sequence[Requirement], settings: Settings, progress: Progress) -> list[Look]:
    """Look at one row in all its states: what no state changes is worked out once, all states see the same cages."""
    by_worst = [r for r in requirements if r.allow is None]
    by_share = [r for r in requirements if r.allow is not None]
    ends = _worst_cases(row, by_worst, settings, progress)
    drawn: Mapping[str, MonteCarlo] = {}
    laws: Mapping[str, Mapping[str, Rss | None]] = {}
    if by_share:
        drawn = monte_carlo.run_states(row.states, by_share, settings, progress)
        laws = laws_of(row, by_share, settings, progress)
    nothing = AnyRequirement(None, None)
    return [
        Look(
            row.name,
            row.count,
            state,
            ends[state],
            {r.name: of_row(model, r, laws[state][r.name], drawn[state].records[r.name]) for r in by_share},
            drawn[state].any_requirement if by_share else nothing,
        )
        for state, model in row.states.items()
    ]


def _worst_cases(
    row: Row, requirements: Sequence[Requirement], settings: Settings, progress: Progress = silent
) -> dict[str, dict[str, WorstCase]]:
    """Return the worst cases of a row, by state and requirement.  Raises Interrupted."""

    def engine(state: str, asked: Sequence[Requirement], tell: Progress) -> Mapping[str, WorstCase]:
        return worst_case.run(row.states[state], asked, settings, tell)

    return Once(row.states, requirements).run(engine, progress)


def laws_of(
    row: Row, requirements: Sequence[Requirement], settings: Settings, progress: Progress = silent
) -> dict[str, dict[str, Rss | None]]:
    """Return what RSS says of a row, by state and requirement.  Raises Interrupted."""

    def engine(state: str, asked: Sequence[Requirement], tell: Progress) -> Mapping[str, Rss | None]:
        return rss.run(row.states[state], asked, settings, tell)[0]

    return Once(row.states, requirements).run(engine, progress)


def _judgement(look: Look, looks: Sequence[Look], requirement: Requirement) -> Judgement:
    """Return the verdict on a requirement in one row and state; of bearings that on all rows in the state."""
    name, allow = requirement.name, requirement.allow
    if allow is None:
        ends = look.ends[name]
        return Judgement(requirement, by_worst_case(requirement, ends), ends, None, None, *look.place)
    pockets, cages = look.fractions[name]
    fraction = pockets if allow.of == "pockets" else cages
    if allow.of == "bearings":
        same = [one for one in looks if one.state == look.state]
        fraction = of_bearings([(one.fractions[name][1], one.count) for one in same])
    verdict: Verdict = "undecided" if fraction is None else by_fraction(fraction, allow.ppm)
    return Judgement(requirement, verdict, None, fraction, cages, *look.place)
