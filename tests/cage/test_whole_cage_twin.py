"""The slow twin of ring_entry and cage_float: a few pins by hand, bounds by linear programmes, and the package."""

from __future__ import annotations

import cmath
import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
import tapered_draws
import tapered_twin
import twins
import whole_cage_twin as twin
from walked import gaps_on

from stackup.case import from_mapping

Values = dict[str, Any]
#: what the search finds of lengths of some 0.1 mm (ftol 1e-14 in their unit), seen against the cases by hand
SEARCH = 2e-7

CAGE = {"hole_pitch_diameter": 200.0, "ring_spacing": 60.0, "inner_raceway": 180.0}
POCKET = {"roller_diameter": 20.0, "roller_length": 58.0, "roller_bore": 8.2, "pin_diameter": 8.0, "ring_hole_b": 8.3}
OFF = 0.03


def pockets(*places: complex) -> list[Values]:
    """Pockets whose holes in ring A are off, which is the same for both gaps where the hole in ring B is too."""
    return [POCKET | {"hole_position_a": (z.real, z.imag)} for z in places]


def turned_back(shift: complex, pins: int) -> list[complex]:
    """A shift (x, y) of the whole ring in the axes of each pocket."""
    return [shift * cmath.exp(-2j * math.pi * i / pins) for i in range(pins)]


# what is off (mm; r + i·t) and the length that the best pose leaves (closed form):
# one pin of three, off outward: ε = d/2 leaves d/2 everywhere; forces of 1/2 on it and 1/4 on each of the others,
# against it, balance and turn nothing, so that no pose leaves less
ENTRIES = {
    "all outward": ([OFF] * 3, OFF),
    "all along": ([1j * OFF] * 3, 0.0),
    "ring beside": (turned_back(OFF * (0.6 + 0.8j), 3), 0.0),
    "one outward": ([OFF, 0, 0], OFF / 2),
    "all outward, forty": ([OFF] * 40, OFF),
}


@pytest.mark.parametrize(("places", "left"), ENTRIES.values(), ids=ENTRIES)
def test_rings_over_pins_by_hand(places: list[complex], left: float) -> None:
    problem = twin.cylindrical_entry(CAGE, pockets(*map(complex, places)))
    assert twin.greatest(problem)[0] == pytest.approx(0.15 - left, abs=SEARCH)


def both(places: list[complex]) -> list[Values]:
    """Pockets whose holes are off alike in both rings."""
    return [POCKET | {"hole_position_common": (complex(z).real, complex(z).imag)} for z in places]


# what pins are off and the misfit that the best shift leaves (closed form): only radial parts count;
# one of three: x = −2d/3 leaves d/3 in each, by forces of 1/3 outward on every pin, which balance; one of four: only
# the pin across stands against it, by forces of 1/2
FLOATS = {
    "all outward": ([OFF] * 3, OFF),
    "along does not count": ([1j * OFF] * 3, 0.0),
    "cage beside": ([complex(z.real) for z in turned_back(OFF * (0.6 + 0.8j), 5)], 0.0),
    "one outward": ([OFF, 0, 0], OFF / 3),
    "one inward of four": ([-OFF, 0, 0, 0], OFF / 2),
}


@pytest.mark.parametrize(("places", "left"), FLOATS.values(), ids=FLOATS)
def test_a_cage_that_floats_by_hand(places: list[complex], left: float) -> None:
    problem = twin.cylindrical_float(CAGE, both(places))
    assert twin.greatest(problem)[0] == pytest.approx(0.1 - left, abs=SEARCH)


def test_a_cage_cannot_float_away_from_both_seats() -> None:
    """Pins midway between the seats leave G_r/4, whatever the shift."""
    cage = CAGE | {"radial_internal_clearance": 0.08, "inner_raceway": 180.0 - 0.04}
    assert twin.greatest(twin.cylindrical_float(cage, both([0] * 6)))[0] == pytest.approx(0.1 - 0.02, abs=SEARCH)


def tapered_pockets(count: int) -> tuple[Values, list[Values]]:
    """A tapered cage whose pins stand on its rollers' axes in all stations."""
    nominal = tapered_draws.NOMINALS
    plan, length, taper, roller = tapered_draws.PLAN, 110.0, 0.7518, 70.0
    pocket = {"roller_diameter": roller, "roller_length": length, "roller_taper": taper, "roller_bore": 22.0}
    pocket |= {"pin_diameter": 21.2, "ring_hole_b": 21.45, "weld_shrinkage": nominal["weld_shrinkage"]}
    cage = {slot: value for slot, value in nominal.items() if slot != "weld_shrinkage"}
    cage |= {"inner_raceway_a": 1081.6, "inner_raceway_b": 1128.6}
    made = tapered_twin.roller_of(plan, cage, pocket, 0.0)
    pin = tapered_twin.pin_of(plan, cage, pocket, 0.0)
    off = [pin.at(part).real - seat for part, seat in zip(made.parts, made.seats, strict=True)]
    # both raceway diameters move so that the two ends of the roller stand on the pin
    grow = (off[2] - off[0]) / (made.parts[2] - made.parts[0])
    cage["inner_raceway_a"] += 2 * (off[0] - grow * made.parts[0])
    cage["inner_raceway_b"] += 2 * (off[0] + grow * (1 - made.parts[0]))
    return cage, [dict(pocket) for _ in range(count)]


