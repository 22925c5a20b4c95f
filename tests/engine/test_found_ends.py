"""What a worst case finds where its bound stays away: no less than other programs found, and closed forms.

The three cages are invented.  *Independent*: extremes found by a program that was written from the model alone, by
random ends and local search; each was then built as measured parts, and gave the same number.
"""

from __future__ import annotations

import math
from typing import Any

import pytest

from stackup.case import from_mapping
from stackup.chain.model import Over, Requirement
from stackup.engine import worst_case
from stackup.engine.result import WorstCase
from stackup.engine.settings import Settings


def size(nominal: float, low: float, high: float) -> dict[str, Any]:
    """Return a size with its deviations."""
    return {"nominal": nominal, "tolerance": [low, high]}


def zones(**diameters: float) -> dict[str, Any]:
    """Return zones by their diameters."""
    return {name: {"zone": diameter} for name, diameter in diameters.items()}


SMALL: dict[str, Any] = {
    "roller_diameter": size(40.0, -0.02, 0.0),
    "roller_length": size(60.0, -0.05, 0.0),
    "roller_bore": size(14.0, 0.0, 0.043),
    "pin_diameter": size(13.3, -0.018, 0.0),
    "ring_hole_b": size(13.5, 0.0, 0.04),
    "ring_phase": {"tolerance": 0.05},
    **zones(hole_position_a=0.1, hole_position_b=0.1, pin_squareness_a=0.1, ring_offset=0.1),
}
CYLINDRICAL = SMALL | {
    "hole_pitch_diameter": size(486.12, -0.04, 0.04),
    "ring_spacing": size(61.0, -0.06, 0.06),
    "inner_raceway": size(446.1, -0.03, 0.03),
}
TAPERED = SMALL | {
    "roller_taper": size(1.004, -0.01, 0.01),
    "hole_pitch_diameter_a": size(486.12, -0.04, 0.04),
    "hole_pitch_diameter_b": size(513.41, -0.04, 0.04),
    "ring_spacing": size(59.1, -0.06, 0.06),
    "inner_raceway_a": size(447.4, -0.03, 0.03),
    "inner_raceway_b": size(472.5, -0.03, 0.03),
    **zones(ring_parallelism=0.1, pin_straightness=0.03),
}
#: pins that nearly fill their bores: many rollers cannot leave their pockets' place
TIGHT: dict[str, Any] = {
    "roller_diameter": size(44.9594, -0.0567, -0.0150),
    "roller_length": size(41.6362, -0.0784, -0.0216),
    "roller_bore": size(8.4161, -0.0597, 0.0710),
    "pin_diameter": size(8.3303, 0.0441, 0.0762),
    "hole_pitch_diameter": size(120.9498, -0.0249, 0.0792),
    "hole_pitch_diameter_b": size(121.0827, -0.0167, 0.0656),
    "pitch_shrinkage_b": size(0.0620, 0.0037, 0.0200),
    "ring_spacing": size(80.6636, 0.0269, 0.0733),
    "inner_raceway": size(76.4529, -0.0574, -0.0405),
    "ring_phase": {"tolerance": 0.0636},
    "roller_bore_runout": {"limit": 0.0873},
    **zones(pin_straightness=0.1911, hole_position_a=0.1962, pin_seat_a=0.1259, ring_offset=0.0941),
}


def found(
    kind: str, pockets: int, dimensions: dict[str, Any], gap: str, over: Over = "each", **chains: str
) -> WorstCase:
    """Return the worst case of a gap that is limited on both sides."""
    cage: dict[str, Any] = {"kind": kind, "rollers": pockets}
    cage |= {"ring_face": "square"} if kind == "tapered" else {}
    written = {name: {"formula": formula} for name, formula in chains.items()}
    (row,) = from_mapping({"cage": cage, "dimensions": dimensions, "chains": written}).models()
    wanted = Requirement("low", gap, over, min=0.0, max=1.0)
    return worst_case.run(row.states["made"], [wanted], Settings())["low"]


def test_the_mean_entry_of_four_pins() -> None:
    """*Closed form.* The hole's clearance less all zones of the pocket, less the mean of |ε_i + φ|.

    Offset and turn both of 0.05: |ε_i + φ| = 0.05·2|cos(ψ + iπ/4)|, most with ψ = π/8.
    """
    turned = sum(2 * abs(math.cos(math.pi / 8 + i * math.pi / 4)) for i in range(4)) / 4
    least = (13.5 - 13.3) / 2 - 3 * 0.05 - 0.05 * turned
    record = found("cylindrical", 4, CYLINDRICAL, "pin_entry", "mean")
    assert record.low == pytest.approx(least, abs=2e-5)
    assert record.bound_low <= least


@pytest.mark.parametrize(
    ("kind", "pockets", "dimensions", "gap", "least"),
    [("tapered", 4, TAPERED, "cage_float", 0.215585), ("cylindrical", 6, TIGHT, "roller_spacing", 15.282)],
)
def test_no_less_than_others_find(kind: str, pockets: int, dimensions: dict[str, Any], gap: str, least: float) -> None:
    """*Independent.* What was found elsewhere is found here, and lies within the bound."""
    record = found(kind, pockets, dimensions, gap)
    assert record.bound_low <= record.low <= least + 1e-5


def test_a_chain_over_a_number_of_the_whole_cage() -> None:
    """*Closed form.* ring_entry + what the spacing is more than its nominal: each has its worst parts by itself.

    All pins outward by their three zones, the tightest hole and the thickest pin; the spacing at its least.
    """
    record = found("cylindrical", 4, CYLINDRICAL, "both", both="ring_entry + ring_spacing - 61")
    assert record.low == pytest.approx((13.5 - 13.3) / 2 - 3 * 0.05 - 0.06, abs=1e-6)
    assert record.high == pytest.approx((13.54 - 13.282) / 2 + 0.06, abs=1e-6)
    assert record.certified
    assert record.low_shares["ring_spacing"] == pytest.approx(0.06 / (0.06 + 3 * 0.05 + 0.01 + 0.0045), rel=1e-2)
    assert record.low_shares["hole_position_a"] == pytest.approx(record.low_shares["pin_squareness_a"], rel=1e-6)


@pytest.mark.parametrize(("over", "end"), [("least", "low"), ("mean", "low"), ("greatest", "high")])
def test_folds_of_a_chain_over_a_number_of_the_whole_cage(over: Over, end: str) -> None:
    """Worst parts in all pockets: least and mean come as far down as a pocket, the greatest as far up."""
    formula = "ring_entry + 0.1*bore_clearance"
    each, fold = (found("cylindrical", 4, CYLINDRICAL, "both", how, both=formula) for how in ("each", over))
    assert getattr(fold, end) == pytest.approx(getattr(each, end), abs=1e-6)
