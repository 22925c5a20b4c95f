"""From the key ``process`` of the file to a Process: which keys go together, measured columns."""

from __future__ import annotations

from typing import Any

from stackup.case.draft import Draft
from stackup.case.faults import shown
from stackup.case.scanner import Path
from stackup.case.schema import OneSidedProcess, Process, SizeHarmonic, SizeProcess, ZoneHarmonic, ZoneProcess
from stackup.dimension import Harmonic, Measured
from stackup.dimension import Process as Law
from stackup.errors import ValueFault

#: shape → the keys that it needs
NEEDS = {"trapezoid": ("flat",), "beta": ("a", "b"), "lognormal": ("sigma",)}
#: key → the shapes that take it
TAKES = {"a": "beta", "b": "beta", "flat": "trapezoid", "mode": "triangular", "sigma": "lognormal"}
#: what a measured column states itself
STATED = ("cp", "cpk", "toward", "shift", "offset", "a", "b", "flat", "mode", "sigma")
#: what only a measured column has
OF_DATA = ("how", "subgroup", "uncertainty", "measure")
AnyProcess = SizeProcess | ZoneProcess | OneSidedProcess


def law(draft: Draft, path: Path, process: AnyProcess, scope: str) -> Law | None:
    """Return the process at ``path`` of a dimension of ``scope``; None where it has a fault."""
    before = draft.faults.noted
    _judge_shape(draft, path, process)
    _judge_data(draft, path, process)
    _judge_round_the_ring(draft, path, process, scope)
    made = None
    try:
        made = Law(measured=_measured(draft, path, process), **_numbers(process))
    except ValueFault as error:
        draft.faults.add_value(path, error)
    return made if draft.faults.noted == before else None


def given(process: Process) -> set[str]:
    """Return the keys that the file gives."""
    return {key for key in process.model_fields_set if getattr(process, key) is not None}


def _judge_shape(draft: Draft, path: Path, process: AnyProcess) -> None:
    """A shape has the keys it needs, and no key belongs to another shape."""
    shape, keys = process.shape, given(process)
    if process.data is not None or draft.faults.is_out((*path, "shape")):
        return
    if shape == "measured":
        _fault(draft, path, "data", "nothing", 'data = "FILE.csv#COLUMN" beside shape = "measured"')
    for key, owner in TAKES.items():
        if key in keys and shape != owner:
            _fault(
                draft, path, key, f'{key} without shape = "{owner}"', f'{key} beside shape = "{owner}" only'
            )
    for key in NEEDS.get(shape, ()) if isinstance(shape, str) else ():
        if key not in keys:
            _fault(draft, path, key, "nothing", f'a number: shape = "{shape}" has no default for {key}')


def _fault(draft: Draft, path: Path, key: str, found: str, allowed: str) -> None:
    draft.faults.add((*path, key), found, allowed, at_key=True)


def _judge_data(draft: Draft, path: Path, process: AnyProcess) -> None:
    """A measured column states its own law; what describes a column needs one."""
    keys = given(process)
    if process.data is None and not draft.faults.is_out((*path, "data")):
        for key in keys.intersection(OF_DATA):
            _fault(draft, path, key, f"{key} without data", f'{key} beside data = "FILE.csv#COLUMN" only')
    if process.data is None:
        return
    if process.shape not in (None, "measured"):
        found = f"shape = {shown(process.shape)} beside data"
        draft.faults.add((*path, "shape"), found, 'no shape beside data, or "measured"')
    for key in keys.intersection(STATED):
        _fault(draft, path, key, f"{key} beside data", "measured values state this themselves")


def _judge_round_the_ring(draft: Draft, path: Path, process: AnyProcess, scope: str) -> None:
    """Only pockets differ round the ring."""
    for key in given(process).intersection(("pattern", "drift")):
        if scope == "cage":
            allowed = "a dimension of scope pocket: it differs from pocket to pocket"
            _fault(draft, path, key, f"{key} of a dimension of scope cage", allowed)


def _measured(draft: Draft, path: Path, process: AnyProcess) -> Measured | None:
    """Return the measured column of ``process``; None where there is none or it has a fault."""
    where, reference = (*path, "data"), process.data
    if reference is None:
        return None
    try:
        values = draft.sheets.numbers(reference)
        labels = _labels(draft, path, reference, process.subgroup)
        diameter = _is_diameter(process, values.ndim)
        lines = draft.sheets.lines(reference)
        return Measured(values, process.how or "smoothed", diameter, labels, process.uncertainty, reference, lines)
    except ValueFault as error:
        draft.faults.add_value(where, ValueFault("", error.found, error.allowed))
        return None


def _labels(draft: Draft, path: Path, reference: str, column: str | None) -> list[str] | None:
    """Return the subgroup of each row, None where no column names it."""
    try:
        return draft.sheets.labels(reference, column) if column else None
    except ValueFault as error:
        draft.faults.add_value((*path, "subgroup"), error)
        return None


def _is_diameter(process: AnyProcess, axes: int) -> bool:
    """Return whether the column holds position diameters.  Raises ValueFault where the count is wrong."""
    says_diameter = isinstance(process, ZoneProcess) and process.measure == "diameter"
    found = "one column" if axes == 1 else "two columns"
    if not isinstance(process, ZoneProcess) and axes == 2:
        raise ValueFault("", found, 'one column: "FILE.csv#COLUMN"')
    if isinstance(process, ZoneProcess) and says_diameter == (axes == 2):
        found += ' beside measure = "diameter"' if says_diameter else ""
        raise ValueFault("", found, '"FILE.csv#X,Y", or one column of diameters with measure = "diameter"')
    return says_diameter


def _numbers(process: AnyProcess) -> dict[str, Any]:
    """Return the keys of a Process that the file gives."""
    numbers: dict[str, Any] = {
        key: getattr(process, key) for key in given(process) - {"data", "pattern", *OF_DATA}
    }
    if process.shape == "measured":
        del numbers["shape"]
    for key in ("drift", "offset"):
        if isinstance(numbers.get(key), list):
            numbers[key] = tuple(numbers[key])
    if not isinstance(process, OneSidedProcess):
        numbers["pattern"] = tuple(map(_harmonic, process.pattern))
    return numbers


def _harmonic(term: SizeHarmonic | ZoneHarmonic) -> Harmonic:
    if isinstance(term, SizeHarmonic):
        return Harmonic(term.order, amplitude=term.amplitude, phase_deg=term.phase)
    return Harmonic(term.order, r=term.r, t=term.t, phase_deg=term.phase)
