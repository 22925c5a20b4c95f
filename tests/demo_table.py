"""A cylindrical cage of plausible magnitudes (invented), and what sampling it must give.

Source: the cage values to check against, "A cage of plausible magnitudes (invented), by sampling": 240 000
cages by three independent programs; figures marked exact there are by quadrature. Lengths in mm, stresses in
N/mm2, pin_skew in mrad, fractions in ppm. Sizes are nominal with lower and upper deviation, zones diameters,
one-sided slots their limit; whatever is not said has the default law of the model (normal sizes and zones,
Rayleigh one-sided, cp 1, centred, not truncated).
"""


def _size(nominal: float, lower: float, upper: float, **law: float) -> dict:
    return {"kind": "size", "nominal": nominal, "lower": lower, "upper": upper, **law}


def _zone(diameter: float) -> dict:
    return {"kind": "zone", "zone": diameter}


def _one_sided(limit: float) -> dict:
    return {"kind": "one-sided", "limit": limit}


DEMO_SPEC = {
    "rollers": {"kind": "count", "nominal": 48},
    "roller_diameter": _size(50.0, -0.02, 0.0, sorted_to=0.004),
    "roller_length": _size(109.0, -0.054, 0.0),
    "roller_bore": _size(16.0, 0.0, 0.07, lot_share=0.4),
    "roller_bore_runout": _one_sided(0.04),
    "roller_end_runout": _one_sided(0.02),
    "pin_diameter": _size(15.4, -0.027, 0.0),
    "pin_straightness": _zone(0.03),
    "hole_pitch_diameter": _size(800.15, -0.05, 0.05),  # of both rings: ring B has none of its own
    "hole_position_a": _zone(0.12),
    "hole_position_b": _zone(0.12),
    "pin_seat_a": _zone(0.04),
    "pin_squareness_a": _zone(0.10),
    "ring_hole_b": _size(15.62, 0.0, 0.043),
    "pin_seat_b": _zone(0.06),
    "ring_offset": _zone(0.10),
    "ring_phase": _size(0.0, -0.04, 0.04),
    "ring_spacing": _size(109.9, -0.15, 0.15),
    "ring_parallelism": _zone(0.10),
    "weld_shrinkage": _size(0.10, -0.06, 0.06, lot_share=0.6),
    "ring_face_flatness": _one_sided(0.04),
    "inner_raceway": _size(750.0, -0.05, 0.0),
    "radial_internal_clearance": _size(0.33, -0.07, 0.07),
    "outer_guide": _size(848.0, 0.0, 0.14),
    "ring_outside": _size(846.0, -0.14, 0.0),
    "ring_inside": _size(754.0, 0.0, 0.14),
    "inner_guide": _size(752.0, -0.14, 0.0),
    "ring_concentricity": _zone(0.12),
}

REFERENCE_CAGES = 240_000
STANDARD_ERRORS = 4  # "Compare within 4 standard errors of both runs together, the cage being the unit"

# Requirement: limits; mean and sd, each with what rounding to the printed digits can hide; ppm out of spec of
# the pockets and of the cages, each with its tolerance: a relative one of 10 % where the source grants it
# (above 50 ppm), "factor 2" where fewer than 20 of the reference's cages failed, "below" where only an upper
# end is given, None where the standard errors alone count.
DEMO_TABLE = {
    "bore_clearance": {
        "min": 0.59, "max": 0.71,
        "mean": (0.6485, 5e-5), "sd": (0.0125, 5e-5),
        "pockets": (2, "factor 2"), "cages": (80, "factor 2"),
    },
    "running_clearance": {
        "min": 0.13, "max": None,
        "mean": (0.2042, 5e-5), "sd": (0.0165, 5e-5),
        "pockets": (86, 0.10), "cages": (4_000, 0.10),
    },
    "roller_spacing": {
        "min": 1.61, "max": None,
        "mean": (1.7094, 5e-5), "sd": (0.0266, 5e-5),
        "pockets": (39, None), "cages": (1_850, 0.10),
    },
    "end_clearance": {
        "min": 0.60, "max": 1.05,
        "mean": (0.8040, 5e-5), "sd": (0.0571, 5e-5),
        "pockets": (190, 0.10), "cages": (2_200, 0.10),
    },
    "pin_skew": {
        "min": -1.2, "max": 1.2,
        "mean": (0.0, 5e-5), "sd": (0.3028, 5e-5),
        "pockets": (75, 0.10), "cages": (3_500, 0.10),
    },
    "pin_entry": {
        "min": 0.0, "max": None,
        "mean": (0.0849, 5e-5), "sd": (0.0227, 5e-5),
        "pockets": (1_005, 0.10), "cages": (44_200, 0.10),
    },
    "weld_gap": {
        "min": 0.075, "max": None,
        "mean": (0.1166, 5e-5), "sd": (0.0071, 5e-5),
        "pockets": (0.4, "factor 2"), "cages": (21, "factor 2"),
    },
    "weld_stress": {
        "min": None, "max": 80.0,
        "mean": (17.31, 5e-3), "sd": (9.06, 5e-3),
        "pockets": (1, "below"), "cages": (20, "below"),
    },
    "ring_clearance_outer": {
        "min": 0.4, "max": None,
        "mean": (0.6441, 5e-5), "sd": (0.0261, 5e-5),
        "pockets": (0, "below"), "cages": (0, "below"),
    },
}  # fmt: skip

