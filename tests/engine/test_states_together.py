"""All states of a row on one drawing: to the bit what each state says alone, and what no state changes once."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from cages import Table, cages, case_of, every_gap, model_of, plain_stack
from comparing import assert_near
from hypothesis import given, settings
from hypothesis import strategies as st
from states import in_states

from stackup.case import read
from stackup.chain.model import OVERS, Model, Requirement
from stackup.chain.symbols import symbol
from stackup.chain.together import together
from stackup.dimension import Dimension
from stackup.engine import monte_carlo
from stackup.engine.monte_carlo import CHUNK, Drawer
from stackup.engine.result import MonteCarlo
from stackup.engine.settings import Settings
from stackup.errors import Interrupted

#: classes, lots, measured columns, values as built, a zone with a bonus
EVERY_KEY = Path(__file__).parents[2] / "cases" / "every_key_cage.toml"


def wanted(model: Model) -> list[Requirement]:
    """Every gap, limits on some that some cages fail, and every fold of one."""
    folds = [Requirement(f"running_{over}", "running_clearance", over, min=0.2) for over in OVERS]
    return [*every_gap(model), *every_gap_limited(model), *folds]


def every_gap_limited(model: Model) -> list[Requirement]:
    """Limits near the middle of every gap as made: about half fails."""
    found = monte_carlo.run(model, every_gap(model), Settings(5, 50)).records
    return [Requirement(f"{name} limited", name, min=record.mean) for name, record in found.items()]


def assert_as_alone(states: dict[str, Model], asked: list[Requirement], run: Settings) -> None:
    """Fail where a state says another number together with others than alone."""
    found = monte_carlo.run_states(states, asked, run)
    assert list(found) == list(states)
    for state, model in states.items():
        assert_near(monte_carlo.run(model, asked, replace(run, workers=1)), found[state], 0.0, 0.0, state)


@pytest.mark.parametrize("workers", [1, 2])
def test_as_alone_with_all_that_draws(workers: int) -> None:
    """Classes, lots, measured columns, as-built values and a bonus: no bit differs, one chunk or more."""
    states = in_states(read(EVERY_KEY))
    asked = wanted(states["made"])
    assert_as_alone(states, asked, Settings(3, CHUNK + 700, workers))
    assert len({record.records["running_clearance"].mean for record in run(states, asked).values()}) == 4


def run(states: dict[str, Model], asked: list[Requirement]) -> dict[str, MonteCarlo]:
    return monte_carlo.run_states(states, asked, Settings(3, 200))


@settings(max_examples=6)
@given(cages(most=7), st.integers(0, 2**40))
def test_as_alone(tables: Table, seed: int) -> None:
    """Any cage, any two states of it or more."""
    states = in_states(case_of(tables))
    assert_as_alone(states, wanted(states["made"]), Settings(seed, 600))
    assert_as_alone({name: states[name] for name in ("worn", "made")}, wanted(states["made"]), Settings(seed, 50))


@pytest.mark.parametrize("workers", [1, 2])
def test_stopped_midway(workers: int) -> None:
    """The records of all states are those of the chunks finished; of none where none is."""
    states = in_states(read(EVERY_KEY))
    asked = every_gap(states["made"], min=0.1)

    def stop(done: float, *_: object) -> None:
        if done >= 2:
            raise KeyboardInterrupt

    with pytest.raises(Interrupted) as stopped:
        monte_carlo.run_states(states, asked, Settings(3, 4 * CHUNK, workers), stop)
    assert_near(monte_carlo.run_states(states, asked, Settings(3, 2 * CHUNK)), stopped.value.records, 0.0, 0.0)


def test_drawn_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Four states draw what one draws."""
    drawn: list[str] = []
    draw = Drawer.__call__

    def noted(self: Drawer, name: str, *given: Any) -> None:
        drawn.append(name)
        draw(self, name, *given)

    monkeypatch.setattr(Drawer, "__call__", noted)
    states = in_states(read(EVERY_KEY))
    monte_carlo.run(states["made"], every_gap(states["made"]), Settings(cages=10))
    alone = [*drawn]
    drawn.clear()
    monte_carlo.run_states(states, every_gap(states["made"]), Settings(cages=10))
    assert sorted(drawn) == sorted(alone)


STACK = plain_stack({name: {"nominal": 2.0, "tolerance": 0.1} for name in ("a", "b", "c")}, "a - b - c")


def stack(warm: float) -> dict[str, Model]:
    """The stack a − b − c·k where the number k is 1, and where it is ``warm``."""
    made = model_of(STACK)
    (total,) = (step for step in made.steps if step.name == "total")
    scaled = replace(total, formula=symbol("a") - symbol("b") - symbol("c") * symbol("k"))
    steps = tuple(scaled if step is total else step for step in made.steps)
    return {state: replace(made, steps=steps, parameters={"k": k}) for state, k in (("cold", 1.0), ("warm", warm))}


def test_what_no_state_changes_is_one_output() -> None:
    """Equal parameters make equal nodes: nothing is computed twice; another number, another output."""
    same, alone = together(stack(1.0)), together({"cold": stack(1.0)["cold"]})
    assert same.program == alone.program
    assert same.outputs == {"cold": {"total": "total"}, "warm": {"total": "total"}}
    other = together(stack(1.1))
    assert other.states_of("total") == {"total": ("cold",), "total#1": ("warm",)}
    # k, c·k and the difference from a − b
    assert len(other.program.nodes) == len(alone.program.nodes) + 3
    assert sorted(other.parameters.values()) == [1.0, 1.0, 1.1]  # the number of pockets is the first


def test_a_zero_below_is_not_a_zero_above() -> None:
    """−0 and 0 are two numbers: 1/x tells them apart."""
    states = stack(-0.0)
    states["cold"] = replace(states["cold"], parameters={"k": 0.0})
    assert len(together(states).program.outputs) == 2


@pytest.mark.parametrize("what", ["dimension", "steps", "names of parameters"])
def test_states_of_two_rows_are_refused(what: str) -> None:
    """What differs in more than numbers is no state of the same row."""
    states = stack(1.1)
    warm = states["warm"]
    dimension: Dimension = model_of(STACK).dimensions["a"]
    states["warm"] = {
        "dimension": warm.with_dimensions({"a": dimension}),
        "steps": replace(warm, steps=warm.steps[:-1]),
        "names of parameters": replace(warm, parameters=warm.parameters | {"more": 1.0}),
    }[what]
    with pytest.raises(ValueError, match="differ in more than parameters"):
        monte_carlo.run_states(states, [Requirement("total", "total")], Settings(cages=10))
