"""``judge`` says what ``check`` says, with the engines that decide alone."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from states import in_states, operated

import stackup
from stackup.case import read
from stackup.chain.model import Allowance, Requirement
from stackup.decide.check import settings_of
from stackup.decide.rollers import rollers
from stackup.decide.trial import judge, judge_states
from stackup.decide.verdict import worst
from stackup.engine import monte_carlo

CASES = Path(__file__).parents[2] / "cases"


@pytest.mark.parametrize("name", ["demo.toml", "bush_stack.toml", "every_key_cage.toml", "every_key_plain.toml"])
def test_the_same_verdicts_and_numbers_as_check(name: str) -> None:
    """Same seed, same cages: the same fraction to the last bit, the same ends, the same verdict."""
    case = read(CASES / name)
    settings = settings_of(case, cages=3000)
    trial = judge(case.models()[0].states["made"], case.requirements, settings)
    checked = {r.name: r for r in stackup.check(case, settings).requirements if r.verdict is not None}
    assert list(trial.judgements) == list(checked)
    for found, record in zip(trial.judgements.values(), checked.values(), strict=True):
        assert found.verdict == record.verdict
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
    together = judge_states(states, asked, settings)
    assert {state: judge(model, asked, settings) for state, model in states.items()} == together
    assert len({trial.any_requirement.cages for trial in together.values()}) > 1


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
