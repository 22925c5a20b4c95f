"""A tapered cage of plausible magnitudes (invented), and what sampling it must give.

Source: the cage values to check against, "A tapered cage of plausible magnitudes (invented)": two independent programs,
240 000 and 400 000 cages and more; pin_entry by one of them.  Lengths in mm, angles in degrees, fractions in ppm.  "All
else as above" is the cylindrical cage of ``demo_table.py``.
"""

from typing import Any

from demo_table import DEMO_SPEC

TAPERED_CAGES = 240_000

SAME = (
    "roller_bore_runout", "roller_end_runout", "pin_straightness", "hole_position_a", "hole_position_b", "pin_seat_a",
    "pin_squareness_a", "pin_seat_b", "ring_offset", "ring_phase", "ring_parallelism", "weld_shrinkage",
    "ring_face_flatness",
)  # fmt: skip


def _size(nominal: float, lower: float, upper: float) -> dict[str, Any]:
    return {"kind": "size", "nominal": nominal, "lower": lower, "upper": upper}


TAPERED_SPEC: dict[str, dict[str, Any]] = {
    "rollers": {"kind": "count", "nominal": 52},
    "roller_diameter": _size(70.0, -0.02, 0.0),
    "roller_length": _size(110.0, -0.07, 0.0),
    "roller_taper": _size(0.7518, -0.006, 0.006),
    "roller_sphere_radius": _size(2450.0, 0.0, 0.0),
    "roller_bore": _size(22.0, 0.0, 0.08),
    "pin_diameter": _size(21.2, -0.033, 0.0),
    "hole_pitch_diameter_a": _size(1150.263, -0.04, 0.04),
    "hole_pitch_diameter_b": _size(1200.247, -0.04, 0.04),
    "ring_hole_b": _size(21.45, 0.0, 0.043),
    "ring_spacing": _size(108.353, -0.06, 0.06),
    "inner_raceway_a": _size(1081.608, -0.03, 0.03),
    "inner_raceway_b": _size(1128.608, -0.03, 0.03),
    **{name: DEMO_SPEC[name] for name in SAME},
}

# Requirement: limits, and ppm out of spec of the pockets (of pin_entry of the cages too) with its tolerance: a relative
# one of 10 % above 50 ppm, "factor 2" where the source says "about", None where the standard errors alone count.
TAPERED_TABLE: dict[str, dict[str, Any]] = {
    "running_clearance_small": {"min": 0.32, "max": None, "pockets": (29, None)},
    "running_clearance_large": {"min": 0.33, "max": None, "pockets": (427, 0.10)},
    "roller_spacing_large": {"min": 1.50, "max": None, "pockets": (4, "factor 2")},
    "roller_spacing_small": {"min": 1.45, "max": None, "pockets": (54, 0.10)},
    "apex_crossing": {"min": -12.0, "max": 12.0, "pockets": (405, 0.10)},
    "apex_miss": {"min": None, "max": 3.0, "pockets": (126, 0.10)},
    "end_clearance": {"min": 0.98, "max": 1.24, "pockets": (304, 0.10)},
    "pin_entry": {"min": 0.0, "max": None, "pockets": (215, 0.10), "cages": (10_800, 0.10)},
}

#: "Sd of the crossing of a pin 3.39, of a cage's mean 1.19, spread over a cage 14.2", half a last digit
CROSSING = {"sd": (3.39, 5e-3), "mean_sd": (1.19, 5e-3), "spread": (14.2, 5e-2)}


def tapered_tables(spec: dict[str, dict[str, Any]] = TAPERED_SPEC, **cage: Any) -> dict[str, Any]:
    """Return the nested tables of a case file, with the limits of the table and the folds of the crossing."""
    keys = {"zone": "zone", "one-sided": "limit", "size": "nominal"}
    dimensions = {}
    for name, law in spec.items():
        if law["kind"] == "count":
            continue
        entry = {key: law[key] for key in (keys[law["kind"]], "lot_share") if key in law}
        if law["kind"] == "size":
            entry["tolerance"] = [law["lower"], law["upper"]]
        dimensions[name] = entry
    requirements: dict[str, Any] = {
        gap: {end: row[end] for end in ("min", "max") if row[end] is not None} for gap, row in TAPERED_TABLE.items()
    }
    for over in ("mean", "spread"):
        requirements[f"{over}_apex_crossing"] = {"gap": "apex_crossing", "over": over, "max": 1e9}
    requirements["squared_apex_crossing"] = {"over": "mean", "max": 1e9}
    return {
        "cage": {"kind": "tapered", "rollers": spec["rollers"]["nominal"], "ring_face": "conical", **cage},
        "dimensions": dimensions,
        "chains": {"squared_apex_crossing": {"formula": "apex_crossing**2", "unit": "mm2"}},
        "requirements": requirements,
    }
