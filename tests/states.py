"""Operating states (invented) of a model that knows none: its sizes warm and worn, as parameters of the same chains."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from stackup.chain.model import Model, Step
from stackup.chain.symbols import split_next, symbol
from stackup.dimension import Size

#: 1 + α·(T − 20 °C) of parts of a bearing that runs warm, and what wear takes off a size or adds to it [mm]
SCALES = {
    "roller": 1.0006, "pin": 1.0006, "ring_a": 1.00055, "ring_b": 1.00055, "inner_ring": 1.0007, "outer_ring": 1.0004,
}  # fmt: skip
WEAR = {"pin_diameter": -0.03, "roller_bore": 0.02, "roller_length": -0.05}


def in_states(
    model: Model, scales: Mapping[str, float] = SCALES, wear: Mapping[str, float] = WEAR
) -> dict[str, Model]:
    """Return the model made, hot, worn, hot and worn: a size is size·scale + wear in all steps."""
    now = {name: _now(name, size.part) for name, size in model.dimensions.items() if isinstance(size, Size)}
    steps = (*(step for step in now.values()), *(Step(s.name, _told(s, now), s.note) for s in model.steps))
    hot = {f"{size.part}.scale": scales.get(size.part, 1.0) for size in model.dimensions.values()}
    worn = {f"{name}.wear": wear.get(name, 0.0) for name in now}
    cold, fresh = dict.fromkeys(hot, 1.0), dict.fromkeys(worn, 0.0)
    states = {"made": cold | fresh, "hot": hot | fresh, "worn": cold | worn, "hot_worn": hot | worn}
    changed = replace(model, steps=steps)
    return {state: replace(changed, parameters={**model.parameters, **own}) for state, own in states.items()}


def _now(name: str, part: str) -> Step:
    return Step(f"{name}_now", symbol(name) * symbol(f"{part}.scale") + symbol(f"{name}.wear"))


def _told(step: Step, now: Mapping[str, Step]) -> object:
    """Return a formula that speaks of the sizes as they are in a state."""
    changes = {}
    for item in step.formula.free_symbols:
        base, _ = split_next(item.name)
        if base in now:
            changes[item] = symbol(item.name.replace(base, now[base].name, 1))
    return step.formula.xreplace(changes)
