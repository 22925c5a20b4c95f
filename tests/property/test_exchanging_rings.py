"""Which ring is called A does not matter to a roller that runs between them."""

from __future__ import annotations

import numpy as np
from cages import EXCHANGED, Table, cages, exchanged, model_of
from comparing import assert_near, assert_same_extremes
from hypothesis import given, settings
from hypothesis import strategies as st

from stackup.chain.arrays import walk
from stackup.chain.model import Requirement
from stackup.chain.program import bindings, compile_model, pitch_angles
from stackup.engine import rss, worst_case
from stackup.engine.settings import Settings

RINGS = cages(
    always=tuple(name for pair in EXCHANGED for name in pair),
    never=("pitch_shrinkage_b",),
    values=False,
    bonus=False,
)
RUNS = [Requirement("running_clearance", "running_clearance", min=0.1)]


@given(RINGS, st.integers(0, 2**32))
def test_exchange_changes_no_running_clearance(tables: Table, seed: int) -> None:
    """Exchanging the rings' slots with ring_offset and ring_phase reversed changes no running clearance."""
    model = model_of(tables)
    program = compile_model(model, ["running_clearance"])
    rng = np.random.default_rng(seed)
    names = {**dict(EXCHANGED), **{b: a for a, b in EXCHANGED}}
    inputs, again = {}, {}
    for name, dimension in model.dimensions.items():
        rows = model.pockets if dimension.scope == "pocket" else 1
        for part, middle in zip(dimension.components, dimension.nominal, strict=True):
            drawn = middle + dimension.half_width * rng.uniform(-1, 1, (rows, 9))
            inputs[part] = drawn
            sign = -1.0 if name in ("ring_offset", "ring_phase") else 1.0
            again[part.replace(name, names.get(name, name))] = sign * drawn
    angles, known = pitch_angles(model.pockets), bindings(model)
    one, other = (walk(program, given_, angles, known)["running_clearance"] for given_ in (inputs, again))
    assert np.allclose(one, other, rtol=0.0, atol=1e-11)


@settings(max_examples=6)
@given(RINGS)
def test_exchange_changes_no_engine(tables: Table) -> None:
    """Exchanging the rings' laws changes neither the RSS nor the worst case of running_clearance."""
    one, other = model_of(tables), model_of(exchanged(tables))
    first, second = (rss.run(m, RUNS, Settings())[0]["running_clearance"] for m in (one, other))
    assert first is not None
    assert second is not None
    room = 2e-3 * first.sd + 1e-9  # the fixed points of the quadrature lie otherwise
    assert_near((first.mean, first.sd), (second.mean, second.sd), 0.0, room)
    assert_near(first.out_of_spec, second.out_of_spec, 0.05, 1e-12)
    budget = Settings(boxes=60)
    found, same = (worst_case.run(m, RUNS, budget)["running_clearance"] for m in (one, other))
    assert_same_extremes(found, same, 1.0, 1e-4)
    assert_near((found.linear_low, found.linear_high), (same.linear_low, same.linear_high), 1e-9, 1e-9)
