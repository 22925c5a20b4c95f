"""The kept worst units under mixes of dimensions: the fractions of the sampler, the quantiles of all cages."""

from __future__ import annotations

import math
from itertools import product
from typing import Any

import numpy as np
import pytest

from stackup.case import Case, changed, from_mapping
from stackup.chain.arrays import walk
from stackup.chain.fold import FOLDS
from stackup.chain.model import Allowance, Model, Requirement
from stackup.chain.program import bindings, compile_model, pitch_angles
from stackup.dimension import Dimension
from stackup.engine import monte_carlo
from stackup.engine.common_cages import Run
from stackup.engine.settings import Settings
from stackup.engine.tails import Tails

SETTINGS = Settings(seed=3, cages=9000)

CAGE: dict[str, Any] = {
    "cage": {"kind": "cylindrical", "rollers": 8},
    "dimensions": {
        "roller_diameter": {"nominal": 20.0, "tolerance": [-0.02, 0.0], "sorted_to": 0.005},
        "roller_length": {"nominal": 30.0},
        "roller_bore": {"nominal": 8.0, "tolerance": [0.0, 0.05], "lot_share": 0.4},
        "pin_diameter": {"nominal": 7.5, "tolerance": 0.02},
        "hole_pitch_diameter": {"nominal": 120.0, "tolerance": 0.05},
        "hole_position_a": {"zone": 0.1},
        "hole_position_b": {"zone": 0.1, "bonus_from": "ring_hole_b", "process": {"inspected": True}},
        "ring_hole_b": {"nominal": 7.7, "tolerance": [0.0, 0.06]},
        "ring_offset": {"zone": 0.08},
        "ring_spacing": {"nominal": 31.0, "tolerance": 0.1},
        "inner_raceway": {"nominal": 100.0},
    },
    "chains": {
        "step": {"formula": "pin_entry - pin_entry.next"},
        "width": {"formula": "ring_spacing - 30"},
        "closing": {"formula": "ring_entry + 0.1*bore_clearance"},
    },
}
CHANGES: tuple[dict[str, Any], ...] = (
    {"dimensions.hole_position_b.zone": 0.14},
    {"dimensions.ring_hole_b.tolerance": [-0.01, 0.05]},
    {"dimensions.ring_offset.zone": 0.05},
    {"dimensions.ring_spacing.tolerance": 0.13},
)
REQUIREMENTS = (
    Requirement("entry", "pin_entry", min=0.02, allow=Allowance(2000, "pockets")),
    Requirement("entry_of_cages", "pin_entry", min=0.02, max=0.2, allow=Allowance(9000, "cages")),
    Requirement("least", "pin_entry", over="least", min=0.0, allow=Allowance(1000, "cages")),
    Requirement("step", "step", max=0.11, allow=Allowance(500, "pockets")),
    Requirement("width", "width", min=0.9, allow=Allowance(5000, "bearings")),
    Requirement("closing", "closing", min=0.12, allow=Allowance(3000, "pockets")),
)
#: by how much a number of the whole cage may differ with the cages that it is solved beside [mm]
POSED = {"closing": 1e-7}


@pytest.fixture(scope="module")
def mixes() -> dict[tuple[bool, ...], dict[str, Dimension]]:
    """Return the dimensions of every mix of the changes, the same object where nothing that it hangs on differs."""
    case = from_mapping(CAGE)
    base, made = dict(model_of(case).dimensions), {}
    seen: dict[tuple[str, bool, bool], Dimension] = {}
    for chosen in product((False, True), repeat=len(CHANGES)):
        values = {k: v for change, on in zip(CHANGES, chosen, strict=True) if on for k, v in change.items()}
        dimensions = model_of(changed(case, values)).dimensions
        mine = dict(base)
        for name, on, other in (
            ("hole_position_b", chosen[0], chosen[1]),
            ("ring_hole_b", chosen[1], False),
            ("ring_offset", chosen[2], False),
            ("ring_spacing", chosen[3], False),
        ):
            if on or other:
                mine[name] = seen.setdefault((name, on, other), dimensions[name])
        made[chosen] = mine
    return made


def model_of(case: Case) -> Model:
    return case.models()[0].states["made"]


@pytest.fixture(scope="module")
def tails(mixes: dict[tuple[bool, ...], dict[str, Dimension]]) -> Tails:
    """Keep the worst under none, all, and every single change."""
    alone = [mixes[tuple(i == k for i in range(len(CHANGES)))] for k in range(len(CHANGES))]
    models = [mixes[(False,) * len(CHANGES)], mixes[(True,) * len(CHANGES)], *alone]
    return Tails(model_of(from_mapping(CAGE)), REQUIREMENTS, models, SETTINGS)


