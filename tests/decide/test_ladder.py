"""Steps of a counter-proposal: on a drawing's grid, towards the drawing, never beyond either end."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stackup.decide.ladder import between, of_processes

LENGTHS = st.floats(-50, 50).map(lambda x: round(x, 4))


@given(LENGTHS, LENGTHS)
def test_between_lengths(before: float, after: float) -> None:
    """In order, strictly between, no more than the drawing's steps; each is a multiple of its step."""
    found = between(before, after)
    way = after - before
    assert found == sorted(found, reverse=way < 0)
    assert all(min(before, after) < value < max(before, after) for value in found)
    assert len(found) < 2001
    assert len(set(found)) == len(found)
    if 2e-3 <= abs(way) < 2:
        assert all(abs(value * 1e3 - round(value * 1e3)) < 1e-6 for value in found)
        assert len(found) >= abs(way) * 1e3 - 2


@pytest.mark.parametrize(
    ("before", "after", "unit", "found"),
    [
        (0.1, 0.104, "mm", [0.101, 0.102, 0.103]),
        (0.1, 0.0965, "mm", [0.1 - 0.001 * k for k in (1, 2, 3)]),
        (15.4, 15.4005, "mm", [15.4001, 15.4002, 15.4003, 15.4004]),
        (15.4004, 15.4034, "mm", [15.401, 15.402, 15.403]),
        ([-0.02, 0.0], [-0.024, 0.002], "mm", [[-0.021, 0.0], [-0.022, 0.001], [-0.023, 0.001]]),
        (40, 37, "count", [39, 38]),
        (0.4, 0.44, "", [0.41, 0.42, 0.43]),
        (1.0, 1.0, "mm", []),
        ("centres", "squares", "", []),
        ([0.1], [0.1, 0.2], "mm", []),
        (None, 0.1, "mm", []),
        (True, False, "", []),
    ],
)
def test_steps(before: object, after: object, unit: str, found: list[object]) -> None:

    for one, other in zip(between(before, after, unit), found, strict=True):
        assert one == pytest.approx(other, abs=1e-9)


def test_processes() -> None:
    """Numbers go step by step, defaults stand in for what is not said; other words have no way between."""
    assert of_processes({"cp": 1.33}, {"cp": 1.3}) == [{"cp": 1.32}, {"cp": 1.31}]
    assert of_processes({}, {"cp": 0.97}) == [{"cp": 0.99}, {"cp": 0.98}]
    assert of_processes({"cp": 1.0, "offset": [0.0, 0.0]}, {"cp": 1.0, "offset": [0.002, 0.0]}) == [
        {"cp": 1.0, "offset": [0.001, 0.0]}
    ]
    assert of_processes({}, {"shape": "uniform"}) == []
    assert of_processes({"inspected": True, "cp": 1.2}, {"cp": 1.0}) == []
    assert of_processes({"cp": 1.2, "cpk": 1.1, "toward": "upper"}, {"cp": 1.0}) == []
