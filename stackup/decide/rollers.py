"""``rollers``: how many rollers fit.  Counts on one circle, each judged like a case, with its rating by ISO 281.

Only the count changes: rollers, pins and raceways stay.  The holes stay on the pitch circle of the drawing
(``pitch``), or stand where the raceways put the rollers (``raceway``), for every count alike.  All counts draw with
the same seed: what a cage draws once (rings, raceways, classes) is the same, what pockets draw is not, so
neighbouring fractions differ by chance within their intervals.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from stackup import __version__
from stackup.cage import RollerSet
from stackup.case import Case, Row, changed
from stackup.chain.model import Model, Requirement
from stackup.decide import rollers_notes as notes
from stackup.decide.check import settings_of
from stackup.decide.fractions import no_less
from stackup.decide.once import Once
from stackup.decide.record import Note
from stackup.decide.rollers_range import full_complement, judge_counts, range_of, roller_set_of, words_of
from stackup.decide.rollers_record import CountRecord, Layout, RatingRecord, RollersResult, Spacing
from stackup.decide.share_out import share_out
from stackup.decide.trial import Judgement, by_draws, by_ends, first_laws
from stackup.decide.verdict import ORDER, Verdict, by_worst_case, worst
from stackup.engine import monte_carlo, worst_case
from stackup.engine.result import Fraction, Sampled, WorstCase
from stackup.engine.settings import Progress, Settings, silent
from stackup.errors import CaseError, Interrupted, ValueFault
from stackup.standards import iso281

#: boxes for a first look at a worst case: most verdicts need no more, and what is only shown never gets more
GLANCE = 1


@dataclass(frozen=True)
class _Question:
    """What is asked: the case, its counts and layouts, and what the kind says of its rollers."""

    case: Case
    settings: Settings
    roller_set: RollerSet
    rating: RatingRecord
    full: int
    counts: range
    layouts: tuple[Layout, ...]


@dataclass(frozen=True)
class _Job:
    """So many rollers in one layout; ``rows`` is None where they overlap."""

    layout: Layout
    rollers: int
    rows: tuple[Row, ...] | None

    @property
    def place(self) -> tuple[str, int]:
        """Return layout and count."""
        return self.layout.follow, self.rollers


@dataclass(frozen=True)
class _Look:
    """What one row in one state shows: verdicts, and the gaps that are always told."""

    judgements: Mapping[str, Judgement]
    spacing: Spacing
    wall: float
    cages: Fraction | None


def rollers(
    case: Case,
    first: int | None = None,
    last: int | None = None,
    follow: str = "pitch",
    settings: Settings | None = None,
    progress: Progress = silent,
) -> RollersResult:
    """Return what becomes of ``case`` with ``first`` to ``last`` rollers in a row, and what the largest is worth.

    ``follow``: "pitch", "raceway", or both with a comma between, which tries each.  Without ``first`` from five fewer
    than the case has, without ``last`` to as many as can stand, at most fourteen more.  ``settings`` default to
    those of the case.

    Raises CaseError for a kind without rollers, a range that is none, values as built that belong to one count;
    Interrupted with the counts finished so far, complete in form, when the user stops the run.
    """
    asked = _question(case, first, last, follow, settings or settings_of(case))
    work = partial(_tried, asked)
    try:
        found, interrupted = share_out(_jobs(asked), work, asked.settings.workers, progress, "counts"), False
    except Interrupted as stopped:
        found, interrupted = stopped.records, True
    by_place = {(one.follow, one.rollers): one for one in found}
    wanted = [(layout.follow, count) for layout in asked.layouts for count in asked.counts]
    tried = tuple(by_place[place] for place in wanted if place in by_place)
    said = [*notes.of_range(asked.counts, asked.full, is_cut=last is None), *_said(asked, tried, interrupted)]
    result = _result(asked, tried, by_place.get(("pitch", case.rollers)), said, interrupted)
    if interrupted:
        raise Interrupted(result)
    return result


# What to try --------------------------------------------------------------------------------------------------


def _question(case: Case, first: int | None, last: int | None, follow: str, settings: Settings) -> _Question:
    """Return what is asked.  Raises CaseError for what cannot be."""
    roller_set, words = roller_set_of(case), words_of(follow)
    rating = _rating(case, roller_set)
    full = full_complement(rating.inputs)
    counts = range_of(case.rollers, full, first, last)
    judge_counts(case, counts)
    on_raceways = roller_set.on_raceways(case.dimensions)
    layouts = tuple(Layout(word, on_raceways if word == "raceway" else {}) for word in words)
    return _Question(case, settings, roller_set, rating, full, counts, layouts)


def _rating(case: Case, roller_set: RollerSet) -> RatingRecord:
    """Return the rating of the case as given, without a number where the standard has no f_c."""
    inputs = roller_set.rating(case.dimensions)
    rows = sum(row.count for row in case.models())
    try:
        found = iso281.rating(
            diameter=inputs.diameter,
            length=inputs.length,
            pitch=inputs.pitch,
            angle=inputs.angle,
            rollers=case.rollers,
            rows=rows,
        )
    except ValueFault:
        return RatingRecord(inputs, rows, None)
    return RatingRecord(inputs, rows, found)


def _jobs(asked: _Question) -> list[_Job]:
    """Return the case as given, then every other count of every layout."""
    case, drawn = asked.case, Layout("pitch", {})
    as_given = _Job(drawn, case.rollers, case.models() if case.rollers <= asked.full else None)
    others = [_job(asked, layout, count) for layout in asked.layouts for count in asked.counts]
    return [as_given, *(job for job in others if job.place != as_given.place)]


def _job(asked: _Question, layout: Layout, count: int) -> _Job:
    """Return a count with the models it needs.  Raises CaseError, naming the count, where the case forbids it."""
    if count > asked.full:
        return _Job(layout, count, None)
    changes = {f"dimensions.{name}.nominal": nominal for name, nominal in layout.nominals.items()}
    try:
        return _Job(layout, count, changed(asked.case, {"cage.rollers": count, **changes}).models())
    except CaseError as error:
        named = [replace(fault, found=f"{fault.found} (with {count} rollers)") for fault in error.faults]
        raise CaseError(named) from error


# One count ----------------------------------------------------------------------------------------------------


def _tried(asked: _Question, job: _Job, progress: Progress) -> CountRecord:
    """Return the record of one count: the worst over rows and states."""
    case, settings = asked.case, replace(asked.settings, workers=1)
    ratio = iso281.rating_ratio(job.rollers, case.rollers)
    looks = [
        look
        for row in job.rows or ()
        for look in _looks(row.states, case.requirements, asked.roller_set, settings, progress)
    ]
    judgements = {r.name: _worst_of([look.judgements[r.name] for look in looks]) for r in case.requirements if looks}
    verdict: Verdict | None = worst(one.verdict for one in judgements.values()) if judgements else None
    fractions = [look.cages for look in looks if look.cages is not None]
    return CountRecord(
        rollers=job.rollers,
        follow=job.layout.follow,
        stands=job.rows is not None,
        spacing=_least_spacing(asked.roller_set, [look.spacing for look in looks]),
        wall=min((look.wall for look in looks), default=None),
        fraction=max(fractions, key=lambda one: one.out_of_spec, default=None),
        verdict="not met" if job.rows is None else verdict,
        judgements=judgements,
        rating_ratio=ratio,
        life_ratio=iso281.life(ratio),
        c_r=asked.rating.found.c_r * ratio if asked.rating.found else None,
    )


def _looks(
    models: Mapping[str, Model],
    requirements: Sequence[Requirement],
    roller_set: RollerSet,
    settings: Settings,
    progress: Progress,
) -> Iterator[_Look]:
    """Judge one row in all its states like ``judge_states``, but count cages that fail any requirement at all."""
    shown = [Requirement(f"{gap} (of the count)", gap) for gap in (*roller_set.spacing, roller_set.wall)]
    ends = _ends(models, [*(r for r in requirements if r.allow is None), *shown], settings, progress)
    drawn = monte_carlo.run_states(models, [*requirements, *shown], settings, progress)
    laws = first_laws(models, requirements, settings, progress)
    for state, model in models.items():
        found, records = ends[state], drawn[state].records
        by_law = {r.name: by_draws(model, r, laws[state][r.name], records[r.name]) for r in requirements}
        judged = {r.name: by_ends(r, found[r.name]) if r.allow is None else by_law[r.name] for r in requirements}
        *between, wall = shown
        yield _Look(
            judgements=judged,
            spacing=_least_spacing(
                roller_set, [_spacing(roller_set, found[r.name], records[r.name]) for r in between]
            ),
            wall=found[wall.name].low,
            cages=no_less(drawn[state].any_requirement.cages, [one.cages for one in by_law.values()]),
        )


def _ends(
    models: Mapping[str, Model], requirements: Sequence[Requirement], settings: Settings, progress: Progress
) -> dict[str, dict[str, WorstCase]]:
    """Return the worst cases in all states: a glance, and only where that leaves a verdict open the whole budget.

    More boxes never turn a decided verdict: the value found only gets worse, and the bound only better.
    """

    def looked(state: str, asked: Sequence[Requirement], told: Progress) -> dict[str, WorstCase]:
        glance = worst_case.run(models[state], asked, replace(settings, boxes=GLANCE), told)
        limited = (r for r in asked if r.min is not None or r.max is not None)
        is_open = [r for r in limited if by_worst_case(r, glance[r.name]) == "undecided"]
        return glance | (worst_case.run(models[state], is_open, settings, told) if is_open else {})

    return Once(models, requirements).run(looked, progress)


def _spacing(roller_set: RollerSet, ends: WorstCase, drawn: Sampled) -> Spacing:
    return Spacing(roller_set.spacing_name, ends.low, ends.bound_low, drawn.mean)


def _least_spacing(roller_set: RollerSet, found: Sequence[Spacing]) -> Spacing:
    """Return the least of several spacings, number by number."""

    def least(values: list[float | None]) -> float | None:
        return min((value for value in values if value is not None), default=None)

    return Spacing(
        roller_set.spacing_name,
        least([one.worst_low for one in found]),
        least([one.bound_low for one in found]),
        least([one.mean for one in found]),
    )


def _worst_of(same: Sequence[Judgement]) -> Judgement:
    """Return the worst judgement on one requirement over rows and states."""
    return max(same, key=lambda one: (ORDER.index(one.verdict), one.excess or -(one.room or 0.0)))


# The result ---------------------------------------------------------------------------------------------------


def _said(asked: _Question, counts: tuple[CountRecord, ...], interrupted: bool) -> Iterator[Note]:
    for layout in asked.layouts:
        own = {name: float(np.mean(asked.case.dimensions[name].nominal[0])) for name in layout.nominals}
        yield notes.of_layout(layout, own)
    yield from notes.of_counts(counts, asked.full)
    yield from notes.of_rating(asked.rating)
    yield from notes.of_run(interrupted)


def _result(
    asked: _Question,
    counts: tuple[CountRecord, ...],
    own: CountRecord | None,
    said: Sequence[Note],
    interrupted: bool,
) -> RollersResult:
    case = asked.case
    model = next(iter(case.models()[0].states.values()))
    standing = [one for one in counts if one.stands]
    failing = [{name for name, judged in one.judgements.items() if judged.verdict == "not met"} for one in standing]
    never = [r.name for r in case.requirements if failing and all(r.name in names for names in failing)]
    others = [r.name for r in case.requirements if r.name not in never]
    met_else = [one.rollers for one in standing if all(one.judgements[name].verdict == "met" for name in others)]
    return RollersResult(
        title=case.title,
        kind=case.kind,
        version=__version__,
        digest=case.digest,
        seed=asked.settings.seed,
        cages=asked.settings.cages,
        rollers=case.rollers,
        as_given=own.verdict if own else None,
        full=asked.full,
        rating=asked.rating,
        layouts=asked.layouts,
        counts=counts,
        largest=max((one.rollers for one in counts if one.verdict == "met"), default=None),
        never_met=tuple(never),
        largest_without=max(met_else, default=None) if never and others else None,
        units={r.name: model.gap(r.gap).unit for r in case.requirements},
        notes=tuple(said),
        interrupted=interrupted,
    )
