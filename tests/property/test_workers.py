"""The numbers of a run are those of its seed."""

from __future__ import annotations

import pytest
from cages import Table, cages, every_gap, model_of
from comparing import assert_near
from hypothesis import given, settings
from hypothesis import strategies as st

from stackup.chain.model import OVERS, Model, Requirement
from stackup.engine import contributions, monte_carlo
from stackup.engine.monte_carlo import CHUNK
from stackup.engine.result import MonteCarlo
from stackup.engine.settings import Settings
from stackup.errors import Interrupted

WORKERS = (1, 2, 3)


def wanted(model: Model) -> list[Requirement]:
    """Every gap, and every fold of one."""
    folds = [Requirement(f"running_{over}", "running_clearance", over, min=0.1) for over in OVERS]
    return [*every_gap(model, min=0.0), *folds]


class StopAfter:
    """A user who stops the run after so many chunks."""

    def __init__(self, chunks: int) -> None:
        self.chunks = chunks

    def __call__(self, done: float, *_: float | str) -> None:
        if done >= self.chunks:
            raise KeyboardInterrupt


@settings(max_examples=5)
@given(cages(most=7), st.integers(0, 2**40), st.integers(1, 3 * CHUNK))
def test_workers_change_no_bit(tables: Table, seed: int, cages_drawn: int) -> None:
    """The same seed gives the same numbers, to the bit, for 1, 2 and 3 workers."""
    model = model_of(tables)
    runs = [monte_carlo.run(model, wanted(model), Settings(seed, cages_drawn, w)) for w in WORKERS]
    assert_near(runs[0], runs[1], 0.0, 0.0)
    assert_near(runs[0], runs[2], 0.0, 0.0)


@settings(max_examples=3)
@given(cages(most=6), st.integers(0, 2**40), st.integers(1, 3))
def test_an_interrupted_run_is_a_shorter_run(tables: Table, seed: int, chunks: int) -> None:
    """What a stopped run has finished are the numbers of a run of so many chunks, for 1, 2 and 3 workers."""
    model = model_of(tables)
    whole = monte_carlo.run(model, wanted(model), Settings(seed, chunks * CHUNK))
    for workers in WORKERS:
        with pytest.raises(Interrupted) as stopped:
            monte_carlo.run(model, wanted(model), Settings(seed, 4 * CHUNK, workers), StopAfter(chunks))
        assert isinstance(stopped.value.records, MonteCarlo)
        assert_near(whole, stopped.value.records, 0.0, 0.0)


@settings(max_examples=4)
@given(cages(most=7, values=False, columns=False), st.integers(0, 2**40))
def test_a_run_says_the_same_again(tables: Table, seed: int) -> None:
    """A second run of the same seed says the same; another seed says something else."""
    model = model_of(tables)
    one, again = (monte_carlo.run(model_of(tables), wanted(model), Settings(seed, 900)) for _ in range(2))
    assert_near(one, again, 0.0, 0.0)
    other = monte_carlo.run(model, wanted(model), Settings(seed + 1, 900))
    scattering = [name for name, record in one.records.items() if record.sd > 1e-9 * max(1.0, abs(record.mean))]
    assert all(one.records[name].mean != other.records[name].mean for name in scattering)
    first, second = (contributions.run(model, every_gap(model, min=0.0), Settings(seed, 900)) for _ in range(2))
    assert_near(first, second, 0.0, 0.0)


@settings(max_examples=4)
@given(cages(most=7, never=("pin_straightness",)))
def test_another_dimension_moves_no_draw(tables: Table) -> None:
    """A dimension more leaves all other draws as they were: gaps that do not hold it keep their numbers."""
    more = {**tables, "dimensions": {**tables["dimensions"], "pin_straightness": {"zone": 0.03}}}
    first, second = model_of(tables), model_of(more)
    names = ("bore_clearance", "end_clearance", "pin_skew", "roller_wall")
    asked = [Requirement(name, name, min=0.0) for name in names]
    one, other = (monte_carlo.run(m, asked, Settings(3, 900)) for m in (first, second))
    assert_near(one, other, 0.0, 0.0)
