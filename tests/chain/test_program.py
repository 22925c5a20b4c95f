"""Lowering steps to one straight line: folding, shape classes, the neighbour, and the pocket on its own."""

from __future__ import annotations

import math

import numpy as np
import pytest
import sympy
from cages import Table, cages, pockets_of
from hypothesis import given
from hypothesis import strategies as st

from stackup.chain.arrays import walk, walk_one
from stackup.chain.model import Gap, Model, Step
from stackup.chain.program import (
    DRAWN,
    PLACE,
    Builder,
    Program,
    at,
    bindings,
    compile_model,
    pitch_angles,
    split_at,
    unroll,
)
from stackup.chain.symbols import ANGLE, MOST_NEXT, Greatest, Least, Length, Magnitude, symbol
from stackup.dimension import Size, Zone
from stackup.errors import ValueFault

A, B, C, K = symbol("a"), symbol("b"), symbol("c"), symbol("k")
#: a and b belong to the pocket, c to the cage, k is a parameter
SCOPES = {"a": "pocket", "b": "pocket", "c": "cage"}


def lowered(*formulas: object) -> tuple[Builder, list[int]]:
    """Nodes of some formulas."""
    builder = Builder(SCOPES, ["k"])
    return builder, [builder.lower(sympy.sympify(f)) for f in formulas]


def values_of(formula: object, pockets: int = 4) -> np.ndarray:
    """The formula walked over a cage with a = 1.5, 2.5, …, b = its reverse, c = 0.7, k = 3."""
    builder, (index,) = lowered(formula)
    program = Program(tuple(builder.nodes), {"y": index}, builder.inputs)
    a = 1.5 + np.arange(pockets, dtype=float).reshape(-1, 1)
    seen = walk(program, {"a": a, "b": a[::-1], "c": np.array([[0.7]])}, pitch_angles(pockets), {"k": 3.0})
    return np.broadcast_to(seen["y"], (pockets, 1))[:, 0]


@pytest.mark.parametrize(
    "formula",
    [
        A + B - C, 2 * A - 2 * B + 3, -A - B, A * B / C, A / (B * C), A**2, A**3, A**7, A**-1, A**-2, 1 / A**3,
        sympy.sqrt(A), A**sympy.Rational(3, 2), A**sympy.Rational(-1, 2), A**sympy.Rational(5, 2), A**0.3, A**-0.7,
        sympy.sin(A), sympy.cos(A), sympy.tan(C), sympy.asin(C), sympy.acos(C), sympy.atan(A), sympy.exp(C),
        sympy.log(A), sympy.atan2(A, B), A - 1, 1 - A, -(A * B), sympy.pi * A, (A + B) ** 2 / (A - 10), K * A - K,
        A * 0 + 5, A - A + B, (A + 1) * (A + 1), -A * -B,
    ],
)  # fmt: skip
def test_lowering_keeps_the_value(formula: sympy.Expr) -> None:
    """A lowered formula has the value that sympy gives it."""
    formula = sympy.sympify(formula)
    free = [A, B, C, K]
    expected = sympy.lambdify(free, formula, "math")
    for i, value in enumerate(values_of(formula)):
        assert math.isclose(value, expected(1.5 + i, 4.5 - i, 0.7, 3.0), rel_tol=1e-13)


def test_nodes_of_their_own() -> None:
    """Length, least, greatest and magnitude keep their own nodes and have their plain values."""
    a, b = 1.5 + np.arange(4), 4.5 - np.arange(4)
    assert np.allclose(values_of(Length(A, B)), np.hypot(a, b))
    assert np.array_equal(values_of(Least(A, B, C)), np.full(4, 0.7))
    assert np.array_equal(values_of(Greatest(A, B, C)), np.maximum(a, b))
    assert np.array_equal(values_of(Magnitude(A - B)), np.abs(a - b))
    builder, indices = lowered(Length(A, B), Least(A, B), Greatest(A, B), Magnitude(A))
    assert [builder.nodes[i].op for i in indices] == ["length", "least", "greatest", "magnitude"]


def test_equal_formulas_are_made_once() -> None:
    """What is written twice is computed once."""
    builder, (one, other, third) = lowered(sympy.sin(A + B), sympy.sin(B + A), 2 * sympy.sin(A + B))
    assert one == other
    assert [n.op for n in builder.nodes].count("sin") == 1
    assert one in builder.nodes[third].args


@pytest.mark.parametrize(
    ("formula", "value"),
    [
        (Greatest(2.0, 3.0) / 2, 1.5),
        (Length(3.0, 4.0), 5.0),
        (Magnitude(-2.0), 2.0),
        (Least(2.0, 3.0, 1.0) + sympy.cos(0), 2.0),
    ],
)
def test_constants_fold(formula: sympy.Expr, value: float) -> None:
    """What holds no symbol is a number before anything runs."""
    builder, (index,) = lowered(formula)
    assert builder.nodes[index].op == "constant"
    assert builder.nodes[index].value == value


def test_a_length_with_a_part_of_nothing_is_a_magnitude() -> None:
    """The length of (a, 0) is |a|, wherever the 0 stands."""
    for formula in (Length(A, 0), Length(0, A)):
        builder, (index,) = lowered(formula)
        assert builder.nodes[index].op == "magnitude"


