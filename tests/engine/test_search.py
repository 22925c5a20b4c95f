"""The search closes on known extremes, and its bound is never passed."""

import math

import numpy as np
import pytest
import sympy

from stackup.cage import Given, kind
from stackup.chain.bounds import Disc, Ground
from stackup.chain.model import Step
from stackup.chain.program import Builder, Node, Program, split_at, unroll
from stackup.chain.symbols import made, nominal, nominal_now, scale, symbol
from stackup.engine.search import Search


def program_of(nodes, inputs):
    return Program(tuple(nodes), {"y": len(nodes) - 1}, {name: i for i, name in enumerate(inputs)})


def ground_of(low, high, discs=()):
    return Ground(
        {k: np.array(v, dtype=float) for k, v in low.items()},
        {k: np.array(v, dtype=float) for k, v in high.items()},
        tuple(discs),
        {},
    )


def length_less_size():
    """Size − |v + w|: closed form at both ends."""
    names = ("s", "v.r", "v.t", "w.r", "w.t")
    nodes = [Node("input", (), name) for name in names]
    nodes += [Node("add", (1, 3)), Node("add", (2, 4)), Node("length", (5, 6)), Node("sub", (0, 7))]
    discs = [
        Disc(f"{z}.r", f"{z}.t", np.zeros(2), np.zeros(2), np.array(r))
        for z, r in (("v", [0.1, 0.2]), ("w", [0.3, 0.3]))
    ]
    low = {name: [0.0, 0.0] for name in names} | {"s": [1.0, 1.05]}
    high = {name: [0.0, 0.0] for name in names} | {"s": [1.1, 1.2]}
    return program_of(nodes, names), ground_of(low, high, discs)


@pytest.mark.parametrize(("sign", "expected", "column"), [(1, 1.0 - 0.4, 0), (1, 0.55, 1), (-1, 1.2, 1)])
def test_a_length_of_two_zones_closes_on_the_sum_of_their_radii(sign, expected, column):
    """least s − (0.1 + 0.3) = 0.6 in column 0, 1.05 − 0.5 = 0.55 in column 1; greatest 1.2 at |v + w| = 0."""
    program, ground = length_less_size()
    if column == 0:
        ground = ground.take(np.array([0]))
    end = Search(program, "y", sign, ground, {}, 1e-4).run(4000)
    assert end.found - end.bound <= 1e-4
    assert sign * end.found == pytest.approx(expected, abs=1e-4)
    assert sign * expected >= end.bound - 1e-12
    assert end.column == column


def leg_with_a_neighbour():
    """t + √max(c² − m², 0) with (m, t) in a disc of radius 0.2 and c from 0.1 to 0.3: pins may use up the bore."""
    names = ("c", "v.r", "v.t")
    nodes = [Node("input", (), name) for name in names] + [Node("constant", (), 0.0)]
    nodes += [Node("square", (0,)), Node("square", (1,)), Node("sub", (4, 5)), Node("greatest", (3, 6))]
    nodes += [Node("sqrt", (7,)), Node("add", (2, 8))]
    disc = Disc("v.r", "v.t", np.zeros(1), np.zeros(1), np.array([0.2]))
    low = {"c": [0.1], "v.r": [0.0], "v.t": [0.0]}
    return program_of(nodes, names), ground_of(low, {"c": [0.3], "v.r": [0.0], "v.t": [0.0]}, [disc])


def test_a_used_up_bore_closes_or_says_that_it_does_not():
    """Least: t = −√0.03, m = 0.1 = c, f = 0 against t = −0.2, f = 0.1: −0.1732; greatest: c = 0.3, t = 0.2: 0.5."""
    program, ground = leg_with_a_neighbour()
    for sign, expected in ((1, -math.sqrt(0.03)), (-1, -0.5)):
        end = Search(program, "y", sign, ground, {}, 1e-4).run(4000)
        assert end.bound <= expected + 1e-9
        assert end.found == pytest.approx(expected, abs=1e-4)
        assert end.found >= expected - 1e-7


def growing_zone():
    """(h − d)/2 − |v| with the zone growing by half the departure of h from 10: h cancels."""
    names = ("h", "d", "v.r", "v.t")
    nodes = [Node("input", (), name) for name in names] + [Node("constant", (), 0.5)]
    nodes += [Node("sub", (0, 1)), Node("mul", (4, 5)), Node("length", (2, 3)), Node("sub", (6, 7))]
    disc = Disc("v.r", "v.t", np.zeros(1), np.zeros(1), np.array([0.05]), "h", 0.5, 10.0)
    low = {"h": [10.0], "d": [9.8], "v.r": [-0.1], "v.t": [-0.1]}
    return program_of(nodes, names), ground_of(low, {"h": [10.04], "d": [9.9], "v.r": [0.1], "v.t": [0.1]}, [disc])


