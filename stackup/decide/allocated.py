"""The record of an allocation: lines, prices, rules of the trade, and what to know beside them."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from stackup.case import Row
from stackup.case.changes import Changes
from stackup.decide.allocation import AllocationResult, Conflict, Line, Priced, RuleRecord
from stackup.decide.notes import CAUTIONS
from stackup.decide.optimise import Assigned, Solution
from stackup.decide.plan import REACH, Option, Place
from stackup.decide.record import Note, RowRecord
from stackup.decide.rules import RULES, base_of
from stackup.decide.standing import Standing, changes_from
from stackup.decide.trial import Trial

#: halvings of the factor of a rule
HALVINGS = 40
#: more names than these are counted, not named
FEW = 6


def result_of(
    search: Standing, solution: Solution | None, trial: Trial | None, conflict: Conflict | None
) -> AllocationResult:
    """Return the record of what was found; without a trial that works nothing is changed."""
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
        optimal="proved" if solution is not None and solution.proved and not search.shares else "local",
        works=works,
        rules=rules,
        conflict=conflict,
        dimensions=lines,
        requirements=tuple(_priced(search, solution, trial)),
        cages=trial.any_requirement.cages if trial is not None and works else None,
        cages_at=trial.place if trial is not None and works else None,
        rows=tuple(RowRecord(row.name, row.count, row.rollers) for row in search.case.models()),
        states=tuple(dict.fromkeys(state for row in search.case.models() for state in row.states)),
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
        idle=at_end or _is_coarsest(option, place),
    )


def _is_coarsest(option: Option | None, place: Place) -> bool:
    """Tell whether an option is the coarsest of several widths (processes of one width are not)."""
    halves = [one.half for one in place.options]
    return option is not None and option.half == max(halves) > min(halves)


def _priced(search: Standing, solution: Solution | None, trial: Trial | None) -> list[Priced]:
    """Return verdict, slack (least margin over its limits) and price of every requirement."""
    seen = search.problem(math.inf).seen(search.standing)
    rows = search.case.models()
    found = []
    for requirement in search.case.requirements:
        own = [limit for limit in search.limits if limit.name == requirement.name]
        margins = {limit.place: limit.margin(seen) for limit in sorted(own, key=lambda one: -one.margin(seen))}
        judgement = trial.judgements[requirement.name] if trial else None
        slack = judgement.room if judgement and judgement.room is not None else min(margins.values(), default=None)
        price = solution.prices.get(requirement.name) if solution and trial and trial.works else None
        unit = next(iter(rows[0].states.values())).gap(requirement.gap).unit
        verdict = judgement.verdict if judgement else "not met" if slack is None or slack < 0 else "met"
        by_worst_case = judgement is not None and judgement.room is not None
        row, state = (judgement.row, judgement.state) if judgement and by_worst_case else _least_at(margins, rows)
        found.append(Priced(requirement.name, verdict, slack, price, unit, row, state))
    return found


def _least_at(margins: Mapping[tuple[str, str], float], rows: Sequence[Row]) -> tuple[str, str]:
    """Return the row and state of the least margin; the first of all where none is known."""
    first = rows[0].name, next(iter(rows[0].states))
    return min(margins, key=lambda place: margins[place], default=first)


def _rules(search: Standing) -> list[RuleRecord]:
    """Return the trade's rules: each the coarsest drawing of its proportions that keeps all limits."""
    return [_rule(search, rule) for rule in RULES]


def _rule(search: Standing, rule: str) -> RuleRecord:
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


def _on_choices(search: Standing, works: bool) -> list[Note]:
    """Say what the present process costs where that is not known, and which choices change their meaning."""
    notes = []
    for place in search.places:
        if place.locked or not place.options:
            continue
        if place.cost_before is None:
            notes.append(Note("its present process is none of the choices: no cost now", place.name))
        option = search.standing[place.name].option if place.name in search.standing else None
        bare = [one.name for one in place.options if not any(".process." in key for key in one.changes)]
        if works and bare and option is not None and option.name not in bare:
            names = ", ".join(bare)
            notes.append(Note(f"no process of its own: {names}; in the new case that means {option.name}", place.name))
    return notes


def _on_rows(search: Standing) -> list[Note]:
    """Say what several rows mean for the costs, for an allowance of bearings, and for nominals of their own."""
    notes = []
    if search.bearing > 1:
        notes.append(Note(f"costs are those of all {search.bearing} rows: a line counts each row that goes by it"))
    if search.shares:
        shared = f"an allowance of bearings is shared equally by the {search.bearing} rows"
        notes.append(Note(f"{shared}: rows that differ could share it otherwise, at less cost perhaps"))
    moving = {place.path: place for place in search.places if place.moves_nominal and not place.locked}
    for row in search.case.models():
        for name, keys in row.said.items():
            if "nominal" in keys and f"dimensions.{name}" in moving:
                notes.append(Note(f"row {row.name} has a nominal of its own, which stays", name))
    return notes


def _notes(search: Standing, solution: Solution | None, works: bool) -> list[Note]:
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
    notes += _on_rows(search)
    if not search.exact:
        notes.append(Note("rules other than least cost are priced by the limits at the answer: estimates"))
    if not search.limits:
        notes.append(Note("interrupted: nothing was finished"))
    if search.limits and not search.exact and works:
        notes.append(Note("judged on the cages that it was fitted to: near a limit another seed may say otherwise"))
    if search.limits and not works:
        notes.append(Note("slack and verdicts are those of the last drawing looked at; nothing is written"))
    notes += _on_choices(search, works)
    if works and solution is not None and all(price is None for price in solution.prices.values()):
        notes.append(Note("no prices: only steps and choices are free", level="reason"))
    return [*notes, *(Note(text, level="caution") for text in CAUTIONS)]
