"""Random but sensible pin-type cages (invented), as the nested tables of a case file.

``cages(...)`` is a hypothesis strategy; what it may draw is switched by keywords, so that a law can ask for
the cages it holds for.  Beside it stand the transformations that the laws speak of: longer, turned, exchanged.
"""

from __future__ import annotations

import copy
import math
from dataclasses import dataclass, replace
from typing import Any

from hypothesis import strategies as st

from stackup.case import Case, from_mapping
from stackup.chain.model import Model, Requirement
from stackup.chain.program import compile_model

Table = dict[str, Any]
#: size → nominal, (lower, upper) deviation
Plain = dict[str, tuple[float, tuple[float, float]]]

REQUIRED = (
    "roller_diameter", "roller_length", "roller_bore", "pin_diameter", "hole_pitch_diameter", "ring_spacing",
    "inner_raceway",
)  # fmt: skip
POCKET_ZONES = {
    "pin_straightness": 0.03, "hole_position_common": 0.06, "hole_position_a": 0.1, "hole_position_b": 0.1,
    "pin_seat_a": 0.04, "pin_squareness_a": 0.08, "pin_seat_b": 0.05,
}  # fmt: skip
CAGE_ZONES = {"ring_offset": 0.1, "ring_parallelism": 0.08, "ring_concentricity": 0.1}
ONE_SIDED = {"roller_bore_runout": 0.04, "roller_end_runout": 0.02, "ring_face_flatness": 0.03}
POCKET_SIZES = (
    "roller_diameter", "roller_length", "roller_bore", "pin_diameter", "ring_hole_b", "weld_shrinkage",
)  # fmt: skip
GUIDES = ("outer_guide", "ring_outside", "ring_inside", "inner_guide")
OPTIONAL = (
    *POCKET_ZONES, *CAGE_ZONES, *ONE_SIDED, "hole_pitch_diameter_b", "pitch_shrinkage_b", "ring_hole_b",
    "ring_phase", "weld_shrinkage", "radial_internal_clearance",
)  # fmt: skip
HOLES = ("roller_bore", "ring_hole_b")
#: slots that are swapped when ring A becomes ring B
EXCHANGED = (
    ("hole_pitch_diameter", "hole_pitch_diameter_b"),
    ("hole_position_a", "hole_position_b"),
    ("pin_seat_a", "pin_seat_b"),
)
#: keys whose numbers are lengths, and keys of ``process`` whose numbers are
LENGTHS = ("nominal", "tolerance", "zone", "limit", "values", "uncertainty", "sorted_to")
PROCESS_LENGTHS = ("shift", "offset", "drift")
PATTERN_LENGTHS = ("r", "t", "amplitude")

SIZE_SHAPES: tuple[Table, ...] = (
    {},
    {"shape": "normal", "cp": 1.33},
    {"shape": "uniform"},
    {"shape": "triangular", "mode": 0.4},
    {"shape": "trapezoid", "flat": 0.5},
    {"shape": "beta", "a": 2.0, "b": 3.0},
)
ONE_SIDED_SHAPES: tuple[Table, ...] = (
    {},
    {"shape": "half-normal"},
    {"shape": "lognormal", "sigma": 0.4},
    {"shape": "uniform", "cp": 1.2},
)
ZONE_SHAPES: tuple[Table, ...] = ({}, {"shape": "normal", "cp": 1.2}, {"shape": "uniform"})


def nominals(rollers: int, diameter: float) -> Plain:
    """Nominal and deviations of every size of a cage whose rollers nearly touch, rounded as on a drawing."""
    bore = round(0.32 * diameter, 1)
    pin = round(bore - 0.6, 1)
    length = round(2.0 * diameter)
    radius = (diameter + 1.5) / (2 * math.sin(math.pi / rollers))
    pitch = round(2 * radius, 2)
    race = round(pitch - diameter - 0.15, 2)
    inner, outer = round(race + 4, 1), round(race + 2 * diameter - 4, 1)
    return {
        "roller_diameter": (diameter, (-0.02, 0.0)),
        "roller_length": (length, (-0.05, 0.0)),
        "roller_bore": (bore, (0.0, 0.07)),
        "pin_diameter": (pin, (-0.03, 0.0)),
        "hole_pitch_diameter": (pitch, (-0.05, 0.05)),
        "hole_pitch_diameter_b": (pitch, (-0.04, 0.05)),
        "pitch_shrinkage_b": (0.06, (-0.03, 0.03)),
        "ring_hole_b": (round(pin + 0.22, 2), (0.0, 0.04)),
        "ring_phase": (0.0, (-0.05, 0.05)),
        "ring_spacing": (round(length + 0.9, 1), (-0.15, 0.15)),
        "weld_shrinkage": (0.1, (-0.06, 0.06)),
        "inner_raceway": (race, (-0.05, 0.0)),
        "radial_internal_clearance": (0.3, (-0.07, 0.07)),
        "outer_guide": (outer, (0.0, 0.14)),
        "ring_outside": (outer - 2, (-0.14, 0.0)),
        "ring_inside": (inner + 2, (0.0, 0.14)),
        "inner_guide": (inner, (-0.14, 0.0)),
    }


