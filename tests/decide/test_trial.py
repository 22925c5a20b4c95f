"""``judge`` says what ``check`` says, with the engines that decide alone."""

from __future__ import annotations

from pathlib import Path

import pytest

import stackup
from stackup.case import read
from stackup.decide.check import settings_of
from stackup.decide.trial import judge

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
