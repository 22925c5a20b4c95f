"""The ground of a search: columns for classes and unlike pockets, discs that grow."""

from __future__ import annotations

import numpy as np
from cages import REQUIRED, Table, model_of, sizes_of

from stackup.chain.model import Model
from stackup.chain.program import compile_model, unroll
from stackup.engine.ground import alike, ground_of, turns_only


def cage(**changes: Table) -> Model:
    """A plain cage of 6 pockets with some slots changed."""
    entries = sizes_of(REQUIRED, 6, 30.0) | changes
    return model_of({"cage": {"kind": "cylindrical", "rollers": 6}, "dimensions": entries})


def ground(model: Model, gap: str) -> tuple[object, bool]:
    """The ground of one gap, and whether its pockets are alike."""
    rolled = compile_model(model).only([gap])
    return ground_of(model, rolled, unroll(rolled)), alike(rolled, model)


def test_one_column_where_pockets_are_alike() -> None:
    """Alike pockets have one column with the drawing's limits."""
    found, same = ground(cage(), "bore_clearance")
    assert same
    assert found.columns == 1
    assert found.low["roller_bore"] == [9.6]
    assert np.allclose(found.high["roller_bore"], [9.67])


def test_a_column_for_each_pocket_as_built() -> None:
    """As-built values make a column per pocket, exact, or within three uncertainties."""
    values = [9.6 + 0.01 * i for i in range(6)]
    found, same = ground(cage(roller_bore={"values": values}), "bore_clearance")
    assert not same
    assert found.columns == 6
    assert np.array_equal(found.low["roller_bore"], values)
    assert np.array_equal(found.high["roller_bore"], values)
    found, _ = ground(cage(roller_bore={"values": values, "uncertainty": 0.001}), "bore_clearance")
    assert np.allclose(found.high["roller_bore"] - found.low["roller_bore"], 0.006)


def test_a_neighbour_as_built_is_the_next_value() -> None:
    """In the column of a pocket its neighbour has the next value, the last the first's."""
    values = [30.0 + 0.01 * i for i in range(6)]
    found, _ = ground(cage(roller_diameter={"values": values}), "roller_spacing")
    assert np.array_equal(found.low["roller_diameter@1"], [*values[1:], values[0]])
    assert np.allclose(found.angles["angle@1"][:5], found.angles["angle"][1:])


def test_a_column_for_each_class() -> None:
    """Sorted rollers: every class in turn, both neighbours inside it."""
    sorted_ones = {"nominal": 30.0, "tolerance": [-0.02, 0.0], "sorted_to": 0.008}
    found, _ = ground(cage(roller_diameter=sorted_ones), "roller_spacing")
    assert found.columns == 3
    assert np.allclose(found.low["roller_diameter"], [29.98, 29.988, 29.996])
    assert np.allclose(found.high["roller_diameter"], [29.988, 29.996, 30.0])
    assert np.array_equal(found.low["roller_diameter"], found.low["roller_diameter@1"])


def test_a_disc_that_grows() -> None:
    """A bonus names the size that makes the disc grow; the size has its ends even where no chain uses it."""
    hole = {"nominal": 9.2, "tolerance": [0.0, 0.04]}
    zone = {"zone": 0.1, "bonus_from": "ring_hole_b"}
    found, _ = ground(cage(hole_position_b=zone, ring_hole_b=hole), "pin_skew")
    (disc,) = found.discs
    assert (disc.r, disc.t, disc.feature) == ("hole_position_b.r", "hole_position_b.t", "ring_hole_b")
    assert (float(disc.radius[0]), disc.slope, disc.at) == (0.05, 0.5, 9.2)
    assert np.allclose(found.high["ring_hole_b"], 9.24)
    assert np.allclose(found.high["hole_position_b.r"], 0.07)


def test_angles_that_only_turn() -> None:
    """An angle that only turns a disc of the cage tells no pockets apart; one in a sum of its own does."""
    offset = {"zone": 0.1}
    model = cage(ring_offset=offset, ring_parallelism=offset)
    program = compile_model(model)
    assert turns_only(program.only(["pin_tilt"]))
    assert turns_only(program.only(["running_clearance"]))
    tables = {
        "cage": {"kind": "cylindrical", "rollers": 6},
        "dimensions": sizes_of(REQUIRED, 6, 30.0) | {"ring_offset": offset},
        "chains": {
            "wave": {"formula": "roller_bore + 0.01*cos(2*angle)"},
            "push": {"formula": "ring_offset.x"},
        },
    }
    own = model_of(tables)
    program = compile_model(own)
    assert not turns_only(program.only(["wave"]))
    assert ground(own, "wave")[0].columns == 6
