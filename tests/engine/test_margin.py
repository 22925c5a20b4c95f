"""Margins at the allowance and their slopes, against closed forms and against drawing again."""

from __future__ import annotations

import math
from typing import Any

import pytest
from cages import model_of, plain_stack
from scipy.stats import norm

from stackup.chain.model import Allowance, Model, Requirement
from stackup.engine import margin, monte_carlo
from stackup.engine.settings import Settings

SETTINGS = Settings(seed=5, cages=40_000)
ALLOWED = Allowance(2000.0, "cages")


def stack(**changes: Any) -> Model:
    sizes = {"a": {"nominal": 10.0, "tolerance": 0.3}, "b": {"nominal": 4.0, "tolerance": 0.4}} | changes
    return model_of(plain_stack(sizes, "a - b"))


def test_a_normal_gap() -> None:
    """Closed form: a − b has mean 6 and sd 0.1667: margin 6 − 5.4 + z·sd, slopes −1 and the share of z·sd each takes.

    The quantile of n draws has the standard error √(p(1−p)/n)/φ; what can be proved is 2 of these short of p.
    """
    requirement = Requirement("total", "total", min=5.4, allow=ALLOWED)
    found = margin.run(stack(), [requirement], SETTINGS)["total"]
    sd, part = math.hypot(0.1, 0.4 / 3), 2e-3
    error = math.sqrt(part / SETTINGS.cages) / norm.pdf(norm.ppf(part)) * sd
    assert found.margin == pytest.approx(0.6 + norm.ppf(part) * sd, abs=5 * error)
    assert found.by_mean == pytest.approx({"a": 1.0, "b": -1.0}, abs=1e-12)
    whole = sum(found.by_scatter.values())
    assert whole == pytest.approx(norm.ppf(part) * sd, rel=0.03)
    # at the quantile each takes its share of the variance; 96 cages know it to 1/√96 of the rest
    assert found.by_scatter["b"] / whole == pytest.approx((0.4 / 3 / sd) ** 2, abs=0.1)


@pytest.mark.parametrize("of", ["cages", "pockets"])
@pytest.mark.parametrize("over", ["each", "least", "spread"])
def test_the_margin_is_what_the_limit_may_move(over: str, of: str) -> None:
    """Moved inwards by the margin the fraction's interval still lies within the allowance, by 3 % more it does not."""
    if over != "each" and of == "pockets":
        return
    tables: dict[str, Any] = {
        "cage": {"kind": "cylindrical", "rollers": 8},
        "dimensions": {
            "roller_diameter": {"nominal": 12.0, "tolerance": 0.02}, "roller_length": {"nominal": 24.0},
            "roller_bore": {"nominal": 3.8, "tolerance": 0.05}, "pin_diameter": {"nominal": 3.2, "tolerance": 0.02},
            "hole_pitch_diameter": {"nominal": 40.0, "tolerance": 0.03}, "ring_spacing": {"nominal": 24.9},
            "inner_raceway": {"nominal": 28.0}, "hole_position_a": {"zone": 0.1}, "hole_position_b": {"zone": 0.1},
        },
    }  # fmt: skip
    model = model_of(tables)
    side = {"max": 2.0} if over == "spread" else {"min": 0.0}
    asked = Requirement("x", "running_clearance", over, allow=Allowance(3000.0, of), **side)  # type: ignore[arg-type]
    found = margin.run(model, [asked], SETTINGS)["x"]
    for times, within in ((1.0, True), (1.03, False)):
        moved = found.margin * times
        limit = {"max": 2.0 - moved} if over == "spread" else {"min": moved}
        tight = Requirement("x", "running_clearance", over, allow=asked.allow, **limit)  # type: ignore[arg-type]
        record = monte_carlo.run(model, [tight], SETTINGS).records["x"]
        fraction = record.pockets if of == "pockets" else record.cages
        assert fraction is not None
        assert (fraction.high <= 3000e-6 * (1.001 if within else 1.0)) is within