def test_material_bonus_cancels_the_size_that_gives_it():
    """(10 − 9.9)/2 − 0.05 = 0 whatever h is (ISO 2692, worst case taken jointly)."""
    program, ground = growing_zone()
    end = Search(program, "y", 1, ground, {}, 1e-4).run(4000)
    assert end.found - end.bound <= 1e-4
    assert end.found == pytest.approx(0.0, abs=1e-4)


@pytest.mark.parametrize("case", [length_less_size, leg_with_a_neighbour, growing_zone])
@pytest.mark.parametrize("sign", [1, -1])
def test_ten_times_the_budget_never_passes_the_bound(case, sign):
    """What more search finds lies above the bound that less search gave; and a repeat is the same to the bit."""
    program, ground = case()
    small, again, large = (Search(program, "y", sign, ground, {}, 1e-9).run(boxes) for boxes in (60, 60, 600))
    assert small == again
    assert large.found >= small.bound - 1e-12
    assert large.bound <= small.found + 1e-12


# the reference cage (invented): 48 rollers, both rings of one pitch diameter, five sorting classes of 4 µm
SIZES = {
    "roller_diameter": (49.98, 50.0), "roller_length": (108.946, 109.0), "roller_bore": (16.0, 16.07),
    "roller_bore_runout": (0.0, 0.04), "roller_end_runout": (0.0, 0.02), "pin_diameter": (15.373, 15.4),
    "hole_pitch_diameter": (800.1, 800.2), "ring_hole_b": (15.62, 15.663), "ring_phase": (-0.04, 0.04),
    "ring_spacing": (109.75, 110.05), "weld_shrinkage": (0.04, 0.16), "ring_face_flatness": (0.0, 0.04),
    "inner_raceway": (749.95, 750.0), "radial_internal_clearance": (0.26, 0.40), "outer_guide": (848.0, 848.14),
    "ring_outside": (845.86, 846.0), "ring_inside": (754.0, 754.14), "inner_guide": (751.86, 752.0),
}  # fmt: skip
ZONES = {
    "pin_straightness": 0.03, "hole_position_a": 0.12, "hole_position_b": 0.12, "pin_seat_a": 0.04,
    "pin_squareness_a": 0.1, "pin_seat_b": 0.06, "ring_offset": 0.1, "ring_parallelism": 0.1,
    "ring_concentricity": 0.12,
}  # fmt: skip
PARAMETERS = {"rollers": 48.0, "pin_modulus": 206000.0, "weld_factor": 1.0}
CYLINDRICAL = kind("cylindrical")
GAPS = [gap.name for gap in CYLINDRICAL.gaps if gap.scope == "pocket"]


def cage_program():
    scopes, steps = {}, []
    for slot in CYLINDRICAL.slots:
        parts = [f"{slot.name}.{p}" for p in ("rt" if slot.scope == "pocket" else "xy")] if slot.kind == "zone" else []
        scopes |= dict.fromkeys(parts or [slot.name], slot.scope)
        if parts and slot.scope == "cage":
            x, y, angle = symbol(parts[0]), symbol(parts[1]), symbol("angle")
            steps.append(Step(f"{slot.name}.r", x * sympy.cos(angle) + y * sympy.sin(angle)))
            steps.append(Step(f"{slot.name}.t", y * sympy.cos(angle) - x * sympy.sin(angle)))
    left_out = {symbol(n): 0 for n in ("hole_position_common.r", "hole_position_common.t", "pitch_shrinkage_b")}
    left_out[symbol("hole_pitch_diameter_b")] = symbol("hole_pitch_diameter")
    sizes = [slot.name for slot in CYLINDRICAL.slots if slot.kind == "size"]
    left_out |= {made(name): symbol(name) for name in sizes if symbol(name) not in left_out} | {scale("outer_ring"): 1}
    left_out |= {made("hole_pitch_diameter_b"): symbol("hole_pitch_diameter")}
    left_out |= {of("roller_diameter"): 50 for of in (nominal, nominal_now)}
    builder = Builder(scopes, PARAMETERS)
    done = {
        s.name: builder.step(Step(s.name, sympy.sympify(s.formula).xreplace(left_out)))
        for s in [*steps, *CYLINDRICAL.steps(Given(frozenset(), {}))]
    }
    return Program(tuple(builder.nodes), {name: done[name] for name in GAPS}, builder.inputs)


WHOLE = cage_program()


