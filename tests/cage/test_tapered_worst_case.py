"""The worst case closes on the gaps of the invented tapered cage: found and guaranteed ends within 0.1 µm.

What does not close is named here with how far apart it may stay; nothing else may be added silently.
"""

from __future__ import annotations

import math
from typing import Any

import pytest
from tapered_table import TAPERED_SPEC, tapered_tables

from stackup.case import from_mapping
from stackup.chain.model import Requirement
from stackup.engine import worst_case
from stackup.engine.settings import Settings

LOOSE: dict[str, dict[str, Any]] = {
    "radial_internal_clearance": {"kind": "size", "nominal": 0.33, "lower": -0.07, "upper": 0.07},
    "inner_raceway_a": {"kind": "size", "nominal": 1081.443, "lower": -0.03, "upper": 0.03},
    "inner_raceway_b": {"kind": "size", "nominal": 1128.443, "lower": -0.03, "upper": 0.03},
}
MODELS = {
    name: from_mapping(tapered_tables(spec)).models()[0].states["made"]
    for name, spec in {"tight": TAPERED_SPEC, "loose": TAPERED_SPEC | LOOSE}.items()
}
GAPS = [gap.name for gap in MODELS["tight"].gaps if gap.scope == "pocket" and not gap.own]
SPACINGS = [gap for gap in GAPS if gap.startswith("roller_spacing")]


@pytest.mark.parametrize("gap", GAPS)
def test_every_gap_closes(gap: str) -> None:
    """Both ends certified on the cage without radial clearance."""
    assert worst_case.run(MODELS["tight"], [Requirement(gap, gap)], Settings())[gap].certified


@pytest.mark.parametrize("gap", SPACINGS)
def test_spacing_closes_where_rollers_have_clearance(gap: str) -> None:
    found = worst_case.run(MODELS["loose"], [Requirement(gap, gap)], Settings())[gap]
    assert found.certified


def test_worst_ends_that_are_sums() -> None:
    """Closed forms: pin and bore at their limits; the wall of the thinnest, longest, steepest roller."""
    found = worst_case.run(MODELS["tight"], [Requirement("bore", "bore_clearance")], Settings())["bore"]
    assert (found.low, found.high) == (pytest.approx(0.8), pytest.approx(0.913))
    wall = worst_case.run(MODELS["tight"], [Requirement("wall", "roller_wall")], Settings())["wall"]
    least = (69.98 - 2 * 110.0 * math.tan(math.radians(0.7578)) - 22.08 - 0.04) / 2
    assert wall.low == pytest.approx(least, abs=1e-9)
