"""Which pocket is called the first is nobody's business."""

from __future__ import annotations

import math

import numpy as np
from cages import CAGE_ZONES, Table, cages, every_gap, model_of, turned, turned_vector
from comparing import assert_near, assert_same_extremes
from hypothesis import given, settings
from hypothesis import strategies as st

from stackup.chain.arrays import walk
from stackup.chain.model import OVERS, Requirement
from stackup.chain.program import bindings, compile_model, pitch_angles
from stackup.engine import monte_carlo, rss, worst_case
from stackup.engine.settings import Settings


def without_drift(tables: Table) -> Table:
    """A drift begins at pocket 0: it cannot be turned."""
    for entry in tables["dimensions"].values():
        entry.get("process", {}).pop("drift", None)
    return tables


def as_built(tables: Table, draw: st.DrawFn) -> Table:
    """The cage with every pocket measured and every vector of the cage known."""
    rollers = tables["cage"]["rollers"]
    found = {}
    for name, entry in tables["dimensions"].items():
        rng = np.random.default_rng(draw(st.integers(0, 2**32)))
        if "values" in entry or name in CAGE_ZONES:
            found[name] = entry
        elif "zone" in entry:
            found[name] = {"values": (entry["zone"] * rng.normal(0, 0.1, (rollers, 2))).tolist()}
        elif "limit" in entry:
            found[name] = {"values": (entry["limit"] * rng.random(rollers)).tolist()}
        elif entry.get("nominal") and name not in (
            "hole_pitch_diameter",
            "hole_pitch_diameter_b",
            "ring_spacing",
            "inner_raceway",
            "radial_internal_clearance",
            "pitch_shrinkage_b",
            "outer_guide",
            "ring_outside",
            "ring_inside",
            "inner_guide",
        ):
            found[name] = {"values": (entry["nominal"] + rng.normal(0, 0.01, rollers)).tolist()}
        else:
            found[name] = entry
        if name in CAGE_ZONES:
            found[name] = {"zone": 0.0, "process": {"offset": rng.normal(0, 0.03, 2).tolist()}}
        if "bonus_from" in found[name]:
            found[name].pop("bonus_from")
    return {**tables, "dimensions": found}


@st.composite
def built(draw: st.DrawFn) -> Table:
    """A cage as built."""
    return as_built(draw(cages(bonus=False, columns=False)), draw)


@given(cages(), st.integers(0, 2**32))
def test_turning_turns_every_gap(tables: Table, seed: int) -> None:
    """Turning all pockets' columns and the cage's vectors by one pocket turns every gap by one pocket."""
    model = model_of(tables)
    program = compile_model(model)
    rng, pockets = np.random.default_rng(seed), model.pockets
    inputs, again = {}, {}
    for dimension in model.dimensions.values():
        rows = pockets if dimension.scope == "pocket" else 1
        drawn = []
        for middle in dimension.law.mean:
            column = np.broadcast_to(np.asarray(middle, dtype=float).reshape(-1, 1), (rows, 7))
            drawn.append(column + dimension.half_width * rng.uniform(-1, 1, (rows, 7)))
        moved = [np.roll(values, -1, axis=0) for values in drawn]
        if dimension.kind == "zone" and dimension.scope == "cage":
            moved = list(turned_vector(*drawn, 2 * math.pi / pockets))
        inputs |= dict(zip(dimension.components, drawn, strict=True))
        again |= dict(zip(dimension.components, moved, strict=True))
    with np.errstate(all="ignore"):
        one = walk(program, inputs, pitch_angles(pockets), bindings(model))
        other = walk(program, again, pitch_angles(pockets), bindings(model))
    for gap in model.gaps:
        first, second = np.roll(one[gap.name], -1, axis=0), other[gap.name]
        assert np.allclose(first, second, rtol=1e-9, atol=1e-9, equal_nan=True), gap.name


@settings(max_examples=8)
@given(built())
def test_turning_changes_no_statistic_of_a_cage_as_built(tables: Table) -> None:
    """Turning a cage as built changes no number of a run: moments, extremes, fractions of pockets and cages."""
    one, other = model_of(tables), model_of(turned(tables))
    wanted = [Requirement(f"{gap.name}_{over}", gap.name, over, min=0.1) for gap in one.gaps for over in OVERS]
    first, second = (monte_carlo.run(m, wanted, Settings(cages=400)).records for m in (one, other))
    for name, record in first.items():
        more = second[name]
        room = 1e-9 * max(1.0, abs(record.least), abs(record.greatest))
        numbers = ("mean", "sd", "least", "greatest")
        assert_near([getattr(record, n) for n in numbers], [getattr(more, n) for n in numbers], 1e-7, room, name)
        assert_near((record.pockets, record.cages), (more.pockets, more.cages), 1e-9, 1e-12, name)


@settings(max_examples=6)
@given(cages().map(without_drift))
def test_turning_changes_no_statistic_of_rss(tables: Table) -> None:
    """Turning changes no statistic: RSS of all pockets together is the same."""
    one, other = model_of(tables), model_of(turned(tables))
    first, second = (rss.run(m, every_gap(m), Settings())[0] for m in (one, other))
    for name, record in first.items():
        more = second[name]
        assert (record is None) == (more is None)
        if record is not None and more is not None:
            room = 1e-4 * record.sd + 1e-9  # angles are rounded otherwise
            assert_near((record.mean, record.sd), (more.mean, more.sd), 0.0, room, name)


@settings(max_examples=4)
@given(cages(bonus=False, most=6).map(without_drift))
def test_turning_changes_no_worst_case(tables: Table) -> None:
    """Turning changes no statistic: the worst case of all pockets together is the same."""
    one, other = model_of(tables), model_of(turned(tables))
    wanted = [r for r in every_gap(one) if r.gap in ("running_clearance", "end_clearance", "pin_skew")]
    first, second = (worst_case.run(m, wanted, Settings(boxes=40)) for m in (one, other))
    for name, record in first.items():
        assert_same_extremes(record, second[name], 1.0, 1e-3, name)
