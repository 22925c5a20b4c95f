"""How every requirement stands when some changes are made and others not: what a review weighs changes by.

A state is a tuple of steps, one for each change: 0 is the drawing, the last step what is proposed, steps between are
counter-proposals.  A requirement stands by the changes that its chain holds and by no others, so that states which
differ in others are looked up.  What changes the chain itself (a slot that is new, the number of rollers) makes a
model of its own; all else puts other dimensions into the same model.
"""

from __future__ import annotations

import math
from collections.abc import Container, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from stackup.case import Case, Row, changed
from stackup.chain.model import Model, Requirement
from stackup.chain.program import bindings, compile_model
from stackup.decide.differences import Change
from stackup.decide.fractions import of_bearings, of_one_row, of_row
from stackup.decide.trial import Judgement, judge_rows
from stackup.decide.verdict import by_fraction, room
from stackup.dimension import Dimension
from stackup.engine import rss, worst_case
from stackup.engine.result import Fraction, Rss
from stackup.engine.settings import Progress, Settings, silent
from stackup.engine.tails import Tail, Tails

State = tuple[int, ...]
Method = Literal["worst case", "rss", "sampled"]


@dataclass(frozen=True)
class Standing:
    """How one requirement stands: its margin in the gap's unit, whether it is met, and how bad it is.

    ``badness`` is the fraction out of spec, without an allowance the distance of the guaranteed bound beyond the limit.
    """

    margin: float
    met: bool
    badness: float


#: how a requirement stands in a state, changes that its chain does not hold at 0
Standings = dict[tuple[str, State], Standing]


class Bench:
    """A case, its requirements, and changes that can be made one by one."""

    def __init__(
        self,
        case: Case,
        changes: Sequence[Change],
        settings: Settings,
        fractions: Mapping[str, float],
        progress: Progress = silent,
    ) -> None:
        """Look at every change alone; ``fractions`` out of spec of the drawing, by requirement with an allowance."""
        self.case, self.changes, self.settings = case, tuple(changes), settings
        self.requirements = {r.name: r for r in case.requirements}
        self.fractions, self.progress = fractions, progress
        self.none: State = (0,) * len(self.changes)
        self.all: State = tuple(change.full for change in self.changes)
        self._structures: dict[State, _Structure] = {}
        self.standings: Standings = {}
        self._judged: dict[State, dict[str, Judgement]] = {}
        self.reshaping = frozenset(i for i in range(len(self.changes)) if self._reshapes(i))
        self.relevant = {name: self._relevant(r) for name, r in self.requirements.items()}
        self.methods = {name: self._method(r) for name, r in self.requirements.items()}

    def making(self, made: Container[int], beside: State | None = None) -> State:
        """Return the state in which some changes are made in full, ``beside`` what else is (nothing)."""
        steps = beside or self.none
        return tuple(full if i in made else step for i, (full, step) in enumerate(zip(self.all, steps, strict=True)))

    def values(self, state: State) -> dict[str, object]:
        """Return the changes of the case, by key path, that a state makes."""
        return {k: v for change, step in zip(self.changes, state, strict=True) for k, v in change.ladder[step].items()}

    def standing(self, name: str, state: State) -> Standing:
        """Return how the requirement called ``name`` stands in a state: the worst over all rows and states of load."""
        state = tuple(step if i in self.relevant[name] else 0 for i, step in enumerate(state))
        if (name, state) not in self.standings:
            structure = self.structure(state)
            each = list(structure.standings(name, state))
            self.standings[name, state] = Standing(
                min(one.margin for one in each), all(one.met for one in each), max(one.badness for one in each)
            )
            self.progress(len(self.standings), 0, "sets of changes")
        return self.standings[name, state]

    def know(self, state: State, verdicts: Mapping[str, Judgement]) -> None:
        """Take the verdicts on a state from elsewhere."""
        self._judged[state] = dict(verdicts)

    def judged(self, state: State) -> Mapping[str, Judgement]:
        """Return the verdicts on a state by the engines that decide, of all rows the worst."""
        if state not in self._judged:
            self._judged[state] = self.judgements(list(self.requirements), state)
        return self._judged[state]

    def judgements(self, names: Sequence[str], state: State) -> dict[str, Judgement]:
        """Return the verdicts on some requirements in a state, of all rows and states of load the worst."""
        wanted = [self.requirements[name] for name in names]
        return dict(judge_rows(self.structure(state).rows(state), wanted, self.settings).judgements)

    def structure(self, state: State) -> _Structure:
        """Return the models that have the chains of a state."""
        key = tuple(step if i in self.reshaping else 0 for i, step in enumerate(state))
        if key not in self._structures:
            self._structures[key] = _Structure(self, key)
        return self._structures[key]

    def _reshapes(self, index: int) -> bool:
        """Tell whether a change makes other chains, not only other dimensions in them."""
        made = changed(self.case, self.changes[index].ladder[-1])
        one, other = ([(row.count, _shape(model)) for _, row, _, model in _each(case)] for case in (self.case, made))
        return one != other

    def _relevant(self, requirement: Requirement) -> frozenset[int]:
        """Return the changes that a requirement's chain holds, with or without them."""
        found: set[int] = set()
        for state in (self.none, self.all):
            structure = self.structure(state)
            for one in structure.benches:
                held = compile_model(one.model, [requirement.gap]).inputs
                for name, dimension in one.model.dimensions.items():
                    if any(component in held for component in dimension.components):
                        found.update(structure.touching(name))
        found.update(i for i in self.reshaping if self._reshaped(requirement.gap, i))
        return frozenset(found)

    def _reshaped(self, gap: str, index: int) -> bool:
        states = (self.none, self.making({index}))
        one, other = (
            [(bench.of.count, _chain(bench.model, gap)) for bench in self.structure(state).benches] for state in states
        )
        return one != other

    def _method(self, requirement: Requirement) -> Method:
        """Return what the margin is taken from: RSS where the law is that of a sum with and without the changes."""
        if requirement.allow is None:
            return "worst case"
        for state in (self.none, self.all):
            for one in self.structure(state).benches:
                laws, notes = rss.run(one.changed(state), [requirement], self.settings)
                if laws[requirement.name] is None or notes.get(requirement.name) == rss.KINKED:
                    return "sampled"
        return "rss"