def reference(gap):
    """Return the unrolled program of a gap and its ground, a column per sorting class."""
    program = unroll(WHOLE.only([gap]))
    classes = 5 if any(split_at(n)[0] == "roller_diameter" for n in program.inputs) else 1
    low, high, discs = {}, {}, []
    for name in program.inputs:
        base, ahead = split_at(name)
        if base == "roller_diameter":
            low[name] = 49.98 + 0.004 * np.arange(classes)
            high[name] = low[name] + 0.004
        elif base in SIZES:
            low[name], high[name] = (np.full(classes, end) for end in SIZES[base])
        else:
            zone, part = base.rsplit(".", 1)
            first, second = (f"{zone}.{p}" + (f"@{ahead}" if ahead else "") for p in ("rt" if part in "rt" else "xy"))
            if first in low:
                continue
            radius = np.full(classes, ZONES[zone] / 2)
            for place in (first, second):
                low[place], high[place] = -radius, radius
            discs.append(Disc(first, second, 0 * radius, 0 * radius, radius))
    angles = {f"angle@{k}" if k else "angle": np.full(classes, 2 * math.pi * k / 48) for k in range(3)}
    return program, Ground(low, high, tuple(discs), angles)


@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize("gap", GAPS)
def test_the_ends_of_the_reference_cage_are_certified(gap, sign):
    program, ground = reference(gap)
    tolerance = 1e-2 if "stress" in gap else 1e-4
    end = Search(program, gap, sign, ground, PARAMETERS, tolerance).run(4000)
    assert 0.0 <= end.found - end.bound <= tolerance


def drawn(ground, count, rng):
    """Return random points of the region, all pulled to its edge: ends of intervals, rims of discs."""
    column = rng.integers(len(next(iter(ground.low.values()))), size=count)
    point = {k: np.where(rng.random(count) < 0.5, ground.low[k][column], ground.high[k][column]) for k in ground.low}
    for disc in ground.discs:
        angle = rng.uniform(0, 2 * math.pi, count)
        point[disc.r] = disc.radius[column] * np.cos(angle)
        point[disc.t] = disc.radius[column] * np.sin(angle)
    return point, column


@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize("gap", ["running_clearance", "roller_spacing", "pin_entry", "weld_stress"])
def test_no_random_cage_passes_the_bound_of_a_small_search(gap, sign):
    program, ground = reference(gap)
    search = Search(program, gap, sign, ground, PARAMETERS, 1e-4)
    bound = search.run(300).bound
    point, column = drawn(ground, 20_000, np.random.default_rng(3))
    inputs = np.array([point[name] for name in search.bounder.form.inputs])
    assert np.min(search.bounder.values(inputs, column)[0]) >= bound - 1e-12


def lowest_corner(bounder, ground, rng, starts):
    """The tool that knows corners only: ends of intervals, four directions of a zone; flipped one by one to rest."""
    names = bounder.form.inputs
    zones = [(d.r, d.t) for d in ground.discs]
    single = [n for n in names if n not in {part for zone in zones for part in zone}]

    def flips(point, column):
        for name in single:
            for end in (ground.low[name][column], ground.high[name][column]):
                yield point | {name: end}
        for disc in ground.discs:
            for quarter in range(4):
                r, t = ((1, 0), (0, 1), (-1, 0), (0, -1))[quarter]
                yield point | {disc.r: r * disc.radius[column], disc.t: t * disc.radius[column]}

    best = math.inf
    for _ in range(starts):
        column = int(rng.integers(ground.columns))
        point = {k: rng.choice([ground.low[k][column], ground.high[k][column]]) for k in single}
        point |= {part: 0.0 for zone in zones for part in zone}
        value = math.inf
        while True:
            tried = list(flips(point, column))
            inputs = np.array([[p[n] for p in tried] for n in names])
            values = bounder.values(inputs, np.full(len(tried), column))[0]
            if np.min(values) >= value - 1e-12:
                break
            value, point = float(np.min(values)), tried[int(np.argmin(values))]
        best = min(best, value)
    return best


def test_corners_and_one_local_search_both_miss_the_low_end_of_running_clearance():
    """Two traps, measured (regression): corners end 1.4 µm too kind, one descent from the middle 23 to 31 µm."""
    program, ground = reference("running_clearance")
    end = Search(program, "running_clearance", 1, ground, PARAMETERS, 1e-4).run(4000)
    assert end.found - end.bound <= 1e-4
    alone = Search(program, "running_clearance", 1, ground, PARAMETERS, 1e-4)
    assert lowest_corner(alone.bounder, ground, np.random.default_rng(0), 40) > end.found + 1e-3
    for column in range(ground.columns):
        alone.column, alone.point = column, alone.bounder.whole().centre[:, column]
        alone.best = float(alone.bounder.values(alone.point[:, None], np.array([column]))[0][0])
        alone.polish()
        assert alone.best > end.found + 5e-3
