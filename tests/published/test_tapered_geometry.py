"""Tapered and cylindrical cages against direct geometry: lines, cones, spheres and planes in space.

The model's formulas, as the slow twins restate them, against distances found by search (tests/geometry.py, independent
of both) on random cages within the tolerances of an invented drawing.  Every limit is the term that the formula leaves
out, from the pocket's own values (tests/geometry_compare.py); docs/study_tapered_geometry.md has the sizes measured.
Beside them closed forms (OWN, derived in the tests).
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import geometry
import geometry_compare
import numpy as np
import pytest
import tapered_draws
import tapered_twin

Values = dict[str, Any]
PLAN = tapered_draws.PLAN
POCKETS = range(12)
#: floats of lengths up to 3 m
ROUNDING = 1e-9


@pytest.mark.parametrize("seed", POCKETS)
def test_every_gap_of_a_pocket_within_what_is_left_out(seed: int) -> None:
    outside = {
        one.name: (one.difference, one.low, one.high)
        for one in geometry_compare.tapered(seed)
        if not one.low <= one.difference <= one.high
    }
    assert outside == {}


@pytest.mark.parametrize("seed", range(100, 104))
def test_rollers_with_clearance_between_their_raceways(seed: int) -> None:
    """G_r: both seats of the running clearance, and the share of it that puts mid-length nearest to the pin."""
    outside = {
        one.name: (one.difference, one.low, one.high)
        for one in geometry_compare.in_bore(seed, play=0.12)
        if not one.low <= one.difference <= one.high
    }
    assert outside == {}


@pytest.mark.parametrize("seed", POCKETS)
def test_every_gap_of_a_cylindrical_pocket_within_what_is_left_out(seed: int) -> None:
    outside = {
        one.name: (one.difference, one.low, one.high)
        for one in geometry_compare.cylindrical(seed)
        if not one.low <= one.difference <= one.high
    }
    assert outside == {}


def test_a_roller_lies_on_its_raceway() -> None:
    """The direct geometry itself: the cone of the roller touches the cone of the raceway along the whole length."""
    cage, pockets = tapered_draws.drawn(3)
    frame = tapered_draws.frame()
    pin = geometry.pin_of(frame, cage, pockets[5], 0.6)
    roller = geometry.roller_of(frame, cage, pockets[5], pin, 0.6)
    slope = geometry.raceway_angle(frame, cage)
    for end in (-0.5, 0.0, 0.3, 0.5):

        def over_raceway(turn: np.ndarray, end: float = end) -> np.ndarray:
            points = roller.ring(0 * turn + end * roller.length, turn)
            raceway = cage["inner_raceway_a"] / 2 + points[..., 2] * math.tan(slope)
            return (np.hypot(points[..., 0], points[..., 1]) - raceway) * math.cos(slope)

        assert geometry.least(over_raceway, [geometry.TURN]) == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize("seed", range(4))
def test_two_rollers_are_nearest_at_an_end(seed: int) -> None:
    """The least distance of both bodies is that at the nearer end: the gap of two cones runs straight.

    A circle is square to its axis, the least distance square to the surfaces, off by gap/D: second order.
    """
    pocket, frame = geometry_compare.pocket_of(seed)
    rollers = []
    for values, angle, sign in ((pocket.here, pocket.angle, 1), (pocket.follower, pocket.angle + pocket.step, -1)):
        rollers.append(geometry.drifted(frame, pocket.cage, values, angle, sign, 0.0))
    ends = [geometry.between(*rollers, end) for end in (-0.5, 0.5)]
    room = max(ends) * (max(ends) / 70) ** 2 + abs(ends[1] - ends[0]) * 0.3 / 110
    assert geometry.bodies_apart(*rollers) == pytest.approx(min(ends), abs=room)


# -- Closed forms ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("tilt", [2.0, 4.0, 6.0])
def test_nearest_point_of_a_sphere_to_a_plane(tilt: float) -> None:
    """A sphere's pole stays R_s(1/cosβ − 1) farther, along its axis, from a plane that leans by β.

    The plane is as far from the sphere's centre, along the axis, as (R_s + gap·cosβ)/cosβ: with the pole R_s before it,
    κ = R_s − R_s/cosβ.  The nearest point, R_s·sinβ off the axis, is on the end face.
    """
    lean, radius = math.radians(tilt), 300.0
    reach = (5.0, 60.0)
    exact = radius * (1 - 1 / math.cos(lean))
    assert tapered_twin.face_loss("flat", radius, reach, lean, None) == pytest.approx(exact, abs=ROUNDING)
    out = lambda x, turn: radius - np.sqrt(radius**2 - x**2) - x * np.cos(turn) * math.tan(lean)  # noqa: E731
    assert geometry.least(out, [reach, geometry.TURN]) == pytest.approx(exact, abs=ROUNDING)


@pytest.mark.parametrize("face", ["flat", "square", "conical"])
@pytest.mark.parametrize("sphere", [None, 2450.0, 180.0])
def test_ends_of_a_perfect_roller_against_every_face(face: str, sphere: float | None) -> None:
    """Parts without error: κ_A + κ_B by search on real faces, to the fourth order of x/R where the face is a cone.

    Along the circumference a cone is left by its tangent by x²·sinβ/D_hB − …, x⁴ sinβ/D³ the next term.
    """
    cage, here = perfect(sphere)
    frame = tapered_draws.frame(face)
    said = tapered_twin.end_clearance(PLAN, cage, here, 0.0, face)
    room = 35.0**4 * math.sin(PLAN.tilt) / 1200.0**3 if face == "conical" else ROUNDING * 100
    assert geometry.end_play(frame, cage, here, 0.0) == pytest.approx(said, abs=room)


def perfect(sphere: float | None = 2450.0) -> tuple[Values, Values]:
    """A cage whose raceway, rollers and pins share their apex, and a pocket without any error."""
    nominal = tapered_draws.NOMINALS
    apex = nominal["hole_pitch_diameter_a"] / 2 / math.tan(PLAN.tilt)  # before plane A, along the bearing axis
    here = {"roller_length": 110.0, "roller_diameter": 70.0, "roller_bore": 22.0, "pin_diameter": 21.2}
    here |= {"weld_shrinkage": nominal["weld_shrinkage"], "ring_hole_b": 21.45}
    large = (apex + PLAN.finished_spacing / 2) / math.cos(PLAN.tilt) + 55.0  # from the apex, along the roller
    taper = math.atan(35.0 / large)
    here |= {"roller_taper": math.degrees(taper)} | ({} if sphere is None else {"roller_sphere_radius": sphere})
    slope = math.tan(PLAN.tilt - taper)
    cage = {slot: value for slot, value in nominal.items() if slot != "weld_shrinkage"}
    cage |= {"inner_raceway_a": 2 * apex * slope, "inner_raceway_b": 2 * (apex + PLAN.finished_spacing) * slope}
    return cage | {"ring_phase": 0.0}, here


def test_all_cones_share_one_apex() -> None:
    """Similar triangles: seats r = z·tanβ, which the pins' radii are, at every station; crossing and miss are 0."""
    cage, here = perfect()
    pin, roller = tapered_twin.pin_of(PLAN, cage, here, 0.0), tapered_twin.roller_of(PLAN, cage, here, 0.0)
    assert [pin.at(part).real for part in roller.parts] == pytest.approx(roller.seats, abs=ROUNDING)
    assert tapered_twin.apex_crossing(PLAN, cage, here, 0.0) == pytest.approx(0.0, abs=ROUNDING)
    assert tapered_twin.apex_miss(PLAN, cage, here, 0.0) == pytest.approx(0.0, abs=ROUNDING)
    miss, height = geometry.lines_apart(geometry.pin_of(tapered_draws.frame(), cage, here, 0.0))
    assert miss == pytest.approx(0.0, abs=1e-6)
    assert -height == pytest.approx(PLAN.crossing, abs=1e-6)


