"""``judge`` says what ``check`` says, with the engines that decide alone."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from quick import quick_ends
from states import in_states, operated

import stackup
from stackup.case import Row, read
from stackup.chain.model import Allowance, Requirement
from stackup.decide.check import settings_of
from stackup.decide.rollers import rollers
from stackup.decide.trial import judge_case, judge_rows
from stackup.decide.verdict import worst
from stackup.engine import monte_carlo

CASES = Path(__file__).parents[2] / "cases"


@pytest.fixture(autouse=True)
def _quick() -> Iterator[None]:
    """Look for a worst case a moment only: what agrees does so wherever the ends are."""
    with quick_ends():
        yield


@pytest.mark.parametrize("name", ["demo", "bush_stack", "every_key_cage", "every_key_plain", "tapered", "four_rows"])
def test_the_same_verdicts_and_numbers_as_check(name: str) -> None:
    """Same seed, same cages: the same fraction to the last bit, the same ends and verdict, the same row and state."""
    case = read(CASES / f"{name}.toml")
    settings = settings_of(case, cages=2000, boxes=50)
    trial = judge_case(case, settings)
    checked = {r.name: r for r in stackup.check(case, settings, all_gaps=False).requirements if r.verdict is not None}
    assert list(trial.judgements) == list(checked)
    for found, record in zip(trial.judgements.values(), checked.values(), strict=True):
        assert found.verdict == record.verdict
        same = trial.by_place[record.row, record.state][record.name]  # as bad, where nothing was seen in either
        assert (same.verdict, same.room, same.fraction) == (found.verdict, found.room, found.fraction)
        for one in record.by_state:
            assert trial.by_place[one.row, one.state][record.name].verdict == one.verdict
        if found.requirement.allow is None:
            assert found.worst_case == record.worst_case
            assert found.room is not None
        else:
            assert record.fraction is not None
            assert found.fraction == getattr(record.fraction, found.requirement.allow.of)
            assert found.excess is not None


def test_each_state_is_judged_as_alone() -> None:
    """All states in one run: verdicts and numbers of each are those of the state by itself."""
    case = read(CASES / "every_key_cage.toml")
    states = in_states(case)
    settings = settings_of(case, cages=3000)
    free = Requirement("free", "bore_clearance")
    middle = monte_carlo.run(states["made"], [free], settings).records["free"].mean
    half = Requirement("half", "bore_clearance", "mean", min=middle, allow=Allowance(1.0, "cages"))
    asked = (*case.requirements, half)
    together = judge_rows([Row("1", 1, case.rollers, states)], asked, settings)
    alone = {state: judge_rows([Row("1", 1, case.rollers, {state: m})], asked, settings) for state, m in states.items()}
    assert together.by_place == {("1", state): trial.judgements for state, trial in alone.items()}
    failing = [trial.any_requirement.cages for trial in alone.values()]
    assert len(set(failing)) > 1
    assert together.any_requirement.cages == max(failing, key=lambda one: one.out_of_spec if one else 0.0)
    assert alone[together.place[1]].any_requirement == together.any_requirement


def test_of_bearings_any_row_counts() -> None:
    """Two rows, one of them twice: of bearings 1 − (1 − p₁)(1 − p₂)² fail, by hand from the fractions of cages."""
    case = read(CASES / "every_key_cage.toml")
    model = case.models()[0].states["made"]
    asked = [Requirement("wall", "roller_wall", min=15.97, allow=Allowance(5e5, "bearings"))]
    looser = model.with_dimensions({"roller_bore": replace(model.dimensions["roller_bore"], upper=0.05)})
    rows = [Row("one", 1, case.rollers, {"made": model}), Row("two", 2, case.rollers, {"made": looser})]
    trial = judge_rows(rows, asked, settings_of(case, cages=2000))
    first, second = (trial.by_place[name, "made"]["wall"] for name in ("one", "two"))
    assert first.cages is not None
    assert second.cages is not None
    assert 0 < second.cages.out_of_spec < 1
    both = 1 - (1 - first.cages.out_of_spec) * (1 - second.cages.out_of_spec) ** 2
    assert first.fraction == second.fraction
    assert first.fraction is not None
    assert first.fraction.out_of_spec == pytest.approx(both, rel=1e-12)
    assert trial.judgements["wall"].row == "two"


def test_a_count_is_judged_in_all_states() -> None:
    """A count of ``rollers``: the worst verdict and the greatest fraction of cages over the states."""
    case = operated(read(CASES / "every_key_cage.toml"))
    settings = settings_of(case, cages=500)
    (own,) = rollers(case, case.rollers, case.rollers, settings=settings).counts
    (row,) = case.models()
    alone = [replace(case, rows=(replace(row, states={state: model}),)) for state, model in row.states.items()]
    each = [rollers(one, case.rollers, case.rollers, settings=settings).counts[0] for one in alone]
    assert len(each) == 4
    assert own.verdict == worst(one.verdict for one in each if one.verdict)
    assert own.wall == min(one.wall for one in each if one.wall is not None)
    worst_cages = max((one.fraction for one in each if one.fraction), key=lambda one: one.out_of_spec)
    assert own.fraction == worst_cages
    for name, judged in own.judgements.items():
        assert judged in [one.judgements[name] for one in each]
