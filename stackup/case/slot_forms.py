"""Whether dimensions of the file have the form of their slots: judged first, for all else hangs on the form."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from stackup.cage import Kind
from stackup.case.faults import Faults
from stackup.case.schema import form_of

_WORDS = {"size": "a size", "zone": "a zone", "one-sided": "a one-sided dimension (0 … limit)"}
_KEYS = {"size": "nominal", "zone": "zone", "one-sided": "limit"}
_FORMS = {key: form for form, key in _KEYS.items()}


def fitting(raw: Mapping[str, Any], kind: Kind | None, faults: Faults) -> dict[str, Any]:
    """Return the tables ``raw`` without the dimensions of another form than their slot; those become faults."""
    tables = dict(raw)
    entries = raw.get("dimensions")
    if kind is None or not isinstance(entries, Mapping):
        return tables
    misfits = {name for name, entry in entries.items() if not _fits(kind, name, entry, faults)}
    tables["dimensions"] = {name: entry for name, entry in entries.items() if name not in misfits}
    return tables


def _fits(kind: Kind, name: str, entry: Any, faults: Faults) -> bool:
    slot = kind.slot(name)
    form = _FORMS.get(form_of(entry) or "") if isinstance(entry, Mapping) else None
    if slot is None or form in (None, slot.kind):
        return True
    key, wanted = _KEYS[str(form)], _KEYS[slot.kind]
    key = key if key in entry else "tolerance"
    allowed = f"{wanted} = …: {name} is {_WORDS[slot.kind]}"
    faults.add(("dimensions", name, key), f"{key}, which makes {_WORDS[str(form)]}", allowed, at_key=True)
    faults.take_out(("dimensions", name))
    return False
