"""The package's own gaps of one cage, pocket by pocket: its program walked on plain values."""

from __future__ import annotations

from typing import Any

import numpy as np

from stackup.case import Case
from stackup.chain.arrays import walk
from stackup.chain.program import bindings, compile_model, pitch_angles

Values = dict[str, Any]
#: gaps of the whole cage
WHOLE = {"ring_entry", "cage_float"}


def gaps_on(case: Case, cage: Values, pockets: list[Values], state: str = "made") -> dict[str, np.ndarray]:
    """Return every gap, (Z,) or of the whole cage (1,), on values as made: one number or pair for each slot.

    Angles are in degrees as in a case file; what the case says of the slots gives its nominals alone.
    """
    model = case.models()[0].states[state]
    inputs = {}
    for name, dimension in model.dimensions.items():
        values = np.array([cage[name]] if name in cage else [pocket[name] for pocket in pockets], dtype=float)
        values = np.radians(values) if name == "roller_taper" else values
        for component, column in zip(dimension.components, np.atleast_2d(values.T), strict=True):
            inputs[component] = column.reshape(-1, 1)
    seen = walk(compile_model(model), inputs, np.array(pitch_angles(model.pockets)), bindings(model))
    shapes = {gap.name: 1 if gap.name in WHOLE else model.pockets for gap in model.gaps}
    return {name: np.broadcast_to(seen[name], (count, 1))[:, 0] for name, count in shapes.items()}