def sizes_of(names: tuple[str, ...], rollers: int, diameter: float) -> dict[str, Table]:
    """Return plain entries of sizes."""
    found = nominals(rollers, diameter)
    return {name: {"nominal": found[name][0], "tolerance": list(found[name][1])} for name in names}


@dataclass(frozen=True)
class Drawn:
    """What may be drawn of a cage.

    ``normal``: default shapes only; ``inspected``: all dimensions so, none, or (None) some; ``columns``:
    patterns and drifts; ``values``: as-built columns; ``shares``: lot shares; ``sorting``, ``offsets`` (shifts
    too), ``bonus``; ``most`` rollers; ``always``: slots that are there, ``never``: slots that are not.
    """

    normal: bool = False
    inspected: bool | None = None
    columns: bool = True
    values: bool = True
    shares: bool = True
    sorting: bool = True
    offsets: bool = True
    bonus: bool = True
    most: int = 9
    always: tuple[str, ...] = ()
    never: tuple[str, ...] = ()


def cages(**drawn: Any) -> st.SearchStrategy[Table]:
    """Draw a cage as nested tables; the keywords are those of :class:`Drawn`."""
    return _cages(Drawn(**drawn))


@st.composite
def _cages(draw: st.DrawFn, may: Drawn) -> Table:
    """Draw some optional slots, each with a shape, lots, sorting, columns round the ring, and a bonus."""
    rollers = draw(st.integers(5, may.most))
    diameter = draw(st.sampled_from([12.0, 30.0, 50.0]))
    slots = {*REQUIRED, *may.always, *draw(st.sets(st.sampled_from(OPTIONAL)))} - {*may.never}
    if draw(st.booleans()):
        slots |= {*GUIDES}
    plain = nominals(rollers, diameter)
    found = {name: draw(_entry(name, plain, rollers, may)) for name in sorted(slots)}
    zones = [name for name in POCKET_ZONES if "zone" in found.get(name, ())]
    features = [name for name in HOLES if "nominal" in found.get(name, ())]
    if may.bonus and zones and features and draw(st.booleans()):
        found[draw(st.sampled_from(zones))]["bonus_from"] = draw(st.sampled_from(features))
    order = draw(st.permutations(sorted(found)))
    return {
        "cage": {"kind": "cylindrical", "rollers": rollers},
        "dimensions": {name: found[name] for name in order},
    }


@st.composite
def _entry(draw: st.DrawFn, name: str, plain: Plain, rollers: int, may: Drawn) -> Table:
    pocket = name in POCKET_SIZES or name in POCKET_ZONES or name in ONE_SIDED
    if may.values and pocket and draw(st.integers(0, 5)) == 0:
        return {"values": draw(_values(name, plain, rollers))}
    shapes = SIZE_SHAPES if name in plain else ONE_SIDED_SHAPES if name in ONE_SIDED else ZONE_SHAPES
    process = {} if may.normal else dict(draw(st.sampled_from(shapes)))
    if may.inspected or (may.inspected is None and draw(st.booleans())):
        process["inspected"] = True
    entry = _form(name, plain)
    process |= draw(_places(name, plain, pocket, may))
    is_still = "drift" not in process and "offset" not in process
    if is_still and may.sorting and name == "roller_diameter" and draw(st.booleans()):
        entry["sorted_to"] = 0.008
    elif is_still and may.shares and pocket and draw(st.integers(0, 2)) == 0:
        entry["lot_share"] = draw(st.sampled_from([0.3, 0.7, 1.0]))
    return entry | ({"process": process} if process else {})


def _form(name: str, plain: Plain) -> Table:
    if name in plain:
        nominal, deviations = plain[name]
        return ({} if name == "ring_phase" else {"nominal": nominal}) | {"tolerance": list(deviations)}
    if name in ONE_SIDED:
        return {"limit": ONE_SIDED[name]}
    return {"zone": (POCKET_ZONES | CAGE_ZONES)[name]}


@st.composite
def _places(draw: st.DrawFn, name: str, plain: Plain, pocket: bool, may: Drawn) -> Table:
    """Draw where the mean stands, and how it moves round the ring."""
    found: Table = {}
    if name in ONE_SIDED:
        return found
    moved = may.offsets and draw(st.booleans())
    waves = may.columns and pocket and draw(st.integers(0, 3)) == 0
    if name in plain:
        width = plain[name][1][1] - plain[name][1][0]
        found |= {"shift": 0.1 * width} if moved else {}
        pattern: Table = {"order": 2, "amplitude": 0.1 * width, "phase": 30.0}
        drift: Any = 0.1 * width
    else:
        size = (POCKET_ZONES | CAGE_ZONES)[name]
        found |= {"offset": [0.05 * size, -0.03 * size]} if moved else {}
        pattern = {"order": 1, "r": 0.05 * size, "t": 0.04 * size, "phase": 10.0}
        drift = [0.05 * size, 0.0]
    return found | ({"pattern": [pattern], "drift": drift} if waves else {})


