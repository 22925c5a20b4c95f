"""The JSON Schema of the case file, for completion and checking in editors."""

from __future__ import annotations

from typing import Any

from stackup.cage import KINDS, Slot, kind
from stackup.case.schema import Document
from stackup.case.values import NAME

_ENTRIES = {"size": "SizeEntry", "zone": "ZoneEntry", "one-sided": "OneSidedEntry"}
_NAMED = ("dimensions", "chains", "requirements")


def json_schema() -> dict[str, Any]:
    """Return the JSON Schema (2020-12) of a case file.

    It offers every key with its description and the slots of all kinds by name.  What depends on several keys
    at once, or on the kind, only reading a case tells.
    """
    schema: dict[str, Any] = _without_null(Document.model_json_schema())
    schema["$schema"] = "https://json-schema.org/draft/2020-12/schema"
    schema["title"] = "Case file of stackup"
    for table in _NAMED:
        schema["properties"][table]["propertyNames"] = {"pattern": f"^{NAME}$"}
    schema["properties"]["dimensions"]["properties"] = _slots()
    size = schema["$defs"]["SizeEntry"]
    size["anyOf"] = [{"required": ["nominal"]}, {"required": ["tolerance"]}]
    return schema


def _slots() -> dict[str, Any]:
    """Return what each slot may be, with its meaning; the first kind that has it says."""
    found: dict[str, Any] = {}
    for name in KINDS:
        for slot in kind(name).slots:
            found.setdefault(slot.name, _slot(slot))
    return found


def _slot(slot: Slot) -> dict[str, Any]:
    entries = [_ENTRIES[slot.kind], "ValuesEntry"]
    text = f"{slot.symbol}: {slot.meaning} ({slot.scope}, {slot.part}; {slot.indication})"
    return {"description": text, "oneOf": [{"$ref": f"#/$defs/{entry}"} for entry in entries]}


def _without_null(schema: Any) -> Any:
    """Return ``schema`` without what TOML has no word for, and without titles made from names."""
    if isinstance(schema, list):
        return [_without_null(item) for item in schema if item != {"type": "null"}]
    if not isinstance(schema, dict):
        return schema
    kept = {key: _without_null(item) for key, item in schema.items() if not _is_idle(key, item)}
    alternatives = kept.get("anyOf", ())
    if len(alternatives) == 1:
        del kept["anyOf"]
        kept = {**alternatives[0], **kept}
    return kept


def _is_idle(key: str, item: Any) -> bool:
    return (key == "title" and isinstance(item, str)) or (key == "default" and item is None)
