"""What a proposal changes of a case: changes that can be taken one by one, and those that the drawing rules out.

One change is one aspect of one dimension: its nominal, its tolerance, its process, sorting, lot share, bonus, scope
or measured values.  Aspects that mean nothing without each other are one change:

* a nominal and a tolerance whose middle moves: together they place the limits;
* a tolerance and a process: a capability is stated of the tolerance beside it;
* whatever makes no case alone (a bonus from a slot that is new, values for another number of rollers).

A dimension that says the same in other words (h7 for its deviations) is no change.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from typing import Any

import numpy as np

from stackup.cage import kind as kind_called
from stackup.case import Case, changed
from stackup.case.merging import is_other_form, with_named
from stackup.case.proposal import Proposal
from stackup.decide.ladder import COUNT, between, of_processes
from stackup.dimension import Dimension, Size
from stackup.errors import CaseError

#: key of a dimension → what a reviewer calls it
ASPECTS: Mapping[str, str] = {
    "nominal": "nominal",
    "tolerance": "tolerance",
    "zone": "zone",
    "limit": "limit",
    "process": "process",
    "sorted_to": "sorting",
    "lot_share": "lot share",
    "bonus_from": "bonus",
    "scope": "scope",
    "values": "values",
    "uncertainty": "uncertainty",
    "feature": "feature",
    "part": "part",
    "unit": "unit",
}
#: what a drawing grants, which a capability is stated of
GRANTS = ("tolerance", "zone", "limit")
GEOMETRY = ("nominal", *GRANTS, "values")

#: paths of a case → values
Changes = Mapping[str, Any]


@dataclass(frozen=True)
class Change:
    """One change: of which dimension ("cage" for a key of ``[cage]``), what, from, to.

    Names and aspects that are one change stand with commas between.
    ``ladder`` are the changes of the case for every step from the drawing (nothing) to what is proposed (the last);
    ``values`` what a drawing would say at each step.  Two steps: all or nothing.
    """

    name: str
    what: str
    before: Any
    after: Any
    ladder: tuple[Changes, ...]
    values: tuple[Any, ...]

    @property
    def full(self) -> int:
        """The step of what is proposed."""
        return len(self.ladder) - 1


@dataclass(frozen=True)
class _Spot:
    """Where both the drawing and the proposal say something of a dimension: for all rows, or (``row``) for one.

    ``old`` and ``new`` are the tables, of a row with what it takes from all rows; ``before`` and ``after`` what they
    make.
    """

    name: str
    label: str
    path: str
    row: int | None
    old: Mapping[str, Any]
    new: Mapping[str, Any]
    before: Dimension
    after: Dimension

    def of(self, case: Case) -> Dimension:
        """Return the dimension here in another case."""
        return case.dimensions[self.name] if self.row is None else case.models()[self.row].dimensions[self.name]

    def values(self, keys: Iterable[str]) -> dict[str, Any]:
        """Return the changes that put in what the proposal says of some keys."""
        return {f"{self.path}.{key}": self.new[key] for key in keys}


def changes_of(case: Case, proposal: Proposal) -> tuple[Change, ...]:
    """Return the changes of dimensions, of rows and of ``[cage]``, in the order of the drawing."""
    said = _named(proposal.tables, "dimensions")
    found = [*_of_cage(case, proposal)]
    for name, entry in said.items():
        if name in case.dimensions:
            old, path = _named(case.mapping, "dimensions").get(name, {}), f"dimensions.{name}"
            ends = case.dimensions[name], proposal.case.dimensions[name]
            found += _of_dimension(case, _Spot(name, name, path, None, old, entry, *ends))
        elif kind_called(case.kind).slot(name):
            path = f"dimensions.{name}"
            found.append(Change(name, "added", None, entry, ({}, {path: entry}), (None, entry)))
    order = ["cage", *case.dimensions, *said]
    found.sort(key=lambda change: order.index(change.name))
    return tuple(_standing_alone(case, [*found, *_of_rows(case, proposal)]))


# Rows that differ -------------------------------------------------------------------------------------------


def _of_rows(case: Case, proposal: Proposal) -> Iterator[Change]:
    """Yield what a row says otherwise of its rollers and dimensions; which rows there are is the drawing's."""
    old, new = case.mapping.get("row"), proposal.tables.get("row")
    if old is None or new is None or new == old:
        return
    for index, (one, other) in enumerate(zip(case.models(), proposal.case.models(), strict=True)):
        if one.rollers != other.rollers:
            values = (one.rollers, *between(one.rollers, other.rollers, COUNT), other.rollers)
            ladder = ({}, *({f"row[{index}].rollers": value} for value in values[1:]))
            yield Change(f"row {one.name}", "rollers", one.rollers, other.rollers, ladder, values)
        said = [_named(row[index], "dimensions") for row in (old, new)]
        for name in dict.fromkeys([*said[0], *said[1]]):
            yield from _of_row(case, proposal, index, name, *(each.get(name) for each in said))