def test_apex_without_an_error_along_the_circumference() -> None:
    """A pin off radially cuts the bearing axis R_A·W/(R_B − R_A) before plane A, by search; it misses it by nothing."""
    cage, here = perfect()
    here |= {"hole_position_a": (0.05, 0.0), "hole_position_b": (-0.04, 0.0), "pin_seat_a": (0.01, 0.0)}
    cage |= {"ring_parallelism": (0.03, 0.0)}
    pin = tapered_twin.pin_of(PLAN, cage, here, 0.0)
    exact = pin.at_a.real * pin.spacing / (pin.at_b.real - pin.at_a.real)
    miss, height = geometry.lines_apart(geometry.pin_of(tapered_draws.frame(), cage, here, 0.0))
    # ring B, leaning by p/R, turns its own holes: R_B is shorter by p²/2R and b·p·tanβ/R
    lever = pin.at_b.real * pin.spacing / (pin.at_b.real - pin.at_a.real) ** 2
    assert -height == pytest.approx(exact, abs=lever * (0.03**2 + 0.04 * 0.03) / 600)
    assert miss == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize("turn", [0.02, 0.12, 0.5])
def test_angle_between_generators_of_a_cone(turn: float) -> None:
    """cosψ = cos²β + sin²β cosΔ, that is sin(ψ/2) = sinβ·sin(Δ/2)."""
    one, two = geometry.leaning(0.3, PLAN.tilt), geometry.leaning(0.3 + turn, PLAN.tilt)
    half = math.asin(math.sin(PLAN.tilt) * math.sin(turn / 2))
    assert one @ two == pytest.approx(math.cos(2 * half), abs=1e-15)


