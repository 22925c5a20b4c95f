"""A bonus at maximum material gives back what the hole took."""

from __future__ import annotations

import copy
import math

from cages import Table, cages, model_of
from hypothesis import given, settings
from hypothesis import strategies as st

from stackup.chain.model import Requirement
from stackup.engine import worst_case
from stackup.engine.settings import Settings


@settings(max_examples=12)
@given(
    cages(bonus=False, values=False, always=("ring_hole_b", "hole_position_b"), sorting=False),
    st.sampled_from(["hole_position_b", "pin_squareness_a"]),
    st.integers(1, 20),
)
def test_worst_entry_does_not_know_the_largest_hole(tables: Table, zone: str, more: int) -> None:
    """Worst low of pin_entry does not depend on the upper limit of a hole whose bonus is at maximum material."""
    first = copy.deepcopy(tables)
    first["dimensions"].setdefault(zone, {"zone": 0.08})["bonus_from"] = "ring_hole_b"
    second = copy.deepcopy(first)
    second["dimensions"]["ring_hole_b"]["tolerance"] = [0.0, 0.04 + more / 100]
    wanted = [Requirement("pin_entry", "pin_entry")]
    one, other = (worst_case.run(model_of(t), wanted, Settings(boxes=200))["pin_entry"] for t in (first, second))
    assert one.certified_low
    assert other.certified_low
    assert math.isclose(one.low, other.low, abs_tol=2e-4)
    assert other.high > one.high - 2e-4
