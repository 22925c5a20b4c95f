"""Numbers of the whole cage through every engine: bounds that no cage passes, slopes, chains of the file over them."""

from typing import Any

import numpy as np
import pytest
from cages import REQUIRED, Table, model_of, sizes_of

from stackup.chain.arrays import walk
from stackup.chain.model import Allowance, Model, Requirement
from stackup.chain.program import bindings, compile_model, pitch_angles
from stackup.engine import contributions, margin, monte_carlo, rss, worst_case
from stackup.engine.result import WorstCase
from stackup.engine.settings import Settings

ROLLERS = 8
ZONES = {
    "hole_position_a": 0.1,
    "hole_position_b": 0.1,
    "pin_seat_a": 0.04, "pin_squareness_a": 0.1, "pin_seat_b": 0.04,
}  # fmt: skip


def cage(chains: Table | None = None, **more: Any) -> Table:
    """Return a cage whose rings are alike."""
    dimensions = sizes_of(REQUIRED, ROLLERS, 30.0)
    dimensions |= {name: {"zone": zone} for name, zone in ZONES.items()}
    pin = dimensions["pin_diameter"]["nominal"]
    dimensions |= {
        "pin_diameter": {"nominal": pin, "tolerance": 0.01},
        "ring_hole_b": {"nominal": pin + 0.25, "tolerance": 0.02},
        "ring_offset": {"zone": 0.1},
        "roller_bore_runout": {"limit": 0.02},
        "radial_internal_clearance": {"nominal": 0.05, "tolerance": 0.01},
    }
    dimensions |= more
    return {"cage": {"kind": "cylindrical", "rollers": ROLLERS}, "dimensions": dimensions, "chains": chains or {}}


def ends(model: Model, gap: str) -> WorstCase:
    return worst_case.run(model, [Requirement(gap, gap)], Settings())[gap]


def drawn_on_rims(model: Model, count: int, rng: np.random.Generator) -> dict[str, Any]:
    """Return the number of cages that a drawing allows: zones on their rims, sizes at their limits or between."""
    inputs: dict[str, Any] = {}
    for dimension in model.dimensions.values():
        shape = (model.pockets if dimension.scope == "pocket" else 1, count)
        region: Any = dimension.region
        if dimension.kind == "zone":
            turn = rng.uniform(0, 2 * np.pi, shape)
            if rng.random() < 0.5 and dimension.scope == "pocket":  # all pockets alike
                turn = np.broadcast_to(turn[:1], shape)
            inputs |= dict(
                zip(dimension.components, (region.radius * np.cos(turn), region.radius * np.sin(turn)), strict=True)
            )
        else:
            part = rng.choice([0.0, 1.0, rng.random()], shape)
            inputs[dimension.name] = region.low + part * (region.high - region.low)
    return inputs


def values(model: Model, gap: str, inputs: dict[str, Any]) -> np.ndarray:
    program = compile_model(model, [gap])
    used = {part: inputs[part] for part in program.inputs}
    return walk(program, used, np.array(pitch_angles(model.pockets)), bindings(model))[gap]


@pytest.mark.parametrize("gap", ["ring_entry", "cage_float"])
def test_no_cage_within_the_drawing_passes_the_bounds(gap: str) -> None:
    """Sampled cages, most of them at the rims of their zones, lie within the guaranteed bounds."""
    model = model_of(cage())
    found = ends(model, gap)
    rng = np.random.default_rng(7)
    for _ in range(20):
        seen = values(model, gap, drawn_on_rims(model, 50, rng))
        assert seen.min() >= found.bound_low - 1e-9
        assert seen.max() <= found.bound_high + 1e-9
    assert found.bound_low <= found.low <= found.high <= found.bound_high


def test_the_worst_ring_entry_is_that_of_pins_outward() -> None:
    """(d_hB − d_p)/2 at its least, less the radii of a, s, n and b: docs/proofs.md; both ends certified."""
    found = ends(model_of(cage()), "ring_entry")
    play = (0.25 - 0.03) / 2
    assert found.certified
    assert found.low == pytest.approx(play - (0.1 + 0.04 + 0.1 + 0.1) / 2, abs=1e-4)
    assert found.high == pytest.approx((0.25 + 0.03) / 2, abs=1e-4)


