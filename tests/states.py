"""A case (invented) put into operation: its bearing warm, its pins and rollers worn."""

from __future__ import annotations

from stackup.case import Case, changed
from stackup.chain.model import Model

#: temperatures [°C] and coefficients of expansion [1/K] of all parts
PARTS = {
    part: {"temperature": temperature, "expansion": 11.5e-6}
    for part, temperature in {
        "inner_ring": 85.0, "roller": 80.0, "pin": 78.0, "ring_a": 75.0, "ring_b": 74.0, "outer_ring": 68.0,
    }.items()
}  # fmt: skip
#: what wears off pins and lengths, and on to bores [mm]
WEAR = {"pin_diameter": 0.03, "roller_bore": 0.02, "roller_length": 0.05}


def operated(case: Case) -> Case:
    """Return the case in all four states."""
    wear = {name: amount for name, amount in WEAR.items() if name in case.dimensions}
    return changed(case, {"operating.parts": PARTS, "operating.wear": wear})


def in_states(case: Case) -> dict[str, Model]:
    """Return the models of its first row by state: made, hot, worn, hot_worn."""
    return dict(operated(case).models()[0].states)
