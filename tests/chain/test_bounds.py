"""Bounds are never passed: small random programs over random boxes and discs, every operation."""

import numpy as np
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from random_programs import INPUTS, ONE, TWO, grounds, number, points, programs, walked

from stackup.chain.bounds import Bounder, Disc, Ground
from stackup.chain.forms import atom_value, contract
from stackup.chain.intervals import interval
from stackup.chain.lines import Stack
from stackup.chain.program import Node, Program

SLOW = settings(deadline=None, max_examples=150, suppress_health_check=list(HealthCheck))
def test_the_twin_knows_every_operation():
    point = {name: np.array([0.3]) for name in INPUTS}
    for op in ONE + TWO:
        args = (0,) if op in ONE else (0, 1)
        nodes = [Node("input", (), name) for name in INPUTS] + [Node(op, args, 0.7 if op == "power" else 0.0)]
        assert np.isfinite(walked(Program(tuple(nodes), {}, {}), point)[-1][0])


@given(programs(), grounds(), st.sampled_from([1, -1]), st.integers(0, 6), st.data())
@SLOW
def test_no_point_of_a_box_passes_its_bound(program, ground, sign, steps, data):
    """For any touching places, pressures, sectors and narrowed places, points inside the box lie above the bound."""
    with np.errstate(all="ignore"):
        bounder = Bounder(program, "y", sign, ground, {})
        point = points(ground)
        values = walked(program, point)
        defined = np.all([np.isfinite(v) for v in values], axis=0)
        inputs = np.array([point[n] for n in bounder.form.inputs]).reshape(len(bounder.form.inputs), len(point["a"]))
        count = len(point["a"])
        _, arguments = bounder.form.values(inputs, np.zeros(count, dtype=int))
        boxes = bounder.whole()
        inside = defined.copy()
        places = bounder.inputs + bounder.rows
        for place in range(places):
            at = inputs[place] if place < bounder.inputs else arguments[place - bounder.inputs]
            single = place >= bounder.inputs or bounder.form.inputs[place] in ("a", "b", "c")
            if single and data.draw(st.integers(0, 3)) == 0 and np.any(np.isfinite(at)):
                edges = np.nanquantile(at[np.isfinite(at)], [0.2, 0.8])
                boxes.low[place], boxes.high[place] = edges[0], edges[1]
                inside &= (at >= edges[0]) & (at <= edges[1])
        boxes.touch[:] = np.where(np.isnan(boxes.touch), boxes.touch, boxes.touch + data.draw(number))
        boxes.press[:] = data.draw(number) if data.draw(st.booleans()) else 0.0
        result = bounder.look(boxes, np.inf, steps)
        output = sign * values[-1][inside]
    if output.size:
        slack = 1e-9 * (1.0 + abs(float(np.min(output))))
        assert float(np.min(output)) >= float(result.bound[0]) - slack


CURVES = ("ramp", "root", "inverse", "square", "sqrt", "exp", "log", "sin", "cos", "tan", "asin", "acos", "atan")
SURFACES = ("mul", "leg", "length", "atan2")