# ppm of cages, were the pockets independent. As printed, a sampled figure: it stands for 182 ppm of pockets,
# whereas quadrature gives 191.4 ppm of pockets and with them 9 140 ppm of cages.
IF_INDEPENDENT = {"end_clearance": 8_700}

# "Exact by quadrature", to the digits printed.
DEMO_EXACT = {
    "bore_clearance": {"sd": (0.012504, 5e-7), "pockets": (1.88, 5e-3)},
    "end_clearance": {"mean": (0.80400, 5e-6), "sd": (0.05714, 5e-6)},
    "pin_skew": {"sd": (0.30284, 5e-6), "pockets": (74.2, 0.05)},
    "pin_entry": {"mean": (0.08494, 5e-6), "sd": (0.02268, 5e-6), "pockets": (1_012.8, 0.05)},
    "weld_gap": {
        "mean": (0.11657, 5e-6), "sd": (0.00711, 5e-6),
        "pockets": (0.386, 5e-4), "cages": (18.5, 0.05),
    },
    "ring_clearance_outer": {"mean": (0.64410, 5e-6), "sd": (0.02612, 5e-6)},
}  # fmt: skip

# "With ring B bored 0.15 smaller than ring A, running_clearance >= 0.13 rises to the order of 7 %; with
# hole_position_common 0.12·√0.9 and hole_position_a and _b 0.12·√0.1 pin_entry falls to about 4 ppm."
DEMO_CHANGED = {
    "ring_b_smaller": {
        "spec": DEMO_SPEC | {"hole_pitch_diameter_b": _size(800.0, -0.05, 0.05)},
        "gap": "running_clearance",
        "pockets": 70_000,
    },
    "bored_together": {
        "spec": DEMO_SPEC
        | {
            "hole_position_common": _zone(0.12 * 0.9**0.5),
            "hole_position_a": _zone(0.12 * 0.1**0.5),
            "hole_position_b": _zone(0.12 * 0.1**0.5),
        },
        "gap": "pin_entry",
        "pockets": 4,
    },
}


def demo_tables(spec: dict = DEMO_SPEC) -> dict:
    """Return the nested tables of a case file for a spec, with the limits of the table as requirements.

    ``moved_NAME`` is the square of a gap's distance from its printed mean: its mean over the pockets of a cage
    gives the standard error of a standard deviation, the cage being the unit.
    """
    keys = {"zone": ("zone",), "one-sided": ("limit",), "size": ("nominal",)}
    dimensions = {}
    for name, law in spec.items():
        if law["kind"] == "count":
            continue
        entry = {key: law[key] for key in (*keys[law["kind"]], "sorted_to", "lot_share") if key in law}
        if law["kind"] == "size":
            entry["tolerance"] = [law["lower"], law["upper"]]
        dimensions[name] = entry
    requirements = {}
    chains = {}
    for gap, row in DEMO_TABLE.items():
        limits = {end: row[end] for end in ("min", "max") if row[end] is not None}
        requirements[gap] = limits
        requirements[f"mean_{gap}"] = {"gap": gap, "over": "mean", "min": -1e9}
        chains[f"moved_{gap}"] = {"formula": f"({gap} - {row['mean'][0]!r})**2", "unit": "mm2"}
        requirements[f"moved_{gap}"] = {"over": "mean", "min": -1e9}
    return {
        "cage": {"kind": "cylindrical", "rollers": spec["rollers"]["nominal"]},
        "dimensions": dimensions,
        "chains": chains,
        "requirements": requirements,
    }
