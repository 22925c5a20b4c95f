"""``check``: every requirement of a case by worst case, RSS and Monte Carlo, with a verdict."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from stackup import __version__
from stackup.case import Case, Row
from stackup.case.nominal import evaluate_at_nominal
from stackup.chain.fold import FOLDS
from stackup.chain.model import Model, Requirement
from stackup.decide import notes, preload
from stackup.decide.engines import Found, run_states
from stackup.decide.fractions import Fractions, no_less, of_bearings, of_row
from stackup.decide.record import CheckResult, Note, Record, RowRecord
from stackup.decide.verdict import ORDER, Verdict, by_fraction, by_worst_case, more_cages, room, worst
from stackup.engine.result import AnyRequirement, Contribution, Fraction, Sampled
from stackup.engine.settings import Progress, Settings, silent
from stackup.errors import Interrupted


def settings_of(case: Case, **changes: object) -> Settings:
    """Return the settings that ``[run]`` of the case asks for, with ``changes`` that are not None."""
    run = case.run
    asked = Settings(
        seed=run.seed,
        cages=run.cages,
        precision=run.precision,
        inflation=run.inflation,
        mean_shift=run.mean_shift,
        mean_shift_rule=run.mean_shift_rule,
    )
    return replace(asked, **{name: value for name, value in changes.items() if value is not None})  # type: ignore[arg-type]


@dataclass(frozen=True)
class _Run:
    """One row in one state, and what the engines found of it."""

    row: Row
    state: str
    model: Model
    requirements: tuple[Requirement, ...]
    nominal: Mapping[str, float]
    found: Found


def check(
    case: Case, settings: Settings | None = None, progress: Progress = silent, all_gaps: bool = True
) -> CheckResult:
    """Return every requirement of ``case``, and every gap without one, by all methods and with a verdict.

    ``settings`` default to those of the case.  Without ``all_gaps`` gaps without a requirement are left out, where
    there is any requirement: the same numbers, sooner.  Raises Interrupted with the result so far, complete in form,
    when the user stops the run.
    """
    settings = settings or settings_of(case)
    runs = list(_runs(case, settings, progress, all_gaps or not case.requirements))
    by_run = _records(runs)
    records = [_over_states(same) for same in _by_name(by_run)]
    result = _result(case, settings, runs, records, _any_requirement(runs, by_run))
    if result.interrupted:
        raise Interrupted(result)
    return result


def _runs(case: Case, settings: Settings, progress: Progress, all_gaps: bool) -> Iterator[_Run]:
    """Run every row, all its states on the same cages; none after an interruption."""
    stopped = False
    for row in case.models():
        wanted = with_all_gaps(case.requirements, next(iter(row.states.values()))) if all_gaps else case.requirements
        by_state = {} if stopped else run_states(row.states, wanted, settings, progress)
        for state, model in row.states.items():
            found = by_state.get(state, Found(interrupted=True))
            stopped = stopped or found.interrupted
            yield _Run(row, state, model, wanted, nominal_values(model, wanted), found)


def with_all_gaps(requirements: Sequence[Requirement], model: Model) -> tuple[Requirement, ...]:
    """Return the requirements, then one without limits for each gap that none of them names."""
    limited, names = {r.gap for r in requirements}, {r.name for r in requirements}
    others = (gap.name for gap in model.gaps if gap.name not in limited)
    free = (Requirement(name if name not in names else f"{name} (no requirement)", name) for name in others)
    return (*requirements, *free)


def nominal_values(model: Model, requirements: Sequence[Requirement]) -> dict[str, float]:
    """Return the value of every requirement's number at the nominal, of ``each`` the mean over the pockets."""
    values = evaluate_at_nominal(model)
    found = {}
    for requirement in requirements:
        value = np.asarray(values[requirement.gap], dtype=float)
        found[requirement.name] = float(np.mean(FOLDS[requirement.over].value(value)))
    return found


def _records(runs: Sequence[_Run]) -> list[list[Record]]:
    """Return, for each row and state, the records of all requirements."""
    return [
        [_record(run, requirement, _bearings(runs, run.state, requirement)) for requirement in run.requirements]
        for run in runs
    ]


