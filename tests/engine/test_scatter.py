"""The scatter of a pocket's inputs: what is shared, what is its own, and which pockets are alike."""

from __future__ import annotations

import math

import numpy as np
from cages import CAGE_ZONES, Table, cages, model_of, pockets_of
from hypothesis import given, settings
from hypothesis import strategies as st

from stackup.chain.program import at, compile_model, split_at, unroll
from stackup.engine.monte_carlo import stream
from stackup.engine.scatter import Scatter, angles_at, column_at, owner_of, unlike_pockets

CAGES, SIGMAS = 4000, 6.0


@settings(max_examples=6)
@given(cages(columns=False), st.integers(0, 2**32))
def test_covariance_of_what_is_drawn(tables: Table, seed: int) -> None:
    """Means and covariances, neighbours' too, are those of drawn cages, within the standard error of each."""
    model = pockets_of(tables)
    inputs = tuple(unroll(compile_model(model)).inputs)
    scatter = Scatter.of(model, inputs)
    drawn: dict[str, np.ndarray] = {}
    for name, d in sorted(model.dimensions.items(), key=lambda d: d[1].law.needs is not None):
        shape = (model.pockets if d.scope == "pocket" else 1, CAGES)
        out = tuple(np.empty(shape) for _ in d.components)
        needed = drawn[model.dimensions[d.law.needs].components[0]] if d.law.needs else None
        d.law.sample(stream(seed, name, 0), out, (np.empty(shape), np.empty(shape)), needed)
        drawn |= dict(zip(d.components, out, strict=True))
    rows = []
    for part in inputs:
        base, ahead = split_at(part)
        rows.append(drawn[base][ahead % len(drawn[base])])
    means = scatter.means(0)
    centred = np.array([row - means[part] for row, part in zip(rows, inputs, strict=True)])
    for i, one in enumerate(centred):
        error = one.std() / math.sqrt(CAGES)
        assert abs(one.mean()) <= SIGMAS * error + 1e-8
        for j, other in enumerate(centred[: i + 1]):
            product = one * other
            room = SIGMAS * product.std() / math.sqrt(CAGES) + 1e-9
            needs = owner_of(model, inputs[i]).law.needs or owner_of(model, inputs[j]).law.needs
            if not needs:  # a zone that grows with its hole goes with it, which first order leaves out
                assert abs(product.mean() - scatter.covariance[i, j]) <= room, (inputs[i], inputs[j])


@given(cages())
def test_independent_parts_make_up_the_covariance(tables: Table) -> None:
    """inputs = matrix · independent parts: M·diag(variances)·Mᵀ is the covariance (but for crossed zones)."""
    model = pockets_of(tables)
    scatter = Scatter.of(model, tuple(unroll(compile_model(model)).inputs))
    matrix, moments = scatter.parts()
    if not scatter.crossed:
        made = matrix @ np.diag(moments[:, 2]) @ matrix.T
        assert np.allclose(made, scatter.covariance, rtol=2e-3, atol=1e-9)
    assert np.array_equal(moments[:, :2], np.tile([1.0, 0.0], (len(moments), 1)))
    assert np.all(np.linalg.eigvalsh(scatter.covariance) >= -1e-12)


def test_owners_and_columns() -> None:
    """An input belongs to the dimension whose name it bears; a column is counted round the ring."""
    from cages import REQUIRED, sizes_of

    entries = sizes_of(REQUIRED, 6, 30.0) | {"hole_position_a": {"zone": 0.1}}
    model = model_of({"cage": {"kind": "cylindrical", "rollers": 6}, "dimensions": entries})
    assert owner_of(model, "hole_position_a.r@1").name == "hole_position_a"
    assert owner_of(model, at("pin_diameter", 1)).name == "pin_diameter"
    assert column_at(np.arange(6.0), 7) == 1.0
    assert column_at(2.5, 7) == 2.5
    angles = angles_at(model, 5)
    assert math.isclose(angles["angle"], 5 * math.pi / 3)
    assert angles["angle@1"] == 0.0


@given(cages(columns=False, values=False, offsets=False))
def test_pockets_without_columns_are_alike(tables: Table) -> None:
    """Where no column tells pockets apart one stands for all, unless an angle does more than turn a disc."""
    model = pockets_of(tables)
    program = compile_model(model)
    for gap in model.gaps:
        rolled = program.only([gap.name])
        crossing = gap.name == "end_clearance" and "ring_parallelism" in tables["dimensions"]
        if not crossing:
            assert unlike_pockets(model, rolled) == [0], gap.name


@given(cages(columns=False, values=False, offsets=False, always=tuple(CAGE_ZONES)))
def test_an_offset_of_the_cage_tells_pockets_apart(tables: Table) -> None:
    """A ring that is out of place on purpose is so towards one pocket."""
    tables["dimensions"]["ring_offset"] = {"zone": 0.1, "process": {"offset": [0.02, 0.0]}}
    model = pockets_of(tables)
    program = compile_model(model)
    assert unlike_pockets(model, program.only(["pin_tilt"])) == list(range(model.pockets))
    assert unlike_pockets(model, program.only(["bore_clearance"])) == [0]
