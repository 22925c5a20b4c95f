"""Sizes less lengths of sums of zones: the least value in closed form."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stackup.chain.bounds import Disc, Ground
from stackup.chain.forms import contract
from stackup.chain.plainsum import least
from stackup.chain.program import Node, Program
from stackup.chain.region import Region

NAMES = ("h", "d", "v.r", "v.t", "w.r", "w.t")
SIZES = {"h": (10.0, 10.04), "d": (9.8, 9.9)}


def bound_of(last, sign=1, growing=True, slope=0.5):
    """Return the closed form of an output over (h − d)/2 (node 8) and v + w (nodes 9, 10)."""
    nodes = [
        *(Node("input", (), n) for n in NAMES),
        Node("constant", (), 0.5),
        Node("sub", (0, 1)),
        Node("mul", (6, 7)),
    ]
    nodes += [Node("add", (2, 4)), Node("add", (3, 5)), *last]
    program = Program(tuple(nodes), {"y": len(nodes) - 1}, {n: i for i, n in enumerate(NAMES)})
    feature = ("h", slope, 10.0) if growing else (None, 0.0, 0.0)
    discs = (
        Disc("v.r", "v.t", np.array([0.003]), np.array([0.004]), np.array([0.05]), *feature),
        Disc("w.r", "w.t", np.zeros(1), np.zeros(1), np.array([0.02])),
    )
    low, high = ({n: np.array([SIZES.get(n, (0.0, 0.0))[end]]) for n in NAMES} for end in (0, 1))
    ground = Ground(low, high, discs, {})
    form = contract(program, "y", {}, {})
    return float(least(form, Region(form.inputs, ground), float(sign))[0])


ENTRY = [Node("length", (9, 10)), Node("sub", (8, 11))]


def test_a_bonus_cancels_the_size_that_gives_it_to_the_last_digit():
    """(10 − 9.9)/2 − (0.05 + 0.02 + |centre| 0.005) = −0.025, whatever the hole is (ISO 2692, taken jointly)."""
    assert bound_of(ENTRY) == pytest.approx(-0.025, abs=1e-10)


def test_without_bonus_the_smallest_hole_counts():
    """The same number: the hole at its least."""
    assert bound_of(ENTRY, growing=False) == pytest.approx(-0.025, abs=1e-10)


def test_a_bonus_larger_than_its_size_gives_is_least_at_the_largest_hole():
    """Growing by 2 mm a mm of hole: at 10.04 the zone is 0.08 larger, the play 0.02: −0.025 + 0.02 − 0.08."""
    assert bound_of(ENTRY, slope=2.0) == pytest.approx(-0.085, abs=1e-10)


def test_a_length_that_helps_counts_as_zero():
    """(h − d)/2 + |v + w|: no less than (10 − 9.9)/2."""
    assert bound_of([Node("length", (9, 10)), Node("add", (8, 11))]) == pytest.approx(0.05, abs=1e-10)


def test_what_is_more_than_sizes_and_lengths_has_no_closed_form():
    """exp of the play: nothing is said."""
    assert bound_of([*ENTRY, Node("exp", (12,))]) == -np.inf


@given(st.floats(-2, 2), st.floats(-2, 2), st.sampled_from([1, -1]))
@settings(max_examples=60)
def test_stretched_zones_keep_a_bound(first, second, sign):
    """±((h − d)/2 − |(p·v.r + w.r, q·v.t + w.t)|): exact only where both factors agree, never above any value."""
    last = [Node("constant", (), first), Node("mul", (11, 2)), Node("constant", (), second), Node("mul", (13, 3))]
    last += [Node("add", (12, 4)), Node("add", (14, 5)), Node("length", (15, 16)), Node("sub", (8, 17))]
    rng = np.random.default_rng(3)
    angle, other = rng.uniform(0, 2 * np.pi, (2, 4000))
    h = rng.choice([10.0, 10.04], 4000)
    reach = 0.05 + 0.5 * (h - 10.0)
    v = 0.003 + reach * np.cos(angle), 0.004 + reach * np.sin(angle)
    length = np.hypot(first * v[0] + 0.02 * np.cos(other), second * v[1] + 0.02 * np.sin(other))
    values = sign * ((h - rng.choice([9.8, 9.9], 4000)) / 2 - length)
    assert bound_of(last, sign) <= values.min() + 1e-12
