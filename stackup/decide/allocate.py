"""``allocate``: the cheapest drawing that works.

Limits that hold everywhere (linear gaps, by the worst case or by the exact tail) are solved once and proved.  Others
are taken where the drawing stands, solved within a factor of it, taken again there, and so on until the cost rests.
The answer is then judged as ``check`` judges; what fails gets a reserve and is solved again.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import combinations
from typing import Any

from stackup.case import Case, changed
from stackup.case.changes import Changes
from stackup.chain.model import Model
from stackup.decide.allocation import AllocationResult, Conflict, Line, Priced, RuleRecord
from stackup.decide.limits import Limit, limits_of
from stackup.decide.notes import CAUTIONS
from stackup.decide.optimise import Assigned, Problem, Solution, relaxation, solve
from stackup.decide.plan import REACH, Option, Place, plan_of, rounded
from stackup.decide.record import Note
from stackup.decide.rules import RULES, base_of
from stackup.decide.trial import Trial, judge
from stackup.engine.fractions import of_cages, of_pockets
from stackup.engine.settings import Progress, Settings, silent
from stackup.errors import CaseError, Fault, Interrupted

#: a half-width changes by this factor at most between two looks at limits that are taken where the drawing stands;
#: what the factor has above 1 shrinks by this from look to look
STEP, SHORTER = 2.0, 0.8
#: looks at such limits; the cost rests where it changes by less than this part
LOOKS, RESTS = 12, 2e-3
#: judgements that may fail; what a failed limit gets in reserve at first (parts of its scale), doubled each time
REPAIRS, RESERVE = 8, 0.004
#: halvings of the factor of a rule
HALVINGS = 40
#: more names than these are counted, not named
FEW = 6
#: problems that are looked at for the smallest set of requirements in conflict
CONFLICTS = 400


@dataclass
class _Search:
    """An allocation on its way: where the drawing stands, and the limits taken there."""

    case: Case
    places: tuple[Place, ...]
    settings: Settings
    progress: Progress
    standing: dict[str, Assigned]
    limits: list[Limit] = field(default_factory=list)
    earlier: list[Limit] = field(default_factory=list)
    reserves: dict[str, float] = field(default_factory=dict)

    def drawing(self) -> Case:
        """Return the case as it stands."""
        return changed(self.case, changes_from(self.places, self.standing))

    def look(self) -> None:
        """Take the limits where the drawing stands; those taken elsewhere stay beside them.

        Of two ends that fail in turn each look sees one: without the other's limit the answer would swing between them.
        """
        self.earlier += [limit for limit in self.limits if not limit.exact]
        model = _model(self.drawing())
        self.limits = limits_of(model, self.case.requirements, self.settings, self.progress)

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
        guarded = [replace(one, constant=_less(one, self.reserves.get(one.name, 0.0))) for one in limits]
        return Problem(here, guarded, reach)


def _less(limit: Limit, reserve: float) -> float:
    """Return the constant of a limit with ``reserve`` less margin (of two sides: nearer on both)."""
    if reserve == 0.0:
        return limit.constant
    sign = limit.shape(limit.constant, math.sqrt(max(limit.rest, 0.0)))[1]
    return limit.constant - math.copysign(reserve, sign)


def _model(case: Case) -> Model:
    """Return the model of a case's only row as made."""
    return case.models()[0].states["made"]


def _standing_at(place: Place, standing: Assigned | None) -> Place:
    """Return the place with its factor counted from where the drawing stands."""
    if place.locked or place.options or standing is None:
        return place
    now = place.at(standing.half)
    return replace(place, before=standing.half, now=now, finest=place.finest, coarsest=place.coarsest)


def changes_from(places: Sequence[Place], assigned: Mapping[str, Assigned]) -> dict[str, Any]:
    """Return the changes of the case that assignments make."""
    found: dict[str, Any] = {}
    for place in places:
        one = assigned.get(place.name)
        if one is not None and not place.locked:
            found |= place.changes(one.half, one.option, one.nominal)
    return found