def test_rollers_that_share_the_apex() -> None:
    """gap_k = 2s·sin(ψ/2 − ν), s = D_k/(2 sinν): two cones about generators of a cone, at the same distance s.

    Points at the distance s from the apex, on the generators that face each other, which are ψ − 2ν apart.  Search
    finds the least distance of a circle from the cone, s·sin(ψ − 2ν), smaller by 1 − cos(ψ/2 − ν).
    """
    cage, here = perfect()
    taper, step = math.radians(here["roller_taper"]), 2 * math.pi / tapered_draws.ROLLERS
    at = PLAN, cage, here
    roller = tapered_twin.roller_of(*at, 0.0)
    drift = tapered_twin.roller_drift(*at, 0.0)
    between = step + drift.backward - drift.forward
    assert -drift.backward == pytest.approx(0.4 / roller.seats[2], rel=1e-9)  # c₊ = 0.4, first used up at the large end
    half = math.asin(math.sin(PLAN.tilt) * math.sin(between / 2))
    frame = tapered_draws.frame()
    for k, end, where in ((0, "small", -0.5), (2, "large", 0.5)):
        reach = roller.diameters[k] / 2 / math.sin(taper)
        exact = 2 * reach * math.sin(half - taper)
        assert tapered_twin.roller_spacing(*at, here, 0.0, step, end) == pytest.approx(exact, abs=1e-9)
        square = exact * math.cos(half - taper)
        found = geometry.spacing(frame, cage, (here, here), 0.0, step, where)
        assert found == pytest.approx(square, abs=1e-7)


def test_a_lopsided_pin_stops_its_roller_sooner() -> None:
    """A pin off by m square to its roller leaves √(c₊² − m²) each way; in the ring's plane it is off by m/cosβ."""
    cage, here = perfect()
    here |= {"hole_position_common": (0.25, 0.0)}
    step = 2 * math.pi / tapered_draws.ROLLERS
    roller = tapered_twin.roller_of(PLAN, cage, here, 0.0)
    drift = tapered_twin.roller_drift(PLAN, cage, here, 0.0)
    assert drift.forward == pytest.approx(math.sqrt(0.4**2 - 0.25**2) / roller.seats[2], rel=1e-6)
    for end, where in (("small", -0.5), ("large", 0.5)):
        said = tapered_twin.roller_spacing(PLAN, cage, here, here, 0.0, step, end)
        found = geometry.spacing(tapered_draws.frame(), cage, (here, here), 0.0, step, where)
        # a chord stands square to the axes' bisector, the least distance to a surface; f²/2R of the arc is radial
        assert found == pytest.approx(said, abs=said * (said / 60) ** 2 + 0.4**2 / 575 * 0.25 / 0.3)


def test_a_skewed_pin_passes_the_bearing_axis() -> None:
    """Pins off by a millimetre along the circumference, to either side: |R_A P_B − R_B P_A|/√(ΔR² + ΔP²) by search."""
    cage, here = perfect()
    here |= {"hole_position_a": (0.0, 1.0), "hole_position_b": (0.0, -1.0)}
    miss, _ = geometry.lines_apart(geometry.pin_of(tapered_draws.frame(), cage, here, 0.0))
    assert tapered_twin.apex_miss(PLAN, cage, here, 0.0) == pytest.approx(miss, abs=1e-6)


def test_pitches_by_the_angles_of_pins() -> None:
    """pitch_difference: two pitches in a row as arcs on one circle, from the angles of the pins at mid-length.

    P_t is taken for R times the angle: off by P_t·(radial errors)/R.
    """
    cage, pockets = tapered_draws.drawn(5)
    step, frame = 2 * math.pi / len(pockets), tapered_draws.frame()
    angles = [k * step for k in range(3)]
    middles = [geometry.pin_of(frame, cage, p, a).axis(0.5) for p, a in zip(pockets[:3], angles, strict=True)]
    radius = np.mean([math.hypot(*m[:2]) for m in middles])
    turns = [math.atan2(m[1], m[0]) for m in middles]
    found = abs(radius * ((turns[2] - turns[1]) - (turns[1] - turns[0])))
    said = tapered_twin.pitch_difference(PLAN, cage, pockets[:3], angles)
    off = [tapered_twin.pin_of(PLAN, cage, p, a).at(0.5) for p, a in zip(pockets[:3], angles, strict=True)]
    room = 4 * max(abs(z.imag) for z in off) * max(abs(z.real - radius) for z in off) / radius
    assert said > 100 * room
    assert found == pytest.approx(said, abs=room)