def test_it_equals_the_worst_pin_entry_of_rings_set_alike() -> None:
    """model.md section 3, gap 10: pin_entry with ring_offset and ring_phase at 0."""
    whole = ends(model_of(cage()), "ring_entry")
    tables = cage()
    del tables["dimensions"]["ring_offset"]
    assert whole.low == pytest.approx(ends(model_of(tables), "pin_entry").low, abs=2e-4)


def test_rings_alike_close_the_float() -> None:
    """Where both ends of the pins are alike, found and bound of cage_float meet at both ends."""
    found = ends(model_of(cage()), "cage_float")
    assert found.certified_low
    assert found.certified_high


def test_the_float_is_no_less_than_the_worst_pocket() -> None:
    """A cage may stay where it is: every cage_float is at least the least running clearance of its pockets."""
    model = model_of(cage())
    inputs = drawn_on_rims(model, 200, np.random.default_rng(3))
    assert np.all(values(model, "cage_float", inputs) >= values(model, "running_clearance", inputs).min(axis=0) - 1e-9)


def test_the_rings_are_no_worse_than_set_by_the_fixture() -> None:
    """The drawn ring_offset and ring_phase are one of the settings: ring_entry is at least the least pin_entry."""
    model = model_of(cage(ring_phase={"tolerance": 0.03}))
    inputs = drawn_on_rims(model, 200, np.random.default_rng(4))
    assert np.all(values(model, "ring_entry", inputs) >= values(model, "pin_entry", inputs).min(axis=0) - 1e-9)


def test_slopes_are_differences() -> None:
    """The adjoint through the pose is the change of the number itself (central differences)."""
    model = model_of(cage())
    rng = np.random.default_rng(11)
    program = compile_model(model, ["cage_float"])
    inputs = {part: np.array(v) for part, v in drawn_on_rims(model, 3, rng).items() if part in program.inputs}
    inputs = {part: v + rng.normal(0, 2e-3, v.shape) for part, v in inputs.items()}
    angles = np.array(pitch_angles(model.pockets))
    slopes = walk(program, inputs, angles, bindings(model)).gradient("cage_float", np.ones((1, 3)))
    step = 1e-5
    for part in ("roller_bore", "hole_position_a.r", "hole_position_b.t", "ring_offset.x", "inner_raceway"):
        for row in range(0, len(inputs[part]), 3):
            both = []
            for sign in (1, -1):
                moved = inputs | {part: inputs[part].copy()}
                moved[part][row] += sign * step
                both.append(walk(program, moved, angles, bindings(model))["cage_float"])
            assert ((both[0] - both[1]) / (2 * step))[0] == pytest.approx(slopes[part][row], abs=2e-3), (part, row)


def test_every_engine_takes_it() -> None:
    """Monte Carlo and contributions give numbers of the cage, RSS says why it has none, tails have slopes."""
    model = model_of(cage())
    wanted = [Requirement("ring_entry", "ring_entry", min=0.05, allow=Allowance(50_000, "cages"))]
    settings = Settings(cages=4096)
    drawn = monte_carlo.run(model, wanted, settings).records["ring_entry"]
    assert drawn.pockets is None
    assert drawn.cages is not None
    laws, reasons = rss.run(model, wanted, settings)
    assert laws["ring_entry"] is None
    assert "whole cage" in reasons["ring_entry"]
    shares = {c.dimension: c for c in contributions.run(model, wanted, settings)["ring_entry"]}
    assert sum(c.variance_share or 0.0 for c in shares.values()) == pytest.approx(1.0)
    assert all(c.width_share is None for c in shares.values())
    assert "ring_offset" not in shares
    tail = margin.run(model, wanted, settings)["ring_entry"]
    assert tail.by_scatter["hole_position_a"] < 0


def test_a_chain_over_it() -> None:
    """A chain of the file lies between bounds that hold, and what is found lies within."""
    model = model_of(cage({"spare": {"formula": "2*ring_entry - ring_hole_b + pin_diameter"}}))
    found = ends(model, "spare")
    inputs = drawn_on_rims(model, 200, np.random.default_rng(5))
    seen = values(model, "spare", inputs)
    assert found.bound_low <= min(found.low, float(seen.min()))
    assert found.bound_high >= max(found.high, float(seen.max()))
    assert found.low < found.high


def test_more_rooms_under_tighter_zones() -> None:
    """Smaller zones lie within larger ones: their bounds do too."""
    wide = ends(model_of(cage()), "ring_entry")
    small = ends(model_of(cage(hole_position_a={"zone": 0.05})), "ring_entry")
    assert small.bound_low > wide.bound_low + 0.02
