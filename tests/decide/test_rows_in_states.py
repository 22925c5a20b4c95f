"""Rows in several states: each number that of the state alone, the worst of them named, what is the same found once."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from types import ModuleType
from typing import Any

import pytest
from cages import REQUIRED, sizes_of
from states import in_states

import stackup
from stackup.case import Case
from stackup.case.case import Row
from stackup.chain.model import Model
from stackup.decide import engines, preload
from stackup.decide.check import settings_of
from stackup.decide.record import CheckResult, Record
from stackup.engine import contributions, monte_carlo, rss, worst_case
from stackup.errors import Interrupted
from stackup.report import checking
from stackup.report.view import Table

#: a small cage (invented); bore and pin warm up alike, a worn pin is thinner, zones know no state
TABLES: dict[str, Any] = {
    "title": "rows (invented)",
    "cage": {"kind": "cylindrical", "rollers": 6},
    "dimensions": {
        **sizes_of((*REQUIRED, "ring_hole_b"), 6, 30.0),
        "pin_seat_b": {"zone": 0.06},
        "fit": {"zone": 0.2},
    },
    "chains": {"free": {"formula": "hypot(fit.r, fit.t)"}},
    "requirements": {
        "bore_clearance": {"max": 0.72},
        "end_clearance": {"max": 1.1, "allow": {"ppm": 1e4, "of": "pockets"}},
        "running_clearance": {"min": 0.13, "allow": {"ppm": 2e4, "of": "cages"}},
        "free": {"max": 0.1},
    },
    "run": {"cages": 600},
}
CASE = stackup.from_mapping(TABLES)
MODELS = in_states(CASE)


def of_rows(*rows: Row) -> Case:
    return replace(CASE, rows=rows)


def of_states(models: Mapping[str, Model]) -> Case:
    return of_rows(Row("1", 1, 6, models))


@pytest.fixture(scope="module")
def asked() -> dict[ModuleType, list[str]]:
    """Return the requirements each engine is asked for while the case is checked, filled by ``found``."""
    return {engine: [] for engine in (worst_case, rss, contributions, monte_carlo)}


@pytest.fixture(scope="module")
def found(asked: dict[ModuleType, list[str]]) -> CheckResult:
    with pytest.MonkeyPatch.context() as patched:
        for engine in (worst_case, rss, contributions):
            patched.setattr(engine, "run", noting(asked[engine], engine.run))
        patched.setattr(engines.monte_carlo, "run_states", noting(asked[monte_carlo], monte_carlo.run_states))
        return stackup.check(of_states(MODELS))


def noting(names: list[str], run: Any) -> Any:
    def noted(model: Any, requirements: Any, *given: Any) -> Any:
        names.extend(r.name for r in requirements)
        return run(model, requirements, *given)

    return noted


@pytest.fixture(scope="module")
def alone() -> dict[str, CheckResult]:
    """Check a case of each state alone."""
    return {state: stackup.check(of_states({state: model})) for state, model in MODELS.items()}


def record_of(result: CheckResult, name: str) -> Record:
    return next(record for record in result.requirements if record.name == name)


def test_each_state_says_what_it_says_alone(found: CheckResult, alone: dict[str, CheckResult]) -> None:
    """Worst case, RSS, sampling, contributions, verdicts: no bit differs from a case of that state alone."""
    assert found.states == ("made", "hot", "worn", "hot_worn")
    for state in MODELS:
        for record in alone[state].requirements:
            (same,) = [one for one in record_of(found, record.name).by_state if one.state == state]
            assert same.to_dict() == record.to_dict()
            assert same == record


def test_workers_change_no_number(found: CheckResult) -> None:
    """Nor does a process beside this one."""
    case = of_states(MODELS)
    assert stackup.check(case, settings_of(case, workers=2)).to_dict() == found.to_dict()


@pytest.mark.parametrize(
    ("name", "state"),
    [
        ("bore_clearance", "hot_worn"),  # the bore is wider and warmer than the pin
        ("end_clearance", "worn"),  # by a fraction of pockets: the roller is shorter, and no warmer than what holds it
        ("running_clearance", "made"),  # wear opens it
        ("free", "made"),  # the same in all states: the first
    ],
)
def test_the_worst_state_governs(found: CheckResult, name: str, state: str) -> None:
    """By the verdict, then by the number that decides."""
    record = record_of(found, name)
    assert record.state == state
    assert [one.state for one in record.by_state] == list(MODELS)
    assert record == replace(next(one for one in record.by_state if one.state == state), by_state=record.by_state)


def test_met_everywhere_the_least_room_governs() -> None:
    """Where the worst case decides and all states meet it, the one that is nearest to its limit is told."""
    roomy = replace(CASE.requirements[0], max=5.0)
    case = replace(of_states(MODELS), requirements=(roomy,))
    record = record_of(stackup.check(case, all_gaps=False), "bore_clearance")
    assert {one.verdict for one in record.by_state} == {"met"}
    assert record.worst_case is not None
    ends = [one.worst_case.bound_high for one in record.by_state if one.worst_case]
    assert record.worst_case.bound_high == max(ends) > min(ends)
    assert record.state == "hot_worn"


def test_any_requirement_of_the_state_where_most_cages_fail(
    found: CheckResult, alone: dict[str, CheckResult]
) -> None:
    """Of no state fewer."""
    failing = [one.any_requirement.cages for one in alone.values()]
    assert found.any_requirement.cages in failing
    assert found.any_requirement.cages is not None
    assert found.any_requirement.cages.out_of_spec == max(one.out_of_spec for one in failing if one)


@pytest.mark.usefixtures("found")
def test_what_no_state_changes_is_worked_out_once(asked: dict[ModuleType, list[str]]) -> None:
    """Each gap of zones alone, and one that a state leaves alone: by all engines in one state only."""
    for engine in (worst_case, rss, contributions):
        assert asked[engine].count("free") == 1
        assert asked[engine].count("running_clearance") == 4
    assert asked[monte_carlo].count("running_clearance") == 1


def test_stopped_midway() -> None:
    """What all states have so far is kept; what is missing is undecided."""
    case = of_states(MODELS)

    def stop(_done: float, _of: float, what: str) -> None:
        if what == "cages":
            raise KeyboardInterrupt

    with pytest.raises(Interrupted) as stopped:
        stackup.check(case, progress=stop, all_gaps=False)
    record = record_of(stopped.value.records, "running_clearance")
    assert all(one.worst_case and one.monte_carlo and not one.contributions for one in record.by_state)


@pytest.mark.parametrize("what", ["worst case", "rss", "contributions"])
def test_stopped_in_the_second_state(what: str) -> None:
    """The first state has all of that engine, the last none of what a state changes."""
    seen = 0

    def stop(_done: float, _of: float, said: str) -> None:
        nonlocal seen
        seen += said == what
        if said == what and seen > len(CASE.requirements):
            raise KeyboardInterrupt

    with pytest.raises(Interrupted) as stopped:
        stackup.check(of_states(MODELS), progress=stop, all_gaps=False)
    key = what.replace(" ", "_")
    first, *_, last = record_of(stopped.value.records, "running_clearance").by_state
    assert getattr(first, key)
    assert not getattr(last, key)


@pytest.mark.parametrize("stop", [KeyboardInterrupt, Interrupted])
def test_stopped_while_preloads_are_counted(stop: type[BaseException], monkeypatch: pytest.MonkeyPatch) -> None:
    """The record is that of the check, with all its numbers, and says that it is interrupted."""

    def stops(*_: object) -> None:
        raise stop

    monkeypatch.setattr(preload, "notes", stops)
    with pytest.raises(Interrupted) as stopped:
        stackup.check(of_states({"made": MODELS["made"]}), all_gaps=False)
    result = stopped.value.records
    assert isinstance(result, CheckResult)
    assert result.interrupted
    assert any(note.text.startswith("interrupted") for note in result.notes)
    assert all(record.monte_carlo and record.verdict for record in result.requirements if record.limited)


def test_progress_of_all_states_together() -> None:
    """Every engine tells once from beginning to end."""
    told: dict[str, list[tuple[float, float]]] = {}

    def tell(done: float, of: float, what: str) -> None:
        told.setdefault(what, []).append((done, of))

    stackup.check(of_states(MODELS), progress=tell, all_gaps=False)
    assert set(told) == {"worst case", "rss", "cages", "contributions"}
    for said in told.values():
        assert said == sorted(said)
        assert len({of for _, of in said}) == 1
        assert said[-1][0] == pytest.approx(said[-1][1])


# Screens ------------------------------------------------------------------------------------------------------


def cells(result: CheckResult, title: str) -> list[list[str]]:
    """Return the texts of one table of the page."""
    (table,) = (s for s in checking.page(result).sections if isinstance(s, Table) and s.title == title)
    return [[cell.text for cell in row] for row in table.rows]


def test_screens_name_the_state(found: CheckResult) -> None:
    """Beside every requirement where it is worst, and what the fraction of cages is of."""
    places = {row[0]: row[-1] for row in cells(found, "Does it work")}
    assert places["bore_clearance"] == "hot and worn"
    assert places["running_clearance"] == "as made"
    assert "fail at least one in the state where most do" in found._repr_html_()


def test_screens_name_row_and_state() -> None:
    """Two rows that differ: the row too, in the record and on the screen."""
    other = {state: MODELS[state] for state in ("made", "hot_worn")}
    result = stackup.check(of_rows(Row("fixed end", 1, 6, other), Row("free end", 2, 6, other)), all_gaps=False)
    record = record_of(result, "bore_clearance")
    assert [(one.row, one.state) for one in record.by_state] == [
        ("fixed end", "made"), ("fixed end", "hot_worn"), ("free end", "made"), ("free end", "hot_worn"),
    ]  # fmt: skip
    assert (record.row, record.state) == ("fixed end", "hot_worn")
    places = {row[0]: row[-1] for row in cells(result, "Does it work")}
    assert places["bore_clearance"] == "row fixed end, hot and worn"


def test_one_row_in_one_state_names_neither() -> None:
    """There is nothing to tell apart."""
    result = stackup.check(CASE, all_gaps=False)
    assert not record_of(result, "bore_clearance").by_state
    assert "as made" not in result._repr_html_()
    assert "in the state" not in result._repr_html_()


def test_a_gap_that_only_one_row_has() -> None:
    """Rows that differ may differ in their gaps: such a one is told of the row that has it."""
    tables = {**TABLES, "dimensions": {k: v for k, v in TABLES["dimensions"].items() if k != "ring_hole_b"}}
    bare = stackup.from_mapping(tables).models()[0].states["made"]
    rows = of_rows(Row("bare", 1, 6, {"made": bare}), Row("whole", 1, 6, {"made": CASE.models()[0].states["made"]}))
    record = record_of(stackup.check(rows), "pin_entry")
    assert record.row == "whole"
    assert not record.by_state
