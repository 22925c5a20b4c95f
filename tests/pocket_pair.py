"""One pocket pair of a cylindrical cage with every slot filled, and its gaps to 1e-9.

Source: the cage values to check against, table "One pocket pair, exact" (OWN: computed from the model by
code independent of the package). Z = 40; only pockets 0 and 1, at 0° and 9°, are given. Lengths in mm,
stresses in N/mm2, pin_skew and pin_tilt in mrad, zones as (r, t), of the whole cage as (x, y).
"""

ROLLERS = 40
OPTIONS = {"pin_modulus": 206_000.0, "weld_fixture": "centres"}

# Source line: "Cage: D_hA 800.02, D_hB 800.05, x_w 0.02, …, fixture centres."
CAGE = {
    "hole_pitch_diameter": 800.02,
    "hole_pitch_diameter_b": 800.05,
    "pitch_shrinkage_b": 0.02,
    "ring_offset": (0.010, -0.006),
    "ring_phase": 0.012,
    "ring_spacing": 81.01,
    "ring_parallelism": (0.008, -0.004),
    "inner_raceway": 749.99,
    "radial_internal_clearance": 0.11,
    "outer_guide": 900.0,
    "ring_outside": 890.03,
    "ring_inside": 710.01,
    "inner_guide": 700.0,
    "ring_concentricity": (0.009, 0.012),
}

# Source lines: "| pocket 0 | 49.992 | 80.004 | …" and "| pocket 1 | 49.988 | 79.997 | …"
POCKETS = (
    {
        "roller_diameter": 49.992,
        "roller_length": 80.004,
        "roller_bore": 18.013,
        "roller_bore_runout": 0.012,
        "roller_end_runout": 0.006,
        "pin_diameter": 17.391,
        "pin_straightness": (0.007, -0.004),
        "hole_position_common": (0.003, -0.002),
        "hole_position_a": (0.021, -0.013),
        "hole_position_b": (-0.015, 0.018),
        "pin_seat_a": (0.004, 0.006),
        "pin_squareness_a": (-0.008, 0.011),
        "ring_hole_b": 17.607,
        "pin_seat_b": (0.005, -0.009),
        "weld_shrinkage": 0.094,
        "ring_face_flatness": 0.008,
    },
    {
        "roller_diameter": 49.988,
        "roller_length": 79.997,
        "roller_bore": 17.988,
        "roller_bore_runout": 0.018,
        "roller_end_runout": 0.011,
        "pin_diameter": 17.388,
        "pin_straightness": (-0.006, 0.010),
        "hole_position_common": (-0.004, 0.005),
        "hole_position_a": (-0.017, 0.024),
        "hole_position_b": (0.026, -0.011),
        "pin_seat_a": (-0.007, 0.003),
        "pin_squareness_a": (0.012, -0.005),
        "ring_hole_b": 17.594,
        "pin_seat_b": (-0.010, 0.004),
        "weld_shrinkage": 0.117,
        "ring_face_flatness": 0.013,
    },
)

# Gap: (pocket 0, pocket 1); None where the table has no number.
# Source: the table "| gap | pocket 0 | pocket 1 |". entry_stress has no line there: the pins enter.
EXPECTED = {
    "bore_clearance": (0.622000000, 0.600000000),
    "running_clearance": (0.258342957, 0.222992786),
    "roller_spacing": (12.202460264, None),
    "end_clearance": (0.905441090, 0.878716903),
    "pin_skew": (0.271571411, -0.364034992),
    "pin_tilt": (-0.246883101, 0.665822449),
    "roller_wall": (15.983500000, 15.991000000),
    "pin_entry": (0.086810380, 0.034823338),
    "entry_stress": (0.0, 0.0),
    "weld_stress": (9.155051184, 47.012630434),
    "weld_gap": (0.097704370, 0.092229670),
    "weld_gap_widest": (0.118295630, 0.113770330),
    "ring_clearance_outer": (4.619500000, 4.629500000),
    "ring_clearance_inner": (4.651500000, 4.657500000),
}

# Source: the paragraph "The same pair, one change each." What changes in which dict.
CHANGED = {
    "outer_seat": {  # "F_w 749.79 (R held at the outer seat)"
        "cage": {"inner_raceway": 749.79},
        "pockets": ({}, {}),
        "options": {},
        "expected": {
            "running_clearance": (0.158791657, 0.148420875),
            "roller_spacing": (12.207492099, None),
        },
    },
    "bore_used_up": {  # "F_w 750.80 (f_k = 0)"
        "cage": {"inner_raceway": 750.80},
        "pockets": ({}, {}),
        "options": {},
        "expected": {
            "running_clearance": (-0.132665109, -0.180654948),
            "roller_spacing": (12.886175033, None),
        },
    },
    "narrow_holes": {  # "d_hB 17.407, 17.394"
        "cage": {},
        "pockets": ({"ring_hole_b": 17.407}, {"ring_hole_b": 17.394}),
        "options": {},
        "expected": {
            "pin_entry": (-0.013189620, -0.065176662),
            "entry_stress": (10.800355653, 53.360877390),
        },
    },
    "squares": {  # "`weld_fixture` "squares""
        "cage": {},
        "pockets": ({}, {}),
        "options": {"weld_fixture": "squares"},
        "expected": {"weld_stress": (18.310102367, 94.025260867)},
    },
}
