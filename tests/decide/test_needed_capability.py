"""The needed Cpk is met, 1 % less is not: put into the case and judged by the engines that ``check`` runs."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq
from scipy.special import ndtr

import stackup
from stackup.case import Case, changed, from_mapping, read
from stackup.decide.capability import capability, put_in
from stackup.decide.capability_record import CapabilityResult
from stackup.decide.check import settings_of
from stackup.decide.needed import FLOOR, LARGEST, boundary, rounded_up
from stackup.decide.processes import capability_of
from stackup.decide.trial import judge
from stackup.engine.settings import Settings
from stackup.report.capability import page

CASES = Path(__file__).parents[2] / "cases"


def plain(dimensions: dict[str, Any], formula: str, **requirement: Any) -> Case:
    """Return a stack of one chain and one requirement."""
    return from_mapping({
        "cage": {"kind": "none"},
        "dimensions": dimensions,
        "chains": {"gap": {"formula": formula}},
        "requirements": {"gap": requirement},
    })  # fmt: skip


def holds(case: Case, settings: Settings) -> bool:
    """Tell whether all requirements with an allowance are met, by the engines themselves."""
    wanted = [r for r in case.requirements if r.allow is not None]
    return judge(case.models()[0].states["made"], wanted, settings).works


def confirmed(case: Case, found: CapabilityResult, settings: Settings) -> dict[str, str]:
    """Hold every needed Cpk against the engines; return the answers by name."""
    for one in found.dimensions:
        index = one.needed.index
        if one.source != "stated":
            continue
        if one.needed.answer == "found":
            assert index is not None
            assert holds(put_in(case, one.name, index), settings), one
            assert not holds(put_in(case, one.name, 0.99 * index), settings), one
        elif one.needed.answer == "floor":
            assert index == FLOOR
            assert holds(put_in(case, one.name, FLOOR), settings), one
        elif one.needed.answer == "none":
            assert not holds(put_in(case, one.name, LARGEST), settings), one
    return {one.name: one.needed.answer for one in found.dimensions}


# A linear chain of normals: all in closed form ---------------------------------------------------------------------


def needed_by_hand(half: float, offset: float, others: float, allowed: float) -> float:
    """Return the Cpk of a size ± ``half`` at which P(|sum| > 1) = ``allowed``, its mean off by ``offset``."""

    def excess(sigma: float) -> float:
        total = math.hypot(sigma, others)
        return float(ndtr((offset - 1) / total) + ndtr((-1 - offset) / total)) - allowed

    sigma = brentq(excess, 1e-9, 10.0, xtol=1e-14)
    return (half - abs(offset)) / (3 * sigma)


@settings(deadline=None, max_examples=15)
@given(
    half=st.floats(0.3, 1.0),
    offset=st.floats(-0.2, 0.2),
    others=st.floats(0.02, 0.15),
    ppm=st.sampled_from([10.0, 500.0, 20_000.0]),
    cp=st.sampled_from([0.5, 1.0, 2.0]),
)
def test_closed_form(half: float, offset: float, others: float, ppm: float, cp: float) -> None:
    """Within the last per cent above σ from the normal law, whether the case is met or not; none where others fail."""
    case = plain(
        {
            "a": {"nominal": 0.0, "tolerance": half, "process": {"cp": cp, "shift": offset}},
            "b": {"nominal": 0.0, "tolerance": 3 * others},
        },
        "a + b",
        min=-1.0,
        max=1.0,
        allow={"ppm": ppm, "of": "cages"},
    )
    found = capability(case, Settings(cages=1))["a"]
    assert found.cpk == pytest.approx(cp * (1 - abs(offset) / half))
    alone = ndtr((offset - 1) / others) + ndtr((-1 - offset) / others)
    if alone > ppm * 1e-6:
        assert found.needed.answer == "none"
        return
    by_hand = needed_by_hand(half, offset, others, ppm * 1e-6)
    if by_hand < FLOOR:
        assert found.needed.answer == "floor"
    else:
        assert found.needed.index is not None
        assert by_hand * (1 - 1e-9) <= found.needed.index <= by_hand / 0.99 * (1 + 1e-9)


def test_every_way_to_state_a_process() -> None:
    """cp, cpk alone, cpk with a side, shift; the keys of the record put the index in, the mean keeps its place."""
    ways: dict[str, dict[str, Any]] = {
        "a": {},
        "b": {"cp": 1.2},
        "c": {"cpk": 1.1},
        "d": {"cp": 1.4, "cpk": 1.1, "toward": "lower"},
        "e": {"cp": 1.3, "shift": 0.02},
    }
    dimensions = {name: {"nominal": 0.0, "tolerance": 0.1, "process": way} for name, way in ways.items()}
    case = plain(dimensions, "a + b + c + d + e", min=-0.2, max=0.2, allow={"ppm": 900, "of": "cages"})
    found, settings = capability(case, Settings(cages=1)), Settings(cages=1)
    assert set(confirmed(case, found, settings).values()) == {"found"}
    before = {name: float(d.law.mean[0]) for name, d in case.dimensions.items()}
    for one in found.dimensions:
        keys = one.to_dict()["needed_process"]
        changes = {f"dimensions.{one.name}.process.{key}": value for key, value in keys.items() if value is not None}
        assert ("cp" in ways[one.name] or "cpk" not in ways[one.name]) == (keys["cp"] is not None)
        assert holds(changed(case, changes), settings)
        made = changed(case, changes).dimensions[one.name]
        assert float(made.law.mean[0]) == pytest.approx(before[one.name], abs=1e-12)
        assert capability_of(made).cpk == pytest.approx(one.needed.index, rel=1e-12)


# Sampled ---------------------------------------------------------------------------------------------------------


CAGE = changed(read(CASES / "measured_pins.toml"), {"dimensions.pin_diameter.choices": None})
FEW = settings_of(CAGE, cages=3000)


def test_a_cage_that_is_met() -> None:
    """Each stated process could be worse, by as much as its needed Cpk says."""
    case = changed(CAGE, {
        "requirements.bore_clearance.allow.ppm": 40_000, "requirements.pin_entry.allow.ppm": 3000,
        "dimensions.ring_hole_b.process": {"cp": 1.3, "cpk": 1.2, "toward": "lower"},
        "dimensions.hole_position_a.process": {"cp": 1.2, "offset": [0.01, 0.0]},
    })  # fmt: skip
    answers = confirmed(case, capability(case, FEW), FEW)
    assert {name for name, answer in answers.items() if answer == "found"} == {
        "roller_bore", "pin_diameter", "hole_position_a", "hole_position_b", "pin_seat_a", "ring_hole_b",
    }  # fmt: skip


def test_a_cage_that_is_not_met() -> None:
    """Only what the failing requirement depends on can mend it."""
    case = changed(CAGE, {
        "requirements.bore_clearance.allow.ppm": 40_000, "requirements.pin_entry.min": 0.094,
        "requirements.pin_entry.allow": {"ppm": 5000, "of": "pockets"},
        "dimensions.hole_position_a.process.cp": 0.8,
    })  # fmt: skip
    found = capability(case, FEW)
    answers = confirmed(case, found, FEW)
    assert answers["hole_position_a"] == "found"
    assert found["hole_position_a"].needed.index > found["hole_position_a"].cpk
    assert answers["roller_bore"] == "none"
    assert "does not depend on it" in found["roller_bore"].needed.why
    assert found["roller_bore"].needed.decided_by is None
    (row,) = [row for row in page(found).sections[0].rows if row[0].text == "roller_bore"]  # type: ignore[union-attr]
    assert row[-1].text == "–"
    assert answers["roller_length"] == "not asked"
    assert found.verdict == "not met"


def test_shapes_of_a_nonlinear_stack() -> None:
    """Inspected, one-sided, a zone, shapes: all by sampling, met and not met."""
    dimensions = {
        "bore": {"nominal": 10.0, "tolerance": [0.0, 0.05], "feature": "hole", "process": {"shape": "uniform"}},
        "pin": {"nominal": 9.9, "tolerance": 0.01, "process": {"inspected": True, "cp": 0.7, "shift": 0.002}},
        "place": {"zone": 0.05, "bonus_from": "bore", "process": {"offset": [0.004, 0.0]}},
        "bow": {"limit": 0.02, "process": {"shape": "lognormal", "sigma": 0.4}},
        "block": {"nominal": 0.0, "tolerance": 0.01, "process": {"shape": "triangular", "mode": 0.5}},
    }
    formula = "bore - pin - 2*hypot(place.r, place.t) - bow + block"
    for least, verdict in ((0.04, "met"), (0.058, "not met")):
        case = plain(dimensions, formula, min=least, allow={"ppm": 10_000, "of": "cages"})
        settings = Settings(cages=8000)
        found = capability(case, settings)
        assert found.verdict == verdict
        assert "found" in confirmed(case, found, settings).values()


def test_a_measured_column() -> None:
    """Its values drawn together about their mean: met at the needed index, with 1 % less of it not."""
    case = changed(CAGE, {"requirements.pin_entry.allow.ppm": 3000})
    found = capability(case, FEW)["pin_diameter"]
    assert (found.source, found.needed.answer) == ("data", "found")
    model = case.models()[0].states["made"]
    wanted = [r for r in case.requirements if r.allow is not None]
    spread = capability_of(case.dimensions["pin_diameter"]).spread
    assert spread is not None
    for part, works in ((1.0, True), (0.99, False)):
        made = spread.at(spread.factor(part * found.needed.index))
        assert judge(model.with_dimensions({"pin_diameter": made}), wanted, FEW).works == works
        assert capability_of(made).cpk == pytest.approx(part * found.needed.index, rel=1e-9)
        before, after = (d.process.measured.values.mean() for d in (case.dimensions["pin_diameter"], made))  # type: ignore[attr-defined]
        assert after == pytest.approx(before, abs=1e-12)


def test_too_few_cages_prove_nothing() -> None:
    """No Cpk is needed where the number of cages cannot prove the allowance; the reason says so."""
    case = changed(CAGE, {"requirements.bore_clearance.allow.ppm": 40_000, "requirements.pin_entry.allow.ppm": 10})
    found = capability(case, FEW)
    assert found["hole_position_a"].needed.answer == "none"
    assert "3000 cages drawn cannot prove pin_entry" in found["hole_position_a"].needed.why


def test_no_index() -> None:
    """As built, exact, and a mean outside its tolerance: null with a reason."""
    dimensions = {
        "built": {"values": [0.5], "uncertainty": 0.01},
        "exact": {"nominal": 1.0},
        "off": {"nominal": 1.0, "tolerance": 0.1, "process": {"shift": 0.11}},
    }
    case = plain(dimensions, "built + exact + off", min=2.4, allow={"ppm": 1000, "of": "cages"})
    found = capability(case, Settings(cages=500))
    assert [(found[n].cpk, found[n].needed.answer) for n in ("built", "exact")] == [(None, "no index")] * 2
    assert found["off"].cpk == pytest.approx(-0.1)
    assert (found["off"].needed.answer, found["off"].needed.index) == ("no index", None)
    assert found["exact"].gains.spread == 0.0
    with pytest.raises(ValueError, match="states no capability"):
        put_in(case, "built", 1.0)


def test_the_worst_case_moves_with_no_index() -> None:
    """Only requirements with an allowance count: one that the worst case decides is named, and needs nothing."""
    case = plain({"a": {"nominal": 0.0, "tolerance": 0.1}}, "a", min=-0.05)
    found = capability(case, Settings(cages=200))
    assert (found.verdict, found["a"].needed.answer, found["a"].gains.by_requirement) == ("not met", "not asked", {})
    said = [note.text for note in found.notes]
    assert "decided by the worst case, which no Cpk moves: gap (not met)" in said
    assert any("no requirement has an allowance" in text for text in said)


@given(st.floats(1e-6, 1e6))
def test_rounding_up(value: float) -> None:
    """Never less, at most one in a thousand more, four digits."""
    found = rounded_up(value)
    assert value <= found <= value * 1.001
    assert float(f"{found:.3e}") == found


def test_interrupted() -> None:
    """What was not finished is left out; the record is complete in form."""
    case = read(CASES / "bush_stack.toml")
    calls = []

    def stop(*_: object) -> None:
        calls.append(1)
        if len(calls) > 4:
            raise KeyboardInterrupt

    with pytest.raises(stackup.errors.Interrupted) as stopped:
        capability(case, settings_of(case, cages=20_000), stop)
    record = stopped.value.records.to_dict()
    assert record["interrupted"]
    assert record["verdict"] == "undecided"
    assert {one["needed"] for one in record["dimensions"]} == {"not finished"}
    assert replace(stopped.value.records, interrupted=False).to_dict()["dimensions"] == record["dimensions"]


def test_where_the_boundary_is_thought_to_be() -> None:
    """Behind as many crossings as may fail; what fails without one counts by the square of its way from factor 1."""
    crossings = np.array([0.1, 0.3, 0.6, 0.9])
    assert [boundary(crossings, 0.05, 0, allowed) for allowed in (0, 2, 4)] == [0.1, 0.6, np.inf]
    assert boundary(np.array([2.0, 3.0, 4.0]), 5.0, 3, 1) == 3.0
    # two fail at 0.5 without a crossing, so 2·(0.2/0.5)² = 0.32 beside the one at 0.8: more than one
    assert [boundary(np.array([0.8, 0.9]), 0.5, failed, 1) for failed in (0, 2)] == [0.9, 0.8]
