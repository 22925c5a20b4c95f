"""Bounds are never passed: small random programs over random boxes and discs, every operation."""

import numpy as np
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from stackup.chain.bounds import Bounder, Disc, Ground
from stackup.chain.forms import atom_value
from stackup.chain.intervals import interval
from stackup.chain.lines import Stack
from stackup.chain.program import Node, Program

SLOW = settings(deadline=None, max_examples=150, suppress_health_check=list(HealthCheck))
ONE = ("square", "sqrt", "exp", "log", "sin", "cos", "tan", "asin", "acos", "atan", "magnitude", "neg", "power")
TWO = ("add", "sub", "mul", "div", "least", "greatest", "length", "atan2")
INPUTS = ("a", "b", "c", "v.r", "v.t")

number = st.floats(-3, 3, allow_nan=False).map(lambda x: round(x, 3))


@st.composite
def programs(draw):
    nodes = [Node("input", (), name) for name in INPUTS]
    nodes += [Node("constant", (), draw(number)), Node("constant", (), 0.0)]
    if draw(st.booleans()):  # a leg, √greatest(a² − b², 0)
        nodes += [Node("square", (0,)), Node("square", (draw(st.integers(1, 4)),)), Node("sub", (7, 8))]
        nodes += [Node("greatest", (9, 6)), Node("sqrt", (10,))]
    for _ in range(draw(st.integers(1, 7))):
        earlier = st.integers(0, len(nodes) - 1)
        if draw(st.booleans()):
            op = draw(st.sampled_from(ONE))
            power = draw(st.sampled_from([0.3, 1.7, 2.5])) if op == "power" else 0.0
            nodes.append(Node(op, (draw(earlier),), power))
        else:
            nodes.append(Node(draw(st.sampled_from(TWO)), (draw(earlier), draw(earlier))))
    inputs = {name: i for i, name in enumerate(INPUTS)}
    return Program(tuple(nodes), {"y": len(nodes) - 1}, inputs)


@st.composite
def grounds(draw):
    low, high = {}, {}
    for name in INPUTS:
        ends = sorted([draw(number), draw(number)])
        low[name], high[name] = np.array([ends[0]]), np.array([ends[1]])
    radius, centre = abs(draw(number)), (draw(number), draw(number))
    feature, slope = ("a", draw(st.sampled_from([-0.5, 0.5]))) if draw(st.booleans()) else (None, 0.0)
    disc = Disc(
        "v.r", "v.t", np.array([centre[0]]), np.array([centre[1]]), np.array([radius]), feature, slope, draw(number)
    )
    return Ground(low, high, (disc,), {})


def points(ground, count=400):
    """Return points of the region, many of them on its edge."""
    rng = np.random.default_rng(5)
    found = {}
    for name in ("a", "b", "c"):
        share = np.clip(rng.uniform(-0.3, 1.3, count), 0.0, 1.0)
        found[name] = ground.low[name] + share * (ground.high[name] - ground.low[name])
    disc = ground.discs[0]
    grown = np.maximum(0.0, disc.slope * (found["a"] - disc.at)) if disc.feature else 0.0
    radius = (disc.radius + grown) * np.minimum(1.0, rng.uniform(0.0, 1.5, count))
    angle = rng.uniform(0.0, 2 * np.pi, count)
    found["v.r"], found["v.t"] = disc.centre_r + radius * np.cos(angle), disc.centre_t + radius * np.sin(angle)
    return found


def walked(program, point):
    """The obvious twin: every node on arrays."""
    functions = {
        "neg": np.negative, "square": np.square, "sqrt": np.sqrt, "exp": np.exp, "log": np.log, "sin": np.sin,
        "cos": np.cos, "tan": np.tan, "asin": np.arcsin, "acos": np.arccos, "atan": np.arctan, "magnitude": np.abs,
        "add": np.add, "sub": np.subtract, "mul": np.multiply, "div": np.divide, "least": np.minimum,
        "greatest": np.maximum, "length": np.hypot, "atan2": np.arctan2,
    }  # fmt: skip
    values = []
    with np.errstate(all="ignore"):
        for node in program.nodes:
            if node.op == "input":
                values.append(point[node.value])
            elif node.op == "constant":
                values.append(np.full(len(point["a"]), node.value))
            elif node.op == "power":
                values.append(np.power(values[node.args[0]], node.value))
            else:
                values.append(functions[node.op](*(values[a] for a in node.args)))
    return values


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
