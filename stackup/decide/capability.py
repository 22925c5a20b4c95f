"""``capability``: is each process good enough, what would be, and which one to improve first."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace

from stackup import __version__
from stackup.case import Case, changed
from stackup.case.schema import Choice
from stackup.case.statements import Statement
from stackup.decide import capability_notes as notes
from stackup.decide.capability_record import CapabilityResult, DimensionCapability, Machine, RequirementVerdict
from stackup.decide.check import settings_of
from stackup.decide.gains import Gains, gains_of
from stackup.decide.machines import changes_of, choices_of, cost_of_good_part, scrap
from stackup.decide.measured import MeasuredColumn, measured_column
from stackup.decide.needed import NOT_FINISHED, Needed, needed_indices
from stackup.decide.processes import FromData, Stated, capability_of, half_width
from stackup.decide.record import RowRecord
from stackup.decide.trial import Judgement, judge_case, judge_rows
from stackup.decide.trials import Outcome, Trials
from stackup.decide.verdict import Verdict, worst
from stackup.dimension import OneSided, Size, Zone
from stackup.engine.result import Fraction
from stackup.engine.settings import Progress, Settings, silent
from stackup.errors import Interrupted, StackupError

UNKNOWN = Gains(None, None, {})


@dataclass
class _Found:
    """What was found so far; what an interruption leaves out is not there."""

    by_worst_case: dict[str, Judgement] = field(default_factory=dict)
    base: Outcome | None = None
    gains: Mapping[str, Gains] = field(default_factory=dict)
    needed: Mapping[str, Needed] = field(default_factory=dict)
    machines: list[Machine] = field(default_factory=list)
    interrupted: bool = False


def capability(case: Case, settings: Settings | None = None, progress: Progress = silent) -> CapabilityResult:
    """Return what each process of ``case`` has, needs and would gain, its measured columns and its choices.

    ``settings`` default to those of the case.  Raises Interrupted with the result so far, complete in form, when the
    user stops the run.
    """
    settings = settings or settings_of(case)
    trials, found = Trials(case, settings), _Found()
    try:
        _find(case, trials, found, progress)
    except (Interrupted, KeyboardInterrupt):
        found.interrupted = True
    result = _result(case, trials, found)
    if result.interrupted:
        raise Interrupted(result)
    return result


def put_in(case: Case, name: str, index: float) -> Case:
    """Return ``case`` with the spread of one stated process at ``index`` (a Cpk), its mean where it was.

    ``name``: of a dimension, or ``pin_diameter (row outer)`` for a process that a row states itself.  Of rows whose
    tolerances differ the index is that of the row where it is least.  Raises ValueError for a dimension whose index
    is not stated, or not above 0.
    """
    trials = Trials(case, settings_of(case))
    spread = capability_of(trials.dimensions[name]).spread
    if not isinstance(spread, Stated) or not spread.index > 0:
        raise ValueError(f"{name} states no capability above 0")
    keys = spread.keys(spread.factor(index))
    path = trials.processes[name].path
    return changed(case, {f"{path}.process.{key}": value for key, value in keys.items()})


def _find(case: Case, trials: Trials, found: _Found, progress: Progress) -> None:
    by_worst = [r for r in case.requirements if r.allow is None]
    found.by_worst_case.update(judge_rows(case.models(), by_worst, trials.settings, progress).judgements)
    names = list(trials.processes)
    found.base, found.gains = gains_of(trials, names, progress)
    found.needed = needed_indices(trials, names, found.base, progress)
    if any(one is NOT_FINISHED for one in found.needed.values()):
        raise KeyboardInterrupt
    for said, choice in choices_of(case):
        found.machines.append(_machine(case, said, choice, trials.settings, progress))


# Choices --------------------------------------------------------------------------------------------------------


def _machine(case: Case, said: Statement, choice: Choice, settings: Settings, progress: Progress) -> Machine:
    """Return one choice: its scrap, and the verdict with it alone put in, the worse of both sides where unstated."""
    nothing = Machine(said.label, choice.name, choice.cost, None, None, None, None, None, None, ())
    try:
        made = [changed(case, changes) for changes in changes_of(said, choice)]
    except StackupError as error:
        return replace(nothing, why=str(error))
    dimension = made[0].models()[said.rows[0]].dimensions[said.name]
    has, lost = capability_of(dimension), scrap(dimension)
    column = measured_column(dimension, NOT_FINISHED)
    verdicts: dict[str, list[Verdict]] = {}
    for one in made:
        for name, judgement in judge_case(one, settings, progress).judgements.items():
            verdicts.setdefault(name, []).append(judgement.verdict)
    each = {name: worst(found) for name, found in verdicts.items()}
    return replace(
        nothing,
        cp=has.cp if column is None else column.pp.value,
        cpk=has.cpk if column is None else column.ppk.value,
        half_width=half_width(dimension) if isinstance(dimension, Size | Zone | OneSided) else None,
        scrap=lost,
        good_part=cost_of_good_part(choice.cost, lost),
        verdict=worst(each.values()) if each else None,
        failing=tuple(name for name, verdict in each.items() if verdict != "met"),
    )


# The result -----------------------------------------------------------------------------------------------------


def _result(case: Case, trials: Trials, found: _Found) -> CapabilityResult:
    requirements = tuple(_requirements(case, trials, found))
    columns = tuple(_columns(trials, found))
    dimensions = sorted(_dimensions(trials, found, columns), key=_rank)
    out = _cages_out(trials, found.base)
    result = CapabilityResult(
        title=case.title,
        kind=case.kind,
        version=__version__,
        digest=case.digest,
        seed=trials.settings.seed,
        cages=trials.settings.cages,
        pockets_per_cage=case.rollers,
        requirements=requirements,
        rows=tuple(RowRecord(row.name, row.count, row.rollers) for row in case.models()),
        states=tuple(dict.fromkeys(place.state for place in trials.places)),
        cages_out=out and out[0],
        cages_out_at=out and out[1],
        dimensions=tuple(dimensions),
        measured=columns,
        machines=tuple(found.machines),
        notes=(),
        verdict=worst(one.verdict for one in requirements) if requirements else None,
        interrupted=found.interrupted,
    )
    return replace(result, notes=tuple(notes.of(case, result)))


def _requirements(case: Case, trials: Trials, found: _Found) -> Iterator[RequirementVerdict]:
    """Yield the verdicts in the order of the case, with the fraction of the row and state where it is greatest.

    What an interruption left out is undecided.
    """
    for r in case.requirements:
        if r.allow is None and (judged := found.by_worst_case.get(r.name)):
            yield RequirementVerdict(r, judged.verdict, None, (judged.row, judged.state))
        elif r.allow is None or found.base is None:
            yield RequirementVerdict(r, "undecided", None, None)
        else:
            stands = trials.standing(found.base, r)
            yield RequirementVerdict(r, stands.verdict, stands.fraction, (stands.place.row.name, stands.place.state))


def _cages_out(trials: Trials, base: Outcome | None) -> tuple[Fraction, tuple[str, str]] | None:
    """Return the cages that fail any requirement with an allowance, and the row and state: those where most do."""
    if base is None or not trials.requirements:
        return None
    worst_of_all = trials.worst_place(base)
    place = trials.places[worst_of_all]
    return base.counts[worst_of_all].any_cages.of_cages(), (place.row.name, place.state)


def _columns(trials: Trials, found: _Found) -> Iterator[MeasuredColumn]:
    for label, dimension in trials.dimensions.items():
        column = measured_column(dimension, found.needed.get(label, NOT_FINISHED))
        if column is not None:
            yield replace(column, name=label)


def _dimensions(
    trials: Trials, found: _Found, columns: tuple[MeasuredColumn, ...]
) -> Iterator[DimensionCapability]:
    by_name = {column.name: column for column in columns}
    for label, dimension in trials.dimensions.items():
        has, needed = capability_of(dimension), found.needed.get(label, NOT_FINISHED)
        cp, cpk = has.cp, has.cpk
        if isinstance(has.spread, FromData) and has.cpk is not None:
            cp, cpk = by_name[label].pp.value, by_name[label].ppk.value
        keys, spread = None, has.spread
        centred = spread.centred() is None if spread is not None and spread.has_middle else None
        if isinstance(has.spread, Stated) and needed.answer in ("found", "floor") and needed.factor is not None:
            keys = has.spread.keys(needed.factor)
        yield DimensionCapability(
            label, dimension, has.source, cp, cpk, has.why, centred, needed, keys, found.gains.get(label, UNKNOWN)
        )  # fmt: skip


def _rank(one: DimensionCapability) -> tuple[float, float]:
    """Return what puts first the greatest gain, then the least reserve; the order of the case decides the rest."""
    known = one.needed.answer == "found" and one.reserve is not None
    return -(one.gains.spread or 0.0), one.reserve if known and one.reserve is not None else math.inf
