"""The bounds of the ends that a requirement limits are those of the whole worst case."""

from __future__ import annotations

import math

import pytest
from test_tails import CAGE, model_of

from stackup.case import from_mapping
from stackup.chain.model import Over, Requirement
from stackup.engine import worst_case
from stackup.engine.settings import Settings


@pytest.mark.parametrize(
    ("over", "low", "high"),
    [
        ("each", 0.0, None),
        ("each", None, 0.1),
        ("each", 0.0, 0.1),
        ("least", 0.0, None),
        ("greatest", 0.0, None),
        ("mean", 0.0, 0.1),
        ("spread", None, 0.1),
    ],
)
def test_bounds(over: Over, low: float | None, high: float | None) -> None:
    """The same numbers; the other end is infinite, of a spread both are asked for."""
    model = model_of(from_mapping(CAGE))
    requirement = Requirement("entry", "pin_entry", over, low, high)
    whole = worst_case.run(model, [requirement], Settings())["entry"]
    found = worst_case.bounds(model, requirement, Settings())
    expected = (whole.bound_low, whole.bound_high)
    assert found[0] == (expected[0] if low is not None or over == "spread" else -math.inf)
    assert found[1] == (expected[1] if high is not None or over == "spread" else math.inf)