# radii that pins are off, and the misfit that a shift along x, y and z leaves (closed form):
# three pins are always met by three shifts; of four nothing can be taken from what is outward and inward in turn:
# forces of 1/4 outward, inward, outward, inward pull along no axis
TAPERED_FLOATS = {
    "all outward": ([OFF] * 6, 0.0),
    "three": ([OFF, -OFF, OFF / 2], 0.0),
    "one of four": ([OFF, 0, 0, 0], OFF / 4),
    "four in turn": ([OFF, -OFF, OFF, -OFF], OFF),
}


@pytest.mark.parametrize(("radii", "left"), TAPERED_FLOATS.values(), ids=TAPERED_FLOATS)
def test_a_tapered_cage_floats_along_its_axis_too(radii: list[float], left: float) -> None:
    cage, made = tapered_pockets(len(radii))
    made = [p | {"hole_position_common": (r, 0.0)} for p, r in zip(made, radii, strict=True)]
    problem = twin.tapered_float(tapered_draws.PLAN, cage, made)
    assert twin.greatest(problem)[0] == pytest.approx(0.4 - left, abs=SEARCH)


def test_a_tapered_ring_leaning_is_met_by_an_offset() -> None:
    """c = 0: ε = p·tan(β/2) leaves |p|·tan(β/2) in every pocket (docs/proofs.md)."""
    cage, made = tapered_pockets(8)
    cage["ring_parallelism"] = (0.03, 0.04)
    found, pose = twin.greatest(twin.tapered_entry(tapered_draws.PLAN, cage, made))
    half = math.tan(tapered_draws.PLAN.tilt / 2)
    assert found == pytest.approx(0.125 - 0.05 * half, abs=SEARCH)
    assert twin.tapered_entry(tapered_draws.PLAN, cage, made).left(np.array([0.03, 0.04, 0.0]) * half) == pytest.approx(
        0.125 - 0.05 * half, abs=1e-12
    )
    assert np.isfinite(pose).all()


def cylindrical_cage(seed: int) -> tuple[Values, list[Values]]:
    """A random cylindrical cage of some pins."""
    rng = np.random.default_rng(seed)
    slots = ("hole_position_a", "hole_position_b", "pin_seat_a", "pin_squareness_a", "pin_seat_b", "pin_straightness")
    made = [
        POCKET | {slot: tuple(0.02 * rng.standard_normal(2)) for slot in slots} for _ in range(int(rng.integers(3, 30)))
    ]
    play = float(max(0.0, 0.05 * rng.standard_normal()))
    return CAGE | {"hole_pitch_diameter_b": 200.02, "radial_internal_clearance": play}, made


PROBLEMS: dict[str, Callable[[int], twin.Problem]] = {
    "cylindrical ring_entry": lambda seed: twin.cylindrical_entry(*cylindrical_cage(seed)),
    "cylindrical cage_float": lambda seed: twin.cylindrical_float(*cylindrical_cage(seed)),
    "tapered ring_entry": lambda seed: twin.tapered_entry(
        tapered_draws.PLAN, *tapered_draws.drawn(seed, 12)
    ),
    "tapered cage_float": lambda seed: twin.tapered_float(
        tapered_draws.PLAN, *tapered_draws.drawn(seed, 12)
    ),
}


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("made", PROBLEMS.values(), ids=PROBLEMS)
def test_what_is_found_meets_the_linear_programme(made: Callable[[int], twin.Problem], seed: int) -> None:
    """Found and bound are apart by at most the longest length times 1 − cos(π/directions)."""
    problem = made(seed)
    found, pose = twin.greatest(problem)
    longest = np.linalg.norm(problem.offset - problem.moves @ pose, axis=1).max()
    above = twin.upper_bound(problem) - found
    assert -SEARCH <= above <= longest * (1 - math.cos(math.pi / 180)) + SEARCH


