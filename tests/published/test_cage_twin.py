"""Whole cages, pocket by pocket, against the slow twin in plain Python (independent).

The twin (tests/twins.py) restates the model and shares no line with the package.  Cages are random: any number of
rollers, any slots left out, neighbours and the ring's turn included; all gaps of all pockets agree to 1e-9.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from test_pocket_pair import case_of, gaps_of
from twins import cage_gaps, folds
from walked import WHOLE

from stackup.case import from_mapping
from stackup.engine import monte_carlo
from stackup.engine.settings import Settings

#: agreement in mm and mrad; stresses in N/mm2 come from mm times 1e5 N/mm3 and more
TOLERANCE, OF_STRESS = 1e-9, 1e-9 * 206_000
Cage = tuple[dict[str, Any], list[dict[str, Any]], dict[str, Any]]

# what a cage needs for its gaps at all; the others may be left out
REQUIRED = {"roller_diameter", "roller_length", "roller_bore", "pin_diameter"}
REQUIRED |= {"hole_pitch_diameter", "ring_spacing", "inner_raceway"}


@st.composite
def cages(draw: st.DrawFn) -> Cage:
    """Draw a cage as built: sizes about a sensible layout, with scatter from none to far beyond any drawing."""
    rollers = draw(st.integers(3, 60))
    roller = draw(st.floats(10, 80))
    pitch = 1.02 * roller / math.sin(math.pi / rollers)
    width, scatter = draw(st.floats(20, 200)), draw(st.sampled_from((0.0, 0.01, 0.1, 0.5)))
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))

    def size(nominal: float) -> float:
        return float(nominal + scatter * rng.standard_normal())

    def zone() -> tuple[float, float]:
        x, y = scatter * rng.standard_normal(2)
        return float(x), float(y)

    def limit() -> float:
        return float(scatter * abs(rng.standard_normal()))

    cage: dict[str, Any] = {
        "hole_pitch_diameter": size(pitch),
        "hole_pitch_diameter_b": size(pitch),
        "pitch_shrinkage_b": limit(),
        "ring_offset": zone(),
        "ring_phase": size(0.0),
        "ring_spacing": size(width),
        "ring_parallelism": zone(),
        "inner_raceway": size(pitch - roller - 0.1),
        "radial_internal_clearance": size(0.1),
        "outer_guide": size(pitch + 0.9 * roller),
        "ring_outside": size(pitch + 0.8 * roller),
        "ring_inside": size(pitch - 0.8 * roller),
        "inner_guide": size(pitch - 0.9 * roller),
        "ring_concentricity": zone(),
    }
    kinds = {
        "roller_diameter": lambda: size(roller),
        "roller_length": lambda: size(0.98 * width),
        "roller_bore": lambda: size(0.36 * roller),
        "roller_bore_runout": limit,
        "roller_end_runout": limit,
        "pin_diameter": lambda: size(0.33 * roller),
        "pin_straightness": zone,
        "hole_position_common": zone,
        "hole_position_a": zone,
        "hole_position_b": zone,
        "pin_seat_a": zone,
        "pin_squareness_a": zone,
        "ring_hole_b": lambda: size(0.34 * roller),
        "pin_seat_b": zone,
        "weld_shrinkage": limit,
        "ring_face_flatness": limit,
    }
    kept = [name for name in kinds if name in REQUIRED or draw(st.booleans())]
    pockets = [{name: kinds[name]() for name in kept} for _ in range(rollers)]
    cage = {name: value for name, value in cage.items() if name in REQUIRED or draw(st.booleans())}
    options = {"weld_fixture": draw(st.sampled_from(("centres", "squares"))), "pin_modulus": 206_000.0}
    return cage, pockets, options


def room(name: str) -> float:
    return OF_STRESS if name.endswith("_stress") else TOLERANCE


@settings(max_examples=40)
@given(cages())
def test_all_gaps_of_all_pockets(cage: Cage) -> None:
    expected = cage_gaps(*cage)
    found = gaps_of(case_of(*cage, requirements={}))
    assert set(found) - WHOLE == set(expected)  # those of a whole cage: tests/cage/test_whole_cage_twin.py
    for name, values in expected.items():
        assert found[name] == pytest.approx(values, abs=room(name), rel=1e-12), name


@settings(max_examples=10)
@given(cages())
def test_folds_over_a_cage(cage: Cage) -> None:
    """Least, greatest, mean and spread of what the sampler draws, where nothing scatters."""
    expected = cage_gaps(*cage)
    wanted = {
        f"{over}_{name}": {"gap": name, "over": over, "min": -1e9}
        for name in expected
        for over in ("least", "greatest", "mean", "spread")
    }
    case = case_of(*cage, requirements=wanted)
    drawn = monte_carlo.run(case.models()[0].states["made"], case.requirements, Settings(cages=8)).records
    for name, values in expected.items():
        for over, value in folds(values).items():
            assert drawn[f"{over}_{name}"].mean == pytest.approx(value, abs=room(name), rel=1e-12), (over, name)


@settings(max_examples=10)
@given(cages(), st.integers(1, 3))
def test_gaps_of_neighbours_in_a_formula(cage: Cage, ahead: int) -> None:
    """``name.next`` is the next pocket's value, the last pocket's next is the first."""
    cage_, pockets, options = cage
    case = case_of(cage_, pockets, options, requirements={})
    formula = f"running_clearance - running_clearance{'.next' * ahead} + roller_bore{'.next' * ahead}"
    found = gaps_of(from_mapping({**case.mapping, "chains": {"beyond": {"formula": formula}}}))["beyond"]
    clearance = cage_gaps(*cage)["running_clearance"]
    for i, value in enumerate(found):
        other = (i + ahead) % len(pockets)
        expected = clearance[i] - clearance[other] + pockets[other]["roller_bore"]
        assert value == pytest.approx(expected, abs=2 * TOLERANCE)
