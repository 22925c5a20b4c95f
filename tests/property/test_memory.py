"""A run needs room for a block, not for its cages."""

from __future__ import annotations

import tracemalloc

import pytest
from cages import REQUIRED, case_of, every_gap, sizes_of
from states import in_states

from stackup.engine import monte_carlo
from stackup.engine.settings import Settings

#: a run more may differ by this much: records of the longer run, numbers of the interpreter
ROOM = 60_000


def peak(cages: int, workers: int, states: int = 1) -> int:
    """Peak bytes allocated by a run of a small cage in some of its states."""
    entries = sizes_of(REQUIRED, 5, 30.0) | {"hole_position_a": {"zone": 0.1}}
    case = case_of({"cage": {"kind": "cylindrical", "rollers": 5}, "dimensions": entries})
    models = dict(list(in_states(case).items())[:states])
    wanted = every_gap(models["made"], min=0.0)
    monte_carlo.run_states(models, wanted, Settings(cages=100))  # what is built once
    tracemalloc.start()
    try:
        monte_carlo.run_states(models, wanted, Settings(cages=cages, workers=workers))
        return tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()


@pytest.mark.parametrize("workers", [1, 2])
def test_memory_does_not_grow_with_cages(workers: int) -> None:
    """The same peak memory for 2·10⁴ and 2·10⁵ cages; with two workers but for how far one runs ahead."""
    small, large = peak(20_000, workers), peak(200_000, workers)
    assert large <= small * (1.02 if workers == 1 else 1.25) + ROOM


def test_four_states_take_less_room_than_four_runs() -> None:
    """Constant for four states too, and their registers are shared."""
    small, large = peak(20_000, 1, states=4), peak(200_000, 1, states=4)
    assert large <= small * 1.02 + ROOM
    assert large < 4 * peak(20_000, 1)