@st.composite
def _values(draw: st.DrawFn, name: str, plain: Plain, rollers: int) -> list[Any]:
    parts = st.lists(st.integers(-100, 100), min_size=rollers, max_size=rollers)
    if name in plain:
        nominal, (lower, upper) = plain[name]
        middle, half = nominal + (lower + upper) / 2, (upper - lower) / 2
        return [middle + half * part / 100 for part in draw(parts)]
    if name in ONE_SIDED:
        return [ONE_SIDED[name] * abs(part) / 100 for part in draw(parts)]
    radius = POCKET_ZONES[name] / 3
    return [[radius * a / 100, radius * b / 100] for a, b in zip(draw(parts), draw(parts), strict=True)]


# From tables to models ------------------------------------------------------------------------------------


def case_of(tables: Table) -> Case:
    """Return the case that the tables say."""
    return from_mapping(tables)


def model_of(tables: Table) -> Model:
    """Return the one model of a case of one row."""
    return case_of(tables).models()[0].states["made"]


def pockets_of(tables: Table) -> Model:
    """Return the model with those gaps alone that a pocket has by itself."""
    model = model_of(tables)
    whole = compile_model(model)
    return replace(model, gaps=tuple(gap for gap in model.gaps if not whole.is_whole(gap.name)))


def every_gap(model: Model, **limits: float) -> list[Requirement]:
    """Return one requirement without limits (or with ``limits``) on every gap of a model."""
    return [Requirement(gap.name, gap.name, **limits) for gap in model.gaps]  # type: ignore[arg-type]


def plain_stack(dimensions: dict[str, Table], formula: str, **chain: Any) -> Table:
    """Return a case of kind "none" with one chain called ``total``."""
    return {
        "cage": {"kind": "none"},
        "dimensions": dimensions,
        "chains": {"total": {"formula": formula, **chain}},
    }


# What the laws do to a case -------------------------------------------------------------------------------


def _times(value: Any, factor: float) -> Any:
    return [_times(item, factor) for item in value] if isinstance(value, list) else value * factor


def longer(tables: Table, factor: float) -> Table:
    """Return the same cage with every length ``factor`` times as long."""
    found = copy.deepcopy(tables)
    for entry in found["dimensions"].values():
        for key in LENGTHS:
            if key in entry:
                entry[key] = _times(entry[key], factor)
        process = entry.get("process", {})
        for key in PROCESS_LENGTHS:
            if key in process:
                process[key] = _times(process[key], factor)
        for term in process.get("pattern", ()):
            term |= {key: term[key] * factor for key in PATTERN_LENGTHS if key in term}
    return found


def turned(tables: Table) -> Table:
    """Return the same cage numbered from its second pocket: columns roll, vectors of the cage turn back.

    Drifts are not turned: theirs starts at pocket 0.
    """
    found = copy.deepcopy(tables)
    step = 360.0 / found["cage"]["rollers"]
    for name, entry in found["dimensions"].items():
        process = entry.get("process", {})
        if "values" in entry:
            entry["values"] = entry["values"][1:] + entry["values"][:1]
        for term in process.get("pattern", ()):
            term["phase"] = term.get("phase", 0.0) - term["order"] * step
        if name in CAGE_ZONES and "offset" in process:
            process["offset"] = list(turned_vector(*process["offset"], math.radians(step)))
    return found


def turned_vector(x: Any, y: Any, angle: float) -> tuple[Any, Any]:
    """Return the parts of a vector along axes turned by ``angle``."""
    return x * math.cos(angle) + y * math.sin(angle), y * math.cos(angle) - x * math.sin(angle)


def mirrored(entry: Table) -> Table:
    """Return a dimension whose values have the other sign."""
    found = copy.deepcopy(entry)
    if isinstance(found.get("tolerance"), list):
        low, high = found["tolerance"]
        found["tolerance"] = [-high, -low]
    for key in ("nominal", "values"):
        if key in found:
            found[key] = _times(found[key], -1.0)
    process = found.get("process", {})
    if "mode" in process:
        process["mode"] *= -1
    if process.get("shape") == "beta":
        process["a"], process["b"] = process["b"], process["a"]
    for key in PROCESS_LENGTHS:
        if key in process:
            process[key] = _times(process[key], -1.0)
    return found


def exchanged(tables: Table) -> Table:
    """Return the cage with the slots of ring A and ring B swapped, ring_offset and ring_phase reversed."""
    entries = tables["dimensions"]
    names = {**dict(EXCHANGED), **{b: a for a, b in EXCHANGED}}
    found = {names.get(name, name): copy.deepcopy(entry) for name, entry in entries.items()}
    for name in ("ring_offset", "ring_phase"):
        if name in found:
            found[name] = mirrored(found[name])
    return {**tables, "dimensions": found}