def _record(run: _Run, requirement: Requirement, bearings: Fraction | None) -> Record:
    found, name = run.found, requirement.name
    sampled = found.monte_carlo.records.get(name) if found.monte_carlo else None
    record = Record(
        requirement=requirement,
        unit=run.model.gap(requirement.gap).unit,
        of_cage=requirement.over != "each" or run.model.gap(requirement.gap).scope == "cage",
        nominal=run.nominal[name],
        row=run.row.name,
        state=run.state,
        worst_case=found.worst_case.get(name),
        rss=found.rss.get(name),
        monte_carlo=sampled,
        contributions=_ranked(found.contributions.get(name, ()), requirement),
        fraction=None,
        verdict=None,
        more_cages=0,
    )
    if not record.limited:
        return record
    pockets, cages = of_row(run.model, requirement, record.rss, sampled)
    return _judged(replace(record, fraction=Fractions(pockets, cages, bearings)), sampled)


def _bearings(runs: Sequence[_Run], state: str, requirement: Requirement) -> Fraction | None:
    """Return the fraction of bearings: any of the rows out, in one state."""
    rows = []
    for run in runs:
        if run.state == state and requirement in run.requirements:
            sampled = run.found.monte_carlo.records.get(requirement.name) if run.found.monte_carlo else None
            _, cages = of_row(run.model, requirement, run.found.rss.get(requirement.name), sampled)
            rows.append((cages, run.row.count))
    return of_bearings(rows)


def _judged(record: Record, sampled: Sampled | None) -> Record:
    """Return the record with its verdict; what an interruption left out is undecided."""
    allow = record.requirement.allow
    if allow is None:
        found = record.worst_case
        return replace(record, verdict=by_worst_case(record.requirement, found) if found else "undecided", more_cages=0)
    fraction: Fraction | None = getattr(record.fraction, allow.of)
    if fraction is None:
        return replace(record, verdict="undecided", more_cages=None)
    drawn = sampled.drawn if sampled else 0
    return replace(record, verdict=by_fraction(fraction, allow.ppm), more_cages=more_cages(fraction, allow.ppm, drawn))


def _ranked(found: Iterable[Contribution], requirement: Requirement) -> tuple[Contribution, ...]:
    """Return contributions by what governs: the width where the worst case decides, else the variance."""
    by_width = requirement.allow is None and (requirement.min is not None or requirement.max is not None)

    def share(one: Contribution) -> float:
        first, second = one.variance_share, one.width_share
        chosen = (second if second is not None else first) if by_width else (first if first is not None else second)
        return chosen or 0.0

    return tuple(sorted(found, key=lambda one: (-share(one), one.dimension)))


def _by_name(by_run: Sequence[Sequence[Record]]) -> list[list[Record]]:
    """Return the records of each requirement, and of each gap without one in the rows that have it."""
    found: dict[str, list[Record]] = {}
    for record in (record for records in by_run for record in records):
        found.setdefault(record.name, []).append(record)
    return list(found.values())


def _over_states(same: Sequence[Record]) -> Record:
    """Return the worst of one requirement's records over all rows and states, with all of them in it.

    Of a gap without a requirement none is worse: the one with the least low end stands for all, of equal ones the
    first.
    """
    if len(same) == 1:
        return same[0]
    worst = max(same, key=_badness) if same[0].limited else min(same, key=_low_end)
    return replace(worst, by_state=tuple(same))


def _low_end(record: Record) -> float:
    """Return the low end of a worst case, to a certificate's digits; infinite where there is none."""
    return round(record.worst_case.low, 4) if record.worst_case else math.inf


def _badness(record: Record) -> tuple[float, ...]:
    """Return what is greater the worse a record is: its verdict, then what decides it, then what else is known."""
    asked, worst_case, found = record.requirement, record.worst_case, record.fraction
    order = float(ORDER.index(record.verdict)) if record.verdict else -1.0
    left = room(asked, worst_case.bound_low, worst_case.bound_high) if worst_case else math.nan
    short = math.inf if math.isnan(left) else -left
    wanted = [getattr(found, asked.allow.of), found.cages] if asked.allow and found else []
    parts = [end for one in wanted for end in ((one.out_of_spec, one.high) if one else (math.inf, math.inf))]
    return order, *parts, short


