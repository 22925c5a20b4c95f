"""Worst case of folds over a cage: what pockets share, or hand on round the ring, is not counted once for each."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import pytest

from stackup.case import from_mapping, read
from stackup.chain.model import Over, Requirement
from stackup.engine import worst_case
from stackup.engine.result import WorstCase
from stackup.engine.settings import Settings

CASES = Path(__file__).parents[2] / "cases"
#: zones of a pocket (diameters), the offset of the rings, their turn, the spacing
ZONES = {"hole_position_a": 0.10, "hole_position_b": 0.12, "pin_seat_a": 0.02, "pin_seat_b": 0.04}
OFFSET, PHASE, SPACING, LOOSE = 0.10, 0.03, 81.0, 0.2
SIZES: dict[str, Any] = {
    "roller_diameter": {"nominal": 50.0},
    "roller_length": {"nominal": 80.0, "tolerance": 0.02},
    "roller_bore": {"nominal": 18.0, "tolerance": 0.03},
    "pin_diameter": {"nominal": 17.4, "tolerance": 0.02},
    "hole_pitch_diameter": {"nominal": 800.1},
    "ring_spacing": {"nominal": SPACING, "tolerance": LOOSE},
    "inner_raceway": {"nominal": 750.0},
    "ring_phase": {"tolerance": PHASE},
    "ring_offset": {"zone": OFFSET},
    **{name: {"zone": zone} for name, zone in ZONES.items()},
}


def found(gap: str, over: Over, pockets: int, **changed: Any) -> WorstCase:
    """Return the worst case of a fold that is limited on both sides."""
    chains = {"handed_on": {"formula": "roller_bore.next - roller_bore"}}
    tables = {"cage": {"kind": "cylindrical", "rollers": pockets}, "dimensions": SIZES | changed, "chains": chains}
    (row,) = from_mapping(tables).models()
    wanted = Requirement("fold", gap, over, min=-1.0, max=1.0)
    return worst_case.run(row.states["made"], [wanted], Settings())["fold"]


@pytest.mark.parametrize("pockets", [7, 12])
def test_skew_in_closed_form(pockets: int) -> None:
    """The skew (b + q − a − s + ε)_t/W, W at its least.

    *Closed form.* Round the ring the offset ε cancels from the mean and the turn φ stays; two pockets have φ in common,
    and the offset at the angle 2πq/Z between them once each: a chord of 2 sin(πq/Z) times its radius at most.
    """
    own, least = sum(ZONES.values()) / 2, SPACING - LOOSE
    mean, spread = found("pin_skew", "mean", pockets), found("pin_skew", "spread", pockets)
    most = 1e3 * (own + PHASE) / least
    assert (-mean.low, mean.high) == (pytest.approx(most, rel=1e-9), pytest.approx(most, rel=1e-9))
    assert (-mean.bound_low, mean.bound_high) == (pytest.approx(most, rel=2e-4), pytest.approx(most, rel=2e-4))
    assert mean.certified_low
    assert mean.certified_high
    chord = max(2 * math.sin(math.pi * q / pockets) for q in range(1, pockets))
    most = 1e3 * (2 * own + OFFSET / 2 * chord) / least
    assert spread.high == pytest.approx(most, rel=1e-9)
    assert spread.bound_high == pytest.approx(most, rel=2e-4)
    assert spread.certified_high


def test_the_least_is_no_more_than_the_mean() -> None:
    """*Closed form.* No cage has all its skews above the most that their mean can be; some cage has."""
    least = found("pin_skew", "least", 12)
    most = 1e3 * (sum(ZONES.values()) / 2 + PHASE) / (SPACING - LOOSE)
    assert least.high == pytest.approx(most, rel=1e-9)
    assert least.certified_high
    greatest = found("pin_skew", "greatest", 12)
    assert greatest.low == pytest.approx(-most, rel=1e-9)
    assert greatest.certified_low


@pytest.mark.parametrize("pockets", [3, 8])
def test_what_is_handed_on_round_the_ring_is_nothing(pockets: int) -> None:
    """*Closed form.* Σ (bore of the next pocket − its own) = 0, whatever the bores; a pocket has ±0.06."""
    mean = found("handed_on", "mean", pockets)
    assert (mean.bound_low, mean.bound_high) == pytest.approx((0.0, 0.0), abs=1e-9)
    assert mean.certified_low
    assert mean.certified_high
    assert found("handed_on", "greatest", pockets).high == pytest.approx(0.06, abs=1e-9)


def test_two_pockets_that_face_each_other() -> None:
    """Where the worst case decides, a cage is found that comes near the bound, kinks or not (mixes of ends: 93 %)."""
    spread = found("running_clearance", "spread", 12)
    assert 0.95 * spread.bound_high <= spread.high <= spread.bound_high


def test_pockets_as_built_share_the_spacing() -> None:
    """*Closed form.* The end clearances of measured rollers spread as their lengths do, whatever the spacing."""
    lengths = [80.0, 80.013, 79.991, 80.004, 79.998]
    spread = found("end_clearance", "spread", 5, roller_length={"values": lengths})
    assert spread.high == pytest.approx(80.013 - 79.991, abs=1e-9)
    assert spread.certified_high


def test_chains_that_look_far_round_the_ring() -> None:
    """*Closed form.* A chain of a chain sees five pockets on: each pocket's own ends, and their spread, are numbers."""
    bores = [18.0 + 0.01 * i**2 for i in range(7)]
    chains = {
        "far": {"formula": "roller_bore.next.next.next - roller_bore"},
        "farther": {"formula": "far.next.next + 0*ring_offset.r"},
        "turned": {"formula": "roller_spacing.next.next.next"},
    }
    dimensions = SIZES | {"roller_bore": {"values": bores}}
    case = from_mapping({"cage": {"kind": "cylindrical", "rollers": 7}, "dimensions": dimensions, "chains": chains})
    model = case.models()[0].states["made"]
    values = [bores[(i + 5) % 7] - bores[(i + 2) % 7] for i in range(7)]
    wanted = [Requirement(over, "farther", over, min=-9.0, max=9.0) for over in ("each", "spread")]
    records = worst_case.run(model, wanted, Settings())
    each, spread = records["each"], records["spread"]
    assert (each.bound_low, each.bound_high) == pytest.approx((min(values), max(values)), abs=1e-8)
    assert (each.low, each.high) == pytest.approx((min(values), max(values)), abs=1e-8)
    assert spread.bound_high == pytest.approx(max(values) - min(values), abs=1e-8)
    both = [Requirement(gap, gap) for gap in ("roller_spacing", "turned")]
    one, other = worst_case.run(model, both, Settings(boxes=200)).values()
    assert other.bound_low <= one.low <= one.high <= other.bound_high


def test_the_apex_of_the_tapered_case() -> None:
    """Mean and spread of the crossings of a cage are certified; both are well inside what single pins can do."""
    case = read(CASES / "tapered.toml")
    model = case.models()[0].states["made"]
    wanted = [r for r in case.requirements if r.gap == "apex_crossing"]
    assert {r.over for r in wanted} == {"each", "mean", "spread"}
    records = {r.over: worst_case.run(model, wanted, Settings())[r.name] for r in wanted}
    assert all(r.certified_low and r.certified_high for r in records.values())
    each = records["each"]
    assert records["mean"].bound_high < 0.9 * each.high
    assert records["spread"].bound_high < 0.9 * (each.high - each.low)
