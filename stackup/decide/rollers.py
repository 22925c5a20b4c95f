"""``rollers``: how many rollers fit.  Counts on one circle, each judged like a case, with its rating by ISO 281.

Only the count changes: rollers, pins and raceways stay.  Rows that differ are asked one by one: how many fit into
each, the others as they are.  The holes stay on the pitch circle of the drawing
(``pitch``), or stand where the raceways put the rollers (``raceway``), for every count alike.  All counts draw with
the same seed: what a cage draws once (rings, raceways, classes) is the same, what pockets draw is not, so
neighbouring fractions differ by chance within their intervals.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from stackup import __version__
from stackup.cage import RollerSet
from stackup.case import Case, Row, changed
from stackup.chain.model import Requirement
from stackup.decide import rollers_notes as notes
from stackup.decide.check import settings_of
from stackup.decide.fractions import no_less, of_row
from stackup.decide.once import Once
from stackup.decide.record import Note
from stackup.decide.rollers_range import full_complement, judge_counts, range_of, roller_set_of, words_of
from stackup.decide.rollers_record import CountRecord, Layout, RatingRecord, RollersResult, RowRollers, Spacing
from stackup.decide.share_out import share_out
from stackup.decide.trial import Look, laws_of, trial_of
from stackup.decide.verdict import Verdict, by_worst_case
from stackup.engine import monte_carlo, worst_case
from stackup.engine.result import AnyRequirement, Sampled, WorstCase
from stackup.engine.settings import Progress, Settings, silent
from stackup.errors import CaseError, Interrupted, ValueFault
from stackup.standards import iso281

#: boxes for a first look at a worst case: most verdicts need no more, and what is only shown never gets more
GLANCE = 1


@dataclass(frozen=True)
class _Question:
    """What is asked of one row: its place in the case, its counts and layouts, and what the kind says of its rollers.

    ``path``: the table of the case that holds the row's number of rollers.
    """

    case: Case
    settings: Settings
    index: int
    path: str
    roller_set: RollerSet
    rating: RatingRecord
    full: int
    counts: range
    layouts: tuple[Layout, ...]

    @property
    def row(self) -> Row:
        """The row as given."""
        return self.case.models()[self.index]


@dataclass(frozen=True)
class _Job:
    """So many rollers in one layout of a row; ``row`` is None where they overlap."""

    asked: _Question
    layout: Layout
    rollers: int
    row: Row | None

    @property
    def place(self) -> _Place:
        """Return row, layout and count."""
        return self.asked.index, self.layout.follow, self.rollers


_Place = tuple[int, str, int]


@dataclass(frozen=True)
class _Tried:
    """What one count of a row shows: a look in every state, and the gaps that are always told."""

    place: _Place
    looks: tuple[Look, ...]
    spacing: Spacing
    wall: float | None


def rollers(
    case: Case,
    first: int | None = None,
    last: int | None = None,
    follow: str = "pitch",
    settings: Settings | None = None,
    progress: Progress = silent,
) -> RollersResult:
    """Return what becomes of ``case`` with ``first`` to ``last`` rollers in a row, and what the largest is worth.

    Rows that differ are asked one by one, all others as they are.  ``follow``: "pitch", "raceway", or both with a
    comma between, which tries each.  Without ``first`` from five fewer than the row has, without ``last`` to as many
    as can stand, at most fourteen more.  ``settings`` default to those of the case.

    Raises CaseError for a kind without rollers, a range that is none, values as built that belong to one count;
    Interrupted with the counts finished so far, complete in form, when the user stops the run.
    """
    settings = settings or settings_of(case)
    asked = [_question(case, index, first, last, follow, settings) for index in range(len(case.models()))]
    jobs = [*(_as_given(one) for one in asked), *(job for one in asked for job in _others(one))]
    try:
        found, interrupted = share_out(jobs, _tried, settings.workers, progress, "counts"), False
    except Interrupted as stopped:
        found, interrupted = stopped.records, True
    by_place = {one.place: one for one in found}
    rows = tuple(_row_record(one, asked, by_place) for one in asked)
    result = _result(case, settings, rows, list(_said(case, asked, rows, last is None, interrupted)), interrupted)
    if interrupted:
        raise Interrupted(result)
    return result


# What to try --------------------------------------------------------------------------------------------------


def _question(
    case: Case, index: int, first: int | None, last: int | None, follow: str, settings: Settings
) -> _Question:
    """Return what is asked of a row.  Raises CaseError for what cannot be."""
    roller_set, words = roller_set_of(case), words_of(follow)
    row = case.models()[index]
    rating = _rating(row, roller_set)
    full = full_complement(rating.inputs)
    counts = range_of(row.rollers, full, first, last)
    judge_counts(case, row, counts)
    on_raceways = roller_set.on_raceways(row.dimensions)
    layouts = tuple(Layout(word, on_raceways if word == "raceway" else {}) for word in words)
    path = f"row[{index}]." if len(case.models()) > 1 or "row" in case.mapping else ""
    return _Question(case, settings, index, path, roller_set, rating, full, counts, layouts)


def _rating(row: Row, roller_set: RollerSet) -> RatingRecord:
    """Return the rating of the rows that are alike as given, without a number where the standard has no f_c."""
    inputs = roller_set.rating(row.dimensions)
    try:
        found = iso281.rating(
            diameter=inputs.diameter,
            length=inputs.length,
            pitch=inputs.pitch,
            angle=inputs.angle,
            rollers=row.rollers,
            rows=row.count,
        )
    except ValueFault:
        return RatingRecord(inputs, row.count, None)
    return RatingRecord(inputs, row.count, found)


def _as_given(asked: _Question) -> _Job:
    """Return the row as given."""
    row = asked.row
    return _Job(asked, Layout("pitch", {}), row.rollers, row if row.rollers <= asked.full else None)


def _others(asked: _Question) -> list[_Job]:
    """Return every other count of every layout."""
    own = ("pitch", asked.row.rollers)
    places = [(layout, count) for layout in asked.layouts for count in asked.counts]
    return [_job(asked, layout, count) for layout, count in places if (layout.follow, count) != own]


def _job(asked: _Question, layout: Layout, count: int) -> _Job:
    """Return a count with the models it needs.  Raises CaseError, naming the count, where the case forbids it."""
    if count > asked.full:
        return _Job(asked, layout, count, None)
    changes = {f"{asked.path}dimensions.{name}.nominal": nominal for name, nominal in layout.nominals.items()}
    changes |= {f"{asked.path or 'cage.'}rollers": count}
    try:
        return _Job(asked, layout, count, changed(asked.case, changes).models()[asked.index])
    except CaseError as error:
        named = [replace(fault, found=f"{fault.found} (with {count} rollers)") for fault in error.faults]
        raise CaseError(named) from error


# One count ----------------------------------------------------------------------------------------------------


def _tried(job: _Job, progress: Progress) -> _Tried:
    """Look at one count of a row in all states, as ``trial.judge_rows`` does, but count cages that fail anything."""
    asked, row, roller_set = job.asked, job.row, job.asked.roller_set
    if row is None:
        return _Tried(job.place, (), Spacing(roller_set.spacing_name, None, None, None), None)
    requirements, settings = asked.case.requirements, replace(asked.settings, workers=1)
    shown = [Requirement(f"{gap} (of the count)", gap) for gap in (*roller_set.spacing, roller_set.wall)]
    ends = _ends(row, [*(r for r in requirements if r.allow is None), *shown], settings, progress)
    drawn = monte_carlo.run_states(row.states, [*requirements, *shown], settings, progress)
    laws = laws_of(row, requirements, settings, progress)
    looks = []
    for state, model in row.states.items():
        records, overall = drawn[state].records, drawn[state].any_requirement
        fractions = {r.name: of_row(model, r, laws[state][r.name], records[r.name]) for r in requirements}
        cages = no_less(overall.cages, [fractions[r.name][1] for r in requirements])
        anyone = AnyRequirement(overall.pockets, cages)
        looks.append(Look(row.name, row.count, state, ends[state], fractions, anyone))
    *between, wall = (r.name for r in shown)
    spacings = [
        _spacing(roller_set, ends[state][name], one.records[name]) for state, one in drawn.items() for name in between
    ]
    least = min(found[wall].low for found in ends.values())
    return _Tried(job.place, tuple(looks), _least_spacing(roller_set, spacings), least)


def _ends(
    row: Row, requirements: Sequence[Requirement], settings: Settings, progress: Progress
) -> dict[str, dict[str, WorstCase]]:
    """Return the worst cases in all states: a glance, and only where that leaves a verdict open the whole budget.

    More boxes never turn a decided verdict: the value found only gets worse, and the bound only better.
    """

    def looked(state: str, asked: Sequence[Requirement], told: Progress) -> dict[str, WorstCase]:
        glance = worst_case.run(row.states[state], asked, replace(settings, boxes=GLANCE), told)
        limited = (r for r in asked if r.min is not None or r.max is not None)
        is_open = [r for r in limited if by_worst_case(r, glance[r.name]) == "undecided"]
        return glance | (worst_case.run(row.states[state], is_open, settings, told) if is_open else {})

    return Once(row.states, requirements).run(looked, progress)


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


# The result ---------------------------------------------------------------------------------------------------


def _row_record(asked: _Question, every: Sequence[_Question], found: Mapping[_Place, _Tried]) -> RowRollers:
    """Return what was found of a row; of bearings counts what the other rows as given add to it."""
    row = asked.row
    given = {one.index: found.get(_as_given(one).place) for one in every}
    beside = [look for index, one in given.items() if index != asked.index and one for look in one.looks]
    places = [(asked.index, layout.follow, count) for layout in asked.layouts for count in asked.counts]
    counts = tuple(_count_record(asked, found[place], beside) for place in places if place in found)
    own = given[asked.index]
    standing = [one for one in counts if one.stands]
    failing = [{name for name, judged in one.judgements.items() if judged.verdict == "not met"} for one in standing]
    names = [r.name for r in asked.case.requirements]
    never = [name for name in names if failing and all(name in each for each in failing)]
    others = [name for name in names if name not in never]
    met_else = [one.rollers for one in standing if all(one.judgements[name].verdict == "met" for name in others)]
    return RowRollers(
        name=row.name,
        count=row.count,
        rollers=row.rollers,
        as_given=_count_record(asked, own, beside).verdict if own else None,
        full=asked.full,
        rating=asked.rating,
        layouts=asked.layouts,
        counts=counts,
        largest=max((one.rollers for one in counts if one.verdict == "met"), default=None),
        never_met=tuple(never),
        largest_without=max(met_else, default=None) if never and others else None,
    )


def _count_record(asked: _Question, tried: _Tried, beside: Sequence[Look]) -> CountRecord:
    """Return the record of one count: the worst over the states."""
    _, follow, count = tried.place
    ratio = iso281.rating_ratio(count, asked.row.rollers)
    trial = trial_of(tried.looks, asked.case.requirements, beside) if tried.looks else None
    verdict: Verdict | None = trial.verdict if trial and trial.judgements else None
    return CountRecord(
        row=asked.row.name,
        rollers=count,
        follow=follow,
        stands=trial is not None,
        spacing=tried.spacing,
        wall=tried.wall,
        fraction=trial.any_requirement.cages if trial else None,
        state=trial.place[1] if trial else None,
        verdict="not met" if trial is None else verdict,
        judgements=trial.judgements if trial else {},
        rating_ratio=ratio,
        life_ratio=iso281.life(ratio),
        c_r=asked.rating.found.c_r * ratio if asked.rating.found else None,
    )


def _said(
    case: Case, asked: Sequence[_Question], rows: Sequence[RowRollers], is_open: bool, interrupted: bool
) -> Iterator[Note]:
    for one, row in zip(asked, rows, strict=True):
        about = f"row {row.name}" if len(rows) > 1 else None
        for note in _said_of_row(one, row, is_open):
            yield replace(note, about=about) if about and note.level == "finding" else note
    yield from notes.of_rows(rows, tuple(dict.fromkeys(state for row in case.models() for state in row.states)))
    yield from notes.of_all(rows)
    yield from notes.of_run(interrupted)


def _said_of_row(asked: _Question, row: RowRollers, is_open: bool) -> Iterator[Note]:
    yield from notes.of_range(asked.counts, asked.full, is_cut=is_open)
    for layout in asked.layouts:
        own = {name: float(np.mean(asked.row.dimensions[name].nominal[0])) for name in layout.nominals}
        yield notes.of_layout(layout, own)
    yield from notes.of_counts(row.counts, asked.full)
    yield from notes.of_rating(asked.rating)


def _result(
    case: Case, settings: Settings, rows: tuple[RowRollers, ...], said: Sequence[Note], interrupted: bool
) -> RollersResult:
    model = next(iter(case.models()[0].states.values()))
    return RollersResult(
        title=case.title,
        kind=case.kind,
        version=__version__,
        digest=case.digest,
        seed=settings.seed,
        cages=settings.cages,
        rows=rows,
        states=tuple(dict.fromkeys(state for row in case.models() for state in row.states)),
        units={r.name: model.gap(r.gap).unit for r in case.requirements},
        notes=tuple(said),
        interrupted=interrupted,
    )
