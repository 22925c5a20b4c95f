"""What a proposal leaves unsaid: taken from the drawing, listed, and asked where the answer matters."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from stackup.case import Case
from stackup.case.merging import NAMED, is_other_form
from stackup.case.proposal import Proposal
from stackup.decide.differences import ASPECTS, GEOMETRY, GRANTS, Change
from stackup.decide.drawing_words import in_words, line_of

#: keys of a process that place its centre
CENTRES = ("cpk", "shift", "offset")
Entry = Mapping[str, Any]


@dataclass(frozen=True)
class Unsaid:
    """``questions`` to the maker, in words; ``paths`` of everything that was taken from the drawing."""

    questions: tuple[str, ...]
    paths: tuple[str, ...]


def unsaid_of(case: Case, proposal: Proposal, changes: Sequence[Change]) -> Unsaid:
    """Return the questions, in the order of the drawing, and the key paths left out."""
    return Unsaid(tuple(_questions(case, proposal, changes)), tuple(_paths(case, proposal)))


def _paths(case: Case, proposal: Proposal) -> Iterator[str]:
    """Yield what the drawing says and the proposal does not: whole names, or keys of those it names."""
    for table in NAMED:
        said = _tables(proposal.tables, table)
        for name, entry in _tables(case.mapping, table).items():
            if name not in said:
                yield f"{table}.{name}"
            elif not is_other_form(entry, said[name]):
                yield from (f"{table}.{name}.{key}" for key in entry if key not in said[name] and _counts(table, key))
    yield from (f"cage.{key}" for key in case.mapping["cage"] if key not in _tables(proposal.tables, "cage"))


def _tables(tables: Mapping[str, Any], table: str) -> Mapping[str, Any]:
    found = tables.get(table)
    return found if isinstance(found, Mapping) else {}


def _counts(table: str, key: str) -> bool:
    """Tell whether a key moves any number; costs and plans do not."""
    return table != "dimensions" or key in ASPECTS


def _questions(case: Case, proposal: Proposal, changes: Sequence[Change]) -> Iterator[str]:
    said = _tables(proposal.tables, "dimensions")
    drawing = _tables(case.mapping, "dimensions")
    moved = {name for change in changes if _moves_geometry(change) for name in change.name.split(", ")}
    for name, old in drawing.items():
        if name not in said:
            if proposal.whole:
                yield f"{name} is not in the proposal: does the drawing's {line_of(old)} hold?"
        elif isinstance(old, Mapping) and isinstance(said[name], Mapping) and not is_other_form(old, said[name]):
            yield from _of_dimension(name, old, said[name], name in moved, proposal.whole)
    for name, entry in said.items():
        if name not in drawing and isinstance(entry, Mapping) and not {"process", "values"} & entry.keys():
            assumed = in_words({}, "process")
            yield f"{name}: no process is stated for {line_of(entry)}: {assumed} is assumed. What holds?"
    if proposal.whole:
        yield from _of_requirements(case, proposal)


def _moves_geometry(change: Change) -> bool:
    """Tell whether a change is of what the drawing grants: a process that was stated for the old may not hold."""
    return any(ASPECTS[key] in change.what.split(", ") for key in GEOMETRY)


def _of_dimension(name: str, old: Entry, new: Entry, moved: bool, whole: bool) -> Iterator[str]:
    tolerance = in_words(old.get("tolerance"), "tolerance")
    drops = "tolerance" in old and "tolerance" not in new
    if drops and (whole or (moved and "nominal" in new)):
        yield f"{name}: no tolerance is stated: does the drawing's {tolerance} hold?"
    yield from _of_process(name, old, new, moved, whole)
    for key in ("sorted_to", "lot_share", "bonus_from", "scope"):
        if whole and key in old and key not in new:
            yield f"{name}: no {ASPECTS[key]} is stated: does the drawing's ({in_words(old[key])}) hold?"


def _of_process(name: str, old: Entry, new: Entry, moved: bool, whole: bool) -> Iterator[str]:
    before, after = (entry.get("process") or {} for entry in (old, new))
    if "values" in new or not (isinstance(before, Mapping) and isinstance(after, Mapping)):
        return
    if not after:
        if moved:
            line = line_of({**old, **{key: new[key] for key in (*GRANTS, "nominal") if key in new}})
            assumed = in_words(before, "process")
            yield f"{name}: no process is stated for {line}: the drawing's ({assumed}) is assumed. What holds?"
        elif before and whole:
            yield f"{name}: no process is stated: does the drawing's ({in_words(before, 'process')}) hold?"
        return
    has_centre = any(key in after for key in CENTRES) and not _stands_alone(after)
    if "data" not in after and not has_centre and (_stands_alone(after) or any(key in before for key in CENTRES)):
        said = in_words(after, "process")
        yield f"{name}: the process ({said}) does not say where its mean is: taken as centred. Where is it?"


def _stands_alone(process: Entry) -> bool:
    return "cpk" in process and "cp" not in process


def _of_requirements(case: Case, proposal: Proposal) -> Iterator[str]:
    said = _tables(proposal.tables, "requirements")
    for name, old in _tables(case.mapping, "requirements").items():
        if name not in said:
            yield f"the requirement {name} is not in the proposal: is it accepted as the drawing has it?"
            continue
        for key in ("min", "max", "allow"):
            if key in old and key not in said[name]:
                yield f"the requirement {name}: {key} is left out: is the drawing's ({in_words(old[key])}) accepted?"
