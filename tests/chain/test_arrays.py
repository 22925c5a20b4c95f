"""Walking with arrays: the machine with reused registers, the plain walk, and its adjoint."""

from __future__ import annotations

import numpy as np
import pytest
import sympy
from cages import Table, cages, model_of
from hypothesis import given
from hypothesis import strategies as st

from stackup.chain.arrays import Array, Machine, Walk, constants, walk
from stackup.chain.model import Gap, Model, Step
from stackup.chain.operations import VALUES
from stackup.chain.program import DRAWN, Node, Program, bindings, compile_model, pitch_angles
from stackup.chain.symbols import symbol
from stackup.dimension import Size

POCKETS, CAGES = 5, 7


def random_inputs(model: Model, seed: int, cages_drawn: int) -> dict[str, Array]:
    """Values of every component of every dimension."""
    rng = np.random.default_rng(seed)
    found = {}
    for dimension in model.dimensions.values():
        rows = model.pockets if dimension.scope == "pocket" else 1
        for part, middle in zip(dimension.components, dimension.law.mean, strict=True):
            column = np.asarray(middle, dtype=float).reshape(-1, 1)
            found[part] = column + dimension.half_width * rng.uniform(-1, 1, (rows, cages_drawn))
    return found


@given(cages(), st.integers(0, 2**32), st.sampled_from([1, 2, 33]))
def test_the_machine_equals_the_plain_walk(tables: Table, seed: int, size: int) -> None:
    """Registers are reused, no value is overwritten before its last use: block after block the same numbers."""
    model = model_of(tables)
    program, angles = compile_model(model), np.array(pitch_angles(model.pockets))
    machine = Machine(program, model.dimensions, angles, bindings(model), size)
    for block in range(2):
        inputs = random_inputs(model, seed + block, size)
        drawn: list[str] = []
        found: dict[str, Array] = {}

        def draw(name: str, out: tuple[Array, ...], needed: Array | None, inputs=inputs, drawn=drawn) -> None:
            dimension = model.dimensions[name]
            drawn.append(name)
            if dimension.law.needs is not None:
                assert np.array_equal(needed, inputs[model.dimensions[dimension.law.needs].components[0]])
            for register, part in zip(out, dimension.components, strict=True):
                register[:] = inputs[part]

        def sink(name: str, values: Array, found=found) -> None:
            found[name] = values.copy()

        with np.errstate(all="ignore"):
            machine.run(draw, sink)
            seen = walk(program, inputs, angles, bindings(model))
        assert len(drawn) == len(set(drawn))
        for gap in model.gaps:
            assert np.array_equal(found[gap.name], seen[gap.name], equal_nan=True), gap.name


def test_registers_are_few() -> None:
    """A long sum of many sizes holds no more registers at a time than it needs."""
    names = [f"d{i}" for i in range(30)]
    dimensions = {n: Size(n, 1.0, 0.0, 0.1, pockets=POCKETS) for n in names}
    steps = (Step("g", sympy.Add(*(sympy.sin(symbol(n)) for n in names))),)
    model = Model(dimensions, steps, (Gap("g", "mm", "g"),), POCKETS)
    machine = Machine(compile_model(model), dimensions, np.array(pitch_angles(POCKETS)), bindings(model), CAGES)
    assert machine.registers <= 32 * POCKETS * CAGES


def test_constants_are_small() -> None:
    """What no draw enters is computed once, as a number or a column."""
    angle = symbol("angle")
    steps = (Step("g", symbol("a") * sympy.cos(angle) + sympy.cos(symbol("angle.next")) + 2),)
    model = Model({"a": Size("a", 1.0, pockets=POCKETS)}, steps, (Gap("g", "mm", "g"),), POCKETS)
    program = compile_model(model)
    found = constants(program, np.array(pitch_angles(POCKETS)), bindings(model))
    assert all(not program.nodes[i].shape & DRAWN for i in found)
    assert {v.shape for v in found.values()} <= {(1, 1), (POCKETS, 1)}


