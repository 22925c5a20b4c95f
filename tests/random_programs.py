"""Random small programs over random boxes and a disc, points of these, and the obvious twin that walks them."""

import numpy as np
from hypothesis import strategies as st

from stackup.chain.bounds import Disc, Ground
from stackup.chain.program import Node, Program

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