def allocate(case: Case, settings: Settings, progress: Progress = silent) -> AllocationResult:
    """Return the cheapest tolerances, processes and nominals that meet every requirement, with prices and rules.

    Raises CaseError where nothing has a cost, or nothing is required; Interrupted when the user stops.
    """
    if not case.requirements:
        allowed = "a requirement at least: without one the coarsest drawing is the cheapest"
        raise CaseError([Fault("requirements", "no requirement", allowed, file=str(case.path or ""))])
    places = plan_of(case)
    search = _Search(case, places, settings, progress, {p.name: _present(p) for p in places if not p.locked})
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
        raise Interrupted(replace(_result(search, None, None, None), rules=(), interrupted=True)) from None
    return _result(search, solution, trial, conflict)


def _judge_cages(search: _Search) -> None:
    """Refuse an allowance that the cages drawn could not prove whatever the drawing.  Raises CaseError."""
    model, drawn = _model(search.case), search.settings.cages
    sampled = {limit.name for limit in search.limits if limit.name not in _exact_or_worst(search)}
    faults = []
    for requirement in search.case.requirements:
        allow = requirement.allow
        if allow is None or requirement.name not in sampled:
            continue
        clean = of_pockets(0, 0, 0, drawn, model.pockets) if allow.of == "pockets" else of_cages(0, drawn)
        if clean.high > allow.ppm * 1e-6:
            needed = math.ceil(drawn * clean.high / (allow.ppm * 1e-6))
            found = f"{allow.ppm:g} ppm, which {drawn} cages cannot prove"
            key, file = f"requirements.{requirement.name}.allow.ppm", str(search.case.path or "")
            faults.append(Fault(key, found, f"at least {needed} cages for it (--cages)", file=file))
    if faults:
        raise CaseError(faults)


def _exact_or_worst(search: _Search) -> set[str]:
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


def _solved(search: _Search) -> Solution | None:
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


def _confirmed(search: _Search, solution: Solution) -> tuple[Trial, Solution]:
    """Round the answer, judge it as ``check`` does, and give what fails a reserve until all holds."""
    found = solution
    trial: Trial | None = None
    for repair in range(REPAIRS):
        search.standing = {name: _rounded(one) for name, one in found.assigned.items()}
        trial = judge(_model(search.drawing()), search.case.requirements, search.settings, search.progress)
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


def _add_reserves(search: _Search, trial: Trial, part: float) -> None:
    """Ask more of every limit whose requirement was not met: ``part`` of its scale, or what it was missed by."""
    for limit in search.limits:
        judgement = trial.judgements[limit.name]
        if judgement.verdict == "met":
            continue
        missed = max(-(judgement.room or 0.0), 0.0)
        search.reserves[limit.name] = search.reserves.get(limit.name, 0.0) + max(1.2 * missed, part * limit.scale)


def _conflict(search: _Search) -> Conflict | None:
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


# The record ------------------------------------------------------------------------------------------------------


def _result(
    search: _Search, solution: Solution | None, trial: Trial | None, conflict: Conflict | None
) -> AllocationResult:
    assigned = search.standing if solution is not None else {}
    lines = tuple(_line(place, assigned.get(place.name)) for place in search.places)
    before = math.fsum(line.cost_before for line in lines if line.cost_before is not None)
    after = math.fsum(line.cost_after for line in lines if line.cost_after is not None)
    works = trial is not None and trial.works
    rules = (RuleRecord("cost", after if works else None, works), *_rules(search))
    changes: Changes = changes_from(search.places, assigned) if works else {}
    return AllocationResult(
        title=search.case.title,
        kind=search.case.kind,
        digest=search.case.digest,
        cost_before=before,
        cost_after=after if works else None,
        optimal="proved" if solution is not None and solution.proved else "local",
        works=works,
        rules=rules,
        conflict=conflict,
        dimensions=lines,
        requirements=tuple(_priced(search, solution, trial)),
        changes=changes,
        notes=tuple(_notes(search, solution, works)),
    )