#: operation → how many arguments, and where each may lie
DOMAINS: dict[str, tuple[tuple[float, float], ...]] = {
    "neg": ((-2, 2),), "square": ((-2, 2),), "sqrt": ((0.3, 2),), "sin": ((-2, 2),), "cos": ((-2, 2),),
    "tan": ((-1, 1),), "asin": ((-0.8, 0.8),), "acos": ((-0.8, 0.8),), "atan": ((-2, 2),), "exp": ((-1, 1),),
    "log": ((0.3, 2),), "magnitude": ((-2, 2),), "add": ((-2, 2),) * 2, "sub": ((-2, 2),) * 2,
    "mul": ((-2, 2),) * 2, "div": ((-2, 2), (0.4, 2)), "least": ((-2, 2),) * 2, "greatest": ((-2, 2),) * 2,
    "atan2": ((0.3, 2), (-2, 2)), "length": ((-2, 2), (0.3, 2)), "power": ((0.3, 2),),
}  # fmt: skip
SHAPES = {1: (1, 1), 2: (1, CAGES), 3: (POCKETS, CAGES)}


def test_every_operation_has_a_domain() -> None:
    """The operations tested here are all there are."""
    assert set(DOMAINS) == {*VALUES, "power"}


def one_operation(op: str, shapes: tuple[int, ...]) -> Program:
    """The program y = next(op(x0, x1))."""
    count = len(DOMAINS[op])
    inputs = [Node("input", (), f"x{i}", shapes[i]) for i in range(count)]
    whole = 0
    for shape in shapes[:count]:
        whole |= shape
    nodes = [*inputs, Node(op, tuple(range(count)), 1.7 if op == "power" else 0.0, whole)]
    if whole & 1:
        nodes.append(Node("next", (count,), 0.0, whole))
    return Program(tuple(nodes), {"y": len(nodes) - 1}, {f"x{i}": i for i in range(count)})


@pytest.mark.parametrize("shapes", [(3, 3), (2, 3), (3, 2), (2, 2)])
@pytest.mark.parametrize("op", DOMAINS)
def test_adjoint_against_finite_differences(op: str, shapes: tuple[int, int]) -> None:
    """The adjoint of every operation, of broadcast arguments and of the neighbour, is the derivative of Σ seed·y."""
    rng = np.random.default_rng(10 * list(DOMAINS).index(op) + shapes[0])
    program = one_operation(op, shapes)
    inputs = {f"x{i}": low + (high - low) * rng.random(SHAPES[shapes[i]]) for i, (low, high) in enumerate(DOMAINS[op])}
    angles = np.zeros(POCKETS)
    seen = walk(program, inputs, angles, {})
    seed = rng.normal(size=np.shape(seen["y"]))
    gradient = seen.gradient("y", seed)
    step = 1e-6
    for name, values in inputs.items():
        assert gradient[name].shape == values.shape
        for place in np.ndindex(values.shape):
            ends = []
            for sign in (1, -1):
                moved = values.copy()
                moved[place] += sign * step
                ends.append((seed * walk(program, {**inputs, name: moved}, angles, {})["y"]).sum())
            assert abs((ends[0] - ends[1]) / (2 * step) - gradient[name][place]) < 1e-6 * (
                1 + abs(gradient[name][place])
            )


def test_adjoint_of_an_output_of_the_cage() -> None:
    """A seed per pocket on an output that all pockets share is added up; inputs not reached have derivative 0."""
    program = Program(
        (Node("input", (), "c", 2), Node("square", (0,), 0.0, 2), Node("input", (), "d", 3)),
        {"y": 1},
        {"c": 0, "d": 2},
    )
    inputs = {"c": np.array([[3.0, 4.0]]), "d": np.zeros((POCKETS, 2))}
    seen: Walk = walk(program, inputs, np.zeros(POCKETS), {})
    gradient = seen.gradient("y", np.full((POCKETS, 2), 1.0 / POCKETS))
    assert np.allclose(gradient["c"], [[6.0, 8.0]])
    assert np.array_equal(gradient["d"], np.zeros((POCKETS, 2)))


def test_slopes_at_kinks_are_one_side() -> None:
    """At a kink the derivative is that of one of the sides; a vector of no length has none."""
    kinks = {"magnitude": (1.0,), "least": (1.0, 0.0), "greatest": (1.0, 0.0), "length": (0.0, 0.0)}
    for op, expected in kinks.items():
        program = one_operation(op, (2, 2))
        inputs = {f"x{i}": np.zeros((1, 1)) for i in range(len(DOMAINS[op]))}
        gradient = walk(program, inputs, np.zeros(POCKETS), {}).gradient("y", np.ones((1, 1)))
        assert tuple(float(gradient[f"x{i}"][0, 0]) for i in range(len(expected))) == expected