def test_thermal_growth_of_everything_alike() -> None:
    """All parts of one expansion: every length grows by 1 + αΔT, angles and stresses stay, the layout with them."""
    grown = 1 + 12e-6 * 80
    cage, pockets = tapered_draws.drawn(8)
    options = {"ring_face": "conical"}
    cold = tapered_twin.cage_gaps(cage, pockets, tapered_draws.NOMINALS, options)

    def hot(values: Values) -> Values:
        return {
            name: v if name == "roller_taper" else (v[0] * grown, v[1] * grown) if isinstance(v, tuple) else v * grown
            for name, v in values.items()
        }

    warm = tapered_twin.cage_gaps(hot(cage), [hot(p) for p in pockets], hot(tapered_draws.NOMINALS), options)
    for name, values in cold.items():
        factor = 1.0 if name.startswith("pin_s") or name.startswith("pin_t") or name.endswith("stress") else grown
        assert warm[name] == pytest.approx([factor * v for v in values], rel=1e-9, abs=1e-9), name


def test_thermal_growth_of_the_inner_ring_alone() -> None:
    """The raceway F(z) about the bearing axis, with its planes W₀ apart, all × (1 + αΔT): seats move by αΔT·F_A/2.

    F(λ) = (1+g)F_A + (1+g)(F_B − F_A)·λW_i/((1+g)W₀): the cone keeps its angle and moves outward by g·F_A/2.
    """
    growth = 12e-6 * 60
    cage, pockets = tapered_draws.drawn(9)
    hot = cage | {slot: cage[slot] * (1 + growth) for slot in ("inner_raceway_a", "inner_raceway_b")}
    plan = replace(PLAN, finished_spacing=PLAN.finished_spacing * (1 + growth))
    before = tapered_twin.roller_of(PLAN, cage, pockets[0], 0.0).seats
    after = tapered_twin.roller_of(plan, hot, pockets[0], 0.0).seats
    moved = [two - one for one, two in zip(before, after, strict=True)]
    assert moved == pytest.approx([growth * cage["inner_raceway_a"] / 2] * 3, abs=1e-9)


@pytest.mark.parametrize(("fixture", "held"), [("centres", False), ("squares", True)])
def test_bending_of_a_pin(fixture: str, held: bool) -> None:
    """A beam built in at ring A whose end is moved by δ, its curvature integrated numerically.

    EI·y'' = M(x): free to lean at ring B M = F(l − x), y(l) = F l³/3EI; kept square there M = F(l/2 − x),
    y(l) = F l³/12EI.  Stress M(0)·(d/2)/I: 3E d δ/2l² and twice that, with l = W/cosβ.
    """
    cage, here = perfect()
    modulus, deflection = 206_000.0, 0.07
    length, size = cage["ring_spacing"] / math.cos(PLAN.tilt), here["pin_diameter"]
    second_moment = math.pi * size**4 / 64
    x = np.linspace(0.0, length, 20001)
    moment = length / 2 - x if held else length - x  # of a unit force
    step = x[1] - x[0]
    slope = np.concatenate([[0.0], np.cumsum((moment[1:] + moment[:-1]) / 2) * step]) / (modulus * second_moment)
    end = float(np.sum((slope[1:] + slope[:-1]) / 2) * step)
    assert end == pytest.approx(length**3 / ((12 if held else 3) * modulus * second_moment), rel=1e-7)
    stress = deflection / end * moment[0] * size / 2 / second_moment
    seat = here | {"pin_seat_b": (0.0, deflection)}
    assert tapered_twin.weld_stress(PLAN, cage, seat, 0.0, modulus, fixture) == pytest.approx(stress, rel=1e-7)
    if not held:
        late = here | {"pin_squareness_a": (deflection + 0.125, 0.0)}
        assert tapered_twin.entry_stress(PLAN, cage, late, 0.0, modulus) == pytest.approx(stress, rel=1e-7)


def test_nominal_pins_enter_without_offset() -> None:
    """The hole is drilled for the nominal spacing: |v| = 0 for perfect parts, and for search too."""
    cage, here = perfect()
    assert tapered_twin.pin_entry(PLAN, cage, here, 0.4) == pytest.approx(0.125, abs=ROUNDING)
    assert geometry.entry(tapered_draws.frame(), cage, here, 0.4) == pytest.approx(0.125, abs=ROUNDING)
