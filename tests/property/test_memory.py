"""A run needs room for a block, not for its cages."""

from __future__ import annotations

import tracemalloc

import pytest
from cages import REQUIRED, case_of, every_gap, sizes_of
from states import in_states

from stackup.engine import monte_carlo
from stackup.engine.monte_carlo import CHUNK
from stackup.engine.settings import Settings

#: a run more may differ by this much: records of the longer run, numbers of the interpreter
ROOM = 60_000
#: cages of the last chunk less than of the others: short and long runs end alike
SHORT = 400


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


@pytest.mark.parametrize(("workers", "chunks"), [(1, 3), (2, 5)])
def test_memory_does_not_grow_with_cages(workers: int, chunks: int) -> None:
    """The same peak memory for five times the cages and more; with two workers but for how far one runs ahead."""
    small, large = (peak(count * CHUNK - SHORT, workers) for count in (chunks, 5 * chunks))
    assert large <= small * (1.02 if workers == 1 else 1.25) + ROOM


def test_four_states_take_less_room_than_four_runs() -> None:
    """Constant for four states too, and their registers are shared."""
    small, large = (peak(count * CHUNK - SHORT, 1, states=4) for count in (3, 15))
    assert large <= small * 1.02 + ROOM
    assert large < 4 * peak(3 * CHUNK - SHORT, 1)
