"""First-order conditions and the narrowing by what a linear function costs never lose the least value."""

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from random_programs import grounds, points, programs, walked

from stackup.chain.bounds import Bounder, Disc, Ground
from stackup.chain.program import Node, Program
from stackup.engine.search import Search


def least_of(program, ground, sign):
    """Return sign·output at many points of the region where everything is defined."""
    values = walked(program, points(ground))
    defined = np.all([np.isfinite(v) for v in values], axis=0)
    return sign * values[-1][defined]


@given(programs(), grounds(), st.sampled_from([1, -1]), st.sampled_from([4, 40, 400]))
@settings(deadline=None, max_examples=250, suppress_health_check=list(HealthCheck))
def test_no_point_of_the_region_passes_what_a_search_says(program, ground, sign, budget):
    """Whatever boxes were narrowed to or ruled out, every value of the whole region lies above the bound."""
    with np.errstate(all="ignore"):
        output = least_of(program, ground, sign)
        end = Search(program, "y", sign, ground, {}, 1e-4).run(budget)
    if output.size:
        least = float(np.min(output))
        assert least >= end.bound - 1e-9 * (1.0 + abs(least))


def narrowed(nodes, sign, disc=None, low=-1.0, high=1.0):
    """Return the boxes of a program over a, b and v after one narrowing of the whole region, and whether it is void."""
    names = ("a", "b", "v.r", "v.t")
    nodes = [*(Node("input", (), name) for name in names), *nodes]
    program = Program(tuple(nodes), {"y": len(nodes) - 1}, {n: i for i, n in enumerate(names)})
    disc = disc or Disc("v.r", "v.t", np.zeros(1), np.zeros(1), np.full(1, 0.5))
    ground = Ground({n: np.array([low]) for n in names}, {n: np.array([high]) for n in names}, (disc,), {})
    bounder = Bounder(program, "y", sign, ground, {})
    boxes = bounder.whole()
    with np.errstate(all="ignore"):
        void = bounder.narrow(boxes, 1)
    return {name: (boxes.low[i, 0], boxes.high[i, 0]) for i, name in enumerate(bounder.form.inputs)}, boxes, void[0]


def test_a_size_that_the_output_rises_along_is_put_at_its_low_end():
    """exp(a) + b²: a to −1, b stays free."""
    found, _, void = narrowed([Node("exp", (0,)), Node("square", (1,)), Node("add", (4, 5))], 1)
    assert found["a"] == (-1.0, -1.0)
    assert found["b"] == (-1.0, 1.0)
    assert not void


@pytest.mark.parametrize(("sign", "u"), [(1, (0.6, 0.8)), (-1, (-0.6, -0.8))])
def test_a_vector_is_put_on_the_rim_against_its_gradient(sign, u):
    """0.6·v.r + 0.8·v.t over a disc: least at −radius·(0.6, 0.8), the arc no wider than rounding."""
    nodes = [Node("constant", (), 0.6), Node("mul", (4, 2)), Node("constant", (), 0.8), Node("mul", (6, 3))]
    _, boxes, _ = narrowed([*nodes, Node("add", (5, 7))], sign)
    assert boxes.arc[:2, 0, 0] == pytest.approx(u, abs=1e-12)
    assert boxes.arc[2, 0, 0] == pytest.approx(1.0, abs=1e-8)
    assert boxes.arc[4, 0, 0] == pytest.approx(0.5, abs=1e-8)


@pytest.mark.parametrize("op", ["magnitude", "square"])
def test_a_kink_or_a_flat_place_inside_keeps_the_input_free(op):
    """|a| and a² have their least inside: nothing may be ruled out."""
    found, _, void = narrowed([Node(op, (0,))], 1)
    assert found["a"] == (-1.0, 1.0)
    assert not void


def test_a_root_that_may_leave_its_domain_rules_nothing_out():
    """√(a − 0.2) exists for a ≥ 0.2 only, and is least there: a must not be put at −1."""
    nodes = [Node("constant", (), 0.2), Node("sub", (0, 4)), Node("sqrt", (5,))]
    found, _, _ = narrowed(nodes, 1)
    assert found["a"][0] <= 0.2 <= found["a"][1]


def test_a_box_that_cannot_hold_the_least_value_is_void():
    """exp(a) in a box a ≥ 0: the least of the whole region lies at −1, elsewhere."""
    nodes = [Node("input", (), "a"), Node("exp", (0,))]
    ground = Ground({"a": np.array([-1.0])}, {"a": np.array([1.0])}, (), {})
    bounder = Bounder(Program(tuple(nodes), {"y": 1}, {"a": 0}), "y", 1, ground, {})
    boxes = bounder.whole()
    boxes.low[0] = 0.0
    assert bounder.narrow(boxes, 1)[0]


def test_what_a_linear_function_costs_narrows_sizes_and_caps_discs():
    """3a + 4v.r over a ∈ [−1, 1], |v| ≤ 0.5: least −5; below −4.7 only a ≤ −0.9 and v within 0.075 of the rim."""
    nodes = [Node("constant", (), 3.0), Node("mul", (4, 0)), Node("constant", (), 4.0), Node("mul", (6, 2))]
    nodes = [*(Node("input", (), n) for n in ("a", "b", "v.r", "v.t")), *nodes, Node("add", (5, 7))]
    program = Program(tuple(nodes), {"y": 8}, {"a": 0, "b": 1, "v.r": 2, "v.t": 3})
    ends = {n: np.array([1.0]) for n in ("a", "b", "v.r", "v.t")}
    disc = Disc("v.r", "v.t", np.zeros(1), np.zeros(1), np.full(1, 0.5))
    bounder = Bounder(program, "y", 1, Ground({n: -e for n, e in ends.items()}, ends, (disc,), {}), {})
    boxes = bounder.whole()
    result = bounder.look(boxes, -4.7, 0)
    assert result.bound[0] == pytest.approx(-5.0, abs=1e-9)
    assert boxes.high[bounder.form.inputs.index("a"), 0] == pytest.approx(-0.9, abs=1e-7)
    assert boxes.arc[4, 0, 0] == pytest.approx(0.5 - 0.075, abs=1e-7)
    assert boxes.arc[2, 0, 0] == pytest.approx((0.5 - 0.075) / 0.5, abs=1e-7)


def test_a_disc_of_which_one_part_is_needed_keeps_both_ends():
    """−√(v.t² + a²), a up to 0.831, |v.t| up to 0.32: least at either end of v.t (what a fuzz run once lost)."""
    nodes = [Node("input", (), "a"), Node("input", (), "v.t"), Node("length", (1, 0))]
    disc = Disc("v.r", "v.t", np.array([2.995]), np.zeros(1), np.array([0.32]))
    ends = {"a": np.array([0.831]), "v.t": np.zeros(1)}
    ground = Ground({n: 0.0 * e for n, e in ends.items()}, ends, (disc,), {})
    end = Search(Program(tuple(nodes), {"y": 2}, {"a": 0, "v.t": 1}), "y", -1, ground, {}, 1e-4).run(400)
    assert end.found == pytest.approx(-np.hypot(0.831, 0.32), abs=1e-4)
    assert end.bound <= -np.hypot(0.831, 0.32)