@pytest.mark.parametrize("seed", range(3))
def test_the_pose_as_drawn_is_no_better(seed: int) -> None:
    """ring_entry is at least the least pin_entry, cage_float at least the least running clearance."""
    cage, made = tapered_draws.drawn(seed, 12)
    gaps = tapered_twin.cage_gaps(cage, made, tapered_draws.NOMINALS, {"ring_face": "conical"})
    plan = tapered_draws.PLAN
    assert twin.greatest(twin.tapered_entry(plan, cage, made))[0] >= min(gaps["pin_entry"])
    least = min(gaps["running_clearance_small"] + gaps["running_clearance_large"])
    assert twin.greatest(twin.tapered_float(plan, cage, made))[0] >= least
    whole = twins.cage_gaps(*cylindrical_cage(seed))
    assert twin.greatest(twin.cylindrical_entry(*cylindrical_cage(seed)))[0] >= min(whole["pin_entry"])
    assert twin.greatest(twin.cylindrical_float(*cylindrical_cage(seed)))[0] >= min(whole["running_clearance"])


@pytest.mark.parametrize("seed", range(6))
def test_the_shift_along_the_circumference_counts_for_little(seed: int) -> None:
    """Section 4, gap 8 leaves out that a shift (x, y) moves pins along the circumference too.

    A turn of the roller about the bearing axis takes it up but for |shift|·(r_L − r_S)/(r_L + r_S) at the ends.
    """
    cage, made = tapered_draws.drawn(seed, 20)
    plan = tapered_draws.PLAN
    problem = twin.tapered_float(plan, cage, made)
    found, pose = twin.greatest(problem)
    left = []
    for pocket, angle in zip(made, twin.turns_of(made), strict=True):
        moved = complex(*pose[:2]) * cmath.exp(-1j * angle)
        pin = tapered_twin.pin_of(plan, cage, pocket, angle)
        pin = replace(pin, at_a=pin.at_a + moved, at_b=pin.at_b + moved)
        roller = tapered_twin.roller_of(plan, cage, pocket, angle)
        for part, seat, beside in zip(roller.parts, roller.seats, tapered_twin.aside(pin, roller), strict=True):
            misfit = (pin.at(part).real - seat) * math.cos(plan.tilt) - pose[2] * math.sin(plan.tilt)
            left.append(twins.play_kept(pocket) - math.hypot(misfit, beside))
    small, _, large = tapered_twin.roller_of(plan, cage, made[0], 0.0).seats
    most = math.hypot(*pose[:2]) * (large - small) / (large + small)
    assert 0 < abs(min(left) - found) <= most


def told(cage: Values, pocket: Values, sizes: Values) -> Values:
    """Dimensions of a case: nominals of sizes, zones and limits of some width, which walking on values leaves aside."""
    zones = {name: {"zone": 0.1} for name, value in (cage | pocket).items() if isinstance(value, tuple)}
    rest = {name: {"limit": 0.1} for name in cage | pocket if name not in zones and name not in sizes}
    rest |= {name: {"tolerance": 0.1} for name in rest if name == "ring_phase"}
    return zones | rest | {name: {"nominal": size} for name, size in sizes.items()}


@pytest.mark.parametrize("seed", range(8))
def test_the_package_on_cylindrical_cages(seed: int) -> None:
    cage, made = cylindrical_cage(seed)
    sizes = {name: value for name, value in (cage | made[0]).items() if not isinstance(value, tuple)}
    shape = {"kind": "cylindrical", "rollers": len(made)}
    case = from_mapping({"cage": shape, "dimensions": told(cage, made[0], sizes), "requirements": {}})
    found = gaps_on(case, cage, made)
    for name, problem in (("ring_entry", twin.cylindrical_entry), ("cage_float", twin.cylindrical_float)):
        assert found[name][0] == pytest.approx(twin.greatest(problem(cage, made))[0], abs=SEARCH), name


@pytest.mark.parametrize("seed", range(8))
def test_the_package_on_tapered_cages(seed: int) -> None:
    """With a radial clearance in every fourth one, and a preload in every fourth."""
    cage, made = tapered_draws.drawn(seed, 3 + 5 * seed)
    cage |= {"radial_internal_clearance": (0.0, 0.08, 0.0, -0.02)[seed % 4]}
    laws = tapered_draws.LAWS.items()
    sizes = {name: law["nominal"] for name, law in laws if "nominal" in law and name != "ring_phase"}
    sizes |= {"roller_sphere_radius": tapered_draws.SPHERE, "radial_internal_clearance": 0.05}
    shape = {"kind": "tapered", "rollers": len(made), "ring_face": "conical"}
    case = from_mapping({"cage": shape, "dimensions": told(cage, made[0], sizes), "requirements": {}})
    found = gaps_on(case, cage, made)
    for name, problem in (("ring_entry", twin.tapered_entry), ("cage_float", twin.tapered_float)):
        expected = twin.greatest(problem(tapered_draws.PLAN, cage, made))[0]
        assert found[name][0] == pytest.approx(expected, abs=SEARCH), name
