"""Parts to drawing never leave the worst case."""

from __future__ import annotations

from dataclasses import replace

import pytest
from cages import Table, cages, every_gap, model_of
from hypothesis import given, settings

from stackup.chain.model import OVERS, Over, Requirement
from stackup.engine import monte_carlo, worst_case
from stackup.engine.settings import Settings

#: what tables of quantile functions may be wrong by, against tolerances of some hundredths of a mm
ROUNDING = 1e-7


@settings(max_examples=8)
@given(cages(inspected=True))
def test_worst_case_contains_every_inspected_sample(tables: Table) -> None:
    """Worst case contains every inspected sample, as-built values without uncertainty too."""
    model = model_of(tables)
    wanted = every_gap(model)
    found = worst_case.run(model, wanted, Settings(boxes=30))
    drawn = monte_carlo.run(model, wanted, Settings(cages=2000)).records
    for name, record in found.items():
        room = ROUNDING * max(1.0, abs(record.bound_high), abs(record.bound_low))
        assert record.bound_low - room <= drawn[name].least, name
        assert drawn[name].greatest <= record.bound_high + room, name


@settings(max_examples=4)
@given(cages(inspected=True, most=6))
def test_folds_stay_inside_their_worst_case(tables: Table) -> None:
    """Least, greatest, mean and spread of inspected cages lie within their bounds; found ends within those."""
    model = model_of(tables)
    wanted = [
        Requirement(f"{gap}_{over}", gap, over, min=-10.0, max=10.0)
        for gap in ("bore_clearance", "running_clearance", "roller_spacing", "pin_skew", "pin_tilt", "end_clearance")
        for over in OVERS
    ]
    found = worst_case.run(model, wanted, Settings(boxes=30))
    drawn = monte_carlo.run(model, wanted, Settings(cages=1000)).records
    for name, record in found.items():
        assert record.bound_low <= record.low <= record.high <= record.bound_high, name
        assert record.bound_low - ROUNDING <= drawn[name].least, name
        assert drawn[name].greatest <= record.bound_high + ROUNDING, name


@pytest.mark.parametrize(("over", "end"), [("least", "low"), ("greatest", "high")])
@settings(max_examples=5)
@given(cages(inspected=True, most=6))
def test_a_cage_with_one_extreme_pocket_can_be_built(over: Over, end: str, tables: Table) -> None:
    """The least of a cage can be as low as a pocket can, the greatest as high: one pocket decides."""
    model = model_of(tables)
    for gap in ("running_clearance", "roller_spacing"):
        each, fold = Requirement("each", gap), Requirement("fold", gap, over)
        found = worst_case.run(model, [each, fold], Settings(boxes=30 * worst_case.UNASKED))  # neither has a limit
        sign = 1 if end == "low" else -1
        one, other, bound = (sign * value for value in (getattr(found["each"], end), getattr(found["fold"], end),
                                                        getattr(found["each"], f"bound_{end}")))  # fmt: skip
        room = 1e-9 * max(1.0, abs(one))
        assert bound - room <= other <= one + room, gap  # with few boxes, cages may find a worse pocket


@settings(max_examples=8)
@given(cages(inspected=True, shares=False, most=6, always=("roller_diameter",)))
def test_found_ends_of_a_spread_keep_one_class(tables: Table) -> None:
    """No cage holds rollers of two classes: the spread of a sorted diameter is at most the class width."""
    tables["dimensions"]["roller_diameter"] = {"nominal": 30.0, "tolerance": [-0.02, 0.0], "sorted_to": 0.008}
    tables["dimensions"]["roller_bore"] = {"nominal": 9.6}
    tables["dimensions"].pop("roller_bore_runout", None)
    model = model_of(tables)
    wall = Requirement("wall", "roller_wall", "spread", max=1.0)
    found = worst_case.run(model, [wall], Settings(boxes=30))["wall"]
    assert found.high <= 0.008 / 2 + 1e-9
    assert found.bound_high <= 0.008 / 2 + 1e-4


@settings(max_examples=8)
@given(cages(inspected=True, columns=False, most=6))
def test_found_ends_keep_every_pocket_as_built(tables: Table) -> None:
    """Where every pocket is measured there is one cage, and every fold of it is a number."""
    rollers = tables["cage"]["rollers"]
    entries = tables["dimensions"]
    entries["roller_bore"] = {"values": [9.6 + 0.001 * i for i in range(rollers)]}
    entries["pin_diameter"] = {"values": [9.0] * rollers}
    for name in ("bonus_from",):
        for entry in entries.values():
            entry.pop(name, None)
    model = model_of(tables)
    bore = Requirement("least", "bore_clearance", "least")
    wanted = [bore] + [replace(bore, name=over, over=over) for over in ("greatest", "mean", "spread")]
    found = worst_case.run(model, wanted, Settings(boxes=30))
    expected = {"least": 0.6, "greatest": 0.6 + 0.001 * (rollers - 1), "spread": 0.001 * (rollers - 1)}
    expected["mean"] = (expected["least"] + expected["greatest"]) / 2
    for name, value in expected.items():
        assert abs(found[name].low - value) <= 1e-9, name
        assert abs(found[name].high - value) <= 1e-9, name
