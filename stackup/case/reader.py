"""Reads a case: text → tables → what all rows have, rows that differ → Case, with all faults at once."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from stackup.case import rows, whole
from stackup.case.case import Case, Row, Run
from stackup.case.changes import Changes, apply
from stackup.case.columns import Sheets
from stackup.case.faults import Faults
from stackup.case.scanner import Places
from stackup.case.source import bytes_of, places_of, tables_of, text_of
from stackup.case.values import is_law


@dataclass(frozen=True)
class _Source:
    """Where a case comes from: its tables, its text ('' from a notebook), its file, its columns' folder."""

    raw: dict[str, Any]
    text: str
    digest: str
    path: Path | None
    folder: Path


def read(path: str | Path) -> Case:
    """Return the case in the file ``path``.

    Raises CaseError with all faults of the file, each once, in its order; where it is no TOML, the first.
    """
    path, file = Path(path), str(path)
    data = bytes_of(path)
    text = text_of(data, file)
    places = places_of(text, file)
    raw = tables_of(text, places, file)
    source = _Source(raw, text, hashlib.sha256(data).hexdigest(), path, path.parent)
    return _case(source, Faults(places, file))


def from_mapping(
    mapping: Mapping[str, Any], file: str = "", text: str = "", folder: str | Path | None = None
) -> Case:
    """Return the case that nested tables say; the same checks as :func:`read`, places only with ``text``.

    ``process.shape`` may be an object with mean, moments and quantile; arrays and tuples count as lists.
    Columns are looked for in ``folder``, by default that of ``file``.  ``digest`` is that of ``text``, else
    of the tables.  Raises CaseError.
    """
    raw = _plain(mapping)
    path = Path(file) if file else None
    data = text or json.dumps(raw, default=_type_name)
    digest = hashlib.sha256(data.encode()).hexdigest()
    near = path.parent if path else Path()
    places = places_of(text, file) if text else Places()
    return _case(_Source(raw, text, digest, path, Path(folder or near)), Faults(places, file))


def changed(case: Case, changes: Changes) -> Case:
    """Return ``case`` with ``changes`` made, checked like any other; its document is empty.

    ``{"cage.rollers": 41, "dimensions.pin_diameter.tolerance": 0.01}``; None takes a key away.
    Raises CaseError for what the changed case does not allow, ValueFault for a path that leads nowhere.
    """
    mapping = _plain(case.mapping)
    apply(mapping, {key: _plain(value) for key, value in changes.items()})
    return from_mapping(mapping, str(case.path or ""), folder=case.folder)


def _type_name(value: Any) -> str:
    return type(value).__qualname__


def _plain(value: Any) -> Any:
    """Return nested tables, lists and plain numbers for whatever a notebook holds."""
    if isinstance(value, np.ndarray | np.generic):
        return value.tolist()
    if isinstance(value, Mapping):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple) and not is_law(value):
        return [_plain(item) for item in value]
    return value


# From tables to a case ------------------------------------------------------------------------------------


def _case(source: _Source, faults: Faults) -> Case:
    """Return the case; raises CaseError with everything that is wrong with it."""
    common = whole.judged(source.raw, faults, Sheets(source.folder))
    differing = rows.judged(common, source.raw, faults)
    faults.raise_all()
    draft, document = common.draft, common.draft.document
    alike = Row("1", document.cage.rows or 1, draft.pockets, common.states, document.dimensions)
    return Case(
        title=document.title,
        kind=draft.kind.name,
        rollers=draft.pockets,
        dimensions=draft.dimensions,
        chains={name: common.chains[name] for name in document.chains},
        requirements=common.requirements,
        run=Run(**document.run.model_dump()),
        digest=source.digest,
        path=source.path,
        folder=source.folder,
        options=draft.options,
        entries=document.dimensions,
        document=source.text,
        mapping=source.raw,
        notes=rows.notes(differing) if differing else common.notes(),
        rows=tuple(one.row() for one in differing) or (alike,),
    )