def _line(place: Place, assigned: Assigned | None) -> Line:
    half = assigned.half if assigned else place.before
    option = assigned.option if assigned else None
    cost = place.cost_before
    if assigned is not None and not place.locked:
        cost = option.cost if option else place.curve.value(half) if place.curve else cost
    moved = assigned.nominal if assigned and assigned.nominal is not None else place.nominal
    at_end = not place.locked and not place.options and half >= place.coarsest * (1 - 1e-4)
    return Line(
        name=place.name,
        before=place.before,
        after=half,
        nominal_before=place.nominal,
        nominal_after=moved,
        cost_before=place.cost_before,
        cost_after=cost,
        locked=place.locked,
        choice=option.name if option else None,
        idle=at_end or bool(option and option.half >= max(one.half for one in place.options)),
    )


def _priced(search: _Search, solution: Solution | None, trial: Trial | None) -> list[Priced]:
    """Return verdict, slack (least margin over its limits) and price of every requirement."""
    seen = search.problem(math.inf).seen(search.standing)
    found = []
    for requirement in search.case.requirements:
        margins = [limit.margin(seen) for limit in search.limits if limit.name == requirement.name]
        judgement = trial.judgements[requirement.name] if trial else None
        slack = judgement.room if judgement and judgement.room is not None else min(margins, default=None)
        price = solution.prices.get(requirement.name) if solution else None
        unit = _model(search.case).gap(requirement.gap).unit
        found.append(Priced(requirement.name, judgement.verdict if judgement else "not met", slack, price, unit))
    return found


def _rules(search: _Search) -> list[RuleRecord]:
    """Return the trade's rules: each the coarsest drawing of its proportions that keeps all limits."""
    return [_rule(search, rule) for rule in RULES]


def _rule(search: _Search, rule: str) -> RuleRecord:
    """Find the greatest factor by halving; limits that hold only here make its cost an estimate."""
    problem = search.problem(math.inf)
    base = base_of(rule, search.places, search.limits)

    def at(factor: float) -> dict[str, Assigned]:
        return {place.name: _scaled(place, factor * base[place.name]) for place in problem.places}

    def holds(factor: float) -> bool:
        seen = problem.seen(at(factor))
        return all(limit.margin(seen) >= -1e-9 * limit.scale for limit in search.limits)

    low, high = 1e-4, 1e3
    if not holds(low):
        return RuleRecord(rule, None, False)
    for _ in range(HALVINGS):
        middle = math.sqrt(low * high)
        low, high = (middle, high) if holds(middle) else (low, middle)
    lines = [_line(place, at(low).get(place.name)) for place in search.places]
    return RuleRecord(rule, math.fsum(line.cost_after for line in lines if line.cost_after is not None), True)


def _scaled(place: Place, half: float) -> Assigned:
    """Return a half-width; of options the coarsest that is no coarser, else the finest."""
    if not place.options:
        return Assigned(half)
    fitting = [one for one in place.options if one.half <= half * (1 + 1e-9)]
    option = max(fitting, key=lambda one: one.half) if fitting else min(place.options, key=lambda one: one.half)
    return Assigned(option.half, option)


def _notes(search: _Search, solution: Solution | None, works: bool) -> list[Note]:
    notes = []
    if solution is not None and not solution.proved:
        notes.append(Note("the cost is a local least: limits that are not linear are taken where the drawing stands"))
    free = [place for place in search.places if not place.locked]
    open_ones = [p.name for p in free if p.entry and not (p.options or (p.entry.finest and p.entry.coarsest))]
    if open_ones:
        names = ", ".join(open_ones) if len(open_ones) <= FEW else f"{len(open_ones)} dimensions"
        notes.append(Note(f"without finest and coarsest a half-width moves by a factor of {REACH:g} at most: {names}"))
    locked = [place.name for place in search.places if place.locked]
    if locked:
        notes.append(Note(f"locked, without cost or by the case: {', '.join(locked)}", level="reason"))
    if not search.exact:
        notes.append(Note("rules other than least cost are priced by the limits at the answer: estimates"))
    if not search.limits:
        notes.append(Note("interrupted: nothing was finished"))
    if not works and solution is not None:
        notes.append(Note("no drawing was confirmed: nothing is written"))
    if solution is not None and all(price is None for price in solution.prices.values()):
        notes.append(Note("no prices: only steps and choices are free", level="reason"))
    return [*notes, *(Note(text, level="caution") for text in CAUTIONS)]
