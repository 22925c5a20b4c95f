"""The gaps of a model at the nominal: the one place where this room lets a program compute."""

from __future__ import annotations

from typing import Any

import numpy as np

from stackup.chain.arrays import walk
from stackup.chain.model import Model
from stackup.chain.program import bindings, compile_model, pitch_angles


def evaluate_at_nominal(model: Model) -> dict[str, Any]:
    """Return every gap of ``model`` at the nominal, in its own unit: an array (Z, 1) or (1, 1).

    Sizes are at their nominal, zones and one-sided dimensions at 0, as-built dimensions at their values.
    What has no finite value is nan or infinite.
    """
    inputs = {}
    for dimension in model.dimensions.values():
        for component, nominal in zip(dimension.components, dimension.nominal, strict=True):
            inputs[component] = np.asarray(nominal, dtype=float).reshape(-1, 1)
    with np.errstate(all="ignore"):
        program = compile_model(model)
        walked = walk(program, inputs, pitch_angles(model.pockets), bindings(model))
    return {gap.name: walked[gap.name] for gap in model.gaps}