def _result(
    case: Case, settings: Settings, runs: Sequence[_Run], records: Sequence[Record], anyone: AnyRequirement
) -> CheckResult:
    rows = case.models()
    verdicts: list[Verdict] = [record.verdict for record in records if record.verdict]
    return CheckResult(
        title=case.title,
        kind=case.kind,
        version=__version__,
        digest=case.digest,
        seed=settings.seed,
        cages=settings.cages,
        pockets_per_cage=case.rollers,
        rows=tuple(RowRecord(row.name, row.count, row.rollers) for row in rows),
        states=tuple(dict.fromkeys(state for row in rows for state in row.states)),
        notes=tuple(_notes(case, settings, runs, records)),
        any_requirement=anyone,
        requirements=tuple(records),
        verdict=worst(verdicts) if verdicts else None,
        interrupted=any(run.found.interrupted for run in runs),
    )


def _notes(case: Case, settings: Settings, runs: Sequence[_Run], records: Sequence[Record]) -> Iterator[Note]:
    yield from notes.of_case(case)
    for record in records:
        yield from notes.of_record(record, alone=case.rollers == 1)
    yield from _preloads(case, settings, runs)
    reasons = {name: reason for run in runs for name, reason in run.found.reasons.items()}
    yield from notes.of_missing(records, reasons)
    yield from notes.of_run(
        (run.found for run in runs), (settings.inflation is not None, settings.mean_shift is not None)
    )


def _preloads(case: Case, settings: Settings, runs: Sequence[_Run]) -> Sequence[Note]:
    """Return how often there is a preload; none of it after an interruption, and one here counts for the whole run."""
    if any(run.found.interrupted for run in runs):
        return ()
    try:
        return tuple(preload.notes(case, [(run.row.name, run.state, run.model) for run in runs], settings))
    except (Interrupted, KeyboardInterrupt):
        runs[-1].found.interrupted = True
        return ()


def _any_requirement(runs: Sequence[_Run], by_run: Sequence[Sequence[Record]]) -> AnyRequirement:
    """Return the fraction failing any requirement: of the state where most cages do, over all rows."""
    by_state: dict[str, list[tuple[_Run, AnyRequirement | None]]] = {}
    for run, records in zip(runs, by_run, strict=True):
        sampled = run.found.monte_carlo.any_requirement if run.found.monte_carlo else None
        by_state.setdefault(run.state, []).append((run, sampled and _at_least(sampled, records)))
    pooled = [_pooled(same) for same in by_state.values()]
    return max(pooled, key=lambda one: one.cages.out_of_spec if one.cages else -1.0)


def _at_least(sampled: AnyRequirement, records: Sequence[Record]) -> AnyRequirement:
    """Return what was sampled, no less than the fraction of any single requirement, which may be known better."""
    found = [record.fraction for record in records if record.fraction]
    return AnyRequirement(
        no_less(sampled.pockets, [fraction.pockets for fraction in found]),
        no_less(sampled.cages, [fraction.cages for fraction in found]),
    )


def _pooled(runs: Sequence[tuple[_Run, AnyRequirement | None]]) -> AnyRequirement:
    """Return the fractions of a random pocket and of a random cage of all rows."""
    known = [(run, one) for run, one in runs if one]
    if len(known) < len(runs):
        return AnyRequirement(None, None)
    pockets = [(one.pockets, run.row.count * run.row.rollers) for run, one in known]
    return AnyRequirement(_mean(pockets), _mean([(one.cages, run.row.count) for run, one in known]))


def _mean(parts: Sequence[tuple[Fraction | None, int]]) -> Fraction | None:
    """Return the mean of fractions with their weights; the interval is that of the ends, on the safe side."""
    known = [(fraction, weight) for fraction, weight in parts if fraction is not None]
    if len(known) < len(parts):
        return None
    if len(known) == 1:
        return known[0][0]
    total = sum(weight for _, weight in known)
    return Fraction(
        math.fsum(fraction.out_of_spec * weight for fraction, weight in known) / total,
        math.fsum(fraction.low * weight for fraction, weight in known) / total,
        math.fsum(fraction.high * weight for fraction, weight in known) / total,
    )