def _of_row(case: Case, proposal: Proposal, index: int, name: str, said: Any, says: Any) -> Iterator[Change]:
    """Yield what changes of a dimension that the row ``said`` or ``says`` something of, key by key where it can be."""
    row, other = case.models()[index], proposal.case.models()[index]
    label, path = f"{name} (row {row.name})", f"row[{index}].dimensions.{name}"
    before, after = row.dimensions.get(name), other.dimensions.get(name)
    if before is not None and after is not None and alike(before, after):
        return
    old, new = (
        with_named(_named(of.mapping, "dimensions"), {name: table} if table is not None else {}).get(name)
        for of, table in ((case, said), (proposal.case, says))
    )
    if before is None or after is None or says is None or not (said or {}).keys() <= says.keys():
        yield Change(label, "row", old, new, ({}, {path: says}), (old, new))
        return
    yield from _of_dimension(case, _Spot(name, label, path, index, old or {}, {**(old or {}), **says}, before, after))


def _named(tables: Mapping[str, Any], table: str) -> Mapping[str, Any]:
    found = tables.get(table)
    return found if isinstance(found, Mapping) else {}


def _of_cage(case: Case, proposal: Proposal) -> Iterator[Change]:
    """Yield what changes of the rollers and of the options of the kind."""
    told = {"rollers": (case.rollers, proposal.case.rollers, COUNT)}
    units = {option.name: option.unit for option in kind_called(case.kind).options}
    told |= {name: (value, proposal.case.options[name], units[name]) for name, value in case.options.items()}
    for name, (before, after, unit) in told.items():
        if before != after:
            values = [before, *between(before, after, unit), after]
            ladder = ({}, *({f"cage.{name}": value} for value in values[1:]))
            yield Change("cage", name, before, after, ladder, tuple(values))


# One dimension --------------------------------------------------------------------------------------------


def _of_dimension(case: Case, spot: _Spot) -> list[Change]:
    old, new = spot.old, spot.new
    if alike(spot.before, spot.after):
        return []
    if is_other_form(old, new):
        what = next(ASPECTS[key] for key in ("values", "zone", "limit", "nominal", "tolerance") if key in new)
        return [Change(spot.label, what, old, new, ({}, {spot.path: new}), (old, new))]
    keys = [key for key in ASPECTS if key in new and new[key] != old.get(key)]
    keys = [key for key in keys if not _is_restated(case, spot, key)]
    return [_joined(spot, group) for group in _groups(case, spot, keys)]


def _is_restated(case: Case, spot: _Spot, key: str) -> bool:
    """Tell whether a key says what the drawing says, in other words."""
    made = _made(case, spot.values([key]))
    return made is not None and alike(spot.of(made), spot.before)


def _made(case: Case, changes: Changes) -> Case | None:
    """Return the case with some changes; None where there is no such case."""
    try:
        return changed(case, changes)
    except CaseError:
        return None


def alike(one: Any, other: Any) -> bool:
    """Tell whether two dimensions, or parts of them, say the same; a measured column may lie in another file."""
    if isinstance(one, np.ndarray) or isinstance(other, np.ndarray):
        return bool(np.array_equal(one, other))
    if dataclasses.is_dataclass(one) and type(one) is type(other):
        names = [field.name for field in dataclasses.fields(one) if field.name != "source"]
        return all(alike(getattr(one, name), getattr(other, name)) for name in names)
    return bool(one == other)


def _groups(case: Case, spot: _Spot, keys: Sequence[str]) -> list[list[str]]:
    """Return the keys of a dimension in groups, each of which is one change."""
    groups = [[key] for key in keys]
    grant = next((key for key in GRANTS if key in keys), None)
    if grant and "process" in keys:
        groups = _together(groups, [grant, "process"])
    one, other = spot.before, spot.after
    if {"nominal", "tolerance"} <= {*keys} and isinstance(one, Size) and isinstance(other, Size):
        moves = abs((other.lower + other.upper) - (one.lower + one.upper)) > 1e-9
        groups = _together(groups, ["nominal", "tolerance"]) if moves else groups
    if any(_made(case, spot.values(part)) is None for part in _parts_of(groups)):
        groups = [list(keys)]
    return groups


def _parts_of(groups: Sequence[list[str]]) -> Iterator[list[str]]:
    """Yield the keys of every choice of some of the groups, not all."""
    for count in range(1, len(groups)):
        for chosen in combinations(groups, count):
            yield [key for group in chosen for key in group]


