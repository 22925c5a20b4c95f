"""What is said to govern a worst case is what helps there: tightened, it gains most."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from stackup.case import changed, read
from stackup.chain.model import Allowance, Requirement
from stackup.decide.record import Record
from stackup.engine import worst_case
from stackup.engine.result import Contribution, WorstCase
from stackup.engine.settings import Settings

DEMO = read(Path(__file__).parents[2] / "cases" / "demo.toml")
ASKED = Requirement("running_clearance", "running_clearance", min=0.0)


def low_end(**changes: object) -> WorstCase:
    case = changed(DEMO, {f"dimensions.{name}": value for name, value in changes.items()})
    model = case.models()[0].states["made"]
    return worst_case.run(model, [ASKED], Settings())["running_clearance"]


def test_shares_of_an_end_are_what_ten_per_cent_gain() -> None:
    """A zone, a zone with a bonus, the size that gives the bonus: 10 % finer moves the end as the share says."""
    now = low_end()
    entries = DEMO.mapping["dimensions"]
    finer = {
        "hole_position_a": {**entries["hole_position_a"], "zone": 0.09},
        "hole_position_b": {**entries["hole_position_b"], "zone": 0.09},
        "ring_hole_b": {**entries["ring_hole_b"], "tolerance": [0.00215, 0.04085]},
        "radial_internal_clearance": {**entries["radial_internal_clearance"], "tolerance": 0.063},
    }
    gains = {name: low_end(**{name: entry}).low - now.low for name, entry in finer.items()}
    per_share = gains["hole_position_b"] / now.low_shares["hole_position_b"]
    for name, gain in gains.items():
        assert gain / per_share == pytest.approx(now.low_shares[name], abs=0.05 * now.low_shares["hole_position_b"])
    assert max(gains, key=gains.__getitem__) == max(finer, key=now.low_shares.__getitem__)


ENDS = WorstCase(0.2, 0.9, 0.2, 0.9, True, True, 0.2, 0.9, {"a": 0.7, "b": 0.3}, {"a": 0.1, "b": 0.9})


@pytest.mark.parametrize(
    ("low", "high", "allow", "expected"),
    [
        (0.1, None, None, ["a", "b"]),
        (None, 1.0, None, ["b", "a"]),
        (0.1, 2.0, None, ["a", "b"]),
        (-2.0, 1.0, None, ["b", "a"]),
        (0.1, None, Allowance(10.0, "cages"), ["c"]),
    ],
)
def test_the_end_nearer_to_its_limit_counts(
    low: float | None, high: float | None, allow: Allowance | None, expected: list[str]
) -> None:
    """Without an allowance the shares of that end, with one those of the scatter."""
    asked = replace(ASKED, min=low, max=high, allow=allow)
    scatter = Contribution(dimension="c", sensitivity=1.0, signed=True, mean_sensitivity=1.0, variance_share=1.0,
                           width_share=0.0, tighter=None)  # fmt: skip
    record = Record(asked, "mm", False, 0.5, "1", "made", ENDS, None, None, (scatter,), None, "met", 0)
    assert [name for name, _ in record.governing] == expected