def test_shape_classes() -> None:
    """A node is as large as what enters it: numbers, the pocket's place, the cage's draws, the pocket's draws."""
    angle = symbol(ANGLE)
    builder, found = lowered(K + 1, sympy.cos(angle), C * K, A + C, C * sympy.cos(angle))
    assert [builder.nodes[i].shape for i in found] == [0, PLACE, DRAWN, PLACE | DRAWN, PLACE | DRAWN]


def test_small_arrays_are_added_first() -> None:
    """What belongs to the cage is added up before it meets what belongs to the pocket."""
    d = symbol("d")
    builder = Builder({**SCOPES, "d": "cage"}, [])
    top = builder.lower(A + C + d)
    one, other = (builder.nodes[i] for i in builder.nodes[top].args)
    assert {one.shape, other.shape} == {DRAWN, PLACE | DRAWN}


def test_the_neighbour() -> None:
    """``.next`` is the value one pocket on; the last is followed by the first; a cage has no next."""
    assert np.array_equal(values_of(symbol("a.next")), [2.5, 3.5, 4.5, 1.5])
    assert np.array_equal(values_of(symbol("a.next.next.next")), [4.5, 1.5, 2.5, 3.5])
    builder, (index, own) = lowered(symbol("c.next"), C)
    assert index == own
    assert all(node.op != "next" for node in builder.nodes)


def test_an_exponent_that_is_no_number() -> None:
    """A power whose exponent varies is refused."""
    with pytest.raises(ValueFault):
        lowered(A**B)


def test_only_what_is_needed() -> None:
    """A part of a program holds the nodes of its outputs and no others, and means the same."""
    dimensions = {n: Size(n, 1.0, 0.0, 0.1, pockets=4) for n in ("a", "b")}
    steps = (Step("s", A * 2), Step("t", B * 3), Step("u", symbol("s") + 1))
    model = Model(dimensions, steps, tuple(Gap(n, "mm", n) for n in "stu"), 4)
    part = compile_model(model).only(["u"])
    assert set(part.outputs) == {"u"}
    assert set(part.inputs) == {"a"}
    assert compile_model(model, ["u"]).nodes == part.nodes
    a = np.arange(4.0).reshape(-1, 1)
    assert np.array_equal(walk(part, {"a": a}, pitch_angles(4), bindings(model))["u"], 2 * a + 1)


def test_names_of_neighbours() -> None:
    """``name@2`` and back."""
    assert [split_at(at("a.r", k)) for k in range(3)] == [("a.r", 0), ("a.r", 1), ("a.r", 2)]
    assert at("a", 0) == "a"


def drawn_inputs(model: Model, seed: int, cages_drawn: int = 5) -> dict[str, np.ndarray]:
    """Values of every input, anywhere in the drawing and about it."""
    rng = np.random.default_rng(seed)
    found = {}
    for dimension in model.dimensions.values():
        rows = model.pockets if dimension.scope == "pocket" else 1
        for part, middle in zip(dimension.components, dimension.law.mean, strict=True):
            column = np.asarray(middle, dtype=float).reshape(-1, 1)
            found[part] = column + dimension.half_width * rng.uniform(-1, 1, (rows, cages_drawn))
    return found


@given(cages(), st.integers(0, 2**32))
def test_unrolled_equals_rolled_at_every_pocket(tables: Table, seed: int) -> None:
    """The program of one pocket, its neighbours as inputs of their own, gives what the whole ring gives there."""
    model = pockets_of(tables)
    rolled, inputs = compile_model(model), drawn_inputs(model, seed)
    unrolled = unroll(rolled)
    assert all(node.op != "next" for node in unrolled.nodes)
    angles = pitch_angles(model.pockets)
    with np.errstate(all="ignore"):
        ring = walk(rolled, inputs, angles, bindings(model))
        for pocket in range(model.pockets):
            seen = {at(ANGLE, k): np.array([[angles[(pocket + k) % model.pockets]]]) for k in range(MOST_NEXT + 1)}
            for part in unrolled.inputs:
                base, ahead = split_at(part)
                values = inputs[base]
                seen[part] = values[[(pocket + ahead) % len(values)]]
            one = walk_one(unrolled, seen, bindings(model))
            for gap in model.gaps:
                whole = ring[gap.name]
                assert np.array_equal(
                    np.broadcast_to(one[gap.name], (1, 5)),
                    np.broadcast_to(whole[[pocket % len(whole)]], (1, 5)),
                    equal_nan=True,
                ), gap.name


def test_a_cage_zone_stays_one_input_when_unrolled() -> None:
    """A neighbour sees the same cage: its vector is not doubled."""
    zone = Zone("o", 0.1, scope="cage")
    x, y, angle = symbol("o.x"), symbol("o.y"), symbol(ANGLE)
    steps = (
        Step("o.r", x * sympy.cos(angle) + y * sympy.sin(angle)),
        Step("g", symbol("o.r") - symbol("o.r.next")),
    )
    unrolled = unroll(compile_model(Model({"o": zone}, steps, (Gap("g", "mm", "g"),), 6)))
    assert set(unrolled.inputs) == {"o.x", "o.y"}
    assert {n.value for n in unrolled.nodes if n.op == "angle"} == {"angle", "angle@1"}
