"""``explain``: the chain of a gap step by step in symbols, its nominal, sensitivities and contributions."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, TypeVar

import numpy as np

from stackup.case import Case
from stackup.case.nominal import evaluate_at_nominal
from stackup.chain.model import Gap, Model, Requirement, Step
from stackup.chain.program import Program, bindings, compile_model
from stackup.chain.steps import needed
from stackup.chain.symbols import split_next
from stackup.chain.writing import show, shown_symbols
from stackup.decide.check import settings_of
from stackup.decide.displays import Shown
from stackup.decide.record import contribution_dict, finite
from stackup.engine import contributions
from stackup.engine.result import Contribution
from stackup.engine.settings import Progress, Settings, silent
from stackup.errors import CaseError, Fault, Interrupted, nearest

Place = TypeVar("Place")

#: shape class of a node → how large its values are
SHAPES = ("number", "one per pocket", "one per cage", "one per pocket of every cage")


@dataclass(frozen=True)
class ExplainedStep:
    """One line of a chain: its formula as a case file writes it, its value at the nominal, what it means."""

    name: str
    formula: str
    nominal: float
    note: str

    def to_dict(self) -> dict[str, Any]:
        """Return the record that ``--json`` prints."""
        return {"name": self.name, "formula": self.formula, "nominal": finite(self.nominal), "note": self.note}


@dataclass(frozen=True)
class ExplainedGap:
    """One gap: its steps, each using only earlier ones, its nominal and what each dimension does to it.

    ``parameters`` are the numbers in its steps that are no dimension, by name.  ``nominals`` and ``by_state`` hold the
    gap and those parameters that differ in each state, where there are several; ``by_row`` the gap in each row, where
    rows differ.
    """

    name: str
    unit: str
    scope: str
    meaning: str
    parameters: Mapping[str, float]
    steps: tuple[ExplainedStep, ...]
    nominal: float
    contributions: tuple[Contribution, ...]
    nominals: Mapping[str, float] = field(default_factory=dict)
    by_state: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    by_row: Mapping[str, float] = field(default_factory=dict)

    def to_dict(self) -> dict[str, Any]:
        """Return the record that ``--json`` prints."""
        return {
            "name": self.name,
            "unit": self.unit,
            "scope": self.scope,
            "meaning": self.meaning,
            "parameters": [
                {"name": name, "value": finite(value), "by_state": _states(self.by_state.get(name, {}))}
                for name, value in self.parameters.items()
            ],
            "steps": [step.to_dict() for step in self.steps],
            "nominal": finite(self.nominal),
            "by_state": _states(self.nominals),
            "by_row": [{"row": row, "value": finite(value)} for row, value in self.by_row.items()],
            "contributions": [contribution_dict(one) for one in self.contributions],
        }


def _states(values: Mapping[str, float]) -> list[dict[str, Any]]:
    return [{"state": state, "value": finite(value)} for state, value in values.items()]


@dataclass(frozen=True)
class ProgramLine:
    """One operation of the generated program: ``target = operation(arguments)``, and how large its values are."""

    target: str
    operation: str
    shape: str

    def to_dict(self) -> dict[str, str]:
        """Return the record that ``--json`` prints."""
        return {"target": self.target, "operation": self.operation, "shape": self.shape}


@dataclass(frozen=True)
class ExplainResult(Shown):
    """The gaps of a case explained, and the program they come to (None where it was not asked for).

    Steps and contributions are those of the row called ``row`` in the state ``state``.
    """

    title: str
    kind: str
    digest: str
    row: str
    state: str
    gaps: tuple[ExplainedGap, ...]
    program: tuple[ProgramLine, ...] | None
    interrupted: bool = False

    def to_dict(self) -> dict[str, Any]:
        """Return the record that ``--json`` prints."""
        lines = self.program
        return {
            "title": self.title,
            "kind": self.kind,
            "digest": self.digest,
            "row": self.row,
            "state": self.state,
            "interrupted": self.interrupted,
            "gaps": [gap.to_dict() for gap in self.gaps],
            "program": None if lines is None else [line.to_dict() for line in lines],
        }


def explain(
    case: Case,
    gap: str | None = None,
    program: bool = False,
    settings: Settings | None = None,
    progress: Progress = silent,
    row: str | None = None,
    state: str | None = None,
) -> ExplainResult:
    """Return the gap called ``gap``, or all of them, explained in one row and state: the first without a name.

    Raises CaseError where there is no such gap, row or state, Interrupted when the user stops the run.
    """
    where = _called(case, "--row", row, {one.name: one for one in case.models()})
    model = _called(case, "--state", state, where.states)
    chosen = _chosen(case, model, gap)
    wanted = [Requirement(one.name, one.name) for one in chosen]
    shares, stopped = _shares(model, wanted, settings or settings_of(case), progress)
    values = _values_of_steps(model)
    gaps = [_explained(case, model, one, values, shares.get(one.name, ())) for one in chosen]
    result = ExplainResult(
        title=case.title,
        kind=case.kind,
        digest=case.digest,
        row=where.name,
        state=next(name for name, one in where.states.items() if one is model),
        gaps=_in_rows(case, state, _in_states(where.states, gaps)),
        program=tuple(_lines(compile_model(model, [one.name for one in chosen]))) if program else None,
        interrupted=stopped,
    )
    if stopped:
        raise Interrupted(result)
    return result


def _called(case: Case, option: str, name: str | None, known: Mapping[str, Place]) -> Place:
    """Return what is called ``name``, the first without one."""
    if name is None:
        return next(iter(known.values()))
    if name not in known:
        what = option.removeprefix("--")
        fault = Fault(option, f"no {what} called {name}", f"one of {', '.join(known)}", nearest(name, list(known)))
        raise CaseError([replace(fault, file=str(case.path or ""))])
    return known[name]


def _in_states(states: Mapping[str, Model], gaps: Sequence[ExplainedGap]) -> tuple[ExplainedGap, ...]:
    """Return the gaps with what differs from state to state."""
    if len(states) == 1:
        return tuple(gaps)
    values = {state: evaluate_at_nominal(model) for state, model in states.items()}
    found = []
    for gap in gaps:
        nominals = {state: float(np.ravel(of[gap.name])[0]) for state, of in values.items()}
        each = {name: {state: bindings(model)[name] for state, model in states.items()} for name in gap.parameters}
        differing = {name: of for name, of in each.items() if len(set(of.values())) > 1}
        found.append(replace(gap, nominals=nominals, by_state=differing))
    return tuple(found)


def _in_rows(case: Case, state: str | None, gaps: Sequence[ExplainedGap]) -> tuple[ExplainedGap, ...]:
    """Return the gaps with their nominal in each row, where rows differ; a row may be without one of them."""
    rows = case.models()
    if len(rows) == 1:
        return tuple(gaps)
    values = {row.name: evaluate_at_nominal(_called(case, "--state", state, row.states)) for row in rows}
    return tuple(
        replace(gap, by_row={row: float(np.ravel(of[gap.name])[0]) for row, of in values.items() if gap.name in of})
        for gap in gaps
    )


def _shares(
    model: Model, wanted: Sequence[Requirement], settings: Settings, progress: Progress
) -> tuple[Mapping[str, tuple[Contribution, ...]], bool]:
    """Return the contributions, and whether the user stopped before all were found."""
    try:
        return contributions.run(model, wanted, settings, progress), False
    except Interrupted as interruption:
        return interruption.records or {}, True
    except KeyboardInterrupt:
        return {}, True


def _chosen(case: Case, model: Model, name: str | None) -> Sequence[Gap]:
    """Return the gap called ``name``, or that of the requirement called so; all without a name."""
    if name is None:
        return model.gaps
    of_requirement = {requirement.name: requirement.gap for requirement in case.requirements}
    known = [gap.name for gap in model.gaps]
    wanted = name if name in known else of_requirement.get(name)
    if wanted is None:
        fault = Fault("GAP", f"no gap called {name}", f"one of {', '.join(known)}", nearest(name, known))
        raise CaseError([replace(fault, file=str(case.path or ""))])
    return [model.gap(wanted)]


def _explained(
    case: Case, model: Model, gap: Gap, values: dict[str, float], shares: tuple[Contribution, ...]
) -> ExplainedGap:
    steps = needed(model.steps, [gap.step], shown_symbols)
    return ExplainedGap(
        name=gap.name,
        unit=gap.unit,
        scope=gap.scope,
        meaning=_meaning(case, gap),
        parameters=_parameters(model, steps),
        steps=tuple(ExplainedStep(s.name, show(s.formula), values[s.name], s.note) for s in steps),
        nominal=values[gap.step],
        contributions=shares,
    )


def _parameters(model: Model, steps: Sequence[Step]) -> dict[str, float]:
    """Return the numbers that ``steps`` use and that are no dimension: options of the cage, the number of rollers."""
    used = {split_next(one.name)[0] for step in steps for one in shown_symbols(step.formula)}
    return {name: value for name, value in bindings(model).items() if name in used}


def _meaning(case: Case, gap: Gap) -> str:
    from stackup.cage import kind

    if gap.own:
        return "a chain of the case file"
    return next((one.meaning for one in kind(case.kind).gaps if one.name == gap.name), "")


def _values_of_steps(model: Model) -> dict[str, float]:
    """Return every step at the nominal, of the first pocket."""
    as_gaps = tuple(Gap(step.name, "", step.name) for step in model.steps)
    values = evaluate_at_nominal(replace(model, gaps=as_gaps))
    return {name: float(np.ravel(value)[0]) for name, value in values.items()}


def _lines(program: Program) -> list[ProgramLine]:
    """Return the program as lines; ``r7`` is the result of line 7, outputs bear the gap's name as well."""
    names = {index: name for name, index in program.outputs.items()}
    lines = []
    for index, node in enumerate(program.nodes):
        target = f"r{index}" + (f" = {names[index]}" if index in names else "")
        lines.append(ProgramLine(target, _operation(node.op, node.args, node.value), SHAPES[node.shape]))
    return lines


def _operation(op: str, args: Sequence[int], value: float | str) -> str:
    if op in ("constant", "parameter", "input"):
        return f"{value:.12g}" if isinstance(value, float) else str(value)
    given = [f"r{arg}" for arg in args]
    return op if not given else f"{op}({', '.join([*given, f'{value:g}'] if op == 'power' else given)})"
