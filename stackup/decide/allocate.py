"""``allocate``: the cheapest drawing that works.

Limits that hold everywhere (linear gaps, by the worst case or by the exact tail) are solved once and proved.  Others
are taken where the drawing stands, solved within a factor of it, taken again there, and so on until the cost rests.
The answer is then judged as ``check`` judges; what fails gets a reserve and is solved again.
"""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import combinations

from stackup.case import Case
from stackup.decide.allocated import result_of
from stackup.decide.allocation import AllocationResult, Conflict
from stackup.decide.check import settings_of
from stackup.decide.fractions import of_bearings
from stackup.decide.optimise import Assigned, Problem, Solution, relaxation
from stackup.decide.plan import Option, Place, plan_of, rounded
from stackup.decide.standing import Standing
from stackup.decide.trial import Judgement, Trial, judge_case
from stackup.engine.fractions import of_cages, of_pockets
from stackup.engine.settings import Progress, Settings, silent
from stackup.engine.threads import one_thread
from stackup.errors import CaseError, Fault, Interrupted

#: a half-width changes by this factor at most between two looks at limits that are taken where the drawing stands;
#: what the factor has above 1 shrinks by this from look to look
STEP, SHORTER = 2.0, 0.8
#: looks at such limits; the cost rests where it changes by less than this part
LOOKS, RESTS = 12, 2e-3
#: judgements that may fail; what a failed limit gets in reserve at first (parts of its scale), doubled each time
REPAIRS, RESERVE = 8, 0.004
#: problems that are looked at for the smallest set of requirements in conflict
CONFLICTS = 400


@one_thread()
def allocate(case: Case, settings: Settings | None = None, progress: Progress = silent) -> AllocationResult:
    """Return the cheapest tolerances, processes and nominals that meet every requirement, with prices and rules.

    ``settings`` default to those of the case.
    Raises CaseError where nothing has a cost, or nothing is required; Interrupted when the user stops.
    """
    if not case.requirements:
        allowed = "a requirement at least: without one the coarsest drawing is the cheapest"
        raise CaseError([Fault("requirements", "no requirement", allowed, file=str(case.path or ""))])
    settings = settings or settings_of(case)
    places = plan_of(case)
    search = Standing(case, places, settings, progress, {p.name: _present(p) for p in places if not p.locked})
    try:
        search.look()
        _judge_cages(search)
        solution = _solved(search)
        trial = None
        if solution is not None:
            trial, solution = _confirmed(search, solution)
        conflict = None if trial is not None and trial.works else _conflict(search)
    except (KeyboardInterrupt, Interrupted):
        search.limits = []
        raise Interrupted(replace(result_of(search, None, None, None), rules=(), interrupted=True)) from None
    return result_of(search, solution, trial, conflict)


def _judge_cages(search: Standing) -> None:
    """Refuse an allowance that the cages drawn could not prove whatever the drawing.  Raises CaseError."""
    rows, drawn = search.case.models(), search.settings.cages
    fewest = min(row.rollers for row in rows)
    sampled = {limit.name for limit in search.limits if limit.name not in _exact_or_worst(search)}
    faults = []
    for requirement in search.case.requirements:
        allow = requirement.allow
        if allow is None or requirement.name not in sampled:
            continue
        clean = of_pockets(0, 0, 0, drawn, fewest) if allow.of == "pockets" else of_cages(0, drawn)
        if allow.of == "bearings":
            clean = of_bearings([(clean, search.bearing)]) or clean
        if clean.high > allow.ppm * 1e-6:
            needed = math.ceil(drawn * clean.high / (allow.ppm * 1e-6))
            found = f"{allow.ppm:g} ppm, which {drawn} cages cannot prove"
            key, file = f"requirements.{requirement.name}.allow.ppm", str(search.case.path or "")
            faults.append(Fault(key, found, f"at least {needed} cages for it (--cages)", file=file))
    if faults:
        raise CaseError(faults)


