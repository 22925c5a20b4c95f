"""The processes among which a dimension may choose: what each makes of the case, its scrap, what a good part costs.

A choice that states ``cp``, ``cpk`` or ``shift`` is a process of its own: it replaces what the case says of
capability and centre, or the measured column.  One that states none of them holds another tolerance with the process
of the case.  ``allocate`` chooses among them; ``capability`` shows which is good enough.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Any

import numpy as np

from stackup.case import Case
from stackup.case.schema import Choice, OneSidedEntry, Toleranced, ZoneEntry
from stackup.case.statements import GRANTS, Statement, statements
from stackup.decide.processes import half_width
from stackup.dimension import Dimension, OneSided, Size, Zone
from stackup.dimension.shapes import spelling
from stackup.dimension.unbounded import RADIUS_INSIDE

#: keys of a process that a stated capability replaces
REPLACED = ("cp", "cpk", "toward", "shift", "offset", "data", "how", "subgroup", "uncertainty", "measure")
SIDES = ("upper", "lower")


def choices_of(case: Case) -> Iterator[tuple[Statement, Choice]]:
    """Yield every dimension that has choices, with each choice; a row's own tolerance has its own."""
    for said in statements(case, GRANTS):
        if isinstance(said.entry, Toleranced):
            for choice in said.entry.choices or ():
                yield said, choice


def changes_of(said: Statement, choice: Choice) -> list[dict[str, Any]]:
    """Return the changes of the case that put in a choice: one, or two where the side of its mean is not stated."""
    key = {ZoneEntry: "zone", OneSidedEntry: "limit"}.get(type(said.entry), "tolerance")
    held = {f"{said.path}.{key}": choice.tolerance}
    if choice.cp is None and choice.cpk is None and choice.shift is None:
        return [held]
    before = said.table.get("process", {})
    process: dict[str, Any] = {key: None for key in REPLACED if key in before}
    if before.get("shape") == "measured":
        process["shape"] = None
    stated = {"cp": choice.cp, "cpk": choice.cpk, "shift": choice.shift}
    process |= {key: value for key, value in stated.items() if value is not None}
    if choice.cp is None or choice.cpk is None or choice.cpk == choice.cp:
        return [held | _put(said, process)]
    sides = [before["toward"]] if before.get("toward") else SIDES
    return [held | _put(said, process | {"toward": side}) for side in sides]


def _put(said: Statement, process: Mapping[str, Any]) -> dict[str, Any]:
    """Return the changes of a process key by key; a row's own, which takes the place of another, is said as a whole."""
    path = f"{said.path}.process"
    if not said.is_of_row:
        return {f"{path}.{key}": value for key, value in process.items()}
    whole = {**said.table.get("process", {}), **process}
    return {path: {key: value for key, value in whole.items() if value is not None}}


def toward_of(changes: Mapping[str, Any]) -> str | None:
    """Return the side that some changes put a mean on."""
    for key, value in changes.items():
        if key.endswith(".process.toward"):
            return str(value)
        if key.endswith(".process") and "toward" in value:
            return str(value["toward"])
    return None


def cost_of_good_part(cost: float, scrap: float) -> float:
    """Return what a good part costs where ``scrap`` (0…1) of those made are thrown away; infinite for all of them."""
    return cost / (1 - scrap) if scrap < 1 else math.inf


# Scrap ----------------------------------------------------------------------------------------------------------


def scrap(dimension: Dimension) -> float:
    """Return the fraction of single parts that the process makes outside the tolerance, on both sides.

    Of what is made, before any inspection or sorting takes it out; without material bonus.  As-built values and a size
    without tolerance have none.  Accurate to 1e-16, of points measured in pairs the part of the rows.
    """
    if isinstance(dimension, Zone):
        return _of_zone(dimension)
    if isinstance(dimension, OneSided):
        law = replace(dimension, process=replace(dimension.process, inspected=False)).law
        return float(1 - law.cdf(np.array([dimension.tolerance]))[0])
    if not isinstance(dimension, Size) or dimension.half_width == 0:
        return 0.0
    law = replace(dimension, sorted_to=None, process=replace(dimension.process, inspected=False)).law
    low, high = dimension.limits
    return float(law.cdf(np.array([np.nextafter(low, -np.inf)]))[0] + 1 - law.cdf(np.array([high]))[0])


def _of_zone(zone: Zone) -> float:
    process, radius = zone.process, half_width(zone)
    if radius == 0:
        return 0.0
    if process.measured is not None:
        values = process.measured.values
        lengths = values / 2 if process.measured.diameter else np.hypot(values[:, 0], values[:, 1])
        return float(np.mean(lengths > radius))
    along_r, along_t = process.columns(zone.pockets)
    offsets = np.atleast_1d(np.hypot(process.offset[0] + along_r, process.offset[1] + along_t))
    outside = _uniform_outside if spelling("zone", process) == "uniform" else _normal_outside
    return float(np.mean([outside(float(offset), radius, radius / process.cp) for offset in offsets]))


def _normal_outside(offset: float, radius: float, reach: float) -> float:
    """Return P(length > radius) of a normal vector about ``offset``: the law of Rice, by noncentral chi-square."""
    sigma = reach / RADIUS_INSIDE
    if offset == 0:
        return math.exp(-0.5 * (radius / sigma) ** 2)
    from scipy.stats import ncx2

    return float(ncx2.sf((radius / sigma) ** 2, 2, (offset / sigma) ** 2))


def _uniform_outside(offset: float, radius: float, reach: float) -> float:
    """Return the part of a disc of radius ``reach`` about ``offset`` outside the disc of ``radius``: two segments."""
    if offset + reach <= radius:
        return 0.0
    if offset >= radius + reach:
        return 1.0
    if offset + radius <= reach:
        return 1 - (radius / reach) ** 2
    chord = (offset**2 + radius**2 - reach**2) / (2 * offset)
    inside = _segment(radius, chord) + _segment(reach, offset - chord)
    return 1 - inside / (math.pi * reach**2)


def _segment(radius: float, distance: float) -> float:
    """Return the area of a disc beyond a chord at ``distance`` (−radius … radius) from its centre."""
    cosine = min(max(distance / radius, -1.0), 1.0)
    return radius**2 * (math.acos(cosine) - cosine * math.sqrt(1 - cosine**2))
