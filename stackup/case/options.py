"""The keys of ``[cage]`` that a kind reads: judged by what the kind says of them, whatever kind it is."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Literal

from pydantic import ConfigDict, TypeAdapter, ValidationError

from stackup.cage import KINDS, Kind, Option
from stackup.cage import kind as kind_called
from stackup.case.faults import Faults, note_errors, shown
from stackup.case.schema import CageEntry
from stackup.case.values import Positive
from stackup.errors import nearest

_STRICT = ConfigDict(strict=True, allow_inf_nan=False)


def type_of(option: Option) -> Any:
    """Return the type of an option: one of its words, or a positive number."""
    return Literal[option.choices] if option.choices else Positive


def without(raw: Mapping[str, Any], kind: Kind | None) -> dict[str, Any]:
    """Return the tables ``raw`` without the keys of ``[cage]`` that are for a kind to judge.

    Where it is not known which kind, without those that some kind has.
    """
    cage, tables = raw.get("cage"), dict(raw)
    if isinstance(cage, Mapping):
        own = {*CageEntry.model_fields}
        left = (key for key in cage if key in own or (kind is None and key not in _of_others()))
        tables["cage"] = {key: cage[key] for key in left}
    return tables


def judged(kind: Kind, cage: Mapping[str, Any], faults: Faults) -> dict[str, Any]:
    """Return the options of the kind, each as given in the table ``cage`` or by default.

    What is wrong with any is noted, and keys that the kind does not have.
    """
    options = {option.name: option for option in kind.options}
    found: dict[str, Any] = {name: option.default for name, option in options.items()}
    own = ["kind", *([] if kind.one_pocket else ["rollers", "rows"]), *options]
    for key, given in cage.items():
        if key in options:
            value = _value(options[key], given, faults)
            found[key] = found[key] if value is None else value
        elif key not in (*own, "rollers"):  # whether rollers fit the kind is judged with the pockets
            near = None if key in _of_others() else nearest(key, own)
            allowed = f'kind = "{kind.name}" has {", ".join(own)}'
            faults.add(("cage", key), f"the key {key}", allowed, near=near, at_key=True)
    for name, option in options.items():
        if found[name] is None and not faults.is_out(("cage", name)):
            wanted = f"{name} = {' or '.join(map(shown, option.choices))}: {option.meaning}"
            faults.add(("cage", name), "nothing", wanted, place=faults.places.value(("cage", "kind")))
    return found


def _value(option: Option, value: Any, faults: Faults) -> Any:
    """Return the value of an option; None where it is wrong."""
    adapter: TypeAdapter[Any] = TypeAdapter(type_of(option), config=_STRICT)
    try:
        return adapter.validate_python(value)
    except ValidationError as error:
        note_errors(error, ("cage", option.name), faults)
        faults.take_out(("cage", option.name))
        return None


def _of_others() -> set[str]:
    """Return the keys of ``[cage]`` that some kind reads: in the wrong place, not misspelt."""
    return {"rollers", "rows", *(option.name for name in KINDS for option in kind_called(name).options)}


def schema(option: Option) -> Mapping[str, Any]:
    """Return the JSON Schema of an option."""
    found = TypeAdapter(type_of(option), config=_STRICT).json_schema()
    unit = f", {option.unit}" if option.unit else ""
    return {**found, "description": f"{option.meaning}{unit}."}