def quantile(model: Model, requirement: Requirement) -> float:
    """Return the margin at the allowance from all cages: the obvious twin."""
    run, allow = Run(model, SETTINGS), requirement.allow
    program = compile_model(model, [requirement.gap])
    margins = []
    for block in run.blocks(SETTINGS.cages):
        inputs = run.inputs(block, model.dimensions, set(program.inputs))
        seen = walk(program, inputs, np.array(pitch_angles(model.pockets)), bindings(model))
        values = FOLDS[requirement.over].value(seen[requirement.gap])
        low = values - requirement.min if requirement.min is not None else np.inf
        high = requirement.max - values if requirement.max is not None else np.inf
        each = np.minimum(low, high)
        margins.append(each.ravel() if allow and allow.of == "pockets" else each.min(axis=0))
    flat = np.sort(np.concatenate(margins))
    assert allow is not None
    return float(flat[math.floor(allow.ppm * 1e-6 * flat.size)])


@pytest.mark.parametrize("requirement", REQUIREMENTS, ids=lambda r: r.name)
def test_every_mix(
    requirement: Requirement, tails: Tails, mixes: dict[tuple[bool, ...], dict[str, Dimension]]
) -> None:
    """The margin is the quantile of all cages, to the bit; so is the fraction while it is near what is allowed.

    (A chain over a number of the whole cage: to what poses are solved to.)
    Of 16 mixes, only six of which chose what is kept.
    """
    model = model_of(from_mapping(CAGE))
    for dimensions in mixes.values():
        mixed = model.with_dimensions(dimensions)
        tail = tails.of(requirement.name, dimensions)
        assert tail.margin == pytest.approx(quantile(mixed, requirement), rel=0, abs=POSED.get(requirement.name, 0.0))
        assert tail.whole
        record = monte_carlo.run(mixed, [requirement], SETTINGS).records[requirement.name]
        assert requirement.allow is not None
        sampled = record.pockets if requirement.allow.of == "pockets" else record.cages
        assert sampled is not None
        if sampled.out_of_spec <= 2 * requirement.allow.ppm * 1e-6:
            assert (tail.fraction.out_of_spec, tail.fraction.low) == (sampled.out_of_spec, sampled.low)
            assert tail.fraction.high == sampled.high
        else:
            assert tail.fraction.out_of_spec > requirement.allow.ppm * 1e-6
            assert tail.margin < 0


def test_a_fraction_that_the_drawing_has_already(mixes: dict[tuple[bool, ...], dict[str, Dimension]]) -> None:
    """Many more out of spec than allowed are still counted where it is said how many there are."""
    model = model_of(from_mapping(CAGE))
    strict = Requirement("entry", "pin_entry", min=0.04, allow=Allowance(10, "pockets"))
    sampled = monte_carlo.run(model, [strict], SETTINGS).records["entry"].pockets
    assert sampled is not None
    assert sampled.out_of_spec > 1000e-6
    none = mixes[(False,) * len(CHANGES)]
    found = Tails(model, [strict], [none], SETTINGS, {"entry": sampled.out_of_spec}).of("entry", none)
    assert found.fraction.out_of_spec == sampled.out_of_spec


def test_fewer_cages_for_a_generous_allowance(mixes: dict[tuple[bool, ...], dict[str, Dimension]]) -> None:
    """Where most may be out, some chunks say enough; the estimate is the sampler's of as many cages."""
    model, none = model_of(from_mapping(CAGE)), mixes[(False,) * len(CHANGES)]
    loose = Requirement("entry", "pin_entry", min=0.07, allow=Allowance(200_000, "pockets"))
    tails = Tails(model, [loose], [none], Settings(seed=3, cages=20_000))
    tail = tails.of("entry", none)
    assert not tail.whole
    fewer = Settings(seed=3, cages=tails.pools["entry"].cages)
    sampled = monte_carlo.run(model, [loose], fewer).records["entry"].pockets
    assert sampled is not None
    assert tail.fraction.out_of_spec == pytest.approx(sampled.out_of_spec)


def test_no_allowance() -> None:
    """A requirement that the worst case decides has no quantile."""
    model = model_of(from_mapping(CAGE))
    with pytest.raises(ValueError, match="no allowance"):
        Tails(model, [Requirement("entry", "pin_entry", min=0.0)], [model.dimensions], SETTINGS)
