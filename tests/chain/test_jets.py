"""Jets: value, gradient and Hessian, against sympy and against finite differences."""

from __future__ import annotations

import numpy as np
import pytest
import sympy
from cages import Table, cages, pockets_of
from hypothesis import given, settings
from hypothesis import strategies as st

from stackup.chain.arrays import walk_one
from stackup.chain.jets import jets
from stackup.chain.program import Builder, Program, at, bindings, compile_model, pitch_angles, unroll
from stackup.chain.symbols import ANGLE, MOST_NEXT, Greatest, Least, Length, Magnitude, symbol
from stackup.engine.scatter import Scatter

X, Y, Z = symbol("x"), symbol("y"), symbol("z")
POINT = {"x": 0.4, "y": 0.7, "z": -0.3}
#: formula with nodes of our own → the same in sympy's words at the point
FORMULAS = {
    "products": (X * Y * Z + X**2 * Y - 3 * Z, None),
    "quotients": (X / (Y + 2) - Z / X, None),
    "powers": (X**3 + Y**-2 + X**0.3 + X ** sympy.Rational(5, 2), None),
    "roots": (sympy.sqrt(X * Y + 1), None),
    "circles": (sympy.sin(X * Y) + sympy.cos(X - Z) + sympy.tan(Z * Y), None),
    "arcs": (sympy.asin(X * Y) + sympy.acos(Z) + sympy.atan(X + Y), None),
    "atan2": (sympy.atan2(X + Z, Y), None),
    "exponentials": (sympy.exp(X * Z) + sympy.log(X + Y), None),
    "length": (Length(X * Y, Z - Y), sympy.sqrt((X * Y) ** 2 + (Z - Y) ** 2)),
    "least": (Least(X * Y, Z**2 + 1), X * Y),
    "greatest": (Greatest(X * Y, Z**2 + 1, Z), Z**2 + 1),
    "magnitude": (Magnitude(Z * Y), -Z * Y),
    "mixture": (
        Length(Greatest(X, Z), Y) * sympy.exp(X) / (1 + Y**2),
        sympy.sqrt(X**2 + Y**2) * sympy.exp(X) / (1 + Y**2),
    ),
}


@pytest.mark.parametrize("name", FORMULAS)
def test_jets_against_sympy(name: str) -> None:
    """Value, gradient and Hessian of a formula are those that sympy derives."""
    formula, plain = FORMULAS[name]
    plain = formula if plain is None else plain
    builder = Builder(dict.fromkeys(POINT, "cage"), [])
    index = builder.lower(sympy.sympify(formula))
    program = Program(tuple(builder.nodes), {"y": index}, builder.inputs)
    found = jets(program, POINT, {})
    value, gradient, hessian = found.of("y")
    put = {symbol(k): v for k, v in POINT.items()}
    assert np.isclose(value, float(plain.subs(put)), rtol=1e-13)
    names = [symbol(n) for n in found.inputs]
    assert np.allclose(gradient, [float(sympy.diff(plain, n).subs(put)) for n in names], rtol=1e-12, atol=1e-14)
    expected = [[float(sympy.diff(plain, n, m).subs(put)) for m in names] for n in names]
    assert np.allclose(np.zeros((len(names),) * 2) if hessian is None else hessian, expected, rtol=1e-11, atol=1e-13)


@settings(max_examples=6)
@given(cages(), st.integers(0, 2**32))
def test_jets_of_all_gaps_against_finite_differences(tables: Table, seed: int) -> None:
    """Gradient and Hessian of every gap at a random point are its differences (away from kinks)."""
    model = pockets_of(tables)
    program = unroll(compile_model(model))
    rng = np.random.default_rng(seed)
    point = Scatter.of(model, tuple(program.inputs)).means(0)
    for name in program.inputs:
        point[name] += float(rng.normal(0, 0.01))
    angles = pitch_angles(model.pockets)
    point |= {at(ANGLE, k): angles[k % model.pockets] for k in range(MOST_NEXT + 1)}
    found = jets(program, point, bindings(model))

    def values(moved: dict[str, float]) -> dict[str, float]:
        seen = walk_one(program, {k: np.array([[v]]) for k, v in moved.items()}, bindings(model))
        return {gap.name: float(seen[gap.name][0, 0]) for gap in model.gaps}

    step = 1e-5
    with np.errstate(all="ignore"):
        middle = values(point)
        for place, name in enumerate(found.inputs):
            up, down = (
                values({**point, name: point[name] + step}),
                values({**point, name: point[name] - step}),
            )
            for gap in model.gaps:
                value, gradient, hessian = found.of(gap.name)
                assert value == middle[gap.name] or np.isnan(value)
                size = max(1.0, abs(value))
                first = (up[gap.name] - down[gap.name]) / (2 * step)
                second = (up[gap.name] - 2 * middle[gap.name] + down[gap.name]) / step**2
                if not np.isfinite(first + gradient[place]) or abs(second) > 1e3 * size:
                    continue  # a kink between the two ends
                assert abs(first - gradient[place]) < 1e-4 * size, (gap.name, name)
                own = 0.0 if hessian is None else hessian[place, place]
                assert abs(second - own) < 1e-2 * max(size, abs(own)), (gap.name, name)


def test_first_order_only() -> None:
    """Where only slopes are asked for there is no Hessian."""
    builder = Builder({"x": "cage"}, ["k"])
    index = builder.lower(X**2 * symbol("k"))
    found = jets(Program(tuple(builder.nodes), {"y": index}, builder.inputs), {"x": 3.0}, {"k": 2.0}, second=False)
    value, gradient, hessian = found.of("y")
    assert (value, float(gradient[0]), hessian) == (18.0, 12.0, None)