@given(
    st.sampled_from(CURVES + SURFACES),
    st.lists(number, min_size=4, max_size=4),
    st.sampled_from([1.0, -1.0]),
    number,
    number,
)
@example("leg", [0.3, 0.4, -0.9, 0.2], 1.0, 0.5, 0.5)
@example("leg", [0.1, 0.4, -0.9, 0.2], -1.0, 0.9, 0.5)
@example("root", [-0.5, 0.3, 0, 0], -1.0, 0.0, 0.0)
@example("root", [-0.1, 3.0, 0, 0], -1.0, 0.0, 0.0)
@example("inverse", [-1.0, 1.0, 0, 0], 1.0, 0.0, 0.0)
@example("sin", [3.0, 3.0, 0, 0], 1.0, 0.0, 0.0)
@example("atan2", [-1.0, 1.0, -2.0, -1.0], 1.0, 0.0, 0.0)
@settings(deadline=None, max_examples=1500)
def test_a_line_lies_on_its_side_of_the_atom(op, ends, weight, first, second):
    """Every line is nowhere above (below) its atom on a grid of its box, and intervals contain the values."""
    pairs = [sorted(ends[:2]), sorted(ends[2:])][: 2 if op in SURFACES else 1]
    arguments = tuple((np.array([[lo]]), np.array([[hi]])) for lo, hi in pairs)
    with np.errstate(all="ignore"):
        result = interval(op, arguments)
        sector = np.array([[-np.pi]]), np.array([[np.pi]])
        touch = np.array([[[first]], [[second]]])
        near = np.array([[[0.5 * (lo + hi)]] for lo, hi in pairs])
        line = Stack(op, 0.0, arguments, result, touch, sector, near).line(np.array([[weight]]))
        grid = np.stack(np.meshgrid(*(np.linspace(lo, hi, 41) for lo, hi in pairs), indexing="ij"))
        parts = grid.reshape(len(pairs), 1, -1)
        values = atom_value(op, parts, 0.0)
        drawn = line.at(parts)
    known = np.isfinite(values)
    slack = 1e-11 * (1.0 + np.abs(values[known]) + sum(np.max(np.abs(s)) * 3 for s in line.slopes))
    assert np.all(weight * (values[known] - np.broadcast_to(drawn, values.shape)[known]) >= -slack)
    assert np.all(values[known] >= np.broadcast_to(result[0], values.shape)[known])
    assert np.all(values[known] <= np.broadcast_to(result[1], values.shape)[known])


@given(number, st.floats(0.01, 1.19), st.floats(-1, 1), st.floats(0, 3), st.floats(0, 3))
@settings(deadline=None, max_examples=300)
def test_a_length_in_its_sector_lies_below_the_line(middle, half, turn, size, most):
    """The line above a length holds for every vector whose direction lies in the sector."""
    angle = middle + turn * half
    a, b = size * np.cos(angle), size * np.sin(angle)
    wide = max(most, size)
    box = ((np.array([[-wide]]), np.array([[wide]])),) * 2
    sector = np.array([[middle - half]]), np.array([[middle + half]])
    stack = Stack("length", 0.0, box, interval("length", box), np.zeros((2, 1, 1)), sector, np.zeros((2, 1, 1)))
    line = stack.line(np.array([[-1.0]]))
    assert float(line.at(np.array([[[a]], [[b]]]))[0, 0]) >= size - 1e-11


@pytest.mark.parametrize("sign", [1, -1])
def test_contributions_of_one_sum_are_grouped_exactly(sign):
    """a + b − c over intervals, plus the part of a disc in one direction: closed form at the first look."""
    nodes = [Node("input", (), name) for name in INPUTS]
    nodes += [Node("add", (0, 1)), Node("sub", (5, 2)), Node("add", (6, 3)), Node("add", (7, 4))]
    program = Program(tuple(nodes), {"y": 8}, {name: i for i, name in enumerate(INPUTS)})
    low = {name: np.array([-1.0]) for name in INPUTS}
    high = {name: np.array([2.0]) for name in INPUTS}
    disc = Disc("v.r", "v.t", np.zeros(1), np.zeros(1), np.full(1, 0.5))
    bounder = Bounder(program, "y", sign, Ground(low, high, (disc,), {}), {})
    expected = -4.0 if sign > 0 else -5.0  # −1 − 1 − 2 and −(2 + 2 + 1); the disc adds 0.5·√2 to either
    assert bounder.look(bounder.whole(), np.inf, 0).bound[0] == pytest.approx(expected - 0.5 * np.sqrt(2), abs=1e-9)


def test_two_ramps_of_opposite_arguments_are_one():
    """greatest(a − b, 0) − greatest(b − a, 0) = a − b: nothing is left to bound."""
    nodes = [Node("input", (), "a"), Node("input", (), "b"), Node("constant", (), 0.0)]
    nodes += [Node("sub", (0, 1)), Node("sub", (1, 0)), Node("greatest", (2, 3)), Node("greatest", (2, 4))]
    form = contract(Program((*nodes, Node("sub", (5, 6))), {"y": 7}, {"a": 0, "b": 1}), "y", {}, {})
    assert form.blocks == ()
    assert form.root.matrix.tolist() == [[[1.0, -1.0]]]
