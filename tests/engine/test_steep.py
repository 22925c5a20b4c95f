"""Slopes of the worst case, against the worst case of a slightly other drawing."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from stackup.case import changed, read
from stackup.chain.model import Requirement
from stackup.engine import steep
from stackup.engine.settings import Settings

DEMO = read(Path(__file__).parents[2] / "cases" / "demo.toml")
#: dimension → what its key becomes, and by how much its half-width has grown then
WIDER: dict[str, tuple[str, Any, float]] = {
    "hole_position_a": ("zone", 0.102, 0.001),
    "hole_position_b": ("zone", 0.102, 0.001),
    "ring_hole_b": ("tolerance", [-0.001, 0.044], 0.001),
    "radial_internal_clearance": ("tolerance", 0.071, 0.001),
    "roller_bore_runout": ("limit", 0.042, 0.001),
}


def sides(case: Any, gap: str) -> tuple[steep.Side, ...]:
    model = case.models()[0].states["made"]
    return steep.run(model, [Requirement("x", gap, min=0.0, max=1.0)], Settings())["x"]


@pytest.mark.parametrize("gap", ["bore_clearance", "running_clearance", "pin_entry"])
def test_slopes_are_those_of_a_wider_drawing(gap: str) -> None:
    """Finite differences of 1 µm, both ends, to the 0.1 µm of a certificate; a limit moves middle and half."""
    now = sides(DEMO, gap)
    for name, (key, value, step) in WIDER.items():
        wider = sides(changed(DEMO, {f"dimensions.{name}.{key}": value}), gap)
        for was, after in zip(now, wider, strict=True):
            expected = was.by_half.get(name, 0.0)
            if key == "limit":
                expected += was.by_middle.get(name, 0.0)
            if name == "ring_hole_b" and was.by_half.get(name, 0.0) == 0.0:
                continue
            assert (after.room - was.room) / step == pytest.approx(expected, abs=0.21), (name, key)


def test_a_linear_gap_says_so() -> None:
    """Bore less pin is linear: slopes ∓1, the same everywhere; a gap with lengths is not."""
    low, high = sides(DEMO, "bore_clearance")
    assert low.linear
    assert low.by_half == pytest.approx({"roller_bore": -1.0, "pin_diameter": -1.0})
    assert high.by_middle == pytest.approx({"roller_bore": -1.0, "pin_diameter": 1.0})
    assert not sides(DEMO, "pin_entry")[0].linear