def _exact_or_worst(search: Standing) -> set[str]:
    """Return the requirements that the worst case or an exact law decides."""
    return {limit.name for limit in search.limits if limit.exact} | {
        one.name for one in search.case.requirements if one.allow is None
    }


def _present(place: Place) -> Assigned:
    """Return what a place has now: of options the one with the nearest half-width."""
    option: Option | None = None
    if place.options:
        option = min(place.options, key=lambda one: abs(math.log(one.half / place.before)))
    return Assigned(option.half if option else place.before, option, place.nominal if place.moves_nominal else None)


def _solved(search: Standing) -> Solution | None:
    """Solve until the cost rests; None where nothing keeps all limits."""
    last = math.inf
    solution: Solution | None = None
    for look in range(LOOKS):
        reach = math.inf if search.exact else 1 + (STEP - 1) * SHORTER**look
        solution = search.solve(reach)
        if solution is None:
            problem = search.problem(reach)
            finest = problem.assigned(problem.finest())
            if search.exact or finest == search.standing:
                return None
            search.standing, last = finest, math.inf
        else:
            search.standing = dict(solution.assigned)
            if search.exact or abs(solution.cost - last) <= RESTS * abs(solution.cost):
                return solution
            last = solution.cost
        search.look()
    return solution


def _confirmed(search: Standing, solution: Solution) -> tuple[Trial, Solution]:
    """Round the answer, judge it as ``check`` does, and give what fails a reserve until all holds."""
    found = solution
    trial: Trial | None = None
    for repair in range(REPAIRS):
        search.standing = {name: _rounded(one) for name, one in found.assigned.items()}
        trial = judge_case(search.drawing(), search.settings, search.progress)
        if trial.works:
            return trial, replace(found, assigned=search.standing)
        if not search.exact:
            search.look()
        _add_reserves(search, trial, RESERVE * 2.0**repair)
        again = search.solve(math.inf if search.exact else STEP)
        if again is None:
            break
        found = again
    assert trial is not None  # noqa: S101 - at least one judgement was made
    return trial, replace(found, assigned=search.standing, proved=False)


def _rounded(one: Assigned) -> Assigned:
    """Return an assignment with few digits, on the finer side."""
    nominal = None if one.nominal is None else round(one.nominal, 6)
    return replace(one, half=one.half if one.option else rounded(one.half), nominal=nominal)


def _add_reserves(search: Standing, trial: Trial, part: float) -> None:
    """Ask more of every limit whose requirement was not met: ``part`` of its scale, or what it was missed by."""
    scales: dict[tuple[str, tuple[str, str]], float] = {}
    for limit in search.limits:
        key = limit.name, limit.place
        scales[key] = max(scales.get(key, 0.0), limit.scale)
    for (name, place), scale in scales.items():
        judgement = _worst_at(trial, name, place)
        if judgement.verdict != "met":
            missed = max(-(judgement.room or 0.0), 0.0)
            before = search.reserves.get((name, place), 0.0)
            search.reserves[name, place] = before + max(1.2 * missed, part * scale)


def _worst_at(trial: Trial, name: str, place: tuple[str, str]) -> Judgement:
    """Return the judgement in a row and state; where rows share an allowance, the one that governs."""
    governing = trial.judgements[name]
    allow = governing.requirement.allow
    return governing if allow and allow.of == "bearings" else trial.by_place[place][name]


def _conflict(search: Standing) -> Conflict | None:
    """Return the smallest set of requirements that cannot hold together, and the least that cures it."""
    problem = search.problem(math.inf)
    relax = relaxation(problem)
    if not relax:
        return None
    names = list(dict.fromkeys(limit.name for limit in problem.limits))
    looked = 0
    for size in range(1, len(names) + 1):
        for subset in combinations(names, size):
            looked += 1
            if looked > CONFLICTS:
                return Conflict(tuple(names), relax, False)
            chosen = [limit for limit in problem.limits if limit.name in subset]
            if relaxation(Problem(problem.places, chosen)):
                return Conflict(subset, relax, True)
    return Conflict(tuple(names), relax, False)