def badness(verdict: Judgement) -> float:
    """Return how bad a verdict is, as :class:`Standing` has it."""
    if verdict.requirement.allow is not None:
        return verdict.fraction.out_of_spec if verdict.fraction else math.inf
    left = verdict.room
    return math.inf if left is None or math.isnan(left) else -left


def _shape(model: Model) -> tuple[object, ...]:
    """Return what of a model is no law and no region of a dimension."""
    components = {name: (d.components, d.scope) for name, d in model.dimensions.items()}
    return model.steps, model.gaps, model.pockets, dict(model.parameters), components


def _chain(model: Model, gap: str) -> tuple[object, ...]:
    """Return what of a model one gap depends on, laws and regions apart."""
    program = compile_model(model, [gap])
    used = {str(node.value) for node in program.nodes if node.op == "parameter"}
    return program, model.pockets, {name: value for name, value in bindings(model).items() if name in used}


class _Structure:
    """The models of one set of chains, and the dimensions that changes put into them.

    ``key``: the state that makes the chains; ``whole``: with all changes that leave them as they are.
    """

    def __init__(self, bench: Bench, key: State) -> None:
        self.bench, self.key = bench, key
        self.whole = tuple(step if i in bench.reshaping else bench.all[i] for i, step in enumerate(key))
        cases = [changed(bench.case, bench.values(state)) for state in (key, self.whole)]
        self._direct = _direct(bench.changes)
        self._features = [_features(case) for case in cases]
        self._dimensions: dict[tuple[str, State], dict[tuple[int, str], Dimension]] = {}
        self.benches = [_RowBench(self, *each) for each in _each(cases[0])]
        self.bearing = sum(row.count for row in cases[0].models())

    def rows(self, state: State) -> list[Row]:
        """Return the rows with their models as a state makes them."""
        found: dict[int, Row] = {}
        for one in self.benches:
            had = found[one.row].states if one.row in found else {}
            found[one.row] = replace(one.of, states={**had, one.load: one.changed(state)})
        return list(found.values())

    def standings(self, name: str, state: State) -> Iterator[Standing]:
        """Yield how a requirement stands in every row and state of load; of bearings any row counts."""
        requirement = self.bench.requirements[name]
        if requirement.allow is None:
            yield from (one.by_worst_case(requirement, state) for one in self.benches)
            return
        seen = [(one, one.by_share(requirement, state)) for one in self.benches]
        if requirement.allow.of == "bearings":
            seen = [(one, _of_bearings(share, one.load, seen)) for one, share in seen]
        yield from (share.standing(requirement) for _, share in seen)

    def touching(self, name: str) -> frozenset[int]:
        """Return the changes on which a dimension depends: its own, and those of a feature that gives it a bonus."""
        names = {name, *(feature for features in self._features for feature in features.get(name, ()))}
        return frozenset(i for one in names for i in self._direct.get(one, ()))

    def dimension(self, row: int, load: str, name: str, state: State) -> Dimension:
        """Return a dimension as a state makes it, the same object for the same steps."""
        counted = self.touching(name) | self.bench.reshaping
        steps = tuple(step if i in counted else 0 for i, step in enumerate(state))
        if (name, steps) not in self._dimensions:
            made = changed(self.bench.case, self.bench.values(steps))
            self._dimensions[name, steps] = {(r, each): model.dimensions[name] for r, _, each, model in _each(made)}
        return self._dimensions[name, steps][row, load]


def _each(case: Case) -> list[tuple[int, Row, str, Model]]:
    """Return every row, by its place in the case, in every state of load."""
    rows = enumerate(case.models())
    return [(index, row, load, model) for index, row in rows for load, model in row.states.items()]


