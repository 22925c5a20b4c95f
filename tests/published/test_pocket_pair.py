"""One pocket pair of a cylindrical cage, exact: the package itself against the printed gaps.

Source: the cage values to check against, table "One pocket pair, exact" (OWN: by code independent of the
package); the table and its changes stand in tests/pocket_pair.py.  Every slot of the pocket enters by ``values``,
sizes of the cage by a nominal without tolerance, its zones by the offset of a zone of nothing.
"""

from __future__ import annotations

from itertools import cycle, islice
from typing import Any

import numpy as np
import pytest
from pocket_pair import CAGE, CHANGED, EXPECTED, OPTIONS, POCKETS, ROLLERS
from twins import cage_gaps

from stackup.case import Case, from_mapping
from stackup.chain.arrays import walk
from stackup.chain.program import bindings, compile_model, pitch_angles
from stackup.engine import monte_carlo
from stackup.engine.settings import Settings

LAST_DIGIT = 0.51e-9  # half a unit of the ninth decimal, and a little for the arithmetic of floats
#: gaps of a cage that the twin has, and the package too, to rounding of sums of some 800 mm
ROUNDING = 1e-9

#: every gap is asked for, none is refused
NO_LIMITS = {name: {"min": -1e9} for name in (*EXPECTED, "pitch_difference")}
Pockets = list[dict[str, Any]]

# "pockets 2 to 39": whatever they are, pocket 0 and 1 and the gap between them stay as printed
REPETITIONS = {
    "pair after pair": lambda pair: list(islice(cycle(pair), ROLLERS)),
    "like the second": lambda pair: [pair[0], *[pair[1]] * (ROLLERS - 1)],
    "like the first": lambda pair: [pair[0], pair[1], *[pair[0]] * (ROLLERS - 2)],
}


def case_of(
    cage: dict[str, Any], pockets: Pockets, options: dict[str, Any], requirements: dict[str, Any] = NO_LIMITS
) -> Case:
    """Return the case of a cage as built."""
    dimensions: dict[str, Any] = {}
    for name, value in cage.items():
        if isinstance(value, tuple):
            dimensions[name] = {"zone": 0.0, "process": {"offset": list(value)}}
        else:
            dimensions[name] = {"nominal": value}
    for name in pockets[0]:
        dimensions[name] = {"values": [pocket[name] for pocket in pockets]}
    return from_mapping(
        {
            "cage": {"kind": "cylindrical", "rollers": len(pockets), **options},
            "dimensions": dimensions,
            "requirements": requirements,
        }
    )


def gaps_of(case: Case) -> dict[str, np.ndarray]:
    """Return every gap (Z,), the program walked on the means of the laws, which here are all there is."""
    model = case.models()[0].states["made"]
    inputs = {}
    for dimension in model.dimensions.values():
        for component, mean in zip(dimension.components, dimension.law.mean, strict=True):
            inputs[component] = np.asarray(mean, dtype=float).reshape(-1, 1)
    program = compile_model(model)
    seen = walk(program, inputs, np.array(pitch_angles(model.pockets)), bindings(model))
    return {gap.name: np.broadcast_to(seen[gap.name], (model.pockets, 1))[:, 0] for gap in model.gaps}


def apart(gaps: dict[str, np.ndarray], expected: dict[str, tuple[float | None, ...]]) -> dict[Any, Any]:
    """Return what differs from the printed numbers."""
    return {
        (name, i): (gaps[name][i], value)
        for name, values in expected.items()
        for i, value in enumerate(values)
        if value is not None and not abs(gaps[name][i] - value) <= LAST_DIGIT
    }


@pytest.mark.parametrize("repeat", REPETITIONS.values(), ids=REPETITIONS)
def test_printed_gaps(repeat: Any) -> None:
    gaps = gaps_of(case_of(CAGE, repeat(POCKETS), OPTIONS))
    # pitch_difference looks at three pins, the others at the whole cage: no numbers of a pair
    assert set(gaps) == {*EXPECTED, "pitch_difference", "ring_entry", "cage_float"}
    assert apart(gaps, EXPECTED) == {}


@pytest.mark.parametrize("change", CHANGED.values(), ids=CHANGED)
@pytest.mark.parametrize("repeat", REPETITIONS.values(), ids=REPETITIONS)
def test_printed_changes(repeat: Any, change: dict[str, Any]) -> None:
    pockets = repeat([pocket | new for pocket, new in zip(POCKETS, change["pockets"], strict=True)])
    case = case_of(CAGE | change["cage"], pockets, OPTIONS | change["options"])
    assert apart(gaps_of(case), change["expected"]) == {}


@pytest.mark.parametrize("repeat", REPETITIONS.values(), ids=REPETITIONS)
def test_the_sampler_draws_the_same_gaps(repeat: Any) -> None:
    """A cage without scatter: least and greatest of what is drawn are those of the twin's pockets."""
    pockets = repeat(POCKETS)
    case = case_of(CAGE, pockets, OPTIONS)
    row = case.models()[0]
    drawn = monte_carlo.run(row.states["made"], case.requirements, Settings(cages=64)).records
    for name, values in cage_gaps(CAGE, pockets, OPTIONS).items():
        assert drawn[name].least == pytest.approx(min(values), abs=ROUNDING), name
        assert drawn[name].greatest == pytest.approx(max(values), abs=ROUNDING), name
