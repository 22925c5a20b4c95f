"""``[operating]``: the states of a bearing, each a set of numbers for the same chains.

A size of a part P becomes scale_P·size with scale_P = 1 + α_P (T_P − 20 °C) (ISO 1: drawings hold at 20 °C), less or
plus what wear takes or adds; a pitch circle D grows by D·σ/E·(1 + m) as the cage turns, σ = ρω²(D/2)² the hoop stress
of a thin free ring, m the mass of the pins to that of the rings.  Zones, one-sided values, shrinkages and angles stay.

σ moves with D within its tolerance by some 10⁻⁴ of itself, nanometres of growth: it is taken at the nominal, so that
the chain stays a sum where it was one.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

import numpy as np

from stackup.cage import Slot
from stackup.case.bearing import OperatingEntry, RotationEntry
from stackup.case.draft import Draft
from stackup.case.faults import listed
from stackup.case.states import GROWTH, WEAR, Operating
from stackup.chain.model import Step
from stackup.chain.symbols import SCALE, Expr, nominal, nominal_now, scale, symbol
from stackup.errors import nearest

#: the reference temperature of drawings, °C (ISO 1)
REFERENCE = 20.0
#: a size in the state of the bearing: ``size.now``
NOW = "now"
#: units of sizes that grow with temperature: an angle or a mass does not
LENGTHS = frozenset({"mm", "cm", "m", "um", "µm", "in", "inch"})


def growth_of(rotation: RotationEntry) -> float:
    """Return ΔD/D³ in 1/mm²: ρω²(1 + m)/4E, ρ in kg/m³ → 10⁻¹² t/(mm·mm²·…), so that ρω²r² with r in mm is N/mm².

    1 kg/m³·(1/s)²·mm² = 10⁻⁶ N/m² = 10⁻¹² N/mm².  Source: hoop stress of a thin ring, σ = ρω²r², strain σ/E.
    """
    turn = 2 * math.pi * rotation.speed / 60
    stress = rotation.density * turn**2 * 1e-12 / 4
    return stress / rotation.modulus * (1 + rotation.pin_mass_ratio)


# From the file --------------------------------------------------------------------------------------------


def judge(draft: Draft) -> Operating:
    """Return what the case says of operation; what is wrong with it is noted."""
    entry = draft.document.operating or OperatingEntry()
    return Operating(_scales(entry), _wear(draft, entry), _growth(draft, entry))


def _scales(entry: OperatingEntry) -> dict[str, float]:
    given = ((part, getattr(entry.parts, part)) for part in type(entry.parts).model_fields)
    return {part: 1 + one.expansion * (one.temperature - REFERENCE) for part, one in given if one is not None}


def _wear(draft: Draft, entry: OperatingEntry) -> dict[str, float]:
    """Return the wear of slots that wear, and that the case gives."""
    wearing = [slot.name for slot in draft.kind.slots if slot.wears]
    found = {}
    for name, amount in entry.wear.items():
        slot, path = draft.slot(name), ("operating", "wear", name)
        if slot is None or not slot.wears:
            what = f"wear of {name}" + ("" if slot else ", which is no slot")
            allowed = "a slot that wears: " + listed(wearing, f'kind = "{draft.kind.name}" has none')
            draft.faults.add(path, what, allowed, near=None if slot else nearest(name, wearing), at_key=True)
        elif name not in draft.named("dimensions"):
            draft.faults.add(path, f"wear of {name}, which is not given", "a slot that the case gives", at_key=True)
        elif not _is_used_up(draft, slot, amount):
            found[name] = amount
    return found


def _is_used_up(draft: Draft, slot: Slot, amount: float) -> bool:
    """Note wear that leaves nothing of a size; tell whether it does."""
    made = draft.dimensions.get(slot.name)
    left = math.inf if made is None or slot.wears > 0 else float(np.min(made.nominal[0])) - amount
    if left > 0:
        return False
    allowed = f"less than {slot.name} itself, {left + amount:.9g} mm"
    draft.faults.add(("operating", "wear", slot.name), f"{amount:.9g}", allowed)
    return True


def _growth(draft: Draft, entry: OperatingEntry) -> float | None:
    if entry.rotation is None:
        return None
    if not any(slot.turns for slot in draft.kind.slots):
        allowed = f'no rotation: kind = "{draft.kind.name}" has no pitch circle that turns'
        draft.faults.add(("operating", "rotation"), "[operating.rotation]", allowed, at_key=True)
        return None
    return growth_of(entry.rotation)


# In the chains --------------------------------------------------------------------------------------------


class SizesNow:
    """The sizes that differ in some state: each a step ``size.now``, its nominal a step ``size.nominal_now``."""

    def __init__(self, draft: Draft) -> None:
        """Find them among the dimensions and slots of ``draft``."""
        self.draft, self.operating = draft, draft.operating
        self._given = draft.named("dimensions")
        names = [*self._given, *(slot.name for slot in draft.kind.slots if slot.name not in self._given)]
        found = {name: self._forms(name) for name in names}
        self.forms: dict[str, tuple[Expr, Expr]] = {name: forms for name, forms in found.items() if forms}

    def __contains__(self, name: str) -> bool:
        """Tell whether the size called ``name`` differs in some state."""
        return name in self.forms

    def scale_of(self, part: str) -> Any:
        """Return the scale of a part: a parameter, or 1 where the part stays as made."""
        return scale(part) if part in self.operating.scales else 1

    def steps(self) -> Iterator[Step]:
        """Yield the steps that bring the sizes into the state of the bearing."""
        for name, (size, drawn) in self.forms.items():
            yield Step(now(name).name, size, self._note(name))
            yield Step(nominal_now(name).name, drawn, f"nominal of {name} in the state")

    def _forms(self, name: str) -> tuple[Expr, Expr] | None:
        """Return a size and its nominal in a state; None for what stays as made."""
        slot = self.draft.slot(name)
        drawn = name if name in self._given else slot and slot.stands_in
        made = self.draft.dimensions.get(drawn or "")
        if made is None or made.kind != "size":
            return None
        part = made.part if drawn == name or slot is None else slot.part  # a stand-in is the same draw on another part
        scales = made.unit in LENGTHS and part in self.operating.scales and (slot is None or slot.scales)
        turns = slot is not None and slot.turns and self.operating.growth is not None
        wears = slot is not None and name in self.operating.wear
        if not (scales or turns or wears):
            return None
        factor: Any = scale(part) if scales else 1
        if turns:
            factor += symbol(GROWTH) * nominal(made.name) ** 2
        worn = slot.wears * symbol(f"{name}.{WEAR}") if wears and slot else 0
        return factor * symbol(made.name) + worn, factor * nominal(made.name) + worn

    def _note(self, name: str) -> str:
        size, _ = self.forms[name]
        uses = {item.name for item in size.free_symbols}
        words = {
            "warm": any(use.endswith(f".{SCALE}") for use in uses),
            "turning": GROWTH in uses,
            "worn": f"{name}.{WEAR}" in uses,
        }
        return f"{name} in the state: {', '.join(word for word, holds in words.items() if holds)}"


def now(size: str) -> Any:
    """Return the symbol of a size in the state of the bearing."""
    return symbol(f"{size}.{NOW}")


def cold_parts(draft: Draft) -> list[str]:
    """Return the parts of the case's sizes that stay at 20 °C while others do not, in the order of the schema."""
    if not draft.operating.scales:
        return []
    slots = {slot.name: slot for slot in draft.kind.slots}
    scaling = [
        size.part
        for name, size in draft.dimensions.items()
        if size.kind == "size" and size.unit in LENGTHS and (name not in slots or slots[name].scales)
    ]
    # a part that has no size in the case may be asked for its growth all the same
    names = [item.name for step in draft.steps for item in getattr(step.formula, "free_symbols", ())]
    asked = [name.removesuffix(f".{SCALE}") for name in names if name.endswith(f".{SCALE}")]
    order = list(type(OperatingEntry().parts).model_fields)
    return [part for part in order if part in {*scaling, *asked} and part not in draft.operating.scales]
