"""The linearised worst case: what a hand calculation gives."""

from __future__ import annotations

import math

import pytest
from cages import Table, cages, every_gap, model_of, plain_stack, pockets_of
from hypothesis import given
from hypothesis import strategies as st

from stackup.chain.program import compile_model, unroll
from stackup.engine.linear import half_spans, linearise

SIZES: Table = {
    "a": {"nominal": 10.0, "tolerance": [-0.1, 0.3]},
    "b": {"nominal": 4.0, "tolerance": 0.2},
    "z": {"zone": 0.4},
    "q": {"zone": 0.2},
    "k": {"limit": 0.3},
}


def of(formula: str, used: str) -> object:
    """The linearised ends of one chain of kind none."""
    model = model_of(plain_stack({n: SIZES[n] for n in used}, formula))
    return linearise(model, unroll(compile_model(model)), "total")


@pytest.mark.parametrize(
    ("formula", "used", "low", "high"),
    [
        ("a - 2*b", "ab", 2.1 - 0.2 - 0.4, 2.1 + 0.2 + 0.4),
        ("a*b", "ab", 40.4 - 0.2 * 4 - 0.2 * 10.1, 40.4 + 0.2 * 4 + 0.2 * 10.1),
        ("a - k", "ak", 10.1 - 0.15 - 0.2 - 0.15, 10.1 - 0.15 + 0.2 + 0.15),
        ("a + z.r", "az", 10.1 - 0.4, 10.1 + 0.4),
        ("a + z.r + z.t", "az", 10.1 - 0.2 - 0.2 * math.sqrt(2), 10.1 + 0.2 + 0.2 * math.sqrt(2)),
        ("a - hypot(z.r + q.r, z.t + q.t)", "azq", 10.1 - 0.2 - 0.3, 10.1 + 0.2),
        ("hypot(3 + z.r, 4 + z.t)", "z", 4.8, 5.2),
        ("max(a, b)", "ab", 9.9, 10.3),
        ("min(a, b)", "ab", 3.8, 4.2),
        ("abs(b - 4.1)", "b", 0.0, 0.3),
    ],
)
def test_by_hand(formula: str, used: str, low: float, high: float) -> None:
    """Gradient times half-widths; a zone its radius times the gradient's length; a length the sum of the radii."""
    found = of(formula, used)
    assert math.isclose(found.low, low, abs_tol=1e-12)  # type: ignore[attr-defined]
    assert math.isclose(found.high, high, abs_tol=1e-12)  # type: ignore[attr-defined]


def test_shares_of_the_width() -> None:
    """Shares are parts of the width: |a_k|·T_k over their sum, a zone in a length by its radius."""
    assert of("a - 2*b", "ab").shares == pytest.approx({"a": 0.2 / 0.6, "b": 0.4 / 0.6})  # type: ignore[attr-defined]
    shares = of("a - hypot(z.r + q.r, z.t + q.t)", "azq").shares  # type: ignore[attr-defined]
    assert shares == pytest.approx({"a": 0.4 / 0.7, "z": 0.2 / 0.7, "q": 0.1 / 0.7})


@given(cages(bonus=False), st.just(0))
def test_shares_sum_to_one(tables: Table, pocket: int) -> None:
    """The shares of all dimensions of a gap are a whole, or there is no width; low is never above high."""
    model = pockets_of(tables)
    program = compile_model(model)
    for requirement in every_gap(model):
        found = linearise(model, unroll(program.only([requirement.gap])), requirement.gap, pocket)
        assert found.low <= found.high + 1e-12
        if found.shares:
            assert math.isclose(sum(found.shares.values()), 1.0, rel_tol=1e-9)
            assert min(found.shares.values()) >= 0


def test_half_spans() -> None:
    """|a_k|·T_k per dimension, of which the mean shift takes its part."""
    model = model_of(plain_stack({n: SIZES[n] for n in "abz"}, "a - 2*b + z.r"))
    program = unroll(compile_model(model))
    assert half_spans(model, program, {"a": 1.0, "b": -2.0, "z.r": 1.0}) == pytest.approx([0.2, 0.4, 0.2])
