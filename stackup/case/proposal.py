"""A proposal read over a case: what it says takes the place of what the drawing says, the rest stays.

A proposal is a file like a case of which any part may be missing, ``[cage]`` too; one that says ``[cage] kind`` means
to be whole.  Keys given replace keys of the same table, a dimension of another form (measured values for a size)
replaces the drawing's; ``process`` is replaced as a whole.  What is wrong is found as in a case, at the lines of the
proposal.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable, Mapping, Set
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from stackup.case.case import Case
from stackup.case.faults import Faults, shown
from stackup.case.merging import Tables, merged
from stackup.case.reader import from_mapping
from stackup.case.source import bytes_of, places_of, tables_of, text_of
from stackup.errors import CaseError, Fault, nearest


@dataclass(frozen=True)
class Proposal:
    """What a proposal says of a case.

    ``tables`` are its own, columns named as from the drawing's folder; ``case`` is the drawing with all of it in
    place; ``whole`` tells that it has a ``[cage]`` with a kind; ``digest`` is the SHA-256 of its bytes.
    """

    case: Case
    tables: Tables
    whole: bool
    digest: str
    path: Path | None


def read_over(case: Case, path: str | Path) -> Proposal:
    """Return the proposal in the file ``path``, read over ``case``.

    Raises CaseError with all faults of the file, as :func:`stackup.case.read` does.
    """
    path, file = Path(path), str(path)
    data = bytes_of(path)
    text = text_of(data, file)
    said = tables_of(text, places_of(text, file), file)
    return _over(case, said, hashlib.sha256(data).hexdigest(), text, path)


def proposal_of(case: Case, said: Case | Tables) -> Proposal:
    """Return a proposal made in Python: another case, or tables of which any part may be missing.

    Columns are looked for beside the case.  Raises CaseError.
    """
    if isinstance(said, Case):
        _judge_bearing(case, said.mapping, Faults(file=str(said.path or "")))
        return Proposal(over(case, said.mapping), said.mapping, True, said.digest, said.path)
    return _over(case, said, "", "", None)


def over(case: Case, said: Tables) -> Case:
    """Return ``case`` with what ``said`` says in place of its own; columns beside the case.  Raises CaseError."""
    return from_mapping(merged(case.mapping, said), folder=case.folder)


def _over(case: Case, said: Tables, digest: str, text: str, path: Path | None) -> Proposal:
    """Judge the drawing with ``said`` in its place, from the folder of the proposal."""
    file, folder = str(path or ""), path.parent if path else case.folder
    _judge_kind(case, said, file, text)
    _judge_bearing(case, said, Faults(places_of(text, file), file) if text else Faults(file=file))
    drawing = _moved(case.mapping, case.folder, folder)
    whole = _read(merged(drawing, said), said, file, text, folder)
    tables = _moved(said, folder, case.folder)
    made = replace(whole, document="", mapping=merged(case.mapping, tables), folder=case.folder)
    return Proposal(made, tables, _kind(said) is not None, digest or whole.digest, path)


def _read(tables: dict[str, Any], said: Tables, file: str, text: str, folder: Path) -> Case:
    """Read the drawing with a proposal in its place.

    A dimension of the drawing that no formula uses once the proposal has written its own is no fault of the proposal.
    """
    try:
        return from_mapping(tables, file, text, folder)
    except CaseError as error:
        known, own = _dimensions(tables), _dimensions(said)
        idle = {f"dimensions.{name}" for name in known if name not in own} & {fault.key for fault in error.faults}
        if not idle:
            raise CaseError([_nearer(fault, known.keys() - own.keys()) for fault in error.faults]) from None
    kept = {name: entry for name, entry in known.items() if f"dimensions.{name}" not in idle}
    return from_mapping({**tables, "dimensions": kept}, file, text, folder)


def _nearer(fault: Fault, drawing: Set[str]) -> Fault:
    """Return a fault of a name that nothing knows with the name of the drawing that is nearest."""
    table, _, name = fault.key.partition(".")
    near = nearest(name, drawing) if table == "dimensions" and "." not in name else None
    return replace(fault, nearest=near) if near else fault


def _dimensions(tables: Tables) -> Tables:
    found = tables.get("dimensions")
    return found if isinstance(found, Mapping) else {}


def _judge_kind(case: Case, said: Tables, file: str, text: str) -> None:
    """Another kind of cage is no proposal for this drawing."""
    kind = _kind(said)
    if kind is None or kind == case.kind:
        return
    faults = Faults(places_of(text, file), file) if text else Faults(file=file)
    faults.add(("cage", "kind"), shown(kind), f'"{case.kind}", the kind of the drawing')
    faults.raise_all()


def _judge_bearing(case: Case, said: Tables, faults: Faults) -> None:
    """Operation and the number of rows are the user's: a proposal that says otherwise changes what it is held to."""
    drawing, allowed = case.mapping, "what the drawing says of it, or nothing: a proposal is held to it"
    if "operating" in said and merged(drawing, said)["operating"] != drawing.get("operating"):
        faults.add(("operating",), "an operation that is not the drawing's", allowed, at_key=True)
    cage = said.get("cage")
    if isinstance(cage, Mapping) and cage.get("rows", 1) != drawing["cage"].get("rows", 1) and "rows" in cage:
        faults.add(("cage", "rows"), shown(cage["rows"]), allowed)
    if "row" in said and _which_rows(said["row"]) != _which_rows(drawing.get("row")):
        found = f"rows {_listed(said['row'])}"
        faults.add(("row",), found, f"the rows of the drawing: {_listed(drawing.get('row'))}", at_key=True)
    faults.raise_all()