def _together(groups: Sequence[list[Any]], items: Sequence[Any]) -> list[list[Any]]:
    """Return the groups, those that hold any of ``items`` as one."""
    joined = [group for group in groups if any(item in group for item in items)]
    return [[item for group in joined for item in group], *(group for group in groups if group not in joined)]


def _joined(spot: _Spot, keys: Sequence[str]) -> Change:
    """Return one change of some keys, with the steps between where all that differs are numbers."""
    keys = [key for key in ASPECTS if key in keys]
    before, after = ({key: entry.get(key) for key in keys} for entry in (spot.old, spot.new))
    steps = _steps(spot, keys)
    ladder = tuple({f"{spot.path}.{key}": value for key, value in step.items()} for step in (*steps, after))
    what = ", ".join(ASPECTS[key] for key in keys)
    values = (before, *steps, after)
    if len(keys) == 1:
        one = tuple(value[keys[0]] for value in values)
        return Change(spot.label, what, before[keys[0]], after[keys[0]], ({}, *ladder), one)
    return Change(spot.label, what, before, after, ({}, *ladder), values)


def _steps(spot: _Spot, keys: Sequence[str]) -> list[dict[str, Any]]:
    """Return what the keys say between the drawing and the proposal.

    A process beside a tolerance is that of the proposal at every step: it is what the maker has.
    """
    old, new = spot.old, spot.new
    if keys == ["process"]:
        return [{"process": each} for each in of_processes(old.get("process", {}), new["process"])]
    fixed = {key: new[key] for key in keys if key not in GRANTS and key not in ("nominal", "sorted_to", "lot_share")}
    moving = [key for key in keys if key not in fixed]
    if fixed.keys() - {"process"} or not moving:
        return []
    ends = [
        {key: _number(dimension, key, entry) for key in moving}
        for dimension, entry in ((spot.before, old), (spot.after, new))
    ]
    ends = [_plus_minus(each, both=ends) for each in ends]
    start = [{**ends[0]}] if fixed and ends[0] != ends[1] else []
    ways = {key: between(ends[0][key], ends[1][key], _unit(spot.before, key)) for key in moving}
    if not all(ways.values()):
        return [{**each, **fixed} for each in start]
    longest = max(len(way) for way in ways.values())
    between_ends = [{key: way[_place(step, longest, len(way))] for key, way in ways.items()} for step in range(longest)]
    return [{**each, **fixed} for each in (*start, *between_ends)]


def _place(step: int, longest: int, count: int) -> int:
    """Return where a way of ``count`` steps is when the longest is at ``step``, towards the beginning."""
    return min(step * count // longest, count - 1)


def _number(dimension: Dimension, key: str, entry: Mapping[str, Any]) -> Any:
    """Return what a key comes to: of a tolerance its deviations, of what is left out the default."""
    if key == "tolerance" and isinstance(dimension, Size):
        return [dimension.lower, dimension.upper]
    return entry.get(key, 0.0 if key in ("lot_share", "nominal") else None)


def _plus_minus(end: dict[str, Any], both: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    """Write a tolerance as plus-minus where both ends of the way are."""
    if "tolerance" in end and all(-each["tolerance"][0] == each["tolerance"][1] for each in both):
        return {**end, "tolerance": end["tolerance"][1]}
    return end


def _unit(dimension: Dimension, key: str) -> str:
    if key == "lot_share":
        return ""
    return "deg" if dimension.unit == "rad" else dimension.unit


# Changes that need each other ----------------------------------------------------------------------------


def _standing_alone(case: Case, found: Sequence[Change]) -> list[Change]:
    """Return the changes; those that make no case alone are joined with what they need."""
    needy = [change for change in found if _made(case, change.ladder[-1]) is None]
    if not needy:
        return list(found)
    groups: list[list[Change]] = [[change] for change in found]
    for change in needy:
        partners = [o for o in found if o is not change and _made(case, {**change.ladder[-1], **o.ladder[-1]})]
        groups = _together(groups, [change, *(partners[:1] or [o for o in found if o is not change])])
    ordered = [sorted(group, key=found.index) for group in groups]
    return [_all_or_nothing(group) for group in sorted(ordered, key=lambda group: found.index(group[0]))]


def _all_or_nothing(group: Sequence[Change]) -> Change:
    if len(group) == 1:
        return group[0]
    whole: dict[str, Any] = {}
    for change in group:
        whole |= change.ladder[-1]
    names, whats = ({getattr(c, key): None for c in group} for key in ("name", "what"))
    before, after = ({f"{c.name} {c.what}": getattr(c, key) for c in group} for key in ("before", "after"))
    first = replace(group[0], name=", ".join(names), what=", ".join(whats))
    return replace(first, before=before, after=after, ladder=({}, whole), values=(before, after))
