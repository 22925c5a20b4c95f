"""The JSON Schema of the case file, for completion and checking in editors."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from stackup.cage import KINDS, Slot, kind
from stackup.case import options
from stackup.case.schema import Document
from stackup.case.values import NAME

_ENTRIES = {"size": "SizeEntry", "zone": "ZoneEntry", "one-sided": "OneSidedEntry"}
#: before the name of a table: some of its keys
_PART = "PartOf"
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
    slots = _slots()
    schema["properties"]["dimensions"]["properties"] = {name: _slot(slot) for name, slot in slots.items()}
    tables = schema["$defs"]
    _tell_rows(tables, slots)
    _tell_wear(tables["OperatingEntry"]["properties"]["wear"], slots)
    _tell_options(tables["CageEntry"])
    tables["SizeEntry"]["anyOf"] = [{"required": ["nominal"]}, {"required": ["tolerance"]}]
    return schema


def _slots() -> dict[str, tuple[Slot, ...]]:
    """Return every slot by its name, of each kind where kinds differ in it."""
    found: dict[str, tuple[Slot, ...]] = {}
    for slot in (slot for name in KINDS for slot in kind(name).slots):
        had = found.get(slot.name, ())
        found[slot.name] = had if slot in had else (*had, slot)
    return found


def _slot(slots: tuple[Slot, ...], head: str = "", choice: str = "oneOf") -> dict[str, Any]:
    """Return what a slot may be, with its meaning in every kind; ``head`` stands before the names of the tables."""
    entries = [_ENTRIES[slots[0].kind], "ValuesEntry"]
    told = (f"{slot.symbol}: {slot.meaning} ({slot.scope}, {slot.part}; {slot.indication})" for slot in slots)
    text = " | ".join(dict.fromkeys(told))
    return {"description": text, choice: [{"$ref": f"#/$defs/{head}{entry}"} for entry in entries]}


def _tell_rows(tables: dict[str, Any], slots: Mapping[str, tuple[Slot, ...]]) -> None:
    """What a row says of a dimension are some keys of its table."""
    entries = [*_ENTRIES.values(), "ValuesEntry"]
    for entry in entries:
        tables[_PART + entry] = {key: item for key, item in tables[entry].items() if key != "required"}
    dimensions = tables["RowEntry"]["properties"]["dimensions"]
    dimensions["propertyNames"] = {"pattern": f"^{NAME}$"}
    dimensions["properties"] = {name: _slot(slot, _PART, "anyOf") for name, slot in slots.items()}
    dimensions["additionalProperties"] = {"anyOf": [{"$ref": f"#/$defs/{_PART}{entry}"} for entry in entries]}


def _tell_options(cage: dict[str, Any]) -> None:
    """``[cage]`` has the options of all kinds, and no other key."""
    for name in KINDS:
        for option in kind(name).options:
            cage["properties"].setdefault(option.name, options.schema(option))
    cage["additionalProperties"] = False


def _tell_wear(wear: dict[str, Any], slots: Mapping[str, tuple[Slot, ...]]) -> None:
    """Only some slots wear."""
    amount = wear["additionalProperties"]
    wear["properties"] = {
        name: {**amount, "description": f"Wear, mm: {slot.meaning}"} for name, (slot, *_) in slots.items() if slot.wears
    }
    wear["additionalProperties"] = False


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