def _which_rows(rows: Any) -> list[tuple[Any, Any]]:
    """Return name and number of every row that differs, as far as they are said."""
    tables = [row if isinstance(row, Mapping) else {} for row in rows] if isinstance(rows, list) else []
    return [(row.get("name", str(index + 1)), row.get("count", 1)) for index, row in enumerate(tables)]


def _listed(rows: Any) -> str:
    return ", ".join(f"{count} × {name}" for name, count in _which_rows(rows)) or "none that differ"


def _kind(said: Tables) -> Any:
    cage = said.get("cage")
    return cage.get("kind") if isinstance(cage, Mapping) else None


# Columns beside another file ------------------------------------------------------------------------------


def _moved(tables: Tables, folder: Path, to: Path) -> Tables:
    """Return the tables with their columns, which lie beside a file in ``folder``, named as from the folder ``to``."""
    if folder.resolve() == to.resolve():
        return tables

    def moved(reference: Any) -> Any:
        if not isinstance(reference, str) or "#" not in reference:
            return reference
        file, _, columns = reference.rpartition("#")
        return f"{os.path.relpath(folder.resolve() / file, to.resolve())}#{columns}"

    found = _with_moved(tables, moved)
    if isinstance(rows := tables.get("row"), list):
        found["row"] = [_with_moved(row, moved) if isinstance(row, Mapping) else row for row in rows]
    return found


def _with_moved(tables: Tables, moved: Callable[[Any], Any]) -> dict[str, Any]:
    """Return the tables of a case, or of one of its rows, with the columns of their dimensions moved."""
    if not (dimensions := _dimensions(tables)):
        return dict(tables)
    return {**tables, "dimensions": {name: _with_columns(entry, moved) for name, entry in dimensions.items()}}


def _with_columns(entry: Any, moved: Callable[[Any], Any]) -> Any:
    if not isinstance(entry, Mapping):
        return entry
    entry = dict(entry)
    if "values" in entry:
        entry["values"] = moved(entry["values"])
    if isinstance(entry.get("process"), Mapping) and "data" in entry["process"]:
        entry["process"] = {**entry["process"], "data": moved(entry["process"]["data"])}
    return entry