def _direct(changes: Sequence[Change]) -> dict[str, list[int]]:
    """Return, by dimension, the changes that say something of it, for all rows or for one."""
    found: dict[str, list[int]] = {}
    for index, change in enumerate(changes):
        for path in change.ladder[-1]:
            _, table, rest = f".{path}".partition(".dimensions.")
            if table:
                found.setdefault(rest.partition(".")[0], []).append(index)
    return found


def _features(case: Case) -> dict[str, set[str]]:
    """Return, by zone, the features that give it a bonus in some row."""
    found: dict[str, set[str]] = {}
    for row in case.models():
        for name, dimension in row.dimensions.items():
            bonus = getattr(dimension, "bonus", None)
            if bonus is not None:
                found.setdefault(name, set()).add(bonus.feature)
    return found


@dataclass(frozen=True)
class _Share:
    """What one row in one state of load shows of a requirement with an allowance: its margin, and a fraction.

    ``whole``: the fraction is known exactly or from all cages of the run; else the estimate decides.
    """

    margin: float
    fraction: Fraction | None
    whole: bool

    def standing(self, requirement: Requirement) -> Standing:
        """Return how it stands; what is not known counts as bad."""
        allow, fraction = requirement.allow, self.fraction
        if fraction is None or allow is None:
            return Standing(self.margin, False, 1.0)
        kept = fraction.out_of_spec <= allow.ppm * 1e-6
        met = by_fraction(fraction, allow.ppm) == "met" if self.whole else kept
        return Standing(self.margin, met, fraction.out_of_spec)


def _of_bearings(share: _Share, load: str, seen: Sequence[tuple[_RowBench, _Share]]) -> _Share:
    """Return what a row shows with the fraction of bearings: any row out in this state of load."""
    same = [(found, one.of.count) for one, found in seen if one.load == load]
    fraction = of_bearings([(found.fraction, count) for found, count in same])
    return replace(share, fraction=fraction, whole=all(found.whole for found, _ in same))


class _RowBench:
    """One row in one state of load: its model under any changes, and how its requirements stand."""

    def __init__(self, structure: _Structure, row: int, of: Row, load: str, model: Model) -> None:
        self.structure, self.row, self.of, self.load, self.model = structure, row, of, load, model
        self._tails: Tails | None = None

    def held(self, state: State) -> dict[str, Dimension]:
        """Return the dimensions of the model in a state."""
        structure = self.structure
        return {
            name: structure.dimension(self.row, self.load, name, state) if structure.touching(name) else dimension
            for name, dimension in self.model.dimensions.items()
        }

    def changed(self, state: State) -> Model:
        """Return the model in a state."""
        return self.model.with_dimensions(self.held(state))

    def by_worst_case(self, requirement: Requirement, state: State) -> Standing:
        """Return how a requirement without an allowance stands in this row."""
        left = room(requirement, *worst_case.bounds(self.changed(state), requirement, self.structure.bench.settings))
        left = -math.inf if math.isnan(left) else left
        return Standing(left, left >= 0, -left)

    def by_share(self, requirement: Requirement, state: State) -> _Share:
        """Return what this row shows of a requirement with an allowance."""
        bench, model, name = self.structure.bench, self.changed(state), requirement.name
        law = rss.run(model, [requirement], bench.settings)[0][name] if bench.methods[name] == "rss" else None
        fraction, tail, whole = self._fraction(requirement, model, law), None, True
        if fraction is None or law is None:
            tail = self.tails().of(name, model.dimensions)
        margin = room(requirement, law.low, law.high) if law is not None else _margin(tail)
        if fraction is None and tail is not None:
            fraction, whole = tail.fraction, tail.whole
        return _Share(margin, fraction, whole)

    def _fraction(self, requirement: Requirement, model: Model, law: Rss | None) -> Fraction | None:
        """Return the fraction out of spec where a law gives it exactly."""
        if law is None or requirement.allow is None or not law.exact:
            return None
        pockets, cages = of_row(model, requirement, law, None)
        return pockets if requirement.allow.of == "pockets" else cages

    def tails(self) -> Tails:
        """Return the worst cages of the drawing, of all changes and of every single one, found when first asked for."""
        if self._tails is None:
            bench, key, whole = self.structure.bench, self.structure.key, self.structure.whole
            free = [i for i in range(len(bench.changes)) if i not in bench.reshaping]
            models = [self.held(state) for state in (key, whole, *(bench.making({i}, key) for i in free))]
            allowed = [(r, r.allow.ppm * 1e-6) for r in bench.requirements.values() if r.allow is not None]
            asked = [of_one_row(r, self.structure.bearing) for r, _ in allowed]
            seen = {r.name: max(part, bench.fractions.get(r.name, 0.0)) for r, part in allowed}
            self._tails = Tails(self.model, asked, models, bench.settings, seen, bench.progress)
        return self._tails


def _margin(tail: Tail | None) -> float:
    return -math.inf if tail is None else tail.margin
